package stamps

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
)

// sortRows puts a table's rows in the order of time and flags those whose
// stamp cannot be right: displaced into a stretch that other rows cover, far
// from all others, or in the future.
func (t *Table) sortRows(opt Options) {
	rows := make([]int32, 0, len(t.At))
	for i, at := range t.At {
		if at != clock.Bad {
			rows = append(rows, int32(i))
		}
	}
	t.RowCount = len(rows)
	if t.newestFirst(rows) {
		slices.Reverse(rows)
	}
	t.Order = rows
	t.spreadMinutes()
	if !slices.IsSortedFunc(rows, t.byTime) {
		stays := t.longestRun(rows)
		slices.SortStableFunc(rows, t.byTime)
		t.flagDisplaced(stays)
	}
	t.datesAlone()
	t.farRows(opt)
	t.futureRows(opt)
	t.span()
}

// datesAlone is a fault where many rows share each date and no time of day was
// found: read so, all would stand at midnight.
func (t *Table) datesAlone() {
	if t.Tagged || t.clk.Layout == "" || strings.ContainsAny(t.clk.Layout, "hs") {
		return
	}
	dates, other := 0, 0
	for k, r := range t.Order {
		if k == 0 || t.At[r] != t.At[t.Order[k-1]] {
			dates++
		} else if !t.sameReadings(r, t.Order[k-1]) {
			other++
		}
	}
	if other <= 2*dates {
		return
	}
	t.Found.Fault(t.Name, t.Place(t.HeaderLine, t.Columns[0]), fmt.Sprintf("%d rows on %s, and no time of day: %s", len(t.Order), series.Plural(dates, "date"), t.Headers()),
		"a time of day beside the date", "name the columns of date and time by stamp_columns in [[log]]")
}

