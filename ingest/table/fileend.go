package table

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
)

// A file that was cut while it was copied, or while its logger wrote, ends in
// the middle of a line. What is left of its last cell may read as a cell: 10 of
// 1023, 10:3 of 10:30. Only the rows before can tell.

// endRows is how many rows before the last one show what its cells should be;
// of a stream, as many are at hand.
const endRows = 30

func endsLine(text string) bool {
	return strings.HasSuffix(text, "\n") || strings.HasSuffix(text, "\r")
}

// cutEnd looks at the last row of a text that ends without a line break. What
// the rows before show to be cut is taken out and named; what they leave open
// is kept and named. A last row like the others is whole.
func cutEnd(rows []Row) ([]Row, []Problem) {
	n := len(rows) - 1
	if n < 3 {
		return rows, nil
	}
	last := rows[n]
	before := rowsLike(rows[:n])
	if len(before) < 3 {
		return rows, nil
	}
	col, width := len(last.Cells)-1, len(before[0].Cells)
	short := len(last.Cells) < width
	if col >= width || short && (last.Cells[0] == "" || last.Cells[0][0]-'0' > 9) {
		return rows, nil // a remark below the table
	}
	column := make([]string, 0, len(before))
	for _, r := range before {
		if c := r.Cells[col]; c != "" {
			column = append(column, c)
		}
	}
	why, cut := judgeEnd(last.Cells[col], column)
	if !cut && !short && why == "" {
		return rows, nil
	}
	p := Problem{Code: "file-cut", Line: last.Line, Column: col + 1}
	ends := fmt.Sprintf("the file ends without a line break after %s", quote(last.Cells[col]))
	switch {
	case cut && col == 0:
		p.Text = ends + ", " + why + ": it was cut, and the line is left out"
		return rows[:n], []Problem{p}
	case cut:
		p.Text = ends + ", " + why + ": it may have been cut, and the cell is left out"
		last.Cells[col] = ""
	case short:
		p.Text = fmt.Sprintf("%s, the %s of %d cells: it was cut", ends, ordinal(col+1), width)
	default:
		p.Code = "file-end"
		p.Text = ends + ", " + why + ": whether it was cut cannot be told; it is kept"
	}
	return rows, []Problem{p}
}

func ordinal(n int) string {
	switch {
	case n%100/10 != 1 && n%10 == 1:
		return fmt.Sprintf("%dst", n)
	case n%100/10 != 1 && n%10 == 2:
		return fmt.Sprintf("%dnd", n)
	case n%100/10 != 1 && n%10 == 3:
		return fmt.Sprintf("%drd", n)
	}
	return fmt.Sprintf("%dth", n)
}

// rowsLike are the rows of readings at the end that have as many cells as most there.
func rowsLike(rows []Row) []Row {
	rows = rows[max(0, len(rows)-endRows):]
	rows = slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return !shapeOf(r.Cells).isData() })
	count, width := map[int]int{}, 0
	for _, r := range rows {
		if count[len(r.Cells)]++; count[len(r.Cells)] > count[width] {
			width = len(r.Cells)
		}
	}
	var out []Row
	for _, r := range rows {
		if len(r.Cells) == width {
			out = append(out, r)
		}
	}
	return out
}

// judgeEnd holds a file's last cell against those above it. cut: it is shorter
// than any of them can be; else why says what is doubtful, "" = nothing.
func judgeEnd(cell string, column []string) (why string, cut bool) {
	if cell == "" || len(column) < 3 {
		return "", false
	}
	least, most, numbers, stamps := len(column[0]), 0, 0, 0
	for _, c := range column {
		least, most = min(least, len(c)), max(most, len(c))
		switch celltext.Classify(c) {
		case celltext.Number:
			numbers++
		case celltext.Stamp:
			stamps++
		}
	}
	switch {
	case stamps == len(column):
		if len(cell) < least {
			return fmt.Sprintf("where the stamps before have at least %d characters", least), true
		}
		return "", false
	case numbers == len(column):
		return judgeNumber(cell, column)
	case numbers == 0 && stamps == 0:
		return judgeWord(cell, column)
	}
	return "", false
}

// judgeNumber: fewer decimals than every number before has, or fewer digits and
// far from all of them: 9 may well follow 10, but 10 hardly 1023.
func judgeNumber(cell string, column []string) (why string, cut bool) {
	usual := decimals(column[0])
	leastDigits, mostDigits := 1<<30, 0
	for _, c := range column {
		if decimals(c) != usual {
			usual = -1 // zeros at the end are not written
		}
		n := wholeDigits(c)
		leastDigits, mostDigits = min(leastDigits, n), max(mostDigits, n)
	}
	got := decimals(cell)
	switch {
	case usual > 0 && got >= usual || got < 0:
		return "", false
	case usual > 0:
		return fmt.Sprintf("where every row before has %d decimals", usual), true
	case usual < 0 && got > 0:
		return "", false // numbers of any length
	}
	switch n := wholeDigits(cell); {
	case n < leastDigits && farFrom(cell, column):
		return fmt.Sprintf("where every row before has at least %d digits", leastDigits), true
	case n < mostDigits || usual < 0:
		return "where rows before have longer numbers", false
	}
	return "", false
}

// farFrom tells whether a whole number lies further from those before than they
// do from each other, and than a tenth of the greatest.
func farFrom(cell string, column []string) bool {
	v, _, _ := celltext.ParseNumber(cell, ".", "")
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range column {
		x, _, ok := celltext.ParseNumber(strings.Replace(c, ",", ".", 1), ".", "")
		if !ok {
			return false
		}
		low, high = min(low, x), max(high, x)
	}
	near := max(high-low, 0.1*max(math.Abs(low), math.Abs(high)))
	return v < low-near || v > high+near
}

// wholeDigits counts the digits before the decimal mark.
func wholeDigits(s string) int { return celltext.LeadingDigits(strings.TrimLeft(s, "+-\u2212")) }

// judgeWord: the beginning of a word that stands above, and none itself.
func judgeWord(cell string, column []string) (why string, cut bool) {
	whole := ""
	for _, c := range column {
		if c == cell {
			return "", false
		}
		if strings.HasPrefix(c, cell) {
			whole = c
		}
	}
	if whole == "" {
		return "", false
	}
	return "where rows before have " + quote(whole), true
}

// decimals counts the digits behind the last mark of a number; -1 = no number.
func decimals(s string) int {
	if celltext.Classify(s) != celltext.Number {
		return -1
	}
	i := strings.LastIndexAny(s, ".,")
	if i < 0 {
		return 0
	}
	return celltext.LeadingDigits(s[i+1:])
}
