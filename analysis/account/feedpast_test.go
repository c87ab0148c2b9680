package account

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
)

// pastMaker is 40 half days by the minute: a wash of 20 min three hours in, ten
// minutes later a refill of half an hour. The last 20 are without recovery: their
// refills are not metered, and run past the feed's probe if passes. Standing
// water is as warm as the air, which swings by 3 K over the half day.
func pastMaker(airC float64, passes bool) (m *maker, r *grid.Runs, probe *grid.Stream) {
	const half, cycles = 720, 40
	g := &grid.Grid{StepS: 60, N: half * cycles}
	probe, r = &grid.Stream{Values: make([]float64, g.N)}, &grid.Runs{Grid: g}
	m = &maker{g: g, opt: DefaultOptions(), acc: &Account{}, wash: &grid.Runs{Grid: g}, farm: &farm.Farm{}}
	add := func(to *grid.Runs, k int) {
		to.Cells, to.L, to.Trickle = append(to.Cells, k), append(to.L, 10), append(to.Trickle, false)
	}
	for c := range cycles {
		a := c * half
		m.acc.Cycles = append(m.acc.Cycles, cycle.Cycle{Start: int64(a) * 60000, End: int64(a+half) * 60000, A: a, B: a + half})
		m.acc.Feed = append(m.acc.Feed, Feed{TempC: math.NaN()})
		off := c >= cycles/2
		for k := range half {
			t := airC + 3*math.Sin(2*math.Pi*float64(k)/half)
			if k >= 180 && k < 200 {
				add(m.wash, a+k)
			}
			if k >= 210 && k < 240 {
				if !off {
					add(r, a+k)
				}
				if !off || passes {
					t = trueFeedC(c)
				}
			}
			probe.Values[a+k] = t
		}
		if !off {
			m.acc.Feed[c] = Feed{trueFeedC(c), "draws"}
		}
	}
	m.farm.Seasons = []farm.Season{{Kind: farm.BaselineOff, From: time.UnixMilli(m.acc.Cycles[cycles/2].Start)}}
	return m, r, probe
}

func trueFeedC(cycle int) float64 { return 10 + 0.05*float64(cycle) }

// The feed of a refill that no meter sees is what the probe reads when a refill
// is due, in air that is warmer or colder than it; a probe that the refill does
// not pass tells nothing.
func TestFeedOfARefillPastTheLoop(t *testing.T) {
	for _, airC := range []float64{20, 4, 10} {
		m, r, probe := pastMaker(airC, true)
		m.feedPast(r, probe)
		for i, f := range m.acc.Feed[20:] {
			require.Equal(t, fromPast, f.From)
			require.InDelta(t, trueFeedC(20+i), f.TempC, 1e-9, "air at %g", airC)
		}
		m, r, probe = pastMaker(airC, false)
		m.feedPast(r, probe)
		for _, f := range m.acc.Feed[20:] {
			require.True(t, math.IsNaN(f.TempC), "air at %g", airC)
		}
	}
}
