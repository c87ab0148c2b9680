package clock

import (
	"math"
	"slices"
)

// True is the true time of a stamp:
//
//	true = stamp − ahead(stamp)
//	ahead(t) = A + D (t − M)/86400 s + Σ_j by_j ([t ≥ at_j] − [M ≥ at_j])
//
// A = AheadS and M = MidMS: the clock was A ahead at M, whatever the jumps; D
// in seconds a day; by_j > 0 where the clock was moved forward. A clock moved
// back shows the stamps between at + by and at twice: taken alone such a stamp
// counts as before the jump; TrueAll tells them apart by row order.
func (s Shift) True(stampMS int64) int64 {
	ahead := s.smoothS(stampMS)
	for _, j := range s.Jumps {
		if stampMS >= j.AtMS {
			ahead += j.ByS
		}
	}
	return stampMS - int64(math.Round(ahead*secondMS))
}

// smoothS is how far the clock is ahead by offset and drift, the jumps up to
// mid-file taken off: what True adds the passed jumps to.
func (s Shift) smoothS(stampMS int64) float64 {
	ahead := s.AheadS + s.DriftSPerDay*float64(stampMS-s.MidMS)/dayMS
	for _, j := range s.Jumps {
		if s.MidMS >= j.AtMS {
			ahead -= j.ByS
		}
	}
	return ahead
}

// Plus is the shift with what was found beside it: o counts on the stamps that s
// has put right, which differ from those of the logger by too little to move its
// jumps.
func (s Shift) Plus(o Shift) Shift {
	out := Shift{AheadS: float64(o.MidMS-s.True(o.MidMS))/secondMS + o.AheadS, DriftSPerDay: s.DriftSPerDay + o.DriftSPerDay, MidMS: o.MidMS}
	out.Jumps = append(append(out.Jumps, s.Jumps...), o.Jumps...)
	return out
}

// Zero tells whether the shift changes nothing.
func (s Shift) Zero() bool { return s.AheadS == 0 && s.DriftSPerDay == 0 && len(s.Jumps) == 0 }

// TrueAll gives the true times of stamps in row order (either direction);
// Bad stays Bad. A jump back is placed at the row where the stamps step back
// near it, so that the stamps shown twice are told apart.
func (s Shift) TrueAll(stamps []int64) []int64 {
	out := make([]int64, len(stamps))
	passed := make([][2]int64, len(s.Jumps))
	down := descending(stamps)
	if down {
		stamps = slices.Clone(stamps)
		slices.Reverse(stamps)
	}
	for k, j := range s.Jumps {
		passed[k] = backAt(stamps, j)
	}
	for i, t := range stamps {
		out[i] = Bad
		if t == Bad {
			continue
		}
		ahead := s.smoothS(t)
		for k, j := range s.Jumps {
			if t >= j.AtMS || int64(i) >= passed[k][0] && t >= passed[k][1] {
				ahead += j.ByS
			}
		}
		out[i] = t - int64(math.Round(ahead*secondMS))
	}
	if down {
		slices.Reverse(out)
	}
	return out
}

// backAt finds the row from which a clock that was moved back shows its
// stamps a second time, and the first such stamp; past the end where there is
// none.
func backAt(stamps []int64, j Jump) [2]int64 {
	none := [2]int64{math.MaxInt64, 0}
	from := j.AtMS + int64(j.ByS*secondMS)
	if j.ByS >= 0 {
		return none
	}
	prev, best, at := int64(Bad), int64(0), none
	for i, t := range stamps {
		if t == Bad {
			continue
		}
		back := prev - t
		if prev != Bad && back > best && t >= from && t <= j.AtMS && prev >= from {
			best, at = back, [2]int64{int64(i), from}
		}
		prev = t
	}
	return at
}

// descending tells whether the rows of a file run from the newest to the
// oldest.
func descending(t []int64) bool {
	up, down := 0, 0
	prev := int64(Bad)
	for _, v := range t {
		if v == Bad {
			continue
		}
		if prev != Bad && v > prev {
			up++
		} else if prev != Bad && v < prev {
			down++
		}
		prev = v
	}
	return down > up
}
