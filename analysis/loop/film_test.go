package loop

import (
	"encoding/csv"
	"math"
	"os"
	"testing"
)

// The published correlation at 10 digits (gnielinski.csv).
func TestGnielinski(t *testing.T) {
	f, err := os.Open("../../testdata/check-values/heat/gnielinski.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range rows[1:] {
		want := float(t, c[3])
		near(t, want, gnielinski(float(t, c[0]), float(t, c[1])), 1e-10*want, c)
	}
}

// Laminar flow has the film of Nu = 3.66 whatever the flow; the film never
// falls as the flow grows.
func TestFilm(t *testing.T) {
	p := Pipe{LengthM: 100, BoreMM: 26}
	want := 3.66 * 0.606515827 * math.Pi * 100 // Nu lambda/d times pi d L
	near(t, want, p.filmWPerK(0.5), 1e-6*want, "laminar")
	last := 0.0
	for q := 0.5; q < 30; q += 0.1 {
		if v := p.filmWPerK(q); v < last {
			t.Fatalf("film falls at %g L/min", q)
		} else {
			last = v
		}
	}
}

// With 3000 W/K of film and 1000 W/K of bed, UA is 750 W/K and the wall moves
// 0.75 K a kelvin; of its heat capacity the square of that delays a wave, which
// is the slope of the exact exchange of water with wall and bed at s = 0.
func TestWallFollows(t *testing.T) {
	b := Pipe{LengthM: 500, BoreMM: 26}.At(30)
	const film, bed = 3.0, 1.0 // kW/K
	got := b.follow(750, 1000*film)
	near(t, 0.75*0.75, got.WallFollows, 1e-12, "follows")
	near(t, b.VolumeL*(1+0.75*0.75*b.Beta), got.ThermalL, 1e-9, "volume")
	near(t, b.CapacityKJPerK*got.ThermalL/b.ThermalL, got.CapacityKJPerK, 1e-9, "capacity")
	water := b.CapacityKJPerK / (1 + b.Beta)
	wall := water * b.Beta
	exchange := func(s float64) float64 { return water*s + film*(wall*s+bed)/(wall*s+film+bed) }
	near(t, 0.75, exchange(0), 1e-12, "UA in kW/K")
	const ds = 1e-7
	near(t, got.CapacityKJPerK, (exchange(ds)-exchange(-ds))/(2*ds), 1e-4*got.CapacityKJPerK, "slope")
}

// At the mean flow k is what the fit says; at less flow less, by the films in
// series with the bed.
func TestFilmFollowsFlow(t *testing.T) {
	in := smallYard().record()
	p := newPath(&in, DefaultOptions())
	m := newModel(p, 384, 0)
	const ua, mean = 2000.0, 9.0
	m.setFilm(&in, ua, mean)
	film := in.Pipe.filmWPerK(mean)
	bed := 1 / (1/ua - 1/film)
	for i := range p.stands[:len(p.stands)-1] {
		if p.stands[i] {
			near(t, 1, m.rel[i], 0, "still")
			continue
		}
		q := (p.q0[i] + p.q1[i]) / 2 * 60
		near(t, 1/(1/in.Pipe.filmWPerK(q)+1/bed)/ua, m.rel[i], 1e-9, "flow", q)
	}
}

// Water at 45 with air at 15 and a loss of a tenth at the mean flow: 42 at it,
// 39 at half of it.
func TestLeadLoss(t *testing.T) {
	p := &path{q0: []float64{0.1, 0.1, 0.05, 0.05}, q1: []float64{0.1, 0.1, 0.05, 0.05}}
	m := &model{p: p, meanLPS: 0.1, q: Params{LeadLoss: 0.1}}
	for i, want := range map[int]float64{1: 42, 3: 39} {
		x := point{v: 45}
		m.cool(&x, 15, i, columns)
		near(t, want, x.v, 1e-12, "node", i)
	}
}

// Readings at the cells' edges: litres and temperatures stand where they were.
func TestFromEdges(t *testing.T) {
	in := FromEdges(60, []float64{0, 6, 6}, []float64{1, 2, 3, 4}, []float64{5, 6, 7, 8}, []float64{40, math.NaN(), 44})
	if err := in.validate(); err == nil {
		t.Error("a pipe of no length passed")
	}
	near(t, 180, in.T[3], 0, "last edge")
	near(t, 40, in.BedC[1], 0, "bed beside a hole")
	near(t, 44, in.BedC[2], 0, "bed beside a hole")
	near(t, 8, in.OutC[3], 0, "out")
	for _, bad := range []Input{FromEdges(60, nil, nil, nil, nil), FromEdges(60, []float64{1}, []float64{1}, []float64{1, 2}, []float64{3})} {
		bad.Pipe = pipeOf(300)
		if fit, err := Run(bad, DefaultOptions()); err == nil && fit.Why == "" {
			t.Error("malformed edges gave a fit")
		}
	}
}

// Windows: the same UA all season shows in every window; a bed that halves its
// coefficient shows in the windows after it.
func TestWindows(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	a, b := defaultYard(41), defaultYard(42)
	b.uaBed *= 0.7
	in, second := a.record(), b.record()
	fit := mustRun(t, in, DefaultOptions())
	if len(fit.Windows) < 4 {
		t.Fatalf("%d windows in 60 days", len(fit.Windows))
	}
	for _, w := range fit.Windows {
		near(t, a.uaWPerK(), w.UAWPerK, 0.05*a.uaWPerK(), "even season", w.FromS)
		if !(w.LowWPerK < w.UAWPerK && w.UAWPerK < w.HighWPerK) {
			t.Errorf("window %+v", w)
		}
	}
	n := len(in.T)
	gap := in.T[n-1] + 3600
	for i := range second.T {
		second.T[i] += gap
	}
	join := func(x, y []float64, between ...float64) []float64 {
		return append(append(append([]float64(nil), x...), between...), y...)
	}
	in.T, in.InC, in.OutC, in.BedC = join(in.T, second.T), join(in.InC, second.InC), join(in.OutC, second.OutC), join(in.BedC, second.BedC)
	in.Flow0, in.Flow1 = join(in.Flow0, second.Flow0, math.NaN()), join(in.Flow1, second.Flow1, math.NaN())
	fit = mustRun(t, in, DefaultOptions())
	first, last := fit.Windows[0], fit.Windows[len(fit.Windows)-1]
	t.Logf("true %.0f then %.0f; windows %.0f then %.0f", a.uaWPerK(), b.uaWPerK(), first.UAWPerK, last.UAWPerK)
	near(t, b.uaWPerK()/a.uaWPerK(), last.UAWPerK/first.UAWPerK, 0.08, "fall")
}
