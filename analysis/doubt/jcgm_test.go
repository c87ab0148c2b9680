package doubt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

func normal(u float64) Source { return Source{Kind: Shared, HalfWidth: z95 * u} }
func limits(a float64) Source { return Source{Kind: Shared, Dist: Rectangular, HalfWidth: a} }

func times(n int, s Source) []Source {
	list := make([]Source, n)
	for i := range list {
		list[i] = s
	}
	return list
}

// fixed runs exactly n trials.
func fixed(t *testing.T, sources []Source, n int, opt Options, y func(e []float64) float64) Output {
	t.Helper()
	if testing.Short() {
		t.Skip("a million trials are for the long run")
	}
	opt.MinTrials, opt.MaxTrials = n, n
	r, err := Run(sources, func(t *Trial, out []float64) { out[0] = y(t.E) }, 1, opt)
	require.NoError(t, err)
	require.Equal(t, n, r.Outputs[0].Trials)
	return r.Outputs[0]
}

func sum(e []float64) float64 {
	s := 0.0
	for _, v := range e {
		s += v
	}
	return s
}

// JCGM 101:2008, 9.2.2 to 9.2.4: sums of four, exact half-widths in
// check-values/stats/jcgm101.json. With a million trials an end scatters by
// u √(p(1 − p)/M)/φ = 0.0027 u for the normal sum; four of those allowed.
func TestAdditiveModel(t *testing.T) {
	const n = 1_000_000
	for _, c := range []struct {
		name    string
		sources []Source
		u, half float64
		tol     float64
	}{
		{"9.2.2", times(4, normal(1)), 2, 3.919927969080108, 0.02},
		{"9.2.3", times(4, limits(math.Sqrt(3))), 2, 3.879406741347821, 0.02},
		{"9.2.4", append(times(3, limits(math.Sqrt(3))), limits(10*math.Sqrt(3))), 10.14889156509222, 17.015814101197435, 0.04},
	} {
		o := fixed(t, c.sources, n, DefaultOptions(), sum)
		requireNear(t, 0, o.Mean, 4*c.u/math.Sqrt(n), c.name+" y")
		requireNear(t, c.u, o.SD, 0.004*c.u, c.name+" u")
		requireNear(t, c.u, o.AloneSD, 1e-12*c.u, c.name+" u by parts")
		requireNear(t, c.half, o.High, c.tol, c.name+" high")
		requireNear(t, -c.half, o.Low, c.tol, c.name+" low")
	}
}

// JCGM 101 9.3, mass calibration: u within 0.0003, ends within 0.003 mg for
// 1e6 trials (check-values). The linear framework says 0.0539 and is wrong.
func TestMassCalibration(t *testing.T) {
	sources := []Source{normal(0.050), normal(0.020), limits(0.10), limits(1000), limits(50)}
	model := func(e []float64) float64 {
		ra, rw, rr := 1.2+e[2], 8000+e[3], 8000+e[4]
		return (100000+e[0]+1.234+e[1])*(1+(ra-1.2)*(1/rw-1/rr)) - 100000
	}
	opt := DefaultOptions()
	o := fixed(t, sources, 1_000_000, opt, model)
	requireNear(t, 1.234, o.Nominal, 1e-9, "nominal")
	requireNear(t, 1.2339894457740601, o.Mean, 0.0003, "y")
	requireNear(t, 0.07547862544064501, o.SD, 0.0003, "u")
	requireNear(t, 1.0844916707869925, o.Low, 0.003, "low")
	requireNear(t, 1.3835807987971565, o.High, 0.003, "high")
	requireNear(t, 0.05385164807134505, o.AloneSD, 1e-6, "u of the errors alone")
	opt.Shortest = true
	o = fixed(t, sources, 1_000_000, opt, model)
	requireNear(t, 1.0846526356282993, o.Low, 0.003, "shortest low")
	requireNear(t, 1.3837085170758656, o.High, 0.003, "shortest high")
}

