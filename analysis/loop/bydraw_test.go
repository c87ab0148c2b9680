package loop

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A yard whose bed coefficient steps half-way: the draws' own UA steps by as
// much, and a step of the bed's probe moves none of them.
func TestLnUAByDrawShowsAStep(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(3)
	y.days, y.longEvery, y.perDraw = 40, 1, 560
	a := y.record()
	y.uaBed *= 0.75
	b := y.record()
	// The second yard's record is joined after the first's.
	n := len(a.T)
	both := a
	both.T, both.Flow0, both.Flow1 = append([]float64{}, a.T...), append([]float64{}, a.Flow0...), append([]float64{}, a.Flow1...)
	for _, s := range b.T {
		both.T = append(both.T, s+float64(y.days)*86400)
	}
	both.Flow0, both.Flow1 = append(append(both.Flow0, 0), b.Flow0...), append(append(both.Flow1, 0), b.Flow1...)
	join := func(p, q []float64) []float64 { return append(append([]float64{}, p...), q...) }
	both.InC, both.OutC, both.BedC = join(a.InC, b.InC), join(a.OutC, b.OutC), join(a.BedC, b.BedC)
	for i := 3 * n / 2; i < len(both.BedC); i++ {
		both.BedC[i] += 1.5
	}
	f, err := Run(both, DefaultOptions())
	require.NoError(t, err)
	half, quarter := float64(y.days)*86400, float64(y.days)*86400*3/2
	var means [3]mean
	for i, d := range f.LnUAByDraw() {
		part := 0
		switch {
		case f.Draws[i].FromS > quarter:
			part = 2
		case f.Draws[i].FromS > half:
			part = 1
		}
		if d.SD < 0.1 {
			means[part].add(d.LnUA, 1/(d.SD*d.SD+1e-4))
		}
	}
	y.uaBed /= 0.75
	before := y.uaWPerK()
	y.uaBed *= 0.75
	want := math.Log(y.uaWPerK() / before)
	require.InDelta(t, want, means[1].value()-means[0].value(), 0.05)
	require.InDelta(t, 0, means[2].value()-means[1].value(), 0.04)
}

func TestBetween(t *testing.T) {
	y := defaultYard(1)
	y.days = 6
	in := y.record()
	in.Draws = [][2]float64{{1000, 2000}, {86400, 90000}, {3 * 86400, 3*86400 + 600}}
	part := in.Between(86400, 4*86400)
	require.NoError(t, part.validate())
	require.Equal(t, 3*1440, len(part.T))
	require.Equal(t, in.T[1440], part.T[0])
	require.Equal(t, in.Flow0[1440], part.Flow0[0])
	require.Len(t, part.Draws, 2)
	empty := in.Between(50*86400, math.Inf(1))
	require.NoError(t, empty.validate())
	whole := in.Between(math.Inf(-1), math.Inf(1))
	require.Equal(t, in.T, whole.T)
	require.Equal(t, in.Flow1, whole.Flow1)
}
