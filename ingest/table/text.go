package table

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
	"yardheat/ingest/work"
)

// MaxTextB is how long a text may be that is cut into cells as a whole, and
// with the bound on its cells keeps the program under 512 MB whatever the text
// holds. Longer exports are read as streams (package stream), or in pieces.
const MaxTextB = 72 << 20

// readText reads a text export.
func readText(name string, data []byte, opt Options) ([]*Table, error) {
	if len(data) > MaxTextB {
		return nil, tooLarge(name, int64(len(data)), MaxTextB)
	}
	if err := refuseForeign(name, data); err != nil {
		return nil, err
	}
	text, enc, probs, err := decodeText(data, opt.Encoding, opt.Owned)
	if err != nil {
		return nil, &Error{File: name, Got: "encoding " + quote(opt.Encoding), Want: "one of " + charsetNames,
			Do: "correct encoding in [[log]] or leave it out to have it found", Err: err}
	}
	probs = append(probs, nulProblem(text)...)
	if opt.Separator == "" && opt.Header == nil {
		tables, handled, err := readNamed(Table{File: name, Encoding: enc, Problems: slices.Clone(probs)}, text, opt)
		if handled {
			return tables, err
		}
	}
	sep, from, line := textSeparator(text, opt)
	if sep == 0 {
		if inner, ok := unwrapLines(text); ok {
			text = inner
			sep, from, line = textSeparator(text, opt)
		}
	}
	base := Table{File: name, Encoding: enc}
	if sep != 0 {
		base.Separator = string(sep)
	}
	if sep == blankSep {
		tabbed, ok := cutBlanks(text[from:])
		if !ok {
			return nil, unevenBlanks(name, text[from:], line)
		}
		text, sep, from = tabbed, '\t', 0
	}
	work.Check(opt.Context)
	c := &cutter{ctx: opt.Context, text: text, sep: sep, torn: nulsInFewLines(text)}
	rows, err := c.cutAll(from, line)
	if err != nil {
		return nil, &Error{File: name, Line: rows[len(rows)-1].Line, Got: "a text of countless cells (" + err.Error() + ")", Want: "rows of readings",
			Do: "see what separator and line ends it has, or export shorter stretches, one file each", Err: err}
	}
	probs = append(probs, c.probs...)
	if !endsLine(text) {
		var p []Problem
		rows, p = cutEnd(rows)
		probs = append(probs, p...)
	}
	if r, ok := uncut(rows, sep); ok {
		return nil, &Error{File: name, Line: r.Line, Got: quote(r.Cells[0]), Want: "cells parted by a comma, semicolon, tab or |",
			Do: "set separator in [[log]], or export again with one of these between the cells", Err: errNoTable}
	}
	if sep != 0 && opt.Header == nil {
		if err := refuseRecords(rows); err != nil {
			return nil, inFile(err, name, "")
		}
	}
	work.Check(opt.Context)
	tables, err := tablesOf(base, rows, opt, sep)
	if err != nil {
		return nil, inFile(err, name, "")
	}
	spread(tables, probs)
	return pick(name, "", tables, opt.Table)
}

// textSeparator settles the separator and where reading starts.
func textSeparator(text string, opt Options) (sep byte, from, line int) {
	line = 1
	if s, next, ok := sepLine(text); ok {
		sep, from, line = s, next, 2
	}
	if s, ok := separatorByte(opt.Separator); ok {
		sep = s
	}
	if sep == 0 {
		sep = findSeparator(text[from:])
	}
	return sep, from, line
}

// unwrapLines takes off the quotation marks of a text in which every line is
// quoted as a whole, as a spreadsheet program leaves a CSV opened in one column.
func unwrapLines(text string) (string, bool) {
	var b strings.Builder
	for i := 0; i < len(text); {
		end, next := lineEnd(text, i)
		if line := celltext.Trim(text[i:end]); line != "" {
			if len(line) < 2 || line[0] != '"' || line[len(line)-1] != '"' {
				return "", false
			}
			b.WriteString(strings.ReplaceAll(line[1:len(line)-1], `""`, `"`))
		}
		b.WriteByte('\n')
		i = next
	}
	return b.String(), b.Len() > 0
}

// unevenBlanks is the error for rows that blanks cut into differing numbers of
// cells, and that no columns of fixed width fit.
func unevenBlanks(name, text string, line int) error {
	most := ""
	for i, n := 0, line; i < len(text); n++ {
		end, next := lineEnd(text, i)
		if words := wordsOf(text[i:end]); most == "" {
			if _, body := bodyWords(words); body {
				most, line = text[i:end], n
			}
		}
		i = next
	}
	return &Error{File: name, Line: line, Got: quote(most), Err: errNoTable,
		Want: "cells parted by a comma, semicolon, tab or |, or as many cells parted by blanks in every row, or columns of fixed width",
		Do:   "export again with a separator between the cells, or with a word such as NaN where there is no reading"}
}

