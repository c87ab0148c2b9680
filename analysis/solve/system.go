package solve

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// system is the problem linearised at a point: the part of Levenberg-Marquardt
// that differs between rows and normal equations.
type system interface {
	// linearise moves to theta and returns S there.
	linearise(theta []float64) float64
	// cost is S at theta; the linearisation stays where it was.
	cost(theta []float64) float64
	// total is S where it was linearised, gradient J'r, diagonal that of J'J.
	total() float64
	gradient() []float64
	diagonal() []float64
	// step solves (J'J + lambda diag) step = -J'r over the parameters not
	// fixed; false if it can't.
	step(step []float64, lambda float64, diag []float64, fixed []bool) bool
	// inverse of J'J over the parameters not fixed, or nil.
	inverse(fixed []bool) *mat.SymDense
}

func newSystem(p *Problem, loss Loss) system {
	n := len(p.Start)
	if p.Normal != nil {
		return &normal{p: p, a: mat.NewSymDense(n, nil), g: make([]float64, n)}
	}
	m := p.N + len(p.Priors)
	return &rows{p: p, loss: loss, r: make([]float64, m), trial: make([]float64, m), jac: mat.NewDense(m, n, nil)}
}

// normal is a problem given by its normal equations.
type normal struct {
	p *Problem
	a *mat.SymDense
	g []float64
	s float64
}

func (y *normal) linearise(theta []float64) float64 {
	y.s = y.p.Normal(theta, y.a, y.g) + penalty(y.p.Priors, theta)
	for _, q := range y.p.Priors {
		i, w := q.Index, 1/(q.SD*q.SD)
		y.a.SetSym(i, i, y.a.At(i, i)+w)
		y.g[i] += w * (theta[i] - q.Mean)
	}
	return y.s
}

func (y *normal) cost(theta []float64) float64 {
	return y.p.Normal(theta, nil, nil) + penalty(y.p.Priors, theta)
}

func (y *normal) total() float64      { return y.s }
func (y *normal) gradient() []float64 { return y.g }

func (y *normal) diagonal() []float64 {
	d := make([]float64, len(y.g))
	for i := range d {
		d[i] = y.a.At(i, i)
	}
	return d
}

func (y *normal) step(step []float64, lambda float64, diag []float64, fixed []bool) bool {
	n := len(step)
	a := mat.NewSymDense(n, nil)
	b := mat.NewVecDense(n, nil)
	// Columns are scaled to length one before factoring.
	for i := range n {
		if fixed[i] {
			a.SetSym(i, i, 1)
			continue
		}
		for j := i; j < n; j++ {
			if !fixed[j] {
				a.SetSym(i, j, y.a.At(i, j)/math.Sqrt(diag[i]*diag[j]))
			}
		}
		a.SetSym(i, i, a.At(i, i)+lambda)
		b.SetVec(i, -y.g[i]/math.Sqrt(diag[i]))
	}
	var c mat.Cholesky
	if !c.Factorize(a) {
		return false
	}
	x := mat.NewVecDense(n, nil)
	if err := c.SolveVecTo(x, b); err != nil && !isCondition(err) {
		return false
	}
	for i := range step {
		step[i] = x.AtVec(i) / math.Sqrt(diag[i])
	}
	return finite(step)
}

// isCondition: gonum warns of an ill-conditioned matrix but has solved it; the
// damping rule decides whether the step is any good.
func isCondition(err error) bool {
	var c mat.Condition
	return errors.As(err, &c) && !math.IsInf(float64(c), 1)
}

