package doubt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// pair is two probes with what they have in common (sd 0.3 K) and between them
// (0.1 K), a meter, and the choice of days.
func pair() []Source {
	n := func(name string, u float64, sensors ...string) Source {
		s := normal(u)
		s.Name, s.Sensors = name, sensors
		return s
	}
	common, apart := n("in common", 0.3, "a", "b"), n("a against b", 0.1, "a", "b")
	a, b := n("a", math.Hypot(0.3, 0.05)), n("b", math.Hypot(0.3, 0.05))
	a.Of, b.Of = []Load{{0, 1}, {1, 0.5}}, []Load{{0, 1}, {1, -0.5}}
	return []Source{common, apart, a, b, n("meter", 0.02), n("lag of a", 0.5, "a")}
}

// A difference of two probes that were compared: by hand, 40 (e_a − e_b) has the
// sd 4, what they have in common drops out.
func TestErrorsMadeOfOthers(t *testing.T) {
	sources := pair()
	opt := DefaultOptions()
	opt.MinTrials, opt.MaxTrials = 200_000, 200_000
	r, err := Run(sources, func(t *Trial, out []float64) {
		out[0] = 1000*(1+t.E[4]) + 40*(t.E[2]-t.E[3]) + t.E[5]
		out[1] = t.E[2]
		out[2] = t.E[3]
		out[3] = t.E[2] + t.E[3]
	}, 4, opt)
	require.NoError(t, err)
	requireNear(t, math.Sqrt(20*20+4*4+0.25), r.Outputs[0].AloneSD, 1e-9, "by hand")
	requireNear(t, r.Outputs[0].AloneSD, r.Outputs[0].SD, 0.01*r.Outputs[0].SD, "trials")
	requireNear(t, sources[2].U(), r.Outputs[1].SD, 0.005, "each probe's own")
	requireNear(t, 0.6, r.Outputs[3].SD, 0.01, "sum: twice what they have in common")
	requireNear(t, 40, r.Slope(2, 0), 1e-9, "slope of a probe")
	requireNear(t, 0, r.Slope(0, 0), 1e-9, "slope of what is in common")
	requireNear(t, 40, r.Slope(1, 0), 1e-9, "slope of the difference")
	requireNear(t, r.Outputs[0].AloneSD*r.Outputs[0].AloneSD, VarianceOf(sources, []float64{0, 0, 40, -40, 1000, 1}), 1e-9, "variance by slopes")
	rows := r.BySensor(0)
	sum := 0.0
	share := map[string]float64{}
	for _, x := range rows {
		sum += x.Share
		require.Zero(t, share[x.Sensor], "one row an instrument")
		share[x.Sensor] = x.Share
	}
	requireNear(t, 1, sum, 1e-12, "shares")
	all := 20*20 + 4*4 + 0.25
	requireNear(t, 400/all, share["meter"], 1e-9, "meter")
	requireNear(t, 8/all, share["b"], 1e-9, "half of the difference")
	requireNear(t, 8.25/all, share["a"], 1e-9, "half of the difference and the lag")
	require.Equal(t, "meter", rows[0].Sensor)
	low, high := r.Narrowed(0, 16)
	f := math.Sqrt((all - 16) / all)
	requireNear(t, f*(r.Outputs[0].High-r.Outputs[0].Low), high-low, 1e-9, "without the difference")
	under := r.Under([]float64{0, 0, 0.1, -0.1, 0, 0})
	requireNear(t, 1008, under[0], 1e-9, "with these errors left in")
}

func TestErrorsMadeOfOthersSameOnAnyNumberOfWorkers(t *testing.T) {
	var first *Result
	for _, workers := range []int{1, 3, 8} {
		opt := DefaultOptions()
		opt.Workers, opt.MinTrials = workers, 3001
		r, err := Run(pair(), func(t *Trial, out []float64) { out[0] = t.E[2] - 2*t.E[3] }, 1, opt)
		require.NoError(t, err)
		if first == nil {
			first = r
		}
		require.Equal(t, first.columns, r.columns)
		require.Equal(t, first.slopes, r.slopes)
	}
}

