package again

import (
	"cmp"
	"slices"
	"strings"
	"unicode"

	"yardheat/ingest/farm"
	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
)

// pairing is where a mapped column stands in a new table: by its name (sure ""),
// or by what it is like.
type pairing struct {
	at     int // into Table.Columns, -1 = nowhere
	sure   Sure
	others []int // other columns that are nearly as like
}

// What a renamed column is told by (common practice, no source).
const (
	likePlace    = 0.35
	likeName     = 0.3
	likeQuantity = 0.2
	likeUnit     = 0.1
	likeKind     = 0.05
	likeRange    = 0.2
	renamedLeast = 0.45
	renamedSure  = 0.75
	rivalWithin  = 0.1
)

// pair finds every mapped column of the farm file in a table, in its order.
func (l *logged) pair(t *look.Table) []pairing {
	out := make([]pairing, len(l.log.Columns))
	taken := make([]bool, len(t.Columns))
	for i := range l.log.Columns {
		out[i].at = columnAt(t, l.log, l.log.Columns[i].Header)
		if k := out[i].at; k >= 0 {
			taken[k] = true
		}
	}
	all := l.alikeness(t, out, taken)
	for _, p := range all {
		if out[p.mapped].at >= 0 || taken[p.column] {
			continue
		}
		taken[p.column] = true
		out[p.mapped] = pairing{at: p.column, sure: Guess}
		for _, o := range all {
			if o.mapped == p.mapped && !taken[o.column] && o.score > p.score-rivalWithin {
				out[p.mapped].others = append(out[p.mapped].others, o.column)
			}
		}
		if p.score >= renamedSure && len(out[p.mapped].others) == 0 {
			out[p.mapped].sure = Likely
		}
	}
	return out
}

// likeness is how much a mapped column and one of a new table are alike.
type likeness struct {
	mapped, column int
	score          float64
}

