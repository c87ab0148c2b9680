package baseline

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/doubt"
)

// Total is what the model says of a stretch of days together.
type Total struct {
	Days int
	// Value is the sum of what is expected, weighted; Low and High its interval at
	// the model's confidence, the days' own scatter included; ModelHalf the
	// half-width without that, of what is expected.
	Value, Low, High, ModelHalf float64
	// OfDay: how much each day of the model's stretch makes of Value,
	// Value = Σ OfDay_i y_i.
	OfDay []float64
}

// Total sums the days of x, with their numbers and weights (nil: 1 each):
//
//	E = Σ w_k x_k'b,   var E = σ² (c'(X'X)^-1 X'ΩX (X'X)^-1 c + Σ_k Σ_l w_k w_l ρ^|d_k − d_l|),   c = Σ w_k x_k
//
// exact for ordinary least squares and days related as a first-order
// autoregression, at each ρ that the model allows; with ρ = 0 the aggregation of
// the single days' prediction intervals with all their covariances. That days at
// the seam of both stretches are related too is left out.
func (m *Model) Total(x [][]float64, day []int, weight []float64) Total {
	t := Total{Days: len(x)}
	c := mat.NewVecDense(len(m.Coef), nil)
	w := weight
	if w == nil {
		w = slices.Repeat([]float64{1}, len(x))
	}
	for k, row := range x {
		for j, v := range row {
			c.SetVec(j, c.AtVec(j)+w[k]*v)
		}
	}
	t.Value = m.Mean(c.RawVector().Data)
	t.ModelHalf = m.half(func(a alike) float64 { return a.sigma * math.Sqrt(mat.Inner(c, a.v, c)) })
	half := m.half(func(a alike) float64 { return a.sigma * math.Sqrt(mat.Inner(c, a.v, c)+scatter(w, day, a.rho)) })
	t.Low, t.High = t.Value-half, t.Value+half
	t.OfDay = m.ofDay(c)
	return t
}

// scatter is Σ_k Σ_l w_k w_l ρ^|d_k − d_l| for ascending days, in one pass.
func scatter(w []float64, day []int, rho float64) float64 {
	sum, carried := 0.0, 0.0 // carried = Σ_{l<k} w_l ρ^(d_k − d_l)
	for k, v := range w {
		if k > 0 {
			carried = (carried + w[k-1]) * math.Pow(rho, float64(day[k]-day[k-1]))
		}
		sum += v*v + 2*v*carried
	}
	return sum
}

// ofDay is X (X'X)^-1 c.
func (m *Model) ofDay(c *mat.VecDense) []float64 {
	var b mat.VecDense
	b.MulVec(m.inverse, c)
	out := make([]float64, m.N)
	for i, row := range m.X {
		for j, v := range row {
			out[i] += v * b.AtVec(j)
		}
	}
	return out
}

// Point is what the model says of one day, with the interval for that day's
// energy (not for its expectation),
//
//	ŷ ± t σ √(1 + x'Vx);   ρ = 0, one variable and a constant: t RMSE √(1 + 1/n + (x − x̄)²/S_xx)
//
// (the latter: Kissock, Haberl and Claridge 2003, eq. 24)
func (m *Model) Point(x []float64) (low, value, high float64) {
	v := mat.NewVecDense(len(x), slices.Clone(x))
	half := m.half(func(a alike) float64 { return a.sigma * math.Sqrt(1+mat.Inner(v, a.v, v)) })
	value = m.Mean(x)
	return value - half, value, value + half
}

// Quick is the half-width of a total of so many days by the short form of ASHRAE
// Guideline 14, to be read beside the exact one,
//
//	t 1.26 CV √((n/n')(1 + 2/n')/m) E
//
// (its factor from memory; Reddy and Claridge 2000). E is the total.
func (m *Model) Quick(days int, total float64) float64 {
	return quick(m.T, m.CVRMSE, float64(m.N), m.NEffective, float64(days)) * total
}

func quick(t, cv, n, effective, days float64) float64 {
	return t * 1.26 * cv * math.Sqrt(n/effective*(1+2/effective)/days)
}

// Bootstrap is the interval of a total by resampling the stretch's days in whole
// blocks: each resample is fitted anew, and the days' scatter is added as in Total.
// It leans on no covariance of the coefficients, and is the check of those.
type Bootstrap struct {
	Low, High float64
	// Blocks of so many days; Why, if not empty: too few for an interval.
	Blocks, Length int
	Why            string
}

// BootOptions of a bootstrap.
type BootOptions struct {
	Seed   uint64
	Trials int
}

// Bootstrap makes it; the same seed gives the same ends on any number of cores.
func (m *Model) Bootstrap(x [][]float64, day []int, opt BootOptions) (Bootstrap, error) {
	p := len(m.Coef)
	blocks := doubt.NewBlocks(m.Day, m.Rho, p)
	out := Bootstrap{Low: math.NaN(), High: math.NaN(), Blocks: blocks.Count, Length: blocks.Length, Why: blocks.Why()}
	if out.Why != "" {
		return out, nil
	}
	c := make([]float64, p)
	for _, row := range x {
		for j, v := range row {
			c[j] += v
		}
	}
	ones := slices.Repeat([]float64{1}, len(x))
	sources := []doubt.Source{{Name: "days", Kind: doubt.Random, Dist: doubt.Resample, Blocks: blocks},
		{Name: "scatter", Kind: doubt.Random, HalfWidth: m.half(func(a alike) float64 { return a.sigma * math.Sqrt(scatter(ones, day, a.rho)) })}}
	o := doubt.DefaultOptions()
	o.Seed, o.MinTrials, o.MaxTrials, o.ShareTrials = opt.Seed, opt.Trials, opt.Trials, 10
	r, err := doubt.Run(sources, func(t *doubt.Trial, out []float64) {
		out[0] = m.weighted(t.Weights(0), c) + t.E[1]
	}, 1, o)
	if err != nil {
		return out, err
	}
	out.Low, out.High = r.Outputs[0].Low, r.Outputs[0].High
	return out, nil
}

// weighted is c'b of the fit with weights; NaN where it has no solution.
func (m *Model) weighted(w, c []float64) float64 {
	p := len(c)
	a, b := mat.NewDense(p, p, nil), mat.NewVecDense(p, nil)
	for i, row := range m.X {
		for j, u := range row {
			b.SetVec(j, b.AtVec(j)+w[i]*u*m.Y[i])
			for k, v := range row {
				a.Set(j, k, a.At(j, k)+w[i]*u*v)
			}
		}
	}
	var coef mat.VecDense
	if err := coef.SolveVec(a, b); err != nil {
		return math.NaN()
	}
	return mat.Dot(&coef, mat.NewVecDense(p, slices.Clone(c)))
}
