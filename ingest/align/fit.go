package align

import (
	"math"
	"slices"
	"sort"
)

// segment is a stretch between jumps: from the stamp fromMS on the lag is
// lagS + drift (t − mid).
type segment struct {
	fromMS, earliestMS int64 // earliest: the last event before
	lagS               float64
}

// pair is a moved event and the fixed event that belongs to it.
type pair struct {
	i, j      int
	tMS       int64
	yS        float64 // moved minus fixed
	residualS float64
}

// fit is a lag as a function of the stamp and the events that it matches.
type fit struct {
	moved, fixed []int64
	midMS        int64
	stepS        float64 // the width of both trains' intervals together
	opt          Options

	segs   []segment
	driftS float64 // seconds a day
	pairs  []pair
	scaleS float64
	score  float64
}

// Bounds of the fit.
const (
	firstGateS, mostGateS = 600.0, 1500.0
	rounds                = 6
	mostJumps             = 8
	smallestJumpS         = 30.0
	// eachSide is how many matched events a jump needs before and after it.
	eachSide = 6
	// biweight is Tukey's tuning constant: 95 % efficient for normal residuals.
	biweight = 4.685
)

// refine turns the path of stretches into a fit.
func refine(k *track, path []int, moved, fixed []int64, midMS int64, stepS float64, opt Options) *fit {
	f := &fit{moved: moved, fixed: fixed, midMS: midMS, stepS: stepS, opt: opt}
	begin := func(w int) int64 { return k.fromMS + int64(float64(w)*k.widthMS) }
	f.segs = []segment{{fromMS: math.MinInt64, lagS: k.lagS(path[0])}}
	start := 0
	settle := func(end int) {
		// A segment of several stretches may drift: start from a line through them.
		if n := end - start; n > 1 && f.driftS == 0 {
			f.driftS = (k.lagS(path[end-1]) - k.lagS(path[start])) / (float64(n-1) * k.widthMS / dayMS)
		}
	}
	for w := 1; w < len(path); w++ {
		if d := path[w] - path[w-1]; d > k.drift || d < -k.drift {
			settle(w)
			f.segs = append(f.segs, segment{fromMS: begin(w), lagS: k.lagS(path[w])})
			start = w
		}
	}
	settle(len(path))
	f.driftS = min(max(f.driftS, -opt.MostDriftSPerDay), opt.MostDriftSPerDay)
	f.centre(k, path)
	for s := 1; s < len(f.segs); s++ {
		f.place(s, int64(2*k.widthMS))
	}
	f.settle()
	for len(f.segs) < mostJumps+1 && f.split() {
		f.settle()
	}
	f.judge()
	return f
}

// centre sets each segment's lag to the median of its stretches, the drift
// taken off.
func (f *fit) centre(k *track, path []int) {
	for s := range f.segs {
		var v []float64
		for w := range path {
			mid := k.fromMS + int64((float64(w)+0.5)*k.widthMS)
			if f.segmentAt(mid) == s {
				v = append(v, k.lagS(path[w])-f.driftS*float64(mid-f.midMS)/dayMS)
			}
		}
		if len(v) > 0 {
			f.segs[s].lagS = median(v)
		}
	}
}

func (f *fit) segmentAt(tMS int64) int {
	return sort.Search(len(f.segs), func(s int) bool { return f.segs[s].fromMS > tMS }) - 1
}

func (f *fit) lagAt(tMS int64) float64 {
	return f.segs[f.segmentAt(tMS)].lagS + f.driftS*float64(tMS-f.midMS)/dayMS
}

