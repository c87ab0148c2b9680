//go:build study

package season

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// TestStudyClocksApart makes the study of residual clock offsets: simulated
// farms (simfarm.Apart) whose flow meters' clock stands off the temperatures'
// by a normal error of 30 s, 2 min at most, with a drift of 0.5 s a day
// (standard deviation), logged every 10 s and every minute. It writes
// testdata/study/plant.md. With PLANT_ONLY=10 or 60 one interval alone is made
// and nothing written.
//
//	go test ./analysis/season -tags study -run StudyClocksApart -timeout 60m -v
func TestStudyClocksApart(t *testing.T) {
	text := "# Clocks of flow and temperatures that stand apart, on simulated farms\n\n" +
		"Made by `go test ./analysis/season -tags study -run StudyClocksApart`. Farms are invented (`simfarm.Apart`), seeds from 1;\n" +
		"the flow meters' logger stands off the temperatures' by a drawn offset: normal, standard deviation 30 s, at most 2 min;\n" +
		"drift 0.5 s a day (standard deviation). *Off* is against what an exact method would report through the drawn errors of\n" +
		"the probes; *held* is the bare truth inside the 95 % interval.\n\n" +
		"| logged every | heat | farms | found | median off | 95th percentile of the size | held | as logged: median off | as logged: 95th percentile |\n|---|---|---|---|---|---|---|---|---|\n"
	path := filepath.Join("..", "..", "testdata", "study", "plant.md")
	for _, step := range []struct{ intervalS, farms int }{{10, 64}, {60, 64}} {
		if only := os.Getenv("PLANT_ONLY"); only != "" && only != fmt.Sprint(step.intervalS) {
			old, _ := os.ReadFile(path) // absent at first
			for _, line := range strings.Split(string(old), "\n") {
				if strings.HasPrefix(line, fmt.Sprintf("| %d s |", step.intervalS)) {
					text += line + "\n"
				}
			}
			continue
		}
		rows := map[string]*apartRow{"loop_kwh": {}, "plant_kwh": {}}
		for seed := uint64(1); seed <= uint64(step.farms); seed++ {
			studyApart(t, seed, step.intervalS, rows)
		}
		for _, key := range []string{"loop_kwh", "plant_kwh"} {
			line := fmt.Sprintf("| %d s | %s | %s\n", step.intervalS, key, rows[key])
			t.Log(line)
			text += line
			require.LessOrEqual(t, math.Abs(middle(rows[key].off, 0.5)), 0.003, key)
		}
	}
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
}

// apartFarm is one farm of the study with what it should come to.
type apartFarm struct {
	aheadS, driftSPerDay float64
	truth, seen          simfarm.Truth
	season               *Season
	raw                  map[string]float64 // heats by the logs' own clocks
}

func makeApart(t testing.TB, seed uint64, intervalS int, change func(*Options)) apartFarm {
	t.Helper()
	sc := simfarm.Apart(seed, intervalS, 30, 120, 0.5)
	f, rec := load(t, sc)
	meters := sc.Loggers[len(sc.Loggers)-1]
	season, raw := heatsAndRaw(t, rec, change)
	return apartFarm{aheadS: meters.AheadS, driftSPerDay: meters.DriftSPerDay, truth: f.Truth(), seen: f.SeenSums(), season: season, raw: raw}
}

// apartRow gathers one heat over farms.
type apartRow struct {
	farms, found, held int
	off, kept          []float64
}

func (r *apartRow) String() string {
	return fmt.Sprintf("%d | %d | %+.2f %% | %.2f %% | %d (%.1f %%) | %+.2f %% | %.2f %% |", r.farms, r.found, 100*middle(r.off, 0.5), 100*middle(sizes(r.off), 0.95),
		r.held, 100*float64(r.held)/float64(r.farms), 100*middle(r.kept, 0.5), 100*middle(sizes(r.kept), 0.95))
}

func studyApart(t *testing.T, seed uint64, intervalS int, rows map[string]*apartRow) {
	a := makeApart(t, seed, intervalS, fewTrials)
	truth := map[string][2]float64{"loop_kwh": {a.truth.LoopKWh, a.seen.LoopKWh}, "plant_kwh": {a.truth.PlantKWh, a.seen.PlantKWh}}
	for _, key := range []string{"loop_kwh", "plant_kwh"} {
		r := rows[key]
		f, as := find(t, a.season.Heat.Seen, key), a.raw[key]
		r.farms++
		t.Logf("farm %d, every %d s, ahead %.1f s: %s %+.2f %%, as logged %+.2f %%", seed, intervalS, a.aheadS, key, 100*(f.Value/truth[key][1]-1), 100*(as/truth[key][1]-1))
		r.off, r.kept = append(r.off, f.Value/truth[key][1]-1), append(r.kept, as/truth[key][1]-1)
		if f.Low <= truth[key][0] && truth[key][0] <= f.High {
			r.held++
		}
		for _, p := range a.season.Problems {
			if p.Code == CodeClocksApart && p.Where == map[string]string{"loop_kwh": "loop", "plant_kwh": "plate"}[key] {
				r.found++
			}
		}
	}
}

func sizes(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = math.Abs(x)
	}
	return out
}

// middle is the value below which so large a share of v lies.
func middle(v []float64, share float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[min(len(s)-1, int(share*float64(len(s))))]
}
