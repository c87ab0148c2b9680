package look

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
	"yardheat/ingest/table/celltext"
	"yardheat/ingest/work"
)

func number(col int) string { return "#" + strconv.Itoa(col+1) }

// pass goes once through all rows with a tally for every column.
func (d *describer) pass() {
	for i := range d.src.Header {
		if !slices.Contains(d.at.Columns, i) || !d.at.Ready {
			d.cols = append(d.cols, i)
			d.tally = append(d.tally, d.newTally(i))
		}
	}
	numbers := d.numberColumns()
	d.marks = make([]rowMark, d.rowCount())
	// Columns are tallied by halves, each on a core of its own; what a row holds is
	// brought together behind.
	halves := make([]half, min(2, len(d.cols)))
	work.Each(len(halves), len(halves), func(h int) {
		from, to := h*len(d.cols)/len(halves), (h+1)*len(d.cols)/len(halves)
		halves[h] = d.tallyColumns(from, to, numbers)
	})
	for _, h := range halves {
		d.proofs, d.eitherMarks = d.proofs+h.proofs, d.eitherMarks+h.eitherMarks
		for i, m := range h.marks {
			d.marks[i] |= m
		}
	}
	d.findTwins()
	for _, t := range d.tally {
		t.close()
	}
}

// half is what some of the columns leave beside their tallies.
type half struct {
	marks               []rowMark
	proofs, eitherMarks int
}

// rowCount is how many rows there are in the order of time.
func (d *describer) rowCount() int {
	if d.at.Ready {
		return len(d.at.Order)
	}
	return len(d.src.Rows)
}

// tallyColumns goes through all rows with the tallies from … to−1.
func (d *describer) tallyColumns(from, to int, numbers []bool) half {
	h := half{marks: make([]rowMark, 0, d.rowCount())}
	first, last := d.span()
	for r := range d.rows() {
		var m rowMark
		work.CheckEvery(d.opt.Table.Context, len(h.marks), 4096)
		bucket := tenth(r.atMS, first, last)
		for k := from; k < to; k++ {
			text := r.cells[d.cols[k]]
			isReading, isText := d.tally[k].add(r.line, text, bucket)
			if isReading && !d.runsOn(k) {
				m |= hasReading
				h.weigh(text)
			}
			if isText {
				m |= hasText
			}
			if !isReading && text != "" && numbers[k] {
				m |= hasWord
			}
		}
		h.marks = append(h.marks, m)
	}
	return h
}

// sampledRows show which columns hold numbers.
const sampledRows = 400

// numberColumns tells, by a sample of the rows, in which columns numbers
// belong: a word there is a missing reading and no mark of an event.
func (d *describer) numberColumns() []bool {
	numbers, filled := make([]int, len(d.cols)), make([]int, len(d.cols))
	rows := d.src.Rows
	for i := 0; i < len(rows); i += max(1, len(rows)/sampledRows) {
		for k, col := range d.cols {
			text := rows[i].Cells[col]
			if text == "" {
				continue
			}
			filled[k]++
			if _, _, ok := table.ParseNumber(text, d.src.Decimal, d.src.Thousands); ok {
				numbers[k]++
			}
		}
	}
	out := make([]bool, len(d.cols))
	for k := range out {
		out[k] = filled[k] > 0 && 2*numbers[k] >= filled[k]
	}
	return out
}

func (d *describer) newTally(col int) *tally {
	unit := d.src.Units[col]
	if unit == "" {
		unit, _ = d.unitBeside(col)
	}
	t := newTally(cellMarks{d.src.Decimal, d.src.Thousands}, unit, isTemperature(d.src.Header[col], unit))
	if celltext.IsDifference(d.src.Header[col]) || d.kelvinsApart(col, unit) {
		t.ofDifferences()
	}
	return t
}

// kelvinsApart tells, by a sample of the rows, a column in K that no absolute
// temperature fits: people write differences in K, whatever they call them.
func (d *describer) kelvinsApart(col int, unit string) bool {
	u, ok := series.ParseUnit(unit)
	if !ok || u.Class != series.Temperature || u.After == 0 {
		return false
	}
	numbers, rows := 0, d.src.Rows
	for i := 0; i < len(rows); i += max(1, len(rows)/sampledRows) {
		v, _, ok := table.ParseNumber(rows[i].Cells[col], d.src.Decimal, d.src.Thousands)
		if !ok || reading.IsCode(v) {
			continue
		}
		if numbers++; math.Abs(v) >= mostKelvinsApart {
			return false
		}
	}
	return numbers > 0
}

