package table

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"yardheat/ingest/pack"
	"yardheat/ingest/table/celltext"
	"yardheat/ingest/table/ooxml"
)

// sheetReader turns one sheet's cells into text.
type sheetReader struct {
	book    *workbook
	sheet   sheetPart
	scan    *ooxml.Summary
	serials ooxml.Serials
	rows    []Row
	words   []wordCell // text cells that read as numbers
	width   int        // columns up to the last that holds a value
	textB   int

	// One stretch of rows as it is read: texts in one piece, cells by their
	// ends in it, so that thousands of cells cost one allocation.
	text    []byte
	cells   []cutCell
	pending []int // number of cells up to each row's end
}

// cutCell is a cell whose text ends at end of the stretch.
type cutCell struct{ col, end int32 }

// wordCell is where a text cell stands that reads as a number.
type wordCell struct{ row, col int }

const (
	stretchB    = 256 << 10
	stretchRows = 4096
	// A cell costs a string header, a row its own and its slice's.
	cellB = 16
	rowB  = 32
	wordB = 48
)

// errLack is a part that a sheet leans on and that is not there: without the
// shared texts its words, without the styles its dates are lost.
var errLack = errors.New("a part is missing")

func newSheetReader(w *workbook, s sheetPart) *sheetReader {
	return &sheetReader{book: w, sheet: s, serials: ooxml.Serials{Date1904: w.date1904}}
}

// tables finds the tables of the sheet.
func (r *sheetReader) tables(opt Options) ([]*Table, error) {
	name, sheet := r.book.name, r.sheet.name
	r.fillMerged()
	mark, probs := r.settleWords(opt)
	layout := opt
	layout.Decimal, layout.Thousands = "", ""
	base := Table{File: name, Sheet: sheet, Encoding: r.book.form}
	tables, err := tablesOf(base, r.rows, layout, 0)
	if err != nil {
		return nil, inFile(err, name, sheet)
	}
	for _, t := range tables {
		t.Decimal, t.Thousands, t.TextDecimal = ".", "", mark
	}
	spread(tables, append(probs, r.problems(r.book.archive.Cut)...))
	return pick(name, sheet, tables, opt.Table)
}

// read reads the sheet to its end.
func (r *sheetReader) read() error {
	scan, err := ooxml.ReadSheet(r.book.archive.Stream(r.sheet.part), r.book.texts, r.row)
	switch {
	case errors.Is(err, ooxml.ErrNoText) && r.book.texts == nil:
		return fmt.Errorf("%w: %w", errLack, err)
	case err != nil:
		return err
	}
	if _, ok := r.book.styles.Of(scan.MaxStyle); !ok {
		if r.book.styles == nil {
			return fmt.Errorf("%w: the styles, which tell dates from numbers", errLack)
		}
		return fmt.Errorf("%w: a cell has style %d of %d", ooxml.ErrSheet, scan.MaxStyle, len(r.book.styles))
	}
	return r.finish(scan)
}

// finish ends the sheet with what was seen of it.
func (r *sheetReader) finish(scan *ooxml.Summary) error {
	r.scan = scan
	if err := r.flush(); err != nil {
		return err
	}
	r.level()
	r.book.heldB += r.heldB()
	return nil
}

// row takes the cells of one row.
func (r *sheetReader) row(row *ooxml.Row) error {
	for i := range row.Cells {
		c := &row.Cells[i]
		from := len(r.text)
		r.appendText(c)
		if len(r.text) == from {
			continue
		}
		if c.Kind == 's' || c.Kind == 'i' || c.Kind == 't' || c.Kind == 'd' {
			if text := r.text[from:]; marked(text) && celltext.Classify(string(text)) == celltext.Number {
				r.words = append(r.words, wordCell{len(r.rows), c.Col - 1})
			}
		}
		r.width = max(r.width, c.Col)
		r.cells = append(r.cells, cutCell{int32(c.Col - 1), int32(len(r.text))})
	}
	r.pending = append(r.pending, len(r.cells))
	r.rows = append(r.rows, Row{Line: row.Number})
	if len(r.text) > stretchB || len(r.pending) == stretchRows {
		return r.flush()
	}
	return nil
}

// heldB is how much memory the rows take, once all are as wide as the widest.
func (r *sheetReader) heldB() int {
	return r.textB + len(r.rows)*(rowB+r.width*cellB) + len(r.words)*wordB
}

