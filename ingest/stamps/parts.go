package stamps

import (
	"fmt"
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
)

// role is the part of a stamp that a column of whole numbers holds.
type role uint8

const (
	noRole role = iota
	inYear
	inMonth
	inDay
	inDayOfYear
	inHour
	inMinute
	inSecond
	inHourMinute       // hhmm: 5, 930, 2400
	inHourMinuteSecond // hhmmss
	inDate             // a whole date, as text
	inDayNumber        // a spreadsheet's whole day number
	inDayPart          // and the part of the day beside it
)

// roleNames are the headers by which such columns go (common practice, no
// source), lower case, with nothing but letters.
var roleNames = map[role][]string{
	inYear:             strings.Fields("year yr yyyy yy y jahr année annee an año ano anno jaar rok år vuosi"),
	inMonth:            strings.Fields("month mon mo mm m monat mois mes mese mês maand miesiąc måned månad kuukausi"),
	inDay:              strings.Fields("day dd d dy dom dayofmonth tag jour día dia giorno dag dzień päivä"),
	inDayOfYear:        strings.Fields("day jour tag dag dia día giorno doy dayofyear dayoftheyear julian julianday jday jday jd yday yearday ddd daynumber dayno tagdesjahres jourdelannée"),
	inHour:             strings.Fields("hour hours hr hrs hh h stunde std heure hora ora uur godzina time zeit uhrzeit tijd tid tunti"),
	inMinute:           strings.Fields("minute minutes min mn mi mm m minuten minuto minuti minuut minuta"),
	inSecond:           strings.Fields("second seconds sec secs ss s sekunde sekunden seconde segundo secondo seconden"),
	inHourMinute:       strings.Fields("hhmm hourmin hourminute time hour hr utc gmt zeit uhrzeit heure hora ora tijd tid"),
	inHourMinuteSecond: strings.Fields("hhmmss time zeit uhrzeit heure hora ora tijd tid"),
}

// roleBounds are the least and greatest value of each part.
var roleBounds = [...][2]int{inYear: {1900, 2199}, inMonth: {1, 12}, inDay: {1, 31}, inDayOfYear: {1, 366}, inHour: {0, 24}, inMinute: {0, 59}, inSecond: {0, 60},
	inHourMinute: {0, 2400}, inHourMinuteSecond: {0, 240000}}

// wholeCells reads a sample of a column as whole numbers; nil where one is
// none.
func wholeCells(cells []string) []int {
	out := make([]int, 0, len(cells))
	for _, c := range cells {
		n, ok := wholeOf(c)
		if !ok {
			return nil
		}
		out = append(out, n)
	}
	if len(out) == 0 {
		return nil
	}
	return out
}

// wholeOf reads a whole number, written with zeros behind a mark or without.
func wholeOf(cell string) (int, bool) {
	n := celltext.LeadingDigits(cell)
	if n == 0 || n > 6 || strings.Trim(cell[n:], "0.,") != "" {
		return 0, false
	}
	v := 0
	for _, c := range []byte(cell[:n]) {
		v = v*10 + int(c-'0')
	}
	return v, true
}

// plays tells whether all values can be that part of a stamp.
func plays(r role, values []int) bool {
	if values == nil || r == noRole || r == inDate {
		return false
	}
	low, high := roleBounds[r][0], roleBounds[r][1]
	for _, v := range values {
		if r == inYear && v < 100 {
			continue // two digits
		}
		if v < low || v > high {
			return false
		}
		if r == inHourMinute && v%100 > 59 || r == inHourMinuteSecond && (v%100 > 59 || v/100%100 > 59) {
			return false
		}
	}
	return true
}

// named tells whether a header names that part. One with a number ("h1") is of
// a row of its like.
func named(r role, header string) bool {
	if strings.ContainsAny(strings.SplitN(header, "(", 2)[0], "0123456789") {
		return false
	}
	h := strings.Map(func(c rune) rune {
		if c < 'a' && c < 0x80 || c > 'z' && c < 0x80 {
			return -1
		}
		return c
	}, strings.ToLower(strings.TrimSuffix(strings.SplitN(header, "(", 2)[0], "_tm")))
	return h != "" && slices.Contains(roleNames[r], h)
}

