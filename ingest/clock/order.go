package clock

import (
	"fmt"
	"slices"
	"strings"
)

// order says which field of a date is year, month and day.
type order struct {
	name             string
	year, month, day int
}

var orders = [...]order{
	{"dmy", 2, 1, 0},
	{"mdy", 2, 0, 1},
	{"ymd", 0, 1, 2},
}

// inWords says an order in words.
var inWords = map[string]string{"dmy": "day first", "mdy": "month first", "ymd": "year first"}

// Evidence that decides an order. A log runs on past midnight under the true
// order; under a false one every new date lies about a month or a year away.
const (
	runsOn     = 36 * hourMS // a new date within this of the last row runs on
	runsOnMost = 0.8         // share of new dates that run on under the true order
	runsOnFew  = 0.2         // and at most under a false one
	loneProof  = 2           // rows that prove an order against the run of the rest
)

// decide finds the one order of all rows with a date in three numbers.
func decide(rows []stamp, texts []string, want string) (order, string, error) {
	var fits []order
	best, valid := 1, map[string]int{}
	for _, o := range orders {
		if want != "" && o.name != want {
			continue
		}
		n := countValid(rows, o)
		valid[o.name] = n
		if n > best {
			best, fits = n, nil
		}
		if n == best {
			fits = append(fits, o)
		}
	}
	if want != "" || len(fits) == 0 {
		return orders[max(0, slices.IndexFunc(orders[:], func(o order) bool { return o.name == want }))], "stated", nil
	}
	if len(fits) == 1 {
		return proven(rows, texts, fits[0], valid)
	}
	return undecided(rows, texts, fits)
}

func countValid(rows []stamp, o order) int {
	n := 0
	var last date
	var lastOK bool
	for i := range rows {
		if rows[i].date != last {
			last = rows[i].date
			_, _, _, lastOK = last.ymd(o)
		}
		if lastOK {
			n++
		}
	}
	return n
}

// proven takes the order that alone reads every row, unless very few rows
// prove it and the run of all the others speaks for another.
func proven(rows []stamp, texts []string, o order, valid map[string]int) (order, string, error) {
	for _, rival := range orders {
		n, seen := valid[rival.name]
		if rival == o || !seen || valid[o.name]-n > loneProof || n <= 2*loneProof {
			continue
		}
		if r, other := runOf(rows, o, formBad), runOf(rows, rival, formBad); other.on() && r.off() {
			return o, "", &OrderError{Example: texts[eitherWay(rows, rival, o)], Orders: []string{rival.name, o.name},
				Reason: fmt.Sprintf("%q can only be %s, but all other rows run on only %s", texts[odd(rows, o, rival)], inWords[o.name], inWords[rival.name])}
		}
	}
	k := odd(rows, o, orders[0], orders[1])
	return o, fmt.Sprintf("%s: %q reads no other way", inWords[o.name], texts[k]), nil
}

// odd is the first row that reads as o but not as one of the rivals.
func odd(rows []stamp, o order, rivals ...order) int {
	for i := range rows {
		if _, _, _, ok := rows[i].ymd(o); !ok {
			continue
		}
		for _, r := range rivals {
			if _, _, _, ok := rows[i].ymd(r); !ok && r != o {
				return i
			}
		}
	}
	return 0
}

// eitherWay is the first row that reads either way.
func eitherWay(rows []stamp, a, b order) int {
	for i := range rows {
		_, _, _, okA := rows[i].ymd(a)
		_, _, _, okB := rows[i].ymd(b)
		if okA && okB {
			return i
		}
	}
	return 0
}

