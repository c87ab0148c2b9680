package table

import (
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
)

// commentMarks stand before a line that is no row (common practice, no source).
const commentMarks = "#%;/-* "

// borrowHeader finds the names of a table that no line of its own form names:
// in a remark right above it ("# STN,YYYYMMDD,HH"), in the statement that loads
// it into a database ("COPY readings (ts, supply) FROM"), or in a line cut by
// another separator. It gives as many names as the rows have cells.
func (b *block) borrowHeader(rows []Row, floor, start int) {
	width := shapeOf(rows[start].Cells).width
	if width < 2 {
		return
	}
	for i, seen := start-1, 0; i >= floor && seen < 2; i-- {
		line := strings.Trim(strings.Join(rows[i].Cells, " "), commentMarks)
		if line == "" {
			continue
		}
		seen++
		if names := namesIn(rows[i].Cells, width); names != nil && tellsOfColumns(names) {
			b.header = []Row{{Line: rows[i].Line, Cells: names}}
			return
		}
	}
}

// stampNames stand in the name of a column of stamps (common practice, no
// source).
var stampNames = strings.Fields("time date stamp datum zeit fecha hora heure data ora tijd yyyy")

// tellsOfColumns tells names from a remark that has as many commas: one of a
// column of stamps is among them, or a unit.
func tellsOfColumns(names []string) bool {
	for _, n := range names {
		low := strings.ToLower(n)
		if celltext.IsStampPart(n) || celltext.HeaderUnit(n) != "" && len(n) <= 40 ||
			len(n) <= 24 && slices.ContainsFunc(stampNames, func(w string) bool { return strings.Contains(low, w) }) {
			return true
		}
	}
	return false
}

// namesIn takes so many names out of a line; nil where it holds none, or
// another number.
func namesIn(cells []string, width int) []string {
	cells = dropEmptyTail(cells)
	if len(cells) == 0 {
		return nil
	}
	if first := strings.TrimLeft(cells[0], commentMarks); len(cells) == width && first != cells[0] && first != "" {
		names := append([]string{first}, cells[1:]...)
		if headerLike(names, width) {
			return names
		}
	}
	if inner, ok := copyColumns(strings.Join(cells, ",")); ok {
		cells = []string{inner}
	}
	if len(cells) > 1 {
		return nil
	}
	for _, sep := range separators {
		names := strings.Split(strings.TrimLeft(cells[0], "#"), string(sep))
		for i := range names {
			names[i] = strings.Trim(celltext.Trim(names[i]), "\"`")
		}
		if len(names) == width && headerLike(names, width) && shapeOf(names).filled == width {
			return names
		}
	}
	return nil
}

// copyColumns is the list of columns in "COPY readings (id, ts) FROM stdin;".
func copyColumns(line string) (list string, ok bool) {
	if len(line) < 5 || !strings.EqualFold(line[:5], "COPY ") {
		return "", false
	}
	open, end := strings.IndexByte(line, '('), strings.IndexByte(line, ')')
	if open < 0 || end < open {
		return "", false
	}
	return line[open+1 : end], true
}
