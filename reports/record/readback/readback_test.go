package readback

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
	"yardheat/reports"
)

// names of the tables, as a user knows them.
var names = []string{"record", "milkings", "draws", "washes"}

// value is one value of a file in the form in which both readers and the CSV can
// be compared: by its bits.
type value struct {
	kind string // null, f64, i64, bool, text, utc, local
	bits uint64
	text string
}

// column is one column as a reader gives it.
type column struct {
	name, kind string
	values     []value
}

// report is a folder with the report of a simulated farm: flags, gaps, nulls, a
// change of clocks on 29 March 2026 in Europe.
var report = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "readback")
	if err != nil {
		return "", err
	}
	farm, err := simfarm.Run(simfarm.Sample())
	if err != nil {
		return dir, err
	}
	if err := farm.Write(dir); err != nil {
		return dir, err
	}
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	if err != nil {
		return dir, err
	}
	s, err := season.Compute(rec, season.DefaultOptions())
	if err != nil {
		return dir, err
	}
	return dir, reports.Write(filepath.Join(dir, "report"), s, reports.Options{Now: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), Version: "test"})
})

func TestMain(m *testing.M) {
	code := m.Run()
	if dir, _ := report(); dir != "" {
		_ = os.RemoveAll(dir)
	}
	os.Exit(code)
}

// folder is the report's.
func folder(t *testing.T) string {
	t.Helper()
	dir, err := report()
	require.NoError(t, err)
	return filepath.Join(dir, "report")
}

// described is what NAME.csv-metadata.json says of a column.
type described struct {
	Name     string   `json:"name"`
	Titles   []string `json:"titles"`
	Datatype struct {
		Base string `json:"base"`
	} `json:"datatype"`
	Unit string `json:"schema:unitText"`
}

type description struct {
	Version string `json:"schema:schemaVersion"`
	Schema  struct {
		Columns []described `json:"columns"`
	} `json:"tableSchema"`
}

func describe(t *testing.T, b []byte) description {
	t.Helper()
	var d description
	require.NoError(t, json.Unmarshal(b, &d))
	return d
}

// written are the columns of a CSV, typed by its description alone.
func written(t *testing.T, name string) ([]column, description) {
	t.Helper()
	about, err := os.ReadFile(filepath.Join(folder(t), name+".csv-metadata.json"))
	require.NoError(t, err)
	d := describe(t, about)
	f, err := os.Open(filepath.Join(folder(t), name+".csv"))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, d.Schema.Columns, len(rows[0]))
	var out []column
	for k, c := range d.Schema.Columns {
		back, err := url.PathUnescape(c.Name)
		require.NoError(t, err)
		require.Equal(t, rows[0][k], back)
		require.Equal(t, rows[0][k], c.Titles[0])
		one := column{name: rows[0][k], kind: kindOf(c)}
		for _, row := range rows[1:] {
			one.values = append(one.values, valueOf(t, one.kind, row[k]))
		}
		out = append(out, one)
	}
	return out, d
}

// kindOf: local times are told from UTC ones by the column's name.
func kindOf(c described) string {
	switch c.Datatype.Base {
	case "double":
		return "f64"
	case "integer":
		return "i64"
	case "boolean":
		return "bool"
	case "string":
		return "text"
	case "dateTimeStamp":
		if strings.HasSuffix(c.Name, "_local") {
			return "local"
		}
		return "utc"
	}
	return c.Datatype.Base
}

func valueOf(t *testing.T, kind, cell string) value {
	if cell == "" {
		return value{kind: "null"}
	}
	switch kind {
	case "f64":
		v, err := strconv.ParseFloat(cell, 64)
		require.NoError(t, err)
		return value{kind: kind, bits: math.Float64bits(v)}
	case "i64":
		v, err := strconv.ParseInt(cell, 10, 64)
		require.NoError(t, err)
		return value{kind: kind, bits: uint64(v)}
	case "bool":
		require.Contains(t, "01", cell)
		return value{kind: kind, bits: uint64(cell[0] - '0')}
	case "utc":
		at, err := time.Parse(time.RFC3339, cell)
		require.NoError(t, err)
		require.True(t, strings.HasSuffix(cell, "Z"))
		return value{kind: kind, bits: uint64(at.UnixMilli())}
	case "local":
		at, err := time.Parse(time.RFC3339, cell)
		require.NoError(t, err)
		_, offsetS := at.Zone()
		return value{kind: kind, bits: uint64(at.UnixMilli() + int64(offsetS)*1000)}
	}
	if len(cell) > 1 && cell[0] == '\'' && strings.ContainsRune("=+-@\t\r\x00", rune(cell[1])) {
		cell = cell[1:] // the quote that keeps a spreadsheet from running it
	}
	return value{kind: "text", text: cell}
}

