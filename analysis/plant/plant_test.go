package plant

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"yardheat/analysis/doubt"
)

// Published and hand figures (domain notes, C1).
func TestMilkHeat(t *testing.T) {
	// 35 to 4 degC, ρ 1.03, c 3.93: 34.9 kWh per 1000 L.
	requireNear(t, 34.9, MilkHeatKWh(1000, 35, 4, 3.93, 1.03), 0.05, "1000 L")
	// Demonstration farm in Norway: 400 t from 38 to 3.5 degC at c = 3.88 make
	// 14 873 kWh, of which 12 000 were measured, 81 %.
	norway := MilkHeatKWh(400_000, 38, 3.5, 3.88, 1)
	requireNear(t, 14_873, norway, 0.5, "400 t")
	requireNear(t, 0.81, 12_000/norway, 0.005, "share")
	// After a 2:1 water cooler (22 K less) about 10 kWh of 35 are left.
	requireNear(t, 10, MilkHeatKWh(1000, 35-22, 4, 3.93, 1.03), 0.5, "left for the plant")
}

// Errors of milk volume, constants and probes: by hand, 1000 L at 31 K.
func TestMilkPart(t *testing.T) {
	p := MilkPart([]float64{1000}, []float64{35}, []float64{4}, 3.93, 1.03, MilkSources{Volume: 0, SpecificHeat: 1, Density: -1, In: 2, Out: 3})
	got := p.Census([]float64{0.02, -0.01, 0.5, -0.5})
	requireNear(t, 1000*1.03*3.93*32/3600*1.02*0.99, got, 1e-9, "heat")
}

// Sources of the simulated farm, in this order.
const (
	eFlow = iota
	ePlateIn
	ePlateOut
	eMilk
	eHeat
	eMilkIn
	eMilkOut
	eMeter
	nSources
)

func farmSources() []doubt.Source {
	relative := func(name string, u95 float64) doubt.Source {
		return doubt.Source{Name: name, Kind: doubt.Shared, HalfWidth: u95, Relative: true}
	}
	kelvin := func(name string) doubt.Source {
		return doubt.Source{Name: name, Kind: doubt.Shared, HalfWidth: 0.5, Unit: "K"}
	}
	return []doubt.Source{relative("plate meter", 0.05), kelvin("plate in"), kelvin("plate out"), relative("milk volume", 0.02),
		relative("milk constants", 0.015), kelvin("milk in"), kelvin("milk out"), relative("compressor meter", 0.02)}
}

// sim is an invented farm with known truth.
type sim struct {
	days           int
	f, gainKW, cop float64
	dailySD        float64 // of f, day by day, relative; neighbours correlate by 0.4
	iceKWh         float64 // the store holds 0 … iceKWh
	season         float64 // swing of the milk over the period
	wrong          bool    // sensors err
}

