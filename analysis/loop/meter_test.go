package loop

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/water"
)

// The same water has fewer litres where it comes in cold than in the bed: said
// where the meter stands, the fit is the same, and the loop no smaller.
func TestMeterOnTheColdSide(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(4)
	y.days, y.longEvery = 30, 2
	in := y.record()
	mean := mustRun(t, in, DefaultOptions())
	p := newPath(&in, DefaultOptions())
	cold := water.DensityKgPerM3(mean.Built.MeanC) / water.DensityKgPerM3(p.meanC(p.in))
	require.InDelta(t, 0.996, cold, 0.003)
	in.Flow0, in.Flow1 = scale(slices.Clone(in.Flow0), cold), scale(slices.Clone(in.Flow1), cold)
	unsaid := mustRun(t, in, DefaultOptions())
	in.Meter = MeterIn
	said := mustRun(t, in, DefaultOptions())
	require.InDelta(t, mean.Built.ThermalL*cold, said.Built.ThermalL, 1e-3*mean.Built.ThermalL)
	require.InDelta(t, mean.Built.CapacityKJPerK, said.Built.CapacityKJPerK, 1e-3*mean.Built.CapacityKJPerK)
	require.InDelta(t, mean.VolumeRatio, said.VolumeRatio, 3e-4)
	require.InDelta(t, mean.UAWPerK, said.UAWPerK, 5e-4*mean.UAWPerK)
	require.InDelta(t, cold, unsaid.VolumeRatio/mean.VolumeRatio, 5e-4)
	in.Meter = MeterOut
	require.Less(t, said.Built.ThermalL, mustRun(t, in, DefaultOptions()).Built.ThermalL)
}

// Draws that end just before the loop's volume by a meter that reads 5 % low
// have passed it: the ratio is free, and the front no sign of another
// coefficient. Draws far below leave it held.
func TestRatioIsFreeWhereAFrontMayShow(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(6)
	y.days, y.longEvery, y.uaBed, y.perDraw = 40, 0, 700, 0.9*320*1.2
	y.errs.Flow = -0.05
	fit := mustRun(t, y.record(), DefaultOptions())
	longest := 0.0
	for _, d := range fit.Draws {
		longest = max(longest, d.LoopVolumes)
	}
	require.Less(t, longest, 1.0)
	require.Contains(t, fit.Free, "ln_r")
	low := fit.LowerBoundWPerK
	if fit.Identified {
		low = fit.LowWPerK
	}
	require.False(t, low > y.uaWPerK(), "%.0f to %.0f, bound %.0f, true %.0f", fit.LowWPerK, fit.HighWPerK, fit.LowerBoundWPerK, y.uaWPerK())
	y.perDraw = 0.7 * 320 * 1.2
	require.NotContains(t, mustRun(t, y.record(), DefaultOptions()).Free, "ln_r")
}