// mostKelvinsApart bounds a difference of temperatures on a farm; the coldest
// plausible temperature lies above it.
const mostKelvinsApart = 150

// runsOn tells, while the rows pass, whether a column has counted the rows so
// far: a row number is no reading.
func (d *describer) runsOn(k int) bool {
	t := d.tally[k]
	return t.whole && t.steps > 1 && t.sameSteps == t.steps && math.Abs(t.step) == 1 || t.steps <= 1 && isIndexName(d.src.Header[d.cols[k]])
}

// weigh keeps what a number proves of the decimal mark.
func (h *half) weigh(text string) {
	switch mark(text) {
	case 1:
		h.proofs++
	case -1:
		h.eitherMarks++
	}
}

// describeColumns settles each column's kind, unit, range and guess; in a long
// log each tag's too.
func (d *describer) describeColumns() {
	for k, col := range d.cols {
		c := Column{Name: d.name(col), Number: col + 1}
		d.describeColumn(&c, d.tally[k], d.src.Header[col])
		d.out.Columns = append(d.out.Columns, c)
	}
	d.findTags()
}

// countsRows tells a column that counts the rows as they stand in the file,
// whatever the order of their stamps.
func (d *describer) countsRows(col int) bool {
	rows := d.src.Rows
	for i := range rows {
		v, err := strconv.Atoi(rows[i].Cells[col])
		if err != nil {
			return false
		}
		if before, _ := strconv.Atoi(rows[max(0, i-1)].Cells[col]); i > 0 && v != before+1 {
			return false
		}
	}
	return len(rows) > 3
}

func (d *describer) describeColumn(c *Column, t *tally, header string) {
	c.Unit, c.letter = t.unit, d.degreeLetter(header, t)
	why := kindOf(c, t, header, d.step())
	if c.Kind != Index && !c.Tag && c.Unit == "" && isIndexName(header) && d.countsRows(c.Number-1) {
		c.Kind, why = Index, "a running number, in the order of the file"
	}
	c.count(t)
	c.points(t)
	if c.Kind == Text || c.Kind == Event || c.Kind == Index {
		c.Because = why
		return
	}
	if u, ok := series.ParseUnit(c.Unit); t.diff && ok && u.Class == series.Temperature {
		c.Because = filledJoin(why, "a difference of temperatures, which no quantity is")
		return
	}
	g := guess(header, c, t, d.context())
	c.Quantity, c.Place = g.quantity, g.place
	c.Because = strings.TrimPrefix(strings.Join(filled([]string{why, d.unitWhy(c, header), g.because}), "; "), "; ")
	if c.UnitAssumed = g.unit; c.Unit != "" && !c.Tag && t.units == 0 && d.src.Units[c.Number-1] == "" {
		c.UnitAssumed = c.Unit // the loader looks at headers and cells only
	}
	if c.Kind == Instant && (g.class == series.Flow || g.class == series.Power) {
		c.Kind = Mean
	}
}

// degreeLetter is the C or F that a header ends in as a word of its own, where
// the readings can be such temperatures and no column beside is called the same
// with another letter; "" = none.
func (d *describer) degreeLetter(header string, t *tally) string {
	i := strings.LastIndexAny(header, " _")
	if i <= 0 || t.unit != "" || t.plausible == 0 || celltext.OneOfLetters(header, d.src.Header) {
		return ""
	}
	switch letter := strings.ToUpper(header[i+1:]); {
	case letter == "C" && t.least >= -60 && t.most <= 150, letter == "F" && t.least >= -76 && t.most <= 302:
		return letter
	}
	return ""
}

// step is the usual interval in seconds while the columns are described, 0 if
// there are no stamps.
func (d *describer) step() float64 {
	if !d.at.Ready || len(d.at.Order) < 2 {
		return 0
	}
	first, last := d.at.At[d.at.Order[0]], d.at.At[d.at.Order[len(d.at.Order)-1]]
	return float64(last-first) / 1000 / float64(len(d.at.Order)-1)
}

func (d *describer) unitWhy(c *Column, header string) string {
	if c.Unit == "" || d.src.Units[c.Number-1] != "" || c.Tag {
		return ""
	}
	if unit, where := d.unitBeside(c.Number - 1); unit == c.Unit && where != "" {
		return "unit from " + where
	}
	return "unit in the cells"
}