// make simulates two milkings a day. All terms are as the logs would say them.
func (s sim) make(rng *rand.Rand) Terms {
	e := make([]float64, nSources)
	if s.wrong {
		for i, src := range farmSources() {
			e[i] = src.U() * rng.NormFloat64()
		}
	}
	n := 2 * s.days
	rows := make([]Row, n)
	caught, litres, milk, power, volume := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	in, out := make([]float64, n), make([]float64, n)
	ice, ar := s.iceKWh*rng.Float64(), rng.NormFloat64()
	for i := range rows {
		if i%2 == 0 {
			ar = 0.4*ar + math.Sqrt(1-0.16)*rng.NormFloat64()
		}
		rows[i] = Row{StartMS: int64(i) * 43_200_000, EndMS: int64(i+1) * 43_200_000, Day: i / 2, Hours: 12}
		trueL := (1200 + 100*float64(1-i%2*2)) * (1 + s.season*math.Sin(6*float64(i)/float64(n))) * (1 + 0.03*rng.NormFloat64())
		milkKWh := MilkHeatKWh(trueL, 34, 4, 3.93, 1.03)
		next := s.iceKWh * rng.Float64()
		cooled := milkKWh + s.gainKW*12 + next - ice
		ice = next
		compressor := cooled / s.cop
		caughtKWh := s.f * (1 + s.dailySD*ar) * (cooled + compressor)
		litres[i], in[i], out[i] = trueL*(1+e[eMilk]), 34+e[eMilkIn], 4+e[eMilkOut]
		milk[i] = MilkHeatKWh(litres[i], in[i], out[i], 3.93*(1+e[eHeat]), 1.03)
		power[i] = compressor * (1 + e[eMeter])
		volume[i] = caughtKWh / 1.16e-3 / 30 // litres at 30 K, 1.16 Wh/(L K)
		caught[i] = (caughtKWh + 1.16e-3*volume[i]*(e[ePlateOut]-e[ePlateIn])) * (1 + e[eFlow])
		volume[i] *= 1 + e[eFlow]
	}
	up, down := make([]float64, n), make([]float64, n)
	for i, v := range volume {
		up[i], down[i] = 1.16e-3*v, -1.16e-3*v
	}
	return Terms{Rows: rows,
		Caught:     []doubt.Part{doubt.NewPart(caught, []int{eFlow}, []doubt.Effect{{Source: ePlateOut, Per: up}, {Source: ePlateIn, Per: down}})},
		Milk:       []doubt.Part{MilkPart(litres, in, out, 3.93, 1.03, MilkSources{Volume: eMilk, SpecificHeat: eHeat, Density: -1, In: eMilkIn, Out: eMilkOut})},
		Compressor: []doubt.Part{doubt.NewPart(power, []int{eMeter}, nil)},
	}
}

// recovery runs the trials as season does and gives f's figure.
func recovery(t *testing.T, terms Terms, gain Gain, storage Storage, trials int) (doubt.Figure, *doubt.Result, *Model) {
	t.Helper()
	sources, opt := farmSources(), doubt.DefaultOptions()
	carry := storage.CarryKWh(sumsOf(terms).milkKWh/float64(len(terms.Rows)), DefaultOptions())
	m := New(terms, gain, carry, len(sources))
	opt.MinTrials, opt.MaxTrials = trials, trials
	r, err := doubt.Run(append(sources, m.Sources()...), func(t *doubt.Trial, out []float64) {
		v := m.Values(t)
		out[0], out[1], out[2], out[3], out[4] = v.Recovery, v.StandingGainKW, v.COP, v.CaughtPerKWh, v.RejectedKWh
	}, 5, opt)
	require.NoError(t, err)
	return m.RecoveryFigure(r, 0, 1, false), r, m
}

// Without any error the sums give back what was put in, ice or not.
func TestKnownTruth(t *testing.T) {
	s := sim{days: 120, f: 0.55, gainKW: 0.4, cop: 2.6}
	terms := s.make(rand.New(rand.NewPCG(1, 1)))
	f, r, _ := recovery(t, terms, StatedGain(0.4, 0.1, DefaultOptions()), Storage{}, 2000)
	requireNear(t, 0.55, f.Value, 1e-9, "f")
	requireNear(t, 2.6, r.Outputs[2].Nominal, 1e-9, "cop")
	requireNear(t, 0.55*(2.6+1), r.Outputs[3].Nominal, 1e-9, "caught per compressor kWh")
	require.True(t, f.Low < 0.55 && f.High > 0.55)

	s.iceKWh = 40 // one milking's milk heat
	terms = s.make(rand.New(rand.NewPCG(1, 1)))
	f, _, _ = recovery(t, terms, StatedGain(0.4, 0.1, DefaultOptions()), Storage{Ice: true}, 2000)
	requireNear(t, 0.55, f.Value, 0.55*40/(240*35), "f with the store's change left out")
}

