package season

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// leaveOut flags readings of a quantity at random, in runs of up to twenty.
func leaveOut(t *testing.T, rec *ingest.Record, q series.Quantity, flag series.Flag, runs int, rng *rand.Rand) *ingest.Record {
	t.Helper()
	out := *rec
	out.Series = slices.Clone(rec.Series)
	for i, s := range rec.Series {
		if s.Quantity != q {
			continue
		}
		one := *s
		one.Flags = s.Flags.Clone()
		for range runs {
			at := rng.IntN(len(s.T) - 20)
			for k := at; k < at+1+rng.IntN(20); k++ {
				if one.Flags.At(k) == 0 {
					one.Flags.Or(k, flag)
				}
			}
		}
		out.Series[i] = &one
		return &out
	}
	t.Fatalf("no %s on this farm", q)
	return nil
}

func wholeSums(t *testing.T, rec *ingest.Record, opt Options) figureSums {
	t.Helper()
	g, err := grid.Build(rec, rec.First, rec.Last, opt.Account.Grid)
	require.NoError(t, err)
	acc, err := account.Make(account.Input{Rec: rec, Grid: g, FromMS: rec.First, ToMS: rec.Last}, opt.Account)
	require.NoError(t, err)
	return (&excluder{rec: rec, acc: acc, opt: opt}).sumsOf(acc)
}

// Readings of a sound record are flagged; put back, the sums are those of the
// sound record, account and grid made over all of it.
func TestExclusionsPutBackGiveTheSoundRecord(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	rng := rand.New(rand.NewPCG(5, 5))
	opt := DefaultOptions()
	moves := 0
	for seed := uint64(3); seed < 6; seed++ {
		sound := recordOf(t, seed)
		for _, c := range []struct {
			q    series.Quantity
			flag series.Flag
		}{{"loop_out_temp", series.Range}, {"mains_temp", series.Spike}, {"plate_out_temp", series.Stuck}, {"wash_temp", series.Sentinel}} {
			holed := leaveOut(t, sound, c.q, c.flag, 90, rng)
			b, from, to, err := newBuilder(holed, opt)
			require.NoError(t, err)
			if b.rec != holed {
				continue // clocks were put together: the sound record's may differ by a little
			}
			got := b.exclusions(from, to)()
			at := slices.IndexFunc(got.List, func(e Exclusion) bool { return e.Quantity == string(c.q) && e.Test == testName(c.flag) })
			require.GreaterOrEqual(t, at, 0, c.q)
			e := got.List[at]
			require.Empty(t, e.Why, c.q)
			moves += len(e.Moves)
			require.NotEmpty(t, e.Threshold)
			// Other readings may carry the same flag: lift the same ones over all.
			lifted := *holed
			lifted.Series = slices.Clone(holed.Series)
			for i, s := range holed.Series {
				if s.Quantity == c.q {
					lifted.Series[i] = putBack(s, c.flag)
				}
			}
			was, is := wholeSums(t, holed, opt), wholeSums(t, &lifted, opt)
			for k, key := range summed {
				want := is[k] - was[k]
				moved := 0.0
				for _, m := range e.Moves {
					if m.Key == key {
						moved = m.PutBackKWh - m.ReportedKWh
						require.InDelta(t, was[k], m.ReportedKWh, 1e-9*math.Abs(was[k]))
					}
				}
				if !math.IsNaN(want) {
					require.InDelta(t, want, moved, 1e-6+1e-4*math.Abs(want), "seed %d, %s: %s", seed, c.q, key)
				}
			}
		}
	}
	require.Greater(t, moves, 12)
}

func testName(f series.Flag) string {
	for bit, name := range series.FlagNames {
		if f == 1<<bit {
			return name
		}
	}
	return ""
}

// Of rows that share a stamp the one left out takes the other's place.
func TestPutBackADuplicate(t *testing.T) {
	s := &series.Series{T: []int64{1, 2, 2, 2, 3}, V: []float64{1, 2, 3, 4, 5},
		Flags: series.FlagsOf(0, series.Duplicate, series.Duplicate, 0, series.Spike)}
	got := putBack(s, series.Duplicate)
	require.Equal(t, []series.Flag{0, 0, series.Duplicate, series.Duplicate, series.Spike}, got.Flags.List())
	require.Equal(t, []series.Flag{0, series.Duplicate, series.Duplicate, 0, 0}, func() []series.Flag { p := putBack(s, series.Spike); return p.Flags.List() }())
	require.Equal(t, series.Spike, s.Flags.At(4), "the record stays as it was")
}

func TestExclusionsNameWhatWasNotComputed(t *testing.T) {
	rec := leaveOut(t, recordOf(t, 4), "loop_out_temp", series.Range, 30, rand.New(rand.NewPCG(1, 1)))
	b, from, to, err := newBuilder(rec, DefaultOptions())
	require.NoError(t, err)
	b.opt.ExclusionCells = 100
	whys := map[string]string{}
	for _, e := range b.exclusions(from, to)().List {
		whys[e.Quantity+" "+e.Test] = e.Why
	}
	require.Equal(t, WhyManyFlags, whys["loop_out_temp range"])
	// Half the period: what lies outside is counted, not summed.
	half := from + (to-from)/2
	for _, o := range b.exclusions(half, to)().Outside {
		require.Zero(t, o.After)
		require.Positive(t, o.Before)
	}
	require.Empty(t, b.exclusions(from, to)().Outside)
}

// Every reading of every column stands in one file, and those kept and flagged
// are what the record says.
func TestChannelsOfFilesAddUp(t *testing.T) {
	rec := recordOf(t, 6)
	s := compute(t, rec, func(o *Options) { o.From = time.UnixMilli(rec.First + (rec.Last-rec.First)/3) })
	kept, read := map[string]int{}, map[string]int{}
	for _, c := range s.Exclusions.Channels {
		require.NotEmpty(t, c.KeptIn)
		n := 0
		for _, f := range c.Flagged {
			require.NotEmpty(t, f.Threshold, f.Test)
			n += f.Readings
		}
		require.GreaterOrEqual(t, n, c.Readings-c.Kept, "a reading may carry two flags")
		kept[c.Quantity+c.Column] += c.Kept
		read[c.Quantity+c.Column] += c.Readings
	}
	for _, x := range rec.Series {
		require.Equal(t, x.Kept(), kept[string(x.Quantity)+x.Column])
		require.Equal(t, x.Samples(), read[string(x.Quantity)+x.Column])
	}
	require.NotEmpty(t, s.Exclusions.Outside)
}
