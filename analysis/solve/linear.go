package solve

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Line is a least-squares fit y = X b.
type Line struct {
	Coef, SD []float64
	// ResidualSD is sqrt(RSS/(n - p)).
	RSS, ResidualSD float64
	// Inverse is (X'X)^-1.
	Inverse *mat.SymDense
}

// Linear fits y = X b by QR of X with its columns scaled to length one.
func Linear(x *mat.Dense, y []float64) (Line, error) {
	n, p := x.Dims()
	if len(y) != n || n < p {
		return Line{}, errors.New("solve: want as many y as rows, and at least as many rows as columns")
	}
	scale := make([]float64, p)
	for j := range p {
		if scale[j] = mat.Norm(x.ColView(j), 2); !(scale[j] > 0) || math.IsInf(scale[j], 0) {
			return Line{}, errors.New("solve: a column is empty or not finite")
		}
	}
	a := mat.NewDense(n, p, nil)
	a.Apply(func(_, j int, v float64) float64 { return v / scale[j] }, x)
	var qr mat.QR
	qr.Factorize(a)
	b := mat.NewVecDense(p, nil)
	if err := qr.SolveVecTo(b, false, mat.NewVecDense(n, y)); err != nil && !isCondition(err) {
		return Line{}, err
	}
	inv := inverseFromQR(a, p)
	if inv == nil {
		return Line{}, errors.New("solve: the columns depend on each other")
	}
	var fit mat.VecDense
	fit.MulVec(a, b)
	return newLine(b, inv, scale, y, &fit), nil
}

func newLine(b *mat.VecDense, inv *mat.SymDense, scale, y []float64, fit *mat.VecDense) Line {
	p := len(scale)
	l := Line{Coef: make([]float64, p), SD: make([]float64, p), Inverse: inv}
	for i, v := range y {
		d := v - fit.AtVec(i)
		l.RSS += d * d
	}
	l.ResidualSD = math.Sqrt(l.RSS / float64(len(y)-p))
	for i := range p {
		for j := i; j < p; j++ {
			inv.SetSym(i, j, inv.At(i, j)/(scale[i]*scale[j]))
		}
		l.Coef[i] = b.AtVec(i) / scale[i]
		l.SD[i] = l.ResidualSD * math.Sqrt(inv.At(i, i))
	}
	return l
}
