package table

import (
	"context"
	"fmt"
	"strings"

	"yardheat/ingest/pack"
	"yardheat/ingest/table/celltext"
	"yardheat/ingest/work"
)

// lineEnd finds the end of the line that starts at i and the start of the
// next. LF, CR, CR LF and CR CR LF each end one line.
func lineEnd(text string, i int) (end, next int) {
	n := strings.IndexAny(text[i:], "\r\n")
	if n < 0 {
		return len(text), len(text)
	}
	end = i + n
	return end, afterBreak(text, end)
}

// afterBreak gives the start of the line behind the line break at i.
func afterBreak(text string, i int) int {
	j := i
	for j < len(text) && text[j] == '\r' {
		j++
	}
	if j < len(text) && text[j] == '\n' {
		return j + 1
	}
	return i + 1
}

// cutter cuts a text into rows of cells. Cells are substrings of the text,
// rows are carved from shared blocks.
type cutter struct {
	ctx   context.Context
	text  string
	sep   byte
	arena []string
	probs []Problem
	cells int
	from  int // where the open row begins in the arena
	// torn: NULs stand in few lines only, so that a cell that holds some was
	// broken by them, and is no cell of fixed length that they fill up.
	torn bool
}

// Room that a row and a cell take beside the text itself.
const (
	rowRoomB  = 72 // 32, more than twice that while the list of rows is moved
	cellRoomB = 16
	// mostRoomB is what rows and cells of one text may take.
	mostRoomB = 192 << 20
	// mostCells of one line: more than any sheet can have columns.
	mostCells = 20_000
)

// cutAll cuts the whole text from offset i, whose line number is line. The
// error is that of a text with too many cells to keep; the rows are then those
// cut before.
func (c *cutter) cutAll(i, line int) ([]Row, error) {
	rows := make([]Row, 0, min(64+strings.Count(c.text[i:], "\n"), mostRoomB/rowRoomB))
	quotes := strings.IndexByte(c.text, '"') >= 0
	for i < len(c.text) {
		work.CheckEvery(c.ctx, len(rows), 4096)
		c.reserve()
		from := len(c.arena)
		c.from = from
		next, lines := 0, 1
		if quotes {
			next, lines = c.cutQuoted(i, line)
		} else {
			next = c.cutPlain(i)
		}
		rows = append(rows, Row{Line: line, Cells: c.arena[from:len(c.arena):len(c.arena)]})
		if c.cells += len(c.arena) - from; len(c.arena)-from > mostCells || len(rows)*rowRoomB+c.cells*cellRoomB > mostRoomB {
			return rows, pack.TooMuch(mostRoomB)
		}
		i, line = next, line+lines
	}
	return rows, nil
}

// reserve makes sure that a usual row fits the current block, so that rows
// already carved are never moved.
func (c *cutter) reserve() {
	if cap(c.arena)-len(c.arena) < 64 {
		c.arena = make([]string, 0, 16384)
	}
}

// add appends a cell; a block that is full is left to its rows and the open
// row goes on in a copy. Of a row with too many cells the rest is not kept, as
// cutAll refuses it.
func (c *cutter) add(cell string) {
	if len(c.arena)-c.from > mostCells {
		return
	}
	kept := celltext.Trim(cell)
	if c.torn && len(kept) < len(cell) && brokenByNULs(cell, len(c.arena) == c.from) {
		kept = strings.ReplaceAll(strings.Trim(cell, " \t\r"), "\x00", "\u2400") // seen in messages, and in no number
	}
	c.arena = append(c.arena, kept)
}

// brokenByNULs tells a cell that NULs have cut short, and that must not read as
// what is left of it ("2026-01-05 1" as one o'clock), from one that is
// nothing but NULs, and from a line's first cell that is whole behind them.
func brokenByNULs(cell string, first bool) bool {
	if first {
		cell = strings.TrimLeft(cell, "\x00")
	}
	return strings.IndexByte(cell, 0) >= 0 && celltext.Trim(cell) != ""
}

// nulsInFewLines tells whether fewer than half of the lines hold NULs.
func nulsInFewLines(text string) bool {
	if strings.IndexByte(text, 0) < 0 {
		return false
	}
	lines, broken := 0, 0
	for i := 0; i < len(text); {
		end, next := lineEnd(text, i)
		lines++
		if strings.IndexByte(text[i:end], 0) >= 0 {
			broken++
		}
		i = next
	}
	return 2*broken < lines
}

