package table

// fewUnstamped lines with numbers below a header are rows of a table, though no
// cell of theirs reads as a date, a time or a running number.
const fewUnstamped = 3

// unstampedRows finds a table whose stamps are written in a way that is not
// known: below its header, nearly all lines have as many cells as it and numbers
// among them. Its rows are kept, so that what reads the stamps can say which it
// could not, and a stated layout can read them. nil = no such table.
func unstampedRows(rows []Row) *block {
	for i := range rows {
		width := len(dropEmptyTail(rows[i].Cells))
		if width < 2 || !headerLike(rows[i].Cells, width) || isBlankRow(rows[i].Cells) {
			continue
		}
		b := &block{header: []Row{rows[i]}, width: width, numbers: true, next: len(rows)}
		others := 0
		for _, r := range rows[i+1:] {
			s := shapeOf(r.Cells)
			switch {
			case s.filled == 0:
			case len(b.rows) == 0 && b.units == nil && isUnitRow(r.Cells):
				b.units = r.Cells
			case s.numbers > 0 && len(dropEmptyTail(r.Cells)) <= width && s.filled >= 2:
				b.take(r)
			default:
				others++
			}
		}
		if len(b.rows) >= fewUnstamped && len(b.rows) > 4*others {
			return b
		}
	}
	return nil
}

// firstAlike goes up from a line of words to the first of four or more in a row
// with as many: lines of words alone below a header that is one of them.
func firstAlike(rows []Row, i int) int {
	first, width := i, len(dropEmptyTail(rows[i].Cells))
	for k := i - 1; k >= 0; k-- {
		s := shapeOf(rows[k].Cells)
		if len(dropEmptyTail(rows[k].Cells)) != width || s.texts*2 <= s.filled || s.stamps > 0 {
			break
		}
		first = k
	}
	if i-first < 3 {
		return i
	}
	return first
}
