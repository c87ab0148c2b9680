package again

import (
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
	"yardheat/ingest/series"
)

// logged is what a [[log]] looked like so far.
type logged struct {
	log   *farm.Log
	zone  *time.Location
	spans []span
	// tables in the order of time; last is the newest with rows, nil = none was
	// read.
	tables []*look.Table
	last   *look.Table
	// stems are the names of its files without digits and months.
	stems []string
	// columns are what was seen of each, by header or tag.
	columns map[string]*seen
	// headers in the order of the last table, tags aside.
	headers []string
}

// seen is a column over all tables of a log.
type seen struct {
	look.Column         // of the newest table that had readings in it
	low, high   float64 // in the unit of class's base where the unit is known
	readings    int
}

// span is the time that a table covers.
type span struct {
	file     string
	table    *look.Table
	from, to int64 // Unix milliseconds
}

// known sorts the tables read so far under their logs.
func known(k Known) []*logged {
	out := make([]*logged, len(k.Farm.Logs))
	for i := range k.Farm.Logs {
		l := &logged{log: &k.Farm.Logs[i], zone: zoneOf(k.Farm, &k.Farm.Logs[i]), columns: map[string]*seen{}}
		for n := range k.Files {
			f := &k.Files[n]
			if !covers(l.log, f.Name) || f.Name == k.Farm.Milkings.File {
				continue
			}
			for j := range f.Tables {
				if t := &f.Tables[j]; l.reads(t) {
					l.take(f.Name, t)
				}
			}
		}
		for _, glob := range l.log.Files {
			l.stems = append(l.stems, draft.Stem(glob))
		}
		l.settle()
		out[i] = l
	}
	return out
}

func zoneOf(f *farm.Farm, l *farm.Log) *time.Location {
	if z, err := clock.ParseZone(l.Zone); l.Zone != "" && err == nil {
		return z
	}
	return f.Zone
}

// reads tells whether a log takes a table of one of its files.
func (l *logged) reads(t *look.Table) bool {
	if l.log.Sheet != "" && l.log.Sheet != t.Sheet || l.log.Table > 0 && l.log.Table != t.Number {
		return false
	}
	return slices.ContainsFunc(l.log.Columns, func(c farm.Column) bool { return columnAt(t, l.log, c.Header) >= 0 })
}

// columnAt finds a column by the farm file's key, as the loader does; -1 = none.
func columnAt(t *look.Table, l *farm.Log, key string) int {
	tags := l.TagColumn != ""
	for i := range t.Columns {
		if c := &t.Columns[i]; c.Tag == tags && c.Name == key {
			return i
		}
	}
	if tags {
		return -1
	}
	for i := range t.Columns {
		if c := &t.Columns[i]; !c.Tag && number(c.Number) == key {
			return i
		}
	}
	return -1
}

func (l *logged) take(file string, t *look.Table) {
	l.tables = append(l.tables, t)
	l.stems = append(l.stems, stemOf(file, t))
	if s, ok := spanOf(file, t, l.zone); ok {
		l.spans = append(l.spans, s)
	}
}

func stemOf(file string, t *look.Table) string {
	if t.Member != "" {
		return draft.Stem(t.Member)
	}
	return draft.Stem(file)
}

// settle orders the tables and gathers their columns.
func (l *logged) settle() {
	slices.SortStableFunc(l.spans, func(a, b span) int { return int(min(1, max(-1, a.from-b.from))) })
	ordered := make([]*look.Table, 0, len(l.tables))
	for _, t := range l.tables {
		if !slices.ContainsFunc(l.spans, func(s span) bool { return s.table == t }) {
			ordered = append(ordered, t)
		}
	}
	for _, s := range l.spans {
		ordered = append(ordered, s.table)
	}
	l.tables = ordered
	for _, t := range l.tables {
		if t.Rows > 0 || l.last == nil {
			l.last = t
		}
		for i := range t.Columns {
			l.see(t.Columns[i])
		}
	}
	if l.last != nil {
		l.headers = headersOf(l.last)
	}
}

func (l *logged) see(c look.Column) {
	key := keyOf(&c)
	s := l.columns[key]
	if s == nil {
		s = &seen{Column: c, low: math.Inf(1), high: math.Inf(-1)}
		l.columns[key] = s
	}
	if c.Readings > 0 || s.readings == 0 {
		s.Column = c
	}
	s.readings += c.Readings
	if low, high, ok := baseRange(&c); ok {
		s.low, s.high = min(s.low, low), max(s.high, high)
	}
}

// keyOf parts a tag from a header of the same name.
func keyOf(c *look.Column) string {
	if c.Tag {
		return "\x00" + c.Name
	}
	return c.Name
}

// baseRange is a column's range in the base unit of its class, or as written
// where no unit is known.
func baseRange(c *look.Column) (low, high float64, ok bool) {
	if c.Min == nil || c.Max == nil || c.Readings == 0 {
		return 0, 0, false
	}
	low, high = *c.Min, *c.Max
	if u, known := unitOf(c); known {
		low, high = u.Base(low), u.Base(high)
	}
	return min(low, high), max(low, high), true
}

func unitOf(c *look.Column) (series.Unit, bool) {
	text := c.Unit
	if text == "" {
		text = c.UnitAssumed
	}
	return series.ParseUnit(text)
}

// headersOf are a table's headers, stamps among them, tags not.
func headersOf(t *look.Table) []string {
	out := slices.Clone(t.Stamp.Columns)
	for i := range t.Columns {
		if !t.Columns[i].Tag {
			out = append(out, t.Columns[i].Name)
		}
	}
	return out
}

// tagsOf are the tags of a long log.
func tagsOf(t *look.Table) []string {
	var out []string
	for i := range t.Columns {
		if t.Columns[i].Tag {
			out = append(out, t.Columns[i].Name)
		}
	}
	return out
}

// spanOf reads a table's span; stamps without an offset are in the log's zone.
func spanOf(file string, t *look.Table, zone *time.Location) (span, bool) {
	from, okFrom := moment(t.First, zone)
	to, okTo := moment(t.Last, zone)
	return span{file, t, from, to}, okFrom && okTo
}

func moment(text string, zone *time.Location) (int64, bool) {
	if at, err := time.Parse("2006-01-02T15:04:05.999Z07:00", text); err == nil {
		return at.UnixMilli(), true
	}
	at, err := time.ParseInLocation("2006-01-02T15:04:05.999", strings.TrimSpace(text), zone)
	return at.UnixMilli(), err == nil
}