// cutPlain cuts one line of a text without quotes.
func (c *cutter) cutPlain(i int) (next int) {
	text, sep, from := c.text, c.sep, i
	for ; i < len(text); i++ {
		switch b := text[i]; {
		case b == sep && sep != 0:
			c.add(text[from:i])
			from = i + 1
		case b == '\n' || b == '\r':
			c.add(text[from:i])
			return afterBreak(text, i)
		}
	}
	c.add(text[from:])
	return len(text)
}

// cutQuoted cuts one record by RFC 4180: a quoted cell may hold separators,
// doubled quotes and line breaks. A quote that is never rightly closed is
// listed and taken as written, or left out before a stamp or a number: it must
// not swallow the lines after it.
func (c *cutter) cutQuoted(i, line int) (next, lines int) {
	lines = 1
	for {
		i = c.skipBlanks(i)
		if i < len(c.text) && c.text[i] == '"' {
			cell, end, breaks, ok := c.quotedCell(i)
			if ok {
				c.add(cell)
				lines += breaks
				if end < len(c.text) && c.text[end] == c.sep && c.sep != 0 {
					i = end + 1
					continue
				}
				if end < len(c.text) {
					end = afterBreak(c.text, end)
				}
				return end, lines
			}
			c.probs = append(c.probs, Problem{Code: "stray-quote", Line: line + lines - 1, Column: 1,
				Text: fmt.Sprintf("a quotation mark is opened and not closed: %s; the line is read as if it were not quoted", quote(c.lineFrom(i)))})
			if celltext.Classify(celltext.Trim(c.text[i+1:c.plainEnd(i+1)])) != celltext.Text {
				i++
			}
		}
		end := c.plainEnd(i)
		c.add(c.text[i:end])
		if end < len(c.text) && c.text[end] == c.sep {
			i = end + 1
			continue
		}
		if end < len(c.text) {
			end = afterBreak(c.text, end)
		}
		return end, lines
	}
}

func (c *cutter) lineFrom(i int) string {
	end, _ := lineEnd(c.text, i)
	return c.text[i:end]
}

func (c *cutter) skipBlanks(i int) int {
	for i < len(c.text) && (c.text[i] == ' ' || c.text[i] == '\t' && c.sep != '\t') {
		i++
	}
	if strings.HasPrefix(c.text[i:], "\ufeff") {
		i += len("\ufeff")
	}
	return i
}

// plainEnd finds the separator or line break that ends an unquoted cell.
func (c *cutter) plainEnd(i int) int {
	for ; i < len(c.text); i++ {
		if b := c.text[i]; b == c.sep && c.sep != 0 || b == '\n' || b == '\r' {
			return i
		}
	}
	return i
}

// maxQuotedLines is how many lines one quoted cell may span.
const maxQuotedLines = 20

// quotedCell reads the quoted cell at i. end is the separator, line break or
// end of text behind it; ok is false where the quote is a stray one: never
// closed, closed in the middle of a word, or spanning lines that begin with a
// stamp of their own.
func (c *cutter) quotedCell(i int) (cell string, end, breaks int, ok bool) {
	from, doubled := i+1, false
	for j := from; j < len(c.text); j++ {
		switch c.text[j] {
		case '"':
			if j+1 < len(c.text) && c.text[j+1] == '"' {
				doubled = true
				j++
				continue
			}
			cell = c.text[from:j]
			if doubled {
				cell = strings.ReplaceAll(cell, `""`, `"`)
			}
			end = c.skipBlanks(j + 1)
			closed := end >= len(c.text) || c.text[end] == c.sep && c.sep != 0 || c.text[end] == '\n' || c.text[end] == '\r'
			return cell, end, breaks, closed
		case '\n', '\r':
			breaks++
			j = afterBreak(c.text, j) - 1
			if breaks > maxQuotedLines || c.beginsRow(j+1) {
				return "", 0, 0, false
			}
		}
	}
	return "", 0, 0, false
}

// beginsRow tells whether the line at i begins like a row of readings.
func (c *cutter) beginsRow(i int) bool {
	i = c.skipBlanks(i)
	if i < len(c.text) && c.text[i] == '"' {
		i++
	}
	end := i
	for end < len(c.text) && end < i+80 && c.text[end] != c.sep && c.text[end] != '"' && c.text[end] != '\n' && c.text[end] != '\r' {
		end++
	}
	return celltext.LooksLikeStamp(celltext.Trim(c.text[i:end]))
}

// quote shows what stood in a file, cut short.
func quote(s string) string {
	s = s[:min(len(s), 400)] // a line may be the whole file
	if r := []rune(s); len(r) > 60 {
		s = string(r[:57]) + "..."
	}
	return fmt.Sprintf("%q", s)
}
