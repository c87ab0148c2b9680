package web

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"unicode"

	"yardheat/cmd/yardheat/web/looking"
	"yardheat/ingest/look"
	"yardheat/ingest/look/again"
	"yardheat/ingest/series"
)

// The states of a file that waits.
const (
	stateReading = "reading"
	stateGood    = "good"
	stateOpen    = "open"
	stateBroken  = "broken"
	stateTwice   = "twice"
)

// pick is a button that settles something.
type pick struct {
	Key, Value, Label string
	Now               bool // it holds now
}

// Fix is what the button sends.
func (p pick) Fix() string { return p.Key + "=" + p.Value }

// logCard is one file as the page shows it.
type logCard struct {
	View  *view
	ID    string
	Name  string
	State string
	// Kept: the file is one of the farm's logs; nothing can be chosen.
	Kept bool
	// Twice is the name under which the same file is there already.
	Twice  string
	Fault  *faultView
	Tables []logTable
	// Settled is what the farmer said of the file.
	Settled []pick
	// Like is an earlier new file of the same layout: what is chosen there holds here.
	Like string
	// Also is how many files of the same layout got the same choices.
	Also  int
	Saved bool
}

// faultView is why a file cannot be used.
type faultView struct {
	What, Do string
	Line     int
	Stands   string
	// Detail is the reader's own sentence, in English.
	Detail string
	Head   []string
}

// logTable is one table of a file.
type logTable struct {
	Number, Of    int
	Sheet, Member string
	Show          bool // there are several: each is named
	Milkings      bool
	First, Last   string
	Step          string
	Irregular     bool
	Rows, Gaps    int
	Longest       string
	StampColumns  string
	Format        string
	Zone          string
	Proof         []said
	Columns       []logColumn
	Doubts        []doubtView
	Findings      []findingView
	Problems      []problemView
}

// logColumn is one column of a table.
type logColumn struct {
	Key, Name, Unit string
	Picture         *picture
	Range           string
	ReadingsText    string
	Kind            string
	// Choosable: there are readings that can mean something.
	Choosable bool
	Quantity  string
	Groups    []quantityGroup
	Help      string
	Why       []said
	Guess     bool
	// Before: it is read like this in the logs of before.
	Before bool
	Place  string
	Places bool // a place can be said
	// Units can be chosen, where the file leaves the unit open.
	Units       []pick
	UnitNote    string
	UnitMissing bool
	Counter     string // yes, no, "" = nothing to ask
	Fit         string
	Fits        bool
	Pulse       bool
	Scale       string
	BaseUnit    string
	Current     bool
	Volts       string
	Phases      string
	Factor      string
	// Errors by field: place, scale, volts, factor.
	Errors map[string]string
	// Same is another column that is the same thing.
	Same string
}

type quantityGroup struct {
	Label   string
	Options []pick
}

type doubtView struct {
	Text  string
	More  string
	Picks []pick
	Open  bool // must be answered
}

type findingView struct {
	Text  string
	Doubt bool
	Picks []pick
}

type problemView struct {
	Text string
	Line int
	Cell string
	// Stands is the line, Before, Cell and After its pieces where one cell is meant.
	Stands, Before, Marked, After string
	Detail                        string
	Picks                         []pick
}

// quantityGroups are the quantities in words of the trade.
var quantityGroups = []struct {
	key  string
	list []string
}{
	{"group.loop", []string{"loop_out_temp", "loop_in_temp", "loop_flow", "loop_volume", "bed_temp", "slab_temp", "air_temp", "loop_valve", "loop_pump", "loop_pressure"}},
	{"group.cold", []string{"mains_temp"}},
	{"group.plate", []string{"plate_in_temp", "plate_out_temp", "plate_flow", "plate_volume", "plate_pump", "compressor_power", "compressor_energy", "compressor_on",
		"gas_in_temp", "gas_out_temp", "suction_pressure", "discharge_pressure"}},
	{"group.milk", []string{"milk_in_temp", "milk_out_temp", "milk_volume", "ice_water_temp", "ice_level"}},
	{"group.tank", []string{"tank_temp", "tank_level", "tank_setpoint", "element_power", "element_energy", "element_on", "element_setpoint"}},
	{"group.wash", []string{"wash_temp", "wash_flow", "wash_volume", "return_temp", "hot_use_temp", "hot_use_volume"}},
	{"group.power", []string{"pump_power", "pump_energy", "solar_power", "solar_energy", "grid_import_power", "grid_import_energy", "grid_export_power", "grid_export_energy"}},
	{"group.weather", []string{"outdoor_temp"}},
}

