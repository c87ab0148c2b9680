package change

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Several series at once give, bit for bit, what each gives alone.
func TestLanesAsAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 8))
	s := Series{}
	for i := range 90 {
		s.Day = append(s.Day, float64(i)/2+0.3*rng.Float64())
		s.Value = append(s.Value, rng.NormFloat64())
	}
	f := newFinder(s, DefaultOptions())
	c := f.best()
	if c.at < 0 {
		t.Fatal("no date to try")
	}
	n := len(f.y)
	many := make([]lanes, n)
	var alone [width][]float64
	for l := range alone {
		alone[l] = make([]float64, n)
		f.z[l*7].draw(rng, f.r, alone[l])
		for i, v := range alone[l] {
			many[i].set(l, v)
		}
	}
	gains := f.gainsOf(c, many)
	e, b, nu := make([]float64, n), make([]float64, n), f.freedom()
	for l := range alone {
		null, with := math.Inf(-1), math.Inf(-1)
		for k := range c.frames {
			r := &c.frames[k]
			rss := r.products(alone[l], e, b)
			most := 0.0
			for i, from := range c.scan.at {
				most = max(most, b[from]*b[from]/r.a[i])
			}
			null = max(null, r.head-0.5*nu*math.Log(rss))
			with = max(with, r.head-0.5*nu*math.Log(max(rss-most, 1e-300)))
		}
		if want := 2 * (with - null); gains[l] != want || want <= 0 {
			t.Errorf("series %d gains %v, alone %v", l, gains[l], want)
		}
	}
}
