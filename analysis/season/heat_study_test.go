//go:build study

package season

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"os"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// heatKeys are the figures that need no fit.
var heatKeys = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh"}

// heatHeld is one farm's figure: against the bare truth, and against the truth
// seen through the drawn errors.
type heatHeld struct{ truth, seen, value, low, high float64 }

// heatsOf makes the heats and the saving of a farm, without the fits of loop and
// plant: a third of the time of a whole season.
func heatsOf(t *testing.T, seed uint64) map[string]heatHeld {
	farm, err := simfarm.Run(simfarm.Study(seed, simfarm.Sharpness(seed%3)))
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, farm.Write(dir))
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	require.NoError(t, err)
	require.NoError(t, os.RemoveAll(dir))
	o := DefaultOptions()
	o.Doubt.MinTrials, o.Doubt.MaxTrials = 4000, 4000
	b, _, _, err := newBuilder(rec, o)
	require.NoError(t, err)
	all := b.stretchOf(func(int) bool { return true })
	x := b.terms()
	b.heat(x, all)
	b.saving(b.saver(x), x, all)
	require.NoError(t, b.run())
	truth, seen := farm.Truth().Headline(), farm.SeenSums().Headline()
	out := map[string]heatHeld{}
	for _, k := range heatKeys {
		list := b.s.Heat.Whole
		if k == "saved_kwh" {
			list = b.s.Saving.Whole
		}
		f := find(t, list, k)
		out[k] = heatHeld{truth[k], seen[k], f.Value, f.Low, f.High}
	}
	return out
}

// TestStudyHeats counts how often the intervals of the heats and of the saving
// hold the bare truth over many random farms (those of the study of coverage,
// not chosen by sharpness). It writes testdata/study/heats.md.
//
//	go test ./analysis/season -tags study -run StudyHeats -farms 400 -timeout 60m
func TestStudyHeats(t *testing.T) {
	got := make([]map[string]heatHeld, *studyFarms)
	var wg sync.WaitGroup
	next := make(chan int)
	for range 2 {
		wg.Go(func() {
			for i := range next {
				got[i] = heatsOf(t, *studyFrom+uint64(i))
			}
		})
	}
	for i := range got {
		next <- i
	}
	close(next)
	wg.Wait()
	var b strings.Builder
	fmt.Fprintf(&b, "# Heats and saving against the bare truth\n\nMade %s: `go test ./analysis/season -tags study -run StudyHeats -farms %d -from %d -timeout 60m`; random farms of the study of\ncoverage (`simfarm.Study`, seeds %d to %d, invented), totals of the whole period. Off: from the truth seen through the drawn errors.\n\n",
		time.Now().UTC().Format("2 January 2006"), *studyFarms, *studyFrom, *studyFrom, lastSeed())
	b.WriteString("| figure | farms | held % | its standard error | truth below / above | median half-width % | off %: median | 95th percentile |\n|---|---|---|---|---|---|---|---|\n")
	for _, k := range heatKeys {
		n, below, above := 0, 0, 0
		var off, half []float64
		for i, farm := range got {
			h := farm[k]
			if math.IsNaN(h.value) {
				continue
			}
			n++
			switch {
			case h.truth < h.low:
				below++
			case h.truth > h.high:
				above++
			}
			if h.truth < h.low || h.truth > h.high {
				t.Logf("seed %d %s: %.5g [%.5g, %.5g] misses %.5g (seen %.5g)", *studyFrom+uint64(i), k, h.value, h.low, h.high, h.truth, h.seen)
			}
			off, half = append(off, 100*math.Abs(h.value/h.seen-1)), append(half, 100*(h.high-h.low)/2/math.Abs(h.value))
		}
		slices.Sort(off)
		slices.Sort(half)
		p := 1 - float64(below+above)/float64(n)
		fmt.Fprintf(&b, "| `%s` | %d | %.1f | %.1f | %d / %d | %.2f | %.2f | %.2f |\n", k, n, 100*p, 100*math.Sqrt(0.95*0.05/float64(n)), below, above, half[n/2], off[n/2], off[n*95/100])
	}
	t.Log("\n" + b.String())
	path := filepath.Join("..", "..", "testdata", "study", "heats.md")
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o644))
}
