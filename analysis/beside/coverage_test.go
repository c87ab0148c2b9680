package beside

import (
	"flag"
	"fmt"
	"math"
	"os"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

var (
	farms = flag.Int("beside-farms", 3, "how many simulated farms TestDifferencesHold compares")
	from  = flag.Uint64("beside-from", 1, "the first of them")
	table = flag.String("beside-table", "", "a file that the counts are written to")
)

// half is one month of a simulated farm: its season, and what happened.
type half struct {
	s     *season.Season
	truth map[string]float64 // by key of Row
}

// months simulates a farm of February and March on which nothing is changed, and
// computes each month by itself. The truth goes by the cycles that begin in a month,
// and so does the cut.
func months(t *testing.T, seed uint64) [2]half {
	t.Helper()
	sc := simfarm.Short(seed)
	sc.Start, sc.Days = "2025-02-01", 59
	f, err := simfarm.Run(sc)
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	load := ingest.DefaultLoadOptions()
	load.Now = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	rec, err := ingest.Load(dir, load)
	require.NoError(t, err)
	require.NoError(t, os.RemoveAll(dir))
	var cut time.Time
	for _, m := range rec.Milkings {
		if at := time.UnixMilli(m.Start).In(rec.Zone); at.Month() == time.March {
			cut = at
			break
		}
	}
	require.False(t, cut.IsZero())
	truth := f.Truth()
	require.Len(t, truth.Months, 2)
	ends := [3]time.Time{time.UnixMilli(rec.First), cut, time.UnixMilli(rec.Last)}
	var out [2]half
	for i := range out {
		o := season.DefaultOptions()
		o.Doubt.MinTrials, o.Doubt.MaxTrials = 4000, 4000
		o.From, o.To = ends[i], ends[i+1]
		s, err := season.Compute(rec, o)
		require.NoError(t, err)
		days := float64(ends[i+1].UnixMilli()-ends[i].UnixMilli()) / msPerDay
		out[i] = half{s, map[string]float64{}}
		for k, v := range truth.Months[i].Headline() {
			if strings.HasSuffix(k, "_kwh") {
				k, v = k+"_per_day", v/days
			}
			out[i].truth[k] = v
		}
	}
	return out
}

// count is how often intervals of one figure held.
type count struct {
	n, held, apart, zero, zeroApart int
	width, alone                    []float64
}

func (c *count) take(r Row, a, b half) {
	x, y := a.truth[r.Key], b.truth[r.Key]
	if r.Verdict == NotKnown || math.IsNaN(x+y) || x == 0 {
		return
	}
	c.n++
	d := y - x
	if r.Difference.Low <= d && d <= r.Difference.High {
		c.held++
	}
	if r.Verdict == Apart {
		c.apart++
	}
	if d == 0 {
		c.zero++
		if r.Verdict == Apart {
			c.zeroApart++
		}
	}
	c.width = append(c.width, (r.Difference.High-r.Difference.Low)/2/x)
	c.alone = append(c.alone, math.Hypot(r.First.High-r.First.Low, r.Second.High-r.Second.Low)/2/x)
}

// TestDifferencesHold counts how often the interval of a difference holds the true
// one: of two months of a farm on which nothing was changed (weather and bed did
// what they do), and of two farms. Seeded; nothing is tuned to a seed.
//
//	go test ./analysis/beside -run DifferencesHold -v -beside-farms 100 -beside-from 3001 -timeout 60m
func TestDifferencesHold(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole farms")
	}
	by := [3]map[string]*count{{}, {}, {}}
	opt := DefaultOptions()
	opt.Doubt.MinTrials, opt.Doubt.MaxTrials = 4000, 4000
	note := func(which int, a, b half, same bool, drift float64) {
		opt.SameFarm, opt.Drift = same, drift
		c, err := Compare(a.s, b.s, opt)
		require.NoError(t, err)
		for _, r := range c.Rows {
			if by[which][r.Key] == nil {
				by[which][r.Key] = &count{}
			}
			by[which][r.Key].take(r, a, b)
			if d := b.truth[r.Key] - a.truth[r.Key]; a.truth[r.Key] != 0 && r.Verdict != NotKnown && (d < r.Difference.Low || d > r.Difference.High) {
				t.Logf("%d, %s: %s %s, truth %.4g; %s and %s (truth %.4g, %.4g)", which, b.s.Farm, r.Key, r.Difference.Shown, d, r.First.Shown, r.Second.Shown, a.truth[r.Key], b.truth[r.Key])
			}
		}
	}
	var before half
	for n := range *farms {
		m := months(t, *from+uint64(n))
		note(0, m[0], m[1], true, 0)
		note(1, m[0], m[1], true, DefaultOptions().Drift)
		if n > 0 {
			note(2, before, m[1], false, 0)
		}
		before = m[0]
	}
	text := report(by)
	t.Log("\n" + text)
	if *table != "" {
		require.NoError(t, os.WriteFile(*table, []byte(text), 0o644))
	}
	for which, counts := range by {
		n, held := 0, 0
		for _, c := range counts {
			n, held = n+c.n, held+c.held
		}
		require.Positive(t, n)
		// Figures of a farm share their errors: a count of so few farms scatters widely.
		require.GreaterOrEqual(t, float64(held), 0.8*float64(n), "%d: %d of %d", which, held, n)
	}
}

func report(by [3]map[string]*count) string {
	var b strings.Builder
	for which, title := range []string{"Two months of a farm, errors the same in both (Drift 0, as they are in these farms)", "Two months of a farm, a tenth of each instrument's error taken as new (the default)", "Two farms"} {
		fmt.Fprintf(&b, "## %s\n\n| figure | compared | the interval holds the true difference | told apart | median half-width | as if nothing were shared |\n|---|---|---|---|---|---|\n", title)
		var keys []string
		for k, c := range by[which] {
			if c.n > 0 {
				keys = append(keys, k)
			}
		}
		sort.Strings(keys)
		n, held := 0, 0
		for _, k := range keys {
			c := by[which][k]
			n, held = n+c.n, held+c.held
			fmt.Fprintf(&b, "| `%s` | %d | %.1f %% | %d | %.2f %% | %.2f %% |\n", k, c.n, 100*float64(c.held)/float64(c.n), c.apart, 100*median(c.width), 100*median(c.alone))
		}
		fmt.Fprintf(&b, "| all | %d | %.1f %% | | | |\n\n", n, 100*float64(held)/float64(max(1, n)))
	}
	return b.String()
}

func median(x []float64) float64 {
	sort.Float64s(x)
	return x[len(x)/2]
}