// unitBeside finds the unit of a column outside its header and cells: in a
// column of units before it, or in the lines above the header.
func (d *describer) unitBeside(col int) (unit, where string) {
	if beside := d.unitColumn(col); beside >= 0 {
		if unit = d.onlyText(beside); isUnitText(unit) {
			return unit, "the column " + series.Quoted(d.src.Header[beside])
		}
		if d.unitChanges(beside) {
			return "mixed", "the column " + series.Quoted(d.src.Header[beside]) + ", which changes"
		}
	}
	if k := d.unitBehind(col); k >= 0 {
		return d.onlyText(k), "the column " + series.Quoted(d.src.Header[k])
	}
	if unit, where = d.preambleUnit(d.src.Header[col]); unit != "" {
		return unit, where
	}
	if unit, where = d.listedUnit(d.src.Header[col]); unit != "" {
		return unit, where
	}
	return d.loneUnit(col)
}

// unitChanges tells whether a column of units says another from some row on.
func (d *describer) unitChanges(col int) bool {
	return slices.ContainsFunc(d.src.Problems, func(p table.Problem) bool { return p.Code == table.CodeUnitChanges && p.Column == col+1 })
}

// loneUnit is the one unit that the lines above the table state under a cell
// "Unit", where the table has one column only that can be meant: the others
// hold stamps or state a unit themselves.
func (d *describer) loneUnit(col int) (unit, where string) {
	for i := range d.src.Header {
		if i != col && d.src.Units[i] == "" && !slices.Contains(d.at.Columns, i) {
			return "", ""
		}
	}
	rows := d.src.Preamble
	for i := 0; i+1 < len(rows); i++ {
		for j, c := range rows[i].Cells {
			if !isUnitName(c) || j >= len(rows[i+1].Cells) || !isUnitText(rows[i+1].Cells[j]) || len(rows[i].Cells) < 2 {
				continue
			}
			if unit != "" {
				return "", "" // two are stated
			}
			unit, where = rows[i+1].Cells[j], fmt.Sprintf("line %d, %s", rows[i+1].Line, series.Quoted(c))
		}
	}
	return unit, where
}

// unitBehind is the column of units behind a column of readings, no other
// numbers between them; -1 = none, or several.
func (d *describer) unitBehind(col int) int {
	found := -1
	for k, h := range d.src.Header {
		if isUnitName(h) && isUnitText(d.onlyText(k)) {
			if found >= 0 {
				return -1
			}
			found = k
		}
	}
	if found <= col || len(d.src.Rows) == 0 {
		return -1
	}
	for _, c := range d.src.Rows[0].Cells[col+1 : found] {
		if _, _, ok := table.ParseNumber(c, d.src.Decimal, d.src.Thousands); ok {
			return -1
		}
	}
	return found
}

// listedUnit finds a column in a list of channels above the header: lines under
// a heading with a cell "Unit", in one of whose cells the column's name stands,
// or its number alone ("1" for "CH1").
func (d *describer) listedUnit(header string) (unit, where string) {
	at, found := -1, ""
	for _, r := range d.src.Preamble {
		if k := slices.IndexFunc(r.Cells, isUnitName); k >= 0 {
			at = k
			continue
		}
		if at < 0 || at >= len(r.Cells) || !isUnitText(r.Cells[at]) || !slices.ContainsFunc(r.Cells, func(c string) bool { return isChannel(c, header) }) {
			continue
		}
		if found != "" && found != r.Cells[at] {
			return "", "" // two lines speak of it
		}
		found, where = r.Cells[at], fmt.Sprintf("line %d", r.Line)
	}
	return found, where
}

// isChannel tells whether a cell of a list is the column's name or its number.
func isChannel(cell, header string) bool {
	if cell == "" || header == "" {
		return false
	}
	name := strings.TrimRight(header, "0123456789")
	number := header[len(name):]
	return strings.EqualFold(cell, header) || number != "" && len(name) <= 8 && strings.TrimLeft(cell, "0") == strings.TrimLeft(number, "0")
}

// unitColumn is the column that holds the units of another: the one before it,
// or, where the table's first column of units stands behind numbers, the one
// behind; -1 = none.
func (d *describer) unitColumn(col int) int {
	first := slices.IndexFunc(d.src.Header, isUnitName)
	if first < 0 || isUnitName(d.src.Header[col]) {
		return -1
	}
	beside := col - 1
	if first > 0 && len(d.src.Rows) > 0 && celltext.Classify(d.src.Rows[0].Cells[first-1]) == celltext.Number {
		beside = col + 1
	}
	if beside < 0 || beside >= len(d.src.Header) || !isUnitName(d.src.Header[beside]) {
		return -1
	}
	return beside
}

