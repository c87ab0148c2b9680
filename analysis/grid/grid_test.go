package grid

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

const minute = int64(60_000)

// t0 is a whole minute, 2026-03-01 00:00 UTC.
var t0 = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

// within: got is a number and |got − want| ≤ tol.
func within(t testing.TB, want, got, tol float64, what ...any) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%v: got %.10g, want %.10g within %g", what, got, want, tol)
	}
}

func TestWithinFailsWhereItShould(t *testing.T) {
	for _, c := range []struct{ want, got float64 }{{1, math.NaN()}, {math.NaN(), 1}, {0, 1e-3}, {1, math.Inf(1)}} {
		var probe testing.T
		within(&probe, c.want, c.got, 1e-6)
		require.True(t, probe.Failed(), "%v", c)
	}
}

func instants(q series.Quantity, everyMS int64, from int64, v ...float64) *series.Series {
	s := &series.Series{Quantity: q, Probe: "log: " + string(q), Kind: series.Instant, IntervalMS: everyMS, V: v, Flags: series.NewFlags(len(v))}
	for i := range v {
		s.T = append(s.T, from+int64(i)*everyMS)
	}
	return s
}

func amounts(q series.Quantity, everyMS int64, from int64, v ...float64) *series.Series {
	s := instants(q, everyMS, from+everyMS, v...)
	s.Kind, s.Counter = series.Amount, true
	for _, t := range s.T {
		s.From = append(s.From, t-everyMS)
	}
	return s
}

func build(t testing.TB, from, to int64, all ...*series.Series) *Grid {
	t.Helper()
	g, err := Build(&ingest.Record{Farm: &farm.Farm{}, Series: all, First: from, Last: to}, from, to, DefaultOptions())
	require.NoError(t, err)
	return g
}

func TestInterpolateReadsStraightLinesAndBridgesNothingLong(t *testing.T) {
	// Every minute 10, 12, 14; then nothing for four minutes (longer than three);
	// then 30, 32.
	s := instants("loop_out_temp", minute, t0, 10, 12, 14, 0, 0, 0, 30, 32)
	s.Flags.Or(3, series.Sentinel)
	s.Flags.Or(4, series.Sentinel)
	s.Flags.Or(5, series.Spike)
	g := build(t, t0, t0+8*minute, s)
	require.Equal(t, 60.0, g.StepS)
	c := g.Channels[0]
	require.Equal(t, 8, len(c.Values))
	within(t, 11, c.Values[0], 1e-12)
	within(t, 13, c.Values[1], 1e-12)
	for i := 2; i < 6; i++ {
		require.True(t, math.IsNaN(c.Values[i]), "cell %d is in the gap", i)
	}
	within(t, 31, c.Values[6], 1e-12)
	require.True(t, math.IsNaN(c.Values[7]), "nothing is carried beyond the last reading")
	// Edges are the readings themselves, also the last before the gap.
	for i, want := range []float64{10, 12, 14} {
		within(t, want, c.Edges[i], 1e-12, i)
	}
	require.True(t, math.IsNaN(c.Edges[3]))
	within(t, 32, c.Edges[7], 1e-12)
	// A flag falls into the cell whose right edge its stamp is.
	require.Equal(t, []series.Flag{0, 0, series.Sentinel, series.Sentinel, series.Spike, 0, 0, 0}, c.Flags)
	// One lost reading is bridged: 1 min log, 2 min apart.
	s = instants("loop_out_temp", minute, t0, 10, 99, 14)
	s.Flags.Or(1, series.Spike)
	g = build(t, t0, t0+2*minute, s)
	within(t, 11, g.Channels[0].Values[0], 1e-12)
	within(t, 13, g.Channels[0].Values[1], 1e-12)
}

