package simfarm

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// beside are departures of the bed at the pipe from what its probe shows, and
// of the film in still water, that no farm knows beforehand.
type beside struct {
	lnStill float64
	// depletionK: so much colder in the mean while water flows, in the shape in
	// which this bed's depletion escapes its probe; lagH: it follows so much
	// later.
	depletionK, lagH float64
	escaped          []float64 // that shape by minute, mean 1 while water flows
}

// bedAt is the bed at the pipe at sample k.
func (x exactFit) bedAt(bed []float64, k int) float64 {
	v := bed[k]
	if x.beside.depletionK != 0 {
		v -= x.beside.depletionK * x.beside.escaped[k]
	}
	if x.beside.lagH != 0 && k >= 60 {
		v -= x.beside.lagH * (bed[k] - bed[k-60])
	}
	return v
}

// UABound is the Cramér-Rao bound of the season's ln UA, as half-widths at 95 %
// known from the truth:
//
//	half = z sqrt(c' I^-1 c),  I = sum J'J/sigma² + priors,
//
// J the exact model's derivatives at the truth with respect to everything that
// a report can't know: the bed's conductance, its offset, the front, the film
// in still water, the depletion that escapes the bed probe, the bed's lag, the
// inlet's, meter's and pipe's errors (priors: the farm file's [errors], else as
// wide as common practice); c the gradient of ln UA over them.
//
// Logged takes sigma from the logger, its noise and resolution, every reading
// for itself: what a model without any fault could know. Draws lets the readings
// of one draw share a misfit of residualK, so that a draw counts as one reading:
// what is left to a model that is a tenth of a kelvin off. Both are NaN where
// fewer than three draws ran.
type UABound struct{ Logged, Draws float64 }

// boundPriors: standard deviations of ln still film, depletion (K) and bed lag
// (h), those that Short and Study draw from and a little more (our choice).
const (
	stillFilmSD = 0.3
	depletionSD = 0.7
	bedLagSD    = 1
)

// UABound finds the bound; it takes a dozen passes of the exact model.
func (f *Farm) UABound() UABound {
	x := f.newFit()
	scored := min(fitDraws, f.loop.runs()-fitWarm)
	if x.to <= x.scored || scored < 1 {
		return UABound{math.NaN(), math.NaN()}
	}
	x.escape()
	j, prior := x.sensitivities()
	rows, _ := j.Dims()
	seasons := float64(f.loop.runs()) / float64(scored)
	noiseK, everyS := f.outletNoise()
	z := mat.NewVecDense(len(prior), nil)
	slope := (x.ua(theta{1e-4}, errorsOf{})/x.ua(theta{}, errorsOf{}) - 1) / 1e-4
	z.SetVec(0, slope)
	z.SetVec(len(prior)-1, 1)
	half := func(weight float64) float64 {
		var a mat.SymDense
		a.SymOuterK(weight*seasons, j.T())
		for i, sd := range prior {
			a.SetSym(i, i, a.At(i, i)+1/(sd*sd))
		}
		var c mat.Cholesky
		var s mat.VecDense
		if !c.Factorize(&a) || c.SolveVecTo(&s, z) != nil {
			return math.NaN()
		}
		return z95 * math.Sqrt(mat.Dot(z, &s))
	}
	return UABound{
		Logged: half(stepS / everyS / (noiseK * noiseK)),
		Draws:  half(float64(scored) / float64(rows) / (residualK * residualK)),
	}
}

// sensitivities of the outlet to what is not known, and its standard deviation;
// the last is the pipe's volume.
func (x exactFit) sensitivities() (*mat.Dense, []float64) {
	f := x.f
	type move struct {
		step, sd float64
		to       func(x *exactFit, p *theta, e *errorsOf, d float64)
	}
	known := 1e-6 // of what is stated as exact
	moves := []move{
		{0.01, 1e3, func(_ *exactFit, p *theta, _ *errorsOf, d float64) { p[0] += d }},
		{0.05, math.Hypot(offsetSD, f.sd[eBed]), func(_ *exactFit, p *theta, _ *errorsOf, d float64) { p[1] += d }},
		{0.002, frontSD, func(_ *exactFit, p *theta, _ *errorsOf, d float64) { p[3] += d }},
		{0.05, stillFilmSD, func(x *exactFit, _ *theta, _ *errorsOf, d float64) { x.beside.lnStill += d }},
		{0.1, depletionSD, func(x *exactFit, _ *theta, _ *errorsOf, d float64) { x.beside.depletionK += d }},
		{0.2, bedLagSD, func(x *exactFit, _ *theta, _ *errorsOf, d float64) { x.beside.lagH += d }},
		{0.05, math.Max(known, f.sd[eMains]), func(_ *exactFit, _ *theta, e *errorsOf, d float64) { e[eMains] += d }},
		{0.05, math.Max(known, f.sd[eLoopOut]), nil},
		{0.004, math.Max(known, f.sd[gLoop]), func(_ *exactFit, _ *theta, e *errorsOf, d float64) { e[gLoop] += d }},
		{0.004, math.Max(known, math.Hypot(f.sd[xWall], f.sd[xLength])), func(_ *exactFit, _ *theta, e *errorsOf, d float64) { e[xLength] = math.Expm1(d) }},
	}
	base := x.model(x.start(), errorsOf{}, nil)
	j := mat.NewDense(len(base), len(moves), nil)
	prior := make([]float64, len(moves))
	for k, m := range moves {
		prior[k] = m.sd
		if m.to == nil { // the outlet's own error moves every reading alike
			for i := range base {
				j.Set(i, k, 1)
			}
			continue
		}
		y, p, e := x, x.start(), errorsOf{}
		m.to(&y, &p, &e, m.step)
		for i, v := range y.model(p, e, nil) {
			j.Set(i, k, (v-base[i])/m.step)
		}
	}
	return j, prior
}

// escape fills the shape of the depletion that the bed probe does not see.
func (x *exactFit) escape() {
	f := x.f
	pipe, probe := f.signal[BedAtPipe], f.signal[BedProbe]
	s := make([]float64, len(pipe))
	for i := range s {
		s[i] = probe[i] - f.s.Bed.ProbeOffsetK - pipe[i]
	}
	sum, litres := 0.0, 0.0
	for i, v := range f.loop.litres {
		sum, litres = sum+v*s[int(f.loop.step[i])/sampleEvery], litres+v
	}
	if mean := sum / litres; mean > 1e-6 {
		for i := range s {
			s[i] /= mean
		}
	}
	x.beside.escaped = s
}

// outletNoise is the standard deviation of one reading of the loop's outlet
// beside its shared error, and the seconds between two.
func (f *Farm) outletNoise() (noiseK, everyS float64) {
	for _, l := range f.s.Loggers {
		for _, c := range l.Columns {
			if c.Signal == LoopOut {
				return math.Max(0.01, math.Hypot(c.NoiseK, c.Step/math.Sqrt(12))), float64(l.IntervalS)
			}
		}
	}
	return residualK, 60
}
