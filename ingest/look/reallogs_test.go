package look

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// realFacts is what two separate scripts found in an export from a public
// repository. The exports are not ours to keep, so they lie outside the
// project: YARDHEAT_REAL_LOGS names their folder, with facts.json in it.
type realFacts struct {
	File  string
	Facts struct {
		Decimal   string `json:"decimal_mark"`
		Thousands string `json:"thousands_mark"`
		Timestamp struct {
			First    string          `json:"first_iso"`
			Last     string          `json:"last_iso"`
			Interval json.RawMessage `json:"interval_s"`
		}
		Rows       json.RawMessage `json:"data_rows"`
		EventRows  int             `json:"event_rows"`
		Duplicates int             `json:"duplicate_timestamps"`
		OutOfOrder int             `json:"out_of_order"`
		Missing    map[string]json.RawMessage
		MinMax     map[string][2]float64
	}
}

func TestRealLogs(t *testing.T) {
	dir := os.Getenv("YARDHEAT_REAL_LOGS")
	if dir == "" {
		t.Skip("YARDHEAT_REAL_LOGS names no folder")
	}
	b, err := os.ReadFile(filepath.Join(dir, "facts.json"))
	require.NoError(t, err)
	var all []realFacts
	require.NoError(t, json.Unmarshal(b, &all))
	require.NotEmpty(t, all)
	for _, f := range all {
		t.Run(f.File, func(t *testing.T) {
			tables, err := File(filepath.Join(dir, f.File), Options{Now: time.Now()})
			require.NoError(t, err)
			var rows int
			bySheet := map[string]int{}
			if json.Unmarshal(f.Facts.Rows, &rows) != nil {
				require.NoError(t, json.Unmarshal(f.Facts.Rows, &bySheet))
			} else {
				bySheet[""] = rows
			}
			require.Len(t, tables, len(bySheet))
			for i := range tables {
				require.Equal(t, bySheet[tables[i].Sheet], tables[i].Rows)
				checkReal(t, &tables[i], f)
			}
		})
	}
}

func checkReal(t *testing.T, d *Table, f realFacts) {
	t.Helper()
	require.Equal(t, f.Facts.EventRows, d.EventRows)
	require.Equal(t, f.Facts.Duplicates, d.Duplicates)
	require.Equal(t, f.Facts.OutOfOrder, d.OutOfOrder)
	if d.Sheet == "" {
		require.Equal(t, f.Facts.Decimal, d.Decimal)
		sameTime(t, f.Facts.Timestamp.First, d.First)
		sameTime(t, f.Facts.Timestamp.Last, d.Last)
	}
	var interval float64
	if json.Unmarshal(f.Facts.Timestamp.Interval, &interval) == nil {
		require.Equal(t, interval, d.IntervalS)
	}
	found := 0
	for key, want := range f.Facts.MinMax {
		for _, c := range d.Columns {
			if named(key, d.Sheet, c) {
				found++
				require.NotNil(t, c.Min, c.Name)
				require.InDelta(t, want[0], *c.Min, 1e-9, c.Name)
				require.InDelta(t, want[1], *c.Max, 1e-9, c.Name)
			}
		}
	}
	require.NotZero(t, found, "no column of the facts was found")
	for key, raw := range f.Facts.Missing {
		var n int
		if json.Unmarshal(raw, &n) != nil {
			continue
		}
		for _, c := range d.Columns {
			if c.Kind == Instant && strings.HasPrefix(c.Name, key+" (") || c.Kind == Mean && strings.HasPrefix(key, "empty") {
				require.Equal(t, n, c.Missing, c.Name)
			}
		}
	}
}

// named tells whether a key of the facts means a column: "fridge temperature"
// (sheet and name), "column 3", a name, "temperature" of the only one.
func named(key, sheet string, c Column) bool {
	switch {
	case sheet != "":
		return key == sheet+" "+c.Name
	case strings.HasPrefix(key, "column "):
		return key == "column "+string(rune('0'+c.Number))
	}
	return key == c.Name || key == "temperature" && strings.Contains(c.Name, "Temperature")
}

func sameTime(t *testing.T, want, got string) {
	t.Helper()
	for _, form := range []string{"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04Z07:00", "2006-01-02T15:04:05"} {
		w, err := time.Parse(form, want)
		if err != nil {
			continue
		}
		for _, g := range []string{time.RFC3339, "2006-01-02T15:04:05"} {
			if at, err := time.Parse(g, got); err == nil {
				require.Zero(t, math.Abs(w.Sub(at).Seconds()), "want %s, got %s", want, got)
				return
			}
		}
	}
	t.Fatalf("want %s, got %s", want, got)
}