// flush makes strings of the stretch.
func (r *sheetReader) flush() error {
	if len(r.pending) == 0 {
		return nil
	}
	r.textB += len(r.text)
	if r.book.heldB+r.heldB() > pack.MaxCellsB {
		return fmt.Errorf("rows up to %d, %d columns: %w", r.rows[len(r.rows)-1].Line, r.width, pack.TooMuch(pack.MaxCellsB))
	}
	text := string(r.text)
	arena := make([]string, len(r.pending)*r.width)
	rows := r.rows[len(r.rows)-len(r.pending):]
	at, from := 0, 0
	for i := range rows {
		out := arena[:r.width:r.width]
		arena = arena[r.width:]
		for ; at < r.pending[i]; at++ {
			c := r.cells[at]
			out[c.col] = text[from:c.end]
			from = int(c.end)
		}
		rows[i].Cells = out
	}
	r.text, r.cells, r.pending = r.text[:0], r.cells[:0], r.pending[:0]
	return nil
}

// level makes every row as wide as the widest, stretch by stretch.
func (r *sheetReader) level() {
	for from := 0; from < len(r.rows); {
		if len(r.rows[from].Cells) == r.width {
			from++
			continue
		}
		to := from
		for to < len(r.rows) && to-from < stretchRows && len(r.rows[to].Cells) < r.width {
			to++
		}
		arena := make([]string, (to-from)*r.width)
		for i := from; i < to; i++ {
			out := arena[:r.width:r.width]
			arena = arena[r.width:]
			copy(out, r.rows[i].Cells)
			r.rows[i].Cells = out
		}
		from = to
	}
}

// appendText writes a cell as the rest of the program wants it.
func (r *sheetReader) appendText(c *ooxml.Cell) {
	switch c.Kind {
	case 'n':
		switch style, _ := r.book.styles.Of(c.Style); {
		case style.Form == ooxml.Percent:
			r.text = ooxml.AppendPercent(r.text, c.Text)
			return
		case style.Form != ooxml.PlainForm:
			r.text = r.serials.Append(r.text, c.Text, style.Form)
			return
		case style.Unit != "":
			r.text = append(append(append(r.text, c.Text...), ' '), style.Unit...)
			return
		}
	case 'b':
		switch string(c.Text) {
		case "1", "true":
			r.text = append(r.text, "TRUE"...)
			return
		case "0", "false":
			r.text = append(r.text, "FALSE"...)
			return
		}
	case 's', 'i', 't':
		r.text = append(r.text, celltext.Trim(string(c.Text))...)
		return
	}
	r.text = append(r.text, c.Text...)
}

// marked tells whether a text holds a mark that a number may have.
func marked(b []byte) bool {
	return len(b) < 40 && bytes.ContainsAny(b, ".,' \u00a0\u2009\u202f\u2212")
}

// settleWords gives numbers that stand as text ("21,5") a point, by the same
// proof as for a text export.
func (r *sheetReader) settleWords(opt Options) (mark string, probs []Problem) {
	if len(r.words) == 0 {
		return "", nil
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
	return decimal, probs
}

// fillMerged writes a header cell that is merged over several columns into
// each of them. One that begins in the table's first column is a title.
func (r *sheetReader) fillMerged() {
	if len(r.rows) == 0 {
		return
	}
	for _, m := range r.scan.Merges {
		i, ok := slices.BinarySearchFunc(r.rows, m.Row, func(row Row, n int) int { return row.Line - n })
		if !ok || m.From <= r.scan.FirstCol {
			continue
		}
		for c := m.From; c < min(m.To, r.width); c++ {
			r.rows[i].Cells[c] = r.rows[i].Cells[m.From-1]
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
	if r.sheet.hidden {
		probs = append(probs, Problem{Code: "sheet-hidden", Text: "the sheet is hidden in the workbook and read all the same: sheet in [[log]] names the one that is meant"})
	}
	if s.Bare > 0 {
		probs = append(probs, Problem{Code: "formula-without-value", Text: fmt.Sprintf(
			"%d formulas have no stored result and are read as empty: open the workbook in a spreadsheet program and save it", s.Bare)})
	}
	return probs
}

func declared(s *ooxml.Summary) string {
	if s.Declared > s.Last {
		return fmt.Sprintf(" (the sheet says it goes to row %d)", s.Declared)
	}
	return ""
}
