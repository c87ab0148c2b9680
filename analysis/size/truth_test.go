package size

import (
	"flag"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

var (
	farms = flag.Int("size-farms", 4, "how many simulated farms TestAgainstBuilt builds anew with another loop")
	from  = flag.Uint64("size-from", 1, "the first of them")
)

// Farms are simulated, logged and fitted; then each is built anew with a loop of
// another length in the same bed (the same washes, and so the same draws) and
// simulated again. The heat that it then gives is held against the estimate made
// from the first record. The simulated bed cools as more is taken.
func TestAgainstBuilt(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole seasons")
	}
	asked, held := 0, 0
	var off []float64
	for n := *from; n < *from+uint64(*farms); n++ {
		for _, factor := range []float64{0.6, 1.5} {
			e, truth, ok := another(t, n, factor)
			if !ok {
				continue
			}
			asked++
			in := e.NewHeat.Low <= truth && truth <= e.NewHeat.High
			if in {
				held++
			}
			off = append(off, e.NewHeat.Value/truth-1)
			t.Logf("farm %d, length x %.1f: %s (now %s), truth %.2f: %v", n, factor, e.NewHeat.Shown, e.Heat.Shown, truth, in)
		}
	}
	require.Positive(t, asked)
	worst := 0.0
	for _, x := range off {
		worst = math.Max(worst, math.Abs(x))
	}
	t.Logf("held %d of %d; worst %.1f %%", held, asked, 100*worst)
	require.GreaterOrEqual(t, float64(held), 0.75*float64(asked))
	require.Less(t, worst, 0.25)
}

// another gives the estimate for a loop of another length, and the heat a day of
// the farm simulated with it.
func another(t *testing.T, n uint64, factor float64) (*Estimate, float64, bool) {
	t.Helper()
	s := simfarm.Short(n)
	f, err := simfarm.Run(s)
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	load := ingest.DefaultLoadOptions()
	load.Now = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	rec, err := ingest.Load(dir, load)
	require.NoError(t, err)
	sea, err := season.Compute(rec, season.DefaultOptions())
	require.NoError(t, err)
	known := Of(sea, rec.Farm)
	known.BedAreaM2 = 0 // the simulator keeps the bedding's share per metre
	d := known.Now
	d.LengthM *= factor
	e, err := Compute(known, d, DefaultOptions())
	if err != nil {
		t.Logf("farm %d: %v", n, err)
		return nil, 0, false
	}
	// The wanted coefficient is that of film and bed in series at the draws' flow;
	// both go with the length.
	s.Loop.LengthM *= factor
	s.Loop.DrawLow /= factor
	s.Loop.DrawHigh /= factor
	s.Loop.UAWPerK *= factor
	other, err := simfarm.Run(s)
	require.NoError(t, err)
	return e, other.Truth().Figures.LoopKWh / float64(s.Days), true
}
