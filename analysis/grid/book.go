package grid

import (
	"fmt"
	"math"
	"slices"
)

// A pipe probe means something only while water moves past it and once the
// standing water is flushed away. Runs finds the stretches of flow; Book says
// at which temperature the litres of each flowing cell are counted.

// RunOptions of the stretches of flow.
type RunOptions struct {
	// ThresholdLMin: less is a trickle. Its litres count, but it flushes no
	// probe for the flow that follows.
	ThresholdLMin float64
	// JoinS: a pause up to this leaves the probe flushed.
	JoinS float64
}

// Runs are the cells with flow and the stretches that they form.
type Runs struct {
	Grid *Grid
	Flow *Stream
	// Cells with flow above 0, ascending.
	Cells []int
	// LMin and L: mean flow and litres of each.
	LMin, L []float64
	// Trickle: cells that belong to no stretch above the threshold.
	Trickle []bool
	runs    []run
}

// run is Cells[lo:hi]; start and end are when the water is thought to have
// started and stopped: inside the first and last interval of the log by the
// litres found in it.
type run struct {
	lo, hi     int
	start, end int64
	trickle    bool
	// looseMS: the stretch lies whole inside one interval of the log, and may
	// have begun so much sooner or later, half of it either way.
	looseMS int64
	// guessed: how long it lasted is not known from its own kind.
	guessed bool
}