func TestSpreadKeepsEveryLitre(t *testing.T) {
	// A 10-minute counter beside a 1-minute probe, stamps off the cells' edges.
	v := amounts("loop_volume", 10*minute, t0+23_000, 100, 0, 55, 7.5)
	p := instants("loop_out_temp", minute, t0, make([]float64, 60)...)
	g := build(t, t0, t0+60*minute, v, p)
	c := g.Channels[g.Find("loop_volume")[0]]
	require.Equal(t, "counter", c.From)
	require.Equal(t, "L/min", c.Unit)
	sum := 0.0
	for _, x := range c.Values {
		if x == x {
			sum += x * g.StepS / 60
		}
	}
	// The first and last cell are seen in part and take the mean of that part:
	// 37 s of the first at 10 L/min stand for a whole cell, 23 s of the last are
	// dropped with 0.75 L/min.
	within(t, 162.5+10*23.0/60-0.75*23.0/60, sum, 1e-9)
	within(t, 10, c.Values[5], 1e-12)
	// The cell that holds the change of rate: 23 s of 10 L/min, 37 s of none.
	within(t, 10*23.0/60, c.Values[10], 1e-12)
}

func TestSpreadLeavesLongAmountsOutButKeepsZeros(t *testing.T) {
	long := func(q series.Quantity, kwh float64) *series.Series {
		s := amounts(q, minute, t0, 1, 1, kwh, 1)
		for i := 2; i < 4; i++ {
			s.T[i] += 120 * minute
		}
		s.From[3] += 120 * minute
		return s
	}
	g := build(t, t0, t0+124*minute, long("loop_volume", 50), long("wash_volume", 0), long("element_energy", 12.1))
	require.True(t, math.IsNaN(g.Channels[g.Find("loop_volume")[0]].Values[60]), "litres over two hours have no time")
	within(t, 0, g.Channels[g.Find("wash_volume")[0]].Values[60], 0, "a counter that stood still is known")
	within(t, 6, g.Channels[g.Find("element_energy")[0]].Values[60], 1e-9, "12.1 kWh over 121 min")
}

func TestHoldStopsAtTwoIntervalsOrTheNextEvent(t *testing.T) {
	s := instants("loop_pump", 10*minute, t0, 1, 0, 1)
	s.Kind, s.HoldMS = series.State, 20*minute
	s.T[1] = t0 + 5*minute + 30_000
	g := build(t, t0, t0+60*minute, s)
	v := g.Channels[0].Values
	within(t, 1, v[4], 0)
	within(t, 0.5, v[5], 1e-12, "share of the cell")
	within(t, 0, v[10], 0)
	within(t, 1, v[39], 0, "the last row holds for two usual intervals")
	require.True(t, math.IsNaN(v[40]))
	s.HoldMS = 0
	v = build(t, t0, t0+60*minute, s).Channels[0].Values
	within(t, 1, v[59], 0, "an event holds until the next")
}

func TestStepIsADivisorOfTheMinute(t *testing.T) {
	for _, c := range []struct {
		every int64
		want  float64
	}{{1000, 10}, {10_000, 10}, {37_000, 30}, {59_000, 30}, {60_000, 60}, {600_000, 60}} {
		g := build(t, t0, t0+100*minute, instants("loop_out_temp", c.every, t0, make([]float64, 9)...))
		require.Equal(t, c.want, g.StepS, "log every %d ms", c.every)
	}
	opt := DefaultOptions()
	opt.MostCells = 1000
	g, err := Build(&ingest.Record{Farm: &farm.Farm{}}, t0, t0+24*60*minute, opt)
	require.NoError(t, err)
	require.Equal(t, 120.0, g.StepS)
	_, err = Build(&ingest.Record{}, t0, t0, opt)
	require.Error(t, err)
	opt.BridgeIntervals = 0.5
	_, err = Build(&ingest.Record{}, t0, t0+1, opt)
	require.ErrorContains(t, err, "BridgeIntervals")
}

func TestSamePlaceIsAveragedAndADropOutDoesNotMoveTheMean(t *testing.T) {
	a := instants("bed_temp", 10*minute, t0, 40, 40, 40, 40, 40, 40)
	b := instants("bed_temp", 10*minute, t0, 50, 50, 50, 0, 50, 50)
	a.Place, b.Place = "east", "west"
	b.Flags.Or(3, series.Sentinel)
	g := build(t, t0, t0+50*minute, a, b)
	s := g.Stream("bed_temp")
	for i, v := range s.Values {
		within(t, 45, v, 1e-9, "cell", i)
	}
	within(t, 10, s.SpreadK[0], 1e-9)
	within(t, 0.5, s.Sources[0].Weight, 0)
	require.Nil(t, g.Stream("slab_temp"))
	within(t, 50, g.StreamAt("bed_temp", "west").Values[0], 1e-9)
}

