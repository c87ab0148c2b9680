package loop

import (
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func mustRun(t testing.TB, in Input, o Options) *Fit {
	t.Helper()
	fit, err := Run(in, o)
	if err != nil {
		t.Fatal(err)
	}
	return fit
}

// farms vary what a farm may have; the truth is the yard's own UA.
func farms() map[string]yard {
	base := defaultYard(3)
	change := func(f func(*yard)) yard { y := base; f(&y); return y }
	return map[string]yard{
		"one long draw in five days": base,
		"no lead, quick probe":       change(func(y *yard) { y.leadL, y.lagS = 0, 1 }),
		"film as in flow":            change(func(y *yard) { y.still = y.filmFlow }),
		"dry litter":                 change(func(y *yard) { y.uaBed = 90 }),
		"wet litter":                 change(func(y *yard) { y.uaBed = 500 }),
		"always a loop and a half":   change(func(y *yard) { y.perDraw, y.longEvery = 600, 0 }),
		"slow draws":                 change(func(y *yard) { y.drawLMin = 4 }),
		"ten times the noise":        change(func(y *yard) { y.noise = 0.5 }),
	}
}

// Where probes have no shared error the value itself must be near the truth:
// 2 % (the pipe's wall share is known here, so only the method errs).
func TestKnownTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("many simulated loops")
	}
	for name, y := range farms() {
		fit := mustRun(t, y.record(), DefaultOptions())
		rel := fit.UAWPerK/y.uaWPerK() - 1
		t.Logf("%-27s true %.1f, fit %.1f (%.1f to %.1f), off %+.2f %%, r %.4f, s %.3f (true %.3f), b %.2f, front %.1f L, lag %.0f s, rmse %.3f K", name,
			y.uaWPerK(), fit.UAWPerK, fit.LowWPerK, fit.HighWPerK, 100*rel, fit.VolumeRatio, fit.Still, (1/(1/y.still+1/y.uaBed))/y.uaWPerK(), fit.OffsetK, fit.FrontL, fit.LagS, fit.RMSEK)
		if !(math.Abs(rel) < 0.02) {
			t.Errorf("%s: UA %.2f, true %.2f", name, fit.UAWPerK, y.uaWPerK())
		}
		if !(fit.LowWPerK <= y.uaWPerK() && y.uaWPerK() <= fit.HighWPerK) {
			t.Errorf("%s: %.1f to %.1f misses %.1f", name, fit.LowWPerK, fit.HighWPerK, y.uaWPerK())
		}
		near(t, y.offset, fit.OffsetK, 0.2, name, "offset")
		near(t, 1, fit.VolumeRatio, 0.015, name, "ratio")
		if fit.RatioFinding {
			t.Errorf("%s: the meter is accused, r = %.3f", name, fit.VolumeRatio)
		}
	}
}

// Soaked water only: a lower bound that holds, and words that say what to do.
func TestSoakedOnly(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(8)
	y.uaBed, y.perDraw, y.longEvery, y.noise = 600, 250, 0, 0.15
	fit := mustRun(t, y.record(), DefaultOptions())
	t.Logf("true %.0f; fit %.0f (%.0f to %.0f), lower bound %.0f; %s", y.uaWPerK(), fit.UAWPerK, fit.LowWPerK, fit.HighWPerK, fit.LowerBoundWPerK, fit.Why)
	if fit.Identified {
		t.Error("identified")
	}
	if !(fit.LowerBoundWPerK > 0 && fit.LowerBoundWPerK <= y.uaWPerK()) {
		t.Errorf("lower bound %.1f of %.1f", fit.LowerBoundWPerK, y.uaWPerK())
	}
	if !strings.Contains(fit.Why, "draw one and a half loops") || !strings.Contains(fit.Why, "lower bound") {
		t.Error(fit.Why)
	}
	for _, d := range fit.Draws {
		if math.IsNaN(d.Effectiveness) || math.IsNaN(d.ApproachK) || !(d.LoopVolumes > 0) {
			t.Fatalf("a draw without its own figures: %+v", d)
		}
	}
}

