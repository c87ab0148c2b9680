package stream

import (
	"bytes"
	"math"
	"strings"
	"unsafe"

	"yardheat/ingest/clock"
	"yardheat/ingest/table/celltext"
)

// block is a stretch of whole lines and what came of them.
type block struct {
	index int
	bytes []byte // ends with a line break; its capacity goes padding bytes further
	at    int64  // where it begins in the file
	line  int    // number of its first line
	runs  []clock.Run
	bad   [][]BadCell
	fails []FailedCells
	badN  []int
	odd   []OddLine
	err   error
}

// pow10 holds the powers of ten that a float64 holds exactly, as far as 15
// digits go.
var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// What is done with a cell.
const (
	skipCell int16 = -1 - iota
	noCell
	firstStamp
	secondStamp
)

// reader reads the lines of blocks by a plan into shared columns; one a worker.
type reader struct {
	plan    *Plan
	do      []int16 // by cell: an index into plan.Columns, or one of the above
	rows    *Rows
	stamper clock.Stamper
	scratch [2][64]byte
	turn    int
	b       *block
	stamp   [2]string
	like    bool  // the stamp is one like the last line's, and clockMS its time of day
	clockMS int64 // see like
	// By column, the rows of the last bad and the last failed cell.
	badAt, failedAt []int
	// By cell: how it is mostly written and where its values go, the last way in
	// which it was written otherwise, and the end of the cells from it on that are
	// all numbers.
	lanes  []lane
	others []shape
	until  []int
}

func newReader(plan *Plan, rows *Rows) *reader {
	r := &reader{plan: plan, rows: rows, do: make([]int16, plan.Width), badAt: make([]int, len(plan.Columns)), failedAt: make([]int, len(plan.Columns)),
		lanes: make([]lane, plan.Width), others: make([]shape, plan.Width), until: make([]int, plan.Width)}
	for k := range r.badAt {
		r.badAt[k], r.failedAt[k] = -1, -1
	}
	for i := range r.do {
		r.do[i] = skipCell
	}
	for i := plan.Named; i < plan.Width; i++ {
		r.do[i] = noCell
	}
	for k, c := range plan.Columns {
		r.do[c.Index] = int16(k)
		r.lanes[c.Index] = lane{noShape, rows.V[k]}
	}
	for k, i := range plan.Stamp {
		r.do[i] = firstStamp - int16(k)
	}
	for i := plan.Width - 1; i >= 0; i-- {
		if r.until[i] = i + 1; i+1 < plan.Width && r.do[i+1] >= 0 {
			r.until[i] = r.until[i+1]
		}
	}
	return r
}

// read reads all lines of a block.
func (r *reader) read(b *block) {
	r.b = b
	r.stamper, r.stamp = clock.Stamper{}, [2]string{}
	b.bad, b.badN = make([][]BadCell, len(r.plan.Columns)), make([]int, len(r.plan.Columns))
	b.fails = make([]FailedCells, len(r.plan.Columns))
	line := b.line
	for at := 0; at < len(b.bytes) && b.err == nil; line++ {
		at = r.line(at, line)
	}
	r.stamper.Flush()
	b.runs = r.stamper.Runs
	b.bytes = nil
}

// line reads the line that begins at i and gives where the next begins.
func (r *reader) line(i, line int) int {
	text, from, row := r.b.bytes[:len(r.b.bytes)+padding], i, line-r.plan.FirstLine
	r.like = false
	for cell := 0; cell < len(r.do); cell++ {
		if r.do[cell] >= 0 {
			n := 0
			i, n = fitting(text, i, r.lanes[cell:r.until[cell]], row)
			if cell += n; cell == r.until[cell-n] {
				cell--
				continue
			}
		}
		var ok bool
		if i, ok = r.oneCell(text, i, row, cell); !ok {
			return r.odd(from, line, row)
		}
	}
	ms, ok := r.clock(row)
	if !ok {
		return r.odd(from, line, row)
	}
	r.rows.ClockMS[row] = ms
	return i
}

