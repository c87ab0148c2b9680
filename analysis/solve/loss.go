package solve

import "math"

// Loss turns a residual into its share of S and the weight of its row in the
// normal equations (iteratively reweighted least squares): weight =
// loss'(r)/(2 r). The square has loss r^2 and weight 1.
type Loss func(r float64) (loss, weight float64)

// Huber is the square up to k and a straight line beyond:
// loss = k (2|r| - k) for |r| > k (Huber 1964).
func Huber(k float64) Loss {
	return func(r float64) (float64, float64) {
		a := math.Abs(r)
		if a <= k {
			return r * r, 1
		}
		return k * (2*a - k), k / a
	}
}

// SoftL1 is 2 k^2 (sqrt(1 + (r/k)^2) - 1): the square near 0, a straight line
// far out, smooth in between.
func SoftL1(k float64) Loss {
	return func(r float64) (float64, float64) {
		s := math.Sqrt(1 + (r/k)*(r/k))
		return 2 * k * k * (s - 1), 1 / s
	}
}
