package stamps

import (
	"strings"
	"time"

	"yardheat/ingest/clock"
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

// zoneBeside finds a zone that the file names beside its stamps: in a column
// that holds the same zone's name in every row, in another column's header, or
// in a line above the header that speaks of a zone.
func (t *Table) zoneBeside() (zone *time.Location, where string) {
	for col := range t.Header {
		if h := t.Header[col]; strings.Contains(h, "/") {
			if z := headerZone(h); z != nil && strings.Contains(z.String(), "/") {
				return z, t.Place(t.HeaderLine, col)
			}
		}
		cells := t.sample(col)
		if len(cells) < 3 || !strings.Contains(cells[0], "/") || !allSame(cells) {
			continue
		}
		if z, err := clock.ParseZone(cells[0]); err == nil {
			return z, t.Place(t.Rows[0].Line, col)
		}
	}
	for _, r := range t.Preamble {
		line := strings.Join(r.Cells, " ")
		if !speaksOfZone(line) {
			continue
		}
		if z := headerZone(line); z != nil {
			return z, t.Place(r.Line, -1)
		}
	}
	return nil, ""
}

// speaksOfZone: "Time zone", "UTC offset", "Zeitzone", "fuseau horaire".
func speaksOfZone(line string) bool {
	l := strings.ToLower(line)
	for _, word := range [...]string{"zone", "tz:", "tz=", "utc offset", "gmt offset", "fuseau", "fuso", "huso", "tijdzone"} {
		if strings.Contains(l, word) {
			return true
		}
	}
	return false
}
