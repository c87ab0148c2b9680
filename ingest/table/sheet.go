package table

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"yardheat/ingest/table/celltext"
	"yardheat/ingest/table/ooxml"
)

// sheetReader turns one sheet's cells into text.
type sheetReader struct {
	scan   *ooxml.Scan
	forms  *ooxml.Styles
	date04 bool
	rows   []Row
	words  []wordCell // text cells that read as numbers
}

// wordCell is where a text cell stands that reads as a number.
type wordCell struct{ row, col int }

// readSheet reads one checked sheet and finds its tables.
func (w *workbook) readSheet(book *excelize.File, s sheetPart, opt Options) ([]*Table, error) {
	r := &sheetReader{scan: s.scan, date04: w.date1904, forms: ooxml.NewStyles(book)}
	if err := r.read(book, s.name); err != nil {
		return nil, damaged(w.name, s.name, err)
	}
	r.fillMerged()
	probs := r.settleWords(opt)
	layout := opt
	layout.Decimal, layout.Thousands = "", ""
	base := Table{File: w.name, Sheet: s.name, Encoding: "XLSX"}
	tables, err := tablesOf(base, r.rows, layout, 0)
	if err != nil {
		return nil, inFile(err, w.name, s.name)
	}
	for _, t := range tables {
		t.Decimal, t.Thousands = ".", ""
	}
	spread(tables, append(probs, r.problems(w.archive.Cut)...))
	return pick(w.name, s.name, tables, opt.Table)
}

// read takes the cells from the library and holds them against the scan: a
// row or a number that the scan saw and the library does not give is an
// error.
func (r *sheetReader) read(book *excelize.File, sheet string) error {
	it, err := book.Rows(sheet)
	if err != nil {
		return fmt.Errorf("%w: %w", ooxml.ErrSheet, err)
	}
	defer func() { _ = it.Close() }() // read only
	width := 0
	for _, c := range r.scan.Cells {
		width = max(width, int(c.Col))
	}
	arena := make([]string, len(r.scan.Rows)*width)
	r.rows = make([]Row, 0, len(r.scan.Rows))
	number, at := 0, 0
	for it.Next() {
		number++
		cells, err := it.Columns()
		if err != nil {
			return fmt.Errorf("%w: row %d: %w", ooxml.ErrSheet, number, err)
		}
		if at >= len(r.scan.Rows) || r.scan.Rows[at].Number != number {
			continue
		}
		out := arena[:width:width]
		arena = arena[width:]
		if err := r.row(out, cells, r.scan.Rows[at]); err != nil {
			return err
		}
		r.rows = append(r.rows, Row{Line: number, Cells: out})
		at++
	}
	if err := it.Error(); err != nil {
		return fmt.Errorf("%w: %w", ooxml.ErrSheet, err)
	}
	if at != len(r.scan.Rows) || number != r.scan.Last {
		return fmt.Errorf("%w: %d of %d rows could be read", ooxml.ErrSheet, at, len(r.scan.Rows))
	}
	return nil
}

func (r *sheetReader) row(out, cells []string, row ooxml.ScanRow) error {
	for _, c := range r.scan.Cells[row.From:row.To] {
		col := int(c.Col) - 1
		if col >= len(cells) || cells[col] == "" {
			if c.Value && c.Kind == 'n' {
				return fmt.Errorf("%w: the number in %s could not be read", ooxml.ErrSheet, ooxml.CellName(col+1, row.Number))
			}
			continue
		}
		out[col] = r.cellText(cells[col], c)
		if c.Kind != 'n' && c.Kind != 'b' && c.Kind != 'e' && marked(out[col]) && celltext.Classify(out[col]) == celltext.Number {
			r.words = append(r.words, wordCell{len(r.rows), col})
		}
	}
	return nil
}

