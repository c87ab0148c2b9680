package apart

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/doubt"
	"yardheat/analysis/solve"
)

// Parameters: offset (s), drift (s a day), then ln of the mixing volume (L) by
// probe.
const (
	pOffset = iota
	pDrift
	pMix
)

// answer is R(x): two stages one after the other, 0 before x = 0.
func answer(x, tauS, mixS float64) float64 {
	if x <= 0 {
		return 0
	}
	if math.Abs(mixS-tauS) < 1e-3*tauS+1e-6 { // the limit of equal stages
		u := x / math.Max(tauS, 1e-6)
		return 1 - (1+u)*math.Exp(-u)
	}
	stage := func(s float64) float64 {
		if s < 1e-6 {
			return 0
		}
		return s * math.Exp(-x/s)
	}
	return 1 - (stage(mixS)-stage(tauS))/(mixS-tauS)
}

// residuals fills r with what the best answer of the event's own shape leaves
// of its readings: they are projected off the four columns.
func (e *event) residuals(offsetS, mixL float64, r []float64, work *[4][]float64) {
	n := len(e.t)
	mixS := mixL * e.perLitreS
	late := offsetS + e.deadL*e.perLitreS
	for c := range work {
		if cap(work[c]) < n {
			work[c] = make([]float64, n)
		}
		work[c] = work[c][:n]
	}
	for i, t := range e.t {
		x := t - late
		work[0][i], work[1][i] = 1, math.Min(x, 0)/100
		work[2][i], work[3][i] = answer(x, e.lagS, mixS), math.Max(x, 0)/100
	}
	copy(r, e.v)
	// Modified Gram-Schmidt; a column that the others make up is left out.
	for c := range work {
		col := work[c]
		before := dot(col, col)
		for _, q := range work[:c] {
			axpy(col, q, -dot(col, q))
		}
		if size := dot(col, col); size > 1e-8*before && size > 0 {
			scale := 1 / math.Sqrt(size)
			for i := range col {
				col[i] *= scale
			}
		} else {
			clear(col)
		}
		axpy(r, col, -dot(r, col))
	}
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, x := range a {
		s += x * b[i]
	}
	return s
}

func axpy(y, x []float64, a float64) {
	for i := range y {
		y[i] += a * x[i]
	}
}

func (f *finder) rows() int {
	n := 0
	for _, e := range f.events {
		n += len(e.t)
	}
	return n
}

// fill makes all residuals, each over its probe's scatter.
func (f *finder) fill(theta, r []float64) {
	var work [4][]float64
	at := 0
	for k := range f.events {
		e := &f.events[k]
		part := r[at : at+len(e.t)]
		e.residuals(theta[pOffset]+theta[pDrift]*e.days, math.Exp(theta[pMix+e.probe]), part, &work)
		for i := range part {
			part[i] /= f.sigma[e.probe]
		}
		at += len(e.t)
	}
}

// steps of the differences by parameter.
func stepOf(j int) float64 {
	switch j {
	case pOffset:
		return 0.5
	case pDrift:
		return 0.02
	}
	return 0.02
}

func (f *finder) jacobian(theta []float64, jac *mat.Dense) {
	n, _ := jac.Dims()
	up, down := make([]float64, n), make([]float64, n)
	for j := range theta {
		h := stepOf(j)
		moved := slices.Clone(theta)
		moved[j] += h
		f.fill(moved, up)
		moved[j] -= 2 * h
		f.fill(moved, down)
		for i := range up {
			jac.Set(i, j, (up[i]-down[i])/(2*h))
		}
	}
}

func (f *finder) start(atS float64) []float64 {
	theta := make([]float64, pMix+len(f.pairs))
	theta[pOffset] = atS
	for p := range f.pairs {
		theta[pMix+p] = math.Log(f.opt.MixL)
	}
	return theta
}

func (f *finder) unit() {
	f.sigma = make([]float64, len(f.pairs))
	for p := range f.sigma {
		f.sigma[p] = 1
	}
}

// coarse tries offsets every ten seconds, each with three mixing volumes.
func (f *finder) coarse() float64 {
	f.unit()
	r := make([]float64, f.rows())
	best, at := math.Inf(1), 0.0
	for s := -f.opt.MostS; s <= f.opt.MostS; s += 10 {
		for _, mix := range [...]float64{0.2, 1, 5} {
			theta := f.start(s)
			for p := range f.pairs {
				theta[pMix+p] = math.Log(mix * f.opt.MixL)
			}
			f.fill(theta, r)
			if c := dot(r, r); c < best {
				best, at = c, s
			}
		}
	}
	return at
}

func (f *finder) problem(theta []float64) solve.Problem {
	p := solve.Problem{Start: theta, N: f.rows(), Low: make([]float64, len(theta)), High: make([]float64, len(theta)),
		Rows: func(th, r []float64, jac *mat.Dense) {
			f.fill(th, r)
			if jac != nil {
				f.jacobian(th, jac)
			}
		},
		Priors: []solve.Prior{{Index: pDrift, SD: f.opt.DriftSPerDay}}}
	p.Low[pOffset], p.High[pOffset] = -f.opt.MostS, f.opt.MostS
	p.Low[pDrift], p.High[pDrift] = -10*f.opt.DriftSPerDay, 10*f.opt.DriftSPerDay
	for k := pMix; k < len(theta); k++ {
		p.Low[k], p.High[k] = math.Log(f.opt.MixL)-6*f.opt.MixSpread, math.Log(f.opt.MixL)+4*f.opt.MixSpread
		p.Priors = append(p.Priors, solve.Prior{Index: k, Mean: math.Log(f.opt.MixL), SD: f.opt.MixSpread})
	}
	return p
}

