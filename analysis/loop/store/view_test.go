package store

import (
	"math"
	"testing"

	"yardheat/analysis/loop"
)

// Draws shorter than a cell: the model is known at every row.
func TestShortRuns(t *testing.T) {
	y := defaultYard(13)
	y.days = 30
	in := y.record()
	// Every other morning a jug is drawn in between.
	for d := 1; d < 30; d += 2 {
		for m := d*1440 + 720; m < d*1440+732; m++ {
			in.Flow0[m] = 1.5
		}
	}
	in.Flow1 = in.Flow0
	o := loop.DefaultOptions()
	base, err := loop.Run(in.Input, o)
	if err != nil {
		t.Fatal(err)
	}
	f := newFitter(&in, base, o, DefaultOptions())
	short := 0
	for _, r := range f.rows {
		if x := f.rec.Runs[r.Run]; f.rec.W[x.To]-f.rec.W[x.From] < y.volumeL/16 {
			short++
		}
	}
	if short < 20 {
		t.Fatalf("%d rows of short runs", short)
	}
	for _, cells := range []int{16, 48} {
		f.cells = cells
		for i, r := range f.residuals(f.q.vector()).r {
			if math.IsNaN(r) {
				t.Fatalf("%d cells: row %d not known", cells, i)
			}
		}
	}
}

// The front keeps the variance asked for, and a flat run stays flat.
func TestSpread(t *testing.T) {
	var s []sample
	for i := range 60 {
		c := 10.0
		if i >= 30 {
			c = 40
		}
		s = append(s, sample{float64(i) * 5, c})
	}
	v := view{front: 9, cellL: 5}
	v.spread(s)
	mean, square := 0.0, 0.0
	for i := 1; i < len(v.w); i++ {
		p := (v.w[i].c - v.w[i-1].c) / 30
		at := (v.w[i].w + v.w[i-1].w) / 2
		mean, square = mean+p*at, square+p*at*at
	}
	near(t, 147.5, mean, 1e-9, "place")
	near(t, 81-25.0/12, square-mean*mean, 1e-6, "variance") // and a parcel's own width
	near(t, 10, v.w[3].c, 1e-12, "before")
	near(t, 40, v.w[57].c, 1e-12, "after")
}

// The probe's answer to a straight piece, against small steps.
func TestGain(t *testing.T) {
	g := newGain(60, 35)
	p, n := 21.0, 600_000
	for i := range n {
		u := 12 + 9*(float64(i)+0.5)/float64(n)
		p += (u - p) * 60 / float64(n) / 35
	}
	near(t, p, g.step(21, 12, 21), 1e-4, "probe")
	near(t, 21, newGain(0, 35).step(21, 12, 21), 0, "no time")
}
