package study

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// Three farms of the study, one of each sharpness, in the ordinary suite: the
// tagged study has the numbers, this the limits that three farms can show.
func TestFewFarms(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated farms")
	}
	held, stated := 0, 0
	for n := uint64(1); n <= 3; n++ {
		r := run(t, n)
		for _, key := range headlineKeys {
			if f := r.Figures[key]; f.stated() {
				stated++
				if f.holds() {
					held++
				}
			}
		}
		for _, key := range heatKeys {
			f := r.Figures[key]
			require.InDelta(t, 0, number(f.Value)/f.Seen-1, 0.02, "farm %d %s", n, key)
		}
		ua := r.Figures["ua_w_per_k"]
		switch (simfarm.UABound{Draws: r.Draws}).Sharpness() {
		case simfarm.Sharp:
			require.True(t, r.Identified, "farm %d: the exact model tells UA within %.1f %% (%s)", n, 100*r.Draws, ua.Why)
		case simfarm.Flat:
			require.False(t, r.Identified, "farm %d: the exact model tells UA within %.0f %% only", n, 100*r.Draws)
		}
		if r.Identified {
			require.InDelta(t, 0, math.Log(number(ua.Value)/ua.Seen), 0.12, "farm %d", n)
		} else if ua.Low != nil {
			require.Less(t, *ua.Low, ua.Bare, "farm %d: lower bound", n)
		}
	}
	require.GreaterOrEqual(t, held, stated*8/10, "of %d intervals", stated)
}
