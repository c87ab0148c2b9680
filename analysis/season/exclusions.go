package season

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// Exclusion is the readings of one probe that one test left out, and what the
// sums would be with them.
type Exclusion struct {
	Quantity, Place, Column, Probe string
	// Test is the name of the flag.
	Test string
	// Threshold in force, in words.
	Threshold string
	// Readings left out, InPeriod of them in the period reported on.
	Readings, InPeriod int
	// Moves: the sums as reported and with these readings put back.
	Moves []Move
	// Why no effect was computed; "" where Moves says it.
	Why string
}

// Move is one sum without and with readings that were left out.
type Move struct {
	Key                     string // as in results.json, "heat.loop_kwh"
	Label                   string
	ReportedKWh, PutBackKWh float64
}

// ChangeKWh is what the readings put back would add to the sum; NaN where
// either is not known.
func (m Move) ChangeKWh() float64 { return m.PutBackKWh - m.ReportedKWh }

// Outside counts the readings of a probe before and after the period reported
// on.
type Outside struct {
	Quantity, Place, Column, Probe string
	Before, After                  int
}

// FileChannel is one column of one file: what was read of it, how it was
// turned into the unit it is kept in, and what was flagged.
type FileChannel struct {
	File, Sheet, Quantity, Place, Column string
	Unit, KeptIn                         string // as written, and the base unit
	Scale, Offset                        float64
	Readings, Kept                       int
	Flagged                              []Flagged
}

// Flagged counts the readings that one test left out.
type Flagged struct {
	Test, Threshold string
	Readings        int
}

// Exclusions are everything that was left out of the figures.
type Exclusions struct {
	List     []Exclusion
	Outside  []Outside
	Channels []FileChannel // by file, then in the order of the record
}

// exclusions looks at everything left out, beside the other work; the function
// given waits for it.
func (b *builder) exclusions(fromMS, toMS int64) (wait func() Exclusions) {
	x := &excluder{rec: b.rec, grid: b.grid, acc: b.acc, opt: b.opt, fromMS: fromMS, toMS: toMS, base: map[[2]int]figureSums{}}
	return work.Later(&b.meanwhile, x.all)
}

// excluder works out what the readings left out would move.
type excluder struct {
	rec          *ingest.Record
	grid         *grid.Grid
	acc          *account.Account
	opt          Options
	fromMS, toMS int64
	// base are the sums as reported, by stretch of cycles.
	base map[[2]int]figureSums
	// cells laid so far.
	cells int
}

func (x *excluder) all() Exclusions {
	var out Exclusions
	used := x.used()
	all := x.sumsOf(x.acc)
	for i, s := range x.rec.Series {
		work.Check(x.opt.Context)
		out.Outside = append(out.Outside, x.outside(s)...)
		count, inside := countFlags(s, x.fromMS, x.toMS)
		for bit, n := range count {
			if n == 0 {
				continue
			}
			e := Exclusion{Quantity: string(s.Quantity), Place: s.Place, Column: s.Column, Probe: s.Probe, Test: series.FlagNames[bit],
				Threshold: x.threshold(i, bit), Readings: n, InPeriod: inside[bit]}
			e.Moves, e.Why = x.moves(i, bit, used[channelKey(s.Quantity, s.Probe)], inside[bit], all)
			out.List = append(out.List, e)
		}
	}
	out.Channels = x.channels()
	return out
}

func channelKey(q series.Quantity, probe string) string { return string(q) + "\x00" + probe }

// used are the probes behind the heats and the electricity.
func (x *excluder) used() map[string]bool {
	out := map[string]bool{}
	add := func(list []grid.Source) {
		for _, s := range list {
			if s.Channel >= 0 {
				c := &x.grid.Channels[s.Channel]
				out[channelKey(c.Quantity, c.Probe)] = true
			}
		}
	}
	a := x.acc
	for _, h := range []*account.Heat{&a.Loop, &a.Plate, &a.Wash, &a.OtherUse} {
		add(h.Flow)
		add(h.Hot)
		add(h.Cold)
	}
	for _, p := range []*account.Power{&a.Element, &a.Pumps, &a.Compressor} {
		add(p.Sources)
	}
	return out
}