// place moves the jump before segment s to where the events about it match best.
func (f *fit) place(s int, aboutMS int64) {
	at := f.segs[s].fromMS
	lo, _ := slices.BinarySearch(f.moved, max(at-aboutMS, f.segs[s-1].fromMS))
	hi, _ := slices.BinarySearch(f.moved, at+aboutMS)
	cost := func(i int, lag float64) float64 {
		lag += f.driftS * float64(f.moved[i]-f.midMS) / dayMS
		t := f.moved[i] - int64(lag*secondMS)
		d := math.Abs(float64(t-f.fixed[nearest(f.fixed, t)])) / secondMS
		return min(d, firstGateS)
	}
	sum, best, where := 0.0, 0.0, lo
	for i := lo; i < hi; i++ {
		sum += cost(i, f.segs[s-1].lagS) - cost(i, f.segs[s].lagS)
		if sum < best {
			best, where = sum, i+1
		}
	}
	f.put(s, where)
}

// put lays the jump before segment s between two moved events.
func (f *fit) put(s, before int) {
	before = min(max(before, 1), len(f.moved)-1)
	a, b := f.moved[before-1], f.moved[before]
	f.segs[s].fromMS, f.segs[s].earliestMS = a+(b-a)/2, a
}

// settle matches and fits in turn.
func (f *fit) settle() {
	gate := firstGateS
	for range rounds {
		f.match(gate)
		if len(f.pairs) < eachSide {
			return
		}
		f.solve()
		gate = min(max(5*f.scaleS, 1.5*f.stepS, 20), mostGateS)
	}
	f.match(gate)
}

// match pairs each moved event with the nearest fixed one within the gate, and
// of several moved ones keeps the nearest.
func (f *fit) match(gateS float64) {
	f.pairs = f.pairs[:0]
	for i, a := range f.moved {
		lag := f.lagAt(a)
		t := a - int64(lag*secondMS)
		j := nearest(f.fixed, t)
		r := float64(t-f.fixed[j]) / secondMS
		if math.Abs(r) > gateS {
			continue
		}
		p := pair{i: i, j: j, tMS: a, yS: float64(a-f.fixed[j]) / secondMS, residualS: r}
		if n := len(f.pairs); n > 0 && f.pairs[n-1].j == j {
			if math.Abs(f.pairs[n-1].residualS) > math.Abs(r) {
				f.pairs[n-1] = p
			}
			continue
		}
		f.pairs = append(f.pairs, p)
	}
}

// spread is a robust standard deviation of the residuals, not below what the
// intervals of the readings leave.
func (f *fit) spread() float64 {
	v := make([]float64, len(f.pairs))
	for i, p := range f.pairs {
		v[i] = math.Abs(p.residualS)
	}
	return max(1.4826*median(v), f.stepS/6, 1)
}

// weight is Tukey's biweight of a residual, and the derivative of its influence.
func weight(u float64) (w, slope float64) {
	u /= biweight
	if math.Abs(u) >= 1 {
		return 0, 0
	}
	q := 1 - u*u
	return q * q, q * (1 - 5*u*u)
}

// solve fits one drift and a lag a segment by reweighted least squares.
func (f *fit) solve() {
	for range 3 {
		f.scaleS = f.spread()
		n := len(f.segs)
		sums := make([]moments, n)
		for _, p := range f.pairs {
			w, _ := weight(p.residualS / f.scaleS)
			sums[f.segmentAt(p.tMS)].add(w, f.days(p.tMS), p.yS)
		}
		stt, sty, few := 0.0, 0.0, true
		for i := range sums {
			stt += sums[i].stt()
			sty += sums[i].sty()
			few = few && sums[i].n < eachSide
		}
		if few {
			return
		}
		f.driftS = 0
		if stt > 0 {
			f.driftS = min(max(sty/stt, -f.opt.MostDriftSPerDay), f.opt.MostDriftSPerDay)
		}
		for i := range sums {
			if m := &sums[i]; m.w > 0 {
				f.segs[i].lagS = (m.y - f.driftS*m.t) / m.w
			}
		}
		f.residuals()
	}
}

func (f *fit) residuals() {
	for i := range f.pairs {
		p := &f.pairs[i]
		p.residualS = p.yS - f.lagAt(p.tMS)
	}
}

func (f *fit) days(tMS int64) float64 { return float64(tMS-f.midMS) / dayMS }

// moments are the weighted sums of a line.
type moments struct {
	n                      int
	w, t, y, tt, ty, yySum float64
}

