package grid

import (
	"math"

	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

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
// the points between them are NaN, and nothing is carried beyond the first
// and last reading. A point that falls on a reading takes it as it stands.
func interpolate(r *Readings, a axis, bridgeMS int64) []float64 {
	out := room.Make[float64](a.n)
	near, nan := r.pairs(), math.NaN()
	var t int64 // of the reading before
	var v, slope float64
	joined := false
	for k := range out {
		p := a.t0 + int64(k)*a.step
		if near.to(p) {
			t, v = r.at(near.i), r.s.V[near.i]
			if joined = false; near.n < r.hi {
				d := r.at(near.n) - t
				joined, slope = d <= bridgeMS, (r.s.V[near.n]-v)/float64(d)
			}
		}
		switch {
		case joined:
			out[k] = v + slope*float64(p-t)
		case near.i >= 0 && p == t:
			out[k] = v
		default:
			out[k] = nan
		}
	}
	return out
}

// spreader gathers what passed in each cell and how much of it was seen.
type spreader struct {
	a      axis // left edges of the cells
	sum    []float64
	seenMS []float64
	// k is the cell last written to, left its left edge.
	k    int
	left int64
}

// newSpreader takes seenMS to work in, n of them or more.
func newSpreader(a axis, seenMS []float64) *spreader {
	clear(seenMS[:a.n])
	return &spreader{a: a, sum: room.Make[float64](a.n), seenMS: seenMS[:a.n], left: a.t0}
}

// spread lays a constant rate over (from, to] onto the cells.
func (s *spreader) spread(from, to int64, rate float64) {
	from, to = max(from, s.a.t0), min(to, s.a.t0+int64(s.a.n)*s.a.step)
	if to <= from {
		return
	}
	switch d := from - s.left; {
	case d >= 0 && d < s.a.step:
	case d >= 0 && d < 2*s.a.step:
		s.k, s.left = s.k+1, s.left+s.a.step
	default:
		s.k = int((from - s.a.t0) / s.a.step)
		s.left = s.a.t0 + int64(s.k)*s.a.step
	}
	for {
		right := s.left + s.a.step
		d := float64(min(to, right) - max(from, s.left))
		s.sum[s.k] += rate * d
		s.seenMS[s.k] += d
		if to <= right {
			return
		}
		s.k, s.left = s.k+1, right
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
func (s *spreader) hold(r *Readings, holdMS, lastMS int64) {
	for i := r.next(r.lo); i < r.hi; {
		n, to := r.next(i+1), lastMS
		if n < r.hi {
			to = r.s.T[n]
		}
		if holdMS > 0 {
			to = min(to, r.s.T[i]+holdMS)
		}
		s.spread(r.s.T[i], to, r.s.V[i])
		i = n
	}
}

// pour lays the amounts or means of a series on the cells they passed in. An
// interval longer than longestMS is left out (a counter across a gap), one
// without flow if longer than longestZeroMS.
type pour struct {
	*spreader
	s *series.Series
	// perMS turns an amount over ms into a rate; 0 = the values are rates.
	perMS                    float64
	longestMS, longestZeroMS float64
	usualMS                  int64
}

// start of the interval that ends at reading i: as logged, else one usual
// interval before.
func (p *pour) start(i int) int64 {
	if i < len(p.s.From) {
		return p.s.From[i]
	}
	return p.s.T[i] - p.usualMS
}

// one lays reading i, its interval begun at from.
func (p *pour) one(i int, from int64) {
	to, rate := p.s.T[i], p.s.V[i]
	d := float64(to - from)
	if d <= 0 || d > p.longestMS && (rate != 0 || d > p.longestZeroMS) {
		return
	}
	if p.perMS > 0 {
		rate *= p.perMS / d
	}
	p.spread(from, to, rate)
}

// all lays every reading.
func (p *pour) all(r *Readings) {
	for i := r.lo; i < r.hi; i++ {
		for end := p.s.Flags.Until(i, r.hi); i < end; i++ {
			p.one(i, p.start(i))
		}
	}
}

// steady is all, but for a counter's single steps (at most largest): one that
// came no longer than withinMS after another is joined with the stillness
// between them.
func (p *pour) steady(r *Readings, largest float64, withinMS int64) {
	s := p.s
	still, last := -1, -1 // where the stillness after a step begins; the reading before
	for i := r.next(r.lo); i < r.hi; i = r.next(i + 1) {
		v, from := s.V[i], s.From[i]
		joins := last >= 0 && s.T[last] == from
		switch {
		case v == 0 && joins:
			if s.V[last] != 0 {
				still = i
			}
		case v > 0 && v <= largest && joins && still >= 0 && s.V[last] == 0 && s.T[i]-s.From[still] <= withinMS:
			from, still = s.From[still], -1
		default:
			p.held(r, still, i)
			still = -1
		}
		if still < 0 {
			p.one(i, from)
		}
		last = i
	}
	p.held(r, still, r.hi)
}

// held lays a stillness that no step ended, from reading still up to end.
func (p *pour) held(r *Readings, still, end int) {
	if still < 0 {
		return
	}
	for i := still; i < end; i = r.next(i + 1) {
		p.one(i, p.s.From[i])
	}
}