func (t *Table) byTime(a, b int32) int {
	switch x, y := t.At[a], t.At[b]; {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return 0
}

func (t *Table) newestFirst(rows []int32) bool {
	up, down := 0, 0
	for k := 1; k < len(rows); k++ {
		switch t.byTime(rows[k-1], rows[k]) {
		case -1:
			up++
		case 1:
			down++
		}
	}
	return down > up
}

// flag marks a row's readings.
func (t *Table) flag(row int32, f series.Flag) {
	if t.RowFlags == nil {
		t.RowFlags = make([]series.Flag, t.rows())
	}
	t.RowFlags[row] |= f
}

// longestRun finds the longest run of rows, not nearest ones, whose stamps do
// not fall: the rows that stand where they belong. The rest was displaced.
// Patience sorting: O(n log n).
func (t *Table) longestRun(rows []int32) []bool {
	var tails []int32 // rows at the tops of the piles
	before := make([]int32, len(t.At))
	for _, r := range rows {
		k := sort.Search(len(tails), func(i int) bool { return t.At[tails[i]] > t.At[r] })
		before[r] = -1
		if k > 0 {
			before[r] = tails[k-1]
		}
		if k == len(tails) {
			tails = append(tails, r)
		} else {
			tails[k] = r
		}
	}
	stays := make([]bool, len(t.At))
	for r := tails[len(tails)-1]; r >= 0; r = before[r] {
		stays[r] = true
	}
	return stays
}

// flagDisplaced lists rows that had to be sorted in. One that fills a hole
// between the others came late and is as good as they; one that falls into a
// stretch that is covered already carries a wrong stamp. Where hardly half of
// the rows stand in order, the file has none, and nothing tells.
func (t *Table) flagDisplaced(stays []bool) {
	settled := make([]int64, 0, len(t.Order))
	for _, r := range t.Order {
		if stays[r] {
			settled = append(settled, t.At[r])
		}
	}
	all := make([]int64, len(t.Order))
	for i, r := range t.Order {
		all[i] = t.At[r]
	}
	usual, _ := reading.Pace(all)
	unordered := 2*len(settled) < len(t.Order)
	moved, wrong, first := 0, 0, int32(-1)
	for _, r := range t.Order {
		if stays[r] {
			continue
		}
		moved++
		if first < 0 || r < first {
			first = r
		}
		if !unordered && covered(settled, t.At[r], usual/2) {
			t.flag(r, series.Order)
			wrong++
		}
	}
	if moved > 0 {
		t.Found.Problem(series.CodeOutOfOrder, series.Note, t.Name, t.Place(t.LineOf(int(first)), t.Columns[0]),
			"%s stood out of the order of time and sorted in; %d of them fall among rows that were there already and are not used", series.Plural(moved, "row"), wrong)
	}
}

// covered tells whether a stamp falls among others, closer than near to one of
// them but not upon it (that is a duplicate's matter).
func covered(settled []int64, at, near int64) bool {
	k := sort.Search(len(settled), func(i int) bool { return settled[i] >= at })
	if k == 0 || k == len(settled) || settled[k] == at {
		return false
	}
	return at-settled[k-1] < near || settled[k]-at < near
}

// Shares of a table's rows at either end that a clock which was not set may have
// stamped: few of any date far off, more where they begin with the first hour of
// a year, as a clock does that lost its time (common practice, no source). More
// than few of another date are named and kept: a season may be that far off.
const (
	farShare   = 0.01
	resetShare = 0.1
	// bootShare where they also begin on the first day of a year long before, by
	// at least bootDays: rows logged after a power cut until someone sets the clock.
	bootShare = 0.4
	bootDays  = 2 * 365
)

// farRows looks for a few rows at either end that lie far from all others.
func (t *Table) farRows(opt Options) {
	farMS := int64(opt.FarDays * dayMS)
	n := len(t.Order)
	apart := func(k int) bool { return t.At[t.Order[k]]-t.At[t.Order[k-1]] > farMS }
	few, more := int(farShare*float64(n)), int(resetShare*float64(n))
	early := more
	for k := min(int(bootShare*float64(n)), n-1); k > more; k-- {
		if t.At[t.Order[k]]-t.At[t.Order[k-1]] > bootDays*dayMS && yearsFirstHour(t.clk.Wall[t.Order[0]]) {
			t.tellFar(t.Order[:k], false, opt)
			early = 0
			break
		}
	}
	for k := min(early, n-1); k >= 1; k-- {
		if apart(k) {
			t.tellFar(t.Order[:k], k <= few, opt)
			break
		}
	}
	for k := max(1, n-more); k < n; k++ {
		if apart(k) {
			t.tellFar(t.Order[k:], n-k <= few, opt)
			break
		}
	}
}

// tellFar names rows far from all others, and flags those of a clock that was
// not set.
func (t *Table) tellFar(rows []int32, few bool, opt Options) {
	where := t.Place(t.LineOf(int(rows[0])), t.Columns[0])
	said := fmt.Sprintf("%s more than %g days from all others, first %s", series.Plural(len(rows), "row"), opt.FarDays, series.Quoted(t.textOf(rows[0])))
	if !few && !yearsFirstHour(t.clk.Wall[rows[0]]) && !yearsFirstHour(t.utc[rows[0]]) {
		t.Found.Problem(series.CodeStampFar, series.Doubt, t.Name, where, "%s: a clock that was not set, or a time long past; they are used", said)
		return
	}
	for _, r := range rows {
		t.flag(r, series.Order)
	}
	t.Found.Problem(series.CodeStampFar, series.LeftOut, t.Name, where, "%s: the clock was not set; not used", said)
}

// yearsFirstHour tells whether a time is in the first hour of a year.
func yearsFirstHour(ms int64) bool {
	at := time.UnixMilli(ms).UTC()
	return at.YearDay() == 1 && at.Hour() == 0
}

func (t *Table) futureRows(opt Options) {
	if opt.Now.IsZero() {
		return
	}
	now := opt.Now.UnixMilli()
	n := len(t.Order)
	k := sort.Search(n, func(i int) bool { return t.At[t.Order[i]] > now })
	if k == n {
		return
	}
	for _, r := range t.Order[k:] {
		t.flag(r, series.Range)
	}
	t.Found.Problem(series.CodeStampFuture, series.LeftOut, t.Name, t.Place(t.LineOf(int(t.Order[k])), t.Columns[0]),
		"%s later than now, first %s: see the clock, the zone and the order of day and month; not used", series.Plural(n-k, "row"), series.Quoted(t.textOf(t.Order[k])))
}

// span takes first and last of the rows that were not flagged.
func (t *Table) span() {
	some := false
	for _, r := range t.Order {
		if t.RowFlags != nil && t.RowFlags[r] != 0 {
			continue
		}
		if !some {
			t.First, some = t.At[r], true
		}
		t.Last = t.At[r]
	}
	if some && !t.Shift.Zero() {
		// Ahead at mid-file: the stamp there less its true time.
		mid := t.First + (t.Last-t.First)/2
		k := sort.Search(len(t.Order), func(i int) bool { return t.At[t.Order[i]] >= mid })
		r := t.Order[min(k, len(t.Order)-1)]
		t.AheadS = float64(t.utc[r]-t.Shift.True(t.utc[r])) / 1000
	}
}

// spreadMinutes spreads rows that share a stamp written without seconds over
// its minute: a logger that reads six times a minute and writes minutes. Only
// where nearly all stamps are shared by as many rows, and these differ.
func (t *Table) spreadMinutes() {
	if strings.Contains(t.clk.Layout, "ss") || !strings.Contains(t.clk.Layout, "mm") || t.Tagged {
		return
	}
	size := t.sharedBy()
	if size < 2 {
		return
	}
	at := slices.Clone(t.At)
	for k := 0; k < len(t.Order); {
		end := k + 1
		for end < len(t.Order) && t.At[t.Order[end]] == t.At[t.Order[k]] {
			end++
		}
		for n := k; n < end; n++ {
			at[t.Order[n]] += int64(n-k) * 60000 / int64(max(size, end-k))
		}
		k = end
	}
	t.At = at
	t.Found.Problem(series.CodeStampCoarse, series.Doubt, t.Name, t.Place(t.LineOf(0), t.Columns[0]),
		"%d rows share each stamp, which has no seconds: they are spread over its minute", size)
}

// sharedBy is how many rows share a stamp, where at least nine in ten stamps
// are shared by just as many (the first and last aside) and the rows differ.
func (t *Table) sharedBy() int {
	count := map[int]int{}
	groups, same := 0, 0
	for k := 0; k < len(t.Order); {
		end := k + 1
		for end < len(t.Order) && t.At[t.Order[end]] == t.At[t.Order[k]] {
			end++
		}
		count[end-k]++
		groups++
		if end-k > 1 && t.sameReadings(t.Order[k], t.Order[k+1]) {
			same++
		}
		k = end
	}
	for size, n := range count {
		if size > 1 && groups >= 5 && 10*n >= 9*(groups-2) && 2*same < groups {
			return size
		}
	}
	return 0
}
