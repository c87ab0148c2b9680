package stamps

import (
	"time"

	"yardheat/ingest/series"
)

// useZoneWords reads the zone abbreviations that stand behind the stamps and
// lists those that the log's zone does not have.
func (t *Table) useZoneWords(zone *time.Location) {
	foreign, unknown := t.clk.UseZoneWords(zone)
	switch {
	case len(unknown) > 0:
		t.Found.Problem(series.CodeZoneWord, series.Doubt, t.Name, t.Place(t.HeaderLine, t.Columns[0]),
			"the stamps end in %s, which stands for more than one zone or none that is known: they are read in %s; zone in [[log]] states another", series.List(unknown, 6), zone)
	case len(foreign) > 0:
		t.Found.Problem(series.CodeZoneWord, series.Note, t.Name, t.Place(t.HeaderLine, t.Columns[0]),
			"the stamps end in %s, which the zone %s does not have: they are read by that word", series.List(foreign, 6), zone)
	}
}
