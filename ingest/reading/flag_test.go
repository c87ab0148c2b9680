package reading

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// Invented readings. Each case is a bad reading that must be flagged or, its
// near miss, an honest one that must not.

func same(v float64) float64 { return v }

// instant makes a series of temperatures and the like, a reading every stepS.
func instant(q series.Quantity, stepS int64, v ...float64) *series.Series {
	s := &series.Series{Quantity: q}
	c := &Column{}
	for i, x := range v {
		c.Append(int64(i)*stepS*1000, x, 0, series.Origin{})
	}
	m := Meaning{Quantity: q, FactorBase: 1}
	if info, _ := series.Lookup(q); info.Class == series.Flow || info.Class == series.Power {
		m.Stamp = "end"
	}
	Series(s, c, m, DefaultFlagOptions())
	return s
}

func flagBoth(s *series.Series, b Beside) {
	opt := DefaultFlagOptions()
	_, quiet := Flag(s, opt.LimitsFor(s.Quantity), same, opt)
	FlagBeside(s, opt.LimitsFor(s.Quantity), quiet, b, opt)
}

func repeat(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

func join(parts ...[]float64) []float64 {
	var out []float64
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

func TestFlags(t *testing.T) {
	const se, ra, sp, rt = series.Sentinel, series.Range, series.Spike, series.Rate
	for name, c := range map[string]struct {
		q     series.Quantity
		stepS int64
		v     []float64
		want  []series.Flag
	}{
		"disconnected":             {"bed_temp", 60, []float64{40, -127, 40.1}, []series.Flag{0, se, 0}},
		"code 999.9":               {"bed_temp", 60, []float64{40, 999.9, 40.1}, []series.Flag{0, se, 0}},
		"code 3276.7":              {"tank_temp", 60, []float64{40, 3276.7, 40.1}, []series.Flag{0, se, 0}},
		"power-on value":           {"bed_temp", 60, []float64{40, 85, 40.1}, []series.Flag{0, se, 0}},
		"power-on value, twice":    {"bed_temp", 60, []float64{40, 85, 85, 40.1}, []series.Flag{0, se, se, 0}},
		"power-on value at start":  {"bed_temp", 60, []float64{85, 40, 40.1}, []series.Flag{se, 0, 0}},
		"power-on value, tank":     {"tank_temp", 60, []float64{55, 85, 54.9}, []series.Flag{0, se, 0}},
		"85 on a ramp":             {"tank_temp", 60, []float64{82, 83.5, 85, 86.4, 87}, make([]series.Flag, 5)},
		"85 held":                  {"tank_temp", 60, []float64{84, 85, 85, 85, 84.5}, make([]series.Flag, 5)},
		"85 in an hourly log":      {"tank_temp", 3600, []float64{78, 85, 76}, make([]series.Flag, 3)},
		"84.9 is no code":          {"wash_temp", 60, []float64{40, 84.9, 85.3, 80}, make([]series.Flag, 4)},
		"all ones":                 {"bed_temp", 60, []float64{40, -0.0625, 40.1}, []series.Flag{0, se, 0}},
		"frost is no code":         {"outdoor_temp", 60, []float64{0.1, -0.06, -0.2}, make([]series.Flag, 3)},
		"too hot for a bed":        {"bed_temp", 60, []float64{40, 120, 40}, []series.Flag{0, ra, 0}},
		"150 in hot gas":           {"gas_in_temp", 60, []float64{139, 149, 141}, make([]series.Flag, 3)},
		"code of a flow":           {"loop_flow", 60, []float64{0, 12, 6999, 12}, []series.Flag{0, 0, se, 0}},
		"code far above the rest":  {"compressor_power", 60, []float64{0, 5, 65.535, 5}, make([]series.Flag, 4)},
		"negative flow":            {"loop_flow", 60, []float64{0, 12, -5, 12}, []series.Flag{0, 0, ra, 0}},
		"state":                    {"loop_pump", 60, []float64{0, 1, 7, 0}, []series.Flag{0, 0, ra, 0}},
		"spike of a bed":           {"bed_temp", 600, []float64{40, 40.1, 46, 40.2, 40.3, 40.1}, []series.Flag{0, 0, rt, 0, 0, 0}},
		"spike of a slab":          {"slab_temp", 600, []float64{30, 30.1, 36, 30.2}, []series.Flag{0, 0, sp, 0}},
		"small spike is none":      {"slab_temp", 600, []float64{30, 30.1, 32.9, 30.2}, make([]series.Flag, 4)},
		"spike of a tank":          {"tank_temp", 60, []float64{50, 50, 56, 50, 50}, []series.Flag{0, 0, sp, 0, 0}},
		"step of a tank":           {"tank_temp", 60, []float64{50, 50, 56, 56, 56}, make([]series.Flag, 5)},
		"tank, hourly":             {"tank_temp", 3600, []float64{60, 60, 40, 60, 60}, make([]series.Flag, 5)},
		"pipe probe, no flow log":  {"loop_out_temp", 60, []float64{20, 20, 27, 20, 20}, make([]series.Flag, 5)},
		"pipe probe, far":          {"loop_out_temp", 60, []float64{20, 20, 35, 20, 20}, []series.Flag{0, 0, sp, 0, 0}},
		"bed probe pulled out":     {"bed_temp", 600, []float64{45, 45, 20, 20, 20, 45, 45}, []series.Flag{0, 0, rt, rt, rt, 0, 0}},
		"bed warms":                {"bed_temp", 3600, []float64{45, 47, 49, 51}, make([]series.Flag, 4)},
		"first reading is the bad": {"bed_temp", 600, []float64{10, 45, 45, 45}, []series.Flag{rt, 0, 0, 0}},
		"setpoint":                 {"tank_setpoint", 60, []float64{60, 60, 85, 60}, make([]series.Flag, 4)},
	} {
		t.Run(name, func(t *testing.T) {
			s := instant(c.q, c.stepS, c.v...)
			flagBoth(s, Beside{})
			require.Equal(t, c.want, s.Flags.List())
			require.Equal(t, len(c.v), len(s.V), "flagged, never erased")
		})
	}
}

// A new level of the bed is taken once enough hours have passed: 15 K beyond
// the step of 3 K at 3 K/h is 4 h.
func TestRateTakesANewLevel(t *testing.T) {
	s := instant("bed_temp", 3600, join(repeat(45, 5), repeat(30, 8))...)
	flagBoth(s, Beside{})
	require.Equal(t, []series.Flag{0, 0, 0, 0, 0, series.Rate, series.Rate, series.Rate, 0, 0, 0, 0, 0}, s.Flags.List())
	// Around an event of the bed nothing is judged.
	s = instant("bed_temp", 3600, join(repeat(45, 5), repeat(30, 8))...)
	flagBoth(s, Beside{Quiet: func(int64) bool { return true }})
	require.Equal(t, make([]series.Flag, 13), s.Flags.List())
}

// A pipe probe is judged where the flow beside it does not change.
func TestSpikesOfPipeProbes(t *testing.T) {
	probe := func() *series.Series { return instant("loop_out_temp", 60, 20, 20, 20, 28, 20, 20, 20) }
	for name, c := range map[string]struct {
		flow []float64
		want series.Flag
	}{
		"still water":     {[]float64{0, 0, 0, 0, 0, 0, 0}, series.Spike},
		"steady flow":     {[]float64{15, 15, 15, 15, 15, 15, 15}, series.Spike},
		"flow starts":     {[]float64{0, 0, 0, 15, 15, 15, 15}, 0},
		"flow for a turn": {[]float64{0, 0, 0, 15, 0, 0, 0}, 0},
		"flow halves":     {[]float64{15, 15, 15, 6, 6, 6, 6}, 0},
	} {
		s := probe()
		flagBoth(s, Beside{Flow: []*series.Series{instant("loop_flow", 60, c.flow...)}})
		require.Equal(t, c.want, s.Flags.At(3), name)
	}
}

func TestStuck(t *testing.T) {
	wave := func(n int) []float64 {
		var v []float64
		for i := range n {
			v = append(v, 40+2*math.Sin(float64(i)/20))
		}
		return v
	}
	stuckShare := func(s *series.Series) int {
		n := 0
		for _, f := range s.Flags.List() {
			if f == series.Stuck {
				n++
			}
		}
		return n
	}
	fine := []float64{40, 40.1}
	for name, c := range map[string]struct {
		q      series.Quantity
		v      []float64 // hourly
		beside Beside
		want   int
	}{
		"bed, 100 h":                   {"bed_temp", join(fine, repeat(40.1, 100), fine), Beside{}, 100},
		"bed, 60 h":                    {"bed_temp", join(fine, repeat(40.1, 60), fine), Beside{}, 0},
		"coarse bed, 100 h":            {"bed_temp", join([]float64{40, 41}, repeat(41, 100), []float64{40}), Beside{}, 0},
		"bed among flat beds":          {"bed_temp", join(fine, repeat(40.1, 100), fine), Beside{Like: []*series.Series{instant("bed_temp", 3600, repeat(38, 104)...)}}, 0},
		"bed among beds that move":     {"bed_temp", join(fine, repeat(40.1, 100), fine), Beside{Like: []*series.Series{instant("bed_temp", 3600, wave(104)...)}}, 100},
		"loop outlet while water runs": {"loop_out_temp", join(fine, repeat(40.1, 30), fine), Beside{Flow: []*series.Series{instant("loop_flow", 3600, repeat(10, 34)...)}}, 30},
		"loop outlet at rest":          {"loop_out_temp", join(fine, repeat(40.1, 30), fine), Beside{Flow: []*series.Series{instant("loop_flow", 3600, repeat(0, 34)...)}}, 0},
		"loop outlet, nothing beside":  {"loop_out_temp", join(fine, repeat(40.1, 30), fine), Beside{}, 0},
		"the same for three weeks":     {"loop_out_temp", join(fine, repeat(40.1, 500), fine), Beside{}, 500},
		"tank, flat, nothing moves":    {"tank_temp", join(fine, repeat(40.1, 500), fine), Beside{}, 0},
		"tank, flat, its other moves":  {"tank_temp", join(fine, repeat(40.1, 30), fine), Beside{Like: []*series.Series{instant("tank_temp", 3600, wave(34)...)}}, 30},
		"setpoint":                     {"tank_setpoint", repeat(60, 500), Beside{}, 0},
		"milk":                         {"milk_out_temp", repeat(4, 500), Beside{}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			s := instant(c.q, 3600, c.v...)
			flagBoth(s, c.beside)
			require.Equal(t, c.want, stuckShare(s))
		})
	}
	for _, q := range []series.Quantity{"loop_flow", "element_power", "loop_pump"} {
		s := instant(q, 3600, make([]float64, 500)...)
		flagBoth(s, Beside{})
		require.Zero(t, stuckShare(s), q)
	}
}

// Noise about zero is read as zero; a real negative is flagged.
func TestZeroNoise(t *testing.T) {
	s := instant("solar_power", 60, join(repeat(5, 50), []float64{-0.02, -0.02, -3})...)
	opt := DefaultFlagOptions()
	noise, _ := Flag(s, opt.LimitsFor(s.Quantity), same, opt)
	require.Equal(t, 2, noise)
	require.Equal(t, 0.0, s.V[50])
	require.Equal(t, series.Flag(0), s.Flags.At(50))
	require.Equal(t, series.Range, s.Flags.At(52))
}

// Amounts faster than any meter are out of range.
func TestAmountOutOfRange(t *testing.T) {
	s := &series.Series{Quantity: "loop_volume"}
	Series(s, column(0, 5, 65535, 0, 4, 3, 0, 0, 2), Meaning{Quantity: "loop_volume", FactorBase: 1}, DefaultFlagOptions())
	require.False(t, s.Counter)
	flagBoth(s, Beside{})
	require.Equal(t, series.Range, s.Flags.At(2))
	require.Equal(t, series.Flag(0), s.Flags.At(1))
}

func TestLimits(t *testing.T) {
	opt := DefaultFlagOptions()
	nan := math.NaN()
	l := opt.LimitsFor("bed_temp")
	require.Equal(t, []float64{-10, 90, 3, 3, 72}, []float64{l.Low, l.High, l.SpikeK, l.RateKPerH, l.StuckH})
	l = l.With(nan, 70, nan, nan, 100)
	require.Equal(t, []float64{-10, 70, 3, 3, 100}, []float64{l.Low, l.High, l.SpikeK, l.RateKPerH, l.StuckH})
	require.False(t, l.SpikeStated)
	require.True(t, l.With(nan, nan, 8, nan, nan).SpikeStated)
	require.True(t, math.IsNaN(opt.LimitsFor("loop_flow").SpikeK))
	require.NoError(t, opt.Validate())
	opt.GapIntervals = 0.5
	require.ErrorContains(t, opt.Validate(), "gap_intervals")
	opt.GapIntervals = nan
	require.Error(t, opt.Validate())
}

func BenchmarkFlags(b *testing.B) {
	const n = 100000
	v := make([]float64, n)
	for i := range v {
		v[i] = math.Round(400+20*math.Sin(float64(i)/500)) / 10
	}
	v[777] = -127
	s := instant("tank_temp", 60, v...)
	flagBoth(s, Beside{})
	if s.Flags.At(777) != series.Sentinel || s.Kept() != n-1 {
		b.Fatal(s.Kept())
	}
	for b.Loop() {
		s.Flags = series.NewFlags(n)
		flagBoth(s, Beside{})
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

// Two and three readings in a row that lie off are a spike together; four are
// a level, and so is anything that lasts. The figures are invented.
func TestSpikesOfSeveralReadings(t *testing.T) {
	level := func(n int, v float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = v + 0.1*float64(i%3)
		}
		return out
	}
	for name, c := range map[string]struct {
		q     series.Quantity
		every int64
		mid   []float64
		want  int
	}{
		"bed, two":                     {"bed_temp", 600, []float64{60, 61}, 2},
		"bed, three downwards":         {"bed_temp", 600, []float64{20, 20.5, 21}, 3},
		"bed, four":                    {"bed_temp", 600, []float64{60, 61, 60, 61}, 0},
		"tank, two in two minutes":     {"tank_temp", 60, []float64{60, 61}, 2},
		"tank, two in twenty minutes":  {"tank_temp", 1200, []float64{60, 61}, 0},
		"tank, three over ten minutes": {"tank_temp", 590, []float64{60, 61, 60}, 0},
	} {
		v := append(append(level(12, 45), c.mid...), level(12, 45)...)
		s := instant(c.q, c.every, v...)
		opt := DefaultFlagOptions()
		FlagBeside(s, Limits{Low: -10, High: 95, SpikeK: opt.LimitsFor(c.q).SpikeK, RateKPerH: math.NaN(), StuckH: math.NaN()}, nil, Beside{}, opt)
		got := 0
		for i, f := range s.Flags.List() {
			if f != 0 {
				require.True(t, i >= 12 && i < 12+len(c.mid), name)
				require.Equal(t, series.Spike, f, name)
				got++
			}
		}
		require.Equal(t, c.want, got, name)
	}
}

// Among readings that scatter as far, a pair that lies off is no outlier.
func TestSpikesAmongScatterStay(t *testing.T) {
	v := []float64{45, 51, 39, 52, 44, 38, 51, 45, 45.5, 51.4, 51.6, 45.2, 38.5, 51, 45, 39, 50, 45}
	s := instant("bed_temp", 600, v...)
	opt := DefaultFlagOptions()
	require.False(t, outlies(s, []int{9, 10}, opt))
	require.True(t, outlies(instant("bed_temp", 600, 45, 45.1, 45, 45.2, 45, 45.1, 51, 51, 45, 45.1, 45, 45.1), []int{6, 7}, opt))
}
