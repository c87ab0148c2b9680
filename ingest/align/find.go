package align

import (
	"fmt"
	"math"
	"slices"
)

// apart are the whole days by which the fixed train is laid aside to see what
// the pattern of the day gives without any relation; a week among them, as farms
// keep weeks.
var apartDays = [...]int{-7, -5, -3, -2, -1, 1, 2, 3, 5, 7}

// Find looks for how far the moved train's clock is ahead of the fixed train's,
// given at midMS by the moved train's stamps.
func Find(moved, fixed Train, delay Delay, midMS int64, opt Options) Result {
	r := Result{MidMS: midMS}
	a, b := overlap(moved.AtMS, fixed.AtMS, int64(opt.MostS*secondMS))
	r.Of = len(a)
	if len(a) < opt.FewEvents || len(b) < opt.FewEvents {
		r.Why = fmt.Sprintf("only %d and %d events in the same time: at least %d are needed", len(a), len(b), opt.FewEvents)
		return r
	}
	stepS := 2 * float64(moved.HalfMS+fixed.HalfMS) / secondMS
	s := search{a: a, midMS: midMS, stepS: stepS, opt: opt}
	best, path := s.at(b, nil, 0)
	other, _ := s.at(b, path, s.apart(best))
	r.fill(best, other)
	r.Why = s.refuse(best, other)
	switch {
	case r.Why != "":
	case fixed.Nominal || sameEveryDay(b):
		r.Why = s.refusePattern(best, other)
	default:
		r.Why = s.refuseAside(best, fixed.AtMS, path)
	}
	r.Found = r.Why == ""
	r.interval(best, delay)
	return r
}

// overlap cuts both trains to the time they share, give or take the largest
// offset.
func overlap(a, b []int64, mostMS int64) (inA, inB []int64) {
	if len(a) == 0 || len(b) == 0 {
		return nil, nil
	}
	inA = within(a, b[0]-mostMS, b[len(b)-1]+mostMS)
	if len(inA) == 0 {
		return nil, nil
	}
	return inA, within(b, inA[0]-mostMS, inA[len(inA)-1]+mostMS)
}

func within(at []int64, lowMS, highMS int64) []int64 {
	i, _ := slices.BinarySearch(at, lowMS)
	j, _ := slices.BinarySearch(at, highMS)
	return at[i:max(i, j)]
}

func shifted(at []int64, byMS int64, about []int64, opt Options) []int64 {
	most := int64(opt.MostS * secondMS)
	in := within(at, about[0]-most-byMS, about[len(about)-1]+most-byMS)
	out := make([]int64, len(in))
	for i, t := range in {
		out[i] = t + byMS
	}
	return out
}

// moved24 is where a path lies when the fixed train is laid days later: there it
// would be found again, which says nothing of other days.
func moved24(path []int, days int) []int {
	out := make([]int, len(path))
	for w, b := range path {
		out[w] = b - days*int(dayMS/secondMS/binS)
	}
	return out
}

// sameEveryDay tells whether events keep to the minute from day to day: then
// they tell one day from another by nothing.
func sameEveryDay(at []int64) bool {
	same, of := 0, 0
	for _, t := range at {
		if t-dayMS < at[0] {
			continue
		}
		of++
		if d := t - dayMS - at[nearest(at, t-dayMS)]; d <= 90*secondMS && d >= -90*secondMS {
			same++
		}
	}
	return of > 0 && float64(same) > 0.8*float64(of)
}

// search is the moved train on its way through several fixed ones.
type search struct {
	a     []int64
	midMS int64
	stepS float64
	opt   Options
	sc    scratch
}

// at finds the best lag to a fixed train, away from a path by more than apart
// bins; nil where the train is too short.
func (s *search) at(b []int64, avoid []int, apart int) (*fit, []int) {
	if len(b) < s.opt.FewEvents {
		return nil, nil
	}
	k := newTrack(s.a, b, s.opt, &s.sc)
	path := k.path(avoid, apart)
	return refine(k, path, s.a, b, s.midMS, s.stepS, s.opt), path
}

// apart is how far from the best lag another one is another one, in bins.
func (s *search) apart(f *fit) int { return int(max(1200, 6*f.scaleS)/binS) + 1 }

// Shares of matched events below which a lag is none, and the matches a day
// that a pattern needs to be one.
const (
	fewestShare   = 0.25
	patternShare  = 0.7
	patternMargin = 0.15
	patternPerDay = 1.5
)

// refuse says why the best lag is not to be believed; "" where it is.
func (s *search) refuse(best, other *fit) string {
	n := len(best.pairs)
	few := min(len(best.moved), len(best.fixed))
	switch {
	case n < s.opt.FewEvents || float64(n) < fewestShare*float64(few):
		return fmt.Sprintf("at no offset within ±%.3g h do the events fall together: at best %d of %d", s.opt.MostS/3600, n, len(best.moved))
	case best.edge():
		return "the best offset stands at the edge of what is looked for"
	case best.leaps():
		return fmt.Sprintf("the best offset jumps by more than %g h on the way: it may go on as another day's", mostJumpS/3600)
	}
	need := max(s.opt.Margin, s.opt.MarginShare*best.score)
	if other != nil && !best.same(other) && best.score-other.score < need {
		return fmt.Sprintf("two offsets fit nearly as well: %s and %s", Hours(best.lagAt(best.midMS)), Hours(other.lagAt(other.midMS)))
	}
	return ""
}

