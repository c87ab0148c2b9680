package grid

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// straight is the line between the readings without a flag on either side of a
// time, looked for anew at each time.
func straight(s *series.Series, ms, bridgeMS int64) float64 {
	before, after := -1, -1
	for i, t := range s.T {
		switch {
		case s.Flags.At(i) != 0:
		case t <= ms:
			before = i
		case after < 0:
			after = i
		}
	}
	switch {
	case before < 0:
		return math.NaN()
	case after >= 0 && s.T[after]-s.T[before] <= bridgeMS:
		d := s.T[after] - s.T[before]
		return s.V[before] + (s.V[after]-s.V[before])/float64(d)*float64(ms-s.T[before])
	case s.T[before] == ms:
		return s.V[before]
	}
	return math.NaN()
}

// Whole stretches of a regular log are walked at once: whatever stands in
// between (flags, readings too many, gaps, a step that shifts), the points hold
// to the last digit what each by itself would, by turns or not.
func TestStretchesWalkedAtOnceHoldWhatEachPointWould(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 7))
		s := &series.Series{Kind: series.Instant}
		at := int64(r.IntN(3)) * 2500
		for range 120 {
			s.T, s.V = append(s.T, at), append(s.V, math.Round(r.NormFloat64()*100)/10)
			flag := series.Flag(0)
			if r.IntN(15) == 0 {
				flag = series.Spike
			}
			s.Flags.Append(flag)
			switch r.IntN(25) {
			case 0:
				at += int64(r.IntN(9)) * 2500
			case 1:
				at += 40000
			default:
				at += 10000
			}
		}
		g := Grid{StepS: 10, N: 150}
		near := g.near(s)
		for _, bridgeMS := range []int64{9000, 10000, 25000} {
			a := axis{int64(r.IntN(4)) * 2500, 10000, 130}
			for k, v := range interpolate(&near, a, bridgeMS) {
				requireSame(t, straight(s, a.t0+int64(k)*a.step, bridgeMS), v, "seed %d point %d", seed, k)
			}
			a = axis{a.t0 % 5000, 5000, 261}
			edges, middles := make([]float64, 131), make([]float64, 130)
			between(&near, a, bridgeMS, edges, middles)
			for k := range a.n {
				got := edges[k/2]
				if k%2 == 1 {
					got = middles[k/2]
				}
				requireSame(t, straight(s, a.t0+int64(k)*a.step, bridgeMS), got, "seed %d, by turns, point %d", seed, k)
			}
		}
	}
}

func requireSame(t *testing.T, want, got float64, format string, args ...any) {
	t.Helper()
	if want != got && (want == want || got == got) {
		require.Failf(t, "another number", "want %v, got %v: "+format, append([]any{want, got}, args...)...)
	}
}
