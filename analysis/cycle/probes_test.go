package cycle

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// still is an invented loop without a meter: draws of 40 minutes at the minutes
// given; a probe that relaxes to airC with 30 min while water stands, and is held
// at flowC while it moves.
type still struct {
	days   int
	starts []int
	airC   func(minute int) float64
}

const drawMin = 40

func (s still) readings(flowC func(since int) float64) []float64 {
	v := make([]float64, s.days*1440)
	c := s.airC(0)
	at := 0
	for i := range v {
		for at < len(s.starts) && i >= s.starts[at]+drawMin {
			at++
		}
		if at < len(s.starts) && i >= s.starts[at] {
			c = flowC(i - s.starts[at])
		} else {
			c += (s.airC(i) - c) * (1 - math.Exp(-1.0/30))
		}
		v[i] = c
	}
	return v
}

// logged lays probes read every so many minutes on a grid; gap: minutes left
// out.
func logged(t *testing.T, every int, gap [2]int, probes map[series.Quantity][]float64) *grid.Grid {
	t.Helper()
	rec := &ingest.Record{First: t0}
	for q, v := range probes {
		s := &series.Series{Quantity: q, Probe: string(q), Kind: series.Instant, IntervalMS: int64(every) * minute}
		for i := 0; i < len(v); i += every {
			if i <= gap[0] || i >= gap[1] {
				s.T, s.V = append(s.T, t0+int64(i)*minute), append(s.V, v[i])
			}
		}
		s.Flags = series.NewFlags(len(s.T))
		rec.Series = append(rec.Series, s)
		rec.Last = s.T[len(s.T)-1]
	}
	g, err := grid.Build(rec, rec.First, rec.Last, grid.DefaultOptions())
	require.NoError(t, err)
	return g
}

func twiceADay(days int) []int {
	var out []int
	for d := range days {
		out = append(out, d*1440+490+7*(d%3), d*1440+1130+5*(d%4))
	}
	return out
}

func constantly(c float64) func(int) float64 { return func(int) float64 { return c } }

func TestDrawsByProbes(t *testing.T) {
	swing := func(i int) float64 { return 12 + 3*math.Cos(2*math.Pi*float64(i)/1440) }
	farm := still{days: 8, starts: twiceADay(8), airC: swing}
	soaked := func(since int) float64 { // the front passes after 25 minutes
		if since < 25 {
			return 44
		}
		return 31
	}
	bedded := still{days: 8, starts: farm.starts, airC: constantly(44)}
	nowhere := [2]int{-1, -1}
	for _, c := range []struct {
		what    string
		every   int
		in, out []float64
		// how far starts and ends may be off, minutes
		offMin float64
	}{
		{"outlet outside the bed, feed as cold as the air", 1, farm.readings(constantly(12)), farm.readings(soaked), 3},
		{"outlet in the bed: the inlet tells", 1, farm.readings(constantly(5)), bedded.readings(soaked), 3},
		{"outlet alone", 5, nil, farm.readings(soaked), 6},
		{"every quarter of an hour", 15, farm.readings(constantly(5)), farm.readings(soaked), 12},
	} {
		probes := map[series.Quantity][]float64{}
		if c.in != nil {
			probes["loop_in_temp"] = c.in
		}
		if c.out != nil {
			probes["loop_out_temp"] = c.out
		}
		g := logged(t, c.every, nowhere, probes)
		draws, flow := DrawsByProbes(g, g.Stream("loop_in_temp"), g.Stream("loop_out_temp"), 330, DefaultProbeOptions())
		require.Len(t, draws, len(farm.starts), c.what)
		sum := 0.0
		for i, d := range draws {
			require.InDelta(t, farm.starts[i], d.A, c.offMin, "%s: start of draw %d", c.what, i)
			require.InDelta(t, farm.starts[i]+drawMin, d.B, c.offMin, "%s: end of draw %d", c.what, i)
			require.True(t, d.Estimated)
		}
		for _, q := range flow {
			if q == q {
				sum += q * g.StepS / 60
			}
		}
		require.InDelta(t, 330*float64(len(draws)), sum, 1e-6, c.what)
	}
}

func TestNoDrawsByProbesInTheAirsSwing(t *testing.T) {
	v := make([]float64, 6*1440)
	for i := range v {
		v[i] = 14 + 4*math.Cos(2*math.Pi*float64(i)/1440)
	}
	for _, every := range []int{1, 15} {
		g := logged(t, every, [2]int{-1, -1}, map[series.Quantity][]float64{"loop_out_temp": v})
		draws, _ := DrawsByProbes(g, nil, g.Stream("loop_out_temp"), 330, DefaultProbeOptions())
		require.Empty(t, draws)
	}
}

func TestDrawThatAGapCuts(t *testing.T) {
	farm := still{days: 6, starts: twiceADay(6), airC: constantly(12)}
	out := farm.readings(constantly(40))
	// The log stops in the middle of the fifth draw and comes back two hours on.
	from := farm.starts[4] + 20
	g := logged(t, 1, [2]int{from, from + 120}, map[series.Quantity][]float64{"loop_out_temp": out})
	draws, flow := DrawsByProbes(g, nil, g.Stream("loop_out_temp"), 400, DefaultProbeOptions())
	require.Len(t, draws, len(farm.starts))
	require.InDelta(t, 200, draws[4].Litres, 25, "half a draw was seen")
	require.InDelta(t, 400, draws[5].Litres, 1e-9)
	require.True(t, math.IsNaN(flow[from+60]), "what the gap hides is not known")
	require.False(t, math.IsNaN(flow[from+180]))
}

func TestProbeOptionsNameWhatIsWrong(t *testing.T) {
	o := DefaultOptions()
	o.Probes.HoldS = -1
	require.ErrorContains(t, o.Validate(), "Probes.HoldS")
}