// groupsFor are the quantities that a column of this unit can be.
func (v *view) groupsFor(unit, now string) []quantityGroup {
	u, known := series.ParseUnit(unit)
	var out []quantityGroup
	for _, g := range quantityGroups {
		group := quantityGroup{Label: v.Say(g.key)}
		for _, q := range g.list {
			info, _ := series.Lookup(series.Quantity(q))
			if known && !u.Pulses && info.Class != u.Class && q != now {
				continue
			}
			if u.Pulses && info.Class != series.Volume && info.Class != series.Energy && q != now {
				continue
			}
			group.Options = append(group.Options, pick{Value: q, Label: v.Say("quantity." + q), Now: q == now})
		}
		if len(group.Options) > 0 {
			out = append(out, group)
		}
	}
	return out
}

// placed is a quantity at a place, as it stands in the farm file.
func placed(quantity, place string) string {
	if place == "" {
		return quantity
	}
	return quantity + "@" + place
}

// likeness is the same for exports of one logger: what is left of the name without
// digits, the sheet and the headings.
func likeness(name string, t *look.Table) string {
	base := strings.ToLower(path.Base(name))
	base = strings.TrimSuffix(base, path.Ext(base))
	words := strings.FieldsFunc(base, func(r rune) bool { return !unicode.IsLetter(r) })
	parts := append(words, t.Sheet, strings.Join(t.Stamp.Columns, "\x00"))
	for _, c := range t.Columns {
		parts = append(parts, c.Name)
	}
	return strings.Join(parts, "\x01")
}

// effective is what each column of a file will be read as: the farmer's choice,
// else what the logs of before have, else the guess, unless another column has the
// same already.
type effective struct {
	m      mapped
	before bool
	same   string
}

// taken books which column has a quantity at a place.
type taken map[string]takenBy

type takenBy struct{ like, file, column string }

// lay lays choices over what was found of one table. i is its place in the file.
func (t taken) lay(file string, i int, tab *look.Table, n fileNote, match *again.Match) []effective {
	out := make([]effective, len(tab.Columns))
	like := likeness(file, tab)
	for k := range tab.Columns {
		c := &tab.Columns[k]
		note := n.column(columnKey(i, k), c.Name)
		e := effective{m: mapColumn(c, note)}
		if match != nil && note.Quantity == "" && k < len(match.Columns) {
			e.remember(&match.Columns[k])
		}
		if !e.m.used() {
			out[k] = e
			continue
		}
		key := placed(e.m.Quantity, e.m.Place)
		info, _ := series.Lookup(series.Quantity(e.m.Quantity))
		by, there := t[key]
		if there && by.like == like && by.column == c.Name && by.file != file {
			there = false // another month of the same logger
		} else if there && info.SeparatePlaces && e.m.Place == "" {
			there = false // columns without a place count as different places
		}
		if there {
			e.same = by.column + " (" + by.file + ")"
			if e.m.Guess && !e.before {
				e.m.Quantity = ""
			}
		}
		if e.m.used() && !there {
			t[key] = takenBy{like, file, c.Name}
		}
		out[k] = e
	}
	return out
}

// remember takes what the logs of before have for the column.
func (e *effective) remember(c *again.Column) {
	switch c.State {
	case again.Renamed:
		if c.Sure != again.Likely {
			e.m.Quantity, e.m.Place = "", "" // it waits for the farmer's word
			return
		}
		fallthrough
	case again.Mapped:
		e.before = true
		e.m.Quantity, e.m.Place = c.Quantity, c.Place
	case again.Ignored, again.Passed:
		e.before = true
		e.m.Quantity, e.m.Place = "", ""
	}
}