// countFlags counts a series' flags by test, all and those in [fromMS, toMS].
func countFlags(s *series.Series, fromMS, toMS int64) (all, inside [len(series.FlagNames)]int) {
	for i, f := range s.Flags.All() {
		in := s.T[i] >= fromMS && s.T[i] <= toMS
		for bit := range all {
			if f&(1<<bit) == 0 {
				continue
			}
			all[bit]++
			if in {
				inside[bit]++
			}
		}
	}
	return all, inside
}

// outside counts the readings of a series outside the period.
func (x *excluder) outside(s *series.Series) []Outside {
	lo, _ := slices.BinarySearch(s.T, x.fromMS)
	hi, _ := slices.BinarySearch(s.T, x.toMS+1)
	read := func(from, to int) int {
		n := to - from
		for i, f := range s.Flags.All() {
			if i >= from && i < to && f&series.Absent != 0 {
				n--
			}
		}
		return n
	}
	before, after := read(0, lo), read(hi, len(s.T))
	if before+after == 0 {
		return nil
	}
	return []Outside{{string(s.Quantity), s.Place, s.Column, s.Probe, before, after}}
}

// Why no effect of an exclusion was computed.
const (
	WhyNotUsed   = "its readings enter no heat or electricity figure"
	WhyNotPeriod = "none of them lies in the period reported on"
	WhyCounter   = "a single reading left out of a counter moves no total: the next reading holds what passed"
	WhyManyFlags = "not computed: more of the record would have to be summed again than season.ExclusionCells allows"
	whyNoAccount = "not computed: "
)

// moves computes what putting the readings back would do.
func (x *excluder) moves(i, bit int, used bool, inside int, all figureSums) ([]Move, string) {
	s := x.rec.Series[i]
	switch {
	case !used:
		return nil, WhyNotUsed
	case inside == 0:
		return nil, WhyNotPeriod
	case s.Counter && series.Flag(1<<bit) != series.Rate:
		return nil, WhyCounter
	}
	spans := x.spans(s, bit)
	cells := 0
	for _, p := range spans {
		cells += x.cellsOf(p)
		if _, laid := x.base[p]; !laid {
			cells += x.cellsOf(p)
		}
	}
	if x.cells+cells > x.opt.ExclusionCells {
		return nil, WhyManyFlags
	}
	x.cells += cells
	rec := *x.rec
	rec.Series = slices.Clone(rec.Series)
	rec.Series[i] = putBack(s, series.Flag(1<<bit))
	var delta figureSums
	for _, p := range spans {
		was, err := x.asReported(p)
		if err != nil {
			return nil, whyNoAccount + err.Error()
		}
		is, err := x.over(&rec, p)
		if err != nil {
			return nil, whyNoAccount + err.Error()
		}
		for k := range delta {
			delta[k] += is[k] - was[k]
		}
	}
	return movesOf(all, delta), ""
}

// putBack is a series with the readings that one test left out; of readings
// that share a stamp the one that was left out takes the kept one's place.
func putBack(s *series.Series, test series.Flag) *series.Series {
	out := *s
	out.Flags = s.Flags.Clone()
	last := int64(math.MinInt64)
	for i, f := range s.Flags.All() {
		if f&test == 0 || f&series.Absent != 0 {
			continue
		}
		if test == series.Duplicate {
			if s.T[i] == last {
				continue
			}
			last = s.T[i]
			for k := i - 1; k >= 0 && s.T[k] == last; k-- {
				out.Flags.Or(k, series.Duplicate)
			}
			for k := i + 1; k < len(s.T) && s.T[k] == last; k++ {
				out.Flags.Or(k, series.Duplicate)
			}
		}
		out.Flags.Clear(i)
	}
	return &out
}

