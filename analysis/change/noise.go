package change

import (
	"math"
	"math/rand/v2"
)

// noise is one (λ, φ) with the filter that takes the relation out of a column:
// the state s of the fading part goes on as s e^{−Δt/φ}, and each value shows
// it with scatter of its own (Kalman). The innovations over their deviations
// are independent, whatever column is filtered.
type noise struct {
	share, days float64
	// fade, gain and scale by value.
	fade, gain, scale []float64
	// raw are the squares of every step's column, whitened.
	raw []float64
	// logDet is the logarithm of the covariance's determinant, σ = 1.
	logDet float64
}

// The grid of the noise: share λ of the fading part and its days φ. At 120 days
// and 0.99 a season's noise is a wandering (our choice, no source).
var (
	noiseShares = [...]float64{0.2, 0.4, 0.6, 0.8, 0.92, 0.97, 0.99}
	noiseDays   = [...]float64{0.8, 2, 5, 12, 35, 120}
)

// noises are all of the grid for values at t with relative variances r.
func noises(t, r []float64) []noise {
	out := []noise{newNoise(t, r, 0, 1)}
	for _, days := range noiseDays {
		for _, share := range noiseShares {
			out = append(out, newNoise(t, r, share, days))
		}
	}
	return out
}

func newNoise(t, r []float64, share, days float64) noise {
	n := len(t)
	z := noise{share: share, days: days, fade: make([]float64, n), gain: make([]float64, n), scale: make([]float64, n)}
	p := share // variance of the state before value i
	for i := range t {
		if i > 0 {
			a := math.Exp(-(t[i] - t[i-1]) / days)
			z.fade[i] = a
			p = share + a*a*(p-share)
		}
		f := p + (1-share)*r[i]
		z.gain[i], z.scale[i] = p/f, 1/math.Sqrt(f)
		z.logDet += math.Log(f)
		p -= p * p / f
	}
	z.raw = z.squares()
	return z
}

// squares are those of every step's column, whitened. After a step at i the
// innovations d go on as d' = α + β d, from d = 1, so the rest of their weighted
// squares is a quadratic A d² + B d + C in d, known from the end backwards.
func (z *noise) squares() []float64 {
	n := len(z.scale)
	out := make([]float64, n)
	a, b, c := 0.0, 0.0, 0.0
	for i := n - 1; i >= 0; i-- {
		if i+1 < n {
			alpha, beta := 1-z.fade[i+1], z.fade[i+1]*(1-z.gain[i])
			a, b, c = a*beta*beta, 2*a*alpha*beta+b*beta, a*alpha*alpha+b*alpha+c
		}
		a += z.scale[i] * z.scale[i]
		out[i] = a + b + c
	}
	return out
}

// whiten writes the innovations of x to out.
func (z *noise) whiten(x, out []float64) {
	s := 0.0
	for i, v := range x {
		s *= z.fade[i]
		e := v - s
		out[i] = e * z.scale[i]
		s += z.gain[i] * e
	}
}

// back is the transpose of whiten: the sum of back(u) over any values is the
// product of u with those values' indicator, whitened.
func (z *noise) back(u, out []float64) {
	s := 0.0
	for i := len(u) - 1; i >= 0; i-- {
		e := u[i]*z.scale[i] + z.gain[i]*s
		out[i] = e
		s = z.fade[i] * (s - e)
	}
}

// draw makes a series of this noise, σ = 1, values with relative variances r.
func (z *noise) draw(rng *rand.Rand, r, out []float64) {
	s := math.Sqrt(z.share) * rng.NormFloat64()
	for i := range out {
		if i > 0 {
			a := z.fade[i]
			s = a*s + math.Sqrt(z.share*(1-a*a))*rng.NormFloat64()
		}
		out[i] = s + math.Sqrt((1-z.share)*r[i])*rng.NormFloat64()
	}
}

// whitenStep is whiten of a column that is 0 before value from and 1 from it on.
func (z *noise) whitenStep(from int, out []float64) {
	clear(out[:from])
	s := 0.0
	for i := from; i < len(out); i++ {
		s *= z.fade[i]
		e := 1 - s
		out[i] = e * z.scale[i]
		s += z.gain[i] * e
	}
}
