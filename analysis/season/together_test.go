package season

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// heatsAlone computes what Compute does up to the heats as seen, without the
// loop's fit and all that follows: for studies of the heats.
func heatsAlone(t testing.TB, rec *ingest.Record, change func(*Options)) *Season {
	t.Helper()
	s, _ := heatsAndRaw(t, rec, change)
	return s
}

// heatsAndRaw gives beside them the sums of the account as the logs' own
// clocks have it.
func heatsAndRaw(t testing.TB, rec *ingest.Record, change func(*Options)) (s *Season, raw map[string]float64) {
	t.Helper()
	opt := DefaultOptions()
	if change != nil {
		change(&opt)
	}
	b := &builder{rec: rec, opt: opt, s: &Season{Farm: rec.Farm.Name}}
	from, to, err := period(rec, opt)
	require.NoError(t, err)
	b.grid, err = grid.Build(rec, from, to, opt.Account.Grid)
	require.NoError(t, err)
	b.acc, err = account.Make(account.Input{Rec: rec, Grid: b.grid, FromMS: from, ToMS: to}, opt.Account)
	require.NoError(t, err)
	raw = map[string]float64{}
	for _, r := range b.acc.Loop.Rows {
		raw["loop_kwh"] += r.KWh
	}
	for _, r := range b.acc.Plate.Rows {
		raw["plant_kwh"] += r.KWh
	}
	require.NoError(t, b.together(from, to))
	b.reg = newRegistry(rec.Farm, b.grid)
	b.clockDoubts(from, to)
	b.pipeDoubts(from, to)
	x, all := b.terms(), b.stretchOf(func(int) bool { return true })
	b.note("loop_kwh", b.seenHeat(&b.s.Heat.Seen, "loop_kwh", x.loop, all, 0))
	b.note("plate_kwh", b.seenHeat(&b.s.Heat.Seen, "plant_kwh", x.plate, all, 0))
	require.NoError(t, b.run())
	b.budgetRows()
	return b.s, raw
}

func fewTrials(o *Options) { o.Doubt.MinTrials, o.Doubt.MaxTrials = 5000, 5000 }

func noSearch(o *Options) { fewTrials(o); o.Apart.FewestStarts = 10000; o.Apart.CarryS = 0 }

// The flow meters' logger of a simulated farm stands half a minute and more off
// the temperatures': as logged the loop loses up to some percent; put on one
// clock the heats are what an exact method would report. The report says so,
// and the offset found is the one drawn.
func TestClocksArePutTogether(t *testing.T) {
	for _, seed := range []uint64{4, 5} {
		sc := simfarm.Apart(seed, 60, 30, 120, 0.5)
		f, rec := load(t, sc)
		seen := f.SeenSums()
		s := heatsAlone(t, rec, fewTrials)
		kept := heatsAlone(t, rec, noSearch)
		for key, want := range map[string]float64{"loop_kwh": seen.LoopKWh, "plant_kwh": seen.PlantKWh} {
			off, as := math.Abs(find(t, s.Heat.Seen, key).Value/want-1), math.Abs(find(t, kept.Heat.Seen, key).Value/want-1)
			require.Less(t, off, 0.007, "%s, farm %d", key, seed)
			require.Less(t, off, 0.6*as, "%s, farm %d", key, seed)
		}
		require.Equal(t, []string{CodeClocksApart, CodeClocksApart}, clockCodes(s))
		ahead := sc.Loggers[len(sc.Loggers)-1].AheadS
		for _, p := range s.Problems {
			if p.Where == "plate" {
				require.InDelta(t, -ahead, offsetIn(t, p.Text), 1.5, p.Text)
			}
		}
	}
}

// Where nothing can tell how far two clocks stand apart, the budget carries it
// and the heat's interval is the wider for it.
func TestClocksThatCannotBeFoundAreCarried(t *testing.T) {
	_, rec := load(t, simfarm.Apart(4, 60, 30, 120, 0))
	blind := heatsAlone(t, rec, noSearch)
	carried := heatsAlone(t, rec, func(o *Options) { noSearch(o); o.Apart.CarryS = 60 })
	require.Equal(t, []string{CodeClocksOpen, CodeClocksOpen}, clockCodes(carried))
	a, b := find(t, blind.Heat.Seen, "loop_kwh"), find(t, carried.Heat.Seen, "loop_kwh")
	require.Equal(t, a.Value, b.Value)
	require.Greater(t, b.High-b.Low, 1.3*(a.High-a.Low))
	listed := 0
	for _, r := range carried.Budget {
		if strings.HasPrefix(r.Source, "clocks of meters and ") {
			require.True(t, r.Assumed)
			listed++
		}
	}
	require.Positive(t, listed)
}

// Flow and temperatures in one log stand on one clock: nothing is looked for.
func TestOneLogIsLeftAlone(t *testing.T) {
	s := heatsAlone(t, recordOf(t, 6), fewTrials)
	require.Empty(t, clockCodes(s))
}

// offsetIn reads the seconds that the note says.
func offsetIn(t testing.TB, text string) float64 {
	t.Helper()
	_, rest, ok := strings.Cut(text, "temperatures is ")
	require.True(t, ok, text)
	number, _, _ := strings.Cut(rest, " ")
	v, err := strconv.ParseFloat(number, 64)
	require.NoError(t, err, text)
	if strings.Contains(rest, " s behind that") {
		return -v
	}
	require.Contains(t, rest, " s ahead of that")
	return v
}

func clockCodes(s *Season) []string {
	var out []string
	for _, p := range s.Problems {
		if p.Code == CodeClocksApart || p.Code == CodeClocksOpen {
			out = append(out, p.Code)
		}
	}
	return out
}