func TestFlowChoosesCounterFirstAndNamesTheDisagreement(t *testing.T) {
	n := 60
	litres, rate := make([]float64, n), make([]float64, n+1)
	for i := range litres {
		litres[i] = 10
	}
	for i := range rate {
		rate[i] = 12
	}
	g := build(t, t0, t0+int64(n)*minute, amounts("loop_volume", minute, t0, litres...), instants("loop_flow", minute, t0, rate...))
	s, problems := g.Flow(&farm.Farm{}, "loop_flow", DefaultOptions())
	require.Equal(t, "counter", s.From)
	within(t, 10, s.Values[7], 1e-12)
	require.Len(t, problems, 1)
	require.Equal(t, "ways-disagree", problems[0].Code)
	// 5 % apart is not a problem; a counter that covers a third is passed over.
	for i := range rate {
		rate[i] = 10.5
	}
	g = build(t, t0, t0+int64(n)*minute, amounts("loop_volume", minute, t0, litres[:20]...), instants("loop_flow", minute, t0, rate...))
	s, problems = g.Flow(&farm.Farm{}, "loop_flow", DefaultOptions())
	require.Equal(t, "rate", s.From)
	require.Empty(t, problems)
}

func TestFlowAddsPlacesAndStandsInByStates(t *testing.T) {
	a, b := amounts("loop_volume", minute, t0, 10, 10, 10), amounts("loop_volume", minute, t0, 5, 5, 5)
	a.Place, b.Place = "north", "south"
	b.Flags.Or(2, series.Range)
	g := build(t, t0, t0+3*minute, a, b)
	s, _ := g.Flow(&farm.Farm{}, "loop_flow", DefaultOptions())
	within(t, 15, s.Values[0], 1e-12)
	require.True(t, math.IsNaN(s.Values[2]), "one of two places is missing")
	// Over all: 30 L of 40 in the north.
	within(t, 0.75, s.Sources[0].Weight, 1e-12)

	f := &farm.Farm{Loop: &farm.Loop{FlowLMin: 14}, Pumps: &farm.Pumps{LoopKW: 0.2, PlateKW: 0.1}}
	valve, pump := instants("loop_valve", minute, t0, 1, 0, 1, 1), instants("loop_pump", minute, t0, 1, 1, 1, 1)
	valve.Kind, pump.Kind = series.State, series.State
	plate := instants("plate_pump", minute, t0, 0, 1, 1, 1)
	plate.Kind = series.State
	g = build(t, t0, t0+3*minute, valve, pump, plate)
	s, _ = g.Flow(f, "loop_flow", DefaultOptions())
	within(t, 14, s.Values[0], 1e-12, "valve and pump are one flow")
	within(t, 0, s.Values[1], 1e-12)
	require.Equal(t, "loop.flow_l_min", s.Sources[0].Key)
	s, _ = g.Flow(f, "pump_power", DefaultOptions())
	within(t, 0.2, s.Values[0], 1e-12)
	within(t, 0.3, s.Values[1], 1e-12, "two pumps add up")
	s, _ = g.Flow(f, "wash_flow", DefaultOptions())
	require.Nil(t, s)
}

func TestDaysOfClockChanges(t *testing.T) {
	rome, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	at := func(s string) int64 {
		x, err := time.ParseInLocation("2006-01-02 15:04", s, rome)
		require.NoError(t, err)
		return x.UnixMilli()
	}
	// EU clocks went forward on 29 March 2026 and go back on 25 October 2026
	// (last Sundays; Directive 2000/84/EC).
	d := Days(at("2026-03-28 12:00"), at("2026-03-30 00:00"), rome)
	require.Equal(t, []int64{at("2026-03-28 00:00"), at("2026-03-29 00:00"), at("2026-03-30 00:00")}, d)
	require.Equal(t, 23*3600*1000, int(d[2]-d[1]))
	d = Days(at("2026-10-25 00:00"), at("2026-10-25 23:00"), rome)
	require.Len(t, d, 2)
	require.Equal(t, 25*3600*1000, int(d[1]-d[0]))
	// Where the clocks skip midnight itself the day starts at one o'clock:
	// America/Santiago, 6 September 2026.
	scl, err := time.LoadLocation("America/Santiago")
	require.NoError(t, err)
	noon := time.Date(2026, 9, 6, 12, 0, 0, 0, scl).UnixMilli()
	d = Days(noon, noon+1, scl)
	require.Equal(t, 6, time.UnixMilli(d[0]).In(scl).Day())
	require.Equal(t, 23*3600*1000, int(d[1]-d[0]))
}