// With exact terms the line gives the slope f and the gain as the intercept
// over the slope, whatever the milk does (invented, without errors).
func TestLineGivesGain(t *testing.T) {
	s := sim{days: 150, f: 0.5, gainKW: 0.8, cop: 2.5, season: 0.4}
	terms := s.make(rand.New(rand.NewPCG(2, 2)))
	exact := make([]doubt.Source, nSources) // no source errs
	g := FindGain(terms, Storage{}, exact, DefaultOptions())
	require.Equal(t, GainLine, g.From, g.Why)
	requireNear(t, 0.5, g.Line.Slope, 1e-4, "slope")
	requireNear(t, 0.8, g.KW, 2e-3, "gain")
	f, r, _ := recovery(t, terms, g, Storage{}, 2000)
	requireNear(t, 0.5, f.Value, 1e-4, "f")
	require.Equal(t, "kW", g.Figure(r.Outputs[1].Low, r.Outputs[1].High, 300, 1).Unit)
	requireNear(t, 0.5*0.8*12, g.Line.InterceptFigure(1).Value, 0.02, "intercept, kWh a cycle")
}

// The gain read off the line, sensors wrong: where it is called distinct its
// interval holds the truth, and a herd whose milk hardly changes tells
// nothing.
func TestGainIsUsedOnlyWhenDistinct(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	used, held := 0, 0
	for range 100 {
		terms := sim{days: 200, f: 0.5, gainKW: 0.9, cop: 2.5, season: 0.6, dailySD: 0.02, wrong: true}.make(rng)
		g := FindGain(terms, Storage{}, farmSources(), DefaultOptions())
		if g.From == GainLine {
			used++
			if math.Abs(g.Line.GainKW-0.9) <= g.Line.GainHalfKW {
				held++
			}
		}
	}
	t.Logf("distinct in %d of 100, held in %d", used, held)
	require.Greater(t, used, 20)
	require.GreaterOrEqual(t, float64(held), 0.9*float64(used))

	// Without a gain the line must seldom claim one, ice bank or not.
	for _, ice := range []float64{0, 38} {
		false0 := 0
		for range 200 {
			terms := sim{days: 200, f: 0.5, cop: 2.5, season: 0.6, dailySD: 0.05, iceKWh: ice, wrong: true}.make(rng)
			if FindGain(terms, Storage{Ice: ice > 0}, farmSources(), DefaultOptions()).From == GainLine {
				false0++
			}
		}
		t.Logf("ice %g kWh: a gain claimed in %d of 200 plants without one", ice, false0)
		require.LessOrEqual(t, false0, 12)
	}

	flat := sim{days: 60, f: 0.5, gainKW: 0.2, cop: 2.5, dailySD: 0.05, wrong: true}.make(rng)
	g := FindGain(flat, Storage{}, farmSources(), DefaultOptions())
	require.Equal(t, GainNone, g.From)
	require.Zero(t, g.KW)
	require.Contains(t, g.Why, "0 is used")
	require.Positive(t, g.HalfWidthKW)
}

// The interval of f holds the truth about as often as it says, over invented
// plants with and without an ice bank, gain unknown or stated.
func TestRecoveryCovers(t *testing.T) {
	if testing.Short() {
		t.Skip("1,500 plants are for the long run")
	}
	const plants = 300
	for _, c := range []struct {
		name    string
		ice     bool
		stated  bool
		days    int
		dailySD float64
	}{
		{"direct, gain stated", false, true, 120, 0.05},
		{"direct, gain left to the line", false, false, 120, 0.05},
		{"ice bank, gain stated", true, true, 60, 0.05},
		{"ice bank, gain left to the line", true, false, 180, 0.05},
		{"days differ much", false, true, 60, 0.25},
	} {
		rng := rand.New(rand.NewPCG(9, uint64(c.days)))
		held, given, width := 0, 0, 0.0
		for range plants {
			s := sim{days: c.days, f: 0.3 + 0.4*rng.Float64(), cop: 2 + rng.Float64(), dailySD: c.dailySD, wrong: true, season: 0.3 * rng.Float64()}
			s.gainKW = 0.25 * rng.Float64()
			storage := Storage{Ice: c.ice}
			if c.ice {
				s.iceKWh = 38
			}
			terms := s.make(rng)
			g := StatedGain(s.gainKW, math.NaN(), DefaultOptions())
			if !c.stated {
				g = FindGain(terms, storage, farmSources(), DefaultOptions())
			}
			f, _, _ := recovery(t, terms, g, storage, 1500)
			if math.IsNaN(f.Low) { // days too much alike for eight blocks
				continue
			}
			given++
			if f.Low <= s.f && s.f <= f.High {
				held++
			}
			width += (f.High - f.Low) / 2 / f.Value
		}
		t.Logf("%s: %d of %d held, mean half-width %.1f %%", c.name, held, given, 100*width/float64(given))
		require.Greater(t, given, plants*3/4, c.name)
		require.GreaterOrEqual(t, held, given*90/100, c.name)
		require.LessOrEqual(t, held, given*99/100, c.name)
	}
}