// chains are the orders of parts that are looked for, the more telling first.
var chains = [...][]role{
	{inYear, inMonth, inDay, inHour, inMinute, inSecond},
	{inYear, inMonth, inDay, inHour, inMinute},
	{inDay, inMonth, inYear, inHour, inMinute, inSecond},
	{inDay, inMonth, inYear, inHour, inMinute},
	{inMonth, inDay, inYear, inHour, inMinute, inSecond},
	{inMonth, inDay, inYear, inHour, inMinute},
	{inYear, inDayOfYear, inHour, inMinute, inSecond},
	{inYear, inDayOfYear, inHour, inMinute},
	{inYear, inMonth, inDay, inHourMinuteSecond},
	{inYear, inMonth, inDay, inHourMinute},
	{inDay, inMonth, inYear, inHourMinute},
	{inMonth, inDay, inYear, inHourMinute},
	{inYear, inDayOfYear, inHourMinute},
	{inDate, inHour, inMinute, inSecond},
	{inDate, inHour, inMinute},
	{inDate, inHourMinute},
	{inDate, inHourMinuteSecond},
	{inYear, inMonth, inDay, inHour},
	{inDay, inMonth, inYear, inHour},
	{inYear, inDayOfYear, inHour},
	{inDate, inHour},
	{inYear, inMonth, inDay},
	{inDay, inMonth, inYear},
	{inYear, inDayOfYear},
}

// findParts finds the columns that hold a stamp in parts: by their headers
// first, in any order, then, where there are none or others, by neighbouring
// columns whose numbers run as such parts do.
func (t *Table) findParts(free []int, kinds []stampKind) bool {
	values := make([][]int, len(t.Header))
	for _, i := range free {
		values[i] = wholeCells(t.sample(i))
	}
	isRole := func(r role, i int) bool {
		if r == inDate {
			return kinds[i] == dateOnly
		}
		return plays(r, values[i])
	}
	for _, chain := range chains {
		var at []int
		for _, r := range chain {
			k := slices.IndexFunc(free, func(i int) bool {
				return !slices.Contains(at, i) && isRole(r, i) && (r == inDate || named(r, t.Header[i]) && clear(r, t.Header[i], values[i])) && t.follows(r, i, at)
			})
			if k < 0 {
				break
			}
			at = append(at, free[k])
		}
		if len(at) == len(chain) && t.moves(chain, at, values) {
			t.Columns, t.parts = at, chain
			return true
		}
	}
	return t.runningParts(free, isRole, values)
}

// clear: numbers of a column whose name alone does not say that it holds hhmm
// must reach beyond the hours of a day.
func clear(r role, header string, values []int) bool {
	switch r {
	case inHourMinute:
		return slices.Max(values) > 100 || strings.Contains(strings.ToLower(header), "mm")
	case inHourMinuteSecond:
		return slices.Max(values) > 2400 || strings.Contains(strings.ToLower(header), "mmss")
	case inDayOfYear: // by its name alone a day may be one of a month
		return slices.Max(values) > 31 || !named(inDay, header)
	}
	return true
}

// follows: a name that serves for two parts ("mm", "m", "time") is the later
// one only behind the earlier.
func (t *Table) follows(r role, i int, at []int) bool {
	switch r {
	case inMinute, inSecond, inHourMinute, inHourMinuteSecond, inHour:
		return len(at) == 0 || i > at[len(at)-1] || i < at[0]
	}
	return true
}

// moves tells whether the time of day takes more than one value: a column of
// zeros beside a date is none.
func (t *Table) moves(chain []role, at []int, values [][]int) bool {
	if last := chain[len(chain)-1]; last == inDay || last == inYear || last == inDayOfYear {
		return true
	}
	for n, r := range chain {
		if r >= inHour && r != inDate && slices.Min(values[at[n]]) != slices.Max(values[at[n]]) {
			return true
		}
	}
	return false
}

// runningParts looks at neighbours without telling names: the year of four
// digits hardly moves, and what stands beside it varies as its part does.
func (t *Table) runningParts(free []int, isRole func(role, int) bool, values [][]int) bool {
	for _, chain := range chains {
		if len(chain) < 3 && chain[0] != inDate || len(chain) == 2 && chain[1] == inHour {
			continue // an hour beside a date may be any small number
		}
		for n := 0; n+len(chain) <= len(free); n++ {
			at := free[n : n+len(chain)]
			ok := true
			for k, r := range chain {
				ok = ok && isRole(r, at[k]) && t.telling(r, at[k], values[at[k]])
			}
			if ok && t.nameless(at) && t.moves(chain, at, values) {
				t.Columns, t.parts = slices.Clone(at), chain
				return true
			}
		}
	}
	return false
}