// refuseAside holds the lag against those that the fixed train gives when it is
// laid whole days aside: the pattern of the day is in them, what joins an event
// to its own is not.
func (s *search) refuseAside(best *fit, fixed []int64, path []int) string {
	var aside []float64
	for _, d := range apartDays {
		if f, _ := s.at(shifted(fixed, int64(d)*dayMS, s.a, s.opt), moved24(path, d), s.apart(best)); f != nil && !best.slid(f, d) {
			aside = append(aside, f.score)
		}
	}
	if len(aside) < 4 {
		return "too few days to tell the events of one day from those of another"
	}
	low, top := slices.Min(aside), slices.Max(aside)
	if best.score-top < max(s.opt.Margin, s.opt.MarginShare*best.score, s.opt.MarginSpread*(top-low)/2) {
		return "the events fall together no better than those of other days would: it may be the pattern of the day alone"
	}
	return ""
}

// refusePattern judges a lag to stated times: the day's pattern is all there is,
// and it must be a pattern.
func (s *search) refusePattern(best, other *fit) string {
	days := map[int64]bool{}
	used := map[int]bool{}
	for _, p := range best.pairs {
		days[p.tMS/dayMS] = true
		used[p.j] = true
	}
	switch {
	case float64(len(best.pairs)) < patternPerDay*float64(len(days)):
		return "times that are the same every day, one event a day: any offset fits"
	case float64(len(best.pairs)) < patternShare*float64(min(len(best.fixed), len(best.moved))):
		return fmt.Sprintf("the events keep no fixed times of the day: %d of %d fall together with stated times", len(best.pairs), len(best.moved))
	case other != nil && !best.same(other) && best.score-other.score < patternMargin*best.score:
		return fmt.Sprintf("two offsets fit the stated times nearly as well: %s and %s", Hours(best.lagAt(best.midMS)), Hours(other.lagAt(other.midMS)))
	}
	return ""
}

// edge tells whether a lag stands at the end of the search.
func (f *fit) edge() bool {
	return math.Abs(f.lagAt(f.midMS)) > f.opt.MostS-2*binS
}

// mostJumpS is the largest jump that is believed: a larger one comes close to the
// day by which one clock looks like another.
const mostJumpS = 12 * 3600.0

// leaps tells whether a jump is larger than that.
func (f *fit) leaps() bool {
	for i := 1; i < len(f.segs); i++ {
		if math.Abs(f.segs[i].lagS-f.segs[i-1].lagS) > mostJumpS {
			return true
		}
	}
	return false
}

// same tells whether another fit slid back to this one.
func (f *fit) same(o *fit) bool {
	return len(o.segs) == len(f.segs) && math.Abs(o.lagAt(o.midMS)-f.lagAt(f.midMS)) < 60
}

// slid tells whether a fit to the fixed train laid days aside is the best lag
// again.
func (f *fit) slid(o *fit, days int) bool {
	return math.Abs(o.lagAt(o.midMS)+float64(days)*dayMS/secondMS-f.lagAt(f.midMS)) < 2*binS
}

// fill notes what was found of the best lag and the next.
func (r *Result) fill(best, other *fit) {
	r.Score, r.LagS, r.Matched = best.score, best.lagAt(best.midMS), len(best.pairs)
	var v []float64
	for _, p := range best.pairs {
		v = append(v, math.Abs(p.residualS))
	}
	slices.Sort(v)
	if len(v) > 0 {
		r.WithinS = math.Ceil(max(v[len(v)*95/100], 1))
	}
	r.Matched = len(within2(v, r.WithinS))
	for i := 1; i < len(best.segs); i++ {
		s := best.segs[i]
		r.Jumps = append(r.Jumps, Jump{AtMS: s.fromMS, FromMS: s.earliestMS, ToMS: 2*s.fromMS - s.earliestMS, ByS: s.lagS - best.segs[i-1].lagS})
	}
	if other == nil || best.same(other) {
		return
	}
	r.Other, r.NextLagS = other.score, other.lagAt(other.midMS)
	for _, p := range other.pairs {
		if math.Abs(p.residualS) <= r.WithinS {
			r.Next++
		}
	}
}

func within2(sorted []float64, most float64) []float64 {
	i, _ := slices.BinarySearch(sorted, most+1e-9)
	return sorted[:i]
}

// Hours writes a lag: "+37 min", "−3.2 h".
func Hours(s float64) string {
	sign := "+"
	if s < 0 {
		sign = "−"
	}
	switch a := math.Abs(s); {
	case a < 120:
		return fmt.Sprintf("%s%.0f s", sign, a)
	case a < 2*3600:
		return fmt.Sprintf("%s%.3g min", sign, a/60)
	default:
		return fmt.Sprintf("%s%.3g h", sign, a/3600)
	}
}