// GUM H.2 again, its correlations carried by Of in place of a factor in the
// model: u of R, X and Z and the correlations of the results (table H.4:
// r(R,X) = −0.588, r(R,Z) = −0.485, r(X,Z) = 0.993).
func TestResistanceAndReactanceByLoads(t *testing.T) {
	v := []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	i := []float64{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3}
	p := []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
	var mean, s [3]float64
	for k, x := range [][]float64{v, i, p} {
		m, sd := stat.MeanStdDev(x, nil)
		mean[k], s[k] = m, sd/math.Sqrt(5)
	}
	rvi, rvp, rip := stat.Correlation(v, i, nil), stat.Correlation(v, p, nil), stat.Correlation(i, p, nil)
	l22 := math.Sqrt(1 - rvi*rvi)
	l32 := (rip - rvi*rvp) / l22
	made := func(k int, of ...float64) Source {
		x := normal(s[k])
		for j, w := range of {
			x.Of = append(x.Of, Load{j, s[k] * w})
		}
		return x
	}
	sources := append(times(3, normal(1)), made(0, 1), made(1, rvi, l22), made(2, rvp, l32, math.Sqrt(1-rvp*rvp-l32*l32)))
	opt := DefaultOptions()
	opt.MinTrials, opt.MaxTrials = 200_000, 200_000
	r, err := Run(sources, func(t *Trial, out []float64) {
		volt, amp, phi := mean[0]+t.E[3], mean[1]+t.E[4], mean[2]+t.E[5]
		out[0], out[1], out[2] = volt/amp*math.Cos(phi), volt/amp*math.Sin(phi), volt/amp
		for k, pair := range [][2]int{{0, 1}, {0, 2}, {1, 2}} {
			out[3+k] = out[pair[0]] + out[pair[1]]
		}
	}, 6, opt)
	require.NoError(t, err)
	for k, u := range []float64{0.07107140739699512, 0.2955816773586382, 0.23633613008237028} {
		requireNear(t, u, r.Outputs[k].AloneSD, 2e-4*u, "u")
		requireNear(t, u, r.Outputs[k].SD, 0.01*u, "u by trials")
		slopes := make([]float64, len(sources))
		for j := range 3 {
			slopes[3+j] = r.Slope(3+j, k)
		}
		requireNear(t, u, math.Sqrt(VarianceOf(sources, slopes)), 2e-4*u, "u by slopes")
	}
	for k, want := range []float64{-0.588, -0.485, 0.993} {
		pair := [][2]int{{0, 1}, {0, 2}, {1, 2}}[k]
		a, b, sum := r.Outputs[pair[0]].AloneSD, r.Outputs[pair[1]].AloneSD, r.Outputs[3+k].AloneSD
		requireNear(t, want, (sum*sum-a*a-b*b)/(2*a*b), 6e-4, "correlation of results")
	}
}

// An error of known sign: from 0 to 10, by which y falls. The value stands, the
// interval reaches down alone.
func TestOneSided(t *testing.T) {
	opt := DefaultOptions()
	opt.MinTrials, opt.MaxTrials = 100_000, 100_000
	r, err := Run([]Source{{Name: "lead", Kind: Shared, Dist: OneSided, HalfWidth: 10, Unit: "L"}}, func(t *Trial, out []float64) { out[0] = 100 - 0.5*t.E[0] }, 1, opt)
	require.NoError(t, err)
	o := r.Outputs[0]
	requireNear(t, 100, o.Nominal, 0, "value")
	requireNear(t, 5/math.Sqrt(12), o.SD, 0.01, "rectangular")
	requireNear(t, 5/math.Sqrt(12), o.AloneSD, 1e-12, "by itself")
	requireNear(t, 100-0.975*5, o.Low, 0.03, "low")
	requireNear(t, 100-0.025*5, o.High, 0.03, "high")
	require.Equal(t, 100.0, r.Figure(0, "kWh", Metered, 1, 1, "").High, "a figure's interval holds its value")
	require.Equal(t, "0 to 10 L", r.Sources[0].Error())
}

func TestLoadsThatCannotBe(t *testing.T) {
	model := func(*Trial, []float64) {}
	own := Source{HalfWidth: 1, Of: []Load{{0, 1}}}
	_, err := Run([]Source{own}, model, 1, DefaultOptions())
	require.ErrorContains(t, err, "stands before")
	limits := Source{Dist: Rectangular, HalfWidth: 1, Of: []Load{{0, 1}}}
	_, err = Run([]Source{normal(1), limits}, model, 1, DefaultOptions())
	require.ErrorContains(t, err, "draws of its own")
}

// JCGM 101:2008, 9.4.3, comparison loss at x1 = 0 with correlated errors, r = 0.9:
// Y = λ1 χ² + λ2 χ² with λ = u²(1 ± r), so u(Y) = 2 u² √(1 + r²) exactly; the
// shortest interval there ends at 185e-6 (table 7, from memory).
func TestComparisonLossCorrelated(t *testing.T) {
	if testing.Short() {
		t.Skip("a million trials are for the long run")
	}
	const u, r = 0.005, 0.9
	made := normal(u)
	made.Of = []Load{{0, r * u}, {1, math.Sqrt(1-r*r) * u}}
	first := normal(u)
	first.Of = []Load{{0, u}}
	opt := DefaultOptions()
	opt.MinTrials, opt.MaxTrials, opt.Shortest = 1_000_000, 1_000_000, true
	res, err := Run(append(times(2, normal(1)), first, made), func(t *Trial, out []float64) { out[0] = t.E[2]*t.E[2] + t.E[3]*t.E[3] }, 1, opt)
	require.NoError(t, err)
	o := res.Outputs[0]
	sd := 2 * u * u * math.Sqrt(1+r*r)
	requireNear(t, 2*u*u, o.Mean, 4*sd/1000, "y")
	requireNear(t, sd, o.SD, 0.01*sd, "u")
	requireNear(t, 0, o.Low, 1e-6, "low")
	requireNear(t, 185e-6, o.High, 2e-6, "high")
}