// requireSame holds what a reader gave against the CSV, and counts.
func requireSame(t *testing.T, want, got []column) (values, nulls int) {
	t.Helper()
	require.NoError(t, differs(want, got))
	for _, w := range want {
		for _, v := range w.values {
			if values++; v.kind == "null" {
				nulls++
			}
		}
	}
	return values, nulls
}

// differs is the first difference.
func differs(want, got []column) error {
	if len(want) != len(got) {
		return fmt.Errorf("%d columns in the CSV, %d in the Parquet", len(want), len(got))
	}
	for k, w := range want {
		g := got[k]
		if w.name != g.name || w.kind != g.kind || len(w.values) != len(g.values) {
			return fmt.Errorf("%s: %s, %d rows in the CSV; %s, %s, %d rows in the Parquet", w.name, w.kind, len(w.values), g.name, g.kind, len(g.values))
		}
		for i, v := range w.values {
			if v != g.values[i] {
				return fmt.Errorf("%s, row %d: %v in the CSV, %v in the Parquet", w.name, i, v, g.values[i])
			}
		}
	}
	return nil
}

// What the comparison rests on sees a single bit.
func TestTheComparisonSeesEveryBit(t *testing.T) {
	one := func() []column {
		return []column{{"x", "f64", []value{{kind: "f64", bits: math.Float64bits(1.5)}, {kind: "null"}}}, {"y", "text", []value{{kind: "text", text: "a"}, {kind: "null"}}}}
	}
	require.NoError(t, differs(one(), one()))
	for what, alter := range map[string]func(c []column) []column{
		"the last bit":           func(c []column) []column { c[0].values[0].bits ^= 1; return c },
		"a null that is 0":       func(c []column) []column { c[0].values[1] = value{kind: "f64"}; return c },
		"an empty text for null": func(c []column) []column { c[1].values[1] = value{kind: "text"}; return c },
		"a letter":               func(c []column) []column { c[1].values[0].text = "b"; return c },
		"a type":                 func(c []column) []column { c[0].kind = "i64"; return c },
		"a name":                 func(c []column) []column { c[0].name = "z"; return c },
		"a row less":             func(c []column) []column { c[1].values = c[1].values[:1]; return c },
		"a column less":          func(c []column) []column { return c[:1] },
	} {
		require.Error(t, differs(one(), alter(one())), what)
	}
}

// requireMeta holds the file's metadata against the description beside the CSV.
func requireMeta(t *testing.T, name string, d description, meta map[string]string) {
	t.Helper()
	require.Equal(t, d.Version, meta["yardheat.schema"])
	require.Equal(t, "yardheat-"+name+"/1", d.Version)
	require.Equal(t, d, describe(t, []byte(meta["yardheat.csvw"])))
	_, err := time.LoadLocation(meta["yardheat.zone"])
	require.NoError(t, err)
	require.NotEmpty(t, meta["yardheat.zone"])
	var units map[string]string
	require.NoError(t, json.Unmarshal([]byte(meta["yardheat.units"]), &units))
	n := 0
	for _, c := range d.Schema.Columns {
		require.Equal(t, c.Unit, units[c.Titles[0]], c.Name)
		if c.Unit != "" {
			n++
		}
	}
	require.Len(t, units, n)
}

// The farm has what can go wrong in it, or the comparison would prove little.
func TestTheFarmIsWorthReading(t *testing.T) {
	columns, _ := written(t, "record")
	kinds := map[string]int{}
	offsets := map[int64]bool{}
	for i, v := range columns[1].values { // both always there
		offsets[int64(v.bits-columns[0].values[i].bits)/3_600_000] = true
	}
	for _, c := range columns {
		for _, v := range c.values {
			kinds[v.kind]++
		}
	}
	require.Len(t, offsets, 2, "a change of clocks")
	for _, kind := range []string{"null", "f64", "text", "utc", "local"} {
		require.NotZero(t, kinds[kind], kind)
	}
	require.Greater(t, len(columns[0].values), 131_072, "more than one row group")
	require.True(t, slices.ContainsFunc(columns, func(c column) bool { return strings.Contains(c.name, "@") }))
}
