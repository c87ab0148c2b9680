package table

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
)

// block is one table found among the rows of a file: header rows, unit row,
// rows of readings.
type block struct {
	header  []Row // top to bottom
	units   []string
	rows    []Row
	width   int   // cells of a usual row
	keys    []int // columns that hold stamps
	numbers bool  // some cell of the first rows is a number
	probs   []Problem
	short   []Problem // lines with too few cells, until it is known whether that is the file's habit
	next    int       // index of the first row behind the block
	// below counts filled lines below the header of a table without rows;
	// firstBelow is the first one's first cell.
	below      int
	firstBelow string
}

// sampleRows is how many rows at a block's head settle its width and its
// stamp columns.
const sampleRows = 50

// maxHeaderRows is how many header rows are joined, the unit row not counted.
const maxHeaderRows = 4

// findBlocks finds the tables among rows. forced is the header's line from
// the farm file (nil = find it, 0 = none).
func findBlocks(rows []Row, forced *int) []*block {
	var blocks []*block
	from := 0
	if forced != nil && *forced > 0 {
		for from < len(rows) && rows[from].Line < *forced {
			from++
		}
		if b := forcedBlock(rows, from); b != nil {
			return []*block{b}
		}
		return nil
	}
	for from < len(rows) {
		start := seekData(rows, from)
		if start < 0 {
			break
		}
		b := &block{}
		if forced == nil {
			b.takeHeader(rows, from, start)
			if len(b.header) == 0 {
				b.borrowHeader(rows, from, start)
			}
		}
		b.measure(rows, start)
		b.consume(rows, start)
		if b.next <= start { // its first row belongs to no table
			b.next = start + 1
			if n := len(blocks); n > 0 {
				blocks[n-1].note("not-a-row", rows[start], "no row of readings; left out")
			}
		} else {
			blocks = append(blocks, b)
		}
		from = b.next
	}
	return dropPreambleBlocks(blocks)
}

// forcedBlock reads the table whose header stands at rows[at]: text rows
// between it and the first row of readings belong to the header.
func forcedBlock(rows []Row, at int) *block {
	if at >= len(rows) {
		return nil
	}
	b := &block{header: []Row{rows[at]}}
	start := at + 1
	for ; start < len(rows); start++ {
		cells := rows[start].Cells
		if isBlankRow(cells) {
			continue
		}
		if s := shapeOf(cells); s.isData() || s.filled*2 < len(dropEmptyTail(rows[at].Cells)) {
			break
		}
		if b.units == nil && isUnitRow(cells) {
			b.units = cells
		} else if len(b.header) < maxHeaderRows {
			b.header = append(b.header, rows[start])
		}
	}
	b.measure(rows, start)
	b.consume(rows, start)
	return b
}

// seekData finds the first row at or behind from that begins a run of
// readings: the next such row is of its kind and near, or only footers follow.
func seekData(rows []Row, from int) int {
	for i := from; i < len(rows); i++ {
		s := shapeOf(rows[i].Cells)
		if !s.isData() {
			continue
		}
		j, others := i+1, 0
		for ; j < len(rows) && others < 4; j++ {
			next := shapeOf(rows[j].Cells)
			if next.isData() {
				if len(rows[j].Cells) == len(rows[i].Cells) && next.firstStamp == s.firstStamp || others == 0 {
					return i
				}
				break
			}
			if next.filled > 0 {
				others++
			}
		}
		if j == len(rows) {
			return i
		}
	}
	return -1
}

// takeHeader collects header and unit rows above start, not above floor.
func (b *block) takeHeader(rows []Row, floor, start int) {
	width := shapeOf(rows[start].Cells).width
	for j := start; j < min(start+3, len(rows)); j++ {
		width = max(width, shapeOf(rows[j].Cells).width)
	}
	for i := start - 1; i >= floor && len(b.header) < maxHeaderRows; i-- {
		cells := rows[i].Cells
		if isBlankRow(cells) {
			if len(b.header) > 0 || i < start-2 {
				break
			}
			continue
		}
		if isRule(cells) && len(b.header) == 0 {
			continue
		}
		switch {
		case b.units == nil && len(b.header) > 0 && celltext.IsUnitLead(cells[lead(cells)]) && isUnitRow(cells): // among the names or above them
			b.units = cells
		case b.units == nil && (len(b.header) == 0 || isStatistic(b.header[0].Cells)) && isUnitRow(cells) && i > floor && headerLike(rows[i-1].Cells, width):
			b.units = cells
		case len(b.header) == 0 && headerLike(cells, width),
			len(b.header) == 1 && emptyAt(b.header[0].Cells, lead(cells)) && headerLike(cells, width),
			len(b.header) == 0 && i > floor && groupLike(cells, rows[i-1].Cells) && headerLike(rows[i-1].Cells, width), // names under a few groups only
			len(b.header) > 0 && groupLike(cells, b.header[0].Cells):
			b.header = append([]Row{rows[i]}, b.header...)
		default:
			return
		}
	}
}

