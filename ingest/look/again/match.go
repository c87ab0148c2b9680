package again

import (
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/look"
	"yardheat/ingest/series"
)

// What a match is weighed by; the sum is 1 (common practice, no source).
const (
	byMapped  = 0.35 // share of the mapped columns that are there, a renamed one counts half
	byHeaders = 0.15 // all headers alike
	byName    = 0.2
	byLayout  = 0.15 // stamps and units
	byRange   = 0.15 // readings where they lay before
)

// Bounds of a match.
const (
	scoreLeast   = 0.45
	mappedLeast  = 0.3
	likelyFrom   = 0.6
	certainFrom  = 0.75
	marginClear  = 0.12 // by which the next best log is behind
	marginSlight = 0.04
)

func number(n int) string { return "#" + strconv.Itoa(n) }

// choose finds the log that a table belongs to.
func (r *Result) choose(name string, t *look.Table, m *Match) {
	type scored struct {
		log   int
		score float64
	}
	var all []scored
	for i, l := range r.logs {
		if s := l.score(name, t); s >= scoreLeast {
			all = append(all, scored{i, s})
		}
	}
	slices.SortStableFunc(all, func(a, b scored) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		}
		return a.log - b.log
	})
	if len(all) > 0 {
		best, margin := all[0], 1.0
		if len(all) > 1 {
			margin = best.score - all[1].score
		}
		m.Log, m.Score, m.Sure = best.log, best.score, Guess
		switch {
		case best.score >= certainFrom && margin >= marginClear:
			m.Sure = Certain
		case best.score >= likelyFrom && margin >= marginSlight:
			m.Sure = Likely
		}
		var rivals []int
		for _, s := range all[1:] {
			if best.score-s.score < marginSlight {
				rivals = append(rivals, s.log)
			}
		}
		if len(rivals) > 0 {
			m.add(Finding{Code: SeveralLogs, Logs: rivals, Sure: m.Sure})
		}
	}
	var others []int
	for i, l := range r.logs {
		if i != m.Log && covers(l.log, name) && l.reads(t) && !r.shares(i, m.Log, t) {
			others = append(others, i)
		}
	}
	if len(others) > 0 {
		m.add(Finding{Code: ReadByOther, Logs: others})
	}
}

// shares tells whether two logs read different columns, sheets or tables of the
// same files: a file of both, then.
func (r *Result) shares(a, b int, t *look.Table) bool {
	if b < 0 {
		return false
	}
	x, y := r.logs[a], r.logs[b]
	for _, s := range x.spans {
		if slices.ContainsFunc(y.spans, func(o span) bool { return o.file == s.file }) {
			return true
		}
	}
	return false
}

// score is how well a table fits a log, 0 to 1.
func (l *logged) score(name string, t *look.Table) float64 {
	tags := l.log.TagColumn != ""
	if tags != (t.Tags != nil) || tags && !strings.EqualFold(t.Tags.Value, l.log.ValueColumn) && !strings.EqualFold(t.Tags.Tag, l.log.TagColumn) {
		return 0
	}
	mapped := l.mapped(t)
	if mapped < mappedLeast {
		return 0
	}
	score := byMapped*mapped + byName*l.named(name, t) + byHeaders*l.alike(t) + byLayout*l.laidOut(t) + byRange*l.ranges(t)
	if l.log.Sheet != "" && l.log.Sheet != t.Sheet {
		score -= 0.1 // sheets named by their month
	}
	if l.log.Table > 0 && l.log.Table != t.Number {
		score -= 0.2
	}
	return max(0, score)
}

// mapped is the share of the mapped columns that stand in the table; one that
// was renamed counts half.
func (l *logged) mapped(t *look.Table) float64 {
	pairs := l.pair(t)
	n, sum := 0, 0.0
	for i := range l.log.Columns {
		n++
		switch p := pairs[i]; {
		case p.at >= 0 && p.sure == "":
			sum++
		case p.at >= 0:
			sum += 0.5
		}
	}
	if n == 0 {
		return l.alike(t) // a log of which nothing is read yet
	}
	return sum / float64(n)
}

// named: the log's patterns name the file, or its files are called alike.
func (l *logged) named(name string, t *look.Table) float64 {
	switch {
	case covers(l.log, name):
		return 1
	case slices.Contains(l.stems, stemOf(name, t)):
		return 0.9
	}
	return 0
}

// alike is the share of headers (of a long log, tags) that both have.
func (l *logged) alike(t *look.Table) float64 {
	if l.last == nil {
		return 0.5 // not known
	}
	a, b := l.headers, headersOf(t)
	if t.Tags != nil {
		a, b = tagsOf(l.last), tagsOf(t)
	}
	both := 0
	for _, h := range a {
		if slices.Contains(b, h) {
			both++
		}
	}
	if n := len(a) + len(b) - both; n > 0 {
		return float64(both) / float64(n)
	}
	return 0
}

// laidOut compares stamps, separator and units.
func (l *logged) laidOut(t *look.Table) float64 {
	if l.last == nil {
		return 0.5
	}
	sum, n := 0.0, 0.0
	add := func(yes bool) {
		n++
		if yes {
			sum++
		}
	}
	add(slices.Equal(l.last.Stamp.Columns, t.Stamp.Columns))
	add(l.last.Stamp.Format == t.Stamp.Format)
	add(l.last.Separator == t.Separator && (l.last.Sheet == "") == (t.Sheet == ""))
	add(l.last.IntervalS == t.IntervalS)
	for i := range t.Columns {
		if s := l.columns[keyOf(&t.Columns[i])]; s != nil && s.Unit != "" {
			add(s.Unit == t.Columns[i].Unit)
		}
	}
	return sum / n
}

// ranges is how far the readings lie where they lay before, a mean over the
// columns that both have.
func (l *logged) ranges(t *look.Table) float64 {
	sum, n := 0.0, 0.0
	for i := range t.Columns {
		s := l.columns[keyOf(&t.Columns[i])]
		if s == nil || s.Kind == look.Counter || t.Tags != nil && !t.Columns[i].Tag {
			continue
		}
		if x, ok := s.near(&t.Columns[i]); ok {
			sum += x
			n++
		}
	}
	if n == 0 {
		return 0.5
	}
	return sum / n
}

// near is how far two ranges share, 0 to 1: the common part of the shorter, less
// what differs in width.
func (s *seen) near(c *look.Column) (float64, bool) {
	low, high, ok := baseRange(c)
	if !ok || s.readings == 0 || s.low > s.high {
		return 0, false
	}
	u, okU := unitOf(c)
	v, okV := unitOf(&s.Column)
	if okU && okV && u.Class != v.Class {
		return 0, true
	}
	if okU && u.Class == series.OnOff {
		return 1, true
	}
	pad := 0.05 * max(s.high-s.low, high-low, 1e-9)
	common := min(high, s.high) - max(low, s.low) + pad
	all := max(high, s.high) - min(low, s.low) + pad
	return max(0, common) / all, true
}
