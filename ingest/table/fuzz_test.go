package table

import (
	"errors"
	"testing"
)

// checkWhole fails where a table breaks its own contract.
func checkWhole(t *testing.T, tables []*Table, err error) {
	t.Helper()
	if err != nil {
		var e *Error
		if !errors.As(err, &e) || e.Got == "" {
			t.Fatalf("want a *table.Error, got %v", err)
		}
		return
	}
	if len(tables) == 0 {
		t.Fatal("neither table nor error")
	}
	for _, tb := range tables {
		if len(tb.Units) != len(tb.Header) {
			t.Fatalf("%d units for %d names", len(tb.Units), len(tb.Header))
		}
		line := tb.HeaderLine
		for _, r := range tb.Rows {
			if len(r.Cells) != len(tb.Header) {
				t.Fatalf("line %d: %d cells under %d names", r.Line, len(r.Cells), len(tb.Header))
			}
			if r.Line < line {
				t.Fatalf("line %d stands behind line %d", r.Line, line)
			}
			line = r.Line
		}
	}
}

func FuzzText(f *testing.F) {
	for _, l := range layouts {
		f.Add([]byte(l.text))
	}
	f.Add(wide(degrees, true))
	f.Add([]byte("\"\n\"\"\n\",;\t|"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tables, err := ReadBytes("fuzz.csv", data, Options{})
		checkWhole(t, tables, err)
	})
}

func FuzzWorkbook(f *testing.F) {
	whole := seasonBook(f, 5)
	f.Add(whole)
	f.Add(whole[:len(whole)*2/3])
	f.Add(book(f, [][]any{{"time", "T"}, {"2026-01-05 10:00", "1,5"}, {"2026-01-05 10:01", true}}, nil))
	f.Fuzz(func(t *testing.T, data []byte) {
		tables, err := ReadBytes("fuzz.xlsx", data, Options{})
		checkWhole(t, tables, err)
	})
}