// reachMS: how far a reading reaches into its neighbourhood: the bridge of a
// gap, or the flush of a pipe (our choice: well above both).
const reachMS = 2 * 3600 * 1000

// cycleSpan is a stretch of cycles [a, b) whose sums may move.
type cycleSpan [2]int

// spans are the stretches of cycles that the readings flagged by a test touch;
// where the account reads something off the whole record, all of it.
func (x *excluder) spans(s *series.Series, bit int) []cycleSpan {
	c := x.acc.Cycles
	if len(c) == 0 {
		return nil
	}
	if x.wholeOnly() {
		return []cycleSpan{{0, len(c)}}
	}
	before, after := int64(reachMS), int64(reachMS)
	if s.Quantity == "mains_temp" { // the feed of cycles without draws
		before, after = int64(x.opt.Account.FeedWithinS*1000), int64(x.opt.Account.FeedWithinS*1000)
	}
	var out []cycleSpan
	for i, f := range s.Flags.All() {
		if f&(1<<bit) == 0 || s.T[i] < x.fromMS || s.T[i] > x.toMS {
			continue
		}
		from := s.T[i]
		if s.From != nil {
			from = min(from, s.From[i])
		}
		a, b := x.cycleAt(from-before), x.cycleAt(s.T[i]+after)+1
		if n := len(out); n > 0 && a <= out[n-1][1]+1 {
			out[n-1][1] = max(out[n-1][1], b)
			continue
		}
		out = append(out, cycleSpan{a, b})
	}
	return out
}

// wholeOnly: draws or washes are told by what the whole record shows.
func (x *excluder) wholeOnly() bool {
	a := x.acc
	return a.Loop.Estimated || a.Wash.Estimated || len(a.Milkings) == 0 && a.MilkingsFrom != "day"
}

func (x *excluder) cycleAt(ms int64) int {
	c := x.acc.Cycles
	i, _ := slices.BinarySearchFunc(c, ms, func(c cycle.Cycle, ms int64) int {
		if c.End <= ms {
			return -1
		}
		return 1
	})
	return min(i, len(c)-1)
}

// about is a span with a cycle more on either side, in which its draws begin.
func (x *excluder) about(p cycleSpan) cycleSpan {
	return cycleSpan{max(0, p[0]-1), min(len(x.acc.Cycles), p[1]+1)}
}

func (x *excluder) cellsOf(p cycleSpan) int {
	w := x.about(p)
	c := x.acc.Cycles
	return int(float64(c[w[1]-1].End-c[w[0]].Start) / 1000 / x.grid.StepS)
}

// asReported are the sums of a span's cycles without the readings, by the same
// steps as with them.
func (x *excluder) asReported(p cycleSpan) (figureSums, error) {
	if got, ok := x.base[p]; ok {
		return got, nil
	}
	got, err := x.over(x.rec, p)
	x.base[p] = got
	return got, err
}

// over keeps the account over a span alone and sums its cycles.
func (x *excluder) over(rec *ingest.Record, p cycleSpan) (figureSums, error) {
	w := x.about(p)
	c := x.acc.Cycles
	from, to := c[w[0]].Start, c[w[1]-1].End
	some := *rec
	if len(x.acc.Milkings) > 0 {
		some.Milkings, some.MilkingsFrom = x.acc.Milkings, x.acc.MilkingsFrom
	}
	opt := x.opt.Account
	opt.Grid.StepS = x.grid.StepS
	g, err := grid.Build(&some, from, to, opt.Grid)
	if err != nil {
		return figureSums{}, err
	}
	acc, err := account.Make(account.Input{Rec: &some, Grid: g, FromMS: from, ToMS: to}, opt)
	if err != nil {
		return figureSums{}, err
	}
	return x.within(acc, c[p[0]].Start, c[p[1]-1].End), nil
}