func TestCoverageByDay(t *testing.T) {
	v := make([]float64, 2*1440+1)
	s := instants("loop_out_temp", minute, t0, v...)
	for i := 720; i < 1440; i++ {
		s.Flags.Or(i, series.Stuck)
	}
	g := build(t, t0, t0+2*1440*minute, s)
	days := Days(t0, t0+2*1440*minute, time.UTC)
	c := g.Coverage(g.Channels[0].Values, days)
	within(t, 719.0/1440, c[0], 1e-9)
	within(t, 1, c[1], 1e-9)
	within(t, 721*60, g.GapS(g.Channels[0].Values), 1e-6)
}

func TestHalfACellMustBeSeen(t *testing.T) {
	// Stamps 35 s into the minute: 25 s of the first cell are seen, 35 s of the
	// last.
	c := build(t, t0, t0+4*minute, amounts("loop_volume", minute, t0+35_000, 10, 10, 10)).Channels[0]
	require.True(t, math.IsNaN(c.Values[0]))
	within(t, 10, c.Values[1], 1e-9)
	within(t, 10, c.Values[3], 1e-9)
}

func TestMeanTemperatureStandsForTheMiddleOfItsInterval(t *testing.T) {
	s := amounts("loop_out_temp", 2*minute, t0, 10, 20, 30)
	s.Kind = series.Mean
	g := build(t, t0, t0+6*minute, s)
	c := g.Channels[0]
	require.Equal(t, 60.0, c.HalfS)
	within(t, 10, c.Edges[1], 1e-9)
	within(t, 20, c.Edges[3], 1e-9)
	within(t, 12.5, c.Values[1], 1e-9)
}

func TestRatedPowerIsThatOfAllStatesTogether(t *testing.T) {
	a, b := instants("compressor_on", minute, t0, 1, 1, 0, 0), instants("compressor_on", minute, t0, 1, 0, 0, 0)
	a.Place, b.Place, a.Kind, b.Kind = "1", "2", series.State, series.State
	g := build(t, t0, t0+3*minute, a, b)
	s, _ := g.Flow(&farm.Farm{Plant: &farm.Plant{CompressorKW: 6}}, "compressor_power", DefaultOptions())
	within(t, 6, s.Values[0], 1e-12)
	within(t, 3, s.Values[1], 1e-12)
	require.Equal(t, "kW", s.Unit)
	on := g.Stream("compressor_on")
	within(t, 1, on.Values[1], 0, "on where any is on")
}

func TestCoarsePulsesAreSteadyFlow(t *testing.T) {
	// A meter of 10 L a pulse at 4 L/min, logged every minute: a step every two
	// or three minutes. From the second on it is steady flow; the first keeps its
	// minute, for when the water started is not known. A pulse six minutes after
	// the last one stands alone.
	v := []float64{0, 0, 10, 0, 10, 0, 0, 10, 0, 10, 0, 0, 0, 0, 0, 10, 0}
	s := amounts("loop_volume", minute, t0, v...)
	s.ResolutionBase = 10
	want := []float64{0, 0, 10, 5, 5, 10. / 3, 10. / 3, 10. / 3, 5, 5, 0, 0, 0, 0, 0, 10, 0}
	require.InDeltaSlice(t, want, build(t, t0, t0+17*minute, s).Channels[0].Values, 1e-9)
	// A lost reading between breaks the chain: when it flowed is not known.
	s.Flags.Or(6, series.Spike)
	got := build(t, t0, t0+17*minute, s).Channels[0].Values
	within(t, 0, got[5], 0)
	require.True(t, math.IsNaN(got[6]))
	within(t, 10, got[7], 1e-9)
	// Two pulses in a minute are no single step; a rate has no pulses.
	s.Flags, s.V[4] = series.NewFlags(len(s.V)), 20
	within(t, 20, build(t, t0, t0+17*minute, s).Channels[0].Values[4], 1e-9)
	s.V[4], s.Counter = 10, false
	within(t, 10, build(t, t0, t0+17*minute, s).Channels[0].Values[4], 1e-9)
}