// table shows one table. found is its file's.
func (v *view) table(found *looking.Found, i int, n fileNote, eff []effective, match *again.Match) logTable {
	t := &found.Tables[i]
	out := logTable{Number: t.Number, Of: t.Of, Sheet: clean(t.Sheet), Member: clean(t.Member), Show: len(found.Tables) > 1 || t.Sheet != "" || t.Member != "",
		Rows: t.Rows, Gaps: t.Gaps, First: moment(t.First), Last: moment(t.Last), Irregular: !t.Regular, Format: clean(t.Stamp.Format), Zone: t.Stamp.Zone}
	if t.IntervalS > 0 {
		out.Step, out.Longest = v.lapse(t.IntervalS), v.lapse(t.LongestS)
	}
	out.StampColumns = clean(strings.Join(t.Stamp.Columns, ", "))
	if t.Stamp.Order == "" { // else the order was but assumed
		out.Proof = v.because(t.Stamp.Because, stampReasons)
	}
	for k := range t.Columns {
		out.Columns = append(out.Columns, v.column(t, i, k, n, eff[k]))
	}
	for _, d := range t.Unsure {
		if dv, ok := v.doubt(t, i, d, n); ok {
			out.Doubts = append(out.Doubts, dv)
		}
	}
	if match != nil {
		out.Findings = v.findings(i, match)
	}
	for k, p := range t.Problems {
		pv := problemView{Text: v.problemText(p.Code), Line: p.Line, Cell: p.Cell, Stands: clean(found.Lines[p.Line]), Detail: clean(p.Text), Picks: v.problemPicks(t, p)}
		if s, ok := found.Shown[[2]int{i, k}]; ok {
			before, cell, after := s.Marked()
			pv.Stands, pv.Before, pv.Marked, pv.After = clean(s.Text), clean(before), clean(cell), clean(after)
		}
		out.Problems = append(out.Problems, pv)
	}
	return out
}

func (v *view) column(t *look.Table, i, k int, n fileNote, e effective) logColumn {
	c := &t.Columns[k]
	key := columnKey(i, k)
	note := n.column(key, c.Name)
	out := logColumn{Key: key, Name: clean(c.Name), Unit: clean(c.Unit), Kind: v.Say("logs.kind." + string(c.Kind)),
		Quantity: e.m.Quantity, Place: e.m.Place, Guess: e.m.Guess && !e.before, Before: e.before, Same: clean(e.same), Errors: map[string]string{}, Fit: e.m.Fit}
	if out.Name == "" {
		out.Name = "#" + itoa(c.Number)
	}
	out.Why = v.because(c.Because, columnReasons)
	if c.Min != nil && c.Max != nil && c.Kind != look.State {
		out.Range = v.Say("logs.range", "min", v.figure(*c.Min), "max", v.figure(*c.Max), "unit", clean(unitShown(c.Unit)))
	}
	out.ReadingsText = v.counted("logs.readings", c.Readings)
	if c.Missing > 0 {
		out.ReadingsText += ", " + v.counted("logs.missing", c.Missing)
	}
	if p := drawPoints(c.Points); p != nil && c.Min != nil {
		p.Alt = v.Say("logs.picture.alt", "name", out.Name, "first", t.First, "last", t.Last, "min", v.figure(*c.Min), "max", v.figure(*c.Max))
		out.Picture = p
	}
	out.Choosable = c.Readings > 0 && c.Kind != look.Text && c.Kind != look.Event && c.Kind != look.Index
	if !out.Choosable {
		return out
	}
	unit := c.Unit
	if c.Kind == look.State {
		unit = "0/1"
	}
	out.Groups = v.groupsFor(unit, e.m.Quantity)
	if e.m.used() {
		out.Help = v.Say("quantity." + e.m.Quantity + ".help")
		v.columnAsks(&out, c, note, e)
	}
	return out
}

// counted is Count with the number as the reader writes it.
func (v *view) counted(key string, n int) string {
	form := ".more"
	if n == 1 {
		form = ".one"
	}
	return v.Say(key+form, "n", v.Choice.Number(float64(n), 0))
}