// JCGM 101 9.4, comparison loss, exact by noncentral chi-square: at x1 = 0 the
// first-order law of propagation says u = 0, trials and budget must not.
func TestComparisonLoss(t *testing.T) {
	opt := DefaultOptions()
	opt.Shortest = true
	for _, c := range []struct{ x1, mean, sd, low, high float64 }{
		{0, 5e-05, 5e-05, 0, 0.00014978661367769948},
		{0.010, 0.00015, 0.0001118033988749895, 0, 0.0003660052897467759},
		{0.050, 0.00255, 0.0005024937810560445, 0.0015935696673282887, 0.003548569812478166},
	} {
		o := fixed(t, times(2, normal(0.005)), 1_000_000, opt, func(e []float64) float64 {
			x1, x2 := c.x1+e[0], e[1]
			return x1*x1 + x2*x2
		})
		requireNear(t, c.mean, o.Mean, 4*c.sd/1000, "y")
		requireNear(t, c.sd, o.SD, 0.006*c.sd, "u")
		requireNear(t, c.sd, o.AloneSD, 1e-9*c.sd, "u by three-point rule, exact for squares")
		requireNear(t, c.low, o.Low, 0.06*c.sd, "low")
		requireNear(t, c.high, o.High, 0.06*c.sd, "high")
	}
}

// JCGM 101 9.5, gauge block. Student's t, arcsine and curvilinear trapezoid
// are made from normal and rectangular errors. Tolerances for 1e6 trials as
// check-values states: 1 nm on u, 2 nm on the ends.
func TestGaugeBlock(t *testing.T) {
	var sources []Source
	student := func(nu int) int {
		sources = append(sources, times(1+nu, normal(1))...)
		return len(sources) - 1 - nu
	}
	ls, d, d1, d2 := student(18), student(24), student(5), student(8)
	th0 := len(sources)
	sources = append(sources, normal(0.2))
	sources = append(sources, times(6, limits(1))...)
	tOf := func(e []float64, at, nu int) float64 {
		chi := 0.0
		for _, v := range e[at+1 : at+1+nu] {
			chi += v * v
		}
		return e[at] / math.Sqrt(chi/float64(nu))
	}
	// JCGM 101, 6.4.3: limits a, b known to ± d.
	trapezoid := func(half, d, r1, r2 float64) float64 {
		low := -half - d + 2*d*(1+r1)/2
		return low + (-2*low)*(1+r2)/2
	}
	opt := DefaultOptions()
	opt.Shortest, opt.Confidence = true, 0.99
	o := fixed(t, sources, 1_000_000, opt, func(e []float64) float64 {
		lsNM := 50000623 + 25*tOf(e, ls, 18)
		dNM := 215 + 6*tOf(e, d, 24) + 4*tOf(e, d1, 5) + 7*tOf(e, d2, 8)
		as := 11.5e-6 + 2e-6*e[th0+1]
		th := -0.1 + e[th0] + 0.5*math.Sin(math.Pi*e[th0+2])
		da := trapezoid(1e-6, 1e-7, e[th0+3], e[th0+4])
		dth := trapezoid(0.05, 0.025, e[th0+5], e[th0+6])
		return (lsNM*(1+as*(th-dth))+dNM)/(1+(as+da)*th) - 5e7
	})
	requireNear(t, 838.006921253369, o.Mean, 0.15, "y")
	requireNear(t, 35.8158333769958, o.SD, 1, "u")
	requireNear(t, 744.4627263560891, o.Low, 2, "low")
	requireNear(t, 931.8172117888928, o.High, 2, "high")
}

// NPL Report DEM-ES-011, 9.2: ln of a rectangular; exact values in
// check-values. The density rises to the upper end, where the shortest
// interval ends.
func TestLogOfRectangular(t *testing.T) {
	opt := DefaultOptions()
	opt.Shortest = true
	o := fixed(t, []Source{limits(0.5)}, 1_000_000, opt, func(e []float64) float64 { return math.Log(0.6 + e[0]) })
	requireNear(t, -0.6649002929158381, o.Mean, 0.0025, "y")
	requireNear(t, 0.6062266974292992, o.SD, 0.0025, "u")
	requireNear(t, -1.8971199848858813, o.Low, 0.006, "low")
	requireNear(t, 0.09531017980432487, o.High, 1e-4, "high")
	requireNear(t, -0.5108256237659907, o.Nominal, 1e-12, "nominal")
}