// undecided chooses among orders that all read every row: by the run of the
// rows, then by the custom that dates with points put the day first.
func undecided(rows []stamp, texts []string, fits []order) (order, string, error) {
	if same(rows, fits) {
		return fits[0], "day and month are the same number in every row", nil
	}
	runs := make([]run, len(fits))
	for i, o := range fits {
		runs[i] = runOf(rows, o, formBad)
	}
	for i, o := range fits {
		others := slices.Delete(slices.Clone(runs), i, i+1)
		if runs[i].on() && !slices.ContainsFunc(others, func(r run) bool { return !r.off() }) {
			return o, inWords[o.name] + ": only so do the rows run on from one date to the next", nil
		}
		if runs[i].oneWay() && !slices.ContainsFunc(others, run.oneWay) {
			return o, inWords[o.name] + ": only so do the dates stand in order of time", nil
		}
	}
	if o, ok := bySortedRun(rows, fits); ok {
		return o, inWords[o.name] + ": only so do the dates, sorted, run on from one to the next", nil
	}
	k := eitherWay(rows, fits[0], fits[1])
	if rows[k].sep == '.' && fits[0].name == "dmy" {
		return fits[0], "day first: dates with points put the day first (common practice, no source); nothing in the file says otherwise", nil
	}
	e := &OrderError{Example: texts[k], Reason: "no day is above 12, and the rows run on no better one way than the other"}
	for _, o := range fits {
		e.Orders = append(e.Orders, o.name)
	}
	return fits[0], "", e
}

// bySortedRun judges rows that stand in no order of time: sorted, those of the
// true order run on from date to date.
func bySortedRun(rows []stamp, fits []order) (order, bool) {
	best, ok := order{}, false
	for _, o := range fits {
		r := sortedRun(rows, o)
		switch {
		case r.on() && ok:
			return order{}, false // two do
		case r.on():
			best, ok = o, true
		case !r.off():
			return order{}, false
		}
	}
	return best, ok
}

func sortedRun(rows []stamp, o order) run {
	var at []int64
	for i := range rows {
		if y, m, d, ok := rows[i].ymd(o); ok && rows[i].form != formBad {
			at = append(at, wallMS(y, m, d)+rows[i].clockMS)
		}
	}
	slices.Sort(at)
	r := run{rows: len(at)}
	for k := 1; k < len(at); k++ {
		if at[k]/dayMS != at[k-1]/dayMS {
			r.step(at[k] - at[k-1])
		}
	}
	return r
}

// same tells whether all orders give every row the same date.
func same(rows []stamp, fits []order) bool {
	for i := range rows {
		y, m, d, ok := rows[i].ymd(fits[0])
		for _, o := range fits[1:] {
			y2, m2, d2, ok2 := rows[i].ymd(o)
			if ok != ok2 || ok && (y != y2 || m != m2 || d != d2) {
				return false
			}
		}
	}
	return true
}

// run is how the rows of a column follow each other under one order.
type run struct {
	rows, dates, runOn, forward, back int
}

// on: several rows a date, and nearly every new date runs on from the last.
func (r run) on() bool {
	return r.dates > 0 && 2*r.rows >= 3*r.dates && float64(r.runOn) >= runsOnMost*float64(r.dates)
}

func (r run) off() bool { return float64(r.runOn) <= runsOnFew*float64(r.dates) }

// oneWay: at least three new dates, all later or all earlier than the last.
func (r run) oneWay() bool { return r.forward+r.back >= 3 && min(r.forward, r.back) == 0 }

// runOf looks at the steps from row to row at which the date changes; touch
// limits it to steps with a row of that form at either end (formBad: all).
func runOf(rows []stamp, o order, touch form) run {
	var r run
	var prev int64 = Bad
	var prevDate date
	for i := range rows {
		if rows[i].form == formBad {
			continue
		}
		y, m, d, ok := rows[i].ymd(o)
		if !ok {
			continue
		}
		t := wallMS(y, m, d) + rows[i].clockMS
		if touch == formBad || rows[i].form == touch || prevDate.form == touch {
			r.rows++
			if prev != Bad && rows[i].date.field != prevDate.field {
				r.step(t - prev)
			}
		}
		prev, prevDate = t, rows[i].date
	}
	return r
}

func (r *run) step(d int64) {
	r.dates++
	switch {
	case d > 0:
		r.forward++
	case d < 0:
		r.back++
	}
	if d >= -runsOn && d <= runsOn {
		r.runOn++
	}
}

// Error says what can't be told and which key settles it.
func (e *OrderError) Error() string {
	return fmt.Sprintf("the order of day, month and year can't be proved: %q reads as %s (%s); state it as dates = \"%s\" in farm.toml",
		e.Example, strings.Join(e.Orders, " or as "), e.Reason, strings.Join(e.Orders, "\" or \""))
}
