package season

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/loop"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// recordOf is a simulated farm (invented, seeded) as the loader reads it.
func recordOf(t testing.TB, seed uint64) *ingest.Record {
	t.Helper()
	farm, err := simfarm.Run(simfarm.Short(seed))
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, farm.Write(dir))
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	require.NoError(t, err)
	return rec
}

func compute(t testing.TB, rec *ingest.Record, change func(*Options)) *Season {
	t.Helper()
	opt := DefaultOptions()
	if change != nil {
		change(&opt)
	}
	s, err := Compute(rec, opt)
	require.NoError(t, err)
	return s
}

func find(t testing.TB, list []Named, key string) Figure {
	t.Helper()
	for _, n := range list {
		if n.Key == key {
			return n.Figure
		}
	}
	t.Fatalf("no figure %s", key)
	return Figure{}
}

// everyFigure visits all figures of a season.
func everyFigure(s *Season, visit func(Named)) {
	lists := [][]Named{s.Headline, s.Heat.Seen, s.Heat.Whole, s.Electricity, s.Saving.Figures, s.Saving.Whole, s.Loop.Figures, s.Plant.Figures, s.Bed}
	for _, m := range s.Months {
		lists = append(lists, m.Figures)
	}
	for _, list := range lists {
		for _, n := range list {
			visit(n)
		}
	}
}

func TestEveryFigureIsComplete(t *testing.T) {
	s := compute(t, recordOf(t, 6), nil)
	n := 0
	everyFigure(s, func(x Named) {
		n++
		f := x.Figure
		require.NotEmpty(t, x.Label, x.Key)
		require.NotEmpty(t, f.Shown, x.Key)
		require.NotEmpty(t, f.Basis, x.Key)
		require.True(t, f.Coverage >= 0 && f.Coverage <= 1, "%s: coverage %v", x.Key, f.Coverage)
		if math.IsNaN(f.Value) {
			require.NotEmpty(t, f.Why, x.Key)
			return
		}
		require.False(t, f.Low > f.Value || f.High < f.Value, "%s: %v not in [%v, %v]", x.Key, f.Value, f.Low, f.High)
	})
	require.Greater(t, n, 50)
	require.Len(t, s.Headline, len(headlineKeys))
}

// Months and rows are the same heat cut otherwise: they add up to the season.
func TestMonthsAndCyclesAddUp(t *testing.T) {
	s := compute(t, recordOf(t, 6), nil)
	for _, key := range []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh"} {
		list := s.Heat.Seen
		if key == "saved_kwh" {
			list = s.Saving.Figures
		}
		sum := 0.0
		for _, m := range s.Months {
			sum += find(t, m.Figures, key).Value
		}
		total := find(t, list, key).Value
		require.InDelta(t, 1, sum/total, 1e-9, key)
	}
	var loopKWh, cycles float64
	for _, c := range s.Cycles {
		if !math.IsNaN(c.LoopKWh) {
			loopKWh += c.LoopKWh
		}
	}
	for _, m := range s.Months {
		cycles += float64(m.Cycles)
	}
	require.Equal(t, float64(len(s.Cycles)), cycles)
	require.InDelta(t, 1, loopKWh/find(t, s.Heat.Seen, "loop_kwh").Value, 0.01) // but for cycles that lack coverage
	shares := map[string]float64{}
	for _, b := range s.Budget {
		shares[b.Figure] += b.Share
	}
	for figure, sum := range shares {
		require.InDelta(t, 1, sum, 0.005, figure) // tiny shares are left out
	}
}

func TestSameSeasonOnAnyNumberOfWorkers(t *testing.T) {
	rec := recordOf(t, 8)
	var got [][]float64
	for _, workers := range []int{1, 2, 5} {
		s := compute(t, rec, func(o *Options) { o.Doubt.Workers = workers })
		var v []float64
		everyFigure(s, func(x Named) {
			for _, f := range []float64{x.Figure.Value, x.Figure.Low, x.Figure.High} {
				if !math.IsNaN(f) {
					v = append(v, f)
				}
			}
		})
		got = append(got, v)
	}
	require.Equal(t, got[0], got[1])
	require.Equal(t, got[0], got[2])
}

