package grid

import "math"

// A mean over still and flowing water is not a reading. Where it is known for
// how long of the interval water moved, what the probe showed before and how it
// cools afterwards, the flowing part's own temperature can be told from it.

// guessedShare of its warmth above what stood before: so far a run may be off
// of which it is not known how long it lasted.
const guessedShare = 0.05

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

// standing is what stands about a run: the probe's still reading before it, the
// air and time constant to which it goes afterwards, its own lag, and what it
// showed when the water stopped (NaN where no reading was made soon enough).
type standing struct{ stillC, airC, thetaS, tauS, endC float64 }

// share is the mean of exp(−t/of) over s seconds.
func share(s, of float64) float64 {
	switch {
	case of <= 0:
		return 0
	case math.IsInf(of, 1) || s <= 0:
		return 1
	}
	return (1 - math.Exp(-s/of)) * of / s
}

// flowing is the temperature u of the water that made a part's mean,
//
//	T̄ D = b T0 + f [u − (u − T0) g] + e [A + (T_e − A) m],
//	g = (1 − exp(−f/τ)) τ/f, m likewise of e and θ,
//
// b, f, e the seconds before, in and after the run, T0 the probe when the water
// starts, T_e when it stops: as read back from the still water afterwards, else
// u but for the rest of the lag. lastC is the probe at the part's end, weight
// the share with which u stands in the mean: the smaller, the less the mean
// says of it.
func (w standing) flowing(p part) (u, lastC, weight float64) {
	d, left := p.lengthS(), 0.0
	if w.tauS > 0 {
		left = math.Exp(-p.flowS / w.tauS)
	}
	g, m, air := share(p.flowS, w.tauS), share(p.endS, w.thetaS), w.airC
	if m == 1 {
		air = 0
	}
	weight = p.flowS * (1 - g) / d
	known := (p.beforeS*w.stillC + p.flowS*g*w.stillC + p.endS*air*(1-m)) / d
	if w.endC == w.endC {
		known += p.endS * m * w.endC / d
	} else {
		known += p.endS * m * left * w.stillC / d
		weight += p.endS * m * (1 - left) / d
	}
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

// after is w for a part at whose start the probe showed lastC.
func (w standing) after(lastC float64) standing {
	w.stillC = lastC
	return w
}

// temps are the flowing temperatures of a run's parts, one after the other, and
// the least weight among them.
func (w standing) temps(all []part) (u []float64, least float64) {
	u, least = make([]float64, len(all)), 1
	last := w.stillC
	for i, p := range all {
		var weight float64
		u[i], last, weight = w.after(last).flowing(p)
		least = min(least, weight)
		if u[i] != u[i] || math.IsInf(u[i], 0) {
			least = 0
		}
	}
	return u, least
}

// standing is what stands about a run; ok is false where the probe was not read
// just before it.
func (k *booker) standing(ri int) (w standing, ok bool) {
	x, half := k.runs[ri], int64(k.p.HalfS*1000)
	last := k.p.Readings.upTo(x.start - x.looseMS/2 - half)
	if last < 0 || x.start-k.p.Readings.at(last) > int64(2500*k.p.UsualS)+x.looseMS {
		return w, false
	}
	w = standing{k.read(last), k.airC[ri], k.thetaS, k.o.TauS, math.NaN()}
	if w.airC != w.airC {
		w.airC, w.thetaS = 0, math.Inf(1)
	}
	return w, w.stillC == w.stillC
}

// cut is a run's parts where it began and stopped at these times, with what
// stands about it.
func (k *booker) cut(ri int, w standing, start, end int64) ([]part, standing, bool) {
	if v, ok := k.endC(ri, end); ok {
		w.endC = v
	}
	all, ok := together(k.parts(start, end))
	return all, w, ok && len(all) > 0
}

// lagStepS is the step by which the answer to a time constant is found.
const lagStepS = 0.5

// bookMeans books a run by a log of means; false where it can't.
func (k *booker) bookMeans(ri int) bool {
	x := k.runs[ri]
	w, ok := k.standing(ri)
	if !ok || x.trickle {
		return false
	}
	all, w, ok := k.cut(ri, w, x.start, x.end)
	if !ok {
		return false
	}
	u, least := w.temps(all)
	if least < leastPart/2 {
		return false
	}
	du := make([]float64, len(u))
	if w.tauS > lagStepS {
		later, sooner := w, w
		later.tauS, sooner.tauS = w.tauS+lagStepS, w.tauS-lagStepS
		a, _ := later.temps(all)
		b, _ := sooner.temps(all)
		for i := range a {
			du[i] = (a[i] - b[i]) / (2 * lagStepS)
		}
	}
	g, at := k.r.Grid, 0
	for j := x.lo; j < x.hi; j++ {
		for mid := g.EdgeMS(k.r.Cells[j]) + g.StepMS()/2; at+1 < len(all) && all[at].toMS <= mid; at++ {
		}
		k.b.TempC[j], k.b.PerS[j], k.b.Early[j] = u[at], du[at], all[at].beforeS > 0
		k.b.Held[j] = all[at].beforeS > 0 || all[at].endS > 0
	}
	switch {
	case x.looseMS > 0: // not even the still water told where it lay
		k.unsure(ri, blindShare)
	case x.guessed && (len(all) == 1 || all[0].beforeS > 0):
		k.unsure(ri, guessedShare)
	}
	return true
}