// alikeness lists the pairs that may be renamed ones, the most alike first.
func (l *logged) alikeness(t *look.Table, found []pairing, taken []bool) []likeness {
	var out []likeness
	for i := range found {
		if found[i].at >= 0 || l.log.Columns[i].Quantity == "ignore" {
			continue
		}
		for k := range t.Columns {
			if taken[k] {
				continue
			}
			if s := l.like(&l.log.Columns[i], t, k); s >= renamedLeast {
				out = append(out, likeness{i, k, s})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b likeness) int { return cmp.Compare(b.score, a.score) })
	return out
}

// like is how much a column of a new table is like one that the farm file maps
// under another name; 0 where it cannot be the same.
func (l *logged) like(c *farm.Column, t *look.Table, k int) float64 {
	n := &t.Columns[k]
	key := n.Name
	if n.Tag {
		key = "\x00" + n.Name
	}
	_, before := l.columns[key]
	if n.Tag != (l.log.TagColumn != "") || n.Kind == look.Text || n.Kind == look.Event || n.Kind == look.Index || before || strings.HasPrefix(c.Header, "#") {
		return 0 // what stood beside it before is another column
	}
	score := likeName * nameLike(c.Header, n.Name)
	if n.Quantity == c.Quantity {
		score += likeQuantity
	}
	was := l.columns[map[bool]string{true: "\x00"}[n.Tag]+c.Header]
	if was == nil {
		return score // its files were never described: by name and guess alone
	}
	u, okU := unitOf(n)
	v, okV := unitOf(&was.Column)
	switch {
	case okU && okV && u.Class != v.Class, (n.Kind == look.State) != (was.Kind == look.State):
		return 0
	case okU && okV:
		score += likeUnit
	}
	if n.Kind == was.Kind {
		score += likeKind
	}
	if !n.Tag && n.Number == was.Number {
		score += likePlace
	}
	if x, ok := was.near(n); ok && n.Kind != look.Counter {
		if score += likeRange * x; x == 0 {
			score -= likeRange // its readings lay elsewhere
		}
	}
	return min(1, score)
}

// nameLike compares two names by their words: the share that both have.
func nameLike(a, b string) float64 {
	x, y := words(a), words(b)
	if len(x) == 0 || len(y) == 0 {
		return 0
	}
	both := 0
	for _, w := range x {
		if slices.ContainsFunc(y, func(o string) bool { return o == w || farm.Nearest(w, []string{o}) != "" && len(w) > 3 }) {
			both++
		}
	}
	return float64(both) / float64(max(len(x), len(y)))
}

func words(s string) []string {
	for _, open := range [...]string{"(", "["} { // a unit is none of the name
		if k := strings.LastIndex(s, open); k > 0 {
			s = s[:k]
		}
	}
	return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// columns lists the table's columns with what became of each.
func (m *Match) columns(l *logged) {
	t := m.Table
	like := map[int]int{}
	sure := map[int]Sure{}
	if l != nil {
		for i, p := range l.pair(t) {
			if p.at >= 0 {
				like[p.at], sure[p.at] = i, p.sure
			}
		}
	}
	for k := range t.Columns {
		c := &t.Columns[k]
		if t.Tags != nil && !c.Tag {
			continue
		}
		out := Column{Key: draft.Key(t, k), State: Fresh, Quantity: c.Quantity, Place: c.Place, Look: *c}
		i, ok := like[k]
		switch {
		case ok:
			f := &l.log.Columns[i]
			out.State, out.Like, out.Quantity, out.Place = Mapped, f.Header, f.Quantity, f.Place
			if sure[k] != "" {
				out.State, out.Sure = Renamed, sure[k]
			}
			if f.Quantity == "ignore" {
				out.State = Ignored
			}
		case c.Kind == look.Text || c.Kind == look.Event || c.Kind == look.Index:
			out.State = Unread
		case l != nil && l.columns[keyOf(c)] != nil:
			out.State = Passed
		}
		m.Columns = append(m.Columns, out)
	}
}

// columnFindings lists what is different about the columns.
func (m *Match) columnFindings(l *logged) {
	t := m.Table
	pairs := l.pair(t)
	for i := range l.log.Columns {
		c, p := &l.log.Columns[i], pairs[i]
		if c.Quantity == "ignore" {
			continue
		}
		if p.at < 0 {
			m.add(Finding{Code: ColumnMissing, Was: c.Header, Quantity: mapping(c)})
			continue
		}
		key := draft.Key(t, p.at)
		if p.sure != "" {
			f := Finding{Code: ColumnRenamed, Column: key, Was: c.Header, Is: key, Quantity: mapping(c), Sure: p.sure}
			for _, k := range p.others {
				f.Others = append(f.Others, draft.Key(t, k))
			}
			m.add(f)
		}
		m.changed(l, c, &t.Columns[p.at], key)
	}
	if l.last == nil {
		return
	}
	for _, c := range m.Columns {
		if c.State == Fresh {
			q := c.Quantity
			if c.Place != "" {
				q += "@" + c.Place
			}
			m.add(Finding{Code: ColumnNew, Column: c.Key, Quantity: q})
		}
	}
}

// changed compares one mapped column with what it was.
func (m *Match) changed(l *logged, c *farm.Column, n *look.Column, key string) {
	was := l.wasOf(c, n)
	if was == nil {
		return
	}
	if strings.HasPrefix(c.Header, "#") && number(n.Number) == c.Header && was.Name != n.Name {
		m.add(Finding{Code: ColumnMoved, Column: c.Header, Was: was.Name, Is: n.Name, Quantity: mapping(c)})
	}
	if was.readings > 0 && n.Readings == 0 {
		m.add(Finding{Code: ColumnSilent, Column: key, Quantity: mapping(c)})
		return
	}
	if was.Unit != n.Unit && n.Readings > 0 && was.readings > 0 && !sameUnit(&was.Column, n) {
		m.add(Finding{Code: UnitChanged, Column: key, Was: was.Unit, Is: n.Unit, Quantity: mapping(c), Stated: c.Unit != ""})
	}
	if was.Kind != n.Kind && was.readings > 0 && counted(was.Kind) != counted(n.Kind) {
		m.add(Finding{Code: KindChanged, Column: key, Was: string(was.Kind), Is: string(n.Kind), Quantity: mapping(c), Stated: c.Counter})
	}
	if x, ok := was.near(n); ok && x == 0 && n.Kind != look.Counter && n.Kind != look.State {
		m.add(Finding{Code: RangeElsewhere, Column: key, Quantity: mapping(c)})
	}
}

// counted: only the step between a counter and anything else changes how a
// column is read.
func counted(k look.Kind) int {
	switch k {
	case look.Counter:
		return 1
	case look.State:
		return 2
	case look.Text, look.Event:
		return 3
	}
	return 0
}

// sameUnit: two ways to write one unit.
func sameUnit(a, b *look.Column) bool {
	u, okU := unitOf(a)
	v, okV := unitOf(b)
	return okU && okV && u.Class == v.Class && u.Factor == v.Factor && u.Before == v.Before && u.After == v.After && u.Gallon == v.Gallon && u.Ampere == v.Ampere
}

// wasOf is what was seen of a mapped column; nil = its files were never
// described.
func (l *logged) wasOf(c *farm.Column, n *look.Column) *seen {
	tag := map[bool]string{true: "\x00"}[n.Tag]
	if s := l.columns[tag+c.Header]; s != nil {
		return s
	}
	if strings.HasPrefix(c.Header, "#") && l.last != nil {
		if k := columnAt(l.last, l.log, c.Header); k >= 0 {
			return l.columns[keyOf(&l.last.Columns[k])]
		}
	}
	return nil
}
