package today

import (
	"math"
	"slices"
)

// usual is the range of earlier values; nil where there are fewer than fewest.
func (m *maker) usual(earlier []float64, fewest int, of string) *Usual {
	v := known(earlier)
	if len(v) < fewest {
		return nil
	}
	slices.Sort(v)
	rest := (1 - m.opt.Share) / 2
	return &Usual{Low: quantile(v, rest), Mid: quantile(v, 0.5), High: quantile(v, 1-rest), Share: m.opt.Share, N: len(v), Of: of}
}

// quantile of sorted values, the line between neighbours (Hyndman and Fan 1996,
// type 7, from memory).
func quantile(sorted []float64, p float64) float64 {
	h := p * float64(len(sorted)-1)
	i := int(h)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}

func known(v []float64) []float64 {
	var out []float64
	for _, x := range v {
		if x == x && !math.IsInf(x, 0) {
			out = append(out, x)
		}
	}
	return out
}

// median of the known values; NaN without any.
func median(v []float64) float64 {
	v = known(v)
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return quantile(v, 0.5)
}

// off is −1 where v lies below the usual range by more than beyond of its width,
// and off the median by more than least, 1 where above, else 0. Few values, and
// such as follow the weather, leave the range of those before more easily than its
// share says.
func (u *Usual) off(v, least, beyond float64) int {
	pad := beyond * (u.High - u.Low)
	switch {
	case v < u.Low-pad && u.Mid-v > least:
		return -1
	case v > u.High+pad && v-u.Mid > least:
		return 1
	}
	return 0
}

// line is the straight line y = base + slope x by least squares; slope 0 where x
// does not move.
func line(x, y []float64) (base, slope float64) {
	mx, my := mean(x), mean(y)
	var xx, xy float64
	for i := range x {
		xx, xy = xx+(x[i]-mx)*(x[i]-mx), xy+(x[i]-mx)*(y[i]-my)
	}
	if xx > 0 {
		slope = xy / xx
	}
	return my - slope*mx, slope
}
