package cycle

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/grid"
	"yardheat/analysis/rank"
)

// ProbeOptions say how a draw shows where no meter is logged: a probe that
// stood still relaxes towards the air about it; water that moves past holds it
// away from that, and its start moves it at once.
type ProbeOptions struct {
	// A draw starts where a probe leaves the way of still water by ShowK and by
	// ShowShare of the farm's usual swing, within StartS.
	ShowK, ShowShare, StartS float64
	// It lasts for as long as the probe, over HoldS at a time, misses the way of
	// still water by more than StillShare of what that way asks and by StillK, at
	// most LongestS.
	HoldS, StillShare, StillK, LongestS float64
	// EndLaterS moves every end: 0 but for the budget.
	EndLaterS float64
	// Over the last TaperShare of a refill's litres the flow falls evenly to TaperTo
	// of what it was: a float valve throttles as the water rises to it. It never
	// opens further, so that a flat flow would be off to one side.
	TaperTo, TaperShare float64
}

// DefaultProbeOptions are the project's (our choice, no source).
func DefaultProbeOptions() ProbeOptions {
	return ProbeOptions{ShowK: 3, ShowShare: 0.25, StartS: 600, HoldS: 300, StillShare: 0.35, StillK: 0.25, LongestS: 4 * 3600, TaperTo: 0.7, TaperShare: 0.2}
}