// summed are the sums that exclusions are held against, in the order of figureSums.
var summed = [...]string{"heat.loop_kwh", "heat.plant_kwh", "heat.element_kwh", "heat.wash_kwh", "heat.other_use_kwh", "electricity.pump_kwh",
	"electricity.compressor_kwh", "saving.saved_kwh"}

// figureSums are in kWh, NaN where the farm has no such figure.
type figureSums [len(summed)]float64

func (x *excluder) sumsOf(a *account.Account) figureSums {
	return x.within(a, math.MinInt64, math.MaxInt64)
}

// within sums the cycles that start in [fromMS, toMS).
func (x *excluder) within(a *account.Account, fromMS, toMS int64) figureSums {
	var out figureSums
	heats := []*account.Heat{0: &a.Loop, 1: &a.Plate, 3: &a.Wash, 4: &a.OtherUse}
	powers := []*account.Power{2: &a.Element, 5: &a.Pumps, 6: &a.Compressor}
	for i, c := range a.Cycles {
		if c.Start < fromMS || c.Start >= toMS {
			continue
		}
		for k, h := range heats {
			if h != nil && h.Rows != nil {
				out[k] += h.Rows[i].KWh
			}
		}
		for k, p := range powers {
			if p != nil && p.Rows != nil {
				out[k] += p.Rows[i].KWh
			}
		}
		if v := x.saved(a, i); v == v {
			out[len(out)-1] += v
		}
	}
	return x.known(out)
}

// saved is one cycle's saving; NaN where it has none.
func (x *excluder) saved(a *account.Account, i int) float64 {
	in := x.rec.Farm.Instead
	if in == nil || !(in.Efficiency > 0) {
		return nan
	}
	t := a.Row(i, x.opt.Account.Cycle.CoveredShare)
	return t.BaselineHeatKWh/in.Efficiency + in.StandingLossKWhPerDay*a.Cycles[i].Hours()/24 - t.UsedKWh
}

// known makes sums of what the farm has no figure of unknown.
func (x *excluder) known(v figureSums) figureSums {
	a := x.acc
	for k, rows := range [...]bool{a.Loop.Rows != nil, a.Plate.Rows != nil, a.Element.Rows != nil, a.Wash.Rows != nil, a.OtherUse.Rows != nil,
		a.Pumps.Rows != nil, a.Compressor.Rows != nil, x.rec.Farm.Instead != nil && a.Wash.Rows != nil && a.Element.Rows != nil} {
		if !rows {
			v[k] = nan
		}
	}
	return v
}

// leastMoveKWh: less is the rounding of the sums (our choice).
const leastMoveKWh = 1e-6

// movesOf lists the sums that move; none where all stay.
func movesOf(all, delta figureSums) []Move {
	var out []Move
	for k, d := range delta {
		if math.Abs(d) >= leastMoveKWh {
			_, key, _ := strings.Cut(summed[k], ".")
			out = append(out, Move{Key: summed[k], Label: labels[key], ReportedKWh: all[k], PutBackKWh: all[k] + d})
		}
	}
	return out
}

// threshold says in words by what a test judged a series.
func (x *excluder) threshold(i, bit int) string {
	s, o := x.rec.Series[i], x.rec.Options.Flags
	l := o.LimitsFor(s.Quantity)
	if i < len(x.rec.Limits) {
		l = x.rec.Limits[i]
	}
	info, _ := series.Lookup(s.Quantity)
	return thresholdText(s, l, o, series.Flag(1<<bit), info.Class)
}