// Shared errors as stated, drawn afresh for every farm: the 95 % interval holds
// the truth about as often as it says. 24 farms, 20 or more with probability
// 0.97 if the coverage is 95 %; and the intervals are not simply wide.
func TestCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("many simulated loops")
	}
	rng := rand.New(rand.NewPCG(11, 12))
	o := DefaultOptions()
	hits, zz, n := 0, 0.0, 24
	for i := range n {
		y := defaultYard(uint64(100 + i))
		y.days, y.uaBed = 36, 120+200*rng.Float64()
		y.errs = Errors{InK: o.InSDK * rng.NormFloat64(), OutK: o.OutSDK * rng.NormFloat64(), BedK: o.BedSDK * rng.NormFloat64(), Flow: o.FlowSD * rng.NormFloat64()}
		y.beta = assumedBeta + assumedBetaHalfWidth/z95*rng.NormFloat64()
		y.offset = 2 * rng.NormFloat64()
		fit := mustRun(t, y.record(), o)
		if fit.LowWPerK <= y.uaWPerK() && y.uaWPerK() <= fit.HighWPerK {
			hits++
		}
		half := math.Log(fit.HighWPerK/fit.UAWPerK) / z95
		z := math.Log(fit.UAWPerK/y.uaWPerK()) / half
		zz += z * z
	}
	rms := math.Sqrt(zz / float64(n))
	t.Logf("%d of %d intervals hold the truth; rms of (ln UA - truth)/sd %.2f", hits, n, rms)
	if hits < 20 || rms < 0.5 || rms > 1.5 {
		t.Errorf("%d of %d, rms %.2f", hits, n, rms)
	}
}

// One Gauss-Newton step for a shared error against the fit of the record with
// that error taken off.
func TestSharedErrorsAgainstRefits(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(21)
	y.days = 40
	in := y.record()
	o := DefaultOptions()
	o.HoldLag = true
	fit := mustRun(t, in, o)
	shift := func(x []float64, by float64) []float64 {
		out := make([]float64, len(x))
		for i := range x {
			out[i] = x[i] - by
		}
		return out
	}
	for _, c := range []struct {
		name string
		e    Errors
		f    func(Input) Input
	}{
		{"in", Errors{InK: 0.4}, func(i Input) Input { i.InC = shift(i.InC, 0.4); return i }},
		{"out", Errors{OutK: -0.5}, func(i Input) Input { i.OutC = shift(i.OutC, -0.5); return i }},
		{"bed", Errors{BedK: 0.6}, func(i Input) Input { i.BedC = shift(i.BedC, 0.6); return i }},
		{"flow", Errors{Flow: 0.03}, func(i Input) Input {
			i.Flow0, i.Flow1 = scale(i.Flow0, 1/1.03), scale(i.Flow1, 1/1.03)
			return i
		}},
	} {
		again := mustRun(t, c.f(in), o)
		step := fit.Resample(nil, c.e)
		t.Logf("%-5s step %.4f, refit %.4f (fit %.4f)", c.name, step, again.Theta, fit.Theta)
		near(t, again.Theta[0], step[0], 0.006, c.name, "ln k")
		near(t, again.Theta[1], step[1], 0.06, c.name, "offset")
		near(t, again.Theta[2], step[2], 0.006, c.name, "ln r")
	}
	// ln UA: the two roads agree.
	e := Errors{InK: 0.3, OutK: -0.2, BedK: 0.1, Flow: 0.02, Volume: -0.03}
	near(t, fit.LnUA(e, 0), fit.LnUAOf(fit.Resample(nil, e), e), 1e-9, "ln UA")
}

func scale(x []float64, by float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = x[i] * by
	}
	return out
}