// headerLike tells whether a row can name columns of a table that is width
// cells wide.
func headerLike(cells []string, width int) bool {
	s := shapeOf(cells)
	if s.stamps > 0 || s.texts == 0 || s.numbers > s.texts && !isNumbered(cells) {
		return false
	}
	if width <= 1 {
		return s.filled == 1
	}
	return s.filled >= 2 && s.filled*2 >= width
}

// isNumbered knows names of columns that are numbers behind one or two of
// words: "Date;Time;1;2;3", each number once, whole and rising, or depths such
// as "20 cm".
func isNumbered(cells []string) bool {
	last, from := -1.0, lead(cells)
	for i, c := range dropEmptyTail(cells) {
		if i == from || i == from+1 && celltext.Classify(c) == celltext.Text {
			continue
		}
		v, unit, ok := celltext.ParseNumber(c, ".", ",")
		if !ok || v <= last || unit == "" && (v != math.Trunc(v) || v > 999) {
			return false
		}
		last = v
	}
	return last > 0
}

// groupLike tells whether a row above the names belongs to the header (groups,
// channels, sensor numbers) and is not the preamble's last line.
func groupLike(cells, names []string) bool {
	s, n := shapeOf(cells), shapeOf(names)
	if s.stamps > 0 || s.texts == 0 || s.filled == 0 || len(cells) != len(names) {
		return false
	}
	if first := lead(names); cells[first] == "" {
		return s.width > first+1
	}
	if overEach(cells, names) {
		return true
	}
	return n.filled >= 3 && s.filled >= 3 && s.filled*2 >= n.filled
}

// overEach tells whether a row's cells stand over one name that repeats, over
// each of it and nothing else: "Boiler,,Pump," over "Date,T,Date,P".
func overEach(cells, names []string) bool {
	name, over := names[lead(cells)], 0
	for i, c := range cells {
		if (c != "") != (names[i] == name) {
			return false
		}
		if c != "" {
			over++
		}
	}
	return over >= 2 && name != ""
}

// lead is the index of the first filled cell, 0 where there is none.
func lead(cells []string) int {
	for i, c := range cells {
		if c != "" {
			return i
		}
	}
	return 0
}

func emptyAt(cells []string, i int) bool { return i < len(cells) && cells[i] == "" }

// isUnitRow tells whether the filled cells are units and one at least is more
// than a dash. A row that begins with "Units" may have any short word beside it. Beside three or more, an odd word that is none may stand.
func isUnitRow(cells []string) bool {
	known, odd := 0, 0
	headed := len(cells) > 0 && celltext.IsUnitLead(cells[lead(cells)])
	for i, c := range cells {
		switch {
		case c == "":
		case i == lead(cells) && headed || celltext.IsStampPart(c):
		case celltext.IsUnit(celltext.StripBrackets(c)):
			known++
		case celltext.IsUnitCell(c):
		case headed && len(c) <= 12 && celltext.Classify(c) == celltext.Text: // the row says that these are units
		case len(c) > 8 || strings.Contains(c, " ") || celltext.Classify(c) != celltext.Text:
			return false
		default:
			odd++
		}
	}
	return known > 0 && 3*odd <= known
}

// isRule knows the line of dashes that some draw below the names.
func isRule(cells []string) bool {
	long := false
	for _, c := range cells {
		if strings.Trim(c, "-=+_:|*~# ") != "" {
			return false
		}
		long = long || len(c) >= 3
	}
	return long
}

// statistics are the words of a row that says how each column was made of the
// samples (common practice, no source).
var statistics = strings.Fields("avg average mean min minimum max maximum smp sample tot total sum std stddev sd med median inst wvc last first cnt count")

// isStatistic tells whether a header row holds nothing else.
func isStatistic(cells []string) bool {
	some := false
	for _, c := range cells {
		if c == "" {
			continue
		}
		if !slices.Contains(statistics, strings.ToLower(c)) {
			return false
		}
		some = true
	}
	return some
}

