package stamps

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// group is the tables of one log.
type group struct {
	log    *farm.Log
	tables []*Table
	found  series.Found
}

// Read turns the stamps of all the log's tables into true UTC and gives what it
// found, in the order of the tables.
func Read(all []*Table, log *farm.Log, f *farm.Farm, opt Options) series.Found {
	g := &group{log: log}
	for _, t := range all {
		t.log = log
		if len(t.Rows) == 0 {
			t.Found.Problem(series.CodeFileEmpty, series.Note, t.Name, t.Place(t.HeaderLine, -1), "no rows of readings")
			continue
		}
		if t.Stream != nil || t.findStamps() {
			g.tables = append(g.tables, t)
		}
	}
	g.readOrders(opt)
	opt.Each(len(g.tables), func(i int) {
		if t := g.tables[i]; t.clk != nil {
			t.resolve(f)
		}
	})
	g.shift(opt.Clock)
	opt.Each(len(g.tables), func(i int) {
		if t := g.tables[i]; t.clk != nil {
			t.sortRows(opt)
			t.Ready = t.RowCount > 0
			t.texts, t.utc = nil, nil
		}
	})
	for _, t := range all {
		g.found.Add(t.Found)
	}
	return g.found
}

// readOrders reads the texts of every table. A table whose dates read either
// way takes the order that its siblings prove: a logger keeps its layout.
func (g *group) readOrders(opt Options) {
	tables := g.tables
	errs := make([]error, len(tables))
	co := clock.Options{Layout: g.log.StampLayout, Order: g.log.Dates}
	opt.Each(len(tables), func(i int) {
		tables[i].joinTexts()
		tables[i].clk, errs[i] = clock.Read(tables[i].texts, co)
	})
	proven := provenOrders(tables, errs)
	if len(proven) > 1 {
		g.found.Problem(series.CodeDatesMixed, series.Doubt, tables[0].Name, "", "files of this log write dates in different orders (%s): dates in [[log]] states one", strings.Join(proven, ", "))
	}
	order, because := "", "another file of this log proves it"
	if len(proven) == 1 {
		order = proven[0]
	} else if len(proven) == 0 {
		order, because = togetherOrder(tables, errs, co), "the files of this log together prove it"
	}
	for i, t := range tables {
		g.settle(t, errs[i], order, because, co)
	}
}

func (g *group) settle(t *Table, err error, order, because string, co clock.Options) {
	custom := err == nil && byCustom(t.clk)
	var unsure *clock.OrderError
	open := errors.As(err, &unsure)
	if order != "" && (open && slices.Contains(unsure.Orders, order) || custom) {
		co.Order = order
		if clk, again := clock.Read(t.texts, co); again == nil {
			t.clk, err, custom = clk, nil, false
			t.Found.Problem(series.CodeDatesFromSibling, series.Note, t.Name, "", "the dates of this file alone read either way; they are read as %s: %s", order, because)
		}
	}
	if custom {
		t.Found.Problem(series.CodeDatesByCustom, series.Doubt, t.Name, "", "%s: dates in [[log]] states it", t.clk.Because)
	}
	if err != nil {
		t.clk = nil
		t.stampFault(err)
		return
	}
	if t.Stream != nil && !t.spread() {
		return
	}
	t.badStamps()
}

// spread gives every row of a stream the date that its run was read to have.
func (t *Table) spread() bool {
	all, ok := clock.Spread(t.clk, t.Stream.Runs, t.Stream.ClockMS)
	if !ok {
		t.clk = nil
		t.Found.Fault(t.Name, t.Place(t.HeaderLine, t.Columns[0]), "stamps that are not all written alike", "stamps of one layout", "state stamp_layout or dates in [[log]]")
		return false
	}
	t.clk = all
	return true
}

func byCustom(c *clock.Column) bool { return strings.Contains(c.Because, "common practice") }

// provenOrders are the orders of day, month and year that tables prove by
// themselves, each once.
func provenOrders(tables []*Table, errs []error) []string {
	var out []string
	for i, t := range tables {
		if errs[i] != nil || byCustom(t.clk) || strings.Contains(t.clk.Because, "same number") {
			continue
		}
		if o := orderOf(t.clk.Layout); o != "" && !slices.Contains(out, o) {
			out = append(out, o)
		}
	}
	slices.Sort(out)
	return out
}

// orderOf reads the order off a layout of three numbers; "" where a month's
// name or a year of four digits in front settles it anyway.
func orderOf(layout string) string {
	if strings.Contains(layout, "MMM") || strings.HasPrefix(layout, "YYYY") {
		return ""
	}
	y, m, d := strings.IndexByte(layout, 'Y'), strings.IndexByte(layout, 'M'), strings.IndexByte(layout, 'D')
	switch {
	case y < 0 || m < 0 || d < 0:
		return ""
	case d < m && m < y:
		return "dmy"
	case m < d && d < y:
		return "mdy"
	case y < m && m < d:
		return "ymd"
	}
	return ""
}

