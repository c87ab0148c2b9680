package table

import (
	"slices"
	"strings"

	"yardheat/ingest/table/celltext"
)

// splitPairs parts a table in which each channel has a column of stamps of its
// own, "time, value, time, value", into a table a channel: read as one, the
// values of all would stand at the first one's times. A name over a pair is its
// value's. Columns of stamps that say the same in nearly every row, or that go
// by other names ("received"), are no such pairs.
func (b *block) splitPairs(t *Table) []*Table {
	at := b.pairStarts(t)
	if at == nil {
		return []*Table{t}
	}
	at = append(at, len(t.Header))
	var out []*Table
	for k := 0; k+1 < len(at); k++ {
		from, to := at[k], at[k+1]
		part := *t
		part.Paired = true
		part.Problems = nil
		if k == 0 {
			part.Problems = slices.DeleteFunc(slices.Clone(t.Problems), func(p Problem) bool { return p.Code == "double-header" })
		}
		part.Header, part.Units = b.pairNames(t, from, to)
		part.Problems = append(part.Problems, doubleNames(&part)...)
		part.Rows = make([]Row, 0, len(t.Rows))
		for _, r := range t.Rows {
			if cells := r.Cells[from:to:to]; !isBlankRow(cells) {
				part.Rows = append(part.Rows, Row{Line: r.Line, Cells: cells})
			}
		}
		out = append(out, &part)
	}
	return out
}

// pairStarts are the columns of stamps of a table in pairs, nil where it is
// none.
func (b *block) pairStarts(t *Table) []int {
	var at []int
	for i := range t.Header {
		if isStampColumn(t.Rows, i) {
			at = append(at, i)
		}
	}
	if len(at) < 2 || at[0] != 0 || len(at) > len(t.Header)/2 {
		return nil
	}
	each := at[1]
	for k, i := range at {
		if each < 2 || i != k*each || i+each > len(t.Header) || b.stampName(t, i) != b.stampName(t, 0) {
			return nil
		}
		if k > 0 && !apart(t.Rows, at[0], i) {
			return nil
		}
	}
	if len(t.Header) != len(at)*each {
		return nil
	}
	return at
}

// isStampColumn tells whether nearly all filled cells of a column's first rows
// are stamps with a date.
func isStampColumn(rows []Row, col int) bool {
	stamps, filled := 0, 0
	for _, r := range rows[:min(len(rows), sampleRows)] {
		c := r.Cells[col]
		if c == "" {
			continue
		}
		filled++
		if celltext.LooksLikeStamp(c) && strings.IndexByte(c, ':') != celltext.LeadingDigits(c) {
			stamps++
		}
	}
	return stamps >= 3 && 10*stamps >= 9*filled
}

// apart tells whether two columns of stamps differ in most rows.
func apart(rows []Row, a, b int) bool {
	differ := 0
	for _, r := range rows {
		if r.Cells[a] != r.Cells[b] {
			differ++
		}
	}
	return 2*differ > len(rows)
}

// stampName is what the last line of names calls a column of stamps, without a
// running number; where a line below holds the word, that one.
func (b *block) stampName(t *Table, col int) string {
	name := b.lowest(t, col)
	if u := t.Units[col]; celltext.IsStampPart(u) {
		name = u
	}
	return strings.ToLower(strings.TrimRight(name, "0123456789._- "))
}

// lowest is the cell of a column in the last line of names.
func (b *block) lowest(t *Table, col int) string {
	if n := len(b.header); n > 0 && col < len(b.header[n-1].Cells) {
		return b.header[n-1].Cells[col]
	}
	return ""
}

// pairNames are names and units of one pair: what stands over the stamps names
// the values.
func (b *block) pairNames(t *Table, from, to int) (names, units []string) {
	names, units = append([]string{}, t.Header[from:to]...), append([]string{}, t.Units[from:to]...)
	own := b.lowest(t, from)
	if celltext.IsStampPart(units[0]) {
		own, units[0] = units[0], ""
	}
	group := celltext.Trim(strings.TrimSuffix(names[0], own))
	if group == "" {
		return names, units
	}
	names[0] = own
	for i := 1; i < len(names); i++ {
		switch {
		case names[i] == "":
			names[i] = group
		case !strings.HasPrefix(names[i], group):
			names[i] = group + " " + names[i]
		}
	}
	return names, units
}