// measure settles width and stamp columns from the rows at start.
func (b *block) measure(rows []Row, start int) {
	widths, stamps, seen := map[int]int{}, map[int]int{}, 0
	for i := start; i < len(rows) && seen < sampleRows; i++ {
		s := shapeOf(rows[i].Cells)
		if !s.isData() {
			continue
		}
		seen++
		widths[len(rows[i].Cells)]++
		b.numbers = b.numbers || s.numbers > 0
		if s.stamps > 0 {
			for j, c := range rows[i].Cells {
				if celltext.LooksLikeStamp(c) {
					stamps[j]++
				}
			}
		}
	}
	for w, n := range widths {
		if n > widths[b.width] || n == widths[b.width] && w > b.width {
			b.width = w
		}
	}
	for _, h := range b.header {
		b.width = max(b.width, len(dropEmptyTail(h.Cells)))
	}
	for j := 0; j < b.width; j++ {
		if stamps[j]*2 > seen {
			b.keys = append(b.keys, j)
		}
	}
}

// key is the column whose first byte tells a row of readings quickly.
func (b *block) key() int {
	if len(b.keys) > 0 {
		return b.keys[0]
	}
	return 0
}

// consume takes rows until the file ends or another table's header comes.
// Rows that are none wait in held until it is known what follows them.
func (b *block) consume(rows []Row, start int) {
	b.rows = make([]Row, 0, len(rows)-start)
	key, held := b.key(), []Row(nil)
	i := start
	for ; i < len(rows); i++ {
		cells := rows[i].Cells
		if len(cells) == b.width && key < len(cells) && cells[key] != "" && cells[key][0]-'0' <= 9 && (i < len(rows)-fewClosing || !b.closing(rows[i:])) {
			held = b.release(held)
			b.rows = append(b.rows, rows[i])
			continue
		}
		if isBlankRow(cells) {
			continue
		}
		if b.isRepeat(cells) {
			if len(held) > 0 && sameCells(cells, b.header[0].Cells) && !pageHead(held, rows[:start]) {
				break // what is said above it begins a table of its own
			}
			if pageHead(held, rows[:start]) {
				held = nil
			}
			held = b.release(held)
			b.note("repeated-header", rows[i], "the header stands here again")
			continue
		}
		if len(b.header) > 0 && isRule(cells) {
			continue
		}
		s := shapeOf(cells)
		if s.isData() && (len(b.keys) == 0 || b.stamped(cells)) && (i < len(rows)-fewClosing || !b.closing(rows[i:])) {
			held = b.release(held)
			b.take(rows[i])
			continue
		}
		if b.otherTable(rows, i, s) {
			break
		}
		held = append(held, rows[i])
	}
	for _, r := range held {
		if i < len(rows) || !b.isFooter(r) && !b.closes(r.Cells, shapeOf(r.Cells)) {
			b.release([]Row{r})
			continue
		}
		b.note("footer", r, "read as a line below the table")
	}
	b.next = i
}

// pageHead tells whether all of the lines held stood above the table too, but
// for their numbers: the head of a printed page.
func pageHead(held, above []Row) bool {
	plain := func(r Row) string {
		return strings.Map(func(c rune) rune {
			if c >= '0' && c <= '9' || c == ' ' {
				return -1
			}
			return c
		}, strings.Join(r.Cells, ""))
	}
	for _, h := range held {
		if !slices.ContainsFunc(above[max(0, len(above)-20):], func(r Row) bool { return plain(r) == plain(h) }) {
			return false
		}
	}
	return len(held) > 0
}

// stamped tells whether a row has a stamp where the table has its own: one
// elsewhere stands in a remark ("End of data;2026-01-05 10:00").
func (b *block) stamped(cells []string) bool {
	for _, k := range b.keys {
		if k < len(cells) && celltext.LooksLikeStamp(cells[k]) {
			return true
		}
	}
	return false
}

// fewClosing is how many stamped remarks may end a file.
const fewClosing = 3

// closing tells whether nothing but remarks stands in the file's last rows.
func (b *block) closing(rows []Row) bool {
	for k, r := range rows {
		s := shapeOf(r.Cells)
		if (k == 0 || s.isData()) && !b.closes(r.Cells, s) {
			return false
		}
	}
	return true
}

// closes tells a stamped remark at the file's end ("2026-01-05 10:00;Export
// finished;") from a last row of readings: words where all rows before have
// numbers, and nothing else.
func (b *block) closes(cells []string, s shape) bool {
	if s.numbers+s.missing > 0 || s.texts == 0 || len(b.rows) < 5 {
		return false
	}
	for j, c := range cells {
		if celltext.Classify(c) != celltext.Text {
			continue
		}
		if !strings.Contains(c, " ") || celltext.LeadingDigits(strings.TrimLeft(c, "<>+-")) > 0 {
			return false // a word that some logger writes for a reading, or a reading with a mark
		}
		for _, r := range b.rows[len(b.rows)-5:] {
			if j < len(r.Cells) && celltext.Classify(r.Cells[j]) != celltext.Number {
				return false
			}
		}
	}
	return true
}

