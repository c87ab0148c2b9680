package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest/simfarm"
)

// The truth tests: simulated farms whose figures are known (invented, seeded;
// see ingest/simfarm), put through the whole program as files.

// seasonOf writes a farm and computes its season.
func seasonOf(t testing.TB, f *simfarm.Farm) *season.Season {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.now = func() time.Time { return time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC) }
	s, err := a.compute(dir, "", "")
	require.NoError(t, err)
	return s
}

// headline are the seven figures. Heats and saving are those estimated for the
// whole period: a simulated truth knows no gaps.
func headline(s *season.Season) map[string]season.Figure {
	out := map[string]season.Figure{}
	for _, list := range [][]season.Named{s.Heat.Whole, s.Saving.Whole, s.Loop.Figures, s.Plant.Figures} {
		for _, n := range list {
			out[n.Key] = n.Figure
		}
	}
	return out
}

var headlineKeys = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "recovery_fraction"}

// holds: the interval holds the truth; an open end holds all beyond it.
func holds(f season.Figure, truth float64) bool {
	if math.IsNaN(f.Value) {
		return false
	}
	return !(truth < f.Low) && !(truth > f.High)
}

// Against the truth seen through its drawn errors (what an exact method would
// report), and against the bare truth.
func TestSampleFarmAgainstItsTruth(t *testing.T) {
	farm, err := simfarm.Run(simfarm.Sample())
	require.NoError(t, err)
	got := headline(seasonOf(t, farm))
	seen, bare := farm.Seen().Headline(), farm.Truth().Headline()
	within := map[string]float64{"loop_kwh": 0.01, "plant_kwh": 0.01, "element_kwh": 0.01, "wash_kwh": 0.01,
		"saved_kwh": 0.015, "ua_w_per_k": 0.03, "recovery_fraction": 0.015}
	held := 0
	for _, key := range headlineKeys {
		f := got[key]
		off := f.Value/seen[key] - 1
		in := holds(f, bare[key])
		t.Logf("%-18s got %10.3f [%10.3f, %10.3f]  seen %10.3f (%+.2f %%)  bare %10.3f held %v", key, f.Value, f.Low, f.High, seen[key], 100*off, bare[key], in)
		require.InDelta(t, 0, off, within[key], key)
		if in {
			held++
		}
	}
	require.GreaterOrEqual(t, held, 5, "of 7 intervals that hold the bare truth")
}

// tally of one headline figure over many farms.
type tally struct {
	farms, known, held, wide int
	// sums over the farms whose interval has two ends.
	width, linear float64
}

// ratio is the mean width over the mean width by linear propagation.
func (n *tally) ratio() float64 { return n.width / n.linear }

// 100 random short farms, seeds 1 to 100.
func TestHundredFarms(t *testing.T) {
	if testing.Short() {
		t.Skip("a hundred simulated farms")
	}
	tallies := map[string]*tally{}
	for _, key := range headlineKeys {
		tallies[key] = &tally{}
	}
	for seed := uint64(1); seed <= 100; seed++ {
		farm, err := simfarm.Run(simfarm.Short(seed))
		require.NoError(t, err)
		got := headline(seasonOf(t, farm))
		bare, widths := farm.Truth().Headline(), farm.LinearWidths()
		for _, key := range headlineKeys {
			count(t, tallies[key], got[key], bare[key], widths[key], fmt.Sprintf("farm %d %s", seed, key))
		}
	}
	for _, key := range headlineKeys {
		n := tallies[key]
		t.Logf("%-18s held %3d of %3d (known %3d), mean width over linear %.2f (%d)", key, n.held, n.farms, n.known, n.ratio(), n.wide)
	}
	for _, key := range headlineKeys {
		n := tallies[key]
		require.GreaterOrEqual(t, n.held, 88, "%s: intervals that hold the truth", key)
		require.InDelta(t, 1.025, n.ratio(), 0.225, "%s: mean width over that of linear propagation, 0.8 to 1.25", key)
	}
}

func count(t *testing.T, n *tally, f season.Figure, truth, width float64, name string) {
	n.farms++
	if !math.IsNaN(f.Value) {
		n.known++
	}
	if holds(f, truth) {
		n.held++
	} else {
		t.Logf("%s: %g [%g, %g] misses %g (%s)", name, f.Value, f.Low, f.High, truth, f.Why)
	}
	if w := f.High - f.Low; w > 0 && width > 0 {
		n.wide++
		n.width, n.linear = n.width+w, n.linear+width
	}
}