func (m *moments) add(w, t, y float64) {
	if w > 0 {
		m.n++
	}
	m.w += w
	m.t += w * t
	m.y += w * y
	m.tt += w * t * t
	m.ty += w * t * y
	m.yySum += w * y * y
}

func (m *moments) less(o *moments) moments {
	return moments{m.n - o.n, m.w - o.w, m.t - o.t, m.y - o.y, m.tt - o.tt, m.ty - o.ty, m.yySum - o.yySum}
}

func (m *moments) stt() float64 {
	if m.w <= 0 {
		return 0
	}
	return m.tt - m.t*m.t/m.w
}

func (m *moments) sty() float64 {
	if m.w <= 0 {
		return 0
	}
	return m.ty - m.t*m.y/m.w
}

func (m *moments) syy() float64 {
	if m.w <= 0 {
		return 0
	}
	return m.yySum - m.y*m.y/m.w
}

// split looks for a small jump that the stretches did not show: the place where
// two lags and one drift leave so much less than one lag and one drift that it
// pays for itself.
func (f *fit) split() bool {
	if len(f.pairs) < 2*eachSide+2 {
		return false
	}
	bestGain, bestSeg, bestAt := 0.0, 0, 0
	for s := range f.segs {
		if gain, at := f.splitOf(s); gain > bestGain {
			bestGain, bestSeg, bestAt = gain, s, at
		}
	}
	if bestGain < jumpCost {
		return false
	}
	f.segs = slices.Insert(f.segs, bestSeg+1, segment{lagS: f.segs[bestSeg].lagS})
	f.put(bestSeg+1, bestAt)
	f.residuals()
	return true
}

// splitOf gives the best split of a segment: what it gains in log likelihood,
// and the first moved event after it.
func (f *fit) splitOf(s int) (gain float64, before int) {
	var in []pair
	for _, p := range f.pairs {
		if f.segmentAt(p.tMS) == s && math.Abs(p.residualS) < mostGateS {
			in = append(in, p)
		}
	}
	if len(in) < 2*eachSide+2 {
		return 0, 0
	}
	var all moments
	for _, p := range in {
		all.add(1, f.days(p.tMS), p.residualS)
	}
	one := leftOver(all.syy(), all.sty(), all.stt())
	floor := float64(len(in)) * f.stepS * f.stepS / 36
	var left moments
	for k := range in[:len(in)-eachSide] {
		left.add(1, f.days(in[k].tMS), in[k].residualS)
		if k+1 < eachSide {
			continue
		}
		right := all.less(&left)
		step := math.Abs(left.y/left.w - right.y/right.w)
		two := leftOver(left.syy()+right.syy(), left.sty()+right.sty(), left.stt()+right.stt())
		if g := float64(len(in)) / 2 * math.Log((one+floor)/(two+floor)); g > gain && step > smallestJumpS {
			gain, before = g, in[k].i+1
		}
	}
	return gain, before
}

func leftOver(syy, sty, stt float64) float64 {
	if stt > 0 {
		syy -= sty * sty / stt
	}
	return max(syy, 0)
}

// judge scores the fit: the log likelihood of the moved events against events
// at random, each matched with probability q with a normal residual, less what
// jumps cost.
func (f *fit) judge() {
	if len(f.pairs) < eachSide {
		f.score = 0
		return
	}
	f.scaleS = f.spread()
	q := min(max(float64(len(f.pairs))/float64(len(f.moved)), 0.02), 0.98)
	perS := rate(f.fixed)
	back := math.Log(1 - q)
	f.score = back*float64(len(f.moved)-len(f.pairs)) - jumpCost*float64(len(f.segs)-1)
	for _, p := range f.pairs {
		u := p.residualS / f.scaleS
		f.score += math.Log(1 - q + q*math.Exp(-u*u/2)/(f.scaleS*math.Sqrt(2*math.Pi)*perS))
	}
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Clone(v)
	slices.Sort(v)
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}
