package ooxml

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// dump reads a sheet one of the two ways: every cell as a line.
func dump(data []byte, byToken bool) (rows []string, s *Summary, err error) {
	texts := &Texts{all: []byte("firstsecond"), ends: []int{5, 11}}
	s, err = readSheet(bytes.NewReader(data), texts, func(r *Row) error {
		line := fmt.Sprint(r.Number)
		col := 0
		for _, c := range r.Cells {
			if c.Col <= col || c.Col > MaxCols || len(c.Text) == 0 {
				return fmt.Errorf("a wrong cell: %+v", c)
			}
			col = c.Col
			line += fmt.Sprintf(" %s/%d/%c=%q", CellName(c.Col, r.Number), c.Style, c.Kind, c.Text)
		}
		rows = append(rows, line)
		return nil
	}, byToken)
	return rows, s, err
}

// The byte scanner and the token decoder must agree on everything: whether it
// is a sheet, its rows, what was seen beside them.
func FuzzSheet(f *testing.F) {
	for _, c := range sheets {
		f.Add([]byte(opening + c.rows + closing))
	}
	f.Add([]byte(opening + `<row r="1"><c r="A1" s="3"><f>1</f></c></row><row r="2"><c r="A`))
	f.Add([]byte(`<worksheet><sheetData/></worksheet>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		fast, s, err := dump(data, false)
		slow, s2, err2 := dump(data, true)
		if (err == nil) != (err2 == nil) {
			t.Fatalf("bytes: %v; tokens: %v", err, err2)
		}
		if err != nil {
			if strings.Contains(err.Error(), "a wrong cell") {
				t.Fatal(err)
			}
			return
		}
		if !slices.Equal(fast, slow) {
			t.Fatalf("bytes:\n%q\ntokens:\n%q", fast, slow)
		}
		if s.Last != s2.Last || s.Bare != s2.Bare || s.Cut != s2.Cut || s.MaxStyle != s2.MaxStyle || s.FirstCol != s2.FirstCol || s.DataWhole != s2.DataWhole ||
			s.Declared != s2.Declared || !slices.Equal(s.Merges, s2.Merges) {
			t.Fatalf("bytes: %+v; tokens: %+v", s, s2)
		}
	})
}

func FuzzTexts(f *testing.F) {
	f.Add([]byte(`<sst><si><t>a</t></si><si><r><t>b</t></r></si><si/></sst>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		texts, err := ReadTexts(bytes.NewReader(data))
		if err != nil {
			return
		}
		for i := range texts.ends {
			if _, ok := texts.At(i); !ok {
				t.Fatalf("text %d of %d is missing", i, len(texts.ends))
			}
		}
	})
}
