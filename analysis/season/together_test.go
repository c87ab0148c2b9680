package season

import (
	"math"
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
	require.NoError(t, b.together(from, to))
	b.reg = newRegistry(rec.Farm, b.grid)
	b.clockDoubts(from, to)
	b.pipeDoubts(from, to)
	x, all := b.terms(), b.stretchOf(func(int) bool { return true })
	b.note("loop_kwh", b.seenHeat(&b.s.Heat.Seen, "loop_kwh", x.loop, all, 0))
	b.note("plate_kwh", b.seenHeat(&b.s.Heat.Seen, "plant_kwh", x.plate, all, 0))
	require.NoError(t, b.run())
	b.budgetRows()
	return b.s
}

// apartFarm is one farm of the study with what it should come to.
type apartFarm struct {
	aheadS, driftSPerDay float64
	truth, seen          simfarm.Truth
	season               *Season
}

func makeApart(t testing.TB, seed uint64, intervalS int, change func(*Options)) apartFarm {
	t.Helper()
	sc := simfarm.Apart(seed, intervalS, 30, 120, 0.5)
	f, rec := loaded(t, sc)
	meters := sc.Loggers[len(sc.Loggers)-1]
	return apartFarm{aheadS: meters.AheadS, driftSPerDay: meters.DriftSPerDay, truth: f.Truth(), seen: f.SeenSums(), season: heatsAlone(t, rec, change)}
}

func fewTrials(o *Options) { o.Doubt.MinTrials, o.Doubt.MaxTrials = 5000, 5000 }

func noSearch(o *Options) { fewTrials(o); o.Apart.FewestStarts = 10000; o.Apart.CarryS = 0 }

func TestZZ(t *testing.T) {
	for _, step := range []int{60, 10} {
		for seed := uint64(1); seed <= 8; seed++ {
			a := makeApart(t, seed, step, fewTrials)
			l, p := find(t, a.season.Heat.Seen, "loop_kwh"), find(t, a.season.Heat.Seen, "plant_kwh")
			t.Logf("%d %2d ahead %.1f %.2f: loop %+.2f%% ±%.2f  plate %+.2f%% ±%.2f", step, seed, a.aheadS, a.driftSPerDay,
				100*(l.Value/a.seen.LoopKWh-1), 50*(l.High-l.Low)/l.Value, 100*(p.Value/a.seen.PlantKWh-1), 50*(p.High-p.Low)/p.Value)
			for _, q := range a.season.Problems {
				if strings.HasPrefix(q.Code, "clocks") {
					t.Log("   ", q.Text[strings.Index(q.Text, ". "):])
				}
			}
		}
	}
	_ = math.NaN
}
