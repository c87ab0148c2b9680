package season

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/account"
	"yardheat/ingest/series"
)

// A meter's readings are counted by stretches; one by one gives the same.
func TestMetersCountByStretchesAsOneByOne(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 100 {
		x := &series.Series{Kind: series.Instant, IntervalMS: 10}
		for i := range 2000 {
			v, f := math.Round(r.NormFloat64()*50)/50, series.Flag(0)
			switch r.IntN(40) {
			case 0:
				f = series.Spike
			case 1:
				v, f = nan, series.Absent
			case 2:
				f = series.Spike | series.Rate
			}
			x.T, x.V = append(x.T, int64(i/2*20)), append(x.V, v)
			x.Flags.Append(f)
		}
		b := &builder{acc: &account.Account{FromMS: int64(r.IntN(9000)), ToMS: 10000 + int64(r.IntN(20000))}}
		var want, got Meter
		last, step := nan, math.Inf(1)
		for i, v := range x.V {
			if x.T[i] < b.acc.FromMS || x.T[i] > b.acc.ToMS || v != v {
				continue
			}
			want.Received++
			for bit := range want.Flags {
				if x.Flags.At(i)&(1<<bit) != 0 {
					want.Flags[bit]++
				}
			}
			if x.Flags.At(i) == 0 {
				want.Valid++
				if d := math.Abs(v - last); d > leastStep && d < step {
					step = d
				}
				last = v
			}
		}
		b.read(&got, x)
		require.NotZero(t, want.Flags)
		require.Equal(t, want.Received, got.Received)
		require.Equal(t, want.Valid, got.Valid)
		require.Equal(t, want.Flags, got.Flags)
		require.Equal(t, math.Round(step/leastStep)*leastStep, got.Resolution)
	}
}
