package table

import (
	"fmt"
	"strings"

	"yardheat/ingest/table/celltext"
)

// assemble makes the finished table of a block.
func (b *block) assemble(t *Table, opt Options) {
	t.Header = b.joinHeader()
	if len(b.header) > 0 {
		t.HeaderLine = b.header[0].Line
	}
	t.Units = celltext.HeaderUnits(t.Header)
	for i := range t.Header {
		if i < len(b.units) && b.units[i] != "" && !isNoUnit(b.units[i]) && !(i == 0 && celltext.IsUnitLead(b.units[i])) {
			t.Units[i] = celltext.StripBrackets(b.units[i])
		}
	}
	t.Rows = b.rows
	b.dropEmptyColumns(t)
	marks := countMarks(t.Rows, withClocks(t.Rows, b.keys))
	decimal, thousands, probs := marks.settle(opt)
	t.Decimal, t.Thousands = decimal, thousands
	t.Problems = append(t.Problems, probs...)
	t.Problems = append(t.Problems, marks.errorProblems(t.Header)...)
	t.Problems = append(t.Problems, b.shortLines(t)...)
	t.Problems = append(t.Problems, b.probs...)
	t.Problems = append(t.Problems, doubleNames(t)...)
	if len(t.Rows) == 0 {
		text := "a header without rows of readings"
		if b.below > 0 {
			text = fmt.Sprintf("none of the %d lines below the header reads as a row of readings, with a date, a time or numbers; the first begins with %s: if that is a stamp, write it as 2026-01-31 10:00; if not, see whether this is a table", b.below, quote(b.firstBelow))
		}
		t.Problems = append(t.Problems, Problem{Code: "no-rows", Line: t.HeaderLine, Text: text})
	}
}

// isNoUnit knows what a unit row has under a running number, a state or a
// text.
func isNoUnit(s string) bool {
	switch strings.ToLower(strings.Trim(s, "#.")) {
	case "no", "nr", "rn", "state", "status", "flag", "bool", "text", "string", "none":
		return true
	}
	return false
}

// joinHeader joins the header rows column by column. Where names repeat under
// groups that stand once over several columns, as a merged cell is exported,
// each group is carried on to the right: it is what tells the columns apart.
func (b *block) joinHeader() []string {
	names := b.joined(false)
	if len(b.header) < 2 || doubles(names) == 0 {
		return names
	}
	if carried := b.joined(true); doubles(carried) == 0 {
		return carried
	}
	return names
}

func (b *block) joined(carry bool) []string {
	names := make([]string, b.width)
	groups := make([]string, len(b.header)-min(1, len(b.header)))
	for i := range names {
		var parts []string
		for k, h := range b.header {
			cell := ""
			if i < len(h.Cells) {
				cell = h.Cells[i]
			}
			if carry && k < len(groups) && i > lead(b.header[len(b.header)-1].Cells) {
				if cell == "" {
					cell = groups[k]
				}
				groups[k] = cell
			}
			if cell != "" {
				parts = append(parts, cell)
			}
		}
		names[i] = celltext.FoldBlanks(strings.Join(parts, " "))
	}
	return names
}

// doubles counts the names that stood before.
func doubles(names []string) int {
	seen, n := map[string]bool{}, 0
	for _, s := range names {
		if s != "" && seen[s] {
			n++
		}
		seen[s] = true
	}
	return n
}

// dropEmptyColumns takes off columns at the right that have neither name nor
// any cell: what a separator at the line's end leaves.
func (b *block) dropEmptyColumns(t *Table) {
	w := b.width
	for w > 1 && t.Header[w-1] == "" && columnEmpty(t.Rows, w-1) {
		w--
	}
	if w == b.width {
		return
	}
	b.width = w
	t.Header, t.Units = t.Header[:w:w], t.Units[:w:w]
	for i := range t.Rows {
		t.Rows[i].Cells = t.Rows[i].Cells[:w:w]
	}
	for i := 0; i < len(b.short); i++ {
		if b.short[i].Column >= w {
			b.short = append(b.short[:i], b.short[i+1:]...)
			i--
		}
	}
}

func columnEmpty(rows []Row, col int) bool {
	for i := range rows {
		if rows[i].Cells[col] != "" {
			return false
		}
	}
	return true
}

