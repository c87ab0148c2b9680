//go:build study

package season

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

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
		{"heat delivered", nil},
		{"milk and cold feed", []string{"milk_volume", "mains_temp", "constant"}},
		{"milk alone", []string{"milk_volume", "constant"}},
	}
	text := "# The energy avoided, held against days without recovery\n\n" + made("StudyBaseline") +
		"\nFarms of `simfarm.OnOff`: 50 to 70 days, of which 14 to 24 are without recovery: by turns the first ones (`before`) and a test in\n" +
		"between (`recovery_off`). The truth is the same farm, milk and weather with the recovery bypassed throughout, over the very cycles that\n" +
		"the report counted. `avoided_kwh` is after the compressor's extra work. An interval says 95 %. \"Off\" is the figure over the truth; the\n" +
		"half-width is the median over farms.\n\n"
	extra := tally{}
	for k, set := range sets {
		base, avoided := tally{}, tally{}
		outside, kinds := 0, map[string]int{}
		for seed := *studyFrom; seed <= lastSeed(); seed++ {
			scenario := simfarm.OnOff(seed)
			scenario.Held.Variables = set.variables
			farm, _, s := simulated(t, scenario, nil)
			would, baseline, compressor, _ := avoidedTruth(t, scenario, farm, s.Cycles)
			f := find(t, s.Saving.Figures, "compressor_extra_kwh")
			base.add(find(t, s.Saving.Figures, "baseline_kwh"), baseline)
			avoided.add(find(t, s.Saving.Figures, "avoided_kwh"), would-compressor)
			if k == 0 {
				extra.add(f, compressor)
			}
			kinds[scenario.Held.Kind]++
			for _, b := range s.Saving.Baselines {
				if b.Chosen && b.Model != nil && len(b.Model.Warnings) > 0 {
					outside++
				}
			}
		}
		text += fmt.Sprintf("## Against %s\n\n%d farms before, %d switched off; %d with a warning that the days reported on leave the baseline's range.\n\n", set.name, kinds["before"], kinds["recovery_off"], outside) +
			head + "| baseline_kwh | " + base.row() + "\n| avoided_kwh | " + avoided.row() + "\n\n"
	}
	text += "## The compressor's extra work\n\n" + head + "| compressor_extra_kwh | " + extra.row() + "\n"
	require.NoError(t, os.WriteFile(filepath.Join("..", "..", "testdata", "study", "baseline.md"), []byte(text), 0o644))
	t.Log("\n" + text)
}