// oneCell reads one cell and what ends it, and gives where the next begins.
func (r *reader) oneCell(text []byte, i, row, cell int) (int, bool) {
	last := cell == len(r.do)-1
	do := r.do[cell]
	if do >= 0 {
		if v, s := shapeAt(text[i:], r.plan.Decimal); s.size > 0 && (!last && s.end == r.plan.Separator || last && s.end == '\n') {
			r.rows.V[do][row] = v
			r.learn(cell, s)
			return i + s.size, true
		}
	}
	i, ok := r.cell(i, row, do)
	c := text[i]
	if c == '\r' && text[i+1] == '\n' {
		i, c = i+1, '\n'
	}
	return i + 1, ok && last == (c == '\n') && (last || c == r.plan.Separator)
}

// learn takes a shape for a column's once two cells that did not fit had it.
func (r *reader) learn(cell int, s shape) {
	if o := &r.others[cell]; o.size == s.size && o.want == s.want {
		r.lanes[cell].shape = s
	}
	r.others[cell] = s
}

// cell reads one cell of any kind and gives where it ends.
func (r *reader) cell(i, row int, do int16) (int, bool) {
	switch {
	case r.b.bytes[i] == '"':
		return r.quoted(i, row, do)
	case do >= 0:
		return r.number(i, row, int(do))
	case do == skipCell:
		return r.skip(i), true
	case do == noCell:
		return i, true // what ends an empty cell must follow at once
	}
	return r.stampCell(i, int(firstStamp-do))
}

// clock reads the line's stamp.
func (r *reader) clock(row int) (int64, bool) {
	if r.like && r.stamper.AddLike(row, r.stamp[0]) {
		return r.clockMS, true
	}
	if len(r.plan.Stamp) == 1 {
		return r.stamper.Add(row, r.stamp[0])
	}
	a, b := dayPart(r.stamp[0]), r.stamp[1]
	if a == "" || b == "" || len(a)+1+len(b) > len(r.scratch[0]) {
		return 0, false
	}
	buf := r.scratch[r.turn][:]
	r.turn ^= 1
	n := copy(buf, a)
	buf[n] = ' '
	n += 1 + copy(buf[n+1:], b)
	return r.stamper.Add(row, unsafe.String(&buf[0], n))
}

// dayPart takes a midnight off a date that has a time of day beside it; see
// package stamps, which does the same to cells.
func dayPart(date string) string {
	for _, sep := range [...]string{"T", " "} {
		if day, rest, ok := strings.Cut(date, sep); ok && strings.Trim(rest, "0:.") == "" && strings.Contains(rest, ":") {
			return day
		}
	}
	return date
}

// skip finds the end of a cell that is not read.
func (r *reader) skip(i int) int {
	text, sep := r.b.bytes, r.plan.Separator
	for {
		if c := text[i]; c == sep || c == '\n' || c == '\r' || c == '"' {
			return i
		}
		i++
	}
}

// cellEnd finds the end of a cell, and whether quotes stand in it.
func (r *reader) cellEnd(i int) (end int, quoted bool) {
	text, sep := r.b.bytes, r.plan.Separator
	for {
		switch c := text[i]; {
		case c == '"':
			quoted = true
		case c == sep || c == '\n' || c == '\r':
			return i, quoted
		}
		i++
	}
}

func (r *reader) stampCell(i, k int) (int, bool) {
	if n := len(r.stamp[0]); n > 0 && len(r.plan.Stamp) == 1 && i+n < len(r.b.bytes) && r.b.bytes[i+n] == r.plan.Separator {
		text := unsafe.String(&r.b.bytes[i], n)
		if r.clockMS, r.like = r.stamper.Like(text); r.like {
			r.stamp[0] = text
			return i + n, true
		}
	}
	end, quoted := r.cellEnd(i)
	if quoted || end == i {
		return end, false
	}
	r.stamp[k] = celltext.Trim(unsafe.String(&r.b.bytes[i], end-i))
	return end, true
}