// uncut finds a row that no separator cut and that holds more than a stamp.
func uncut(rows []Row, sep byte) (Row, bool) {
	if sep != 0 {
		return Row{}, false
	}
	for _, r := range rows {
		words := strings.Fields(r.Cells[0])
		if len(words) < 2 || !celltext.LooksLikeStamp(r.Cells[0]) {
			continue
		}
		last := words[len(words)-1]
		_, _, number := celltext.ParseNumber(strings.Replace(last, ",", ".", 1), ".", "")
		if year := len(last) == 4 && celltext.LeadingDigits(last) == 4; number && !year || len(words) > 8 {
			return r, true
		}
	}
	return Row{}, false
}

// tablesOf finds the tables among rows and finishes them.
func tablesOf(base Table, rows []Row, opt Options, sep byte) ([]*Table, error) {
	blocks := findBlocks(rows, opt.Header)
	if len(blocks) == 0 {
		b, err := headerOnly(rows, opt.Header)
		if err != nil {
			return nil, err
		}
		blocks = append(blocks, b)
	}
	var tables []*Table
	above := rows
	for _, b := range blocks {
		if err := b.refuseCutDecimals(sep, opt); err != nil {
			return nil, err
		}
		if err := refuseDayRows(rows, b, opt.Header != nil); err != nil {
			return nil, err
		}
		t := base
		work.Check(opt.Context)
		b.assemble(&t, opt)
		t.Preamble, above = preamble(above, rows, &t, b)
		t.Problems = append(t.Problems, unitChanges(&t)...)
		tables = append(tables, b.splitPairs(&t)...)
	}
	return tables, nil
}

// maxPreamble is how many lines above a header are kept.
const maxPreamble = 100

// preamble takes the filled rows above a table's first line off the rows that
// no table before it has used, and gives what lies behind the table.
func preamble(above, rows []Row, t *Table, b *block) (found, behind []Row) {
	first := t.firstLine()
	for _, r := range above {
		if r.Line >= first || len(found) == maxPreamble {
			break
		}
		if !isBlankRow(r.Cells) {
			found = append(found, r)
		}
	}
	return found, rows[min(max(b.next, 0), len(rows)):]
}

// headerOnly finds the header of a table that has no rows, or says why there
// is no table.
func headerOnly(rows []Row, forced *int) (*block, error) {
	if forced != nil && *forced > 0 {
		return nil, &Error{Line: *forced, Err: errNoTable, Got: "no such line, or an empty one", Want: "the header that [[log]] header names",
			Do: "correct header in [[log]] or leave it out to have it found"}
	}
	if b := unstampedRows(rows); b != nil {
		return b, nil
	}
	first := -1
	for i := len(rows) - 1; i >= 0; i-- {
		s := shapeOf(rows[i].Cells)
		if s.filled > 0 {
			first = i
		}
		if s.filled >= 2 && s.texts >= 2 && s.texts*2 > s.filled && s.stamps == 0 {
			i = firstAlike(rows, i)
			b := &block{header: []Row{rows[i]}, width: len(dropEmptyTail(rows[i].Cells))}
			if isUnitRow(rows[i].Cells) && i > 0 && headerLike(rows[i-1].Cells, b.width) {
				b.units, b.header = rows[i].Cells, []Row{rows[i-1]}
			}
			for _, r := range rows[i+1:] {
				if b.below++; b.below == 1 {
					b.firstBelow = r.Cells[lead(r.Cells)]
				}
			}
			return b, nil
		}
	}
	if first < 0 {
		return nil, &Error{Err: errNoTable, Got: "no filled cell", Want: "a header line and rows of readings", Do: "export the log again"}
	}
	return nil, &Error{Line: rows[first].Line, Err: errNoTable, Got: quote(strings.Join(rows[first].Cells, " | ")),
		Want: "a table: rows of cells parted by a comma, semicolon, tab or |, each with a date or a number",
		Do:   "look at the file in a text editor, then set separator and header in [[log]], or export it again as CSV"}
}

// inFile puts file and sheet into an error found deeper down.
func inFile(err error, name, sheet string) error {
	var e *Error
	if errors.As(err, &e) {
		e.File, e.Sheet = name, sheet
	}
	return err
}

// spread gives each problem of the whole file to the table whose lines it
// stands among.
func spread(tables []*Table, probs []Problem) {
	for _, p := range probs {
		at := tables[0]
		for _, t := range tables {
			if first := t.firstLine(); first > 0 && first <= p.Line {
				at = t
			}
		}
		at.Problems = append(at.Problems, p)
	}
}

func (t *Table) firstLine() int {
	switch {
	case t.HeaderLine > 0:
		return t.HeaderLine
	case len(t.Rows) > 0:
		return t.Rows[0].Line
	}
	return 0
}

// pick chooses the table that the farm file names.
func pick(name, sheet string, tables []*Table, n int) ([]*Table, error) {
	if n == 0 {
		return tables, nil
	}
	if n > len(tables) {
		return nil, &Error{File: name, Sheet: sheet, Got: fmt.Sprintf("%d tables", len(tables)), Want: fmt.Sprintf("table %d, as [[log]] table says", n),
			Do: "correct table in [[log]] or leave it out"}
	}
	return tables[n-1 : n], nil
}
