package look

import (
	"math"
	"strings"

	"yardheat/ingest/logs"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
	"yardheat/ingest/table/celltext"
)

// tally is what one pass over a column's cells, in the order of time, leaves.
type tally struct {
	marks cellMarks
	temp  bool    // cells are temperatures, by unit or name
	diff  bool    // cells are differences of temperatures, which have no absolute range
	low   float64 // plausible, in the unit as written
	high  float64
	unit  string // of the header, else the first that a cell states
	units int    // cells that state a unit of their own
	// foreign cells state a unit that the column's numbers cannot be turned into.
	foreign     int
	foreignLine int
	foreignUnit string

	rows, empty, words, bad int
	badLine                 int
	badText                 string
	stateLine               int    // of the first state word
	stateText               string // among numbers it is none
	numbers, states         int
	texts                   map[string]int

	least, most          float64 // of plausible numbers that are no codes
	lowEdge, highEdge    edge    // of the same; highEdge of their negatives
	plausible, outside   int
	codes                map[float64]int
	powerOn, heldPowerOn int
	bucket               int // of the reading that waits

	some                bool
	last                float64
	rises, falls        int
	largestRise, step   float64
	largestStep         float64
	steps, sameSteps    int
	whole               bool
	distinct            map[float64]int
	first               float64
	zeros, run, longest int
	zeroAfter           float64 // the reading before the longest run of zeros
	beforeRun           float64
	sums                [10]float64
	counts              [10]int
	filled              [10]int
}

// cellMarks are a table's marks, and what its cells prove of them.
type cellMarks struct{ decimal, thousands string }

// Bounds of what is kept of a column's variety.
const (
	mostTexts    = 400
	mostDistinct = 6
)

// edge is the least of some numbers, how many there are of it, and the next.
type edge struct {
	v, next float64
	n       int
}

func (e *edge) add(v float64) {
	switch {
	case e.n == 0:
		*e = edge{v, math.Inf(1), 1}
	case v < e.v:
		*e = edge{v, e.v, 1}
	case v == e.v:
		e.n++
	case v < e.next:
		e.next = v
	}
}

// Bounds by which a repeated extreme may be what is written for a broken probe
// (a range's end such as -50, 150 or 200; common practice, no source).
const (
	faultTimes  = 3  // readings of exactly that value
	faultRound  = 10 // it is a multiple of this
	faultOthers = 4  // times as many others
)

// faultEdge is the value, other than 0, that a temperature's readings jump to
// far from all others; ok is false where there is none.
func (t *tally) faultEdge() (v float64, n int, ok bool) {
	span := t.most - t.least
	for _, e := range [...]edge{t.lowEdge, t.highEdge} {
		gap := e.next - e.v
		if t.temp && e.n >= faultTimes && e.v != 0 && math.Mod(e.v, faultRound) == 0 && t.plausible >= (1+faultOthers)*e.n && gap > powerOnK && gap > span-gap && gap < span {
			if v = e.v; v != t.least {
				v = -v
			}
			return v, e.n, true
		}
	}
	return 0, 0, false
}

func newTally(marks cellMarks, unit string, temp bool) *tally {
	t := &tally{marks: marks, temp: temp, texts: map[string]int{}, codes: map[float64]int{}, distinct: map[float64]int{},
		least: math.Inf(1), most: math.Inf(-1), whole: true}
	t.setUnit(unit)
	return t
}

func (t *tally) setUnit(unit string) {
	t.unit = unit
	if t.low, t.high = plausibleRange(unit, t.temp); t.diff {
		t.low, t.high = math.Inf(-1), math.Inf(1)
	}
}

// ofDifferences makes a tally one of temperature differences.
func (t *tally) ofDifferences() {
	t.diff, t.temp = true, false
	t.setUnit(t.unit)
}

// Range of temperatures that a farm's probes can read, degC; anything else is
// a fault of probe or logger (common practice, no source).
const (
	coldestC = -100
	hottestC = 400
)

// plausibleRange is the range of a unit as written; infinite where only codes
// can be told.
func plausibleRange(unit string, temp bool) (low, high float64) {
	u, ok := series.ParseUnit(unit)
	switch {
	case ok && u.Class == series.Temperature:
		return u.Written(coldestC), u.Written(hottestC)
	case unit == "" && temp:
		return coldestC, hottestC/5*9 + 32 // °C or °F
	}
	return math.Inf(-1), math.Inf(1)
}

// add takes the next row's cell; bucket is the tenth of the span it lies in.
// It tells whether the cell holds a reading, or text that is none.
func (t *tally) add(line int, text string, bucket int) (isReading, isText bool) {
	t.rows++
	if text == "" {
		t.empty++
		return false, false
	}
	var v float64
	var unit string
	ok := false
	if c := text[0]; c < 'A' || t.texts[text] == 0 { // a text that was none before is no number now
		v, unit, ok = table.ParseNumber(text, t.marks.decimal, t.marks.thousands)
	}
	if ok {
		if unit != "" {
			t.units++
			if t.unit == "" {
				t.setUnit(unit)
			}
			v = t.inOwnUnit(v, unit, line)
		}
		t.number(v, bucket)
		return true, false
	}
	if table.IsMissing(text) {
		t.words++
		return false, false
	}
	t.filled[bucket]++
	if len(t.texts) < mostTexts || t.texts[text] > 0 {
		t.texts[text]++
	}
	if on, ok := logs.StateOf(text); ok {
		if t.states++; t.states == 1 {
			t.stateLine, t.stateText = line, text
		}
		t.sums[bucket] += on
		t.counts[bucket]++
		return true, false
	}
	if t.bad++; t.bad == 1 {
		t.badLine, t.badText = line, text
	}
	return false, true
}