// togetherOrder reads the texts of all files that are unsure by themselves as
// one column.
func togetherOrder(tables []*Table, errs []error, co clock.Options) string {
	var all []string
	n := 0
	for i, t := range tables {
		var unsure *clock.OrderError
		if errors.As(errs[i], &unsure) {
			all = append(all, t.texts...)
			n++
		}
	}
	if n < 2 {
		return ""
	}
	c, err := clock.Read(all, co)
	if err != nil || byCustom(c) {
		return ""
	}
	return orderOf(c.Layout)
}

func (t *Table) stampFault(err error) {
	header := t.Header[t.Columns[0]]
	if header == "" {
		header = fmt.Sprintf("#%d", t.Columns[0]+1)
	}
	var unsure *clock.OrderError
	var none *clock.StampError
	switch {
	case errors.As(err, &unsure):
		t.Open = unsure
		line := 0
		if k := slices.Index(t.texts, unsure.Example); k >= 0 {
			line = t.textLine(k)
		}
		t.Found.Fault(t.Name, t.Place(line, t.Columns[0]), fmt.Sprintf("%s in %s, which reads as %s: %s", series.Quoted(unsure.Example), series.Quoted(header), strings.Join(unsure.Orders, " or as "), unsure.Reason),
			"dates whose order the file proves", fmt.Sprintf("state it in [[log]] (farm.toml, line %d): dates = %s", t.log.Line, joinOr(unsure.Orders)))
	case errors.As(err, &none):
		line, got := 0, "only empty cells in "+series.Quoted(header)
		if none.Row >= 0 {
			line, got = t.textLine(none.Row), series.Quoted(none.Example)+" in "+series.Quoted(header)
		}
		t.Found.Fault(t.Name, t.Place(line, t.Columns[0]), got, none.Want, "correct stamp_columns, stamp_layout or dates in [[log]]")
	default:
		t.Found.Fault(t.Name, t.Place(t.HeaderLine, t.Columns[0]), err.Error(), "stamps that can be read", "correct stamp_columns, stamp_layout or dates in [[log]]")
	}
}

func joinOr(orders []string) string {
	quotedOrders := make([]string, len(orders))
	for i, o := range orders {
		quotedOrders[i] = `"` + o + `"`
	}
	return strings.Join(quotedOrders, " or ")
}

// badStamps lists rows whose stamp cannot be read.
func (t *Table) badStamps() {
	bad := t.Unstamped
	if t.Stream == nil {
		for i, w := range t.clk.Wall {
			if w == clock.Bad && (t.made == nil || !t.made.dateLine[i]) {
				bad = append(bad, Unstamped{t.Rows[i].Line, t.cellsText(i)})
			}
		}
	}
	if len(bad) > 0 {
		t.Found.Problem(series.CodeStampBad, series.LeftOut, t.Name, t.Place(bad[0].Line, t.Columns[0]), "%s without a readable stamp, first %s; want one as %s",
			series.Plural(len(bad), "row"), series.Quoted(bad[0].Text), series.Quoted(t.clk.Layout))
	}
}

// cellsText is what stands where a row's stamp belongs.
func (t *Table) cellsText(row int) string {
	if t.made == nil || t.texts[row] != "" {
		return t.texts[row]
	}
	var cells []string
	for _, c := range t.Columns {
		if s := t.Rows[row].Cells[c]; s != "" {
			cells = append(cells, s)
		}
	}
	return strings.Join(cells, " ")
}

// headerZone reads a zone that a stamp column's header names: "(UTC)",
// "GMT+01:00", "(Australia/Perth)"; nil = none.
func headerZone(header string) *time.Location {
	for _, word := range strings.FieldsFunc(header, func(r rune) bool { return strings.ContainsRune(" ()[],;_", r) }) {
		w := strings.ToUpper(word)
		if w == "UTC" || w == "GMT" || w == "Z" && strings.Contains(header, "(") {
			return time.UTC
		}
		if rest, ok := strings.CutPrefix(w, "GMT"); ok && rest != "" && (rest[0] == '+' || rest[0] == '-') {
			w = "UTC" + rest
		}
		if strings.HasPrefix(w, "UTC+") || strings.HasPrefix(w, "UTC-") {
			if z, err := clock.ParseZone(w); err == nil {
				return z
			}
		}
		if area, city, ok := strings.Cut(word, "/"); ok && len(area) > 3 && len(city) > 2 {
			if z, err := clock.ParseZone(word); err == nil {
				return z
			}
		}
	}
	return nil
}

// namedZone reads a zone that a stamp column's header names, or the cell of the
// unit row below it.
func (t *Table) namedZone(col int) *time.Location {
	if z := headerZone(t.Header[col]); z != nil {
		return z
	}
	if col < len(t.Units) {
		return headerZone(t.Units[col])
	}
	return nil
}