// Blocks: leaving the resampling at one each changes nothing; the spread of
// resampled steps is near the covariance of the blocks.
func TestResampledBlocks(t *testing.T) {
	y := defaultYard(31)
	y.noise = 0.8
	fit := mustRun(t, y.record(), DefaultOptions())
	ones := make([]int, len(fit.Blocks))
	for i := range ones {
		ones[i] = 1
	}
	for i, v := range fit.Resample(ones, Errors{}) {
		near(t, fit.Theta[i], v, 1e-9, fit.Free[i])
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const trials = 2000
	sum := 0.0
	for range trials {
		count := make([]int, len(fit.Blocks))
		for range count {
			count[rng.IntN(len(count))]++
		}
		d := fit.Resample(count, Errors{})[0] - fit.Theta[0]
		sum += d * d
	}
	boot := math.Sqrt(sum / trials)
	own := math.Sqrt(jackknife(fit.Blocks, fit.prior, make([]bool, len(fit.prior))).At(0, 0))
	t.Logf("ln k: bootstrap %.5f, blocks left out %.5f", boot, own)
	if !(boot/own > 0.6 && boot/own < 1.3) {
		t.Errorf("bootstrap %.5f, jackknife %.5f", boot, own)
	}
}

// The same answer on one core as on two.
func TestDeterministic(t *testing.T) {
	in := smallYard().record()
	a := mustRun(t, in, DefaultOptions())
	old := runtime.GOMAXPROCS(1)
	b := mustRun(t, in, DefaultOptions())
	runtime.GOMAXPROCS(old)
	if !reflect.DeepEqual(a.Theta, b.Theta) || !reflect.DeepEqual(a.Windows, b.Windows) || !reflect.DeepEqual(a.Profile, b.Profile) || len(a.Profile) == 0 {
		t.Error("the number of cores moves the figures")
	}
}

// A few grossly wrong readings hardly move the fit.
func TestRobustToBadReadings(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	in := defaultYard(3).record()
	good := mustRun(t, in, DefaultOptions())
	rng := rand.New(rand.NewPCG(4, 4))
	out := append([]float64(nil), in.OutC...)
	for i := range out {
		if rng.Float64() < 0.01 {
			out[i] += 25
		}
	}
	in.OutC = out
	bad := mustRun(t, in, DefaultOptions())
	if d := math.Abs(math.Log(bad.UAWPerK / good.UAWPerK)); !(d < 0.01) {
		t.Errorf("1 %% of readings 25 K off move ln UA by %.4f", d)
	}
}

// Gaps: what entered before a gap is fitted by nothing, and its litres are
// told.
func TestGap(t *testing.T) {
	y := smallYard()
	in := y.record()
	whole := mustRun(t, in, DefaultOptions())
	flow := append([]float64(nil), in.Flow0...)
	for i := 8000; i < 8300; i++ {
		flow[i] = math.NaN()
	}
	in.Flow0 = flow
	gap := mustRun(t, in, DefaultOptions())
	if !(gap.LitresLeftOut > whole.LitresLeftOut+0.8*whole.Built.ThermalL) || !(gap.Rows < whole.Rows) {
		t.Errorf("left out %.0f L and %.0f L, rows %d and %d", whole.LitresLeftOut, gap.LitresLeftOut, whole.Rows, gap.Rows)
	}
	if !(whole.LitresLeftOut > 0.8*whole.Built.ThermalL && whole.LitresLeftOut < 1.3*whole.Built.ThermalL) {
		t.Errorf("at the start %.0f L of a loop of %.0f L were left out", whole.LitresLeftOut, whole.Built.ThermalL)
	}
}

// Nothing to go by: a reason, never a panic, never a number.
func TestDegenerate(t *testing.T) {
	base := smallYard().record()
	nan := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	n := len(base.T)
	for name, f := range map[string]func(*Input){
		"no flow meter":  func(i *Input) { i.Flow0, i.Flow1 = nan(n-1), nan(n-1) },
		"no flow at all": func(i *Input) { i.Flow0, i.Flow1 = make([]float64, n-1), make([]float64, n-1) },
		"no bed":         func(i *Input) { i.BedC = nan(n) },
		"no inlet":       func(i *Input) { i.InC = nan(n) },
		"no outlet":      func(i *Input) { i.OutC = nan(n) },
		"nothing":        func(i *Input) { i.Flow0, i.Flow1, i.BedC, i.InC, i.OutC = nan(n-1), nan(n-1), nan(n), nan(n), nan(n) },
		"empty":          func(i *Input) { *i = Input{Pipe: i.Pipe} },
		"one node": func(i *Input) {
			*i = Input{T: []float64{0}, InC: []float64{1}, OutC: []float64{1}, BedC: []float64{1}, Pipe: i.Pipe}
		},
		"one draw": func(i *Input) {
			*i = Input{T: i.T[:800], Flow0: i.Flow0[:799], Flow1: i.Flow1[:799], InC: i.InC[:800], OutC: i.OutC[:800], BedC: i.BedC[:800], Pipe: i.Pipe}
		},
	} {
		in := base
		f(&in)
		fit := mustRun(t, in, DefaultOptions())
		if fit.Identified || fit.Why == "" || !math.IsNaN(fit.LowWPerK) || !math.IsNaN(fit.UAWPerK) {
			t.Errorf("%s: UA %g, low %g, why %q", name, fit.UAWPerK, fit.LowWPerK, fit.Why)
		}
		t.Logf("%-14s %s", name, fit.Why)
	}
	// Constant everything: flow day and night, all temperatures alike.
	in := base
	flat := make([]float64, n)
	for i := range flat {
		flat[i] = 20
	}
	in.InC, in.OutC, in.BedC = flat, flat, flat
	if fit := mustRun(t, in, DefaultOptions()); fit.Identified {
		t.Error("identified from constant temperatures")
	}
}

// Fewer than eight blocks: a value, no interval, and why.
func TestFewBlocks(t *testing.T) {
	fit := mustRun(t, smallYard().record(), DefaultOptions())
	if fit.Identified || !math.IsNaN(fit.LowWPerK) || math.IsNaN(fit.UAWPerK) || !strings.Contains(fit.Why, "blocks") {
		t.Errorf("blocks %d: UA %g, low %g, why %q", len(fit.Blocks), fit.UAWPerK, fit.LowWPerK, fit.Why)
	}
}

func TestMalformed(t *testing.T) {
	good := smallYard().record()
	for name, f := range map[string]func(*Input, *Options){
		"short bed":    func(i *Input, _ *Options) { i.BedC = i.BedC[1:] },
		"short flow":   func(i *Input, _ *Options) { i.Flow0 = i.Flow0[1:] },
		"time back":    func(i *Input, _ *Options) { i.T = append([]float64{9e9}, i.T[1:]...) },
		"no bore":      func(i *Input, _ *Options) { i.Pipe.BoreMM = 0 },
		"lead":         func(i *Input, _ *Options) { i.LeadL = -1 },
		"option":       func(_ *Input, o *Options) { o.StillSD = 0 },
		"option NaN":   func(_ *Input, o *Options) { o.FloorK = math.NaN() },
		"wall below 0": func(i *Input, _ *Options) { i.Pipe.WallMM = -2 },
	} {
		in, o := good, DefaultOptions()
		f(&in, &o)
		if _, err := Run(in, o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// pi r² L of 500 m of 26 mm pipe is 265.5 L (plausibility.csv); 2.9 mm of PE
// about it: ((31.8² - 26²)/26²) × 2.10/4.16 = 0.250.
func TestBuilt(t *testing.T) {
	p := Pipe{LengthM: 500, BoreMM: 26}
	near(t, 265.5, p.VolumeL(), 0.05, "volume")
	b := p.At(30)
	if !b.BetaAssumed {
		t.Error("wall not stated, yet not assumed")
	}
	near(t, 265.46*1.2, b.ThermalL, 0.05, "thermal volume")
	// rho c at 30 degC: 0.99574 kg/L × 4.1799 kJ/(kg K) (if97 grid, 0.3 MPa).
	near(t, 265.46*1.2*0.99574*4.1799, b.CapacityKJPerK, 0.5, "capacity")
	near(t, 0.08/1.959964/1.2, b.VolumeSD, 1e-9, "doubt")
	p.WallMM, p.Material = 2.9, "PE"
	b = p.At(30)
	near(t, (31.8*31.8-676)/676*2.10/4.1621, b.Beta, 1e-4, "PE")
	if b.BetaAssumed {
		t.Error("stated wall called assumed")
	}
	p.WallMJPerM3K = 1.0
	near(t, (31.8*31.8-676)/676/4.1621, p.At(30).Beta, 1e-4, "stated capacity")
}

// The jackknife of a mean is its textbook standard error: with one number y_g
// a block, V = sum (y - mean)²/(G (G - 1)) exactly.
func TestJackknifeOfMean(t *testing.T) {
	y := []float64{3, 5, 4, 9, 7, 1}
	mean, blocks := 29.0/6, []Block(nil)
	want := 0.0
	for _, v := range y {
		want += (v - mean) * (v - mean) / 30
		blocks = append(blocks, Block{JTJ: mat.NewSymDense(1, []float64{1}), JTr: []float64{mean - v}})
	}
	near(t, want, jackknife(blocks, []float64{0}, []bool{false}).At(0, 0), 1e-12, "variance")
}

func BenchmarkPass(b *testing.B) {
	y := defaultYard(3)
	y.perDraw, y.longEvery, y.days = 900, 0, 310
	in := y.record()
	o := DefaultOptions()
	f := newFitter(&in, newPath(&in, o), o)
	n := f.eval(f.q, false).n
	if n < 50000 {
		b.Fatal(n)
	}
	f.w.lean = true // as all passes of a minimisation are
	for b.Loop() {
		f.moved() // else the last pass stands
		f.eval(f.q, false)
	}
	b.ReportMetric(float64(n), "rows")
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkRun(b *testing.B) {
	in := defaultYard(3).record()
	for b.Loop() {
		if fit := mustRun(b, in, DefaultOptions()); !fit.Identified {
			b.Fatal(fit.Why)
		}
	}
}

// A year by the minute, 60,000 rows: what the whole of Run costs.
func BenchmarkRunYear(b *testing.B) {
	y := defaultYard(3)
	y.perDraw, y.longEvery, y.days = 900, 0, 310
	in := y.record()
	for b.Loop() {
		if fit := mustRun(b, in, DefaultOptions()); fit.Rows < 50000 {
			b.Fatal(fit.Why)
		}
	}
}

// The positive part keeps what is positive, drops what is negative, whatever
// the parameters' sizes.
func TestPositivePart(t *testing.T) {
	v := mat.NewSymDense(2, []float64{4e6, 0, 0, -9e-6})
	got := positive(v)
	near(t, 4e6, got.At(0, 0), 1e-6, "kept")
	near(t, 0, got.At(1, 1), 1e-18, "dropped")
	whole := mat.NewSymDense(2, []float64{2, 1, 1, 3})
	got = positive(whole)
	for i := range 2 {
		for j := range 2 {
			near(t, whole.At(i, j), got.At(i, j), 1e-12, "whole")
		}
	}
}
