//go:build study

package season

import (
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var (
	storeFarms = flag.Int("store-farms", 40, "simulated farms with a slab, and as many without")
	storeFirst = flag.Uint64("store-first", 101, "first seed")
)

// told is one farm's figure against its truth.
type told struct{ truth, value, low, high float64 }

func (x told) error() float64 { return x.value/x.truth - 1 }
func (x told) holds() bool    { return x.low <= x.truth && x.truth <= x.high }
func (x told) figure() bool   { return !math.IsNaN(x.value + x.low + x.high) }
func (x told) oneSided() bool { return !math.IsNaN(x.value) && math.IsNaN(x.low) != math.IsNaN(x.high) }
func (x told) boundHolds() bool {
	return !(x.low > x.truth) && !(x.high < x.truth)
}

// The store against simulated farms: go test -tags study -run StoreStudy
// ./analysis/season. The table goes to testdata/study/store.md.
func TestStoreStudy(t *testing.T) {
	commit, _ := exec.Command("git", "rev-parse", "--short", "HEAD").Output() // before others move it
	with := map[string][]told{}
	chosen, uniform := 0, 0
	var missed, flat []string
	var uaUniform []told
	for i := range uint64(*storeFarms) {
		seed := *storeFirst + i
		rec, truth := slabFarm(t, seed, true)
		s := compute(t, rec, nil)
		if s.Loop.Model == "store" {
			chosen++
		} else {
			missed = append(missed, fmt.Sprint(seed))
		}
		for key, v := range map[string]float64{"ua_w_per_k": truth.UAWPerK, "supply_w_per_k": truth.SupplyWPerK, "slab_kj_per_k": truth.SlabKJPerK,
			"steady_w_per_k": 1 / (1/truth.UAWPerK + 1/truth.SupplyWPerK)} {
			f := find(t, s.Loop.Figures, key)
			with[key] = append(with[key], told{v, f.Value, f.Low, f.High})
			t.Logf("%d %s %.0f: %s (%+.1f %%) %s", seed, key, v, f.Shown, 100*(f.Value/v-1), f.Why)
		}
		rec, truth = slabFarm(t, seed, false)
		s = compute(t, rec, nil)
		if s.Loop.Model == "uniform" {
			uniform++
		} else {
			flat = append(flat, fmt.Sprint(seed))
		}
		f := find(t, s.Loop.Figures, "ua_w_per_k")
		uaUniform = append(uaUniform, told{truth.UAWPerK, f.Value, f.Low, f.High})
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# A bed with a store\n\n%s, commit %s: `go test -tags study -run StoreStudy ./analysis/season` (seeds %d to %d).\n\n", time.Now().UTC().Format("2006-01-02"), strings.TrimSpace(string(commit)), *storeFirst, *storeFirst+uint64(*storeFarms)-1)
	fmt.Fprintf(&b, "Simulated farms of 60 to 75 days, two refills a day of 1.05 to 1.75 loops, logs by the minute, sensor errors drawn from the farm file; the truth runs in 160 cells of water, wall and slab, the fit in 48 of water and slab. Truth is bare: errors include those of the sensors.\n\n")
	fmt.Fprintf(&b, "- with a store: chosen on %d of %d farms%s\n- without: uniform chosen on %d of %d%s\n\n", chosen, *storeFarms, list(missed), uniform, *storeFarms, list(flat))
	fmt.Fprintf(&b, "| figure | farms with an interval | median error | 90 %% of errors within | errors within 10 %% | interval holds the truth | median half-width | one-sided | of those hold |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, key := range []string{"ua_w_per_k", "supply_w_per_k", "slab_kj_per_k", "steady_w_per_k"} {
		b.WriteString(studyRow("`"+key+"`", with[key]))
	}
	b.WriteString(studyRow("`ua_w_per_k`, no store", uaUniform))
	t.Log("\n" + b.String())
	path := filepath.Join("..", "..", "testdata", "study", "store.md")
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o644))
	require.GreaterOrEqual(t, float64(uniform), 0.95*float64(*storeFarms))
	require.GreaterOrEqual(t, float64(chosen), 0.95*float64(*storeFarms))
}

func list(seeds []string) string {
	if len(seeds) == 0 {
		return ""
	}
	return " (not on seeds " + strings.Join(seeds, ", ") + ")"
}

func studyRow(name string, all []told) string {
	var errs, halves []float64
	holds, near, one, oneHolds := 0, 0, 0, 0
	for _, x := range all {
		switch {
		case x.figure():
			e := math.Abs(x.error())
			errs, halves = append(errs, e), append(halves, math.Log(x.high/x.low)/2)
			if x.holds() {
				holds++
			}
			if e <= 0.1 {
				near++
			}
		case x.oneSided():
			one++
			if x.boundHolds() {
				oneHolds++
			}
		}
	}
	slices.Sort(errs)
	slices.Sort(halves)
	n := len(errs)
	if n == 0 {
		return fmt.Sprintf("| %s | 0 of %d | | | | | | %d | %d |\n", name, len(all), one, oneHolds)
	}
	return fmt.Sprintf("| %s | %d of %d | %.1f %% | %.1f %% | %d | %d (%.0f %%) | %.1f %% | %d | %d |\n", name, n, len(all), 100*errs[n/2], 100*errs[min(n-1, 9*n/10)],
		near, holds, 100*float64(holds)/float64(n), 100*halves[n/2], one, oneHolds)
}