// NewRuns finds the stretches of flow.
func NewRuns(g *Grid, flow *Stream, opt RunOptions) *Runs {
	r := &Runs{Grid: g, Flow: flow}
	perCell := g.StepS / 60
	n := 0
	for _, q := range flow.Values {
		if q > 0 {
			n++
		}
	}
	r.Cells, r.LMin, r.L = make([]int, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	for i, q := range flow.Values {
		if q > 0 {
			r.Cells = append(r.Cells, i)
			r.LMin = append(r.LMin, q)
			r.L = append(r.L, q*perCell)
		}
	}
	r.Trickle = make([]bool, len(r.Cells))
	interval := max(1, int(math.Round(flow.UsualS/g.StepS)))
	join := int(opt.JoinS / g.StepS)
	for lo := 0; lo < len(r.Cells); {
		hi := lo + 1
		for hi < len(r.Cells) && r.joined(hi, join, opt.ThresholdLMin) {
			hi++
		}
		r.split(lo, hi, interval, join, opt.ThresholdLMin)
		lo = hi
	}
	if interval > 1 {
		r.times(r.runs, r.uses())
	}
	return r
}

// joined: cell hi follows the one before without a break, or after a pause
// that is short and known to be one.
func (r *Runs) joined(hi, join int, threshold float64) bool {
	a, b := r.Cells[hi-1], r.Cells[hi]
	if b-a == 1 {
		return true
	}
	if b-a-1 > join || r.LMin[hi] < threshold && r.LMin[hi-1] < threshold {
		return false
	}
	for i := a + 1; i < b; i++ {
		if v := r.Flow.Values[i]; v != v {
			return false
		}
	}
	return true
}

// split parts a stretch into runs above the threshold and trickles. A trickle
// of at most one interval of the log beside a run is its partly filled edge.
func (r *Runs) split(lo, hi, interval, join int, threshold float64) {
	for a := lo; a < hi; {
		b := a
		if r.LMin[a] < threshold {
			for b < hi && r.LMin[b] < threshold {
				b++
			}
			if b-a > interval || b == hi {
				cut := b
				if b < hi {
					cut = b - interval
				}
				r.add(a, cut, interval, true)
				a = cut
				continue
			}
		}
		// From the edge on: all above the threshold, short dips joined.
		last := b
		for b < hi && (r.LMin[b] >= threshold || r.Cells[b]-r.Cells[last] <= max(join, interval)) {
			if r.LMin[b] >= threshold {
				last = b
			}
			b++
		}
		end := min(hi, last+1)
		for end < hi && end-last <= interval && r.Cells[end]-r.Cells[end-1] == 1 && r.LMin[end] < threshold {
			end++
		}
		r.add(a, end, interval, false)
		a = end
	}
}

func (r *Runs) add(lo, hi, interval int, trickle bool) {
	if hi <= lo {
		return
	}
	g, step := r.Grid, r.Grid.StepMS()
	x := run{lo: lo, hi: hi, start: g.EdgeMS(r.Cells[lo]), end: g.EdgeMS(r.Cells[hi-1] + 1), trickle: trickle}
	if n := interval; hi-lo > n+1 {
		x.start = max(x.start, g.EdgeMS(r.Cells[lo+n]+1)-r.lasted(lo, lo+n+1, r.LMin[lo+n+1]))
		x.end = min(x.end, g.EdgeMS(r.Cells[hi-1-n])+r.lasted(hi-1-n, hi, r.LMin[hi-2-n]))
	} else if hi-lo > n {
		span := float64(int64(n) * step)
		if f := r.LMin[lo] / r.LMin[lo+n]; f < 1 {
			x.start += int64((1 - f) * span)
		}
		if f := r.LMin[hi-1] / r.LMin[hi-1-n]; f < 1 {
			x.end -= int64((1 - f) * span)
		}
	}
	for i := lo; trickle && i < hi; i++ {
		r.Trickle[i] = true
	}
	r.runs = append(r.runs, x)
}

// lasted is how long a steady flow took for the litres of Cells[lo:hi], ms: an
// interval of the log in which the water started or stopped spreads them over
// all of it, whether or not its ends meet those of the cells.
func (r *Runs) lasted(lo, hi int, steadyLMin float64) int64 {
	litres := 0.0
	for _, l := range r.L[lo:hi] {
		litres += l
	}
	return int64(litres / steadyLMin * 60_000)
}

// Len is the number of stretches, trickles included.
func (r *Runs) Len() int { return len(r.runs) }

// BookOptions of one probe.
type BookOptions struct {
	// TauS is the probe's time constant; 0 = no correction.
	TauS float64
	// LeadL is the pipe before the probe that stands in other air than what the
	// water comes from (the loop's lead pipe); 0 = none known.
	LeadL float64
	// FastS: a log with a longer interval can't resolve the lag.
	FastS float64
	// FlushTaus: so many time constants after the lead is flushed a reading
	// counts.
	FlushTaus float64
	// Resolve: the lead is not known but the time constant is: a fast log's
	// lag-corrected readings are taken from the start of the run on, so that
	// the cooled water of the lead counts as it was. Without it, and in slow
	// logs of instants, the first flushed reading is held back.
	Resolve bool
	// HoldS: the reading held back to the start of a run is the mean of the
	// first this many seconds.
	HoldS float64
}

// DefaultBookOptions are the project's, without lag and lead.
func DefaultBookOptions() BookOptions { return BookOptions{FastS: 90, FlushTaus: 3, HoldS: 60} }

// Validate names the field that is out of bounds.
func (o BookOptions) Validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"TauS", o.TauS, 0, 3600}, {"LeadL", o.LeadL, 0, 10000}, {"FastS", o.FastS, 0, 3600},
		{"FlushTaus", o.FlushTaus, 0, 10}, {"HoldS", o.HoldS, 0, 600},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("grid: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Booked are temperatures for the cells of Runs, one a cell.
type Booked struct {
	// TempC at which the cell's litres are counted; NaN = not covered.
	TempC []float64
	// PerS is its derivative with respect to the probe's time constant, K/s.
	PerS []float64
	// Early marks cells before the probe was flushed, however booked; Held those
	// booked at a reading held back or on.
	Early, Held []bool
	// DoubtK: half-width at 95 %, K, of a cell whose water no reading of a slow
	// log saw flowing; beside the doubt of a reading held back.
	DoubtK []float64
	// LeadK, once a run: what a litre more of cooled water in the pipe before the
	// probe changes, K times litre. 0 where the start of the run is resolved.
	LeadK []float64
}

func newBooked(n int) *Booked {
	return &Booked{TempC: make([]float64, n), PerS: make([]float64, n), Early: make([]bool, n), Held: make([]bool, n), LeadK: make([]float64, n), DoubtK: make([]float64, n)}
}

// Book says at which temperature the litres of each flowing cell are counted.
//
// In a fast log, before the lead volume and FlushTaus time constants have
// passed: the first valid reading of the run, held back to its start; of the
// first LeadL litres the cooled water of a known lead pipe, at the still
// reading. After that the lag-corrected reading of the cell.
//
// In a log of means each interval's flowing part is told from what the probe
// showed before it and how it cools afterwards (bookMeans). In a slow log of
// instants the readings made in flushed, flowing water stand, and what the
// probe showed when the water stopped, read back from the still water
// afterwards; between and beyond them the temperature goes by the litres as in
// all runs together (bookShape). Where neither tells anything the last reading
// is taken, and DoubtK says how far that may be off.
//
// A cell that the probe does not cover stays NaN: nothing is held into a gap. A
// tank's probe (no Edges) always means something and is read as it stands.
func (r *Runs) Book(probe *Stream, opt BookOptions) *Booked {
	b := newBooked(len(r.Cells))
	k := booker{r: r, p: probe, o: opt, b: b, runs: r.runs, share: make([]float64, len(r.runs))}
	if probe.Edges == nil {
		for j, i := range r.Cells {
			b.TempC[j] = probe.Values[i]
		}
		return b
	}
	k.fast = probe.UsualS <= opt.FastS
	k.means = probe.HalfS > 0 && !r.edgesGuessed() && probe.UsualS >= opt.TauS && (!k.fast || opt.Resolve || opt.LeadL > 0)
	if k.thetaS = math.Inf(1); k.means || !k.fast && !r.edgesGuessed() {
		k.runs = slices.Clone(r.runs)
		k.thetaS = k.cooling()
		k.airC = k.airs()
		k.settle()
		if !k.fast {
			k.common, k.own = k.shapes()
		}
	}
	for i := range r.runs {
		k.book(i)
	}
	return b
}

// BookValue books one figure (or one by cell) for all cells: the cold feed of
// the farm file.
func (r *Runs) BookValue(at func(ms int64) float64) *Booked {
	b := newBooked(len(r.Cells))
	for j, i := range r.Cells {
		b.TempC[j] = at(r.Grid.EdgeMS(i))
	}
	return b
}

type booker struct {
	r    *Runs
	p    *Stream
	o    BookOptions
	b    *Booked
	fast bool
	// means: the log is one of means, and long enough to take each by itself.
	means bool
	// How the probe cools in still water, and by run to what.
	thetaS float64
	airC   []float64
	// runs are those of r, with their times as this probe tells them.
	runs []run
	// The shape that each run's kind has in common, and its own readings.
	common []shape
	own    [][]point
	// share: of its warmth above what stood before, what a run is unsure by.
	share []float64
}

func (k *booker) book(ri int) {
	x := k.runs[ri]
	flush := k.flushed(x)
	ok, whole := false, k.means && k.bookMeans(ri)
	switch {
	case whole:
		ok = true
	case k.fast:
		ok = k.bookFast(x, flush)
	case k.r.edgesGuessed():
		ok = k.bookLines(x, flush)
	default:
		if ok = k.bookShape(ri) || k.bookEnd(ri); !ok {
			k.unsure(ri, blindShare)
		}
	}
	if !ok {
		k.bookShort(x)
	}
	still, stood := k.stillAt(x)
	for j := x.lo; j < x.hi; j++ {
		if v := k.p.Values[k.r.Cells[j]]; v != v {
			k.b.TempC[j], k.b.PerS[j] = math.NaN(), 0
		}
		if d := math.Abs(k.b.TempC[j] - still); k.share[ri] > 0 && stood && d == d {
			k.b.DoubtK[j] = k.share[ri] * d
		}
	}
	switch {
	case !ok || x.trickle || whole: // the means hold the water of the lead
	case k.o.LeadL > 0:
		k.cooledLead(x)
	case !k.o.Resolve || !k.fast:
		if stood {
			k.b.LeadK[x.lo] = still - k.b.TempC[x.lo]
		}
	}
}

// stillAt is the last reading before a run.
func (k *booker) stillAt(x run) (tempC float64, ok bool) {
	last := k.p.Readings.upTo(x.start)
	if last < 0 {
		return 0, false
	}
	still := k.valueAt(k.p.Readings.at(last))
	return still, still == still
}

// flushed is when the lead volume and some time constants have passed.
func (k *booker) flushed(x run) int64 {
	at, left, lo := x.start, k.o.LeadL, x.lo
	if n := k.r.interval(); n > 1 && left > 0 {
		// The log spreads the first interval's litres over all of it; they passed
		// after the start.
		lo = min(x.lo+n, x.hi)
		until, litres := min(k.r.Grid.EdgeMS(k.r.Cells[lo-1]+1), x.end), 0.0
		for _, l := range k.r.L[x.lo:lo] {
			litres += l
		}
		at += int64(min(1, left/litres) * float64(max(0, until-at)))
		left -= litres
	}
	for j := lo; j < x.hi && left > 0; j++ {
		edge := k.r.Grid.EdgeMS(k.r.Cells[j])
		if k.r.L[j] >= left {
			from := max(edge, x.start)
			at = from + int64(left/k.r.L[j]*float64(edge+k.r.Grid.StepMS()-from))
			left = 0
			break
		}
		left -= k.r.L[j]
		at = edge + k.r.Grid.StepMS()
	}
	if left > 0 {
		return math.MaxInt64 / 2
	}
	return at + int64(k.o.FlushTaus*k.o.TauS*1000)
}

// bookFast takes the lag-corrected readings from the first flushed cell on.
func (k *booker) bookFast(x run, flush int64) bool {
	g := k.r.Grid
	first := -1
	var sum, sumPerS, held float64
	for j := x.lo; j < x.hi; j++ {
		i := k.r.Cells[j]
		u, du := k.p.Unlag(i, g.StepS, k.o.TauS)
		k.b.TempC[j], k.b.PerS[j] = u, du
		k.b.Early[j] = g.EdgeMS(i) < flush
		if k.b.Early[j] || u != u {
			continue
		}
		if first < 0 {
			first = j
		}
		if i == k.r.Cells[first] || float64(i-k.r.Cells[first]+1)*g.StepS <= k.o.HoldS {
			sum, sumPerS, held = sum+u, sumPerS+du, held+1
		}
	}
	if first < 0 {
		// A short run whose lag is known is resolved up to its last cell.
		if first = x.hi - 1; !k.o.Resolve || x.trickle || first == x.lo || k.b.TempC[first] != k.b.TempC[first] {
			return false
		}
		sum, sumPerS, held = k.b.TempC[first], k.b.PerS[first], 1
	}
	if k.o.Resolve && !x.trickle {
		k.stopped(x, first)
	}
	back := first
	if k.o.Resolve && !x.trickle {
		back = k.resolved(x, first)
	}
	if back < first && back > x.lo {
		sum, sumPerS, held = k.b.TempC[back], k.b.PerS[back], 1
	}
	for j := x.lo; j < back; j++ {
		k.b.TempC[j], k.b.PerS[j], k.b.Held[j] = sum/held, sumPerS/held, true
	}
	return true
}

// stopped books the cell in which the water stopped at the temperature of the
// cell before it: its own reading is already one of still water that cools.
func (k *booker) stopped(x run, first int) {
	g := k.r.Grid
	for j := max(first+1, x.hi-2); j < x.hi; j++ {
		i := k.r.Cells[j]
		if i == k.r.Cells[j-1]+1 && x.end < g.EdgeMS(i+1) {
			k.b.TempC[j], k.b.PerS[j], k.b.Held[j] = k.b.TempC[j-1], k.b.PerS[j-1], true
		}
	}
}

// resolved books the cells in which the water started, the part of each in
// which it moved taken by itself,
//
//	u = (T1 − a T0)/(1 − a),  a = exp(−f D/tau),
//
// f that part, D the cell, and held between the still reading T0 and the next
// cell's. It gives the first cell of the run that is booked; those before it
// had no water moving.
func (k *booker) resolved(x run, first int) int {
	g := k.r.Grid
	j := x.lo
	for j < first && g.EdgeMS(k.r.Cells[j]) < x.start {
		j++
	}
	if j == x.lo || j >= first {
		return min(j, first)
	}
	i := k.r.Cells[j-1]
	moved := g.StepS - float64(x.start-g.EdgeMS(i))/1000
	t0, t1, next := k.p.Edges[i], k.p.Edges[i+1], k.b.TempC[j]
	a := math.Exp(-moved / k.o.TauS)
	u := (t1 - a*t0) / (1 - a)
	if u != u || math.IsInf(u, 0) || moved <= 0 || next != next {
		return j
	}
	low, high := min(t0, next), max(t0, next)
	k.b.TempC[j-1] = min(max(u, low), high)
	k.b.PerS[j-1] = 0
	if u > low && u < high {
		k.b.PerS[j-1] = (t1 - t0) * a * moved / (k.o.TauS * k.o.TauS * (1 - a) * (1 - a))
	}
	return j - 1
}

// edgesGuessed: no meter tells when water ran; the probes do, or a state that
// was read every so often. What is made of a meter's litres per interval cannot
// be made of these.
func (r *Runs) edgesGuessed() bool { return r.Flow.From == "draws" || r.Flow.SampledS > 0 }

// bookLines takes what lies between the first and the last reading made in
// flushed, flowing water, and holds those two beyond: where no meter saw the
// flow, its litres don't say which water passed when.
func (k *booker) bookLines(x run, flush int64) bool {
	half := int64(k.p.HalfS * 1000)
	slack := int64(max(60, 0.1*k.p.UsualS) * 1000)
	first, last, ok := k.span(flush+half, x.end+slack-half)
	if !ok || flush > x.end {
		return false
	}
	v1, v2 := k.valueAt(first), k.valueAt(last)
	step := k.r.Grid.StepMS()
	for j := x.lo; j < x.hi; j++ {
		i := k.r.Cells[j]
		switch mid := k.r.Grid.EdgeMS(i) + step/2; {
		case mid < first:
			k.b.TempC[j], k.b.Held[j], k.b.Early[j] = v1, true, true
		case mid > last:
			k.b.TempC[j], k.b.Held[j] = v2, true
		default:
			k.b.TempC[j] = k.p.Values[i]
		}
	}
	return v1 == v1 && v2 == v2
}

// stoppedC is what the probe showed when the water of a run stopped; told is
// false where the record doesn't say how the probe cools.
func (k *booker) stoppedC(ri int) (tempC float64, told bool) {
	if k.runs[ri].trickle || math.IsInf(k.thetaS, 1) {
		return 0, false
	}
	return k.endC(ri, k.runs[ri].end)
}

// bookEnd: no reading was made in flushed, flowing water. What the probe showed
// when it stopped is held back over the run.
func (k *booker) bookEnd(ri int) bool {
	x := k.runs[ri]
	v, ok := k.stoppedC(ri)
	for j := x.lo; ok && j < x.hi; j++ {
		k.b.TempC[j], k.b.Held[j], k.b.Early[j] = v, true, true
	}
	// It may have stopped sooner or later, and cooled for as much longer.
	loose := float64(x.looseMS) / 2000
	if x.guessed {
		loose = max(loose, k.p.UsualS/4)
	}
	if ok {
		k.unsure(ri, 1-math.Exp(-loose/k.thetaS))
	}
	return ok
}

// blindShare of what the water of a run is warmer than what stood before it: so
// far the booking may be off where no reading tells it.
const blindShare = 0.3

// unsure marks a run whose temperature may be off by a share of what it is
// above what stood before.
func (k *booker) unsure(ri int, share float64) {
	k.share[ri] = share
}

// span is the first and last reading within [from, to].
func (k *booker) span(from, to int64) (first, last int64, ok bool) {
	r := &k.p.Readings
	lo, hi := r.from(from), r.upTo(to)
	if lo > hi {
		return 0, 0, false
	}
	return r.at(lo), r.at(hi), true
}

// bookShort: a run too short to flush its probe. A fast log's last cell but
// for the first gives a lag-corrected reading, everything else the last
// reading as it stands.
func (k *booker) bookShort(x run) {
	g := k.r.Grid
	lastCell := k.r.Cells[x.hi-1]
	end := g.EdgeMS(lastCell + 1)
	var u, du float64
	if _, last, ok := k.span(x.start+1, end); ok {
		u = k.valueAt(last)
	} else {
		u = k.p.Values[lastCell]
	}
	if k.fast && x.hi-x.lo > 1 && !x.trickle {
		if c, d := k.p.Unlag(lastCell, g.StepS, k.o.TauS); c == c {
			u, du = c, d
		}
	}
	for j := x.lo; j < x.hi; j++ {
		k.b.TempC[j], k.b.PerS[j], k.b.Held[j], k.b.Early[j] = u, du, true, true
	}
}

// cooledLead books the litres that stood in the lead pipe at the reading
// before the run.
func (k *booker) cooledLead(x run) {
	still, ok := k.stillAt(x)
	if !ok {
		return
	}
	left := k.o.LeadL
	for j := x.lo; j < x.hi && left > 0; j++ {
		part := min(left, k.r.L[j])
		w := part / k.r.L[j]
		if part == left {
			k.b.LeadK[j] = still - k.b.TempC[j]
		}
		k.b.TempC[j] += w * (still - k.b.TempC[j])
		k.b.PerS[j] *= 1 - w
		left -= part
	}
}

// valueAt reads the probe at a stamp.
func (k *booker) valueAt(ms int64) float64 { return k.r.Grid.ReadAt(k.p, ms) }
