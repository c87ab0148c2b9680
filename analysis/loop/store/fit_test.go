package store

import (
	"fmt"
	"math"
	"runtime"
	"strings"
	"testing"

	"yardheat/analysis/loop"
)

// run fits both models. The wall follows wholly and there is no film: the yard
// has none.
func run(t testing.TB, in Input) (*loop.Fit, *Fit) {
	t.Helper()
	o := loop.DefaultOptions()
	o.StiffWall = true
	base, err := loop.Run(in.Input, o)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := Run(in, base, o, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return base, fit
}

// The truth comes back within 5 %, and lies within the intervals (probes here
// have noise, no shared error).
func TestKnownTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(5)
	for _, probe := range []bool{false, true} {
		y.probe, y.probeOff = probe, 0.6
		base, fit := run(t, y.record())
		t.Logf("uniform %.0f; %+v; UA %.0f (%.0f to %.0f) of %.0f, supply %.0f (%.0f to %.0f) of %.0f, slab %.0f (%.0f to %.0f) of %.0f", base.UAWPerK, fit.Params,
			fit.Loop.UAWPerK, fit.Loop.LowWPerK, fit.Loop.HighWPerK, y.ua, fit.Supply.Value, fit.Supply.Low, fit.Supply.High, y.supply, fit.Slab.Value, fit.Slab.Low, fit.Slab.High, y.slabKJ)
		if !fit.Chosen || !fit.Loop.Identified || !fit.Supply.Told || !fit.Slab.Told || !fit.Steady.Told {
			t.Fatalf("chosen %v (%s), identified %v, told %v %v %v", fit.Chosen, fit.Choice.Why, fit.Loop.Identified, fit.Supply.Told, fit.Slab.Told, fit.Steady.Told)
		}
		for _, c := range []struct {
			what               string
			truth, v, low, top float64
		}{
			{"UA", y.ua, fit.Loop.UAWPerK, fit.Loop.LowWPerK, fit.Loop.HighWPerK}, {"supply", y.supply, fit.Supply.Value, fit.Supply.Low, fit.Supply.High},
			{"slab", y.slabKJ, fit.Slab.Value, fit.Slab.Low, fit.Slab.High},
		} {
			near(t, 1, c.v/c.truth, 0.05, c.what)
			if !(c.low <= c.truth && c.truth <= c.top) {
				t.Errorf("%s: %.1f to %.1f misses %.1f", c.what, c.low, c.top, c.truth)
			}
		}
		near(t, y.offset, fit.OffsetK, 0.3, "offset")
		if probe {
			near(t, y.probeOff, fit.SlabOffsetK, 0.2, "slab probe")
			if fit.SlabRows < 900 {
				t.Errorf("%d slab rows", fit.SlabRows)
			}
		}
	}
}

// No store: the uniform bed stands, and the words say why.
func TestUniformStands(t *testing.T) {
	y := defaultYard(6)
	y.slabKJ = 0
	base, fit := run(t, y.record())
	t.Logf("uniform %.0f of %.0f; %+v", base.UAWPerK, y.ua, fit.Choice)
	if fit.Chosen || !strings.Contains(fit.Choice.Why, "nothing in") {
		t.Errorf("chosen %v: %s", fit.Chosen, fit.Choice.Why)
	}
}

// A slab that recovers in ten days, a month of poor readings, the bed offset
// open: the interval is wide, and holds the truth.
func TestSlowSlab(t *testing.T) {
	y := defaultYard(7)
	y.days, y.before, y.slabKJ, y.supply, y.noise = 30, 30, 90000, 90000/3.6/250, 0.3
	_, fit := run(t, y.record())
	s := fit.Supply
	t.Logf("%+v; supply %.0f: %+v", fit.Choice, y.supply, s)
	if !fit.Chosen || !(s.Low <= y.supply && y.supply <= s.High) || s.High/s.Low < 1.2 {
		t.Errorf("supply %.0f: %+v", y.supply, s)
	}
}

// A slab that the bed refills within minutes: how large the supply is no draw
// tells, only that it is not small; nor, without draws that cool the slab, how
// much it holds. (The uniform bed is chosen there; the bounds are asked for
// nevertheless.)
func TestBounds(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(7)
	y.days, y.slabKJ, y.supply, y.noise = 30, 8000, 8000/3.6/0.15, 0.4
	in := y.record()
	o, s := loop.DefaultOptions(), DefaultOptions()
	o.StiffWall, s.GiveUp = true, 1e6
	base, err := loop.Run(in.Input, o)
	if err != nil {
		t.Fatal(err)
	}
	f := newFitter(&in, base, o, s)
	if !f.solve() {
		t.Fatal("given up")
	}
	f.deff = f.designEffect()
	tab := f.derivatives(f.q.vector(), f.all())
	fit := f.result(tab)
	before := f.q
	f.judge(fit)
	t.Logf("supply %.0f: %+v; slab %.0f: %+v; steady %+v", y.supply, fit.Supply, y.slabKJ, fit.Slab, fit.Steady)
	x := fit.Supply
	if x.Told || !math.IsNaN(x.UpperBound) || !(x.LowerBound > 100 && x.LowerBound < y.supply) || !strings.Contains(x.Why, "supply") || !strings.Contains(x.Why, "a lower bound") {
		t.Errorf("supply %.0f: %+v", y.supply, x)
	}
	if z := fit.Steady; !(z.Told || z.LowerBound < inSeries(y.ua, y.supply)) {
		t.Errorf("steady: %+v", z)
	}
	if f.q != before || f.cells != s.Cells {
		t.Error("the bounds moved the fit")
	}
	if c := f.choose(fit, tab); c.Chosen {
		t.Errorf("chosen: %+v", c)
	}
}

