// Package match says what is known of temperature probes that were compared
// with each other: in one bucket, as the farm file states; in one bucket while
// they were logging; or in still water, where the record shows both in the same
// surroundings.
//
// Flow: comparisons (stated, or Found by Still and Bath) → Join, what is known
// of all errors together → Factors, the independent errors that they are made
// of, for the trials. Temperatures are degC, errors and differences K, an error
// is reading minus truth, a difference is the first probe less the other.
// Half-widths are at 95 %.
package match

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// z95 is the 97.5 % point of the standard normal distribution.
const z95 = 1.959963984540054

// Comparison is one set of probes held against each other: the first read
// OffsetK[j] more than probe j, give or take HalfK[j] (half-width at 95 %).
// OffsetK[0] and HalfK[0] are 0.
type Comparison struct {
	Probes         []int
	OffsetK, HalfK []float64
}

// Stated is what the farm file says of probes in one bucket: each pair agreed
// within halfK, but for the first, which read offsetK more than each other.
func Stated(probes []int, offsetK, halfK float64) Comparison {
	c := Comparison{Probes: probes, OffsetK: make([]float64, len(probes)), HalfK: make([]float64, len(probes))}
	for j := 1; j < len(probes); j++ {
		c.OffsetK[j], c.HalfK[j] = offsetK, halfK
	}
	return c
}

// Joint is what is known of the errors of n probes together: MeanK to take off
// each reading, and the covariance (K²) of what is left.
type Joint struct {
	MeanK []float64
	Cov   *mat.SymDense
}

// Join updates independent errors with standard deviations sdK by comparisons
// of them. With the errors e ~ N(0, P), P = diag(sdK²), and for each comparison
// the contrasts y = C e + n, n ~ N(0, S),
//
//	K = P C' (C P C' + S)^-1,  E(e|y) = K y,  cov(e|y) = P − K C P
//
// (conditional normal distribution; the same as Kalman's update). The noise of
// two contrasts shares the first probe's part: S_jj = s_j², S_jk = s_j s_k/2, s
// = HalfK/1.96. So n probes that all agree within w carry a common error of
// about the mean of theirs and differences of w between any two. Limits count
// as a normal error with their standard deviation. Comparisons are taken in
// order; what they say together does not depend on it.
func Join(sdK []float64, comparisons []Comparison) (Joint, error) {
	n := len(sdK)
	j := Joint{MeanK: make([]float64, n), Cov: mat.NewSymDense(n, nil)}
	for i, sd := range sdK {
		j.Cov.SetSym(i, i, sd*sd)
	}
	for _, c := range comparisons {
		if err := j.update(c); err != nil {
			return j, err
		}
	}
	return j, nil
}

func (j *Joint) update(c Comparison) error {
	n, m := len(j.MeanK), len(c.Probes)-1
	contrasts, y, noise := mat.NewDense(m, n, nil), mat.NewVecDense(m, nil), mat.NewDense(m, m, nil)
	for a := range m {
		contrasts.Set(a, c.Probes[0], 1)
		contrasts.Set(a, c.Probes[a+1], -1)
		y.SetVec(a, c.OffsetK[a+1]-j.MeanK[c.Probes[0]]+j.MeanK[c.Probes[a+1]])
		for b := range m {
			s := c.HalfK[a+1] / z95 * c.HalfK[b+1] / z95
			if a != b {
				s /= 2
			}
			noise.Set(a, b, s)
		}
	}
	var pc, s, gain, kcp mat.Dense
	pc.Mul(j.Cov, contrasts.T())
	s.Mul(contrasts, &pc)
	s.Add(&s, noise)
	var inverse mat.Dense
	if err := inverse.Inverse(&s); err != nil {
		return errors.New("the probes' errors and the comparison leave nothing open")
	}
	gain.Mul(&pc, &inverse)
	var move mat.VecDense
	move.MulVec(&gain, y)
	kcp.Mul(&gain, pc.T())
	for i := range n {
		j.MeanK[i] += move.AtVec(i)
		for k := i; k < n; k++ {
			j.Cov.SetSym(i, k, j.Cov.At(i, k)-(kcp.At(i, k)+kcp.At(k, i))/2)
		}
	}
	return nil
}

