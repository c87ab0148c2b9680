package stamps

import (
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/table/celltext"
)

// stampWords stand in the names of columns that hold stamps (common practice,
// no source).
var stampWords = strings.Fields("time date when stamp epoch unix zeit datum heure fecha hora data ora tijd tid aika dato ts clock")

// namedStamp tells whether a header speaks of a date or a time.
func namedStamp(header string) bool {
	words := strings.FieldsFunc(strings.ToLower(header), func(r rune) bool { return r < 'a' && r < 0x80 || r > 'z' && r < 0x80 })
	return slices.ContainsFunc(words, func(w string) bool {
		return slices.Contains(stampWords, w) || strings.Contains(w, "time") || strings.Contains(w, "date") || strings.Contains(w, "stamp") || strings.Contains(w, "zeit")
	})
}

// countedColumn takes a column of counted seconds or days, where a meter's
// readings may look the same: one whose name speaks of time before one without
// a name, and that before one whose steps are even. A column with a unit is
// none.
func (t *Table) countedColumn(free []int, kinds []stampKind) []int {
	best, rank := -1, 0
	for _, i := range free {
		r := 0
		switch h := t.Header[i]; {
		case kinds[i] != counted:
		case namedStamp(h):
			r = 3
		case t.Units[i] != "":
		case h == "" && t.evenSteps(i):
			r = 2
		case h == "" || t.evenSteps(i):
			r = 1
		}
		if r > rank {
			best, rank = i, r
		}
	}
	if best < 0 {
		return nil
	}
	if f := t.fractionBeside(best, free); f >= 0 {
		t.parts = []role{inDayNumber, inDayPart}
		return []int{best, f}
	}
	return []int{best}
}

// evenSteps tells whether at least eight in ten steps of a column are the
// commonest one, to a thousandth.
func (t *Table) evenSteps(col int) bool {
	var steps []float64
	last, some := 0.0, false
	for i := range min(len(t.Rows), 500) {
		v, ok := eitherMark(t.Rows[i].Cells[col])
		if ok && some {
			steps = append(steps, v-last)
		}
		last, some = v, ok
	}
	if len(steps) < 3 {
		return false
	}
	slices.Sort(steps)
	usual, n := steps[len(steps)/2], 0
	for _, d := range steps {
		if d-usual <= usual/1000+1e-4 && usual-d <= usual/1000+1e-4 {
			n++
		}
	}
	return usual != 0 && 10*n >= 8*len(steps)
}

// fractionBeside finds the column of parts of a day beside one of whole day
// numbers, as a spreadsheet leaves date and time in two columns of numbers; -1
// = none.
func (t *Table) fractionBeside(days int, free []int) int {
	for _, c := range t.sample(days) {
		if n := celltext.LeadingDigits(c); n != 5 || strings.Trim(c[n:], ".,0") != "" {
			return -1
		}
	}
	for _, i := range [...]int{days + 1, days - 1} {
		if !slices.Contains(free, i) || t.Units[i] != "" {
			continue
		}
		low, high, ok := 2.0, -1.0, true
		for _, c := range t.sample(i) {
			v, number := eitherMark(c)
			ok = ok && number && v >= 0 && v < 1
			low, high = min(low, v), max(high, v)
		}
		if ok && high > low && (t.Header[i] == "" || namedStamp(t.Header[i])) {
			return i
		}
	}
	return -1
}

// dayNumberText joins a day number and a part of a day.
func dayNumberText(day, part string) string {
	n := celltext.LeadingDigits(day)
	v, ok := eitherMark(part)
	if !ok || v < 0 || v >= 1-1e-9 || n == 0 {
		return ""
	}
	return day[:n] + strings.TrimPrefix(strconv.FormatFloat(v, 'f', 10, 64), "0")
}

// eitherMark reads a plain number, whichever decimal mark it has.
func eitherMark(s string) (float64, bool) {
	v, _, ok := celltext.ParseNumber(strings.Replace(s, ",", ".", 1), ".", "")
	return v, ok
}