// columnAsks are the questions that a column of this quantity raises.
func (v *view) columnAsks(out *logColumn, c *look.Column, note columnNote, e effective) {
	info, _ := series.Lookup(series.Quantity(e.m.Quantity))
	u, known := series.ParseUnit(c.Unit)
	out.Places = info.SeparatePlaces || e.same != "" || e.m.Place != ""
	out.Fits = info.Class == series.Temperature && info.Pipe
	if (info.Class == series.Volume || info.Class == series.Energy) && !e.before {
		out.Counter = "no"
		if e.m.Counter {
			out.Counter = "yes"
		}
	}
	lacks := e.m.lacks(c)
	if e.before {
		return
	}
	if (c.Unit == "" || u.Gallon || !known || note.Unit != "") && info.Class != series.OnOff && !u.Pulses {
		for _, w := range unitWords(info.Class) {
			if u.Gallon && !strings.HasPrefix(w, "gal_") {
				continue
			}
			out.Units = append(out.Units, pick{Value: w, Label: unitShown(w), Now: w == e.m.Unit})
		}
		out.UnitMissing = lacks == "unit"
		switch {
		case u.Gallon:
			out.UnitNote = v.Say("logs.unit.gallon")
		case e.m.Assumed:
			out.UnitNote = v.Say("logs.unit.assumed", "unit", unitShown(e.m.Unit))
		}
	}
	if u.Pulses {
		out.Pulse, out.Scale, out.BaseUnit = true, note.Scale, info.Class.BaseUnit()
		if e.m.Scale == 0 {
			out.Errors["scale"] = v.Say("logs.number.bad", "example", v.Choice.Number(0.5, 1))
		}
	}
	if u.Ampere {
		out.Current, out.Volts, out.Phases, out.Factor = true, note.Volts, note.Phases, note.Factor
		for _, f := range []struct {
			key  string
			have bool
			like float64
			dec  int
		}{{"volts", e.m.Volts > 0, 400, 0}, {"phases", e.m.Phases > 0, 3, 0}, {"factor", e.m.Factor > 0, 0.85, 2}} {
			if !f.have {
				out.Errors[f.key] = v.Say("logs.number.bad", "example", v.Choice.Number(f.like, f.dec))
			}
		}
	}
	if !placeOK(e.m.Place) {
		out.Errors["place"] = v.Say("logs.place.bad")
	}
}

// placeOK: what the farm file takes behind the @.
func placeOK(place string) bool {
	return len([]rune(place)) <= 40 && !strings.ContainsFunc(place, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != ' ' && r != '-' && r != '_'
	})
}

// doubt shows what the file alone can't settle; ok is false where it is asked
// elsewhere.
func (v *view) doubt(t *look.Table, i int, d look.Doubt, n fileNote) (doubtView, bool) {
	if n.Said[d.About] != "" {
		return doubtView{}, false // settled; see Settled
	}
	columns := clean(strings.Join(d.Columns, ", "))
	switch d.About {
	case "dates":
		example, picks := v.dateReadings(d)
		return doubtView{Text: v.Say("logs.doubt.dates", "example", clean(example)), Picks: picks, Open: strings.Contains(d.Assumed, "report will ask")}, true
	case "decimal":
		if strings.HasPrefix(d.Assumed, "none is needed") {
			return doubtView{}, false
		}
		return doubtView{Text: v.Say("logs.doubt.decimal", "example", decimalExample(t)), Picks: []pick{
			{Key: "decimal", Value: ".", Label: v.Say("logs.decimal.point"), Now: t.Decimal == "."}, {Key: "decimal", Value: ",", Label: v.Say("logs.decimal.comma"), Now: t.Decimal == ","}}}, true
	case "zone":
		dv := doubtView{Text: v.Say("logs.doubt.zone"), Picks: v.zonePicks()}
		if strings.Contains(d.Text, "summer time") {
			dv.More = v.Say("logs.doubt.zone.summer")
		}
		return dv, true
	case "stamp":
		return doubtView{Text: v.Say("logs.doubt.stamp", "columns", columns), Picks: []pick{
			{Key: "stamp", Value: "end", Label: v.Say("logs.stamp.end"), Now: true}, {Key: "stamp", Value: "start", Label: v.Say("logs.stamp.start")}}}, true
	case "encoding":
		dv := doubtView{Text: v.Say("logs.doubt.encoding")}
		for _, e := range []string{"UTF-8", "Windows-1252", "Windows-1250", "Windows-1251"} {
			dv.Picks = append(dv.Picks, pick{Key: "encoding", Value: e, Label: e, Now: e == t.Encoding})
		}
		return dv, true
	case "log.columns":
		if !strings.Contains(d.Settle, `"ignore"`) {
			return doubtView{}, false // each column asks for its unit
		}
		dv := doubtView{Text: v.Say("logs.doubt.twins", "columns", columns)}
		for k := range t.Columns {
			if slices.Contains(d.Columns, t.Columns[k].Name) {
				dv.Picks = append(dv.Picks, pick{Key: "without", Value: columnKey(i, k), Label: v.Say("logs.without", "name", clean(t.Columns[k].Name))})
			}
		}
		return dv, true
	case "header", "stamp_columns", "stamp_layout":
		return doubtView{Text: v.Say("logs.doubt."+d.About, "columns", clean(strings.Join(t.Stamp.Columns, ", ")))}, true
	}
	return doubtView{Text: v.Say("logs.doubt.other", "assumed", clean(d.Assumed))}, true
}

