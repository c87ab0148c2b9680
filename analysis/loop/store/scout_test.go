package store

import (
	"math"
	"testing"

	"yardheat/analysis/loop"
)

// scouted solves with a start from so many draws, and from all.
func scouted(t *testing.T, in Input, draws int) (part, whole *fitter, partOK, wholeOK bool) {
	t.Helper()
	o := loop.DefaultOptions()
	o.StiffWall = true
	base, err := loop.Run(in.Input, o)
	if err != nil {
		t.Fatal(err)
	}
	part, whole = newFitter(&in, base, o, DefaultOptions()), newFitter(&in, base, o, DefaultOptions())
	part.scoutDraws, whole.scoutDraws = draws, math.MaxInt/2
	partOK, wholeOK = part.solve(), whole.solve()
	return part, whole, partOK, wholeOK
}

// A start from a part of the season leads to the same fit as one from all of it:
// far nearer than the intervals are wide; and a uniform bed is given up on.
// Gaps cut the record and the windows.
func TestScout(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(14)
	y.days, y.probe = 60, true
	in := y.record()
	for _, day := range []int{9, 17, 18, 40} {
		for m := day * 1440; m < day*1440+300; m++ {
			in.BedC[m] = math.NaN()
		}
	}
	part, whole, a, b := scouted(t, in, 32)
	if !a || !b {
		t.Fatalf("given up: %v, %v", !a, !b)
	}
	if g := part.scout(); g == part || len(g.rows) < 3*32 || len(g.rows) > len(part.rows)*6/10 || len(g.slab) == 0 {
		t.Errorf("%d of %d rows, %d readings of the slab", len(g.rows), len(part.rows), len(g.slab))
	}
	v, w := part.q.vector(), whole.q.vector()
	for _, c := range []int{pK, pSupply, pSlab, pOffset} {
		near(t, w[c], v[c], 2e-3, names[c])
	}
	y.slabKJ, y.probe = 0, false
	if _, _, a, b = scouted(t, y.record(), 32); a || b {
		t.Errorf("a uniform bed was followed up: %v, %v", a, b)
	}
}

// What the windows predict is what the whole record predicts there: a slab that
// began a window's warm-up before forgets what was.
func TestScoutPredictsTheSame(t *testing.T) {
	y := defaultYard(15)
	y.days = 60
	in := y.record()
	o := loop.DefaultOptions()
	o.StiffWall = true
	base, err := loop.Run(in.Input, o)
	if err != nil {
		t.Fatal(err)
	}
	f := newFitter(&in, base, o, DefaultOptions())
	f.scoutDraws = 40
	f.q = Params{KPerH: 1.7, SupplyPerH: 1.1, SlabRatio: 9, OffsetK: -1.2, VolumeRatio: 1, Still: 0.9}
	g := f.scout()
	whole, part := f.residuals(f.q.vector()), g.residuals(f.q.vector())
	at := map[int]float64{}
	for i, r := range f.rows {
		at[r.Node] = whole.r[i]
	}
	worst, sum := 0.0, 0.0
	for i, r := range g.rows {
		d := math.Abs(part.r[i] - at[r.Node])
		worst, sum = math.Max(worst, d), sum+d*d
	}
	rms := math.Sqrt(sum / float64(len(g.rows)))
	t.Logf("%d of %d rows; differ by %.4f K, at worst by %.4f K", len(g.rows), len(f.rows), rms, worst)
	if len(g.rows) < 1000 || worst > 0.3 || rms > 0.02 {
		t.Errorf("windows predict other water: by %.4f K, at worst by %.4f K", rms, worst)
	}
}
