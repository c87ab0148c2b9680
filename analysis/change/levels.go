package change

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"yardheat/analysis/doubt"
)

// student is Student's distribution.
type student struct{ df float64 }

func (s student) below(t float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: s.df}.CDF(t)
}

// changes are the steps found with intervals and levels. Those below Least, or
// whose size may be zero once every date and noise is weighed, or that do not
// show among the values next to them, are left out; they stay in the levels of
// the others.
func (f *finder) changes() []Change {
	var out []Change
	adjusted := f.adjusted()
	for j := range f.steps {
		c := f.changeAt(j, adjusted)
		if math.Abs(c.Size.Value) >= f.o.Least && f.shows(j, adjusted, c.Size.Value) && c.Size.Low*c.Size.High > 0 {
			out = append(out, c)
		}
	}
	return out
}

// shows: the medians of SideValues values on either side differ by half of the
// step at least, in its direction. A straight drift and a step against each
// other can fit stray values at an end of the series where nothing steps.
func (f *finder) shows(j int, v []float64, size float64) bool {
	from, own, to := 0, f.steps[j], len(v)
	if j > 0 {
		from = f.steps[j-1]
	}
	if j+1 < len(f.steps) {
		to = f.steps[j+1]
	}
	before, after := v[max(from, own-f.o.SideValues):own], v[own:min(to, own+f.o.SideValues)]
	return (median(after)-median(before))/size >= 0.5
}

// changeAt describes the j-th step beside the others.
func (f *finder) changeAt(j int, adjusted []float64) Change {
	all := f.steps
	own := all[j]
	f.steps = slices.Delete(slices.Clone(all), j, j+1)
	at := f.candidates()
	// Only dates between the neighbouring steps are this step's.
	from, to := 0, len(f.t)
	if j > 0 {
		from = all[j-1]
	}
	if j+1 < len(all) {
		to = all[j+1]
	}
	at = slices.DeleteFunc(at, func(i int) bool { return i <= from || i >= to })
	if !slices.Contains(at, own) { // another step moved too near after this one was placed
		at = append(at, own)
		slices.Sort(at)
	}
	frames := f.frames(at)
	s, need := f.scan(frames, at), f.penalty(len(at))
	place := slices.Index(at, own)
	chance := f.chance(candidate{own, s.gain(place), need, frames, s})
	f.steps = all
	weights := s.posterior(f.t)
	low, high := s.dates(f.t, f.end, weights, f.o.Confidence)
	c := Change{Size: s.sizes(weights, f.o.Confidence), Gain: s.gain(place), Penalty: need, Chance: chance, NBefore: own - from, NAfter: to - own}
	c.Day = Estimate{(f.t[own-1] + f.t[own]) / 2, min(low, f.t[own-1]), max(high, f.end[own])}
	c.Before, c.After = f.level(adjusted, from, own), f.level(adjusted, own, to)
	return c
}

// adjusted are the values with the columns beside at their means, by the
// likeliest noise; a drift stays in them.
func (f *finder) adjusted() []float64 {
	best, most := 0, math.Inf(-1)
	s := f.scan(f.frames(nil), nil)
	for k, v := range s.null {
		if v > most {
			best, most = k, v
		}
	}
	beta := f.slopes(&f.z[best])
	out := slices.Clone(f.y)
	for j, x := range f.x[:f.beside] {
		add(out, x, -beta[j])
	}
	return out
}

// slopes of the columns beside under one noise.
func (f *finder) slopes(z *noise) []float64 {
	n := len(f.y)
	var cols [][]float64
	column := func(fill func(out []float64)) {
		c := make([]float64, n)
		fill(c)
		cols = append(cols, c)
	}
	column(func(out []float64) { z.whitenStep(0, out) })
	for _, from := range f.steps {
		column(func(out []float64) { z.whitenStep(from, out) })
	}
	for _, x := range f.x {
		column(func(out []float64) { z.whiten(x, out) })
	}
	y, ones := make([]float64, n), slices.Repeat([]float64{1}, n)
	z.whiten(f.y, y)
	return leastSquares(cols, y, ones)[1+len(f.steps):]
}

// level is the weighted mean of one side with the interval that related values
// leave (Newey and West, lags n^(1/3), Student's t of the worth in independent
// values).
func (f *finder) level(v []float64, from, to int) Estimate {
	sum, weight := 0.0, 0.0
	for i := from; i < to; i++ {
		sum, weight = sum+v[i]/f.r[i], weight+1/f.r[i]
	}
	mean := sum / weight
	n := to - from
	e := make([]float64, n)
	for i := range e {
		// Each value's pull on the mean: their mean is 0, their spread the mean's.
		e[i] = (v[from+i] - mean) / f.r[from+i] / (weight / float64(n))
	}
	se := doubt.NeweyWest(e, int(math.Ceil(math.Cbrt(float64(n)))))
	df := max(2, doubt.EffectiveN(n, max(0, doubt.Lag1(e)))-1)
	half := doubt.StudentT(0.5+f.o.Confidence/2, df) * se * math.Sqrt(float64(n)/math.Max(1, float64(n-1)))
	return Estimate{mean, mean - half, mean + half}
}
