package look

import (
	"fmt"
	"math"
	"strings"

	"yardheat/ingest/logs"
	"yardheat/ingest/series"
)

// Bounds by which a column's kind is told.
const (
	// numbersLeast is the share of filled cells that are numbers in a column of
	// readings.
	numbersLeast = 0.5
	// eventMost is the share of rows that a column of marks fills at most.
	eventMost = 0.2
	// fallsMost: a counter falls at most so often a rise.
	fallsMost = 0.1
	// indexLeast is the share of steps that are the same in a running number.
	indexLeast = 0.98
	fewRises   = 5
)

// kindOf settles a column's kind and says why where it is no plain reading.
func kindOf(c *Column, t *tally, header string, stepS float64) (because string) {
	filled := t.numbers + t.states + t.bad
	unit, known := series.ParseUnit(c.Unit)
	switch {
	case filled == 0 && c.Unit != "" || filled == 0 && isTemperature(header, ""):
		c.Kind = Instant
		return "no reading at all"
	case filled == 0:
		c.Kind = Text
		return "empty"
	case float64(t.numbers+t.states) < numbersLeast*float64(filled):
		return markKind(c, t, filled)
	case t.numbers == 0 && unknownWord(t) != "":
		c.Kind = Text
		return fmt.Sprintf("words, and %s is none of on and off", series.Quoted(unknownWord(t)))
	case isIndex(t, header, c.Unit, stepS):
		c.Kind = Index
		if t.step == 1 || t.step == -1 {
			return "a running number"
		}
		return fmt.Sprintf("rises by %g from row to row: time that has passed", t.step)
	case isState(t, header, unit, known):
		c.Kind = State
		return "two states"
	case known && (unit.Class == series.Volume || unit.Class == series.Energy):
		return totalKind(c, t, header)
	case isCounter(t, header, known):
		c.Kind = Counter
		return fmt.Sprintf("rises %d times, falls %d", t.rises, t.falls)
	case known && (unit.Class == series.Flow || unit.Class == series.Power && !unit.Ampere):
		c.Kind = Mean
		return ""
	case isMeanName(header):
		c.Kind = Mean
		return "named an average"
	}
	c.Kind = Instant
	return ""
}

// unknownWord is a word that stands beside words for on or off as often as a
// state of its own would ("idle", "cooling"): "" where there is none.
func unknownWord(t *tally) string {
	words := commonest(t.texts, mostTexts)
	for _, w := range words {
		if _, state := logs.StateOf(w); !state && t.texts[w] > 1 && 20*t.texts[w] >= t.bad+t.states {
			return w
		}
	}
	return ""
}

// markKind tells marks of events from text in every row.
func markKind(c *Column, t *tally, filled int) string {
	said := fmt.Sprintf("text such as %s", series.Quoted(commonest(t.texts, 1)[0]))
	if float64(filled) <= eventMost*float64(t.rows) {
		c.Kind = Event
		return fmt.Sprintf("%s, in %s", said, series.Plural(filled, "row"))
	}
	c.Kind = Text
	return said
}

// isIndex tells a running number, or time that has passed, from a reading.
func isIndex(t *tally, header, unit string, stepS float64) bool {
	if t.steps < 2 || t.step == 0 || float64(t.sameSteps) < indexLeast*float64(t.steps) || t.falls > 0 && t.rises > 0 {
		return false
	}
	if isIndexName(header) {
		return true
	}
	if math.Abs(t.step) == 1 && t.whole && unit == "" {
		return t.steps >= 3
	}
	span := map[string]float64{"": 1, "s": 1, "sec": 1, "ms": 1e-3, "min": 60, "h": 3600, "d": 86400}[strings.ToLower(unit)]
	return span > 0 && stepS > 0 && t.steps >= 10 && isTimeName(header) && math.Abs(t.step*span-stepS) <= 0.02*stepS
}

// isState: words for on and off, or the numbers 0 and 1 (or 0 and 100, 0 and
// 255) and no others.
func isState(t *tally, header string, unit series.Unit, known bool) bool {
	if known && unit.Class != series.OnOff && unit.Class != series.Level || t.outside > 0 {
		return false
	}
	if t.states > 0 && t.numbers == 0 {
		return true
	}
	if len(t.distinct) > 2 || t.plausible == 0 || t.most != 1 && t.most != 100 && t.most != 255 && t.most != 0 || t.least != 0 && t.least != t.most {
		return false
	}
	named := isStateName(header)
	if known && unit.Class == series.Level && !named {
		return false
	}
	return len(t.distinct) == 2 && (t.most == 1 || named) || named || known && unit.Class == series.OnOff
}

// totalKind tells a running counter of litres or kWh from amounts per reading.
// A counter never falls but for rare resets; one at rest stands at more than
// an interval's worth.
func totalKind(c *Column, t *tally, header string) string {
	counts := t.rises >= fewRises && float64(t.falls) <= fallsMost*float64(t.rises)
	short := t.rises > 0 && t.rises < fewRises && t.falls == 0 && t.first > 2*t.largestRise
	rest := t.rises+t.falls == 0 && t.plausible >= 3 && t.first > 0 && isCounterName(header)
	if counts || short || rest {
		c.Kind = Counter
		return fmt.Sprintf("a running counter: rises %d times, falls %d", t.rises, t.falls)
	}
	c.Kind, c.Amount = Mean, true
	return "an amount per reading: it falls too often for a running counter"
}

// isCounter: a column without a unit of its own that nearly never falls.
func isCounter(t *tally, header string, known bool) bool {
	if known || t.temp || t.rises < fewRises || t.least < 0 {
		return false
	}
	if isCounterName(header) {
		return float64(t.falls) <= fallsMost*float64(t.rises)
	}
	return t.rises >= 20 && float64(t.falls) <= 0.01*float64(t.rises) && t.largestRise < t.most-t.least
}
