package season

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// What is said of a saving is true of the baseline chosen: nothing of the
// alternative where days without recovery are.
func TestWordsFollowTheBaseline(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated seasons")
	}
	for _, seed := range []uint64{4, 5} { // switched off, before
		scenario := simfarm.OnOff(seed)
		s := compute(t, recordWith(t, scenario, ""), thousand)
		c := s.Audit.Claim
		require.Contains(t, c.Adjustments, "heat delivered")
		require.Regexp(t, `CV\(RMSE\) [\d.]+ %, NMBE -?[\d.]+ %, n = \d+ days, lag-one correlation of neighbouring days -?[\d.]+ \(ρ taken [\d.]+, effective n [\d.]+\)`, c.Adjustments)
		for _, b := range s.Saving.Baselines {
			if b.Chosen {
				for _, w := range b.Model.Warnings {
					require.Contains(t, c.Adjustments, w)
				}
			}
		}
		require.Contains(t, c.Baseline, map[string]string{"before": "the days before the recovery", "recovery_off": "the days with the recovery switched off"}[scenario.Held.Kind])
		require.NotEqual(t, "cannot tell", c.Criterion)
		require.NotContains(t, c.Stipulated, "instead.efficiency")
		for _, a := range s.Claims.Assumptions {
			require.NotContains(t, a.Key, "instead.")
		}
		inside := strings.Join(s.Claims.Inside, "; ")
		require.Contains(t, inside, "what the milk-cooling compressor used more")
		require.True(t, s.Claims.Charged)
		require.NotContains(t, strings.Join(s.Claims.Outside, "; "), "electricity of the milk-cooling compressor")
		require.Contains(t, strings.Join(s.Audit.InteractiveEffects, " "), "is charged in the saving")
		for _, row := range s.Audit.Boundaries {
			if row.Letter == "g" {
				require.Contains(t, row.Is, "not the saving reported")
			}
		}
	}
}