// problemPicks are the clicks that mend a problem.
func (v *view) problemPicks(t *look.Table, p look.Problem) []pick {
	if p.Code != series.CodeBadCell || !strings.Contains(p.Text, "decimal in [[log]]") {
		return nil
	}
	if t.Decimal == "," {
		return []pick{{Key: "decimal", Value: ".", Label: v.Say("logs.decimal.point")}}
	}
	return []pick{{Key: "decimal", Value: ",", Label: v.Say("logs.decimal.comma")}}
}

func decimalExample(t *look.Table) string {
	return "1" + t.Decimal + "234"
}

// settled lists what the farmer said of a file, with a button that takes it back.
func (v *view) settled(n fileNote) []pick {
	var out []pick
	for _, key := range saidKeys {
		if value := n.Said[key]; value != "" {
			out = append(out, pick{Key: "unsay", Value: key, Label: v.Say("logs.said."+key, "what", v.saidWords(key, value))})
		}
	}
	return out
}

func (v *view) saidWords(key, value string) string {
	switch {
	case key == "dates":
		return v.Say("logs.order." + value)
	case key == "decimal" && value == ",":
		return v.Say("logs.decimal.comma")
	case key == "decimal":
		return v.Say("logs.decimal.point")
	case key == "stamp":
		return v.Say("logs.stamp." + value)
	case key == "zone" && value == "UTC":
		return v.Say("logs.zone.utc")
	case key == "zone" && strings.ContainsAny(value, "+-"):
		return v.Say("logs.zone.winter", "offset", value)
	}
	return clean(value)
}

// fault shows why a file can't be used.
func (v *view) fault(found *looking.Found) *faultView {
	f := found.Fault
	if f == nil {
		return &faultView{What: v.Say("fault.norows"), Do: v.Say("fault.norows.do"), Head: cleanAll(found.Head)}
	}
	key := faultKey(f)
	return &faultView{What: v.Say("fault." + key), Do: v.Say("fault." + key + ".do"), Line: found.Line, Stands: clean(found.Lines[found.Line]), Head: cleanAll(found.Head),
		Detail: clean(strings.Join([]string{"Got " + f.Got, "Wanted " + f.Want, f.Do}, ". "))}
}

func cleanAll(lines []string) []string {
	out := make([]string, len(lines))
	for i, l := range lines {
		out[i] = clean(l)
	}
	return out
}

// cardRow is one table or column of a card, for its template.
type cardRow struct {
	Card   *logCard
	Table  *logTable
	Column *logColumn
	At     int
}

func rowOf(c logCard, what any, at int) (cardRow, error) {
	switch x := what.(type) {
	case logTable:
		return cardRow{Card: &c, Table: &x, At: at}, nil
	case logColumn:
		return cardRow{Card: &c, Column: &x, At: at}, nil
	}
	return cardRow{}, fmt.Errorf("%T is no part of a card", what)
}

// RowsF is Rows for num.
func (t logTable) RowsF() float64 { return float64(t.Rows) }

// zoneNames are offered where the farm's zone is asked; any other is taken too.
var zoneNames = strings.Fields(`Africa/Cairo Africa/Johannesburg Africa/Nairobi America/Argentina/Buenos_Aires America/Bogota America/Chicago America/Denver America/Halifax
 America/Los_Angeles America/Mexico_City America/Montevideo America/New_York America/Santiago America/Sao_Paulo America/Toronto Asia/Jerusalem Asia/Karachi Asia/Kolkata
 Asia/Seoul Asia/Shanghai Asia/Tokyo Atlantic/Azores Atlantic/Reykjavik Australia/Adelaide Australia/Brisbane Australia/Hobart Australia/Melbourne Australia/Perth
 Australia/Sydney Europe/Amsterdam Europe/Athens Europe/Belgrade Europe/Berlin Europe/Brussels Europe/Bucharest Europe/Budapest Europe/Copenhagen Europe/Dublin
 Europe/Helsinki Europe/Istanbul Europe/Kyiv Europe/Lisbon Europe/Ljubljana Europe/London Europe/Luxembourg Europe/Madrid Europe/Oslo Europe/Paris Europe/Prague
 Europe/Riga Europe/Rome Europe/Sofia Europe/Stockholm Europe/Tallinn Europe/Vienna Europe/Vilnius Europe/Warsaw Europe/Zagreb Europe/Zurich Pacific/Auckland UTC`)

// Assumed are the doubts that need no answer.
func (t logTable) Assumed() []doubtView {
	return slices.DeleteFunc(slices.Clone(t.Doubts), func(d doubtView) bool { return d.Open })
}