// Too short a record, no uniform fit, options out of bounds.
func TestNotTried(t *testing.T) {
	y := defaultYard(8)
	y.days = 12
	in := y.record()
	_, fit := run(t, in)
	if fit.Chosen || fit.Loop != nil || !strings.Contains(fit.Choice.Why, "blocks") {
		t.Errorf("%+v", fit.Choice)
	}
	fit, err := Run(in, nil, loop.DefaultOptions(), DefaultOptions())
	if err != nil || fit.Choice.Why == "" {
		t.Errorf("%v, %+v", err, fit)
	}
	s := DefaultOptions()
	s.Cells = 3
	if _, err := Run(in, nil, loop.DefaultOptions(), s); err == nil || !strings.Contains(err.Error(), "Cells") {
		t.Errorf("three cells: %v", err)
	}
	in.SlabC = []float64{1}
	if _, err := Run(in, nil, loop.DefaultOptions(), DefaultOptions()); err == nil {
		t.Error("one slab reading for all nodes")
	}
}

// The same answer on one core as on two.
func TestDeterministic(t *testing.T) {
	y := defaultYard(9)
	y.days = 30
	in := y.record()
	_, a := run(t, in)
	old := runtime.GOMAXPROCS(1)
	_, b := run(t, in)
	runtime.GOMAXPROCS(old)
	show := func(f *Fit) string { return fmt.Sprint(f.Params, f.Choice, f.Supply, f.Slab, f.Steady, f.Loop.Windows) }
	if show(a) != show(b) {
		t.Errorf("the number of cores moves the figures:\n%s\n%s", show(a), show(b))
	}
}

// Derivatives by one-sided steps against steps of both sides a quarter as long,
// at an asymmetric point.
func TestDerivatives(t *testing.T) {
	y := defaultYard(10)
	y.days, y.probe = 30, true
	in := y.record()
	o := loop.DefaultOptions()
	base, err := loop.Run(in.Input, o)
	if err != nil {
		t.Fatal(err)
	}
	f := newFitter(&in, base, o, DefaultOptions())
	f.q = Params{KPerH: 1.4, SupplyPerH: 0.9, SlabRatio: 9, OffsetK: -0.7, VolumeRatio: 1.02, Still: 0.93, LeadLoss: 0.02, SlabOffsetK: 0.4}
	v := f.q.vector()
	cols := []int{pK, pSupply, pSlab, pOffset, pRatio, pStill, pLead, pSlabOffset}
	d := f.derivatives(v, cols)
	for _, c := range cols {
		h := derivativeSteps[c] / 4
		if c == pRatio {
			h *= 4 // fronts run straight from one sample to the next: shorter steps see single kinks
		}
		up, down := v, v
		up[c] += h
		down[c] -= h
		a, b := f.residuals(up), f.residuals(down)
		var dot, both, one float64
		for k := range a.r {
			m := (a.r[k] - b.r[k]) / (2 * h)
			w := 1 / (f.sd[k] * f.sd[k])
			dot, both, one = dot+w*m*d.d[c][k], both+w*m*m, one+w*d.d[c][k]*d.d[c][k]
		}
		cos, size := dot/math.Sqrt(both*one), math.Sqrt(one/both)
		least := 0.999
		if c == pRatio {
			least = 0.95
		}
		if !(cos > least && math.Abs(size-1) < 0.03) {
			t.Errorf("%s: cosine %.5f, size %.4f", names[c], cos, size)
		}
	}
}

// A shared error by one Gauss-Newton step against the fit of the record with
// that error taken off.
func TestSharedErrors(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(11)
	in := y.record()
	_, fit := run(t, in)
	shifted := in
	shifted.OutC = append([]float64(nil), in.OutC...)
	for i := range shifted.OutC {
		shifted.OutC[i] -= 0.3
	}
	_, again := run(t, shifted)
	for _, s := range fit.Loop.Sources {
		if s.Name != loop.SourceOut {
			continue
		}
		near(t, math.Log(again.Loop.UAWPerK/fit.Loop.UAWPerK), 0.3*s.LnUA, 0.006, "ln UA")
		near(t, math.Log(again.Supply.Value/fit.Supply.Value), 0.3*fit.Supply.Ln(s), 0.01, "ln supply")
		near(t, math.Log(again.Slab.Value/fit.Slab.Value), 0.3*fit.Slab.Ln(s), 0.02, "ln slab")
		if s.LnUA == 0 {
			t.Error("the outlet's error moves nothing")
		}
	}
}

// A year by the minute.
func BenchmarkYear(b *testing.B) {
	y := defaultYard(12)
	y.days = 365
	in := y.record()
	o := loop.DefaultOptions()
	base, err := loop.Run(in.Input, o)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("evaluation", func(b *testing.B) {
		f := newFitter(&in, base, o, DefaultOptions())
		for b.Loop() {
			f.residuals(f.q.vector())
		}
		b.ReportMetric(float64(len(f.rows)), "rows")
	})
	b.Run("fit", func(b *testing.B) {
		for b.Loop() {
			if fit, err := Run(in, base, o, DefaultOptions()); err != nil || !fit.Chosen {
				b.Fatal(err)
			}
		}
	})
}
