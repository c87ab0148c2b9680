package stamps

import (
	"fmt"
	"slices"
	"strings"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
	"yardheat/ingest/table/celltext"
)

// above is the year of dates that have none, and the line above the table where
// it stands.
type above struct {
	year int
	row  table.Row
}

// findAbove completes days and months by a year that stands above the table;
// Columns stays nil where none does.
func (t *Table) findAbove(free []int, kinds []stampKind) {
	if i := slices.IndexFunc(free, func(i int) bool { return t.yearless(i, false) }); i >= 0 {
		for _, k := range free {
			if kinds[k] == timeOnly {
				t.takeYear([]int{free[i], k})
				return
			}
		}
	}
	if i := slices.IndexFunc(free, func(i int) bool { return t.yearless(i, true) }); i >= 0 {
		t.takeYear([]int{free[i]})
	}
}

// namesElapsed: time that has passed since a start, not a time of day.
func namesElapsed(header string) bool {
	h := strings.ToLower(header)
	return slices.ContainsFunc(strings.Fields("elapsed duration runtime dauer laufzeit durée écoulé verstrichen durata trascorso transcurrido verlopen"), func(w string) bool { return strings.Contains(h, w) })
}

// yearless tells whether all cells of a sample are a day and a month without a
// year, "31/01" or "31.01."; with clock a time of day stands behind.
func (t *Table) yearless(col int, withClock bool) bool {
	cells := t.sample(col)
	points := false
	for _, c := range cells {
		day, rest, _ := strings.Cut(c, " ")
		a, b, sep, ok := dayMonth(day)
		if !ok || max(a, b) > 31 || min(a, b) < 1 || min(a, b) > 12 || withClock != (rest != "") || withClock && !isTimeOfDay([]string{rest}) {
			return false
		}
		points = points || sep == '.' && !strings.HasSuffix(day, ".")
	}
	return len(cells) > 0 && (!points || withClock || namedStamp(t.Header[col])) // 31.01 may be a number
}

// dayMonth reads two numbers of at most two digits.
func dayMonth(s string) (a, b int, sep byte, ok bool) {
	n := celltext.LeadingDigits(s)
	if n == 0 || n > 2 || n == len(s) || strings.IndexByte("/-.", s[n]) < 0 {
		return 0, 0, 0, false
	}
	rest := s[n+1:]
	m := celltext.LeadingDigits(rest)
	if m == 0 || m > 2 || rest[m:] != "" && (rest[m:] != "." || s[n] != '.') {
		return 0, 0, 0, false
	}
	a, _ = wholeOf(s[:n])
	b, _ = wholeOf(rest[:m])
	return a, b, s[n], true
}

// yearWords are the words for a year (common practice, no source).
var yearWords = strings.Fields("year jahr année annee anno año ano any jaar år rok vuosi év an yıl έτος год")

// takeYear takes the one year that a line above the table states.
func (t *Table) takeYear(cols []int) {
	var found above
	for _, r := range t.Preamble {
		words := strings.FieldsFunc(strings.ToLower(strings.Join(r.Cells, " ")), func(c rune) bool { return strings.ContainsRune(" :;,=()[]", c) })
		if !slices.ContainsFunc(words, func(w string) bool { return slices.Contains(yearWords, w) }) {
			continue
		}
		for _, w := range words {
			if y, ok := wholeOf(w); ok && len(w) == 4 && y >= 1990 && y < 2100 {
				if found.year != 0 && found.year != y {
					return // two years: which is meant is not said
				}
				found.year, found.row = y, r
			}
		}
	}
	if found.year != 0 {
		t.above, t.Columns = &found, cols
	}
}

// textsFromAbove makes the stamps' texts of what the rows and the lines above
// them state.
func (t *Table) textsFromAbove() {
	a := t.above
	where := t.Place(a.row.Line, -1)
	year, lastA, lastB := a.year, 0, 0
	for i := range t.Rows {
		day, clockText, _ := strings.Cut(t.Rows[i].Cells[t.Columns[0]], " ")
		if len(t.Columns) > 1 {
			clockText = t.Rows[i].Cells[t.Columns[1]]
		}
		m, d, sep, ok := dayMonth(day)
		if !ok || clockText == "" {
			continue
		}
		if m < lastA && d <= lastB && lastA == 12 || m <= lastA && d < lastB && lastB == 12 {
			year++ // from December to January, whichever of the two is the month
		}
		lastA, lastB = m, d
		t.texts[i] = fmt.Sprintf("%s%c%d %s", strings.TrimSuffix(day, "."), sep, year, clockText)
	}
	t.Found.Problem(series.CodeStampAbove, series.Doubt, t.Name, where, "the year %d, above the table, is taken for the dates, which have none, and the next year from January on", a.year)
}

// partsSeen says which parts of a stamp the columns hold, where that is not
// enough for one; "" where it is but one and said already.
func (t *Table) partsSeen(said bool) string {
	var seen []string
	var hasDate bool
	for i := range t.Header {
		if t.Taken[i] {
			continue
		}
		cells := t.sample(i)
		values := wholeCells(cells)
		kind, _ := classify(cells, clock.Options{})
		name := series.Quoted(t.Header[i])
		switch {
		case t.yearless(i, false) || t.yearless(i, true):
			seen = append(seen, "day and month without a year in "+name)
			hasDate = true
		case kind == timeOnly && namesElapsed(t.Header[i]):
			seen = append(seen, "time that has passed in "+name)
		case kind == timeOnly:
			seen = append(seen, "times of day in "+name)
		case kind == dateOnly:
			seen = append(seen, "dates in "+name)
		default:
			for r, what := range [...]string{inYear: "a year", inMonth: "a month", inDay: "a day", inDayOfYear: "a day of the year", inHour: "an hour", inMinute: "a minute", inHourMinute: "hhmm"} {
				if what != "" && named(role(r), t.Header[i]) && plays(role(r), values) {
					seen = append(seen, what+" in "+name)
					break
				}
			}
		}
	}
	if len(seen) == 0 || said && len(seen) == 1 {
		return ""
	}
	out := ", in which stand " + strings.Join(seen, ", ")
	if hasDate {
		out += "; no line above the table states one year"
	}
	return out
}
