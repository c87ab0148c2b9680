package change

import (
	"math"
	"math/rand/v2"

	"yardheat/analysis/solve"
	"yardheat/ingest/work"
)

// lanes are the values of four series at one place: what is worked out of one
// value after the other takes hardly longer for four at once, each rounded as it
// would be alone. The loops over them are written out, which makes the
// difference.
type lanes struct{ a, b, c, d float64 }

const width = 4

func (x *lanes) list() [width]float64 { return [...]float64{x.a, x.b, x.c, x.d} }

func (x *lanes) set(k int, v float64) {
	switch k {
	case 0:
		x.a = v
	case 1:
		x.b = v
	case 2:
		x.c = v
	default:
		x.d = v
	}
}

// whitenAll is whiten of several series.
func (z *noise) whitenAll(x, out []lanes) {
	var s lanes
	fades, gains, scales, out := z.fade[:len(x)], z.gain[:len(x)], z.scale[:len(x)], out[:len(x)]
	for i, v := range x {
		fade, gain, scale := fades[i], gains[i], scales[i]
		s.a, s.b, s.c, s.d = s.a*fade, s.b*fade, s.c*fade, s.d*fade
		e := lanes{v.a - s.a, v.b - s.b, v.c - s.c, v.d - s.d}
		out[i] = lanes{e.a * scale, e.b * scale, e.c * scale, e.d * scale}
		s.a, s.b, s.c, s.d = s.a+gain*e.a, s.b+gain*e.b, s.c+gain*e.c, s.d+gain*e.d
	}
}

// backAll is back of several series, then backSums.
func (z *noise) backAll(u, out []lanes) {
	var s, sum lanes
	fades, gains, scales, out := z.fade[:len(u)], z.gain[:len(u)], z.scale[:len(u)], out[:len(u)]
	for i := len(u) - 1; i >= 0; i-- {
		fade, gain, scale, v := fades[i], gains[i], scales[i], u[i]
		e := lanes{v.a*scale + gain*s.a, v.b*scale + gain*s.b, v.c*scale + gain*s.c, v.d*scale + gain*s.d}
		sum.a, sum.b, sum.c, sum.d = sum.a+e.a, sum.b+e.b, sum.c+e.c, sum.d+e.d
		out[i] = sum
		s = lanes{fade * (s.a - e.a), fade * (s.b - e.b), fade * (s.c - e.c), fade * (s.d - e.d)}
	}
}

// along is the product of a column with several series.
func along(c []float64, e []lanes) (s lanes) {
	for i, v := range c {
		x := &e[i]
		s.a, s.b, s.c, s.d = s.a+v*x.a, s.b+v*x.b, s.c+v*x.c, s.d+v*x.d
	}
	return s
}

// rid takes k times a column off several series.
func rid(c []float64, e []lanes, k lanes) {
	for i, v := range c {
		x := &e[i]
		x.a, x.b, x.c, x.d = x.a-k.a*v, x.b-k.b*v, x.c-k.c*v, x.d-k.d*v
	}
}

// productsAll is products of several series.
func (r *frame) productsAll(y, e, b []lanes) (rss lanes) {
	r.z.whitenAll(y, e)
	for _, c := range r.q {
		rid(c, e, along(c, e))
	}
	r.z.backAll(e, b)
	for i := range e {
		x := &e[i]
		rss.a, rss.b, rss.c, rss.d = rss.a+x.a*x.a, rss.b+x.b*x.b, rss.c+x.c*x.c, rss.d+x.d*x.d
	}
	return lanes{max(rss.a, 1e-300), max(rss.b, 1e-300), max(rss.c, 1e-300), max(rss.d, 1e-300)}
}

// mostOf is, by series, the largest b²/a over the dates.
func (r *frame) mostOf(at []int, b []lanes) (most lanes) {
	for i, from := range at {
		a, x := r.a[i], &b[from]
		most.a, most.b = max(most.a, x.a*x.a/a), max(most.b, x.b*x.b/a)
		most.c, most.d = max(most.c, x.c*x.c/a), max(most.d, x.d*x.d/a)
	}
	return most
}

// steadyGains are what series without the step gain at their best date: as many
// as Draws says, drawn one after the other, worked out several at once.
func (f *finder) steadyGains(c candidate, rng *rand.Rand) []float64 {
	pick := sampler(c.scan.null)
	n, draws := len(f.y), f.o.Draws
	y := make([][]lanes, (draws+width-1)/width)
	one := make([]float64, n)
	for d := range draws {
		if d%width == 0 {
			work.Check(f.o.Context)
			y[d/width] = make([]lanes, n)
		}
		f.z[pick(rng.Float64())].draw(rng, f.r, one)
		for i, v := range one {
			y[d/width][i].set(d%width, v)
		}
	}
	gains := make([]float64, width*len(y))
	solve.EachUntil(f.o.Context, len(y), func(k int) {
		g := f.gainsOf(c, y[k])
		copy(gains[width*k:], g[:])
	})
	return gains[:draws]
}

// gainsOf are the gains of some series at their best dates.
func (f *finder) gainsOf(c candidate, y []lanes) (gains [width]float64) {
	nu := f.freedom()
	e, b := make([]lanes, len(y)), make([]lanes, len(y))
	var null, with [width]float64
	for l := range null {
		null[l], with[l] = math.Inf(-1), math.Inf(-1)
	}
	for k := range c.frames {
		r := &c.frames[k]
		sums := r.productsAll(y, e, b)
		best := r.mostOf(c.scan.at, b)
		rss, most := sums.list(), best.list()
		for l := range null {
			null[l] = max(null[l], r.head-0.5*nu*math.Log(rss[l]))
			with[l] = max(with[l], r.head-0.5*nu*math.Log(max(rss[l]-most[l], 1e-300)))
		}
	}
	for l := range gains {
		gains[l] = 2 * (with[l] - null[l])
	}
	return gains
}
