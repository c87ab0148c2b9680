package ooxml

import "testing"

func FuzzSheet(f *testing.F) {
	f.Add([]byte(`<worksheet><dimension ref="A1:B2"/><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>x</t></is></c></row><row><c><v>1</v></c></row></sheetData></worksheet>`))
	f.Add([]byte(`<worksheet><sheetData><row r="1"><c r="A1" s="3"><f>1</f></c></row><row r="2"><c r="A`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ScanSheet(data)
		if err != nil {
			return
		}
		for _, r := range s.Rows {
			if r.From > r.To || r.To > len(s.Cells) {
				t.Fatalf("row %d: cells %d to %d of %d", r.Number, r.From, r.To, len(s.Cells))
			}
		}
		if s.Cut {
			if again, err := ScanSheet(s.Repaired); err != nil || again.Cut || len(again.Rows) != len(s.Rows) {
				t.Fatalf("a repaired sheet must be whole: %v", err)
			}
		}
	})
}
