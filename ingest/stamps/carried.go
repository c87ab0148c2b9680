package stamps

import (
	"fmt"
	"strings"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// made are stamps that no cell holds as a whole: dates that stand on some rows
// or above the table only, or a time that has passed since a start.
type made struct {
	texts []string
	// days are added to the dates of texts: midnights passed since the date.
	days []int
	// dateLine: the row holds nothing but the date of those below it.
	dateLine []bool
}

// missingDates finds a column of times of day, or of time passed, whose date
// stands elsewhere; why says what stood in the way where there is none.
func (t *Table) missingDates(free []int) (why string) {
	for _, i := range free {
		if why = t.elapsed(i); why == "" {
			return ""
		} else if why != notElapsed {
			return why
		}
	}
	for _, i := range free {
		dates, clocks, ok := t.clockCells(i)
		if !ok {
			continue
		}
		above := ""
		if dates[0] == "" {
			start, ok := t.startAbove()
			if !ok {
				return fmt.Sprintf("times of day in %s without a date, in the rows or above them", series.Quoted(t.nameOf(i)))
			}
			above = dayOf(start)
		}
		t.Columns = []int{i}
		t.carry(dates, clocks, above)
		return ""
	}
	return ""
}

func (t *Table) nameOf(col int) string {
	if h := t.Header[col]; h != "" {
		return h
	}
	return fmt.Sprintf("#%d", col+1)
}

// clockCells parts the cells of a column into dates and times of day; not ok
// where they hold anything else, or times in less than half of them.
func (t *Table) clockCells(col int) (dates, clocks []string, ok bool) {
	dates, clocks = make([]string, len(t.Rows)), make([]string, len(t.Rows))
	times, dated, other := 0, 0, 0
	for i := range t.Rows {
		c := t.Rows[i].Cells[col]
		switch {
		case c == "":
		case isClock(c):
			clocks[i] = c
			times++
		case celltext.LooksLikeStamp(c):
			dates[i] = dayOf(c)
			clocks[i] = strings.Trim(strings.TrimPrefix(c, dates[i]), " T,")
			dated++
		default:
			other++
		}
	}
	return dates, clocks, times > 0 && times >= dated && 20*other <= times
}

// isClock tells a time of day without a date.
func isClock(cell string) bool {
	k := celltext.LeadingDigits(cell)
	return (k == 1 || k == 2) && k < len(cell) && cell[k] == ':' && celltext.LooksLikeStamp(cell)
}

// dayOf is a stamp's text up to its time of day.
func dayOf(stamp string) string {
	at := strings.IndexByte(stamp, ':')
	if at < 0 {
		return stamp
	}
	for at > 0 && stamp[at-1]-'0' <= 9 {
		at--
	}
	return strings.TrimRight(stamp[:at], " T,")
}

// smallStepBack is how far times of day may go back within a date: a clock that
// was set, summer time's end, rows out of order.
const smallStepBack = 2 * 3600 * 1000

// direction is 1 where times of day rise from row to row, -1 where they fall:
// the newest row stands first.
func direction(ms []int64, dates []string) int64 {
	up, down := 0, 0
	for i := 1; i < len(ms); i++ {
		switch {
		case ms[i] < 0 || ms[i-1] < 0 || dates[i] != "":
		case ms[i] > ms[i-1]:
			up++
		case ms[i] < ms[i-1]:
			down++
		}
	}
	if down > up {
		return -1
	}
	return 1
}

// carry gives the rows below a date that date: as long as the times of day
// rise, and on the next day where they fall from evening to morning. Where they
// fall otherwise, nothing tells the date up to the next one.
func (t *Table) carry(dates, clocks []string, above string) {
	m := &made{texts: make([]string, len(dates)), days: make([]int, len(dates)), dateLine: make([]bool, len(dates))}
	ms := clockTimes(clocks)
	date, days, carried, first, way := above, 0, 0, -1, direction(ms, dates)
	var last int64 = -1
	for i := range dates {
		if dates[i] != "" {
			date, days, last = dates[i], 0, -1
			m.dateLine[i] = clocks[i] == ""
		}
		if date == "" || clocks[i] == "" || ms[i] < 0 {
			continue
		}
		if back := (last - ms[i]) * way; last >= 0 && back > smallStepBack {
			if back < dayMS/2 {
				date = "" // until the next one
				continue
			}
			days += int(way)
		}
		last = ms[i]
		if m.texts[i], m.days[i] = date+" "+clocks[i], days; dates[i] == "" {
			if carried++; first < 0 {
				first = i
			}
		}
	}
	t.made = m
	if carried == 0 {
		return
	}
	from, sev := "the row above that has one", series.Note
	if above != "" {
		sev, from = series.Doubt, "the line above the table that has one, "+series.Quoted(above)
	}
	t.Found.Problem(series.CodeDateCarried, sev, t.Name, t.Place(t.Rows[first].Line, t.Columns[0]), "%s a time of day and no date: they take that of %s, and the next where the times pass midnight",
		rowsHave(carried), from)
}

func rowsHave(n int) string {
	if n == 1 {
		return "1 row has"
	}
	return series.Plural(n, "row") + " have"
}

// clockTimes reads times of day, ms since midnight; -1 = none.
func clockTimes(clocks []string) []int64 {
	const day = "2000-01-01 "
	texts, out := make([]string, len(clocks)), make([]int64, len(clocks))
	for i, c := range clocks {
		if out[i] = -1; c != "" {
			texts[i] = day + c
		}
	}
	col, err := clock.Read(texts, clock.Options{})
	if err != nil {
		return out
	}
	midnight, _ := clock.ParseCivil("2000-01-01")
	for i, w := range col.Wall {
		if w != clock.Bad {
			out[i] = w - midnight
		}
	}
	return out
}

// carryPairs is carry for a column of dates beside one of times of day.
func (t *Table) carryPairs() {
	dates, clocks := make([]string, len(t.Rows)), make([]string, len(t.Rows))
	for i := range t.Rows {
		dates[i], clocks[i] = dayPart(t.Rows[i].Cells[t.Columns[0]]), t.Rows[i].Cells[t.Columns[1]]
	}
	t.carry(dates, clocks, "")
}

// addDays moves the rows on whose dates were carried past a midnight.
func (t *Table) addDays() {
	if t.made == nil {
		return
	}
	for i, n := range t.made.days {
		if t.clk.Wall[i] != clock.Bad {
			t.clk.Wall[i] += int64(n) * dayMS
		}
	}
}
