package season

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// claimedSeason is a simulated farm's season without its bed probes: the loop's fit
// has no part in a saving.
func claimedSeason(t *testing.T, s simfarm.Scenario) *Season {
	t.Helper()
	for i := range s.Loggers {
		l := &s.Loggers[i]
		l.Columns = slices.DeleteFunc(slices.Clone(l.Columns), func(c simfarm.Column) bool { return c.Quantity == "bed_temp" })
	}
	f, err := simfarm.Run(s)
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	load := ingest.DefaultLoadOptions()
	load.Now = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	rec, err := ingest.Load(dir, load)
	require.NoError(t, err)
	out, err := Compute(rec, DefaultOptions())
	require.NoError(t, err)
	return out
}

// The trials kept for a claim are those behind the printed figure: their
// quantiles are the interval's ends, and the budget is whole.
func TestClaimsAreHeldAgainstTheFiguresOwnTrials(t *testing.T) {
	s := claimedSeason(t, simfarm.Holed(4))
	require.Len(t, s.Claims.Spreads, 6, "three figures, as seen and for the whole period")
	unseen := 0.0
	for _, x := range s.Claims.Spreads {
		list := s.Saving.Figures
		if x.Whole {
			list = s.Saving.Whole
		}
		i := slices.IndexFunc(list, func(n Named) bool { return n.Key == x.Key })
		f := list[i].Figure
		require.True(t, slices.IsSorted(x.Trials))
		require.GreaterOrEqual(t, len(x.Trials), 20_000)
		width := f.High - f.Low
		require.InDelta(t, f.Low, stat.Quantile(0.025, stat.Empirical, x.Trials, nil), 0.01*width, x.Key)
		require.InDelta(t, f.High, stat.Quantile(0.975, stat.Empirical, x.Trials, nil), 0.01*width, x.Key)
		sum := 0.0
		for _, p := range x.Parts {
			sum += p.Share
		}
		require.InDelta(t, 1, sum, 0.01, x.Key)
		require.True(t, slices.IsSortedFunc(x.Parts, func(a, b SpreadPart) int { return int(math.Copysign(1, b.Share-a.Share)) }))
		if x.Whole {
			unseen = max(unseen, x.Unseen)
		} else {
			require.Zero(t, x.Unseen, "nothing is estimated in what was seen")
		}
		for _, m := range x.Measures {
			require.True(t, m.Left > 0 && m.Left <= 0.95, "%+v", m)
		}
	}
	require.Positive(t, unseen, "loggers were out for days")
	keys := map[string]string{}
	for _, a := range s.Claims.Assumptions {
		keys[a.Key] = a.Error
	}
	require.Equal(t, "0.03", keys["instead.efficiency"])
	require.Contains(t, keys, "electricity.price_per_kwh")
	require.Contains(t, s.Claims.Inside, "electricity of the element")
	require.NotEmpty(t, s.Claims.Outside)
}