// Where only the store is open, u(f) = f (a/√6)/ΣR: the change of the store
// between two ends is triangular with limits ± a.
func TestStoredColdInRecovery(t *testing.T) {
	terms := sim{days: 60, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	exact := make([]doubt.Source, nSources)
	m := New(terms, StatedGain(0, 0, DefaultOptions()), 40, len(exact))
	r, err := doubt.Run(append(exact, m.Sources()...), func(t *doubt.Trial, out []float64) { out[0] = m.Values(t).Recovery }, 1, doubt.DefaultOptions())
	require.NoError(t, err)
	s := sumsOf(terms)
	want := 0.5 * 40 / math.Sqrt(6) / (s.milkKWh + s.compressorKWh)
	requireNear(t, want, r.Outputs[0].SD, 0.02*want, "u(f)")
}

// u(G) = u(a/b) against the scatter of 2,000 lines through invented points.
func TestGainErrorOfLine(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	var gains []float64
	claimed := 0.0
	const lines = 2000
	for range lines {
		points := make([]Point, 40)
		for i := range points {
			x := 2 + 3*float64(i)/39
			points[i] = Point{X: x + 0.1*rng.NormFloat64(), Y: 0.5*(x+0.8) + 0.05*rng.NormFloat64(), SX: 0.1, SY: 0.05}
		}
		line, err := York(points)
		require.NoError(t, err)
		l := LineResult{Line: line, GainKW: line.Intercept / line.Slope}
		gains = append(gains, l.GainKW)
		claimed += l.ownGainSD() / lines
	}
	got := stat.StdDev(gains, nil)
	requireNear(t, got, claimed, 0.06*got, "u(G)") // a standard deviation of 2,000 scatters by 1.6 %
}

// The gain under sensors' errors is the gain of a line drawn with those errors.
func TestGainFollowsSensors(t *testing.T) {
	terms := sim{days: 150, f: 0.5, gainKW: 0.8, cop: 2.5, season: 0.4, dailySD: 0.01}.make(rand.New(rand.NewPCG(2, 2)))
	g := FindGain(terms, Storage{}, farmSources(), DefaultOptions())
	require.Equal(t, GainLine, g.From)
	e := make([]float64, nSources+1)
	e[ePlateOut], e[eMilk], e[eMeter] = 0.2, 0.03, 0.03
	points := pointsOf(terms, windowsOf(terms.Rows, doubt.MinBlockDays), 0, e)
	line, _, err := fitScatter(points)
	require.NoError(t, err)
	moved := line.Intercept/line.Slope - g.KW
	require.Greater(t, math.Abs(moved), 0.01)
	requireNear(t, moved, g.at(e, nSources)-g.KW, 0.03*math.Abs(moved), "gain")
}

// Days all alike, sensors wrong: the line's own scatter is next to nothing,
// and the interval of the gain must come from the sensors.
func TestGainCoversSensors(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	held := 0
	const plants = 200
	for range plants {
		terms := sim{days: 120, f: 0.5, gainKW: 0.6, cop: 2.5, season: 0.5, dailySD: 1e-4, wrong: true}.make(rng)
		l, err := fitLine(terms, 0, farmSources())
		require.NoError(t, err)
		if math.Abs(l.GainKW-0.6) <= l.GainHalfKW {
			held++
		}
	}
	t.Logf("held in %d of %d", held, plants)
	require.GreaterOrEqual(t, held, plants*90/100)
	require.LessOrEqual(t, held, plants*99/100)
}

// Days that differ and resemble their neighbours, sensors exact: the line's own
// interval holds the slope and the gain about as often as it says.
func TestLineCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	slope, gain := 0, 0
	const plants = 300
	for range plants {
		terms := sim{days: 180, f: 0.5, gainKW: 0.6, cop: 2.5, season: 0.5, dailySD: 0.06}.make(rng)
		l, err := fitLine(terms, 0, make([]doubt.Source, nSources))
		require.NoError(t, err)
		if math.Abs(l.Slope-0.5) <= l.SlopeHalf {
			slope++
		}
		if math.Abs(l.GainKW-0.6) <= l.GainHalfKW {
			gain++
		}
	}
	t.Logf("slope held in %d, gain in %d of %d", slope, gain, plants)
	for _, held := range []int{slope, gain} {
		require.GreaterOrEqual(t, held, plants*90/100)
		require.LessOrEqual(t, held, plants*99/100)
	}
}

