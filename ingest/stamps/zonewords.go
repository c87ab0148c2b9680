package stamps

import (
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
)

// zones is what a table says of the zone of its stamps outside their cells.
type zones struct {
	// beside is the zone that zoneBeside found, where it stands in where.
	beside *time.Location
	where  string
	// column holds the zone of each row, -1 = none; same is what stands in all
	// rows, "" where they differ.
	column int
	same   string
}

// findZones looks for a zone outside the stamps, while the rows' cells are there.
func (t *Table) findZones() {
	t.zones.beside, t.zones.where = t.zoneBeside()
	t.zones.column, t.zones.same = t.zoneColumn()
}

// zoneColumn finds a column that states each row's zone: by a header that says
// so, or by cells that are nothing else. Cells under such a header that are no
// zone are listed.
func (t *Table) zoneColumn() (col int, same string) {
	for col := range t.Header {
		cells := t.sample(col)
		if slices.Contains(t.Columns, col) || len(cells) < 3 {
			continue
		}
		named := namesZone(t.Header[col])
		odd := slices.IndexFunc(cells, func(c string) bool {
			_, _, known, ok := clock.ZoneText(c)
			return !ok || !known && !named
		})
		switch {
		case odd < 0 && allSame(cells):
			return col, cells[0]
		case odd < 0:
			return col, ""
		case named && t.zones.beside == nil:
			t.Found.Problem(series.CodeZoneWord, series.Doubt, t.Name, t.Place(t.Rows[0].Line, col), "the column %s says %s of the zone, which is none that is known: zone in [[log]] states it",
				series.Quoted(t.Header[col]), series.Quoted(cells[odd]))
		}
	}
	return -1, ""
}

// namesZone tells whether a column's header says that it holds zones.
func namesZone(header string) bool {
	h := strings.ToLower(strings.Trim(header, " .:()[]"))
	switch strings.NewReplacer(" ", "", "_", "", "-", "").Replace(h) {
	case "tz", "zone", "timezone", "zeitzone", "utcoffset", "gmtoffset", "tzoffset", "offsetutc", "fuseau", "fuseauhoraire", "fusoorario", "husohorario", "tijdzone":
		return true
	}
	return false
}

// ZonesDiffer tells whether the rows state differing zones in a column of
// their own: they then need looking at one by one.
func (t *Table) ZonesDiffer() bool { return t.zones.column >= 0 && t.zones.same == "" }

// useZoneColumn gives each row the zone that the column beside states, where
// the stamps themselves state none.
func (t *Table) useZoneColumn() {
	if t.zones.column < 0 || t.clk.OffsetMS != nil || t.clk.ZoneWord != nil {
		return
	}
	for i := range t.clk.Wall {
		text := t.zones.same
		if t.Stream == nil {
			text = t.Rows[i].Cells[t.zones.column]
		}
		t.clk.StateZone(i, text)
	}
}

// useZoneWords reads the zone abbreviations that stand behind the stamps and
// lists those that the log's zone does not have.
func (t *Table) useZoneWords(zone *time.Location) {
	foreign, unknown := t.clk.UseZoneWords(zone)
	switch {
	case len(unknown) > 0:
		t.Found.Problem(series.CodeZoneWord, series.Doubt, t.Name, t.Place(t.HeaderLine, t.Columns[0]),
			"the stamps bear %s, which stands for more than one zone or none that is known: they are read in %s; zone in [[log]] states another", series.List(unknown, 6), zone)
	case len(foreign) > 0:
		t.Found.Problem(series.CodeZoneWord, series.Note, t.Name, t.Place(t.HeaderLine, t.Columns[0]),
			"the stamps bear %s, which the zone %s does not have: they are read by that word", series.List(foreign, 6), zone)
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
