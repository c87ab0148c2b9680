package apart

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// pipe is an invented pipe with known truth: two runs a day at moments that no
// interval knows, and a probe that answers by two stages. The true answer is
// made by small steps, not by the formula of the fit.
type pipe struct {
	intervalS     int
	aheadS, drift float64 // the probe's clock
	tauS, mixL    float64
	noiseK        float64
	days          int
}

const stepS = 1

// pair simulates the pipe and lays it on a grid.
func (p pipe) pair(t testing.TB, seed uint64) Pair {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0xa9))
	start := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC).UnixMilli()
	n := p.days * 86400
	lMin := make([]float32, n)
	for d := range p.days {
		for _, hour := range []int{5, 16} {
			from := d*86400 + hour*3600 + r.IntN(1800)
			flow := float32(10 * (1 + 0.05*r.NormFloat64()))
			for i := from; i < from+1500+r.IntN(900); i++ {
				lMin[i] = flow
			}
		}
	}
	probe, water := make([]float64, n+1), 15.0
	read, flowNow, flushed := 15.0, 0.0, 0.0
	answered := 1 - math.Exp(-stepS/p.tauS)
	for i := range n {
		probe[i] = read
		before := water
		if q := float64(lMin[i]); q > 0 {
			hot := 42 + 4*math.Sin(float64(i)/20000)
			if q != flowNow {
				flowNow, flushed = q, 1-math.Exp(-q/60*stepS/p.mixL)
			}
			water += (hot - water) * flushed
		} else {
			water += (15 - water) * stepS / 1800
		}
		read += ((before+water)/2 - read) * answered
	}
	probe[n] = read
	step := p.intervalS
	flow := &series.Series{Quantity: "plate_flow", Probe: "meters: flow", Kind: series.Mean, IntervalMS: int64(step) * 1000, Flags: series.NewFlags(n / step)}
	for i := 0; i+step <= n; i += step {
		sum := 0.0
		for _, q := range lMin[i : i+step] {
			sum += float64(q)
		}
		flow.From, flow.T, flow.V = append(flow.From, start+int64(i)*1000), append(flow.T, start+int64(i+step)*1000), append(flow.V, sum/float64(step))
	}
	temp := &series.Series{Quantity: "plate_in_temp", Probe: "plant: in", Kind: series.Instant, IntervalMS: int64(step) * 1000, Flags: series.NewFlags(n)}
	for k := range n / step {
		stamp := float64(k * step)
		at := stamp - p.aheadS - p.drift*(stamp/86400-float64(p.days)/2)
		i := int(math.Floor(at))
		if i < 0 || i >= n {
			continue
		}
		v := probe[i] + (at-float64(i))*(probe[i+1]-probe[i]) + p.noiseK*r.NormFloat64()
		temp.T, temp.V = append(temp.T, start+int64(k*step)*1000), append(temp.V, math.Round(v*100)/100)
	}
	rec := &ingest.Record{Farm: &farm.Farm{}, Zone: time.UTC, Series: []*series.Series{flow, temp}, First: start, Last: start + int64(n)*1000}
	g, err := grid.Build(rec, 0, 0, grid.DefaultOptions())
	require.NoError(t, err)
	q, _ := g.Flow(rec.Farm, "plate_flow", grid.DefaultOptions())
	runs := grid.NewRuns(g, q, grid.RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	return Pair{Runs: runs, Probe: g.Stream("plate_in_temp"), LagS: p.tauS}
}

// The offset and the drift of a clock are found, by ten-second and by minute
// logs, far below their interval.
func TestFind(t *testing.T) {
	for name, p := range map[string]pipe{
		"a minute":           {intervalS: 60, aheadS: 37.4, tauS: 20, mixL: 0.3, noiseK: 0.02, days: 28},
		"a minute, behind":   {intervalS: 60, aheadS: -83.1, tauS: 20, mixL: 3, noiseK: 0.05, days: 28},
		"a minute, drifting": {intervalS: 60, aheadS: 12, drift: 1.7, tauS: 45, mixL: 0.3, noiseK: 0.02, days: 40},
		"ten seconds":        {intervalS: 10, aheadS: 110.9, tauS: 20, mixL: 1, noiseK: 0.05, days: 14},
		"none":               {intervalS: 60, tauS: 20, mixL: 0.3, noiseK: 0.02, days: 28},
	} {
		o := Find([]Pair{p.pair(t, 5)}, DefaultOptions())
		require.Empty(t, o.Why, name)
		require.InDelta(t, p.aheadS, o.S, max(1, o.HalfS), "%s: %+v", name, o)
		require.InDelta(t, p.drift, o.DriftSPerDay, 0.15, name)
		require.Greater(t, o.Starts, 20, name)
		require.InDelta(t, o.S, o.At(o.MidMS), 1e-9)
	}
}

// The interval, without its floors, holds the truth about as often as it says.
func TestIntervalHolds(t *testing.T) {
	opt := DefaultOptions()
	opt.FloorS, opt.ShapeShare = 0, 0
	held, n, worst := 0, 50, 0.0
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 3))
		p := pipe{intervalS: 60, aheadS: 30 * r.NormFloat64(), tauS: 20, mixL: 1, noiseK: 0.1, days: 20}
		o := Find([]Pair{p.pair(t, seed)}, opt)
		require.Empty(t, o.Why)
		if math.Abs(o.S-p.aheadS) <= o.HalfS {
			held++
		}
		worst = math.Max(worst, math.Abs(o.S-p.aheadS))
	}
	t.Logf("held %d of %d, worst %.1f s", held, n, worst)
	require.InDelta(t, 0.95, float64(held)/float64(n), 0.06)
	require.Less(t, worst, 5.0)
}

// What can't tell says why: a slow log, few starts, a probe that does not move,
// a clock too far off.
func TestCannotTell(t *testing.T) {
	for name, p := range map[string]pipe{
		"slow":    {intervalS: 300, tauS: 20, mixL: 1, days: 28},
		"few":     {intervalS: 60, tauS: 20, mixL: 1, days: 4},
		"too far": {intervalS: 60, aheadS: 900, tauS: 20, mixL: 1, days: 28},
	} {
		require.NotEmpty(t, Find([]Pair{p.pair(t, 2)}, DefaultOptions()).Why, name)
	}
	require.NotEmpty(t, Find(nil, DefaultOptions()).Why)
	opt := DefaultOptions()
	opt.MixSpread = math.NaN()
	require.Contains(t, Find(nil, opt).Why, "MixSpread")
}

// The answer's two stages are the limit of equal ones, and rise from 0 to 1.
func TestAnswer(t *testing.T) {
	require.Zero(t, answer(-1, 20, 5))
	require.InDelta(t, 1, answer(1e4, 20, 5), 1e-12)
	require.InDelta(t, answer(30, 20, 20.05), answer(30, 20, 20), 1e-3)
	require.InDelta(t, 1-math.Exp(-1.5), answer(30, 20, 0), 1e-12)
	require.InDelta(t, answer(30, 20, 7), answer(30, 7, 20), 1e-12)
}
