package reading

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// Invented counters, a reading a minute; the amounts expected are worked by
// hand from the readings.

func column(v ...float64) *Column {
	c := &Column{}
	for i, x := range v {
		c.Append(int64(i)*60000, x, 0, series.Origin{Line: int32(i + 2)})
	}
	return c
}

func count(t *testing.T, q series.Quantity, c *Column) (*series.Series, CounterFindings) {
	t.Helper()
	s := &series.Series{Quantity: q}
	f := Series(s, c, Meaning{Quantity: q, Counter: true, FactorBase: 1}, DefaultFlagOptions())
	require.True(t, s.Counter)
	require.False(t, f.CounterFound)
	for i := range s.T {
		require.LessOrEqual(t, s.From[i], s.T[i])
	}
	return s, f.Counter
}

func total(s *series.Series) float64 {
	sum := 0.0
	for i, v := range s.V {
		if s.Flags.At(i) == 0 {
			sum += v
		}
	}
	return sum
}

func TestCounterDifferences(t *testing.T) {
	s, f := count(t, "loop_volume", column(1000, 1000, 1010, 1030, 1030, 1045))
	require.Equal(t, []float64{0, 10, 20, 0, 15}, s.V)
	require.Equal(t, int64(0), s.From[0])
	require.Equal(t, int64(60000), s.T[0])
	require.Equal(t, 10.0, s.ResolutionBase)
	require.Zero(t, f.Resets+f.RollOvers+f.BadReadings+f.Jumps)
}

// Across a gap the difference is one amount over the gap.
func TestCounterAcrossGap(t *testing.T) {
	c := column(1000, 1010, 1020, 1030)
	c.T[3] += 3600000
	s, _ := count(t, "loop_volume", c)
	require.Equal(t, []float64{10, 10, 10}, s.V)
	require.Equal(t, int64(120000), s.From[2])
	require.Equal(t, int64(180000+3600000), s.T[2])
}

func TestCounterFalls(t *testing.T) {
	steady := func(from float64, n int) []float64 {
		var v []float64
		for i := range n {
			v = append(v, from+10*float64(i))
		}
		return v
	}
	for name, c := range map[string]struct {
		v                            []float64
		sum                          float64
		resets, rolls, bad, jumps, n int
	}{
		// 84 000 … 84 290, then 20 … 210: 290 + 20 + 190.
		"reset": {append(steady(84000, 30), steady(20, 20)...), 290 + 20 + 190, 1, 0, 0, 0, 49},
		// A meter that was changed for one that stood at 5000: what passed across is not known.
		"reset to a used meter": {append(steady(84000, 30), steady(5000, 20)...), 290 + 190, 1, 0, 0, 0, 49},
		// 65 250 … 65 540 would pass 65 536: 65 530 → 4 is 10.
		"16 bits": {append(steady(65241, 30), steady(5, 20)...), 290 + 10 + 190, 0, 1, 0, 0, 49},
		// 99 995 → 5 is 10 on five digits.
		"five digits": {append(steady(99705, 30), steady(5, 20)...), 290 + 10 + 190, 0, 1, 0, 0, 49},
		// One reading of 0 that comes back: the total is untouched.
		"one low reading": {append(append(steady(84000, 30), 0), steady(84310, 20)...), 310 + 190, 0, 0, 1, 0, 50},
		"three low":       {append(append(steady(84000, 30), 0, 0, 7), steady(84330, 20)...), 330 + 190, 0, 0, 3, 0, 52},
		"one high":        {append(append(steady(84000, 30), 999999), steady(84310, 20)...), 310 + 190, 0, 0, 1, 0, 50},
		// A changed meter that stands higher: the step is not counted.
		"jump up": {append(steady(1000, 30), steady(500000, 20)...), 290 + 190, 0, 0, 0, 1, 49},
		// A last decimal that flickers: nothing passed twice.
		"noise": {append(steady(84000, 30), 84289, 84290, 84300, 84310), 310, 0, 0, 0, 0, 33},
	} {
		t.Run(name, func(t *testing.T) {
			s, f := count(t, "loop_volume", column(c.v...))
			require.InDelta(t, c.sum, total(s), 1e-9)
			require.Equal(t, []int{c.resets, c.rolls, c.bad, c.jumps}, []int{f.Resets, f.RollOvers, f.BadReadings, f.Jumps})
			require.Len(t, s.V, c.n)
		})
	}
}

// A counter in m³ rolls over at 9999.999 of the unit as written.
func TestCounterRollOverInWrittenUnit(t *testing.T) {
	var v []float64
	for i := range 40 {
		v = append(v, math.Mod(9999.8+0.01*float64(i), 10000)*1000)
	}
	s := &series.Series{Quantity: "loop_volume"}
	f := Series(s, column(v...), Meaning{Quantity: "loop_volume", Counter: true, FactorBase: 1000}, DefaultFlagOptions())
	require.Equal(t, 1, f.Counter.RollOvers)
	require.InDelta(t, 390, total(s), 1e-6)
}

