package table

import (
	"fmt"
	"strconv"
	"strings"

	"yardheat/ingest/table/celltext"
)

// refuseDayRows is an error for a table with a row a day and a column for each
// time of day: read so, every reading of a day would stand at its midnight. Where
// the farm file states the header, columns numbered behind a word are channels.
func refuseDayRows(rows []Row, b *block, stated bool) error {
	if len(b.rows) == 0 {
		return nil
	}
	days := b.datesOnly()
	if r, ok := b.monthsAcross(); ok {
		return &Error{Line: r.Line, Err: errNoTable, Got: "a row for each day of a month with a column for each month: " + quote(strings.Join(dropEmptyTail(r.Cells), " | ")),
			Want: "a row for each day", Do: "turn the table: one row for each date, with its reading beside it"}
	}
	for _, r := range rows {
		if r.Line > b.rows[0].Line {
			break
		}
		if !isTimesRow(r.Cells) && !isHoursRow(r.Cells) && isStampsRow(r.Cells) {
			return &Error{Line: r.Line, Err: errNoTable, Got: "a column for each date or time: " + quote(strings.Join(dropEmptyTail(r.Cells), " | ")),
				Want: "a row for each time", Do: "turn the table: one row for each date and time, with its readings beside it"}
		}
		if days && !stated && !isHoursRow(r.Cells) && isSlotsRow(r.Cells) {
			return &Error{Line: r.Line, Err: errNoTable, Got: "a row a day with a column for each time of day: " + quote(strings.Join(dropEmptyTail(r.Cells), " | ")),
				Want: "a row for each time", Do: fmt.Sprintf("turn the table: one row for each date and time, with its reading beside it; header = %d in [[log]] if these are channels", r.Line)}
		}
		if !isTimesRow(r.Cells) && !(days && isHoursRow(r.Cells)) {
			continue
		}
		return &Error{Line: r.Line, Err: errNoTable, Got: "a row a day with a column for each time of day: " + quote(strings.Join(dropEmptyTail(r.Cells), " | ")),
			Want: "a row for each time", Do: "turn the table: one row for each date and time, with its reading beside it"}
	}
	return nil
}

// monthsAcross finds a header of twelve months over rows that count the days of
// one.
func (b *block) monthsAcross() (Row, bool) {
	for _, h := range b.header {
		last, run := 0, 0
		for _, c := range h.Cells {
			if m, _ := celltext.Month(strings.TrimRight(strings.SplitN(c, " ", 2)[0], ".,")); m == last+1 {
				last, run = m, run+1
			}
		}
		if run == 12 && len(h.Cells) <= 16 && b.countsDays() {
			return h, true
		}
	}
	return Row{}, false
}

// countsDays: the first cells of the rows are 1, 2, 3 … and no more than 31.
func (b *block) countsDays() bool {
	if len(b.rows) < 28 || len(b.rows) > 33 {
		return false
	}
	for i, r := range b.rows[:28] {
		if n, err := strconv.Atoi(strings.TrimRight(r.Cells[0], ".")); err != nil || n != i+1 {
			return false
		}
	}
	return true
}

// datesOnly tells whether no stamp of the first rows has a time of day.
func (b *block) datesOnly() bool {
	some := false
	for _, r := range b.rows[:min(len(b.rows), sampleRows)] {
		for _, k := range b.keys {
			c := r.Cells[k]
			if strings.IndexByte(c, ':') >= 0 && !strings.HasSuffix(strings.TrimRight(c, "0.:"), "T") {
				return false
			}
			some = some || c != ""
		}
	}
	return some
}

// isStampsRow tells whether most of many cells are dates, each another: those
// of the channels' calibration are the same.
func isStampsRow(cells []string) bool {
	s := shapeOf(cells)
	if s.stamps < 8 || 10*s.stamps < 8*s.filled {
		return false
	}
	seen := map[string]bool{}
	for _, c := range cells {
		if celltext.LooksLikeStamp(c) {
			seen[c] = true
		}
	}
	return 10*len(seen) >= 9*s.stamps
}

// isTimesRow tells whether most cells are times of day.
func isTimesRow(cells []string) bool {
	times, filled := 0, 0
	for _, c := range cells {
		if c == "" {
			continue
		}
		filled++
		if n := celltext.LeadingDigits(c); n > 0 && n <= 2 && len(c) <= 8 && celltext.LooksLikeStamp(c) && strings.IndexByte(c, ':') == n {
			times++
		}
	}
	return times >= 8 && 10*times >= 6*filled
}

// isHoursRow tells whether the cells count the 24 hours of a day, from 0 or
// from 1, as "h1", "H01", "Hour 1", "1 h" or the number alone.
func isHoursRow(cells []string) bool {
	next, run := -1, 0
	for _, c := range cells {
		n, ok := hourOf(c)
		switch {
		case !ok:
		case n == next:
			run++
		case n <= 1:
			run = 1
		default:
			run = 0
		}
		next = n + 1
		if ok && run >= 24 {
			return true
		}
		if !ok {
			next, run = -1, 0
		}
	}
	return false
}

// hourWords stand before or behind the number of an hour (common practice, no
// source).
var hourWords = strings.Fields("h hr hrs hour hours std stunde heure hora ora uur uhr godz godzina")

// hourOf reads the number of an hour of the day off a column's name: "13",
// "h13", "Hour 13", "13h", "13:00-14:00", "13-14".
func hourOf(name string) (int, bool) {
	s := strings.ToLower(strings.TrimSpace(name))
	for _, w := range hourWords {
		if rest, ok := strings.CutPrefix(s, w); ok && strings.TrimLeft(rest, " _-.") != "" {
			if c := strings.TrimLeft(rest, " _-."); c[0]-'0' <= 9 {
				s = c
				break
			}
		}
	}
	n := celltext.LeadingDigits(s)
	if n == 0 || n > 2 {
		return 0, false
	}
	rest := strings.Trim(s[n:], " _-.:0123456789h")
	for _, w := range hourWords {
		rest = strings.TrimPrefix(rest, w)
	}
	hour, err := strconv.Atoi(s[:n])
	return hour, err == nil && rest == "" && hour <= 24
}
