package season

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// avoidedTruth is what the same farm would have used without any recovery, less
// what it used, over the cycles that the report counted, with the electricity of
// the compressor likewise.
func avoidedTruth(t testing.TB, s simfarm.Scenario, farm *simfarm.Farm, rows []CycleRow) (avoided, baseline, compressor float64, cycles int) {
	t.Helper()
	without, err := simfarm.Run(s.WithoutRecovery())
	require.NoError(t, err)
	counted := map[int64]bool{}
	for _, r := range rows {
		if !math.IsNaN(r.BaselineKWh) {
			counted[r.Start/1000] = true
		}
	}
	was, would := farm.Uses(), without.Uses()
	for i := range was {
		if !counted[was[i].Start] {
			continue
		}
		cycles++
		baseline += would[i].ElementKWh + would[i].PumpKWh
		avoided += would[i].ElementKWh + would[i].PumpKWh - was[i].ElementKWh - was[i].PumpKWh
		compressor += was[i].CompressorKWh - would[i].CompressorKWh
	}
	return avoided, baseline, compressor, cycles
}

// Days switched off, and days before the recovery, give back the energy that the
// element would have used.
func TestAvoidedEnergyHoldsTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated seasons")
	}
	for _, seed := range []uint64{1, 2} {
		scenario := simfarm.OnOff(seed)
		farm, _, s := simulated(t, scenario, nil)
		avoided, base, compressor, n := avoidedTruth(t, scenario, farm, s.Cycles)
		require.Greater(t, n, 40)
		saved, baseline := find(t, s.Saving.Figures, "saved_kwh"), find(t, s.Saving.Figures, "baseline_kwh")
		extra := find(t, s.Saving.Figures, "compressor_extra_kwh")
		t.Logf("farm %d: avoided %s (true %.0f), baseline %s (true %.0f), normalised %s, compressor %s (true %.0f), unused %s", seed, saved.Shown, avoided, baseline.Shown, base,
			find(t, s.Saving.Figures, "normalised_kwh").Shown, extra.Shown, compressor, find(t, s.Saving.Figures, "unused_kwh").Shown)
		t.Logf("%+v\n%s\n%s", *s.Saving.Baselines[1+int(seed)%2].Model, s.Saving.Basis, s.Saving.ExtraText)
		require.True(t, holds(baseline, base))
		require.True(t, holds(extra, compressor))
		require.InDelta(t, 1, saved.Value/avoided, 0.15)
	}
}