// fine fits three times: with all probes alike, with each probe's own scatter,
// and without the starts that answered otherwise than the rest.
func (f *finder) fine(atS float64) Offset {
	f.unit()
	theta := f.start(atS)
	var res solve.Result
	opt := solve.DefaultOptions()
	opt.MaxIterations, opt.StepTol, opt.Context = 60, 1e-6, f.opt.Context
	for pass := range 3 {
		if pass == 2 {
			f.dropOdd(theta)
			if why := f.few(); why != "" {
				return Offset{Why: why}
			}
		}
		if pass > 0 {
			f.scatter(theta)
		}
		var err error
		if res, err = solve.Minimise(f.problem(theta), opt); err != nil {
			return Offset{Why: "the starts could not be fitted: " + err.Error()}
		}
		theta = res.Theta
	}
	half := math.Hypot(f.half(theta), f.opt.ShapeShare*f.mixS(theta))
	days := map[int]bool{}
	for _, e := range f.events {
		days[e.day] = true
	}
	o := Offset{S: theta[pOffset], HalfS: math.Max(half, f.opt.FloorS), DriftSPerDay: theta[pDrift], MidMS: f.midMS, Starts: len(f.events), Days: len(days)}
	switch {
	case res.Fixed[pOffset]:
		o.Why = fmt.Sprintf("the probes answer more than %g s from the starts of flow", f.opt.MostS)
	case !(o.HalfS <= f.opt.TrustS):
		o.Why = fmt.Sprintf("the starts tell it to within ± %.0f s only", o.HalfS)
	}
	return o
}

// mixS is the mean time in which the mixing volumes are flushed, by starts.
func (f *finder) mixS(theta []float64) float64 {
	sum := 0.0
	for _, e := range f.events {
		sum += math.Exp(theta[pMix+e.probe]) * e.perLitreS
	}
	return sum / float64(len(f.events))
}

// scatter is each probe's root mean square at theta.
func (f *finder) scatter(theta []float64) {
	f.unit()
	r := make([]float64, f.rows())
	f.fill(theta, r)
	sum, n := make([]float64, len(f.pairs)), make([]float64, len(f.pairs))
	at := 0
	for _, e := range f.events {
		for range e.t {
			sum[e.probe], n[e.probe] = sum[e.probe]+r[at]*r[at], n[e.probe]+1
			at++
		}
		n[e.probe] -= 4 // the event's own
	}
	for p := range f.sigma {
		if n[p] > 0 && sum[p] > 0 {
			f.sigma[p] = math.Sqrt(sum[p] / n[p])
		}
	}
}

// dropOdd leaves out starts whose residuals are more than four times those of
// the middle one of their probe.
func (f *finder) dropOdd(theta []float64) {
	r := make([]float64, f.rows())
	f.fill(theta, r)
	rms := make([]float64, len(f.events))
	byProbe := make([][]float64, len(f.pairs))
	at := 0
	for k, e := range f.events {
		part := r[at : at+len(e.t)]
		rms[k] = math.Sqrt(dot(part, part) / float64(len(part)))
		byProbe[e.probe] = append(byProbe[e.probe], rms[k])
		at += len(e.t)
	}
	for _, list := range byProbe {
		slices.Sort(list)
	}
	var kept []event
	for k, e := range f.events {
		if list := byProbe[e.probe]; rms[k] <= 4*list[len(list)/2] {
			kept = append(kept, e)
		}
	}
	f.events = kept
}

// half is the half-width of the offset's 95 % interval: the covariance by
// whole days, H⁻¹ M H⁻¹ with H = JᵀJ and the priors, M the sum over days of
// their scores' outer product (White 1980, Liang and Zeger 1986, from memory),
// G/(G − p) for G days, Student's t with G − p. Only the offset at the middle
// of the period is asked for; the drift is free beside it.
func (f *finder) half(theta []float64) float64 {
	n, p := f.rows(), len(theta)
	r, jac := make([]float64, n), mat.NewDense(n, p, nil)
	f.fill(theta, r)
	f.jacobian(theta, jac)
	h := mat.NewSymDense(p, nil)
	h.SymOuterK(1, jac.T())
	for _, q := range f.problem(theta).Priors {
		h.SetSym(q.Index, q.Index, h.At(q.Index, q.Index)+1/(q.SD*q.SD))
	}
	scores := map[int][]float64{}
	var order []int
	at := 0
	for _, e := range f.events {
		if scores[e.day] == nil {
			scores[e.day] = make([]float64, p)
			order = append(order, e.day)
		}
		for range e.t {
			axpy(scores[e.day], jac.RawRowView(at), r[at])
			at++
		}
	}
	slices.Sort(order)
	m := mat.NewSymDense(p, nil)
	for _, day := range order {
		m.SymRankOne(m, 1, mat.NewVecDense(p, scores[day]))
	}
	for _, q := range f.problem(theta).Priors { // a prior's mean is off by its own spread
		m.SetSym(q.Index, q.Index, m.At(q.Index, q.Index)+1/(q.SD*q.SD))
	}
	var inv mat.Dense
	if inv.Inverse(h) != nil {
		return math.Inf(1)
	}
	var left, cov mat.Dense
	left.Mul(&inv, m)
	cov.Mul(&left, &inv)
	g := float64(len(order))
	v := cov.At(pOffset, pOffset) * g / math.Max(1, g-float64(p))
	return doubt.StudentT(0.975, math.Max(1, g-float64(p))) * math.Sqrt(math.Max(v, 0))
}
