package grid

import "math"

// A mean over still and flowing water is not a reading. Where it is known for
// how long of the interval water moved, what the probe showed before and how it
// cools afterwards, the flowing part's own temperature can be told from it.

// leastPart: of an interval that flowed less, the flowing part is read together
// with its neighbour's.
const leastPart = 0.25

// part is one interval of a log of means, or several read as one, cut by a run:
// seconds before it, in it and after it.
type part struct {
	lo, hi               int // readings
	meanC                float64
	beforeS, flowS, endS float64
	fromMS, toMS         int64
}

func (p part) lengthS() float64 { return p.beforeS + p.flowS + p.endS }

// joined reads two parts as one.
func (p part) joined(q part) part {
	a, b := p.lengthS(), q.lengthS()
	return part{p.lo, q.hi, (p.meanC*a + q.meanC*b) / (a + b), p.beforeS + q.beforeS, p.flowS + q.flowS, p.endS + q.endS, p.fromMS, q.toMS}
}

// standing is what stands about a run: the probe's still reading before it, the air
// and time constant to which it goes afterwards, and its own lag.
type standing struct{ stillC, airC, thetaS, tauS float64 }

// flowing is the temperature of the water that made a part's mean,
//
//	T̄ D = b T0 + f [u − (u − T0) g(f)] + e [A (1 − m) + T_e m],
//	T_e = u + (T0 − u) exp(−f/τ), g(t) = (1 − exp(−t/τ)) τ/t, m likewise over e and θ,
//
// b, f, e the seconds before, in and after the run, T0 the probe when the water
// starts. endC is the probe when it stops, weight the share with which u stands
// in the mean: the smaller, the less the mean says of it.
func (w standing) flowing(p part) (u, endC, weight float64) {
	lag := func(s, of float64) float64 {
		switch {
		case of <= 0:
			return 0
		case math.IsInf(of, 1) || s <= 0:
			return 1
		}
		return (1 - math.Exp(-s/of)) * of / s
	}
	d := p.lengthS()
	g, m := lag(p.flowS, w.tauS), lag(p.endS, w.thetaS)
	left := 0.0
	if w.tauS > 0 {
		left = math.Exp(-p.flowS / w.tauS)
	}
	air := w.airC
	if m == 1 {
		air = 0
	}
	weight = (p.flowS*(1-g) + p.endS*m*(1-left)) / d
	known := (p.beforeS*w.stillC + p.flowS*g*w.stillC + p.endS*(air*(1-m)+w.stillC*left*m)) / d
	u = (p.meanC - known) / weight
	return u, u + (w.stillC-u)*left, weight
}

// parts cuts a log of means by a run.
func (k *booker) parts(start, end int64) []part {
	r, half := &k.p.Readings, int64(k.p.HalfS*1000)
	var out []part
	for i := r.from(start - half + 1); i < r.hi; i = r.next(i + 1) {
		from, to := r.at(i)-half, r.at(i)+half
		if k.p.One {
			from, to = r.s.From[i], r.s.T[i]
		}
		if from >= end {
			break
		}
		if to <= start {
			continue
		}
		v := k.read(i)
		if v != v {
			return nil
		}
		out = append(out, part{i, i + 1, v, float64(max(0, start-from)) / 1000, float64(min(to, end)-max(from, start)) / 1000, float64(max(0, to-end)) / 1000, from, to})
	}
	return out
}

// together joins what flowed too little at either end to its neighbour, and
// tells whether no time lies between the parts.
func together(all []part) ([]part, bool) {
	for i := 1; i < len(all); i++ {
		if all[i].fromMS != all[i-1].toMS {
			return all, false
		}
	}
	if n := len(all); n > 1 && all[0].flowS < leastPart*all[0].lengthS() {
		all = append([]part{all[0].joined(all[1])}, all[2:]...)
	}
	if n := len(all); n > 1 && all[n-1].flowS < leastPart*all[n-1].lengthS() {
		all = append(all[:n-2:n-2], all[n-2].joined(all[n-1]))
	}
	return all, true
}

// temps are the flowing temperatures of a run's parts, one after the other.
func (k *booker) temps(all []part, w standing) (u, weight []float64) {
	u, weight = make([]float64, len(all)), make([]float64, len(all))
	for i, p := range all {
		u[i], w.stillC, weight[i] = w.flowing(p)
	}
	return u, weight
}

// bookMeans books a run by a log of means; false where it can't.
func (k *booker) bookMeans(ri int) bool {
	x := k.r.runs[ri]
	last := k.p.Readings.upTo(x.start - x.looseMS/2 - int64(k.p.HalfS*1000))
	if last < 0 || x.trickle {
		return false
	}
	stillC := k.read(last)
	start, end := x.start, x.end
	w := standing{stillC, k.airC[ri], k.thetaS, k.o.TauS}
	if w.airC != w.airC {
		w.airC, w.thetaS = 0, math.Inf(1)
	}
	loose := x.looseMS > 0
	if loose {
		start, end = k.place(ri, w)
	}
	all, ok := together(k.parts(start, end))
	if !ok || len(all) == 0 {
		return false
	}
	u, weight := k.temps(all, w)
	const deltaS = 0.5
	later, sooner := w, w
	later.tauS, sooner.tauS = w.tauS+deltaS, w.tauS-deltaS
	var du []float64
	if w.tauS > deltaS {
		a, _ := k.temps(all, later)
		b, _ := k.temps(all, sooner)
		for i := range a {
			du = append(du, (a[i]-b[i])/(2*deltaS))
		}
	}
	for i := range all {
		if u[i] != u[i] || math.IsInf(u[i], 0) || weight[i] < leastPart/2 {
			return false
		}
	}
	step := k.r.Grid.StepMS()
	at := 0
	for j := x.lo; j < x.hi; j++ {
		mid := k.r.Grid.EdgeMS(k.r.Cells[j]) + step/2
		for at+1 < len(all) && all[at].toMS <= mid {
			at++
		}
		k.b.TempC[j] = u[at]
		if du != nil {
			k.b.PerS[j] = du[at]
		}
		k.b.Early[j] = all[at].beforeS > 0
	}
	return true
}

// place is where in the interval that holds all of it a run lay: there what the
// interval's mean and what the still readings after it say of the water agree.
func (k *booker) place(ri int, w standing) (start, end int64) {
	x := k.r.runs[ri]
	lasts := x.end - x.start
	lo, hi := x.end-x.looseMS/2, x.end+x.looseMS/2
	if _, ok := k.endC(ri, x.end); !ok {
		return x.start, x.end
	}
	for hi-lo > 1000 {
		mid := lo + (hi-lo)/2
		seen, _ := k.endC(ri, mid)
		all, ok := together(k.parts(mid-lasts, mid))
		if !ok || len(all) == 0 {
			return x.start, x.end
		}
		u, _ := k.temps(all, w)
		if d := (u[len(u)-1] - seen) * (seen - w.stillC); d > 0 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo - lasts, lo
}