func (o ProbeOptions) validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"ShowK", o.ShowK, 0.2, 50}, {"ShowShare", o.ShowShare, 0.01, 1}, {"StartS", o.StartS, 60, 7200}, {"HoldS", o.HoldS, 60, 7200},
		{"StillShare", o.StillShare, 0.05, 0.95}, {"StillK", o.StillK, 0.01, 20}, {"LongestS", o.LongestS, 600, 86400}, {"EndLaterS", o.EndLaterS, -7200, 7200}, {"TaperTo", o.TaperTo, 0.05, 1}, {"TaperShare", o.TaperShare, 0, 1},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("cycle: option Probes.%s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// DrawsByProbes finds draws where no meter is logged. While water stands, a
// probe outside the bed relaxes to the air (one inside it to the bed) with one
// time constant τ,
//
//	T(t+Δ) = A + (T(t) − A) exp(−Δ/τ),
//
// A the median of its readings over the day about t, τ the median over the hours
// after draws. A draw starts where inlet or outlet
// leaves that way at once and ends where the probe that swings more begins to
// follow it; within the interval of the log in which it ends, where the curve
// back to the level before it would have begun. Readings tell the start no
// closer than the interval in which it lies: its middle is taken, its end where
// the next reading still climbs. in and out may be nil, not both.
//
// The litres are drawL each (the farm's loop.draw_l), spread over the draw as a
// float valve lets them in; one that begins or ends in a gap counts for its share of the usual
// length. flow is L/min by cell, NaN where the probes are not covered.
func DrawsByProbes(g *grid.Grid, in, out *grid.Stream, drawL float64, opt ProbeOptions) (draws []Draw, flow []float64) {
	f := newFinder(g, in, out, opt)
	flow = make([]float64, g.N)
	if f == nil {
		for i := range flow {
			flow[i] = math.NaN()
		}
		return nil, flow
	}
	f.gaps(flow)
	spans := f.spans()
	usual := usualLength(spans)
	for _, s := range spans {
		a, b := g.Cell(s.from), g.Cell(s.to)
		if b <= a {
			b = min(a+1, g.N)
		}
		if b <= a {
			continue
		}
		litres := drawL
		if s.cut {
			litres *= math.Min(1, float64(s.to-s.from)/usual)
		}
		opt.pour(flow[a:b], litres, g.StepS)
		draws = append(draws, Draw{Span: Span{a, b}, Start: g.EdgeMS(a), End: g.EdgeMS(b), Litres: litres, Estimated: true})
	}
	return draws, flow
}

// pour spreads litres over the cells of a draw, L/min. The flow q falls over the
// last litres v as dq/dv is constant, so by the time as an exponential:
//
//	q = q0 (t ≤ t1),  q = q0 exp(−(t − t1)/θ) down to TaperTo q0,
//	θ = TaperShare V/(q0 (1 − TaperTo)).
func (o ProbeOptions) pour(flow []float64, litres, stepS float64) {
	n := float64(len(flow))
	steady, fall := 1-o.TaperShare, 0.0 // of the litres over q0
	if o.TaperTo < 1 {
		fall = o.TaperShare / (1 - o.TaperTo) * -math.Log(o.TaperTo)
	} else {
		fall = o.TaperShare
	}
	whole := steady + fall
	// passed is the share of the litres after a share of the time.
	passed := func(x float64) float64 {
		t := x * whole
		switch {
		case t <= steady || o.TaperTo >= 1:
			return t
		}
		theta := o.TaperShare / (1 - o.TaperTo)
		return steady + theta*(1-math.Exp(-(t-steady)/theta))
	}
	for k := range flow {
		flow[k] = litres * (passed(float64(k+1)/n) - passed(float64(k)/n)) / (stepS / 60)
	}
}

// seenSpan is one draw in time; cut: a gap hides where it begins or ends.
type seenSpan struct {
	from, to int64
	cut      bool
}

// usualLength is the median length of the draws seen whole, ms.
func usualLength(spans []seenSpan) float64 {
	var all []float64
	for _, s := range spans {
		if !s.cut {
			all = append(all, float64(s.to-s.from))
		}
	}
	if len(all) == 0 {
		return math.Inf(1)
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// probe is one probe at the finder's times.
type probe struct {
	c []float64 // reading
	// air is what it relaxes to, by time; tauS how fast; swingK how far it goes
	// from there.
	air          []float64
	tauS, swingK float64
}

// finder follows the probes along the readings of one of them.
type finder struct {
	g   *grid.Grid
	opt ProbeOptions
	at  []int64
	// lead swings more: it tells the end. other may be nil.
	lead, other *probe
	intervalMS  int64
	bridgeMS    int64
}

func newFinder(g *grid.Grid, in, out *grid.Stream, opt ProbeOptions) *finder {
	clock := out
	if out == nil || in != nil && in.UsualS > out.UsualS {
		clock = in
	}
	if clock == nil {
		return nil
	}
	f := &finder{g: g, opt: opt, at: clock.Stamps(g.StartMS, g.EndMS())}
	f.intervalMS = max(int64(clock.UsualS*1000), g.StepMS())
	f.bridgeMS = max(f.intervalMS*3/2, 180_000)
	if len(f.at) < 3 {
		return nil
	}
	for _, s := range []*grid.Stream{out, in} {
		if s == nil {
			continue
		}
		p := f.probe(s)
		switch {
		case f.lead == nil:
			f.lead = p
		case p.swingK > f.lead.swingK:
			f.lead, f.other = p, f.lead
		default:
			f.other = p
		}
	}
	return f
}

// probe reads a stream at the finder's times and learns its still way.
func (f *finder) probe(s *grid.Stream) *probe {
	p := &probe{c: make([]float64, len(f.at))}
	for i, at := range f.at {
		p.c[i] = f.g.ReadAt(s, at)
	}
	p.air = f.medians(p.c)
	away := make([]float64, 0, len(p.c))
	for i, v := range p.c {
		if d := math.Abs(v - p.air[i]); d == d {
			away = append(away, d)
		}
	}
	if len(away) > 0 {
		p.swingK = rank.Nth(away, int(0.98*float64(len(away)-1)))
	}
	p.tauS = usualTauS
	return p
}

// usualTauS stands until draws tell the time constant: half an hour, of a
// plastic pipe of 25 mm in still air (common practice, no source).
const usualTauS = 1800

// halfDayMS: the still level is the median over so long on either side.
const halfDayMS = 12 * 3600 * 1000

// medians are those of the readings over the day about each time, told once an
// hour.
func (f *finder) medians(c []float64) []float64 {
	out := make([]float64, len(c))
	const everyMS = 3600 * 1000
	lo, hi, last := 0, 0, int64(math.MinInt64)
	level := math.NaN()
	for i, at := range f.at {
		if slot := at / everyMS; slot != last {
			last = slot
			for hi < len(c) && f.at[hi] < at+halfDayMS {
				hi++
			}
			for f.at[lo] < at-halfDayMS {
				lo++
			}
			var v []float64
			for _, x := range c[lo:hi] {
				if x == x {
					v = append(v, x)
				}
			}
			if level = math.NaN(); len(v) > 0 {
				level = rank.Nth(v, len(v)/2)
			}
		}
		out[i] = level
	}
	return out
}

// after is the first reading at least s seconds after reading i without a gap
// between; −1 where there is none.
func (f *finder) after(i int, s float64) int {
	for j := i + 1; j < len(f.at); j++ {
		if f.at[j]-f.at[j-1] > f.bridgeMS {
			return -1
		}
		if float64(f.at[j]-f.at[i]) >= 1000*s {
			return j
		}
	}
	return -1
}

// off is how far reading j lies from the still way on from i, and how far that
// way leads.
func (f *finder) off(p *probe, i, j int) (offK, wayK float64) {
	d := p.c[i] - p.air[i]
	left := math.Exp(-float64(f.at[j]-f.at[i]) / 1000 / p.tauS)
	return p.c[j] - (p.air[i] + d*left), math.Abs(d * (1 - left))
}

// gaps marks the cells that the probes do not cover.
func (f *finder) gaps(flow []float64) {
	mark := func(from, to int64) {
		for k := f.g.Cell(from); k < f.g.Cell(to); k++ {
			flow[k] = math.NaN()
		}
	}
	mark(f.g.StartMS, f.at[0]-f.intervalMS)
	for i := 1; i < len(f.at); i++ {
		if f.at[i]-f.at[i-1] > f.bridgeMS {
			mark(f.at[i-1], f.at[i])
		}
	}
	mark(f.at[len(f.at)-1]+f.intervalMS, f.g.EndMS())
}

// spans finds the draws one after the other: first between when and when each
// began and ended, then, where that leaves room, so that it lasts as the others
// do.
func (f *finder) spans() []seenSpan {
	f.relearn(f.windows())
	f.relearn(f.windows()) // by draws whose ends are better known
	all := f.windows()
	usual := usualMS(all)
	out := make([]seenSpan, 0, len(all))
	for k, w := range all {
		from := (w.startLo + w.startHi) / 2
		to := min(max(from+usual, w.endLo), w.endHi)
		if usual == 0 {
			to = (w.endLo + w.endHi) / 2
		}
		if !w.cut {
			to += int64(1000 * f.opt.EndLaterS)
			to = max(to, from+f.g.StepMS())
			if k+1 < len(all) {
				to = min(to, all[k+1].startLo)
			}
		}
		if to > from {
			out = append(out, seenSpan{from, to, w.cut})
		}
	}
	return out
}

// windows finds the draws with the time constants as they are known.
func (f *finder) windows() []window {
	var all []window
	for i := 0; i+1 < len(f.at); {
		w, first := f.start(i)
		if first < 0 {
			i++
			continue
		}
		w.from = i
		w.after = f.end(&w, first)
		if w.endHi > w.startLo {
			all = append(all, w)
		}
		i = max(w.after, i+1)
	}
	return all
}

// relearn takes the time constants from the hours after draws, towards the
// level before each: nearer to the air of that hour than the day's median.
func (f *finder) relearn(all []window) {
	for _, p := range []*probe{f.lead, f.other} {
		if p == nil {
			continue
		}
		var taus []float64
		for k, w := range all {
			air, next := f.level(p, w.from, w.after), len(f.at)
			if k+1 < len(all) {
				next = all[k+1].from
			}
			if w.cut || w.after >= next {
				continue
			}
			a := p.c[w.after] - air
			for j := w.after + 1; j < next && f.at[j]-f.at[j-1] <= f.bridgeMS; j++ {
				if b := p.c[j] - air; b/a < 0.6 { // far enough to tell
					if b/a > 0.2 && math.Abs(a) >= f.opt.ShowK/2 {
						taus = append(taus, float64(f.at[j]-f.at[w.after])/1000/math.Log(a/b))
					}
					break
				}
			}
		}
		if len(taus) < fewestTaus {
			continue
		}
		slices.Sort(taus)
		if tau := taus[len(taus)/2]; tau > usualTauS/4 && tau < 4*usualTauS { // else no pipe in air
			p.tauS = tau
		}
	}
}

// level is what a probe relaxes to after a draw: midway between its reading
// before the draw and the one two hours after it, for the air goes on warming
// or cooling meanwhile. Where another draw has begun by then, or the first had
// not settled, the day's median.
func (f *finder) level(p *probe, before, after int) float64 {
	far := 0.25*p.swingK + 1
	a := p.c[before]
	if !(math.Abs(a-p.air[before]) <= far) {
		a = p.air[before]
	}
	if k := f.after(after, settledS); k >= 0 && math.Abs(p.c[k]-p.air[k]) <= far {
		return (a + p.c[k]) / 2
	}
	return a
}

// settledS: after so long a probe has settled (four of usualTauS).
const settledS = 4 * usualTauS

// fewestTaus: a time constant is told from no fewer draws (our choice).
const fewestTaus = 5

// window is between when and when a draw began and ended, Unix ms; from and
// after are the readings before and after it. cut: a gap hides one end.
type window struct {
	startLo, startHi, endLo, endHi int64
	from, after                    int
	cut                            bool
}

// usualMS is the length that the windows of the draws seen whole allow best: the
// sum of its distances to them is least at the median of all their ends. 0
// without any.
func usualMS(all []window) int64 {
	var d []int64
	for _, w := range all {
		if !w.cut {
			from := (w.startLo + w.startHi) / 2
			d = append(d, w.endLo-from, w.endHi-from)
		}
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// start tells whether a draw starts between readings i and i+1, and the first
// reading in it (−1: none).
func (f *finder) start(i int) (w window, first int) {
	if f.at[i+1]-f.at[i] > f.bridgeMS { // it may have begun in the gap
		if p := f.lead; math.Abs(p.c[i+1]-p.air[i+1]) >= f.shows(p) && f.moving(i+1) {
			return window{startLo: f.at[i+1], startHi: f.at[i+1], cut: true}, i + 1
		}
		return w, -1
	}
	for _, p := range []*probe{f.lead, f.other} {
		if p == nil {
			continue
		}
		now, _ := f.off(p, i, i+1)
		most := 0.0
		for j := i + 1; j < len(f.at) && (j == i+1 || float64(f.at[j]-f.at[i]) <= 1000*f.opt.StartS) && f.at[j]-f.at[j-1] <= f.bridgeMS; j++ {
			if d, _ := f.off(p, i, j); math.Abs(d) > math.Abs(most) {
				most = d
			}
		}
		if math.Abs(most) >= f.shows(p) && now/most > 0.15 {
			w.startLo, w.startHi = f.began(p, i)
			return w, i + 1
		}
	}
	return w, -1
}

func (f *finder) shows(p *probe) float64 { return math.Max(f.opt.ShowK, f.opt.ShowShare*p.swingK) }

// quickMS: readings no further apart place a start by themselves.
const quickMS = 90_000

// began places a start between readings i and i+1.
func (f *finder) began(p *probe, i int) (lo, hi int64) {
	a, b := f.at[i], f.at[i+1]
	if b-a <= quickMS {
		return a, a
	}
	if i+2 < len(f.at) && f.at[i+2]-b <= f.bridgeMS {
		if whole := p.c[i+2] - p.c[i]; math.Abs(whole) >= f.opt.ShowK && (p.c[i+2]-p.c[i+1])/whole > 0.2 {
			return max(a, b-2*quickMS), b // caught while it climbs
		}
	}
	return a, b
}

// moving: from reading i on the lead probe does not follow the still way; where
// it lies near that way's end, and so would not move either way, the other one.
func (f *finder) moving(i int) bool {
	j := f.after(i, f.opt.HoldS)
	if j < 0 {
		return false
	}
	p := f.lead
	if f.other != nil && math.Abs(p.c[i]-p.air[i]) < 0.25*p.swingK {
		p = f.other
	}
	d, way := f.off(p, i, j)
	return math.Abs(d) > math.Max(f.opt.StillShare*way, f.opt.StillK)
}

// end finds between when and when the draw ended in which reading first lies,
// and gives the first reading after it.
func (f *finder) end(w *window, first int) (after int) {
	last := first
	for i := first; i < len(f.at) && float64(f.at[i]-f.at[first]) <= 1000*f.opt.LongestS; i++ {
		if f.after(i, f.opt.HoldS) < 0 {
			if f.at[i]-f.at[last] > int64(2000*f.opt.HoldS) {
				break // it had ended before the gap
			}
			k := i
			for k+1 < len(f.at) && f.at[k+1]-f.at[k] <= f.bridgeMS {
				k++
			}
			w.endLo, w.endHi, w.cut = f.at[k], f.at[k], true
			return k
		}
		if f.moving(i) {
			last = i
		} else if float64(f.at[i]-f.at[last]) > 1000*f.stillS() {
			break
		}
	}
	j := f.after(last, f.opt.HoldS)
	if k := f.byInlet(w, first); k >= 0 {
		return max(k, last)
	}
	w.endLo, w.endHi = f.at[last], f.at[last]
	if j >= 0 {
		w.endLo, w.endHi = f.turned(f.lead, f.lead.c[last], f.level(f.lead, w.from, j), last, j), f.at[j]
		if f.intervalMS <= quickMS {
			w.endHi = w.endLo
		}
	}
	return max(j, last)
}

// stillS: so long on the still way and the draw is over.
func (f *finder) stillS() float64 {
	return math.Max(2*f.opt.HoldS, 1.5*float64(f.intervalMS)/1000)
}

// tenthOfWay: the reading before one that first lies a tenth of the way back was
// made no later than so many time constants after the end, ln(1/0.9).
const tenthOfWay = 0.10536

// byInlet places the end by the probe that water of one temperature passes: it
// stays at its furthest while water moves. The first reading that has gone a
// tenth of the way back tells when it left; −1 where it does not swing enough.
func (f *finder) byInlet(w *window, first int) (after int) {
	p := f.other
	if p == nil || w.cut {
		return -1
	}
	least := f.opt.ShowK / 2
	if f.intervalMS <= quickMS {
		least = f.opt.ShowK // a smaller swing tells less than a quick outlet
	}
	air := p.c[w.from]
	far := 0.0
	for j := first; j < len(f.at) && float64(f.at[j]-f.at[first]) <= 1000*f.opt.LongestS && f.at[j]-f.at[j-1] <= f.bridgeMS; j++ {
		d := p.c[j] - air
		if math.Abs(d) > math.Abs(far) {
			far = d
		}
		if math.Abs(far) >= least && d/far < 0.9 && j > first {
			air = f.level(p, w.from, j)
			e := f.turned(p, p.c[w.from]+far, air, first, j)
			e = max(e, f.at[j-1]-int64(1000*p.tauS*tenthOfWay))
			w.endLo, w.endHi = e, e
			return j
		}
	}
	return -1
}

// turned is when, between readings i and j, a probe left the level fromC for
// the still way:
//
//	t = t_j − τ ln((fromC − A)/(T_j − A)),  A = airC
func (f *finder) turned(p *probe, fromC, airC float64, i, j int) int64 {
	a, b := fromC-airC, p.c[j]-airC
	if !(a*b > 0) || math.Abs(b) >= math.Abs(a) {
		return f.at[j]
	}
	back := int64(1000 * p.tauS * math.Log(a/b))
	return min(max(f.at[j]-back, f.at[i]), f.at[j])
}
