package cycle

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
)

// flat is a probe that reads one value all along.
func flat(n int, c float64) *grid.Stream {
	v := make([]float64, n)
	for i := range v {
		v[i] = c
	}
	return &grid.Stream{Values: v}
}

// washedTank falls by 20 K over 40 minutes from each start, and by 4 K (cooler
// water from the plate) two hours later; it is heated again in between.
func washedTank(n int, starts ...int) []float64 {
	v := flat(n, 75).Values
	for _, a := range starts {
		for i := a; i < a+300; i++ {
			v[i] = 75 - 0.5*math.Min(float64(i-a), 40) - 0.2*math.Min(math.Max(float64(i-a-160), 0), 20)
		}
	}
	return v
}

// Both pipe probes stand at what flows: only the tank tells.
func TestDrawsThatOnlyTheTankShows(t *testing.T) {
	const n = 3000
	starts := []int{300, 1000, 1700, 2400}
	flow := make([]float64, n)
	got := HiddenDraws(minutes(n), flat(n, 10), flat(n, 45), washedTank(n, starts...), nil, flow, 400, DefaultOptions())
	require.Len(t, got, len(starts))
	litres := 0.0
	for _, v := range flow {
		litres += v
	}
	require.InDelta(t, 400*float64(len(starts)), litres, 1e-6)
	for i, d := range got {
		require.InDelta(t, starts[i]+40, d.B, 3)
		require.True(t, d.Estimated)
	}
}

// A probe that would have shown water move, and did not, says that none did.
func TestNoHiddenDrawWhereAProbeWouldShowIt(t *testing.T) {
	const n = 3000
	in := flat(n, 18)
	var known []Draw
	for _, a := range []int{300, 1000} {
		for k := a; k < a+40; k++ {
			in.Values[k] = 8
		}
		known = append(known, Draw{Span: Span{a, a + 40}})
	}
	flow := make([]float64, n)
	require.Len(t, HiddenDraws(minutes(n), in, nil, washedTank(n, 300, 1000, 1700), known, flow, 400, DefaultOptions()), 2)
	for k := 1600; k < 1760; k++ {
		in.Values[k] = 9 // the air beside the probe has cooled to the feed
	}
	require.Len(t, HiddenDraws(minutes(n), in, nil, washedTank(n, 300, 1000, 1700), known, flow, 400, DefaultOptions()), 3)
}

// A float valve lets all litres in, fewer towards the end, never more.
func TestPourThrottles(t *testing.T) {
	o := DefaultProbeOptions()
	flow := make([]float64, 50)
	for _, to := range []float64{1, 0.7, 0.4} {
		o.TaperTo = to
		o.pour(flow, 500, 60)
		sum := 0.0
		for k, v := range flow {
			sum += v
			if k > 0 {
				require.LessOrEqual(t, v, flow[k-1]+1e-9)
			}
		}
		require.InDelta(t, 500, sum, 1e-9)
		require.InDelta(t, to, flow[len(flow)-1]/flow[0], 0.04)
	}
}

// A rinse shows as a quick fall of a standing tank; cooler water from the plate,
// and slow cooling, do not count.
func TestLookEarlier(t *testing.T) {
	const n = 2000
	washes := []Wash{{Span: Span{100, 140}, CoolC: 50}, {Span: Span{800, 840}, CoolC: 50}, {Span: Span{1500, 1540}, CoolC: 50}}
	tank, on := make([]float64, n), make([]float64, n)
	for i := range tank {
		tank[i] = 60 - 0.003*float64(i)
	}
	g := minutes(n)
	e := LookEarlier(g, tank, 60, washes, on, DefaultOptions())
	require.Equal(t, Earlier{0, 2}, e)
	require.False(t, e.Shows())
	for _, a := range []int{500, 1200} {
		for i := a; i < n; i++ {
			tank[i] -= 0.1 * math.Min(float64(i-a), 8)
		}
	}
	e = LookEarlier(g, tank, 60, washes, on, DefaultOptions())
	require.Equal(t, Earlier{2, 2}, e)
	require.True(t, e.Shows())
	require.InDelta(t, 58.5, washes[1].CoolC, 0.2)
	for i := 450; i < 560; i++ {
		on[i] = 1
	}
	for i := 1150; i < 1260; i++ {
		on[i] = 1
	}
	require.Zero(t, LookEarlier(g, tank, 60, washes, on, DefaultOptions()).Seen)
	require.Zero(t, LookEarlier(g, tank, 900, washes, on, DefaultOptions()).Looked, "a slow log can't tell")
	require.Zero(t, LookEarlier(g, tank, 60, washes, nil, DefaultOptions()).Looked)
}