// onlyText is what stands in every row of a column; "" where rows differ.
func (d *describer) onlyText(col int) string {
	for i := range d.src.Rows {
		if d.src.Rows[i].Cells[col] != d.src.Rows[0].Cells[col] {
			return ""
		}
	}
	if len(d.src.Rows) == 0 {
		return ""
	}
	return d.src.Rows[0].Cells[col]
}

// context is the file's and sheet's name: weak evidence of what is measured.
func (d *describer) context() string {
	base := d.out.File
	if d.out.Member != "" {
		base = d.out.Member
	}
	if k := strings.LastIndexAny(base, `/\`); k >= 0 {
		base = base[k+1:]
	}
	if k := strings.LastIndexByte(base, '.'); k > 0 {
		base = base[:k]
	}
	return base + " " + d.out.Sheet
}

// count sets readings, missing and range.
func (c *Column) count(t *tally) {
	c.Codes = t.codeCount()
	c.Implausible = t.outside + t.powerOn
	switch c.Kind {
	case Event, Text:
		c.Readings = t.numbers + t.states + t.bad
		if c.Kind == Text {
			c.Missing = t.rows - c.Readings
		}
		c.Codes, c.Implausible = 0, 0
		c.Words = commonest(t.texts, 5)
		return
	case State:
		c.Readings = t.states + t.plausible
	default:
		c.Readings = t.plausible + c.Implausible
	}
	c.Missing = t.rows - c.Readings
	if t.plausible > 0 {
		low, high := t.least, t.most
		c.Min, c.Max = &low, &high
	} else if t.states > 0 {
		c.Min, c.Max = t.stateRange()
	}
}

func (t *tally) stateRange() (low, high *float64) {
	least, most := 1.0, 0.0
	for i, n := range t.counts {
		if n > 0 {
			if t.sums[i] < float64(n) {
				least = 0
			}
			if t.sums[i] > 0 {
				most = 1
			}
		}
	}
	return &least, &most
}

// points are the ten means, or counts of marks.
func (c *Column) points(t *tally) {
	for i := range c.Points {
		v := float64(t.filled[i])
		if c.Kind != Event && c.Kind != Text {
			if t.counts[i] == 0 {
				continue
			}
			v = t.sums[i] / float64(t.counts[i])
		} else if v == 0 {
			continue
		}
		c.Points[i] = &v
	}
}

// commonest are the most frequent texts, at most so many.
func commonest(texts map[string]int, most int) []string {
	out := make([]string, 0, len(texts))
	for s := range texts {
		out = append(out, s)
	}
	sort.Slice(out, func(i, j int) bool {
		if texts[out[i]] != texts[out[j]] {
			return texts[out[i]] > texts[out[j]]
		}
		return out[i] < out[j]
	})
	return out[:min(most, len(out))]
}

// preambleUnit finds a unit that the lines above the header state for columns
// of this name: "Temp_Units" over or before "Celsius".
func (d *describer) preambleUnit(header string) (unit, where string) {
	rows := d.src.Preamble
	for i, r := range rows {
		for j, cell := range r.Cells {
			key, value, inside := cutKey(cell)
			switch {
			case !isUnitKey(key, header):
			case inside:
				unit = value
			case j+1 < len(r.Cells) && isUnitText(r.Cells[j+1]):
				unit = r.Cells[j+1]
			case i+1 < len(rows) && j < len(rows[i+1].Cells):
				unit = rows[i+1].Cells[j]
			}
			if unit = celltext.StripBrackets(unit); isUnitText(unit) {
				return unit, fmt.Sprintf("line %d, %s", r.Line, series.Quoted(key))
			}
			unit = ""
		}
	}
	return "", ""
}

func cutKey(cell string) (key, value string, ok bool) {
	for _, sep := range [...]string{":", "="} {
		if k, v, found := strings.Cut(cell, sep); found {
			return celltext.Trim(k), celltext.Trim(v), celltext.Trim(v) != ""
		}
	}
	return cell, "", false
}

func isUnitText(s string) bool {
	_, ok := series.ParseUnit(s)
	return s != "" && ok && !table.IsMissing(s)
}

// isUnitKey tells whether a word above the header speaks of the unit of the
// columns of that name: "Temp_Units" of "temperature", not of "dewpoint".
func isUnitKey(key, header string) bool {
	words := tokens(key)
	unit, same := false, false
	for _, w := range words {
		switch {
		case slices.Contains(wordsUnit, w):
			unit = true
		default:
			for _, h := range tokens(header) {
				same = same || len(w) >= 3 && (strings.HasPrefix(h, w) || strings.HasPrefix(w, h) && len(h) >= 3)
			}
		}
	}
	return unit && same
}
