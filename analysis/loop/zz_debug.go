package loop

import (
	"gonum.org/v1/gonum/mat"
	"math"
)

func (f *Fit) Deff() float64 { return f.deff }
func (x *Fit) Half(floor float64, steady bool) float64 {
	f := x.fitter
	f.q = x.Params
	f.m.steady = steady
	f.moved()
	total := f.eval(f.q, false)
	n := len(f.free)
	a := mat.NewSymDense(n, nil)
	g := make([]float64, n)
	old := f.deff
	f.deff = 1
	f.pick(&total, f.free, a, g)
	f.deff = old
	per := math.Max(1, float64(total.n)/float64(max(f.drawsUsed(), 1)))
	a.ScaleSym(f.w.scaleK*f.w.scaleK/(floor*floor)/per, a)
	for i, p := range f.precision() {
		a.SetSym(i, i, a.At(i, i)+p)
	}
	inv := invert(a, f.atBound())
	f.m.steady = false
	f.moved()
	f.eval(f.q, true)
	if inv == nil {
		return math.NaN()
	}
	c := mat.NewVecDense(n, x.lnUA)
	return z95 * math.Sqrt(mat.Inner(c, inv, c))
}
