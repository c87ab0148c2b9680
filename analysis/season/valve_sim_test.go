package season

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// A farm that logs its refill valve and states the flow: draws by the valve, heat
// by the flow as stated, and the budget says so.
func TestFarmWithAValveAndAStatedFlow(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated seasons")
	}
	for _, c := range []struct {
		seed   uint64
		everyS int
	}{{3, 60}, {10, 300}, {4, 900}} {
		farm, _, s := simulated(t, simfarm.Valved(c.seed, c.everyS), nil)
		var tally drawTally
		tally.add(farm.DrawSpans(), spansOf(s))
		require.GreaterOrEqual(t, float64(tally.found), 0.98*float64(tally.happened), "farm %d", c.seed)
		require.Zero(t, tally.wrong, "farm %d", c.seed)
		loop, wash := find(t, s.Heat.Seen, "loop_kwh"), find(t, s.Heat.Seen, "wash_kwh")
		by := 1 + farm.DrawError()
		t.Logf("farm %d every %d s: loop %+.2f %%, wash %+.2f %%, half-width %.1f %%", c.seed, c.everyS, 100*(loop.Value/farm.Truth().LoopKWh/by-1), 100*(wash.Value/farm.Truth().WashKWh/by-1), 50*(loop.High-loop.Low)/loop.Value)
		require.InDelta(t, 1, loop.Value/(farm.Truth().LoopKWh*by), 0.06, "farm %d", c.seed)
		require.InDelta(t, 1, wash.Value/(farm.Truth().WashKWh*by), 0.12, "farm %d", c.seed)
		require.True(t, holds(loop, farm.Truth().LoopKWh), "farm %d: %s", c.seed, loop.Shown)
		require.Greater(t, drawShare(s, "loop_kwh", "loop.flow_l_min"), 0.2, "farm %d", c.seed)
	}
}