// quoted reads a cell between quotes that holds neither quotes nor a line
// break; every other is package table's.
func (r *reader) quoted(i, row int, do int16) (int, bool) {
	text := r.b.bytes
	n := bytes.IndexByte(text[i+1:], '"')
	if n < 0 {
		return i, false
	}
	inner, end := text[i+1:i+1+n], i+2+n
	if bytes.IndexByte(inner, '\n') >= 0 || bytes.IndexByte(inner, '\r') >= 0 {
		return i, false
	}
	switch {
	case do == skipCell:
		return end, true
	case do == noCell:
		return end, n == 0
	case do >= 0:
		return end, r.value(string(inner), row, int(do))
	case n == 0:
		return end, false
	}
	r.stamp[firstStamp-do] = celltext.Trim(unsafe.String(&inner[0], n))
	return end, true
}

// number reads the cell at i into column k. 15 digits stay below 2^53 and the
// power of ten is exact, so that one division is correctly rounded (Clinger
// 1990, the fast path; from memory), as in celltext.ParseNumber.
func (r *reader) number(i, row, k int) (int, bool) {
	text, from, dec := r.b.bytes, i, r.plan.Decimal
	c := text[i]
	neg := c == '-'
	if neg || c == '+' {
		i++
		c = text[i]
	}
	mantissa, first := uint64(0), i
	for c -= '0'; c <= 9; c = text[i] - '0' {
		mantissa = mantissa*10 + uint64(c)
		i++
	}
	digits, places := i-first, 0
	if text[i] == dec {
		i++
		first = i
		for c = text[i] - '0'; c <= 9; c = text[i] - '0' {
			mantissa = mantissa*10 + uint64(c)
			i++
		}
		places = i - first
		digits += places
	}
	if c = text[i]; c != r.plan.Separator && c != '\n' && c != '\r' || digits == 0 || digits > 15 {
		return r.other(from, row, k)
	}
	v := float64(mantissa)
	if places > 0 {
		v /= pow10[places]
	}
	if neg {
		v = -v
	}
	r.rows.V[k][row] = v
	return i, true
}

// other reads a cell that is no plain number.
func (r *reader) other(from, row, k int) (int, bool) {
	end, quoted := r.cellEnd(from)
	if quoted {
		return end, false
	}
	return end, r.value(string(r.b.bytes[from:end]), row, k)
}

// value reads the text of a cell into column k; false where the line has to be
// left to package table.
func (r *reader) value(text string, row, k int) bool {
	text = celltext.Trim(text)
	v, what := math.NaN(), Missing
	if text != "" {
		v, what = r.plan.Columns[k].Cell(text)
	}
	switch what {
	case Odd:
		return false
	case Value:
		r.rows.V[k][row] = v
		return true
	case Failed:
		r.failedAt[k] = row
		r.b.fails[k].Add(row, text)
	case Bad:
		r.badAt[k] = row
		if r.b.badN[k]++; len(r.b.bad[k]) < shownOfBad {
			r.b.bad[k] = append(r.b.bad[k], BadCell{Row: row, Text: text})
		}
	}
	r.rows.V[k][row] = math.NaN()
	return true
}

// odd leaves the line that begins at from to package table and gives where
// the next begins. An empty line is only a hole.
func (r *reader) odd(from, line, row int) int {
	b := r.b
	end := from + bytes.IndexByte(b.bytes[from:], '\n')
	r.rows.ClockMS[row] = clock.Bad
	for k := range r.rows.V {
		r.rows.V[k][row] = math.NaN()
		r.undo(k, row)
	}
	text := b.bytes[from:end]
	switch {
	case len(celltext.Trim(string(text))) == 0:
	case len(b.odd) >= mostOdd:
		b.err = irregular(line, "more than %d lines do not fit the others", mostOdd)
	default:
		b.odd = append(b.odd, OddLine{Line: line, At: b.at + int64(from), Text: string(text)})
	}
	return end + 1
}

// undo takes back what the cells of an odd line were counted as.
func (r *reader) undo(k, row int) {
	if r.failedAt[k] == row {
		r.failedAt[k] = -1
		if r.b.fails[k].Count--; r.b.fails[k].Count == 0 {
			r.b.fails[k] = FailedCells{}
		}
	}
	if r.badAt[k] == row {
		r.badAt[k] = -1
		r.b.badN[k]--
		if n := len(r.b.bad[k]); n > 0 && r.b.bad[k][n-1].Row == row {
			r.b.bad[k] = r.b.bad[k][:n-1]
		}
	}
}