// shortLines lists lines with too few cells: each one, unless short lines are
// the file's habit, as where a logger leaves out empty cells at the end.
func (b *block) shortLines(t *Table) []Problem {
	n := len(b.short)
	if n <= 3 || n*10 <= len(t.Rows) {
		return b.short
	}
	p := b.short[0]
	return []Problem{{Code: "short-lines", Line: p.Line, Column: p.Column,
		Text: fmt.Sprintf("%d of %d lines have fewer than the table's %d cells; the cells that are there are kept", n, len(t.Rows), b.width)}}
}

// doubleNames lists headers that stand more than once.
func doubleNames(t *Table) []Problem {
	seen := map[string]int{}
	var probs []Problem
	for i, h := range t.Header {
		if h == "" {
			continue
		}
		if first, dup := seen[h]; dup {
			probs = append(probs, Problem{Code: "double-header", Line: t.HeaderLine, Column: i + 1,
				Text: fmt.Sprintf("%s names columns %d and %d: call them #%d and #%d in [log.columns]", quote(h), first, i+1, first, i+1)})
			continue
		}
		seen[h] = i + 1
	}
	return probs
}

// refuseCutDecimals is an error where a comma serves both as separator and as
// decimal mark without quotes: no reader can put such cells together again.
func (b *block) refuseCutDecimals(sep byte, opt Options) error {
	if sep != ',' || len(b.rows) == 0 || opt.Decimal == "." {
		return nil
	}
	from := max(len(b.keys), 1)
	channels := b.width - from
	under := ""
	if len(b.header) > 0 {
		named := len(dropEmptyTail(b.joinHeader()))
		if channels = named - from; channels < 1 || b.width != named+channels && !b.overfull(named, channels) {
			return nil
		}
		under = fmt.Sprintf(" under a header of %d names", named)
	} else if channels%2 == 1 || !b.fractions(from) {
		return nil
	}
	full := 0
	for i := range b.rows[:min(len(b.rows), sampleRows)] {
		if b.rows[i].Cells[b.width-1] != "" {
			full++
		}
		for _, c := range b.fullCells(i)[from:] {
			if c != "" && celltext.LeadingDigits(strings.TrimLeft(c, "-+")) != len(strings.TrimLeft(c, "-+")) {
				return nil
			}
		}
	}
	if full == 0 {
		return nil
	}
	return &Error{Line: b.rows[0].Line, Column: from + 1, Err: errNoTable,
		Got:  fmt.Sprintf("%d whole numbers and stamps%s: %s", b.width, under, quote(strings.Join(b.rows[0].Cells, ","))),
		Want: "one cell a reading; the comma seems to be both separator and decimal mark",
		Do:   "export again with semicolons or tabs between the cells, or with a decimal point; decimal = \".\" in [[log]] if these are whole numbers"}
}

// overfull tells whether rows hold more cells than the header has names, by up
// to one a channel and not all by as many or always: some readings have
// decimals and some have none.
func (b *block) overfull(named, channels int) bool {
	over := 0
	for _, r := range b.rows[:min(len(b.rows), sampleRows)] {
		if n := len(dropEmptyTail(r.Cells)); n > named+channels {
			return false
		} else if n > named {
			over++
		}
	}
	return 5*over >= min(len(b.rows), sampleRows)
}

// fullCells are the cells of a row, or empty ones where some were missing and
// the others have moved.
func (b *block) fullCells(i int) []string {
	if cells := b.rows[i].Cells; cells[b.width-1] != "" {
		return cells
	}
	return make([]string, b.width)
}

// fractions tells, where no header counts the columns, whether every second
// cell looks like the decimals of the one before: as many digits in every row,
// among them zeros in front, or single digits of all sizes, or 0 and 5 throughout.
func (b *block) fractions(from int) bool {
	evidence, halves := false, true
	for col := from + 1; col < b.width; col += 2 {
		width, padded, digits := 0, false, map[string]bool{}
		for i := range b.rows[:min(len(b.rows), sampleRows)] {
			c := b.fullCells(i)[col]
			if c == "" {
				continue
			}
			if celltext.LeadingDigits(c) != len(c) || width > 0 && len(c) != width {
				return false
			}
			width = len(c)
			padded = padded || width > 1 && c[0] == '0'
			digits[c] = true
		}
		evidence = evidence || padded || width == 1 && len(digits) >= 6
		halves = halves && len(digits) == 2 && digits["0"] && digits["5"]
	}
	return evidence || halves
}
