package store

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A yard whose supply falls by a quarter half-way: the draws' own supply falls
// by as much.
func TestLnSupplyByDrawShowsAStep(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(9)
	y.days, y.before = 30, 10
	a := y.record()
	y.supply *= 0.75
	b := y.record()
	both := a
	join := func(p, q []float64) []float64 { return append(append([]float64{}, p...), q...) }
	half := float64(y.days) * 86400
	both.T = join(a.T, b.T)
	for i := len(a.T); i < len(both.T); i++ {
		both.T[i] += half + 60
	}
	both.Flow0, both.Flow1 = join(append(append([]float64{}, a.Flow0...), 0), b.Flow0), join(append(append([]float64{}, a.Flow1...), 0), b.Flow1)
	both.InC, both.OutC, both.BedC = join(a.InC, b.InC), join(a.OutC, b.OutC), join(a.BedC, b.BedC)
	_, fit := run(t, both)
	require.True(t, fit.Chosen, fit.Choice.Why)
	var sum, weight [2]float64
	for i, d := range fit.LnSupplyByDraw() {
		side := 0
		if from := fit.Loop.Draws[i].FromS; from > half {
			side = 1
			if from < half+2*86400 {
				continue // the slab has yet to follow
			}
		}
		if w := 1 / (d.SD * d.SD); !math.IsNaN(w) {
			sum[side], weight[side] = sum[side]+w*d.LnUA, weight[side]+w
		}
	}
	require.InDelta(t, math.Log(0.75), sum[1]/weight[1]-sum[0]/weight[0], 0.15)
	require.Nil(t, (&Fit{}).LnSupplyByDraw())
}
