package grid

import (
	"slices"

	"yardheat/ingest/series"
)

// Readings are the readings of one probe that carry no flag, on and about the
// grid: a view of the series, nothing is copied. The zero value holds none.
type Readings struct {
	s      *series.Series
	lo, hi int
	// mid: a reading is the mean of its interval and stands at its middle.
	mid bool
}

// near are the readings near the grid. A day on either side: what spans the
// edge of the period still reaches in. An event log's last row before the
// period may be older still.
func (g *Grid) near(s *series.Series) Readings {
	lo, _ := slices.BinarySearch(s.T, g.StartMS-24*3600*1000)
	if s.Kind == series.State {
		for back := true; back && lo > 0; back = s.Flags.At(lo)&series.Absent != 0 {
			lo--
		}
	}
	hi, _ := slices.BinarySearch(s.T, g.EndMS()+24*3600*1000)
	return Readings{s: s, lo: lo, hi: hi}
}

// at is the stamp of reading i, Unix ms.
func (r *Readings) at(i int) int64 {
	t := r.s.T[i]
	if r.mid {
		from := r.s.From[i]
		return from + (t-from)/2
	}
	return t
}

// next is the first reading at or after index i; hi where there is none.
func (r *Readings) next(i int) int {
	for i < r.hi && r.s.Flags.At(i) != 0 {
		i++
	}
	return i
}

// from is the first reading that stands at or after a time; hi where there is
// none.
func (r *Readings) from(ms int64) int {
	if r.s == nil {
		return r.hi
	}
	i, _ := slices.BinarySearch(r.s.T[r.lo:r.hi], ms) // a middle stands before its stamp
	i = r.next(r.lo + i)
	for i < r.hi && r.at(i) < ms {
		i = r.next(i + 1)
	}
	return i
}

// upTo is the last reading that stands at or before a time; -1 where there is
// none.
func (r *Readings) upTo(ms int64) int {
	for i := r.from(ms+1) - 1; i >= r.lo; i-- {
		if r.s.Flags.At(i) == 0 {
			return i
		}
	}
	return -1
}

// value is the reading that stands at a time.
func (r *Readings) value(ms int64) (v float64, ok bool) {
	if i := r.from(ms); i < r.hi && r.at(i) == ms {
		return r.s.V[i], true
	}
	return 0, false
}

// pairs walks the readings that stand on either side of ascending times.
type pairs struct {
	r *Readings
	// i is the reading before, n the one after; -1 and hi where there is none.
	i, n int
	// jump is how many readings the last move passed: where stamps are regular
	// the next passes as many.
	jump int
}

func (r *Readings) pairs() pairs { return pairs{r: r, i: -1, n: r.next(r.lo)} }

// to moves on until reading i stands at or before the time and n after it. It
// tells whether it moved.
func (p *pairs) to(ms int64) bool {
	from := p.n
	for p.n < p.r.hi && p.r.at(p.n) <= ms {
		p.i = p.n
		if !p.r.mid {
			p.i = p.leap(ms)
		}
		p.n = p.r.next(p.i + 1)
		for p.r.s.Flags.At(p.i) != 0 {
			p.i-- // at the latest p.n as it was
		}
	}
	p.jump = p.n - from
	return p.jump > 0
}

// onStamps goes on from the time ms of point k for as long as each point falls
// on a reading, as many readings on as before, and writes what they read. It
// gives the point and the time at which it came to stand.
func (p *pairs) onStamps(out turns, k int, ms int64, a axis) (int, int64) {
	t, v := p.r.s.T, p.r.s.V
	if p.r.mid || p.jump <= 0 || t[p.i] != ms || p.n != p.i+1 {
		return k, ms
	}
	i, first := p.i, p.i
	for end := p.r.s.Flags.Until(i, p.r.hi) - 1; k < a.n && i < end && t[i] == ms && t[i+1] > ms; i += p.jump {
		*out.at(k) = v[i]
		k, ms = k+1, ms+a.step
	}
	if i == first {
		return k, ms
	}
	p.i, p.n = i-p.jump, p.r.next(i-p.jump+1)
	return k - 1, ms - a.step
}

// inStep goes on from the time ms of point k for as long as readings without a
// flag follow each other in the points' own step, no point on one, or in twice
// that, every other point on one, and writes what stands between them. It gives
// the point and the time that are next.
func (p *pairs) inStep(out turns, k int, ms int64, a axis, bridgeMS int64) (int, int64) {
	t, v, i := p.r.s.T, p.r.s.V, p.i
	apart, off, points := a.step, ms-t[i], 1+out.two
	if out.two == 1 {
		apart *= 2
	}
	if p.r.mid || p.n != i+1 || p.jump != 1 || apart > bridgeMS || off >= a.step || (off == 0) != (out.two == 1) {
		return k, ms
	}
	end := p.r.s.Flags.Until(i, p.r.hi)
	for ; k+points < a.n && i+1 < end && t[i+1]-t[i] == apart; i++ {
		slope := (v[i+1] - v[i]) / float64(apart)
		*out.at(k) = v[i] + slope*float64(off)
		if out.two == 1 {
			*out.at(k + 1) = v[i] + slope*float64(a.step)
		}
		k, ms = k+points, ms+apart
	}
	if i > p.i {
		p.i, p.n = i, p.r.next(i+1)
		if !p.to(ms) {
			p.jump = 1
		}
	}
	return k, ms
}

// leap is the last reading from n on, flagged or not, stamped at or before the
// time.
func (p *pairs) leap(ms int64) int {
	t, i := p.r.s.T, min(p.n+max(p.jump-1, 0), p.r.hi-1)
	for t[i] > ms {
		i--
	}
	for i+1 < p.r.hi && t[i+1] <= ms {
		i++
	}
	return i
}

// Bridged tells, for the n times t0, t0 + stepMS, …, Unix ms, where a value
// stands on a line between two readings more than longestMS apart: a reading is
// missing there, and what the line says of a jump is half the jump.
func (r Readings) Bridged(t0, stepMS int64, n int, longestMS int64) []bool {
	out := make([]bool, n)
	if r.s == nil {
		return out
	}
	near := r.pairs()
	for k := range out {
		p := t0 + int64(k)*stepMS
		near.to(p)
		if near.i >= 0 && near.n < r.hi {
			before := r.at(near.i)
			out[k] = before != p && r.at(near.n)-before > longestMS
		}
	}
	return out
}
