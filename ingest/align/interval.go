package align

import "math"

// interval gives the offset with its 95 % interval: the standard error of the
// robust fit at the middle asked for, residuals related from event to event
// allowed for, and the delay anywhere in its range.
func (r *Result) interval(f *fit, delay Delay) {
	mid := (delay.LowS + delay.HighS) / 2
	drift, driftSE, lagSE, df := f.errors()
	r.AheadS = r.LagS - mid
	r.DriftSPerDay = drift
	const distinct = 2.5
	if math.Abs(drift) < distinct*driftSE {
		r.levelOff(f)
		r.AheadS = r.LagS - mid
	}
	half := halfWidth(lagSE*studentT(df), (delay.HighS-delay.LowS)/2)
	r.LowS, r.HighS = r.AheadS-half, r.AheadS+half
}

// levelOff takes a drift out that is not distinct from none: each segment keeps
// its lag at its own middle, and the jumps follow.
func (r *Result) levelOff(f *fit) {
	saved := f.driftS
	sums := make([]moments, len(f.segs))
	for _, p := range f.pairs {
		w, _ := weight(p.residualS / f.scaleS)
		sums[f.segmentAt(p.tMS)].add(w, f.days(p.tMS), p.yS)
	}
	for i := range f.segs {
		if sums[i].w > 0 {
			f.segs[i].lagS += saved * sums[i].t / sums[i].w
		}
	}
	f.driftS, r.DriftSPerDay = 0, 0
	r.LagS = f.lagAt(f.midMS)
	for i := range r.Jumps {
		r.Jumps[i].ByS = f.segs[i+1].lagS - f.segs[i].lagS
	}
}

// errors are the drift, the standard errors of drift and of the lag at the
// middle, and the degrees of freedom. For a robust mean of weights w(u),
// influence ψ(u) = u w(u) (Huber, Robust Statistics, 1981, ch. 6 and 7):
//
//	Var = Σ ψ² s² / (Σ ψ′)²
//
// and likewise for the line, with distances from its centre.
func (f *fit) errors() (drift, driftSE, lagSE, df float64) {
	at := f.segmentAt(f.midMS)
	var sum moments
	slopes := make([]moments, len(f.segs))
	for _, p := range f.pairs {
		_, d := weight(p.residualS / f.scaleS)
		s := f.segmentAt(p.tMS)
		slopes[s].add(d, f.days(p.tMS), 0)
		if s == at {
			sum.add(1, 0, 0)
		}
	}
	psi2, n := 0.0, 0.0
	for _, p := range f.pairs {
		w, _ := weight(p.residualS / f.scaleS)
		psi2 += w * w * p.residualS * p.residualS
		n++
	}
	df = max(n-float64(len(f.segs))-1, 1)
	// Readings at whole intervals: where hardly any pair falls into the next
	// interval the scatter says too little; as Agresti and Coull add two of each
	// to a share (The American Statistician 52, 1998), two differences of a whole
	// interval are added.
	perPair := (psi2 + 2*f.stepS*f.stepS/4) / df * f.related()
	stt := 0.0
	for i := range slopes {
		stt += slopes[i].stt()
	}
	m := slopes[at]
	if m.w < 1 || stt <= 0 {
		return f.driftS, math.Inf(1), f.scaleS, df
	}
	// perPair / mean slope² turns Σψ² into the variance of a mean.
	all := 0.0
	for i := range slopes {
		all += slopes[i].w
	}
	bend := all / n
	perPair /= bend
	driftSE = math.Sqrt(perPair / stt)
	centre := m.t / m.w
	lagSE = math.Sqrt(perPair/m.w + centre*centre*perPair/stt)
	return f.driftS, driftSE, lagSE, df
}

// related is the factor by which residuals that follow their neighbours widen
// the variance of a mean: (1 + r)/(1 − r), r the correlation of neighbours where
// it is distinct from none.
func (f *fit) related() float64 {
	sum, lag := 0.0, 0.0
	clip := 3 * f.scaleS
	prev := 0.0
	for i, p := range f.pairs {
		x := min(max(p.residualS, -clip), clip)
		sum += x * x
		if i > 0 {
			lag += x * prev
		}
		prev = x
	}
	n := float64(len(f.pairs))
	if sum == 0 || n < 2 {
		return 1
	}
	c := lag / sum
	if c < 1.645/math.Sqrt(n) {
		return 1
	}
	c = min(c, 0.95)
	return (1 + c) / (1 - c)
}

// studentT is the 97.5 % point of Student's t, by the first terms of its
// expansion in 1/ν (Abramowitz and Stegun 26.7.5), good to 1 % from ν = 4 on.
func studentT(df float64) float64 {
	const z = 1.959964
	g1 := (z*z*z + z) / 4
	g2 := (5*math.Pow(z, 5) + 16*z*z*z + 3*z) / 96
	return z + g1/df + g2/(df*df)
}

// halfWidth is h with P(|U + N| ≤ h) = 0.95 for U even in ± half and N normal
// with the 95 % half-width normalHalf.
func halfWidth(normalHalf, half float64) float64 {
	if half <= 0 {
		return normalHalf
	}
	s := max(normalHalf/1.959964, 1e-6*half)
	cover := func(h float64) float64 {
		// mean over U of Φ((h−u)/s) − Φ((−h−u)/s), by the integral of Φ:
		// ∫Φ = xΦ(x) + φ(x).
		area := func(x float64) float64 {
			return x*(1+math.Erf(x/math.Sqrt2))/2 + math.Exp(-x*x/2)/math.Sqrt(2*math.Pi)
		}
		up := area((h+half)/s) - area((h-half)/s)
		down := area((-h+half)/s) - area((-h-half)/s)
		return (up - down) * s / (2 * half)
	}
	lo, hi := 0.0, half+4*s
	for range 60 {
		if m := (lo + hi) / 2; cover(m) < 0.95 {
			lo = m
		} else {
			hi = m
		}
	}
	return hi
}