// release settles rows that had no stamp and stand between rows that have
// one: with readings of the right number they are kept, so that the loader
// lists the missing stamp; without, they are left out.
func (b *block) release(held []Row) []Row {
	for _, r := range held {
		s := shapeOf(r.Cells)
		if s.numbers > 0 && len(r.Cells) == b.width && (s.texts == 0 || s.numbers >= s.texts) {
			b.rows = append(b.rows, r)
			continue
		}
		b.note("not-a-row", r, "no row of readings; left out")
	}
	return nil
}

// isFooter tells totals and closing remarks from a damaged last row.
func (b *block) isFooter(r Row) bool {
	for _, c := range r.Cells {
		if c != "" {
			return c[0]-'0' > 9
		}
	}
	return true
}

func (b *block) isRepeat(cells []string) bool {
	for _, h := range b.header {
		if sameCells(cells, h.Cells) {
			return true
		}
	}
	return b.units != nil && sameCells(cells, b.units)
}

// otherTable tells whether row i heads another table: names of columns over
// at least two rows of readings, set apart by a blank line, another width or
// all-new names.
func (b *block) otherTable(rows []Row, i int, s shape) bool {
	start := i + 1
	for start < len(rows) && start <= i+maxHeaderRows+3 && !shapeOf(rows[start].Cells).isData() {
		start++
	}
	if start+1 >= len(rows) || !shapeOf(rows[start].Cells).isData() || !shapeOf(rows[start+1].Cells).isData() {
		return false
	}
	var o block
	o.takeHeader(rows, i, start)
	if len(o.header) == 0 {
		return false
	}
	if b.isRepeat(o.header[len(o.header)-1].Cells) {
		return false
	}
	names := shapeOf(o.header[len(o.header)-1].Cells)
	apart := i > 0 && isBlankRow(rows[i-1].Cells) || o.header[0].Line != rows[i].Line
	data := shapeOf(rows[start].Cells)
	full := names.filled == b.width && names.texts == names.filled
	sameLead := len(b.header) > 0 && o.header[len(o.header)-1].Cells[0] == b.header[len(b.header)-1].Cells[0]
	return apart || len(rows[start].Cells) != b.width && names.width == data.width || full && (b.width >= 3 || sameLead)
}

// take appends a row that is no plain one, its cells brought to the block's
// width.
func (b *block) take(r Row) {
	switch n := len(r.Cells); {
	case n < b.width:
		cells := make([]string, b.width)
		copy(cells, r.Cells)
		b.short = append(b.short, Problem{Code: "short-line", Line: r.Line, Column: n,
			Text: fmt.Sprintf("%d cells; the table has %d: the cells that are there are kept", n, b.width)})
		r.Cells = cells
	case n > b.width && isBlankRow(r.Cells[b.width:]):
		r.Cells = r.Cells[:b.width:b.width]
	case n > b.width:
		b.probs = append(b.probs, Problem{Code: "long-line", Line: r.Line, Column: b.width + 1,
			Text: fmt.Sprintf("%d cells; the table has %d: which cell was split is unknown, so only the stamp is kept: %s", n, b.width, quote(strings.Join(r.Cells, " | ")))})
		r.Cells = b.certainOnly(r.Cells)
	}
	b.rows = append(b.rows, r)
}

// certainOnly keeps the leading stamp cells of a line that has too many
// cells: any cell behind them may have been shifted.
func (b *block) certainOnly(cells []string) []string {
	kept := make([]string, b.width)
	for _, k := range b.keys {
		if k > 1 || !celltext.LooksLikeStamp(cells[k]) {
			break
		}
		kept[k] = cells[k]
	}
	return kept
}

func (b *block) note(code string, r Row, text string) {
	b.probs = append(b.probs, Problem{Code: code, Line: r.Line, Text: text + ": " + quote(strings.Join(dropEmptyTail(r.Cells), " | "))})
}

// dropPreambleBlocks leaves out what only looks like a table: a few lines of
// particulars above the real one. Behind one, they are listed.
func dropPreambleBlocks(blocks []*block) []*block {
	most := 0
	for _, b := range blocks {
		most = max(most, len(b.rows))
	}
	var kept []*block
	for _, b := range blocks {
		few := len(b.rows) < 3 && most >= 3 || len(b.rows) <= 12 && !b.numbers && most > len(b.rows)
		switch {
		case !few:
			kept = append(kept, b)
		case len(kept) > 0:
			last := kept[len(kept)-1]
			for _, r := range b.rows {
				last.note("not-a-row", r, "a table of its own, too short to be one; left out")
			}
			last.probs = append(last.probs, b.probs...)
		}
	}
	return kept
}