// A counter that starts again every midnight counts from 0 each day.
func TestCounterThatResetsDaily(t *testing.T) {
	var v []float64
	want := 0.0
	for i := range 300 {
		v = append(v, float64(i%100)*10)
	}
	want = 3 * 990
	s, f := count(t, "loop_volume", column(v...))
	require.Equal(t, 2, f.Resets)
	require.InDelta(t, want, total(s), 1e-9)
}

func TestFlaggedReadingsOfACounterKeepTheirPlace(t *testing.T) {
	c := column(1000, 1010, 1010, 1020)
	c.T[2] = c.T[1]
	c.Flags.Or(1, series.Duplicate)
	s, _ := count(t, "loop_volume", c)
	require.Equal(t, 20.0, total(s))
	require.Len(t, s.V, 3)
	require.Equal(t, series.Duplicate, s.Flags.At(0))
}

func TestCounterRecognised(t *testing.T) {
	opt := DefaultFlagOptions()
	found := func(q series.Quantity, v ...float64) bool {
		s := &series.Series{Quantity: q}
		return Series(s, column(v...), Meaning{Quantity: q, FactorBase: 1}, opt).CounterFound
	}
	rising, perReading, daily, noise := []float64{}, []float64{}, []float64{}, []float64{}
	for i := range 200 {
		rising = append(rising, 1e5+float64(i/3)*10)
		perReading = append(perReading, []float64{0, 0, 12, 15, 14, 0}[i%6])
		daily = append(daily, float64(i%50)*3)
		noise = append(noise, 0.5+0.01*float64(i*7919%13))
	}
	require.True(t, found("loop_volume", rising...))
	require.True(t, found("loop_volume", daily...))
	require.False(t, found("loop_volume", perReading...))
	require.False(t, found("element_energy", noise...))
	require.False(t, found("loop_volume", make([]float64, 100)...))
	// At rest: 12345 L a minute cannot pass; 0.05 kWh a minute can.
	require.True(t, found("loop_volume", 12345, 12345, 12345, 12345))
	require.False(t, found("element_energy", 0.05, 0.05, 0.05, 0.05))
	// Few readings that only rise: a counter if they stand far above their steps.
	require.True(t, found("loop_volume", 500, 510, 525, 540))
	require.False(t, found("loop_volume", 1, 5, 9, 14))
}

// A column stated to be a counter that falls as often as it rises.
func TestCounterThatIsNone(t *testing.T) {
	var v []float64
	for i := range 100 {
		v = append(v, []float64{0, 30, 60, 20}[i%4])
	}
	_, f := count(t, "loop_volume", column(v...))
	require.Greater(t, f.FallShare, 0.5)
}

// The stamp of a row that names its interval's start: the counter is read at
// the end.
func TestCounterStampStart(t *testing.T) {
	s := &series.Series{Quantity: "loop_volume"}
	c := column(100, 110, 120)
	Series(s, c, Meaning{Quantity: "loop_volume", Counter: true, Stamp: "start", FactorBase: 1}, DefaultFlagOptions())
	require.Equal(t, []int64{60000, 120000}, s.From)
	require.Equal(t, []int64{120000, 180000}, s.T)
}

func TestAmountsPerReading(t *testing.T) {
	s := &series.Series{Quantity: "loop_volume"}
	c := column(0, 5, 3, 0, 7)
	c.T[4] += 600000
	f := Series(s, c, Meaning{Quantity: "loop_volume", FactorBase: 1}, DefaultFlagOptions())
	require.False(t, s.Counter)
	require.True(t, f.StampAssumed)
	require.Equal(t, []float64{0, 5, 3, 0, 7}, s.V)
	require.Equal(t, []int64{-60000, 0, 60000, 120000, 780000}, s.From, "never over a gap")
}

// A rate written only when it changes holds until the next row.
func TestRatesAtIrregularTimes(t *testing.T) {
	s := &series.Series{Quantity: "element_power"}
	c := &Column{}
	for _, r := range [][2]float64{{0, 3}, {600, 0}, {8000, 3}, {8700, 0}, {30000, 3}} {
		c.Append(int64(r[0])*1000, r[1], 0, series.Origin{})
	}
	f := Series(s, c, Meaning{Quantity: "element_power"}, DefaultFlagOptions())
	require.True(t, f.HeldUntilNext)
	require.Equal(t, series.Mean, s.Kind)
	require.Equal(t, []int64{0, 600000, 8000000, 8700000, 30000000}, s.From)
	require.Equal(t, int64(600000), s.T[0])
	require.Equal(t, int64(30000000), s.T[3])
}

func BenchmarkDifference(b *testing.B) {
	const n = 100000
	v := make([]float64, n)
	for i := range v {
		v[i] = 1e6 + 10*float64(i/3)
	}
	c := column(v...)
	s := &series.Series{Quantity: "loop_volume"}
	difference(s, c, rateCap("loop_volume", DefaultFlagOptions()), 1, DefaultFlagOptions())
	if got := total(s); math.Abs(got-10*float64((n-1)/3)) > 1e-6 {
		b.Fatal(got)
	}
	for b.Loop() {
		difference(s, c, rateCap("loop_volume", DefaultFlagOptions()), 1, DefaultFlagOptions())
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