// zoneOf settles the zone of rows that state none, and its name.
func (t *Table) zoneOf(f *farm.Farm) (*time.Location, string) {
	if name := t.log.Zone; name != "" {
		if z, err := clock.ParseZone(name); err == nil {
			return z, name
		}
	}
	for _, c := range t.Columns {
		if z := t.namedZone(c); z != nil {
			if t.clk.OffsetMS == nil && z.String() != f.Zone.String() {
				t.Found.Problem(series.CodeZoneFromFile, series.Note, t.Name, t.Place(t.HeaderLine, c), "the header %s names the zone %s; zone in [[log]] states another", series.Quoted(t.Header[c]), z)
			}
			return z, z.String()
		}
	}
	if z, where := t.zones.beside, t.zones.where; z != nil {
		if t.clk.OffsetMS == nil && z.String() != f.Zone.String() {
			t.Found.Problem(series.CodeZoneFromFile, series.Note, t.Name, where, "the file names the zone %s; zone in [[log]] states another", z)
		}
		return z, z.String()
	}
	return f.Zone, f.ZoneName
}

// resolve turns wall time into UTC by the stamp and lists what a clock change
// left open.
func (t *Table) resolve(f *farm.Farm) {
	zone, name := t.zoneOf(f)
	var repeats []clock.Repeat
	t.addDays()
	t.useZoneColumn()
	t.useZoneWords(zone)
	t.Zone, t.zone = name, zone
	if o := statedOffset(t.clk); o != "" {
		t.Zone = o
	}
	t.utc, repeats = clock.Resolve(t.clk, zone)
	for _, r := range repeats {
		code, sev := series.CodeHourRepeated, series.Note
		if r.Kind == "skipped" {
			code = series.CodeHourSkipped
		}
		if !r.Sure {
			sev = series.Doubt
		}
		at := time.UnixMilli(r.AtMS).In(zone).Format("2006-01-02")
		t.Found.Problem(code, sev, t.Name, t.Place(t.LineOf(r.FirstRow), t.Columns[0]), "%s in the hour that the clock change of %s %s: %s", series.Plural(r.Rows, "row"), at, verb(r.Kind), r.Because)
	}
}

func verb(kind string) string {
	if kind == "skipped" {
		return "skips"
	}
	return "repeats"
}

// statedOffset is the zone that the rows themselves state, "" if none does:
// one offset, or the first and last of several.
func statedOffset(c *clock.Column) string {
	if c.OffsetMS == nil {
		return ""
	}
	low, high, some := int64(0), int64(0), false
	for i, o := range c.OffsetMS {
		if c.Wall[i] == clock.Bad {
			continue
		}
		if o == clock.NoOffset {
			return ""
		}
		if !some {
			low, high, some = o, o, true
		}
		low, high = min(low, o), max(high, o)
	}
	switch {
	case !some:
		return ""
	case low == high:
		return offsetName(low)
	}
	return offsetName(low) + " to " + offsetName(high)
}

func offsetName(ms int64) string {
	if ms == 0 {
		return "UTC"
	}
	sign, m := '+', ms/60000
	if m < 0 {
		sign, m = '-', -m
	}
	return fmt.Sprintf("%c%02d:%02d", sign, m/60, m%60)
}

// shift applies what the farm file says of the log's clock. Offset and drift
// count from the middle of the log's stamps, all files together. What was found
// of the clock comes on top.
func (g *group) shift(found *clock.Shift) {
	low, high := int64(0), int64(0)
	var first *Table
	for _, t := range g.tables {
		for _, u := range t.utc {
			if u == clock.Bad {
				continue
			}
			if first == nil {
				first, low, high = t, u, u
			}
			low, high = min(low, u), max(high, u)
		}
	}
	if first == nil {
		return
	}
	s := clock.Shift{DriftSPerDay: g.log.DriftSPerDay, MidMS: low + (high-low)/2}
	if g.log.Clock == "given" {
		s.AheadS = g.log.AheadS
	}
	for _, j := range g.log.Jumps {
		wall, ok := clock.ParseCivil(j.At)
		if !ok {
			continue
		}
		at, _ := clock.Resolve(&clock.Column{Wall: []int64{wall}}, first.zone)
		s.Jumps = append(s.Jumps, clock.Jump{AtMS: at[0], ByS: j.ByS})
	}
	if found != nil {
		s = s.Plus(*found)
	}
	slices.SortStableFunc(s.Jumps, func(a, b clock.Jump) int { return int(max(-1, min(1, a.AtMS-b.AtMS))) })
	for _, t := range g.tables {
		if t.clk == nil {
			continue
		}
		t.At, t.Shift = t.utc, s
		if !s.Zero() {
			t.At = s.TrueAll(t.utc)
			t.Corrections = append(t.Corrections, shiftText(s))
		}
	}
}

func shiftText(s clock.Shift) string {
	text := fmt.Sprintf("clock: %+g s ahead of true time at %s", s.AheadS, time.UnixMilli(s.MidMS).UTC().Format(time.RFC3339))
	if s.DriftSPerDay != 0 {
		text += fmt.Sprintf(", gaining %+g s a day", s.DriftSPerDay)
	}
	for _, j := range s.Jumps {
		text += fmt.Sprintf(", moved by %+g s at %s", j.ByS, time.UnixMilli(j.AtMS).UTC().Format(time.RFC3339))
	}
	return text
}
