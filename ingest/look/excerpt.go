package look

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"yardheat/ingest/pack"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// Shown is a line of a file with the cell that a problem speaks of.
type Shown struct {
	Line, Column int
	// Cell is the name of a workbook's cell, "D12"; "" in a text.
	Cell string
	// Text is the line, decoded, signs without a shape of their own replaced; of a
	// workbook its row, cells parted by " | ".
	Text string
	// From and To are the bytes of Text that the cell takes; equal = none is meant,
	// or the line has no such cell.
	From, To int
	// Before and After: the line goes on to the left, to the right.
	Before, After bool
}

// Marked are the pieces of Text before the cell, the cell, and behind it.
func (s Shown) Marked() (before, cell, after string) {
	return s.Text[:s.From], s.Text[s.From:s.To], s.Text[s.To:]
}

// Bounds of an excerpt, in characters.
const (
	shownMost   = 240 // of the whole
	shownBefore = 80  // in front of the marked cell, where the line is longer
)

// Excerpt shows a line of a described table's file: b are the bytes of the file
// as it lies, packed or not. Line and column count from 1, as in Problem; column 0
// marks none. ok is false where the file has no such line.
func Excerpt(b []byte, t *Table, line, column int) (s Shown, ok bool) {
	if line < 1 {
		return Shown{}, false
	}
	s = Shown{Line: line, Column: column}
	if t.Sheet != "" || t.Separator == "" {
		return s.ofRow(b, t)
	}
	data, ok := member(b, t)
	if !ok {
		return Shown{}, false
	}
	text, ok := table.LineOf(data, t.Encoding, line)
	if !ok {
		return Shown{}, false
	}
	from, to, marked := table.CellSpan(text, t.Separator, column)
	if column < 1 || !marked {
		from, to = 0, 0
	}
	s.bound(text, from, to)
	return s, true
}

// member takes the table's export out of a packed file.
func member(b []byte, t *Table) ([]byte, bool) {
	members, err := pack.Open(t.File, b)
	if err != nil {
		return nil, false
	}
	for _, m := range members {
		if len(members) == 1 || strings.TrimLeft(strings.TrimPrefix(m.Name, t.File), ":/!, ") == t.Member {
			return m.Data, true
		}
	}
	return nil, false
}

// ofRow shows a row of a workbook, or of an export whose rows are no lines.
func (s Shown) ofRow(b []byte, t *Table) (Shown, bool) {
	data := b
	if t.Member != "" {
		var ok bool
		if data, ok = member(b, t); !ok {
			return Shown{}, false
		}
	}
	cells, ok, err := table.RowOf(t.File, data, table.Options{Sheet: t.Sheet}, s.Line)
	if err != nil || !ok {
		return Shown{}, false
	}
	if t.Sheet != "" && s.Column > 0 {
		_, s.Cell, _ = strings.Cut(series.PlaceOf(t.Sheet, s.Line, s.Column), ", ")
	}
	text, from, to := "", 0, 0
	for i, c := range cells {
		if i > 0 {
			text += " | "
		}
		if i == s.Column-1 {
			from, to = len(text), len(text)+len(c)
		}
		text += c
	}
	s.bound(text, from, to)
	return s, true
}

// bound keeps a long line's piece around the marked cell and replaces signs that
// show as nothing or turn the line's direction.
func (s *Shown) bound(text string, from, to int) {
	start, n := 0, 0
	for i := from; i > 0 && n < shownBefore; n++ {
		_, size := utf8.DecodeLastRuneInString(text[:i])
		i -= size
		start = i
	}
	if from == 0 || utf8.RuneCountInString(text) <= shownMost {
		start = 0
	}
	end, count := len(text), 0
	for i := range text[start:] {
		if count++; count > shownMost {
			end = start + i
			break
		}
	}
	s.Before, s.After = start > 0, end < len(text)
	from, to = min(max(from, start), end), min(max(to, start), end)
	before := readable(text[start:from])
	cell := readable(text[from:to])
	s.From, s.To = len(before), len(before)+len(cell)
	s.Text = before + cell + readable(text[to:end])
}

func readable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\t' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029') {
			return '\ufffd'
		}
		return r
	}, s)
}