// cellText gives a cell as the rest of the program wants it.
func (r *sheetReader) cellText(raw string, c ooxml.ScanCell) string {
	raw = celltext.Trim(raw)
	switch c.Kind {
	case 'n':
		if form := r.forms.Of(c.Style); form != ooxml.PlainForm {
			raw, _ = ooxml.SerialText(raw, form, r.date04)
		}
	case 'b':
		if raw == "1" {
			return "TRUE"
		}
		return "FALSE"
	}
	return raw
}

// marked tells whether a text holds a mark that a number may have.
func marked(s string) bool {
	return len(s) < 40 && strings.ContainsAny(s, ".,' \u00a0\u2009\u202f\u2212")
}

// settleWords gives numbers that stand as text ("21,5") a point, by the same
// proof as for a text export.
func (r *sheetReader) settleWords(opt Options) []Problem {
	if len(r.words) == 0 {
		return nil
	}
	var m markCount
	for _, w := range r.words {
		m.cell(r.rows[w.row].Cells[w.col], r.rows[w.row].Line)
	}
	decimal, thousands, probs := m.settle(opt)
	for _, w := range r.words {
		cell := &r.rows[w.row].Cells[w.col]
		v, unit, ok := celltext.ParseNumber(*cell, decimal, thousands)
		if !ok {
			*cell += " (text)" // with the sheet's point it would read as another number
			continue
		}
		*cell = celltext.Trim(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
	}
	return probs
}

// fillMerged writes a header cell that is merged over several columns into
// each of them. One that begins in the table's first column is a title.
func (r *sheetReader) fillMerged() {
	if len(r.rows) == 0 {
		return
	}
	width, first := len(r.rows[0].Cells), ooxml.MaxCols
	for _, c := range r.scan.Cells {
		first = min(first, int(c.Col))
	}
	for _, ref := range r.scan.Merges {
		from, to, _ := strings.Cut(ref, ":")
		c1, r1, ok1 := ooxml.CellRef(from)
		c2, r2, ok2 := ooxml.CellRef(to)
		if !ok1 || !ok2 || r1 != r2 || c2 <= c1 || c2 > width || c1 <= first {
			continue
		}
		for i := range r.rows[:min(len(r.rows), 80)] {
			if r.rows[i].Line != r1 {
				continue
			}
			for c := c1; c < c2; c++ {
				r.rows[i].Cells[c] = r.rows[i].Cells[c1-1]
			}
		}
	}
}

// problems lists what the scan found.
func (r *sheetReader) problems(fileCut bool) []Problem {
	var probs []Problem
	s := r.scan
	switch {
	case s.Cut && s.DataWhole:
		probs = append(probs, Problem{Code: "workbook-cut", Line: s.Last,
			Text: fmt.Sprintf("the sheet ends too early, but behind its last row, %d: export or copy the workbook again", s.Last)})
	case s.Cut:
		probs = append(probs, Problem{Code: "workbook-cut", Line: s.Last, Text: fmt.Sprintf(
			"the sheet ends too early; it is read up to row %d, its last whole row, and what stood below is lost%s: export or copy the workbook again", s.Last, declared(s))})
	case fileCut:
		probs = append(probs, Problem{Code: "workbook-cut", Line: s.Last,
			Text: fmt.Sprintf("the file ends too early, but this sheet is whole up to its last row, %d: export or copy the workbook again", s.Last)})
	case s.Declared > s.Last:
		probs = append(probs, Problem{Code: "workbook-short", Line: s.Last,
			Text: fmt.Sprintf("the sheet says that it goes to row %d and ends with row %d: see whether rows are missing", s.Declared, s.Last)})
	}
	if s.Bare > 0 {
		probs = append(probs, Problem{Code: "formula-without-value", Text: fmt.Sprintf(
			"%d formulas have no stored result and are read as empty: open the workbook in a spreadsheet program and save it", s.Bare)})
	}
	return probs
}

func declared(s *ooxml.Scan) string {
	if s.Declared > s.Last {
		return fmt.Sprintf(" (the sheet says it goes to row %d)", s.Declared)
	}
	return ""
}
