//go:build study

package season

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// The study of changes: random simulated farms (simfarm.Short, its loop, plant,
// errors and logs drawn by the seed) over 44 to 70 days, so that 40 draws stand
// on each side of a change. `go test -tags study -run ChangeStudy -v
// ./analysis/season`; testdata/study/change.md keeps the figures.

func studyCount(name string, usual int) int {
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return n
	}
	return usual
}

// supplyTold: the bed with a store was chosen and its supply has an interval.
func supplyTold(s *Season) bool {
	for _, f := range s.Loop.Figures {
		if f.Key == "supply_w_per_k" {
			return !math.IsNaN(f.Figure.Value + f.Figure.Low + f.Figure.High)
		}
	}
	return false
}

func TestChangeStudySteady(t *testing.T)     { studySteady(t, "") }
func TestChangeStudySteadySlab(t *testing.T) { studySteady(t, steadySlab) }

func studySteady(t *testing.T, of string) {
	n, first := studyCount("STUDY_STEADY", 200), studyCount("STUDY_FIRST", 2000)
	alarms := 0
	by := map[string]int{}
	for seed := range n {
		scenario, _ := studyFarm(uint64(first+seed), of)
		list := allChanges(studySeason(t, scenario))
		if len(list) > 0 {
			alarms++
		}
		for _, c := range list {
			by[c.Of]++
			t.Logf("farm %d: %s", first+seed, c.Text)
		}
	}
	t.Logf("steady: %d of %d seasons with an alarm (%.1f %%), by quantity %v", alarms, n, 100*float64(alarms)/float64(n), by)
	// A true rate of 5 % gives more than this once in a hundred.
	require.LessOrEqual(t, float64(alarms), 0.05*float64(n)+2.33*math.Sqrt(0.0475*float64(n))+0.5)
}

// stepTally counts what became of one kind of step.
type stepTally struct {
	farms, found, sign, size, date, others int
	halves, off                            []float64 // of the size: half the interval, and distance from the truth
}

func TestChangeStudySteps(t *testing.T) {
	n := studyCount("STUDY_STEPS", 80)
	for _, kind := range []struct{ of, key string }{
		{simfarm.ChangeUA, "ua_w_per_k"}, {simfarm.ChangeApproach, "approach_k"}, {simfarm.ChangePlate, "plate_effectiveness"},
		{simfarm.ChangeSupply, "supply_w_per_k"},
	} {
		t.Run(kind.of, func(t *testing.T) {
			var sum stepTally
			skipped := 0
			for seed := uint64(5000); sum.farms < n; seed++ {
				scenario, truth := studyFarm(seed, kind.of)
				s := studySeason(t, scenario)
				if kind.of == simfarm.ChangeUA && !s.Loop.Identified || kind.of == simfarm.ChangeSupply && !supplyTold(s) {
					skipped++
					continue
				}
				sum.count(t, s, kind.key, truth, fmt.Sprintf("farm %d", seed))
			}
			t.Logf("%s: %d farms left out whose coefficient is not told", kind.of, skipped)
			t.Logf("%s: found %d of %d, sign right %d, size held %d, date held %d, steps in other quantities or days %d; medians of half the size's interval %.3g, of its distance from the truth %.3g",
				kind.of, sum.found, sum.farms, sum.sign, sum.size, sum.date, sum.others, medianOf(sum.halves), medianOf(sum.off))
			require.GreaterOrEqual(t, float64(sum.found), 0.9*float64(sum.farms))
			require.Equal(t, sum.found, sum.sign)
			require.GreaterOrEqual(t, float64(sum.size), 0.95*float64(sum.found)-1.65*math.Sqrt(0.0475*float64(sum.found)))
		})
	}
}

func (n *stepTally) count(t *testing.T, s *Season, key string, truth simfarm.Change, name string) {
	n.farms++
	at := s.Period.Start + int64(truth.Day*86400e3)
	want := truth.By
	if key != "approach_k" {
		want = 100 * (truth.By - 1)
	}
	found := false
	for _, c := range allChanges(s) {
		if c.Of != key || math.Abs(float64(c.At-at)) > 5*86400e3 || found {
			n.others++
			t.Logf("%s: also %s", name, c.Text)
			continue
		}
		found = true
		n.found++
		n.halves, n.off = append(n.halves, (c.Size.High-c.Size.Low)/2), append(n.off, math.Abs(c.Size.Value-want))
		held, dated := c.Size.Low <= want && want <= c.Size.High, c.AtLow <= at && at <= c.AtHigh
		if c.Size.Value*want > 0 {
			n.sign++
		}
		if held {
			n.size++
		}
		if dated {
			n.date++
		}
		if !held || !dated {
			t.Logf("%s: truth %.1f at day %.2f; %.2f [%.2f, %.2f] at %.2f [%.2f, %.2f]", name, want, truth.Day, c.Size.Value, c.Size.Low, c.Size.High,
				days(c.At-s.Period.Start), days(c.AtLow-s.Period.Start), days(c.AtHigh-s.Period.Start))
		}
	}
	if !found {
		t.Logf("%s: %s by %.2f at day %.2f missed", name, key, truth.By, truth.Day)
	}
}

func days(ms int64) float64 { return float64(ms) / 86400e3 }