// GUM H.1, end gauge: u_c 31.66 nm by first order (by source alone), 33.8 nm
// with the terms of second order (trials). The printed "32 nm" and "34 nm".
func TestEndGauge(t *testing.T) {
	sources := []Source{normal(25), normal(9.681941953967707), limits(1e-6), limits(0.05), limits(2e-6), normal(0.41)}
	r, err := Run(sources, func(t *Trial, out []float64) {
		ls, d, da, dth, as, th := 50000623+t.E[0], 215+t.E[1], t.E[2], t.E[3], 11.5e-6+t.E[4], -0.1+t.E[5]
		out[0] = ls + d - ls*(da*th+as*dth)
	}, 1, Options{Seed: 1, MinTrials: 1_000_000, MaxTrials: 1_000_000, Confidence: 0.95, ShareTrials: 400})
	require.NoError(t, err)
	o := r.Outputs[0]
	requireNear(t, 50000838, o.Nominal, 1e-6, "l")
	requireNear(t, 31.663879111008633, o.AloneSD, 1e-6, "u_c")
	requireNear(t, 33.80654542952218, o.SD, 0.1, "u_c with second order")
	var shares [6]float64
	for _, b := range r.Budget(0) {
		shares[b.Source] = b.Share
	}
	u2 := 31.663879111008633 * 31.663879111008633
	for i, c := range []float64{25, 9.681941953967707, 2.8867873148698995, 16.599027060501925, 0, 0} {
		requireNear(t, c*c/u2, shares[i], 1e-6, "share")
	}
	require.Equal(t, 0, r.Budget(0)[0].Source, "the largest first")
}

// GUM H.2: five sets of readings of voltage, current and phase, correlated.
// Means, their standard deviations and correlations to 1e-9, and u of R, X, Z
// from correlated errors (Cholesky factor) to the digits that u² leaves
// (curvature adds some 1e-6 of u).
func TestResistanceAndReactance(t *testing.T) {
	v := []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	i := []float64{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3}
	p := []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
	var mean, s [3]float64
	for k, x := range [][]float64{v, i, p} {
		m, sd := stat.MeanStdDev(x, nil)
		mean[k], s[k] = m, sd/math.Sqrt(5)
	}
	requireNear(t, 0.0032093613071761794, s[0], 1e-12, "s(V)")
	rvi, rvp, rip := stat.Correlation(v, i, nil), stat.Correlation(v, p, nil), stat.Correlation(i, p, nil)
	requireNear(t, -0.3553112198174771, rvi, 1e-9, "r(V,I)")
	requireNear(t, 0.857624210839962, rvp, 1e-9, "r(V,phi)")
	requireNear(t, -0.6451112176892463, rip, 1e-9, "r(I,phi)")
	l21, l22 := rvi, math.Sqrt(1-rvi*rvi)
	l31, l32 := rvp, (rip-rvi*rvp)/l22
	l33 := math.Sqrt(1 - l31*l31 - l32*l32)
	r, err := Run(times(3, normal(1)), func(t *Trial, out []float64) {
		e := t.E
		volt := mean[0] + s[0]*e[0]
		amp := mean[1] + s[1]*(l21*e[0]+l22*e[1])
		phi := mean[2] + s[2]*(l31*e[0]+l32*e[1]+l33*e[2])
		out[0], out[1], out[2] = volt/amp*math.Cos(phi), volt/amp*math.Sin(phi), volt/amp
	}, 3, DefaultOptions())
	require.NoError(t, err)
	for k, want := range []struct{ value, u float64 }{
		{127.73216992810208, 0.07107140739699512}, {219.84651191263848, 0.2955816773586382}, {254.25970194801894, 0.23633613008237028},
	} {
		o := r.Outputs[k]
		requireNear(t, want.value, o.Nominal, 1e-9*want.value, "value")
		requireNear(t, want.u, o.AloneSD, 2e-4*want.u, "u")
		requireNear(t, want.u, o.SD, 0.02*want.u, "u by trials")
	}
}
