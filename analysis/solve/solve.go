// Package solve fits parameters by least squares: one Levenberg-Marquardt for
// the nonlinear fits of the analysis and one QR solution for straight ones.
// It knows no water and no farms.
//
// The sum of squares that is made small is
//
//	S(theta) = sum_i loss(r_i(theta)) + sum_j ((theta_j - mean_j)/sd_j)^2
//
// with residuals r = model minus data, and priors as further rows. A problem
// is handed over by rows (residuals and their Jacobian, solved by QR, for
// ill-conditioned fits) or, where one pass over a long record sums them up, as
// normal equations (p by p, solved by Cholesky).
package solve

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"yardheat/ingest/work"
)

// Problem is what is to be fitted. Set Rows and N, or Normal.
type Problem struct {
	Start []float64
	// N is the number of rows of Rows.
	N int
	// Rows fills r with model minus data and, where jac is not nil, jac (N by
	// p) with the derivatives of r.
	Rows func(theta, r []float64, jac *mat.Dense)
	// Normal returns the sum of squares at theta and, where a is not nil,
	// fills a with J'J and g with J'r. A robust loss is the callee's matter.
	Normal func(theta []float64, a *mat.SymDense, g []float64) float64
	// Low and High bound the parameters; nil = no bounds.
	Low, High []float64
	Priors    []Prior
}

// Prior is one row (theta[Index] - Mean)/SD.
type Prior struct {
	Index    int
	Mean, SD float64
}

