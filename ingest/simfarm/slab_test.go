package simfarm

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The matrix of a cell with a slab against a hundred thousand small steps.
func TestTriple(t *testing.T) {
	const film, wall, supply, water, pipe, slab, dt = 0.9, 0.02, 0.006, 11.0, 2.3, 190.0, 47.0
	m := newTriple(dt, film, wall, supply, water, pipe, slab)
	x := [3]float64{-20, -14, -3}
	want := x
	const n = 100_000
	for range n {
		rise := func(v [3]float64) [3]float64 {
			return [3]float64{film / water * (v[1] - v[0]), film/pipe*(v[0]-v[1]) - wall/pipe*(v[1]-v[2]), wall/slab*(v[1]-v[2]) - supply/slab*v[2]}
		}
		d, h := rise(want), dt/n
		mid := rise([3]float64{want[0] + h/2*d[0], want[1] + h/2*d[1], want[2] + h/2*d[2]})
		for i := range want {
			want[i] += h * mid[i]
		}
	}
	for i := range x {
		require.InDelta(t, want[i], m[i][0]*x[0]+m[i][1]*x[1]+m[i][2]*x[2], 1e-8, "%d", i)
	}
}

// Flow past a slab that no bed supplies is the Anzelius-Schumann solution:
// J(2,2) = 0.603500961 (Schumann 1929, from memory), here with a thin wall and an
// all but perfect film between, at 300 cells.
func TestSlabAgainstSchumann(t *testing.T) {
	const n, cellKg, ratio, k = 300, 1.0, 7.0, 1e-3
	c := &chain{n: n, last: n, cellKg: cellKg, cpKJ: cpKJPerKgK, waterKJ: cellKg * cpKJPerKgK}
	c.wallKJ = 1e-4 * c.waterKJ
	c.bedG = k * c.waterKJ
	c.film, c.stillFilm = 1e3*c.bedG, 1e3*c.bedG
	c.slab, c.slabKJ, c.supplyG = make([]float64, n), ratio*c.waterKJ, 0
	c.water, c.wall = make([]float64, n+1), make([]float64, n)
	stay := 2 / k // x = k stay = 2
	kg := n * cellKg / stay * 5
	outC := 0.0
	for s := 0.0; s < stay+2*ratio/k; s += 5 { // y = k (t - stay)/ratio = 2
		outC = c.flow(5, kg, 1, 0, 0)
	}
	require.InDelta(t, 0.603500961, outC, 2e-3)
}

// Heat is kept with a slab too, and what the bed gave reached the water but for
// what stays in store.
func TestSlabClosure(t *testing.T) {
	s := WithSlab(2, true)
	s.Days = 12
	f, err := Run(s)
	require.NoError(t, err)
	c := f.closure
	require.InDelta(t, 1, (c.bedKJ+c.airKJ-c.loopStoredKJ)/c.loopBookedKJ, 0.005)
	truth := f.Truth()
	require.Equal(t, s.Slab.SupplyWPerK, truth.SupplyWPerK)
	require.InDelta(t, s.Loop.UAWPerK, truth.UAWPerK, 0.05*s.Loop.UAWPerK)
	// The slab is colder than the bed by what is drawn over the supply.
	sum, bed := 0.0, 0.0
	for i, v := range f.signal[SlabProbe] {
		sum, bed = sum+v-s.Slab.ProbeOffsetK, bed+f.signal[BedAtPipe][i]
	}
	n := float64(len(f.signal[SlabProbe]))
	drawnW := c.bedKJ * 1000 / float64(f.end-f.start)
	require.InDelta(t, 1, (bed-sum)/n/(drawnW/s.Slab.SupplyWPerK), 0.05)
	require.False(t, math.IsNaN(drawnW))
	plain := WithSlab(2, false)
	require.Zero(t, plain.Slab.CapacityKJPerK)
	require.Equal(t, s.Loop, plain.Loop)
}
