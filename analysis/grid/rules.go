package grid

import "math"

// axis is a row of equally spaced points: point k stands at t0 + k·step.
type axis struct {
	t0, step int64
	n        int
}

func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}

// interpolate puts the straight line between neighbouring readings on the
// points of an axis. Two readings further apart than bridgeMS are not joined:
// the points between them keep NaN, and nothing is carried beyond the first
// and last reading. A point that falls on a reading takes it as it stands.
// out must hold NaN.
func interpolate(atMS []int64, v []float64, a axis, bridgeMS int64, out []float64) {
	if len(atMS) == 0 {
		return
	}
	k := int(max(0, ceilDiv(atMS[0]-a.t0, a.step)))
	p := a.t0 + int64(k)*a.step
	for j, t := range atMS {
		for ; k < a.n && p < t; k++ { // points in a gap keep NaN
			p += a.step
		}
		if k == a.n {
			return
		}
		if j+1 == len(atMS) || atMS[j+1]-t > bridgeMS {
			if p == t {
				out[k] = v[j]
			}
			continue
		}
		slope := (v[j+1] - v[j]) / float64(atMS[j+1]-t)
		for ; k < a.n && p < atMS[j+1]; k++ {
			out[k] = v[j] + slope*float64(p-t)
			p += a.step
		}
	}
}

// spreader gathers what passed in each cell and how much of it was seen.
type spreader struct {
	a      axis // left edges of the cells
	sum    []float64
	seenMS []float64
}

func newSpreader(a axis) *spreader {
	return &spreader{a: a, sum: make([]float64, a.n), seenMS: make([]float64, a.n)}
}

// spread lays a constant rate over (from, to] onto the cells.
func (s *spreader) spread(from, to int64, rate float64) {
	from, to = max(from, s.a.t0), min(to, s.a.t0+int64(s.a.n)*s.a.step)
	if to <= from {
		return
	}
	k := int((from - s.a.t0) / s.a.step)
	for left := s.a.t0 + int64(k)*s.a.step; left < to; left += s.a.step {
		d := float64(min(to, left+s.a.step) - max(from, left))
		s.sum[k] += rate * d
		s.seenMS[k] += d
		k++
	}
}

// means are the mean rates of the cells, NaN where less than share of a cell
// was seen. A cell seen in part takes the mean of that part.
func (s *spreader) means(share float64) []float64 {
	least := share * float64(s.a.step)
	for k, seen := range s.seenMS {
		if seen < least || seen == 0 {
			s.sum[k] = math.NaN()
		} else {
			s.sum[k] /= seen
		}
	}
	return s.sum
}

// hold lays a state onto the cells: each row holds until the next, at most
// holdMS (0 = without limit) and never beyond lastMS.
func (s *spreader) hold(atMS []int64, v []float64, holdMS, lastMS int64) {
	for j, t := range atMS {
		to := lastMS
		if j+1 < len(atMS) {
			to = atMS[j+1]
		}
		if holdMS > 0 {
			to = min(to, t+holdMS)
		}
		s.spread(t, to, v[j])
	}
}
