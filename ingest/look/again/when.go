package again

import (
	"cmp"
	"math"
	"slices"
	"time"

	"yardheat/ingest/look"
)

// gapIntervals is from how many intervals on a pause between two files is a gap.
const gapIntervals = 1.5

// times finds overlaps and gaps, of the new tables with those that stand and with
// each other.
func (r *Result) times() {
	for i, l := range r.logs {
		all := slices.Clone(l.spans)
		mine := map[*look.Table]*Match{}
		for k := range r.Matches {
			m := &r.Matches[k]
			if m.Log != i || m.Has(GivenAlready) {
				continue
			}
			if s, ok := spanOf(m.File, m.Table, l.zone); ok {
				all = append(all, s)
				mine[m.Table] = m
			}
		}
		slices.SortStableFunc(all, func(a, b span) int { return cmp.Compare(a.from, b.from) })
		for k, s := range all {
			if m := mine[s.table]; m != nil {
				m.overlaps(l, all, k, mine)
				m.gaps(l, all, k, mine)
			}
		}
	}
}

// overlaps books the files that cover a part of the same time; of two new ones
// the later in the list of files is told.
func (m *Match) overlaps(l *logged, all []span, k int, mine map[*look.Table]*Match) {
	s := all[k]
	for n, o := range all {
		low, high := max(s.from, o.from), min(s.to, o.to)
		if n == k || low > high || mine[o.table] != nil && n > k {
			continue
		}
		m.add(Finding{Code: Overlap, File: o.file, From: l.written(low), To: l.written(high), Agrees: agree(l, s, o, low, high)})
	}
}

// gaps books a pause before a table, and one behind it where older readings were
// brought.
func (m *Match) gaps(l *logged, all []span, k int, mine map[*look.Table]*Match) {
	s := all[k]
	before, after := int64(math.MinInt64), int64(math.MaxInt64)
	oldest := true
	for n, o := range all {
		if n == k {
			continue
		}
		if o.from <= s.from {
			before = max(before, o.to)
		}
		if o.from > s.from {
			after = min(after, o.from)
		}
		oldest = oldest && (mine[o.table] != nil || o.from > s.from)
	}
	most := int64(gapIntervals * 1000 * max(s.table.IntervalS, l.interval(), 1))
	if len(l.spans) > 0 && oldest {
		m.add(Finding{Code: Earlier, From: l.written(s.from), To: l.written(min(s.to, after))})
	}
	if before != math.MinInt64 && s.from-before > most {
		m.add(l.gap(before, s.from))
	}
	if after != math.MaxInt64 && after-s.to > most && !l.follows(all, after, mine) {
		m.add(l.gap(s.to, after))
	}
}

// follows tells whether what begins after a gap is itself new, and told of the
// gap already.
func (l *logged) follows(all []span, at int64, mine map[*look.Table]*Match) bool {
	return slices.ContainsFunc(all, func(o span) bool { return o.from == at && mine[o.table] != nil })
}

func (l *logged) gap(from, to int64) Finding {
	return Finding{Code: Gap, From: l.written(from), To: l.written(to), Seconds: float64(to-from) / 1000}
}

// interval is the log's usual step in seconds, 0 = not known.
func (l *logged) interval() float64 {
	if l.last == nil {
		return 0
	}
	return l.last.IntervalS
}

func (l *logged) written(at int64) string {
	return time.UnixMilli(at).In(l.zone).Format("2006-01-02T15:04:05Z07:00")
}

// differsBy is how much of a column's range two means of the same time may differ
// by before the files are said to differ.
const differsBy = 0.25

// agree holds what two descriptions say of the columns that both have: the same
// span must have the same means, a part of it means that are not far apart.
func agree(l *logged, a, b span, low, high int64) Agree {
	out := Open
	for i := range a.table.Columns {
		x := &a.table.Columns[i]
		k := slices.IndexFunc(b.table.Columns, func(c look.Column) bool { return c.Name == x.Name && c.Tag == x.Tag })
		if k < 0 || x.Kind == look.Text || x.Kind == look.Index {
			continue
		}
		y := &b.table.Columns[k]
		if a.from == b.from && a.to == b.to && a.table.Rows == b.table.Rows {
			if !equalPoints(x, y) {
				return Differs
			}
			out = Same
			continue
		}
		p, okP := meanOf(x, a, low, high)
		q, okQ := meanOf(y, b, low, high)
		if s := l.columns[keyOf(x)]; okP && okQ && s != nil && s.high > s.low && x.Kind != look.Counter && math.Abs(p-q) > differsBy*(s.high-s.low) {
			return Differs
		}
	}
	return out
}

// equalPoints: the ten means are the same to what a report could show.
func equalPoints(a, b *look.Column) bool {
	if a.Readings != b.Readings {
		return false
	}
	for i := range a.Points {
		p, q := a.Points[i], b.Points[i]
		if (p == nil) != (q == nil) || p != nil && math.Abs(*p-*q) > 1e-9*max(1, math.Abs(*p)) {
			return false
		}
	}
	return true
}

// meanOf is a column's mean over the tenths of its span that lie in a stretch, in
// the base unit; ok where they cover most of it.
func meanOf(c *look.Column, s span, low, high int64) (float64, bool) {
	sum, covered := 0.0, 0.0
	for i, p := range c.Points {
		from := float64(s.from) + float64(s.to-s.from)*float64(i)/10
		to := float64(s.from) + float64(s.to-s.from)*float64(i+1)/10
		part := min(to, float64(high)) - max(from, float64(low))
		if p == nil || part < 0.99*(to-from) {
			continue
		}
		sum += *p * part
		covered += part
	}
	if covered == 0 || covered < 0.5*float64(high-low) {
		return 0, false
	}
	v := sum / covered
	if u, ok := unitOf(c); ok {
		v = u.Base(v)
	}
	return v, true
}
