package table

import (
	"errors"
	"strings"
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

// checkNothingLost fails where a line that reads as a row of readings, and
// stands between the first and the last row, is neither a row nor listed.
func checkNothingLost(t *testing.T, data []byte, tables []*Table) {
	t.Helper()
	text, _, _, err := decode(data, "")
	if err != nil || strings.ContainsAny(text, "\"\x00") || len(tables) == 0 || tables[0].Separator == "" || tables[0].Separator == string(blankSep) {
		return
	}
	known, first, last := map[int]bool{}, 1<<30, 0
	for _, tb := range tables {
		for _, r := range tb.Rows {
			known[r.Line], first, last = true, min(first, r.Line), max(last, r.Line)
		}
		for _, p := range tb.Problems {
			known[p.Line] = true
		}
		for _, r := range tb.Preamble {
			known[r.Line] = true
		}
	}
	for i, line := 0, 1; i < len(text); line++ {
		end, next := lineEnd(text, i)
		c := cutter{text: text[i:end], sep: tables[0].Separator[0]}
		c.cutQuoted(0, 1)
		if s := shapeOf(c.arena); line > first && line < last && !known[line] && s.isData() && s.stamps > 0 && s.numbers > 0 {
			t.Fatalf("line %d is lost: %q", line, text[i:end])
		}
		i = next
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
		checkNothingLost(t, data, tables)
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