// Options of one fit.
type Options struct {
	MaxIterations int
	// StepTol: done when every step is below StepTol of its parameter's size.
	StepTol float64
	// FallTol: done when the linear model promises to lower S by less than this
	// part of it.
	FallTol float64
	// Damping is the first damping relative to the diagonal of J'J.
	Damping float64
	// Loss of the rows (not the priors); nil = squares. Only with Rows.
	Loss Loss
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are tight enough for eight digits on problems of ordinary
// condition.
func DefaultOptions() Options {
	return Options{MaxIterations: 1000, StepTol: 1e-12, FallTol: 1e-18, Damping: 1e-3}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	switch {
	case o.MaxIterations < 1:
		return fmt.Errorf("solve: MaxIterations is %d; want 1 or more", o.MaxIterations)
	case !(o.StepTol >= 0 && o.StepTol < 1):
		return fmt.Errorf("solve: StepTol is %g; want 0 to 1", o.StepTol)
	case !(o.FallTol >= 0 && o.FallTol < 1):
		return fmt.Errorf("solve: FallTol is %g; want 0 to 1", o.FallTol)
	case !(o.Damping > 0):
		return fmt.Errorf("solve: Damping is %g; want more than 0", o.Damping)
	}
	return nil
}

// Status says how a fit ended.
type Status int

// The ways to end.
const (
	// SmallStep and SmallFall are convergence.
	SmallStep Status = iota
	SmallFall
	// Stalled: no damping gave a lower S, yet the step was not small.
	Stalled
	// OutOfIterations: MaxIterations were not enough.
	OutOfIterations
)

func (s Status) String() string {
	return [...]string{"converged: the step became small", "converged: nothing left to gain",
		"stalled: no step lowers the sum of squares", "stopped: out of iterations"}[s]
}

// Converged reports whether the fit came to rest.
func (s Status) Converged() bool { return s == SmallStep || s == SmallFall }

// Result of a fit.
type Result struct {
	Theta []float64
	// Cost is S without the priors, Penalty the priors' part.
	Cost, Penalty float64
	Status        Status
	Iterations    int
	Evaluations   int
	// Inverse of J'J plus the priors, at Theta; times the residual variance it
	// is the covariance. Nil where the system is singular.
	Inverse *mat.SymDense
	// Fixed marks parameters that ended at a bound; their rows of Inverse are 0.
	Fixed []bool
}

// ErrNotFinite: the start gives no finite sum of squares.
var ErrNotFinite = errors.New("solve: the sum of squares is not finite at the start")

// lm is the state of one fit.
type lm struct {
	p    *Problem
	o    Options
	sys  system
	diag []float64 // scaling: largest column length seen, squared
	res  Result
}

// Minimise runs Levenberg-Marquardt with Marquardt's scaling (columns measured
// by their largest length so far, as in MINPACK) and Nielsen's damping rule.
// Sources: Marquardt 1963; Moré 1978; Madsen, Nielsen, Tingleff, "Methods for
// non-linear least squares problems", 2nd ed. 2004, section 3.2 (from memory).
func Minimise(p Problem, o Options) (Result, error) {
	if err := o.Validate(); err != nil {
		return Result{}, err
	}
	if len(p.Start) == 0 || (p.Rows == nil) == (p.Normal == nil) {
		return Result{}, errors.New("solve: want a start and either Rows or Normal")
	}
	f := &lm{p: &p, o: o, diag: make([]float64, len(p.Start))}
	f.sys = newSystem(&p, o.Loss)
	f.res.Theta = f.inside(append([]float64(nil), p.Start...))
	f.res.Evaluations = 1
	if s := f.sys.linearise(f.res.Theta); math.IsNaN(s) || math.IsInf(s, 0) {
		return f.res, ErrNotFinite
	}
	f.run()
	f.finish()
	return f.res, nil
}

// inside moves theta to the nearest point within the bounds.
func (f *lm) inside(theta []float64) []float64 {
	for i := range theta {
		if f.p.Low != nil {
			theta[i] = math.Max(theta[i], f.p.Low[i])
		}
		if f.p.High != nil {
			theta[i] = math.Min(theta[i], f.p.High[i])
		}
	}
	return theta
}

// atBound marks the parameters that stand at a bound and would leave by going
// downhill.
func (f *lm) atBound(theta, grad []float64) []bool {
	fixed := make([]bool, len(theta))
	for i := range theta {
		low := f.p.Low != nil && theta[i] <= f.p.Low[i] && grad[i] > 0
		high := f.p.High != nil && theta[i] >= f.p.High[i] && grad[i] < 0
		fixed[i] = low || high
	}
	return fixed
}

func (f *lm) run() {
	lambda, grow := f.o.Damping, 2.0
	n := len(f.res.Theta)
	trial, step := make([]float64, n), make([]float64, n)
	for f.res.Iterations = 1; f.res.Iterations <= f.o.MaxIterations; f.res.Iterations++ {
		work.Check(f.o.Context)
		f.rescale()
		fixed := f.atBound(f.res.Theta, f.sys.gradient())
		if !f.sys.step(step, lambda, f.diag, fixed) {
			lambda, grow = raise(lambda, grow)
			if lambda > 1e30 {
				f.res.Status = Stalled
				return
			}
			continue
		}
		for i := range trial {
			trial[i] = f.res.Theta[i] + step[i]
		}
		f.inside(trial)
		small := f.small(trial)
		// S falls by about s'(lambda D s - g) when s solves the damped system.
		promised := f.promise(step, lambda)
		old := f.sys.total()
		now := f.sys.cost(trial)
		f.res.Evaluations++
		if flat := promised <= f.o.FallTol*old; small || flat {
			if now <= old {
				f.accept(trial)
			}
			f.res.Status = f.ending(small, now < old, lambda)
			return
		}
		if !(now < old) { // also NaN
			lambda, grow = raise(lambda, grow)
			if lambda > 1e30 {
				f.res.Status = Stalled
				return
			}
			continue
		}
		rho := (old - now) / promised
		f.accept(trial)
		lambda *= math.Max(1.0/3, 1-math.Pow(2*rho-1, 3))
		lambda, grow = math.Max(lambda, 1e-20), 2
	}
	f.res.Status = OutOfIterations
}

// ending names the end: a step that is small only because the damping had to
// be raised a millionfold, on a slope that is still there, is no convergence (a
// wrong Jacobian ends so).
func (f *lm) ending(small, gained bool, lambda float64) Status {
	switch {
	case !gained && lambda > 1e6 && f.slope() > 1e-6:
		return Stalled
	case small:
		return SmallStep
	}
	return SmallFall
}

// slope is the largest cosine between the residuals and a column of J: 0 at
// the minimum, 1 at most.
func (f *lm) slope() float64 {
	worst, s := 0.0, f.sys.total()
	d := f.sys.diagonal()
	for i, g := range f.sys.gradient() {
		if d[i] > 0 && s > 0 {
			worst = math.Max(worst, math.Abs(g)/math.Sqrt(d[i]*s))
		}
	}
	return worst
}

func raise(lambda, grow float64) (float64, float64) { return lambda * grow, grow * 2 }

func (f *lm) accept(theta []float64) {
	copy(f.res.Theta, theta)
	f.sys.linearise(f.res.Theta)
	f.res.Evaluations++
}

// rescale keeps the largest column lengths seen.
func (f *lm) rescale() {
	d := f.sys.diagonal()
	for i := range d {
		f.diag[i] = math.Max(f.diag[i], d[i])
		if f.diag[i] == 0 {
			f.diag[i] = 1e-300
		}
	}
}

// promise is the fall of S that the damped linear model expects of step.
func (f *lm) promise(step []float64, lambda float64) float64 {
	g, sum := f.sys.gradient(), 0.0
	for i, s := range step {
		sum += s * (lambda*f.diag[i]*s - g[i])
	}
	return sum
}

func (f *lm) small(trial []float64) bool {
	for i, t := range f.res.Theta {
		if math.Abs(trial[i]-t) > f.o.StepTol*(math.Abs(t)+f.o.StepTol) {
			return false
		}
	}
	return true
}

func (f *lm) finish() {
	f.res.Fixed = f.atBound(f.res.Theta, f.sys.gradient())
	f.res.Inverse = f.sys.inverse(f.res.Fixed)
	f.res.Penalty = penalty(f.p.Priors, f.res.Theta)
	f.res.Cost = f.sys.total() - f.res.Penalty
}

func penalty(priors []Prior, theta []float64) float64 {
	sum := 0.0
	for _, q := range priors {
		z := (theta[q.Index] - q.Mean) / q.SD
		sum += z * z
	}
	return sum
}

// SD is the standard deviation of each parameter, the residual variance taken
// as Cost/(n - p) with n rows; NaN where the system is singular.
func (r Result) SD(n int) []float64 {
	out := make([]float64, len(r.Theta))
	for i := range out {
		out[i] = math.NaN()
		if r.Inverse != nil && n > len(out) {
			out[i] = math.Sqrt(r.Inverse.At(i, i) * r.Cost / float64(n-len(out)))
		}
	}
	return out
}
