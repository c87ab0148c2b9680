//go:build study

package season

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// The avoided energy of farms that switched the recovery off, or were logged
// before they had it, against the same farms simulated without it. Writes
// testdata/study/baseline.md.
func TestStudyBaseline(t *testing.T) {
	sets := []struct {
		name      string
		variables []string
	}{
		{"heat delivered and the tank's change", nil},
		{"milk and cold feed", []string{"milk_volume", "mains_temp", "constant"}},
		{"milk alone", []string{"milk_volume", "constant"}},
	}
	text := "# The energy avoided, held against days without recovery\n\n" + made("StudyBaseline") +
		"\nFarms of `simfarm.OnOff`: 50 to 70 days, of which 14 to 24 are without recovery: by turns the first ones (`before`) and a test in\n" +
		"between (`recovery_off`). The truth is the same farm, milk and weather with the recovery bypassed throughout, over the very cycles that\n" +
		"the report counted. `avoided_kwh` is after the compressor's extra work. An interval says 95 %. \"Off\" is the figure over the truth; the\n" +
		"half-width is the median over farms.\n\n"
	extra := tally{}
	var hotter []float64
	type result struct {
		base, avoided tally
		warned        int
	}
	results, kinds := make([]result, len(sets)), map[string]int{}
	for seed := *studyFrom; seed <= lastSeed(); seed++ {
		scenario := simfarm.OnOff(seed)
		kinds[scenario.Held.Kind]++
		farm, rec := recorded(t, scenario)
		without, err := simfarm.Run(scenario.WithoutRecovery())
		require.NoError(t, err)
		for k, set := range sets {
			rec.Farm.Baseline.Variables = set.variables
			s := compute(t, rec, func(o *Options) { o.Doubt.MinTrials, o.Doubt.MaxTrials = 3000, 3000 })
			would, baseline, compressor, more, _ := avoidedTruth(farm, without, s.Cycles)
			if k == 0 {
				hotter = append(hotter, more/baseline)
				would, baseline = would+more, baseline+more
			}
			results[k].base.add(find(t, s.Saving.Figures, "baseline_kwh"), baseline)
			results[k].avoided.add(find(t, s.Saving.Figures, "avoided_kwh"), would-compressor)
			if k == 0 {
				extra.add(find(t, s.Saving.Figures, "compressor_extra_kwh"), compressor)
			}
			for _, b := range s.Saving.Baselines {
				if b.Chosen && b.Model != nil && len(b.Model.Warnings) > 0 {
					results[k].warned++
				}
			}
		}
	}
	for k, set := range sets {
		text += fmt.Sprintf("## Against %s\n\n%d farms before, %d switched off; %d with a warning that the days reported on leave the baseline's range.\n\n", set.name, kinds["before"], kinds["recovery_off"], results[k].warned) +
			head + "| baseline_kwh | " + results[k].base.row() + "\n| avoided_kwh | " + results[k].avoided.row() + "\n\n"
	}
	slices.Sort(hotter)
	text += fmt.Sprintf("Against heat delivered the truth is for the same heat: with recovery the washes of these farms took more than the element alone\nwould have given them, %.1f %% of its electricity in the median, %.1f %% at most, and such a model counts that heat as what the element would\nhave had to give. Against milk or cold feed the truth is what the element would have used, cooler washes and all.\n\n", 100*hotter[len(hotter)/2], 100*hotter[len(hotter)-1])
	text += baselineWords
	text += "## The compressor's extra work\n\n" + head + "| compressor_extra_kwh | " + extra.row() + "\n"
	require.NoError(t, os.WriteFile(filepath.Join("..", "..", "testdata", "study", "baseline.md"), []byte(text), 0o644))
	t.Log("\n" + text)
}

// baselineWords say what was found, and on which farms it was looked for: to be
// held against the table above whenever it is made anew.
const baselineWords = `Goal met: 93 to 97 %. Seeds 1001 to 1060 were looked at once, after the work; seeds 501 to 530 were looked at during it (30 of 30 held), and
seeds 1 to 40 before it, when these intervals held 85.0 and 82.5 % and the energy avoided came out 1.3 % low in the median. The cause
was the cold feed of the days without recovery: their refills go past the loop's meter, and the coldest readings of the cycle were taken for
the feed. In air colder than the feed these are the night's air, and in warmer air they leave out what stood warm in the pipe; the heat
delivered then read up to 4 % too high on one side only. Now the feed is what its probe reads when a refill is due, by when refills came
after washes on the days with draws. The slope is still a few hundredths below 1 on most farms. Against milk the intervals are wide
enough, and wider than they need be.

`

func recorded(t *testing.T, s simfarm.Scenario) (*simfarm.Farm, *ingest.Record) {
	t.Helper()
	farm, err := simfarm.Run(s)
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, farm.Write(dir))
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	require.NoError(t, err)
	return farm, rec
}