func thresholdText(s *series.Series, l reading.Limits, o ingest.FlagOptions, test series.Flag, class series.Class) string {
	unit := class.BaseUnit()
	switch test {
	case series.Sentinel:
		if class != series.Temperature {
			return fmt.Sprintf("a code for \"no reading\", outside %g to %g %s or more than three times any other reading", l.Low, l.High, unit)
		}
		return fmt.Sprintf("a code for \"no reading\" outside %g to %g %s, or %g °C or all ones further than %g K (in slow logs %g K) from both neighbours", l.Low, l.High, unit, o.PowerOnC, o.PowerOnK, o.PowerOnSlowK)
	case series.Range:
		if s.Kind == series.Amount {
			return fmt.Sprintf("%g to %g %s, and no more than can pass in an interval", l.Low, l.High, unit)
		}
		return fmt.Sprintf("%g to %g %s", l.Low, l.High, unit)
	case series.Spike:
		if s.Counter {
			return fmt.Sprintf("a counter that left its course and came back, by more than %g times the 99th percentile of its rates", o.RateMargin)
		}
		return fmt.Sprintf("further than %g K from both neighbours (beside no logged flow %g K), or %g median deviations", l.SpikeK, o.SpikeBlindK, o.SpikeMAD)
	case series.Stuck:
		return fmt.Sprintf("no change for %g h while something beside it moves (coarse probes longer, %g h at most)", l.StuckH, o.StuckMostH)
	case series.Rate:
		if s.Counter {
			return fmt.Sprintf("a counter's step faster than %g times the 99th percentile of its rates", o.RateMargin)
		}
		return fmt.Sprintf("more than %g K and %g K/h from the last good reading", o.RateStepK, l.RateKPerH)
	case series.Duplicate:
		return "the stamp of another row that is kept: the later row, or the later file's"
	case series.Order:
		return "a stamp among rows that were there already, or of a clock that was not set"
	}
	return ""
}

// channels counts, by file, the readings of every column.
func (x *excluder) channels() []FileChannel {
	byFile := make([][]FileChannel, len(x.rec.Files))
	for i, s := range x.rec.Series {
		counts := map[int32]*fileCount{}
		for _, r := range s.Origins.Runs() {
			countOf(counts, r.First.File).readings += r.N
		}
		for k, f := range s.Flags.All() {
			countOf(counts, s.Origins.At(k).File).flag(f)
		}
		for file := range byFile {
			if n := counts[int32(file)]; n != nil {
				byFile[file] = append(byFile[file], x.fileChannel(i, file, n))
			}
		}
	}
	return slices.Concat(byFile...)
}

type fileCount struct {
	readings, absent, flagged int
	by                        [len(series.FlagNames)]int
}

func countOf(m map[int32]*fileCount, file int32) *fileCount {
	if m[file] == nil {
		m[file] = &fileCount{}
	}
	return m[file]
}

func (n *fileCount) flag(f series.Flag) {
	n.flagged++
	if f&series.Absent != 0 {
		n.absent++
	}
	for bit := range n.by {
		if f&(1<<bit) != 0 {
			n.by[bit]++
		}
	}
}

func (x *excluder) fileChannel(i, file int, n *fileCount) FileChannel {
	s, f := x.rec.Series[i], x.rec.Files[file]
	info, _ := series.Lookup(s.Quantity)
	c := FileChannel{File: f.Name, Sheet: f.Sheet, Quantity: string(s.Quantity), Place: s.Place, Column: s.Column, Unit: s.Unit, KeptIn: info.Class.BaseUnit(),
		Scale: 1, Readings: n.readings - n.absent, Kept: n.readings - n.flagged}
	for _, stated := range x.rec.Farm.Logs[s.Log].Columns {
		if stated.Quantity == string(s.Quantity) && stated.Place == s.Place && (stated.Header == s.Column || stated.Header == "") {
			c.Offset = stated.Offset
			if stated.Scale != 0 {
				c.Scale = stated.Scale
			}
		}
	}
	for bit, k := range n.by {
		if k > 0 {
			c.Flagged = append(c.Flagged, Flagged{series.FlagNames[bit], x.threshold(i, bit), k})
		}
	}
	return c
}
