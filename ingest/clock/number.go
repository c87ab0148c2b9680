package clock

import (
	"math"
	"strconv"
	"strings"
)

// isNumber tells whether a text is one plain number: digits with at most one
// decimal mark.
func isNumber(s string) bool {
	marks := 0
	for i := 0; i < len(s); i++ {
		switch b := s[i]; {
		case b == '.' || b == ',':
			marks++
		case b-'0' > 9:
			return false
		}
	}
	return marks <= 1 && len(s) >= 5
}

// numberStamp reads a stamp that is one number: a compact date, an epoch in
// seconds, milliseconds, microseconds or nanoseconds, or a spreadsheet's day
// number. Which one follows from the number of digits before the mark.
func numberStamp(text string) stamp {
	none := stamp{offsetMS: NoOffset}
	whole, rest, _ := strings.Cut(strings.Replace(text, ",", ".", 1), ".")
	switch len(whole) {
	case 5:
		days, err := strconv.ParseFloat(whole+"."+rest, 64)
		if err != nil || days < 20000 {
			return none
		}
		return stamp{date: date{form: formSerial}, clockMS: coarse(serialMS(days), len(rest)), clocked: true, offsetMS: NoOffset}
	case 8, 12, 14, 17:
		if whole == text { // not "20260105."
			return compactStamp(text)
		}
	case 10, 13, 16, 19:
		// Seconds since 1970 begin with 19 or 20 from the year 2030 on; an hour of
		// a date before 2100 does so today.
		if len(text) == 10 {
			if s := compactStamp(text); s.form != formBad {
				return s
			}
		}
		scale := math.Pow(10, float64(13-len(whole)))
		v, err := strconv.ParseFloat(whole+"."+rest, 64)
		if err == nil {
			return stamp{date: date{form: formEpoch}, clockMS: int64(math.Round(v * scale)), clocked: true}
		}
	}
	return none
}

// serialMS turns a spreadsheet's day number (1900 system, day 25569 is
// 1970-01-01) into wall milliseconds, rounded to the millisecond. Numbers as
// old as that system's false leap day (60) are not read.
// Source: ECMA-376 part 1, 18.17.4.1.
func serialMS(days float64) int64 { return int64(math.Round((days - 25569) * dayMS)) }

// coarse rounds a day number that was cut to a few decimals to the step of
// time that these can hold: four (8.64 s) to ten seconds, five to the second,
// six and seven to the tenth and the hundredth. More are read to the
// millisecond; fewer are too coarse for any step, or exact.
func coarse(ms int64, decimals int) int64 {
	if decimals < 4 || decimals > 7 {
		return ms
	}
	stepMS := [...]int64{10 * secondMS, secondMS, 100, 10}[decimals-4]
	return (ms + stepMS/2) / stepMS * stepMS
}

func compactStamp(text string) stamp {
	if text[:2] != "19" && text[:2] != "20" {
		return stamp{offsetMS: NoOffset}
	}
	c := scanner{s: text, i: len(text), st: stamp{offsetMS: NoOffset}}
	if !c.compact(text) || !c.finish() {
		return stamp{offsetMS: NoOffset}
	}
	if y, m, d := c.st.field[0], c.st.field[1], c.st.field[2]; !validDate(int(y), int(m), int(d)) {
		return stamp{offsetMS: NoOffset}
	}
	return c.st
}
