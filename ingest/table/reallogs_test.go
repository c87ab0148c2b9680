package table

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"yardheat/ingest/table/celltext"
)

// realFacts is what two separate scripts found in an export from a public
// repository. The exports are not ours to keep, so they lie outside the
// project: YARDHEAT_REAL_LOGS names their folder, with facts.json in it.
type realFacts struct {
	File  string
	Facts struct {
		Delimiter  string
		HeaderLine *int     `json:"header_line"`
		Names      []string `json:"header_names"`
		Decimal    string   `json:"decimal_mark"`
		Timestamp  struct{ First, Last string }
		Rows       json.RawMessage `json:"data_rows"`
		MinMax     map[string][2]float64
	}
}

func TestRealLogs(t *testing.T) {
	dir := os.Getenv("YARDHEAT_REAL_LOGS")
	if dir == "" {
		t.Skip("YARDHEAT_REAL_LOGS names no folder")
	}
	b, err := os.ReadFile(filepath.Join(dir, "facts.json"))
	if err != nil {
		t.Fatal(err)
	}
	var all []realFacts
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		t.Run(f.File, func(t *testing.T) {
			tables, err := Read(filepath.Join(dir, f.File), Options{})
			if err != nil {
				t.Fatal(err)
			}
			var rows int
			var bySheet map[string]int
			if json.Unmarshal(f.Facts.Rows, &rows) != nil {
				if err := json.Unmarshal(f.Facts.Rows, &bySheet); err != nil {
					t.Fatal(err)
				}
			} else {
				bySheet = map[string]int{"": rows}
			}
			same(t, "tables", len(bySheet), len(tables))
			for _, tb := range tables {
				same(t, "rows of "+tb.Sheet, bySheet[tb.Sheet], len(tb.Rows))
				checkReal(t, tb, f)
			}
		})
	}
}

func checkReal(t *testing.T, tb *Table, f realFacts) {
	t.Helper()
	same(t, "problems", "", codesOf(tb.Problems))
	if f.Facts.HeaderLine == nil {
		same(t, "header line", 0, tb.HeaderLine)
	} else {
		same(t, "header line", *f.Facts.HeaderLine, tb.HeaderLine)
	}
	for i, name := range tb.Header {
		if f.Facts.Names != nil && f.Facts.Names[i] != name && !strings.HasPrefix(f.Facts.Names[i], "(empty") {
			t.Errorf("column %d: want %q, got %q", i+1, f.Facts.Names[i], name)
		}
	}
	if tb.Sheet == "" {
		same(t, "separator", f.Facts.Delimiter, tb.Separator)
		same(t, "decimal", f.Facts.Decimal, tb.Decimal)
	}
	for key, want := range f.Facts.MinMax {
		low, high, found := math.Inf(1), math.Inf(-1), false
		for col, name := range tb.Header {
			byNumber := strings.HasPrefix(key, "column ") && key[len("column "):] == string(rune('1'+col))
			bySheet := tb.Sheet != "" && key == tb.Sheet+" "+name
			byName := tb.Sheet == "" && name != "" && (name == key || strings.Contains(name, key) && strings.Contains(name, "°C"))
			byOne := key == "temperature" && strings.Contains(name, "Temperature")
			if !byNumber && !bySheet && !byName && !byOne {
				continue
			}
			found = true
			for _, r := range tb.Rows {
				if v, _, ok := celltext.ParseNumber(r.Cells[col], tb.Decimal, tb.Thousands); ok {
					low, high = min(low, v), max(high, v)
				}
			}
		}
		if !found && tb.Sheet != "" {
			continue // another sheet's
		}
		if !found || math.Abs(low-want[0]) > 1e-9 || math.Abs(high-want[1]) > 1e-9 {
			t.Errorf("%s: want %v to %v, got %v to %v", key, want[0], want[1], low, high)
		}
	}
}
