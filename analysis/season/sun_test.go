package season

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
)

// Grid import and export give both ends of the sun's part, solar power the high
// one alone.
func TestOwnSunIsKnownFromBothSidesOrFromOne(t *testing.T) {
	day := int64(86_400_000)
	acc := &account.Account{Cycles: []cycle.Cycle{{End: day}, {Start: day, End: 2 * day}}}
	acc.Solar.Rows = []account.SolarRow{{LowKWh: 2, HighKWh: 5, CoveredS: 86400}, {LowKWh: 1, HighKWh: 1.5, CoveredS: 43200}}
	acc.Movable = account.Movable{LowKWh: 3, HighKWh: 4, Stretches: 3, All: 4}
	figures := func() (own, movable Figure) {
		b := &builder{acc: acc, reg: newRegistry(&farm.Farm{}, &grid.Grid{}), s: &Season{}}
		var list []Named
		b.ownSun(&list)
		b.movableSun(&list)
		for _, f := range b.finish {
			f()
		}
		return list[0].Figure, list[1].Figure
	}
	own, movable := figures()
	require.InDeltaSlice(t, []float64{4.75, 3, 6.5}, []float64{own.Value, own.Low, own.High}, 1e-12)
	require.InDelta(t, 0.75, own.Coverage, 1e-12)
	require.InDeltaSlice(t, []float64{3.5, 3, 4}, []float64{movable.Value, movable.Low, movable.High}, 1e-12)
	require.InDelta(t, 0.75, movable.Coverage, 1e-12)
	acc.Solar.OnlyHigh, acc.Movable.OnlyHigh = true, true
	own, movable = figures()
	for _, f := range []Figure{own, movable} {
		require.True(t, math.IsNaN(f.Low), "the low end is not known")
		require.Equal(t, f.High, f.Value)
		require.Contains(t, f.Shown, "at most")
		require.NotEmpty(t, f.Why)
		require.Equal(t, "estimated", string(f.Basis))
	}
	require.InDelta(t, 6.5, own.High, 1e-12)
}
