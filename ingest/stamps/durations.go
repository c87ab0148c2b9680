package stamps

import (
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// Words that name how long something ran, and those that name when it did, in
// the languages whose loggers are met (common practice, no source). The first
// stand alone or before "time".
var (
	lengthWords = strings.Fields(`runtime uptime downtime duration length elapsed dauer laufzeit betriebszeit betriebsdauer betriebsstunden einschaltdauer kühldauer
 durée duree fonctionnement durata funzionamento duración duracion funcionamiento duração duracao duur looptijd draaiuren drifttid gångtid käyntiaika käyttöaika`)
	runWords  = strings.Fields("run running idle cooling heating operating operation operational operated working pumping burner compressor fan active total daily hours")
	timeNames = strings.Fields("time times h:mm hh:mm h:mm:ss hh:mm:ss hhh:mm:ss [h]:mm [h]:mm:ss hours hrs zeit")
	whenWords = strings.Fields("start started begin stop stopped end ended finish first last at reading read sample sampled sampling record recorded log logged local milking clock day from until to von bis")
)

// dropDurations takes columns of lengths of time, "h:mm:ss" beside a date, out
// of those that may be times of day. Hours beyond a day prove it. Where each row
// has a date of its own, a day's total may be written so too: there the name of
// the column decides, and one that decides nothing is a doubt.
func (t *Table) dropDurations(free []int, kinds []stampKind) {
	dates := slices.IndexFunc(free, func(i int) bool { return kinds[i] == dateOnly })
	if dates < 0 || t.Stream != nil {
		return
	}
	daily := t.rowADay(free[dates])
	for _, i := range free {
		if kinds[i] != timeOnly {
			continue
		}
		length, when := durationName(t.Header[i])
		switch {
		case t.beyondADay(i), daily && length && !when:
			kinds[i] = noStamp
		case daily && !when && !namesTime(t.Header[i]) && !dottedTimes(t.sample(i)):
			t.Found.Problem(series.CodeStampChoice, series.Note, t.Name, t.Place(t.HeaderLine, i),
				"each row has a date of its own, and %s may hold times of day or lengths of time; it is read as the time of day: stamp_columns in [[log]] names the date alone", series.Quoted(t.nameOf(i)))
		}
	}
}

// durationName tells what a header says of a column of hours and minutes: how
// long, or when.
func durationName(header string) (length, when bool) {
	words := strings.FieldsFunc(strings.ToLower(header), func(r rune) bool { return strings.ContainsRune(" _-.,;()/", r) })
	run, time := false, false
	for _, w := range words {
		length = length || slices.ContainsFunc(lengthWords, func(l string) bool { return strings.Contains(w, l) })
		run = run || slices.Contains(runWords, w)
		time = time || slices.Contains(timeNames, w)
		when = when || slices.Contains(whenWords, w)
	}
	return length || run && time, when && !length
}

// judgedRows show what a column holds.
const judgedRows = 1000

// leastBeyond rows with hours beyond 24 are lengths of time and no slips.
const leastBeyond = 3

// beyondADay tells whether hours beyond those of a day stand in a good part of
// a column's cells.
func (t *Table) beyondADay(col int) bool {
	beyond, filled := 0, 0
	for i := 0; i < len(t.Rows); i += max(1, len(t.Rows)/judgedRows) {
		c := t.Rows[i].Cells[col]
		if c == "" {
			continue
		}
		filled++
		k := celltext.LeadingDigits(c)
		if h, err := strconv.Atoi(c[:k]); err == nil && k < len(c) && c[k] == ':' && h > 24 {
			beyond++
		}
	}
	return beyond >= leastBeyond && 20*beyond >= filled
}

// rowADay tells whether nearly every row has a date that no other has.
func (t *Table) rowADay(col int) bool {
	seen, filled := map[string]bool{}, 0
	rows := t.Rows[:min(len(t.Rows), judgedRows)]
	for i := range rows {
		if c := rows[i].Cells[col]; c != "" {
			seen[c] = true
			filled++
		}
	}
	return filled >= 3 && 10*filled >= 9*len(rows) && 10*len(seen) >= 9*filled
}
