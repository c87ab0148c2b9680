//go:build study

package season

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// TestCoverageMatched makes the study of compared probes: on 120 small farms (12
// days, seeds 1001 on; probes' errors as the farm file states, which at rest
// stand in surroundings that differ by 0.05 K, standard deviation) how often the
// heats' intervals hold the bare truth, and how wide they are. It writes
// testdata/study/matched.md.
//
//	STUDY_AT="2026-11-27, commit 1a2b3c4" go test ./analysis/season -tags study -run CoverageMatched -timeout 30m
func TestCoverageMatched(t *testing.T) {
	const farms = 120
	table := "| pair | heat | farms | used | offset holds the difference | holds the truth | median width / heat |\n|---|---|---|---|---|---|---|\n"
	for _, x := range []struct {
		name string
		m    simfarm.Matched
	}{
		{"not compared", simfarm.Matched{}},
		{"read alike within 0.05 K", simfarm.Matched{WithinK: 0.05}},
		{"offset stated, within 0.05 K", simfarm.Matched{WithinK: 0.05, Offset: true}},
		{"offset stated, within 0.2 K", simfarm.Matched{WithinK: 0.2, Offset: true}},
		{"offset found in still water", simfarm.Matched{Find: true}},
	} {
		byKey := map[string][]covered{}
		for seed := uint64(1001); seed < 1001+farms; seed++ {
			for _, c := range coverageOf(t, seed, x.m) {
				byKey[c.key] = append(byKey[c.key], c)
			}
		}
		for _, key := range []string{"loop_kwh", "plant_kwh"} {
			list := byKey[key]
			held, applied, offsets := 0, 0, 0
			var widths []float64
			for _, c := range list {
				if c.in {
					held++
				}
				if c.applied {
					applied++
					if c.offsetIn {
						offsets++
					}
				}
				widths = append(widths, c.width)
			}
			slices.Sort(widths)
			n := float64(len(list))
			table += fmt.Sprintf("| %s | %s | %d | %d | %d | %.1f %% | %.2f %% |\n", x.name, key, len(list), applied, offsets, 100*float64(held)/n, 100*widths[len(widths)/2])
			// Three standard errors below 95 %; more than that above is too wide, not wrong.
			require.Greater(t, float64(held)/n, 0.95-3*math.Sqrt(0.05*0.95/n), "%s %s", x.name, key)
		}
	}
	t.Log("\n" + table)
	dir := filepath.Join("..", "..", "testdata", "study")
	require.NoError(t, os.MkdirAll(dir, 0o755))
	text := studyHead + table
	if at := os.Getenv("STUDY_AT"); at != "" {
		text += "\nMade " + at + ".\n"
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "matched.md"), []byte(text), 0o644))
}

const studyHead = `# Coverage of heats whose probes were compared

Made by ` + "`go test ./analysis/season -tags study -run CoverageMatched`" + `: 120 simulated farms of 12 days (seeds 1001 to
1120, invented), each probe's error drawn as its farm file states it, against the bare truth. At rest the outlets'
probes stand in surroundings that differ from the inlets' by 0.05 K (standard deviation, drawn by farm), which is what
the floor of 0.1 K at 95 % of the search in still water allows for. "Used" counts the farms whose pair was used;
where still water says nothing the probes count as not compared. "Offset holds the difference": of those, in how many the
pair's interval holds the difference of the drawn errors.

`
