package stamps

import "yardheat/ingest/clock"

// Clock is the table's stamps as read, a text a row; nil where they were
// refused. It says how they are written and what proves it.
func (t *Table) Clock() *clock.Column { return t.clk }

// Ranged tells whether the stamps state the two ends of an interval: they are
// then its start.
func (t *Table) Ranged() bool { return t.clk != nil && t.clk.Ranged }

// ZoneStated is the zone that the file itself gives its stamps: "rows" where
// they state an offset, "header" where the column's name does, "file" where a
// line above the header or a column of its own does, "" where nothing does.
func (t *Table) ZoneStated() string {
	if t.clk == nil {
		return ""
	}
	if statedOffset(t.clk) != "" {
		return "rows"
	}
	for _, c := range t.Columns {
		if t.namedZone(c) != nil {
			return "header"
		}
	}
	if t.zones.beside != nil {
		return "file"
	}
	return ""
}