// nameless: no header says that these columns are something else.
func (t *Table) nameless(at []int) bool {
	for _, i := range at {
		if t.Header[i] != "" {
			return false
		}
	}
	return true
}

// telling: numbers that are a part of a stamp beyond chance.
func (t *Table) telling(r role, col int, values []int) bool {
	if r == inDate {
		return true
	}
	low, high := slices.Min(values), slices.Max(values)
	switch r {
	case inYear:
		return low >= 1970 && high-low <= 20
	case inHourMinute:
		return high > 100
	case inHourMinuteSecond:
		return high > 10000
	case inDay, inDayOfYear:
		return t.steady(col)
	}
	return true
}

// steady: from row to row a day stays or goes on by one, but for a few jumps;
// or, in rows out of order, many share each of a run of days.
func (t *Table) steady(col int) bool {
	last, jumps, steps := -1, 0, 0
	days := map[int]bool{}
	for i := range t.Rows {
		v, ok := wholeOf(t.Rows[i].Cells[col])
		if !ok {
			continue
		}
		if last >= 0 {
			steps++
			if d := v - last; d < -1 || d > 1 {
				jumps++
			}
		}
		last, days[v] = v, true
	}
	if steps > 0 && 20*jumps <= steps {
		return true
	}
	low, high := 1<<30, 0
	for d := range days {
		low, high = min(low, d), max(high, d)
	}
	return steps >= 4*len(days) && high-low < 2*len(days)
}

// statedParts gives stated stamp columns their parts, where they are some.
func (t *Table) statedParts() {
	if len(t.Columns) < 2 {
		return
	}
	values := make([][]int, len(t.Header))
	for _, i := range t.Columns {
		values[i] = wholeCells(t.sample(i))
	}
	for _, byName := range [...]bool{true, false} {
		for _, chain := range chains {
			if len(chain) != len(t.Columns) || chain[0] == inDate {
				continue
			}
			ok := true
			for n, r := range chain {
				i := t.Columns[n]
				ok = ok && plays(r, values[i]) && (!byName || named(r, t.Header[i])) && (byName || t.telling(r, i, values[i]))
			}
			if ok {
				t.parts = chain
				return
			}
		}
	}
}

// partsText writes a row's stamp from its parts; "" where one is missing.
func (t *Table) partsText(cells []string) string {
	if t.parts[0] == inDayNumber {
		return dayNumberText(cells[t.Columns[0]], cells[t.Columns[1]])
	}
	var v [inDate]int
	date := ""
	for n, r := range t.parts {
		c := cells[t.Columns[n]]
		if r == inDate {
			date = dayPart(c)
			continue
		}
		x, ok := wholeOf(c)
		if !ok {
			return ""
		}
		v[r] = x
	}
	h, m, s := v[inHour], v[inMinute], v[inSecond]
	switch {
	case slices.Contains(t.parts, inHourMinute):
		h, m = v[inHourMinute]/100, v[inHourMinute]%100
	case slices.Contains(t.parts, inHourMinuteSecond):
		x := v[inHourMinuteSecond]
		h, m, s = x/10000, x/100%100, x%100
	}
	if y := v[inYear]; y > 0 && y < 70 {
		v[inYear] = 2000 + y
	} else if y >= 70 && y < 100 {
		v[inYear] = 1900 + y
	}
	if d := v[inDayOfYear]; d > 0 {
		v[inMonth], v[inDay] = monthDay(v[inYear], d)
	}
	if date == "" {
		date = fmt.Sprintf("%04d-%02d-%02d", v[inYear], v[inMonth], v[inDay])
	} else if cells[t.Columns[0]] == "" {
		return ""
	}
	if t.parts[len(t.parts)-1] <= inDayOfYear {
		return date
	}
	return fmt.Sprintf("%s %02d:%02d:%02d", date, h, m, s)
}

// monthDay is month and day of the d-th day of a year; month 13 behind its end.
func monthDay(year, d int) (month, day int) {
	leap := year%4 == 0 && (year%100 != 0 || year%400 == 0)
	for m, n := range [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31} {
		if m == 1 && leap {
			n++
		}
		if d <= n {
			return m + 1, d
		}
		d -= n
	}
	return 13, d
}

// InParts tells whether the texts of Columns joined are no stamps: each holds
// one part, such as hhmm, or the date or its year stands elsewhere.
func (t *Table) InParts() bool { return t.parts != nil || t.made != nil || t.above != nil }
