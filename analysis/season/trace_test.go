package season

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// traced is a simulated farm's folder, record and season, with what figures are
// followed by.
func traced(t *testing.T, scenario simfarm.Scenario) (dir string, s *Season) {
	t.Helper()
	farm, err := simfarm.Run(scenario)
	require.NoError(t, err)
	dir = t.TempDir()
	require.NoError(t, farm.Write(dir))
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	require.NoError(t, err)
	return dir, compute(t, rec, func(o *Options) { o.Trace = true })
}

// Every figure that is a sum is what its chain's sums make of it, computed a
// second way: cycle by cycle, without the budget.
func TestChainsAddUpToTheFigures(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	scenarios := []simfarm.Scenario{simfarm.Short(3), simfarm.Short(9), simfarm.Short(14)}
	if !testing.Short() {
		scenarios = append(scenarios, simfarm.Sample())
	}
	for _, scenario := range scenarios {
		_, s := traced(t, scenario)
		added := 0
		for _, key := range s.FigureKeys() {
			c, err := s.Trace(key, 0)
			require.NoError(t, err, key)
			require.NotEmpty(t, c.Formula, key)
			require.Equal(t, key, c.Key)
			f := c.Figure
			if math.IsNaN(f.Value) || math.IsNaN(c.Total) {
				continue
			}
			require.NotEmpty(t, c.Parts, key)
			require.NotEmpty(t, c.Channels, key)
			require.InDelta(t, f.Value, c.Total, 1e-9*math.Max(1, math.Abs(f.Value)), "%s: %s", scenario.Name, key)
			added++
		}
		require.Greater(t, added, 30, scenario.Name)
	}
}

func TestTraceNamesWhatThereIs(t *testing.T) {
	_, s := traced(t, simfarm.Short(9))
	c, err := s.Trace("loop_kwh", 0)
	require.NoError(t, err)
	require.Equal(t, "heat.loop_kwh", c.Key, "a headline figure by its own key")
	_, err = s.Trace("heat.lop_kwh", 0)
	require.ErrorIs(t, err, ErrNoFigure)
	require.ErrorContains(t, err, "heat.loop_kwh")
	_, err = s.TraceCycle(0)
	require.ErrorIs(t, err, ErrNoCycle)
	_, err = s.TraceCycle(len(s.Cycles) + 1)
	require.ErrorIs(t, err, ErrNoCycle)
	_, err = s.Trace("heat.loop_kwh", 9999)
	require.ErrorIs(t, err, ErrNoCycle)
	s.behind = nil
	_, err = s.Trace("heat.loop_kwh", 0)
	require.ErrorIs(t, err, ErrNoTrace)
}

// The rows that a chain names are looked up in the file: their stamps lie in
// the cycle, those before and after do not, and their flow makes its litres.
func TestRowsOfACycleStandInTheFile(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	dir, s := traced(t, simfarm.Short(9)) // one log, a reading a minute, no clock to correct
	zone, err := time.LoadLocation(s.ZoneName)
	require.NoError(t, err)
	f, err := os.Open(filepath.Join(dir, "yard.csv"))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	lines := []string{""} // by line number
	for in := bufio.NewScanner(f); in.Scan(); {
		lines = append(lines, in.Text())
	}
	header := strings.Split(lines[1], ",")
	stamp := func(line int) int64 {
		at, err := time.ParseInLocation(time.DateTime, strings.Split(lines[line], ",")[0], zone)
		require.NoError(t, err)
		return at.UnixMilli()
	}
	column := func(line int, name string) float64 {
		for k, h := range header {
			if h == name {
				v, err := strconv.ParseFloat(strings.Split(lines[line], ",")[k], 64)
				require.NoError(t, err)
				return v
			}
		}
		t.Fatalf("no column %s", name)
		return 0
	}
	for n := 2; n < len(s.Cycles)-1; n += 7 {
		c, err := s.TraceCycle(n)
		require.NoError(t, err)
		require.Len(t, c.Parts, 1)
		part := c.Parts[0]
		require.Equal(t, s.Cycles[n-1].Start, part.Start)
		quantities := map[string]bool{}
		for _, r := range part.Rows {
			quantities[r.Quantity] = true
			if r.File != "yard.csv" {
				continue
			}
			require.Contains(t, r.Clock, s.ZoneName)
			if r.Quantity != "loop_flow" {
				continue
			}
			// Means that end at their stamps: the first begins before the cycle's end.
			require.Greater(t, stamp(r.FirstLine), part.Start)
			require.LessOrEqual(t, stamp(r.FirstLine-1), part.Start)
			require.Less(t, stamp(r.LastLine)-60_000, part.End)
			litres := 0.0
			for line := r.FirstLine; line <= r.LastLine; line++ {
				litres += column(line, r.Column)
			}
			require.InDelta(t, s.Cycles[n-1].LoopL, litres, 0.02*litres+15, "cycle %d", n)
		}
		require.True(t, quantities["loop_flow"] && quantities["loop_out_temp"] && quantities["element_energy"])
		require.True(t, quantities["milk_volume"], "the row of the milkings list")
	}
	// A row of the list is the milking's own.
	c, err := s.TraceCycle(5)
	require.NoError(t, err)
	for _, r := range c.Parts[0].Rows {
		if r.File == "milkings.csv" {
			b, err := os.ReadFile(filepath.Join(dir, r.File))
			require.NoError(t, err)
			row := strings.Split(strings.Split(string(b), "\n")[r.FirstLine-1], ",")
			at, err := time.ParseInLocation("2006-01-02 15:04", row[0]+" "+row[1], zone)
			require.NoError(t, err)
			require.Equal(t, c.Parts[0].Start, at.UnixMilli())
		}
	}
}
