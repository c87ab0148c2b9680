package table

import (
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
)

// fewTimes are too few to tell times from numbers.
const fewTimes = 12

// DottedClock tells whether a column beside one of dates holds times of day
// with a point, "12.15", though its cells may be numbers as well: taken as hours
// and minutes, nearly all their steps are the commonest, over the change of the
// date as within it.
func (t *Table) DottedClock(dateCol, col int) bool { return dottedClock(t.Rows, dateCol, col) }

func dottedClock(rows []Row, dateCol, col int) bool {
	steps := map[int]int{}
	last, lastDate, n, most, wrapped, halves := -1, "", 0, 0, 0, true
	for i := range rows {
		at, ok := dottedMinute(rows[i].Cells[col])
		if !ok {
			return false
		}
		d := rows[i].Cells[dateCol]
		halves = halves && (at%60 == 0 || at%60 == 50)
		if last >= 0 {
			step := at - last
			if d != lastDate && step < 0 {
				step += 24 * 60
				wrapped++
			}
			if step < 0 {
				return false
			}
			steps[step]++
			most = max(most, steps[step])
			n++
		}
		last, lastDate = at, d
	}
	if n < fewTimes || 10*most < 9*n || steps[0] == most {
		return false
	}
	return wrapped > 0 || n >= 2*fewTimes && !halves // numbers in steps of a half
}

// dottedMinute reads h.mm as a minute of the day.
func dottedMinute(cell string) (minute int, ok bool) {
	h, m, found := strings.Cut(cell, ".")
	if !found || len(h) == 0 || len(h) > 2 || len(m) != 2 || celltext.LeadingDigits(h) != len(h) || celltext.LeadingDigits(m) != 2 {
		return 0, false
	}
	for _, c := range []byte(h) {
		minute = 10*minute + int(c-'0')
	}
	low := 10*int(m[0]-'0') + int(m[1]-'0')
	return 60*minute + low, minute <= 24 && low <= 59
}

// withClocks adds the columns of dotted times to those of stamps.
func withClocks(rows []Row, keys []int) []int {
	out := slices.Clone(keys)
	if len(rows) == 0 {
		return out
	}
	for col := range rows[0].Cells {
		if !slices.Contains(keys, col) && slices.ContainsFunc(keys, func(k int) bool { return dottedClock(rows, k, col) }) {
			out = append(out, col)
		}
	}
	return out
}
