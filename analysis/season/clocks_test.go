package season

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/farm"
)

// A clock found within five minutes widens the heats whose flow and
// temperatures stand in different logs, stands in the budget by its name, and
// the interval still holds what the logs give with the clock known. The farm
// is simulated.
func TestAFoundClockIsInTheBudget(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated season")
	}
	rec := recordOf(t, 3)
	known := compute(t, rec, nil)
	for _, x := range rec.Series { // as if the meter had a logger of its own
		if x.Quantity == "loop_flow" {
			x.Log = len(rec.Farm.Logs)
		}
	}
	rec.Farm.Logs = append(rec.Farm.Logs, farm.Log{Name: "meter"})
	rec.Files = append(rec.Files, ingest.File{Name: "meter.csv", Log: len(rec.Farm.Logs) - 1, Clock: ingest.Clock{From: "found", Low: -300, High: 300}})
	s := compute(t, rec, func(o *Options) { o.Apart.FewestStarts = 10_000 }) // that clock's own interval alone
	wider, listed := 0, 0
	for _, n := range s.Heat.Seen {
		before := find(t, known.Heat.Seen, n.Key)
		if math.IsNaN(before.Value) || math.IsNaN(before.Low) {
			continue
		}
		require.Equal(t, before.Value, n.Figure.Value, n.Key)
		require.Greater(t, n.Figure.High-n.Figure.Low, 0.9*(before.High-before.Low), n.Key)
		require.True(t, n.Figure.Low <= before.Value && before.Value <= n.Figure.High, n.Key)
		if n.Figure.High-n.Figure.Low > 1.02*(before.High-before.Low) {
			wider++
		}
	}
	for _, b := range s.Budget {
		if strings.HasPrefix(b.Source, "clock of the log meter") {
			listed++
		}
	}
	require.Positive(t, wider)
	require.Positive(t, listed)
}
