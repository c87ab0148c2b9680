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
	between(r, a, bridgeMS, out)
	return out
}

// between is interpolate into rows that take the axis' points by turns.
func between(r *Readings, a axis, bridgeMS int64, outs ...[]float64) {
	out := turns{outs[0], outs[len(outs)-1], len(outs) - 1}
	near, nan := r.pairs(), math.NaN()
	var t int64 // of the reading before
	var v, slope float64
	joined := false
	for k := 0; k < a.n; k++ {
		p := a.t0 + int64(k)*a.step
		if near.to(p) {
			k, p = near.inStep(out, k, p, a, bridgeMS)
			k, p = near.onStamps(out, k, p, a)
			t, v = r.at(near.i), r.s.V[near.i]
			if joined = false; near.n < r.hi {
				d := r.at(near.n) - t
				joined, slope = d <= bridgeMS, (r.s.V[near.n]-v)/float64(d)
			}
		}
		switch {
		case joined:
			*out.at(k) = v + slope*float64(p-t)
		case near.i >= 0 && p == t:
			*out.at(k) = v
		default:
			*out.at(k) = nan
		}
	}
}

// turns are two rows that take points by turns, or one that takes all.
type turns struct {
	even, odd []float64
	two       int // 1: two rows
}

func (x *turns) at(k int) *float64 {
	if k&x.two == 0 {
		return &x.even[k>>x.two]
	}
	return &x.odd[k>>1]
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
	if holdMS == 0 {
		holdMS = math.MaxInt64
	}
	t, v := r.s.T, r.s.V
	for i := r.next(r.lo); i < r.hi; {
		first := i
		// Rows that hold on what the one before says are laid as one: 0 and 1 by
		// whole ms add up exactly, in whatever pieces.
		if v[i] == 0 || v[i] == 1 {
			for end := r.s.Flags.Until(i, r.hi); i+1 < end && v[i+1] == v[first] && t[i+1]-t[i] <= holdMS; {
				i++
			}
		}
		n, to := r.next(i+1), lastMS
		if n < r.hi {
			to = t[n]
		}
		if to-t[i] > holdMS {
			to = t[i] + holdMS
		}
		s.spread(t[first], to, v[first])
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
	for i := r.next(r.lo); i < r.hi; {
		end := p.s.Flags.Until(i, r.hi)
		p.run(i, end)
		i = r.next(end)
	}
}

// run lays the readings i to end (left out), none of which is flagged. Zeros
// whose intervals follow each other are laid as one: their times are whole ms
// and add up exactly, in whatever pieces.
func (p *pour) run(i, end int) {
	t, v, most := p.s.T, p.s.V, int64(min(p.longestMS, p.longestZeroMS))
	for ; i < end; i++ {
		from := p.start(i)
		if d := t[i] - from; v[i] == 0 && d > 0 && d <= most {
			for i+1 < end && v[i+1] == 0 && p.start(i+1) == t[i] && t[i+1] > t[i] && t[i+1]-t[i] <= most {
				i++
			}
			p.spread(from, t[i], 0)
			continue
		}
		p.one(i, from)
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
		if v == 0 && joins { // the zeros behind it change nothing
			n := i + 1
			for end := s.Flags.Until(n, r.hi); n < end && s.V[n] == 0 && s.From[n] == s.T[n-1]; {
				n++
			}
			if still < 0 {
				p.run(i+1, n)
			}
			i = n - 1
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
	for i := still; i < end; {
		to := p.s.Flags.Until(i, end)
		p.run(i, to)
		i = r.next(to)
	}
}