func TestFewDaysGiveNoInterval(t *testing.T) {
	terms := sim{days: 20, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	f, _, m := recovery(t, terms, StatedGain(0, 0, DefaultOptions()), Storage{}, 500)
	require.NotEmpty(t, m.Blocks().Why())
	requireNear(t, 0.5, f.Value, 1e-9, "value")
	require.True(t, math.IsNaN(f.Low) && math.IsNaN(f.High))
	require.Equal(t, m.Blocks().Why(), f.Why)
}

func TestWithoutMilk(t *testing.T) {
	terms := sim{days: 60, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	terms.Milk = nil
	g := FindGain(terms, Storage{}, farmSources(), DefaultOptions())
	f, r, m := recovery(t, terms, g, Storage{}, 500)
	require.True(t, math.IsNaN(f.Value))
	require.Equal(t, WhyNoMilk, f.Why)
	requireNear(t, 0.5*3.5, r.Outputs[3].Nominal, 1e-9, "caught per compressor kWh is known")
	require.Equal(t, WhyNoMilk, m.WhyNoRecovery())

	none := New(Terms{}, Gain{From: GainNone}, 0, 0)
	require.NotEmpty(t, none.WhyNoRecovery())
	require.NotEmpty(t, none.Blocks().Why())
}

func TestPrecooledIsAtLeast(t *testing.T) {
	terms := sim{days: 60, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	_, r, m := recovery(t, terms, StatedGain(0, 0, DefaultOptions()), Storage{}, 500)
	f := m.RecoveryFigure(r, 0, 1, true)
	require.True(t, math.IsNaN(f.High))
	require.Equal(t, f.Low, f.Value)
	require.Contains(t, f.Shown, "at least")
}

// One milking's milk heat over a month of 60 milkings is 1.7 % at most
// (method), rectangular at both ends.
func TestStoredCold(t *testing.T) {
	opt := DefaultOptions()
	ice := FindStorage(Evidence{IceWaterProbe: true}, opt)
	require.Equal(t, 42.0, ice.CarryKWh(42, opt))
	start, end := carrySources(42, 1)
	require.Equal(t, 42.0, start.HalfWidth+end.HalfWidth)
	require.Equal(t, doubt.Rectangular, start.Dist)
	requireNear(t, 1.7, 100*(start.HalfWidth+end.HalfWidth)/(60*42), 0.05, "percent of a month")
	many, _ := carrySources(42, 12)
	requireNear(t, math.Sqrt(12)*start.U(), many.U(), 1e-3*many.U(), "twelve runs")

	require.Less(t, FindStorage(Evidence{LevelKnown: true, LevelChangePct: 2}, opt).CarryKWh(42, opt), 4.0)
	require.True(t, FindStorage(Evidence{LateShare: 0.4}, opt).Ice)
	require.False(t, FindStorage(Evidence{LateShare: 0.02}, opt).Ice)
	require.False(t, FindStorage(Evidence{LateShare: math.NaN()}, opt).Ice)
	require.Equal(t, 2, runs([]Row{{StartMS: 0, EndMS: 10}, {StartMS: 10, EndMS: 20}, {StartMS: 9e7, EndMS: 9.1e7}}))
}

func TestFaults(t *testing.T) {
	opt := DefaultOptions()
	terms := sim{days: 60, f: 1.3, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	f, _, _ := recovery(t, terms, StatedGain(0, 0, opt), Storage{}, 500)
	list := Faults(f, Gain{}, terms, 4, 100, opt)
	require.Len(t, list, 2)
	require.Equal(t, CodeAboveOne, list[0].Code)
	require.Equal(t, CodeAfterStop, list[1].Code)
	require.Empty(t, Faults(doubt.Figure{Low: 0.9}, Gain{}, terms, 3, 100, opt))
	require.Empty(t, Faults(doubt.Figure{Low: math.NaN()}, Gain{}, terms, math.NaN(), 100, opt))

	// Half of the milk is not in the list: the line runs far below the origin
	// or far above what can be.
	gone := LineResult{GainKW: -3, GainHalfKW: 1}
	list = Faults(doubt.Figure{}, Gain{Lines: true, Line: gone, Why: "so"}, terms, 0, 100, opt)
	require.Equal(t, CodeGainImpossible, list[0].Code)
}

func TestCovered(t *testing.T) {
	nan := math.NaN()
	require.Equal(t, []int{0, 3}, Covered([]float64{1, nan, 3, 4}, nil, []float64{1, 2, nan, 4}))
	terms := sim{days: 10, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	p := terms.Pick([]int{4, 5})
	require.Equal(t, 2, p.Rows[0].Day)
	require.Equal(t, terms.Caught[0].Value(4), p.Caught[0].Value(0))
	require.Nil(t, p.Rise)
}

func TestPlateEffectiveness(t *testing.T) {
	terms := sim{days: 30, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	n := len(terms.Rows)
	rise, drive := make([]float64, n), make([]float64, n)
	for i := range rise {
		rise[i], drive[i] = 100*30, 100*50
	}
	terms.Rise, terms.Drive = []doubt.Part{doubt.NewPart(rise, nil, nil)}, []doubt.Part{doubt.NewPart(drive, nil, nil)}
	m := New(terms, Gain{}, 0, nSources)
	opt := doubt.DefaultOptions()
	opt.MinTrials = 200
	sources := append(farmSources(), m.Sources()...)
	r, err := doubt.Run(sources, func(t *doubt.Trial, out []float64) { out[0] = m.Values(t).PlateEffectiveness }, 1, opt)
	require.NoError(t, err)
	requireNear(t, 0.6, r.Outputs[0].Nominal, 1e-12, "(50 − 20)/(70 − 20)")
}

func TestOptions(t *testing.T) {
	require.NoError(t, DefaultOptions().Validate())
	bad := DefaultOptions()
	bad.MaxCOP = math.NaN()
	require.ErrorContains(t, bad.Validate(), "MaxCOP")
}

func TestWeeks(t *testing.T) {
	terms := sim{days: 24, f: 0.5, cop: 2.5}.make(rand.New(rand.NewPCG(1, 1)))
	// The second week is missing: days 7 to 13.
	rows := append(rowsOf(0, 14), rowsOf(28, 48)...)
	terms = terms.Pick(rows)
	weeks := Weeks(terms, Gain{From: GainStated}, 0, farmSources())
	require.Len(t, weeks, 3)
	require.Equal(t, []int{14, 14, 6}, []int{weeks[0].Cycles, weeks[1].Cycles, weeks[2].Cycles})
	require.Equal(t, terms.Rows[14].StartMS, weeks[1].FromMS)
	for _, w := range weeks {
		requireNear(t, 0.5, w.Recovery.Value, 1e-9, "f")
		requireNear(t, 1.75, w.CaughtPerKWh.Value, 1e-9, "0.5 (2.5 + 1)")
		require.True(t, math.IsNaN(w.Effectiveness.Value), "no gas probe")
		require.True(t, math.IsNaN(w.FlowLMin.Value), "no litres")
	}
}

// A week's interval by linear propagation is that of trials over the same
// week, and the scatter of its days that of means of days.
func TestWeeksAgainstTrials(t *testing.T) {
	terms := sim{days: 7, f: 0.5, cop: 2.5, dailySD: 0.05}.make(rand.New(rand.NewPCG(3, 1)))
	opt := DefaultOptions()
	gain := StatedGain(0.3, 0.1, opt)
	w := Weeks(terms, gain, 30, farmSources())[0]
	m := New(terms, gain, 30, nSources)
	trials := doubt.DefaultOptions()
	trials.MinTrials, trials.MaxTrials = 20_000, 20_000
	r, err := doubt.Run(append(farmSources(), m.Sources()[:ownDays]...), func(t *doubt.Trial, out []float64) {
		gainKW, carry := m.own(t)
		caught, milk, kWh := census(terms.Caught, t.E), census(terms.Milk, t.E), census(terms.Compressor, t.E)
		out[0], out[1] = caught/(milk+kWh+gainKW*m.hours.Census(t.E)+carry), caught/kWh
	}, 2, trials)
	require.NoError(t, err)
	for i, v := range []Weekly{w.Recovery, w.CaughtPerKWh} {
		requireNear(t, r.Outputs[i].Nominal, v.Value, 1e-12, "value")
		requireNear(t, (r.Outputs[i].High-r.Outputs[i].Low)/2, v.Half, 0.03*v.Half, "half-width")
		require.Greater(t, v.Own, 0.0)
		require.Less(t, v.Own, v.Half)
	}
}

// Days that differ by 5 % of f, neighbours alike by 0.4, make weeks whose own
// interval holds the plant's f (0.5) about as often as it says.
func TestWeeksOwnHolds(t *testing.T) {
	held, all := 0, 0
	for seed := range uint64(60) {
		terms := sim{days: 12 * 7, f: 0.5, cop: 2.5, dailySD: 0.05}.make(rand.New(rand.NewPCG(seed, 77)))
		for _, w := range Weeks(terms, Gain{From: GainStated}, 0, farmSources()) {
			all++
			if math.Abs(w.Recovery.Value-0.5) <= w.Recovery.Own {
				held++
			}
		}
	}
	require.InDelta(t, 0.95, float64(held)/float64(all), 0.02)
}

func rowsOf(from, to int) []int {
	var rows []int
	for i := from; i < to; i++ {
		rows = append(rows, i)
	}
	return rows
}

// A season of 210 days: 20,000 trials of the plant's figures.
func BenchmarkTrials(b *testing.B) {
	terms := sim{days: 210, f: 0.5, cop: 2.5, dailySD: 0.05}.make(rand.New(rand.NewPCG(1, 1)))
	sources := farmSources()
	m := New(terms, StatedGain(0.2, 0.1, DefaultOptions()), 40, len(sources))
	sources = append(sources, m.Sources()...)
	opt := doubt.DefaultOptions()
	opt.MaxTrials = opt.MinTrials
	for b.Loop() {
		r, err := doubt.Run(sources, func(t *doubt.Trial, out []float64) { out[0] = m.Values(t).Recovery }, 1, opt)
		if err != nil || !(r.Outputs[0].Low < r.Outputs[0].Nominal) {
			b.Fatal("wrong answer", err)
		}
	}
}
