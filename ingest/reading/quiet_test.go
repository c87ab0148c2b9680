package reading

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// wander is an invented bath of readings every ten seconds: steps, jumps, runs
// of equal readings short and long, codes, gaps, holes and flags from before.
func wander(r *rand.Rand) *series.Series {
	n := 200 + r.IntN(1500)
	s := &series.Series{Quantity: []series.Quantity{"tank_temp", "bed_temp", "outdoor_temp"}[r.IntN(3)], IntervalMS: 10_000}
	t, v := int64(1_767_225_600_000), 20+60*r.Float64()
	calm := r.IntN(2) == 0
	for len(s.T) < n {
		run := 1
		if r.IntN(60) == 0 {
			run = 1 + r.IntN(300)
		}
		v += float64(r.IntN(5)-2) / 10
		if !calm && r.IntN(50) == 0 {
			v += float64(r.IntN(80) - 40)
		}
		for range run {
			x, f := v, series.Flag(0)
			switch r.IntN(400) {
			case 0:
				x, f = math.NaN(), series.Absent
			case 1:
				x = []float64{85, -127, -0.06, 850, 400}[r.IntN(5)]
			case 2:
				x, f = v+1, series.Order
			}
			t += 10_000
			if r.IntN(300) == 0 {
				t += int64(r.IntN(20)) * 3_600_000
			}
			s.T, s.V = append(s.T, t), append(s.V, x)
			s.Flags.Append(f)
		}
	}
	return s
}

// To pass over what is quiet changes no flag.
func TestQuietChangesNothing(t *testing.T) {
	opt := DefaultFlagOptions()
	r := rand.New(rand.NewPCG(7, 7))
	flagged := 0
	for range 600 {
		a := wander(r)
		b := *a
		b.Flags = a.Flags.Clone()
		l := opt.LimitsFor(a.Quantity)
		l.SpikeK, l.StuckH = 1+4*r.Float64(), 0.1+2*r.Float64()
		beside := Beside{Like: []*series.Series{wander(r)}}
		_, quiet := Flag(a, l, same, opt)
		FlagBeside(a, l, quiet, beside, opt)
		none := make(Quiet, len(quiet))
		temperatureCodes(&b, l, none, same, opt)
		outOfRange(&b, l, none, opt)
		FlagBeside(&b, l, none, beside, opt)
		require.Equal(t, b.Flags.List(), a.Flags.List())
		flagged += a.Flags.Set()
	}
	require.Greater(t, flagged, 10_000)
}