// SD is the standard deviation of what is left of a probe's error.
func (j Joint) SD(i int) float64 { return math.Sqrt(max(0, j.Cov.At(i, i))) }

// DifferenceSD is that of the difference of two probes' errors.
func (j Joint) DifferenceSD(a, b int) float64 {
	return math.Sqrt(max(0, j.Cov.At(a, a)+j.Cov.At(b, b)-2*j.Cov.At(a, b)))
}

// Factor is one of the independent errors that the probes' errors are made of:
// SDK its standard deviation, Weights what a unit of it is in each probe. The
// first is what all have in common, the mean error of them; each other one is a
// probe's (Against) distance from those behind it.
type Factor struct {
	SDK     float64
	Weights []float64
	Against int // -1: in common
}

// Factors part a covariance exactly: Σ_f SDK_f² w_f w_f' = Cov. First the mean of
// the errors and what goes with it, then what is left by Cholesky's steps. Those
// below a millionth of the whole variance are left out.
func (j Joint) Factors() []Factor {
	n := j.Cov.SymmetricDim()
	rest := mat.DenseCopyOf(j.Cov)
	trace, rowSum, all := 0.0, make([]float64, n), 0.0
	for i := range n {
		trace += rest.At(i, i)
		for k := range n {
			rowSum[i] += rest.At(i, k)
			all += rest.At(i, k)
		}
	}
	var out []Factor
	take := func(column []float64, sd float64, against int) {
		w := make([]float64, n)
		for i := range w {
			w[i] = column[i] / sd
			for k := range n {
				rest.Set(i, k, rest.At(i, k)-column[i]*column[k])
			}
		}
		out = append(out, Factor{SDK: sd, Weights: w, Against: against})
	}
	if all > 1e-6*trace {
		column := make([]float64, n)
		for i := range column {
			column[i] = rowSum[i] / math.Sqrt(all)
		}
		take(column, math.Sqrt(all)/float64(n), -1)
	}
	for p := range n - 1 {
		d := rest.At(p, p)
		if d <= 1e-6*trace {
			continue
		}
		column, others := make([]float64, n), 0.0
		for i := p; i < n; i++ {
			column[i] = rest.At(i, p) / math.Sqrt(d)
			if i > p {
				others += column[i] / float64(n-1-p)
			}
		}
		take(column, column[p]-others, p)
	}
	return out
}

// With is the joint knowledge after one more comparison.
func (j Joint) With(c Comparison) (Joint, error) {
	next := Joint{MeanK: append([]float64(nil), j.MeanK...), Cov: mat.NewSymDense(len(j.MeanK), nil)}
	next.Cov.CopySym(j.Cov)
	return next, next.update(c)
}

// Known is the joint knowledge after probe i's own error was measured to a
// standard uncertainty of uK, as with ice and water: P − p p'/(P_ii + u²), p the
// column of i.
func (j Joint) Known(i int, uK float64) Joint {
	n := len(j.MeanK)
	next := Joint{MeanK: j.MeanK, Cov: mat.NewSymDense(n, nil)}
	next.Cov.CopySym(j.Cov)
	p := mat.NewVecDense(n, nil)
	for k := range n {
		p.SetVec(k, j.Cov.At(k, i))
	}
	next.Cov.SymRankOne(next.Cov, -1/(j.Cov.At(i, i)+uK*uK), p)
	return next
}

// Variance of Σ slope_i e_i.
func (j Joint) Variance(slope []float64) float64 {
	v := mat.NewVecDense(len(slope), slope)
	return max(0, mat.Inner(v, j.Cov, v))
}