// inOwnUnit is a number whose cell states a unit in the column's unit. A unit
// that is no other way to write it leaves the number as it stands, for a
// problem to name.
func (t *tally) inOwnUnit(v float64, unit string, line int) float64 {
	if unit == t.unit {
		return v
	}
	from, ok := series.ParseUnit(unit)
	to, known := series.ParseUnit(t.unit)
	if ok && known && from.Class == to.Class && !from.Gallon && !to.Gallon && from.Ampere == to.Ampere {
		if from.Factor != to.Factor || from.Before != to.Before || from.After != to.After {
			return to.Written(from.Base(v))
		}
		return v
	}
	if t.foreign++; t.foreign == 1 {
		t.foreignLine, t.foreignUnit = line, unit
	}
	return v
}

// near: no further from the last reading than two of the largest steps so far:
// a counter that passes 9999, a row number.
func (t *tally) near(v float64) bool {
	return t.steps >= 2 && math.Abs(v-t.last) <= 2*t.largestStep
}

func (t *tally) number(v float64, bucket int) {
	t.numbers++
	if reading.IsCode(v) && !t.near(v) {
		t.codes[v]++
		return
	}
	if v < t.low || v > t.high {
		t.outside++
		return
	}
	if t.temp && v == powerOnC && t.isCelsius() {
		t.heldPowerOn++
		t.bucket = bucket
		return
	}
	t.releasePowerOn(v)
	t.plain(v, bucket)
}

// powerOnC is what a common sensor chip shows before its first conversion, and
// powerOnK how far both neighbours must be from it; as reading.FlagOptions.
var (
	powerOnC = reading.DefaultFlagOptions().PowerOnC
	powerOnK = reading.DefaultFlagOptions().PowerOnK
)

func (t *tally) isCelsius() bool {
	u, ok := series.ParseUnit(t.unit)
	return t.unit == "" || ok && u.Factor == 1 && u.After == 0
}

// releasePowerOn settles readings of exactly 85 °C once the next is known.
func (t *tally) releasePowerOn(next float64) {
	if t.heldPowerOn == 0 {
		return
	}
	n := t.heldPowerOn
	t.heldPowerOn = 0
	if far := func(v float64) bool { return math.Abs(v-powerOnC) > powerOnK }; (!t.some || far(t.last)) && far(next) {
		t.powerOn += n
		return
	}
	for range n {
		t.plain(powerOnC, t.bucket)
	}
}

// plain takes a plausible number.
func (t *tally) plain(v float64, bucket int) {
	t.plausible++
	t.least, t.most = min(t.least, v), max(t.most, v)
	t.lowEdge.add(v)
	t.highEdge.add(-v)
	t.whole = t.whole && v == math.Trunc(v)
	if len(t.distinct) < mostDistinct || t.distinct[v] > 0 {
		t.distinct[v]++
	}
	t.sums[bucket] += v
	t.counts[bucket]++
	t.zero(v)
	if !t.some {
		t.some, t.first = true, v
	} else {
		t.follow(v - t.last)
	}
	t.last = v
}

func (t *tally) follow(d float64) {
	t.largestStep = max(t.largestStep, math.Abs(d))
	switch {
	case d > 0:
		t.rises++
		t.largestRise = max(t.largestRise, d)
	case d < 0:
		t.falls++
	}
	if t.steps++; t.steps == 1 {
		t.step = d
	}
	if math.Abs(d-t.step) <= 1e-9*math.Max(1, math.Abs(t.step)) {
		t.sameSteps++
	}
}

// zero watches runs of exact zeros.
func (t *tally) zero(v float64) {
	if v != 0 {
		t.run = 0
		return
	}
	t.zeros++
	if t.run++; t.run == 1 {
		t.beforeRun = t.last
	}
	if t.run > t.longest {
		t.longest, t.zeroAfter = t.run, t.beforeRun
	}
}

// close settles what waits for a next reading, and tells codes from readings:
// 850 is a code among 20s and a pressure among 848s.
func (t *tally) close() {
	t.releasePowerOn(math.NaN())
	for v, n := range t.codes {
		if t.isReading(v) {
			t.plausible += n
			t.least, t.most = min(t.least, v), max(t.most, v)
			delete(t.codes, v)
		}
	}
}

// isReading tells whether a number that some loggers write for "no reading" is
// one here: not outside the range, and no further from the other readings than
// they spread.
func (t *tally) isReading(v float64) bool {
	if v < t.low || v > t.high || t.plausible == 0 {
		return false
	}
	spread := max(t.most-t.least, 0.02*math.Abs(v))
	return v >= t.least-spread && v <= t.most+spread && !(v < 0 && t.least >= 0)
}

func (t *tally) codeCount() int {
	n := 0
	for _, c := range t.codes {
		n += c
	}
	return n
}

// mark tells what a number's text proves of the decimal mark: 1 = proves it, 0
// = nothing, -1 = one mark with three digits behind, which may part thousands.
func mark(text string) int {
	s := text
	if s[0]-'0' > 9 {
		s = strings.TrimLeft(text, "-+\u2212")
	}
	n := celltext.LeadingDigits(s)
	if n == len(s) || s[n] != '.' && s[n] != ',' {
		return 0
	}
	if k := celltext.LeadingDigits(s[n+1:]); k == 3 && n >= 1 && n <= 3 && s[0] != '0' && (n+1+k == len(s) || s[n+1+k] != '.' && s[n+1+k] != ',') {
		return -1
	}
	return 1
}
