package clock

import (
	"slices"
	"sort"
	"time"

	"yardheat/ingest/series/room"
)

// span is a stretch of constant offset in a zone; its ends are UTC.
type span struct {
	startMS, endMS, offsetMS int64
}

// holds tells whether a wall time stands in the span.
func (s *span) holds(wall int64) bool {
	utc := wall - s.offsetMS
	return utc >= s.startMS && utc < s.endMS
}

// spansOf lists the zone's stretches that cover the wall times from low to
// high, a stretch more at each end. Behind the last change that the zone's
// table lists, ZoneBounds ends the stretch at the last day of a leap year and
// gives that same end again from there on (Go 1.26; seen in Europe/Rome in
// 2040): such an end is no change and is stepped over.
func spansOf(zone *time.Location, low, high int64) []span {
	var out []span
	t := time.UnixMilli(low - 2*dayMS).In(zone)
	for {
		start, end := t.ZoneBounds()
		_, off := t.Zone()
		s := span{Bad, -(Bad + 1), int64(off) * secondMS}
		if !start.IsZero() {
			s.startMS = start.UnixMilli()
		}
		if !end.IsZero() {
			s.endMS = end.UnixMilli()
		}
		if n := len(out); n > 0 && out[n-1].offsetMS == s.offsetMS {
			out[n-1].endMS = s.endMS
		} else {
			out = append(out, s)
		}
		if end.IsZero() || s.endMS > high+2*dayMS {
			return out
		}
		if t = end; !endsAfter(end) {
			t = end.Add(48 * time.Hour)
		}
	}
}

// endsAfter tells whether the stretch that begins at t goes on behind it.
func endsAfter(t time.Time) bool {
	_, end := t.ZoneBounds()
	return end.IsZero() || end.After(t)
}

// resolver turns wall times into UTC, remembering the stretch of the last.
type resolver struct {
	spans []span
	cur   int
	// safeLow, safeHigh: wall times in the current stretch so far from its
	// ends that no other can hold them.
	safeLow, safeHigh int64
}

// maxShift is more than any zone ever moved its clocks.
const maxShift = 26 * hourMS

func (r *resolver) enter(i int) {
	s := r.spans[i]
	r.cur, r.safeLow, r.safeHigh = i, s.startMS, s.endMS
	if s.startMS != Bad {
		r.safeLow += s.offsetMS + maxShift
	}
	if s.endMS != -(Bad + 1) {
		r.safeHigh += s.offsetMS - maxShift
	}
}

// find gives the stretches that hold a wall time: first and last index of
// those that do (equal: just one), or, where the wall time is skipped, the
// stretch before the change with skipped set.
func (r *resolver) find(wall int64) (first, last int, skipped bool) {
	if wall >= r.safeLow && wall < r.safeHigh {
		return r.cur, r.cur, false
	}
	near := sort.Search(len(r.spans), func(i int) bool { return r.spans[i].endMS > wall-maxShift })
	first = -1
	before := near
	for i := near; i < len(r.spans) && r.spans[i].startMS <= wall+maxShift; i++ {
		s := &r.spans[i]
		if s.holds(wall) {
			if first < 0 {
				first = i
			}
			last = i
		}
		if wall-s.offsetMS >= s.endMS {
			before = i
		}
	}
	if first < 0 {
		return before, before, true
	}
	r.enter(first)
	return first, last, false
}

// Resolve turns a column's wall clock into UTC. Rows that state an offset
// need no zone. Others are read in zone: of the offsets in force near the
// wall time those are tried that agree with themselves. Where a clock change
// repeats an hour, row order decides (Go's time.Date picks one side without
// saying so, and not the same in every zone); a wall time that a change skips
// is read with the offset before the change. Bad rows stay Bad.
func Resolve(col *Column, zone *time.Location) (utcMS []int64, probs []Repeat) {
	utc := room.Make[int64](len(col.Wall))
	low, high := bounds(col.Wall)
	if low > high {
		for i := range utc {
			utc[i] = Bad
		}
		return utc, nil
	}
	j := job{col: col, utc: utc, down: descending(col.Wall)}
	j.r.spans = spansOf(zone, low, high)
	j.r.enter(0)
	j.usual = usualStep(col.Wall)
	for k := 0; k < len(utc); {
		k = j.row(k)
	}
	slices.SortStableFunc(j.probs, func(a, b Repeat) int { return a.FirstRow - b.FirstRow })
	return utc, j.probs
}

func bounds(wall []int64) (low, high int64) {
	low, high = -(Bad + 1), Bad
	for _, w := range wall {
		if w != Bad {
			low, high = min(low, w), max(high, w)
		}
	}
	return low, high
}

// job is one column on its way to UTC, walked in the order of time.
type job struct {
	col   *Column
	utc   []int64
	r     resolver
	down  bool // the newest row stands first
	usual int64
	probs []Repeat
}

// at is the row that is k-th in the order of time.
func (j *job) at(k int) int {
	if j.down {
		return len(j.utc) - 1 - k
	}
	return k
}

// row resolves the k-th row, or the whole group that stands in one repeated
// hour, and gives the next k.
func (j *job) row(k int) int {
	i := j.at(k)
	w := j.col.Wall[i]
	if w == Bad {
		j.utc[i] = Bad
		return k + 1
	}
	if o := j.col.OffsetMS; o != nil && o[i] != NoOffset {
		j.utc[i] = w - o[i]
		return k + 1
	}
	first, last, skipped := j.r.find(w)
	switch {
	case skipped:
		j.utc[i] = w - j.r.spans[first].offsetMS
		j.note("skipped", j.r.spans[first].endMS, i)
	case first != last:
		return j.group(k, first)
	default:
		j.utc[i] = w - j.r.spans[first].offsetMS
	}
	return k + 1
}

// note books a row in a skipped hour with the others of that change.
func (j *job) note(kind string, atMS int64, row int) {
	for n := range j.probs {
		p := &j.probs[n]
		if p.Kind == kind && p.AtMS == atMS {
			p.FirstRow, p.LastRow, p.Rows = min(p.FirstRow, row), max(p.LastRow, row), p.Rows+1
			return
		}
	}
	j.probs = append(j.probs, Repeat{Kind: kind, AtMS: atMS, FirstRow: row, LastRow: row, Rows: 1, Sure: false,
		Because: "the zone skips this hour: the logger's clock may not have been put forward; read with the offset before the change"})
}

// usualStep is the median step between stamps that differ, over at most some
// thousand rows.
func usualStep(wall []int64) int64 {
	var steps []int64
	stride := max(1, len(wall)/4000)
	for i := 1; i < len(wall); i += stride {
		if wall[i] == Bad || wall[i-1] == Bad || wall[i] == wall[i-1] {
			continue
		}
		d := wall[i] - wall[i-1]
		steps = append(steps, max(d, -d))
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}
