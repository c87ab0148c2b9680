package doubt

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func week(n int) []int {
	day := make([]int, n)
	for i := range day {
		day[i] = i / 2
	}
	return day
}

// linear is a model of many sources and outputs with days in it.
func linear(nSources, nOut int) ([]Source, Model) {
	sources := make([]Source, nSources)
	for i := range sources {
		sources[i] = normal(1 + 0.1*float64(i))
		if i%3 == 0 {
			sources[i] = limits(1)
		}
	}
	coef := make([]float64, nSources*nOut)
	for i := range coef {
		coef[i] = math.Sin(float64(i))
	}
	return sources, func(t *Trial, out []float64) {
		for k := range out {
			row := coef[k*nSources : (k+1)*nSources]
			s := float64(1000 * k)
			for i, e := range t.E[:nSources] {
				s += row[i] * e
			}
			out[k] = s
		}
	}
}

func TestSameOnAnyNumberOfWorkers(t *testing.T) {
	sources, model := linear(20, 7)
	blocks := NewBlocks(week(100), 0.2, 1)
	sources = append(sources, Source{Name: "days", Kind: Random, Dist: Resample, Blocks: blocks})
	with := func(t *Trial, out []float64) {
		model(t, out)
		w := t.Weights(20)
		for r, v := range w {
			out[3] += v * float64(r%7)
		}
	}
	var first *Result
	for _, workers := range []int{1, 2, 8} {
		opt := DefaultOptions()
		opt.Workers, opt.MinTrials = workers, 3001
		r, err := Run(sources, with, 7, opt)
		require.NoError(t, err)
		if first == nil {
			first = r
			continue
		}
		require.Equal(t, first.Outputs, r.Outputs, "%d workers", workers)
		require.Equal(t, first.variances, r.variances)
		require.Equal(t, first.columns, r.columns)
	}
	other := DefaultOptions()
	other.Seed = 2
	r, err := Run(sources, with, 7, other)
	require.NoError(t, err)
	require.NotEqual(t, first.Outputs[0].High, r.Outputs[0].High, "another seed, other trials")
}

// The budget of a sum: shares are c²u², known by hand.
func TestBudgetShares(t *testing.T) {
	b := NewBlocks(week(400), 0, 1)
	sources := []Source{normal(3), limits(math.Sqrt(3) * 4), {Name: "days", Kind: Random, Dist: Resample, Blocks: b}, normal(0)}
	x := make([]float64, 400)
	for i := range x {
		x[i] = math.Mod(float64(i/2)*0.618, 1) - 0.5
	}
	r, err := Run(sources, func(t *Trial, out []float64) {
		out[0] = t.E[0] + t.E[1] + t.E[3]
		out[1] = 5
		for i, w := range t.Weights(2) {
			out[1] += w * x[i]
		}
	}, 2, DefaultOptions())
	require.NoError(t, err)
	rows := r.Budget(0)
	require.Len(t, rows, 2, "sources without a share are left out")
	require.Equal(t, BudgetRow{Source: 1, Share: 16.0 / 25}, BudgetRow{rows[0].Source, math.Round(rows[0].Share*1e9) / 1e9})
	require.Len(t, r.Budget(1), 1)
	require.Equal(t, 2, r.Budget(1)[0].Source)
	requireNear(t, r.Outputs[1].SD, r.Outputs[1].AloneSD, 0.1*r.Outputs[1].SD, "days alone make all of it")
}

// Trials go on until the printed digits stand, and not further.
func TestTrialsUntilDigitsStand(t *testing.T) {
	run := func(u float64) Output {
		r, err := Run([]Source{normal(u)}, func(t *Trial, out []float64) { out[0] = 1000 + t.E[0] }, 1, DefaultOptions())
		require.NoError(t, err)
		return r.Outputs[0]
	}
	coarse, fine := run(45), run(25.02)
	require.True(t, coarse.Settled)
	require.Equal(t, 20_000, coarse.Trials, "U = 88 shows one digit, 90")
	require.True(t, fine.Settled)
	require.Greater(t, fine.Trials, 20_000, "U = 49.04 shows two")
	// Ends known by theory: ± 1.96 u, half a last digit either way.
	requireNear(t, 1000+z95*25.02, fine.High, 0.5, "high")
	requireNear(t, 1000-z95*25.02, fine.Low, 0.5, "low")
}

func TestMissingTrials(t *testing.T) {
	run := func(limit float64) Output {
		r, err := Run([]Source{limits(1)}, func(t *Trial, out []float64) {
			if out[0] = t.E[0]; t.E[0] > limit {
				out[0] = math.NaN()
			}
		}, 1, DefaultOptions())
		require.NoError(t, err)
		return r.Outputs[0]
	}
	flow := 0.0
	r, err := Run([]Source{limits(1)}, func(t *Trial, out []float64) { out[0] = t.E[0] / flow }, 1, DefaultOptions())
	require.NoError(t, err)
	require.Equal(t, 20_000, r.Outputs[0].Missing, "x/0 is no number")

	few, many, all := run(0.999), run(0.9), run(-2)
	require.Positive(t, few.Missing)
	require.False(t, math.IsNaN(few.Low))
	require.True(t, math.IsNaN(many.Low) && math.IsNaN(many.High), "one in twenty gave no number")
	require.Equal(t, 20_000, all.Missing)
	require.Equal(t, 20_000, all.Trials, "nothing to wait for")
}