func finite(x []float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func (y *normal) inverse(fixed []bool) *mat.SymDense { return invert(y.a, fixed) }

// invert inverts a over the parameters not fixed; rows of the fixed are 0. Nil
// if a is not positive definite.
func invert(a *mat.SymDense, fixed []bool) *mat.SymDense {
	n := a.SymmetricDim()
	scaled := mat.NewSymDense(n, nil)
	scale := make([]float64, n)
	for i := range n {
		scale[i] = 1
		if d := a.At(i, i); d > 0 {
			scale[i] = 1 / math.Sqrt(d)
		}
	}
	for i := range n {
		for j := i; j < n; j++ {
			switch {
			case !fixed[i] && !fixed[j]:
				scaled.SetSym(i, j, a.At(i, j)*scale[i]*scale[j])
			case i == j:
				scaled.SetSym(i, i, 1)
			}
		}
	}
	var c mat.Cholesky
	inv := mat.NewSymDense(n, nil)
	if !c.Factorize(scaled) {
		return nil
	}
	if err := c.InverseTo(inv); err != nil && !isCondition(err) {
		return nil
	}
	for i := range n {
		for j := i; j < n; j++ {
			v := inv.At(i, j) * scale[i] * scale[j]
			if fixed[i] || fixed[j] {
				v = 0
			}
			inv.SetSym(i, j, v)
		}
	}
	return inv
}

// rows is a problem given row by row, solved by QR.
type rows struct {
	p        *Problem
	loss     Loss
	r, trial []float64
	jac      *mat.Dense
	s        float64
	grad     []float64
	diag     []float64
}

// fill writes the residuals (and the Jacobian) with the priors' rows below,
// returns S, and weights the rows by the loss.
func (y *rows) fill(theta, r []float64, jac *mat.Dense) float64 {
	n := y.p.N
	var data *mat.Dense
	if jac != nil {
		jac.Zero()
		data = jac.Slice(0, n, 0, len(theta)).(*mat.Dense)
	}
	y.p.Rows(theta, r[:n], data)
	sum := 0.0
	for i, v := range r[:n] {
		if y.loss == nil {
			sum += v * v
			continue
		}
		l, w := y.loss(v)
		sum += l
		if jac != nil {
			w = math.Sqrt(w)
			r[i] *= w
			for j := range theta {
				jac.Set(i, j, jac.At(i, j)*w)
			}
		}
	}
	for k, q := range y.p.Priors {
		r[n+k] = (theta[q.Index] - q.Mean) / q.SD
		if jac != nil {
			jac.Set(n+k, q.Index, 1/q.SD)
		}
	}
	return sum + penalty(y.p.Priors, theta)
}

func (y *rows) linearise(theta []float64) float64 {
	y.s = y.fill(theta, y.r, y.jac)
	n := len(theta)
	y.grad, y.diag = make([]float64, n), make([]float64, n)
	for i, r := range y.r {
		for j, v := range y.jac.RawRowView(i) {
			y.grad[j] += v * r
			y.diag[j] += v * v
		}
	}
	return y.s
}

func (y *rows) cost(theta []float64) float64 { return y.fill(theta, y.trial, nil) }
func (y *rows) total() float64               { return y.s }
func (y *rows) gradient() []float64          { return y.grad }
func (y *rows) diagonal() []float64          { return y.diag }

// damped stacks the scaled Jacobian over sqrt(lambda) I.
func (y *rows) damped(lambda float64, scale []float64, fixed []bool) *mat.Dense {
	m, n := y.jac.Dims()
	a := mat.NewDense(m+n, n, nil)
	for i := range m {
		from, to := y.jac.RawRowView(i), a.RawRowView(i)
		for j := range n {
			if !fixed[j] {
				to[j] = from[j] / scale[j]
			}
		}
	}
	for j := range n {
		a.Set(m+j, j, math.Sqrt(lambda))
		if fixed[j] {
			a.Set(m+j, j, 1)
		}
	}
	return a
}

func (y *rows) step(step []float64, lambda float64, diag []float64, fixed []bool) bool {
	n := len(step)
	scale := make([]float64, n)
	for i := range scale {
		scale[i] = math.Sqrt(diag[i])
	}
	a := y.damped(lambda, scale, fixed)
	m, _ := a.Dims()
	b := mat.NewVecDense(m, nil)
	for i, v := range y.r {
		b.SetVec(i, -v)
	}
	var qr mat.QR
	qr.Factorize(a)
	x := mat.NewVecDense(n, nil)
	if err := qr.SolveVecTo(x, false, b); err != nil && !isCondition(err) {
		return false
	}
	for i := range step {
		step[i] = x.AtVec(i) / scale[i]
		if fixed[i] {
			step[i] = 0
		}
	}
	return finite(step)
}

func (y *rows) inverse(fixed []bool) *mat.SymDense {
	scale := make([]float64, len(y.diag))
	for i, d := range y.diag {
		if scale[i] = math.Sqrt(d); d == 0 {
			return nil
		}
	}
	inv := inverseFromQR(y.damped(0, scale, fixed), len(scale))
	if inv == nil {
		return nil
	}
	for i := range scale {
		for j := i; j < len(scale); j++ {
			v := inv.At(i, j) / (scale[i] * scale[j])
			if fixed[i] || fixed[j] {
				v = 0
			}
			inv.SetSym(i, j, v)
		}
	}
	return inv
}

// worstCondition of scaled columns: beyond it rounding decides the answer.
const worstCondition = 1e13

// inverseFromQR is (A'A)^-1 = R^-1 R^-T of a matrix with n columns, without
// squaring its condition; nil if A has not full rank.
func inverseFromQR(a *mat.Dense, n int) *mat.SymDense {
	var qr mat.QR
	qr.Factorize(a)
	if !(qr.Cond() < worstCondition) {
		return nil
	}
	var r mat.Dense
	qr.RTo(&r)
	tri := mat.NewTriDense(n, mat.Upper, nil)
	for i := range n {
		for j := i; j < n; j++ {
			tri.SetTri(i, j, r.At(i, j))
		}
	}
	var ri mat.TriDense
	if err := ri.InverseTri(tri); err != nil && !isCondition(err) {
		return nil
	}
	inv := mat.NewSymDense(n, nil)
	inv.SymOuterK(1, &ri)
	for i := range n {
		if math.IsNaN(inv.At(i, i)) || math.IsInf(inv.At(i, i), 0) {
			return nil
		}
	}
	return inv
}