func TestPeriod(t *testing.T) {
	rec := recordOf(t, 8)
	first := time.UnixMilli(rec.First).In(rec.Zone)
	day := func(n int) time.Time {
		return time.Date(first.Year(), first.Month(), first.Day()+n, 0, 0, 0, 0, rec.Zone)
	}
	whole := compute(t, rec, nil)
	part := compute(t, rec, func(o *Options) { o.From, o.To = day(5), day(15) })
	require.Equal(t, day(5).UnixMilli(), part.Period.Start)
	require.Equal(t, day(15).UnixMilli(), part.Period.End)
	a, b := find(t, whole.Heat.Seen, "loop_kwh").Value, find(t, part.Heat.Seen, "loop_kwh").Value
	require.Greater(t, b, 0.2*a)
	require.Less(t, b, 0.6*a)
	opt := DefaultOptions()
	opt.From = time.UnixMilli(rec.Last).AddDate(1, 0, 0)
	_, err := Compute(rec, opt)
	require.ErrorIs(t, err, ErrPeriod)
}

func TestOptionsNameWhatIsWrong(t *testing.T) {
	for name, change := range map[string]func(*Options){
		"LagError":     func(o *Options) { o.LagError = math.NaN() },
		"HeldK":        func(o *Options) { o.HeldK = -1 },
		"TypicalDraws": func(o *Options) { o.TypicalDraws = 99 },
		"PauseS":       func(o *Options) { o.Account.Cycle.PauseS = -1 },
	} {
		opt := DefaultOptions()
		change(&opt)
		require.ErrorContains(t, opt.Validate(), name)
	}
	keys := map[string]bool{}
	for _, x := range DefaultOptions().settings() {
		require.Equal(t, "default", x.Source, x.Key)
		require.False(t, keys[x.Key], x.Key)
		keys[x.Key] = true
	}
	require.True(t, keys["account.Cycle.PauseS"] && keys["loop.Huber"])
}

func TestTypicalDraws(t *testing.T) {
	draws := []loop.Draw{{Litres: 50, Used: true}, {Litres: 10}, {Litres: 30, Used: true}, {Litres: 40, Used: true}, {Litres: 20, Used: true}}
	// By litres 20, 30, 40, 50 (draws 4, 2, 3, 0): the first, fourth and sixth
	// sixths of the order.
	require.Equal(t, []int{4, 3, 0}, typical(draws, 3))
	require.Equal(t, []int{3}, typical(draws, 1))
	require.Nil(t, typical(nil, 3))
}

func TestWindowsAreJoinedByPrecision(t *testing.T) {
	w := func(at, ua, half float64) loop.Window {
		return loop.Window{FromS: at - 10, ToS: at + 10, UAWPerK: ua, LowWPerK: ua * math.Exp(-half), HighWPerK: ua * math.Exp(half), Draws: 5}
	}
	// Half-widths 0.1 and 0.2: weights 4 to 1.
	ln, sd, n := windowsOver([]loop.Window{w(100, 500, 0.1), w(200, 600, 0.2), w(900, 50, 0.1)}, 0, 300)
	require.InDelta(t, (4*math.Log(500)+math.Log(600))/5, ln, 1e-12)
	require.InDelta(t, 0.1/z95/math.Sqrt(1.25), sd, 1e-12)
	require.Equal(t, 10, n)
}

func BenchmarkCompute(b *testing.B) {
	rec := recordOf(b, 6)
	cells := float64(rec.Last-rec.First) / 60_000
	for b.Loop() {
		s, err := Compute(rec, DefaultOptions())
		if err != nil || math.IsNaN(find(b, s.Heat.Seen, "loop_kwh").Value) {
			b.Fatal("no loop heat", err)
		}
	}
	b.ReportMetric(cells*float64(b.N)/b.Elapsed().Seconds(), "minutes/s")
}

// BenchmarkTrials is the budget alone: 20,000 trials of all figures of the sample
// farm's season, its months and its shares. Goal: under 0.5 s (speed.md).
func BenchmarkTrials(b *testing.B) {
	_, rec := load(b, simfarm.Sample())
	opt := DefaultOptions()
	opt.Doubt.MaxTrials = opt.Doubt.MinTrials
	x, _, _, err := newBuilder(rec, opt)
	require.NoError(b, err)
	x.ask()
	require.NoError(b, x.run())
	if n := len(x.result.Outputs); n < 80 || x.result.Trials != 20_000 {
		b.Fatalf("%d outputs, %d trials", n, x.result.Trials)
	}
	for b.Loop() {
		if err := x.run(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(x.reg.sources)), "sources")
	b.ReportMetric(float64(len(x.result.Outputs)), "outputs")
}