func TestChance(t *testing.T) {
	r, err := Run([]Source{limits(1)}, func(t *Trial, out []float64) { out[0] = t.E[0] }, 1, DefaultOptions())
	require.NoError(t, err)
	requireNear(t, 0.25, r.Chance(0, 0.5), 0.015, "P(≥ 0.5) of a rectangular on −1 to 1")
	require.Equal(t, 1.0, r.Chance(0, -1.1))
	require.Equal(t, 0.0, r.Chance(0, 1.1))
	f := r.Figure(0, "kWh", Metered, 3, 0.5, "")
	require.Equal(t, "0.0 ± 1.0 kWh", f.Shown, "0.95 shows one digit")
}

func TestRefusals(t *testing.T) {
	model := func(*Trial, []float64) {}
	for _, s := range []Source{{HalfWidth: -1}, {HalfWidth: math.NaN()}, {HalfWidth: math.Inf(1)}, {Dist: Resample}} {
		_, err := Run([]Source{s}, model, 1, DefaultOptions())
		require.Error(t, err)
	}
	_, err := Run(nil, model, 0, DefaultOptions())
	require.Error(t, err)
	bad := DefaultOptions()
	bad.MaxTrials = 10
	_, err = Run(nil, model, 1, bad)
	require.ErrorContains(t, err, "MaxTrials")
}

// A metered heat with every kind of error at once: by hand.
func TestPart(t *testing.T) {
	p := NewPart([]float64{10, 20, 30}, []int{0, -1}, []Effect{{Source: 1, Per: []float64{1, 2, 3}}, {Source: -1, Per: []float64{9, 9, 9}}})
	e := []float64{0.1, -0.5}
	requireNear(t, 1.1*(60-0.5*6), p.Census(e), 1e-12, "census")
	requireNear(t, 1.1*(2*10+30-0.5*(2+3)), p.Weighted(e, []float64{2, 0, 1}), 1e-12, "weighted")
	requireNear(t, 1.1*(20-0.5*2), p.Row(1, e), 1e-12, "row")
	requireNear(t, 1.1*(40-0.5*4), p.Pick([]int{0, 2}).Census(e), 1e-12, "picked")
	require.Equal(t, []int{0, 1}, p.Sources())
}

func TestSourceWords(t *testing.T) {
	require.Equal(t, "0.5 K limits", Source{Dist: Rectangular, HalfWidth: 0.5, Unit: "K"}.Error())
	require.Equal(t, "5 %", Source{HalfWidth: 0.05, Relative: true, Unit: "L/min"}.Error())
	requireNear(t, 0.5/math.Sqrt(3), Source{Dist: Rectangular, HalfWidth: 0.5}.U(), 1e-15, "rectangular")
	requireNear(t, 0.5/1.959963984540054, Source{HalfWidth: 0.5}.U(), 1e-15, "normal")
}

// The size that a season has: 20,000 trials, 60 sources, 100 outputs. Goal:
// under 0.3 s.
func BenchmarkRun(b *testing.B) {
	sources, model := linear(60, 100)
	opt := DefaultOptions()
	opt.MaxTrials = opt.MinTrials
	r, err := Run(sources, model, 100, opt)
	if err != nil || !near(r.Outputs[3].SD, r.Outputs[3].AloneSD, 0.03*r.Outputs[3].SD) {
		b.Fatal("wrong answer", err)
	}
	for b.Loop() {
		if _, err := Run(sources, model, 100, opt); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(opt.MinTrials)*float64(b.N)/b.Elapsed().Seconds(), "trials/s")
}

func ExampleShow() {
	fmt.Println(Make(1243.2, 1156, 1330.4, "kWh", Metered, 412, 0.97, "").Shown)
	// Output: 1 240 ± 90 kWh
}

// A metered heat of 1000 kWh at 25 K: the flow meter is good to 5 %, each of
// the two probes to 0.5 K.
func ExampleRun() {
	sources := []Source{
		{Name: "flow meter", Kind: Shared, HalfWidth: 0.05, Relative: true},
		{Name: "inlet probe", Kind: Shared, HalfWidth: 0.5, Unit: "K"},
		{Name: "outlet probe", Kind: Shared, HalfWidth: 0.5, Unit: "K"},
	}
	perKelvin := []float64{1000.0 / 25}
	heat := NewPart([]float64{1000}, []int{0}, []Effect{{Source: 1, Per: []float64{-1000.0 / 25}}, {Source: 2, Per: perKelvin}})
	r, err := Run(sources, func(t *Trial, out []float64) { out[0] = heat.Census(t.E) }, 1, DefaultOptions())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Figure(0, "kWh", Metered, 60, 1, "").Shown)
	for _, b := range r.Budget(0) {
		fmt.Printf("%s (%s): %.0f %%\n", sources[b.Source].Name, sources[b.Source].Error(), 100*b.Share)
	}
	// Output:
	// 1 000 ± 60 kWh
	// flow meter (5 %): 76 %
	// inlet probe (0.5 K): 12 %
	// outlet probe (0.5 K): 12 %
}
