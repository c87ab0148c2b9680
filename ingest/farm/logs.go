package farm

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm/keyed"
	"yardheat/ingest/series"
)

// fiftyYearsS bounds a clock's error: a flat battery starts some loggers at
// 1970.
const fiftyYearsS = 50 * 366 * 86400

// log reads one [[log]].
func (r *reader) log(t *keyed.Tab) Log {
	l := Log{Line: t.Node.Line, Clock: "keep"}
	t.Need("files", "the logger's files, such as [\"logs/yard-*.csv\"]")
	e, files := t.Texts("files", "a list of file names or patterns")
	for _, n := range files {
		if r.inFolder(n, t.Key("files")) {
			l.Files = append(l.Files, n.Text)
		}
	}
	if e != nil && e.Val.Kind == keyed.IsList && len(e.Val.Items) == 0 {
		t.Bad(e, "at least one file name or pattern", "name the logger's files")
	}
	if len(l.Files) > 0 {
		l.Name = nameOf(l.Files[0])
	}
	r.logLayout(t, &l)
	r.logStamps(t, &l)
	r.logClock(t, &l)
	if tt := t.Table("tags"); tt != nil {
		tt.Need("tag", "the header of the column with the tags' names")
		tt.Need("value", "the header of the column with the values")
		tt.Text("tag", &l.TagColumn)
		tt.Text("value", &l.ValueColumn)
		tt.Close(nil)
	}
	if ct := t.Table("columns"); ct != nil {
		l.Columns = r.columns(ct)
	}
	t.Close(nil)
	return l
}

// nameOf is what messages call a log: its first pattern without folder,
// extension and wildcards.
func nameOf(glob string) string {
	base := path.Base(glob)
	if k := strings.LastIndexByte(base, '.'); k > 0 {
		base = base[:k]
	}
	short := strings.Trim(strings.Map(func(c rune) rune {
		if strings.ContainsRune("*?[]", c) {
			return -1
		}
		return c
	}, base), "-_. ")
	if short == "" {
		return base
	}
	return short
}

// tellApart gives logs of one name (two sheets of a workbook, say) names of
// their own: a probe is known by its log's name.
func tellApart(logs []Log) {
	used := map[string]bool{}
	for i := range logs {
		l := &logs[i]
		if used[l.Name] && l.Sheet != "" {
			l.Name += " " + l.Sheet
		}
		base := l.Name
		for n := 2; used[l.Name]; n++ {
			l.Name = fmt.Sprintf("%s %d", base, n)
		}
		used[l.Name] = true
	}
}

// logLayout reads what says how the file is laid out.
func (r *reader) logLayout(t *keyed.Tab, l *Log) {
	t.Text("sheet", &l.Sheet)
	t.Integer("table", &l.Table, keyed.Span(1, 1000, ""))
	t.Text("encoding", &l.Encoding)
	t.Choice("separator", &l.Separator, ",", ";", "\t", "|", "tab", "blank")
	switch l.Separator {
	case "tab":
		l.Separator = "\t"
	case "blank":
		l.Separator = " "
	}
	t.Choice("decimal", &l.Decimal, ".", ",")
	if t.Choice("thousands", &l.Thousands, ".", ",", "'", " ", "’") && l.Thousands == l.Decimal {
		t.Bad(t.Node.Find("thousands"), "another mark than decimal", "correct one of the two")
	}
	header := 0
	if t.Integer("header", &header, keyed.Span(0, 10000, "")) {
		l.Header = &header
	}
}

// logStamps reads what says how the stamps are written.
func (r *reader) logStamps(t *keyed.Tab, l *Log) {
	const want = "headers of the columns with date and time, or #n"
	_, list := t.Texts("stamp_columns", want)
	for _, n := range list {
		h := fold(n.Text)
		if h == "" || !validNumbered(h) || slices.Contains(l.StampColumns, h) {
			r.Add(n.Line, t.Key("stamp_columns"), keyed.Shown(n), want+", each once", "correct the header")
			continue
		}
		l.StampColumns = append(l.StampColumns, h)
	}
	if t.Text("stamp_layout", &l.StampLayout) {
		if err := clock.CheckLayout(l.StampLayout); err != nil || l.StampLayout == "" {
			t.Bad(t.Node.Find("stamp_layout"), `a layout as "DD.MM.YYYY hh:mm:ss"`, layoutHint(err))
		}
	}
	if t.Text("zone", &l.Zone) {
		if _, err := clock.ParseZone(l.Zone); err != nil {
			t.Bad(t.Node.Find("zone"), `an IANA zone such as "Europe/Rome", "UTC" or "+01:00"`, zoneHint(l.Zone))
		}
	}
	t.Choice("dates", &l.Dates, "dmy", "mdy", "ymd")
	t.Choice("stamp", &l.Stamp, "start", "end", "instant")
}

func layoutHint(err error) string {
	if err == nil {
		return "write one, or leave the key out"
	}
	_, hint, _ := strings.Cut(err.Error(), ": ")
	return hint
}

// logClock reads clock, drift and jumps.
func (r *reader) logClock(t *keyed.Tab, l *Log) {
	const want = `"keep", "find", or how far the clock is ahead: "37m", "-4m"`
	var text string
	if t.Text("clock", &text) {
		s, ok := keyed.DurationS(text)
		switch {
		case text == "keep" || text == "find":
			l.Clock = text
		case ok && math.Abs(s) <= fiftyYearsS:
			l.Clock, l.AheadS = "given", s
		default:
			t.Bad(t.Node.Find("clock"), want, clockHint(text))
		}
	}
	const driftWant = `seconds a day as "+1.7 s/d", at most 3600`
	if t.Text("drift", &text) {
		v, unit := figure(text)
		if math.Abs(v) <= 3600 && (unit == "s/d" || unit == "s/day") {
			l.DriftSPerDay = v
		} else {
			t.Bad(t.Node.Find("drift"), driftWant, "write how many seconds the clock gains a day")
		}
	}
	const jumpWant = `stamp and step as "2026-02-03 10:00 -1h"`
	_, list := t.Texts("jumps", jumpWant)
	for _, n := range list {
		j, ok := jump(n.Text)
		if !ok {
			r.Add(n.Line, t.Key("jumps"), keyed.Shown(n), jumpWant, "write what the clock showed, then by how much it was moved")
			continue
		}
		l.Jumps = append(l.Jumps, j)
	}
}

func clockHint(text string) string {
	if n := keyed.Nearest(text, []string{"keep", "find"}); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "write a number with h, m or s behind it"
}

// jump reads "2026-02-03 10:00 -1h".
func jump(text string) (ClockJump, bool) {
	text = strings.TrimSpace(text)
	k := strings.LastIndexByte(text, ' ')
	if k < 0 {
		return ClockJump{}, false
	}
	at := strings.TrimSpace(text[:k])
	by, ok := keyed.DurationS(text[k:])
	if _, okAt := clock.ParseCivil(at); !ok || !okAt || by == 0 || math.Abs(by) > fiftyYearsS {
		return ClockJump{}, false
	}
	return ClockJump{At: at, ByS: by}, true
}

// fold takes out doubled and outer blanks, as the table reader does.
func fold(header string) string { return strings.Join(strings.Fields(header), " ") }

// validNumbered refuses "#0" and "#x"; a header may begin with # otherwise.
func validNumbered(header string) bool {
	rest, ok := strings.CutPrefix(header, "#")
	if !ok || rest == "" || strings.Trim(rest, "0123456789") != "" {
		return true
	}
	n, err := strconv.Atoi(rest)
	return err == nil && n >= 1 && n <= 16384
}

// columns reads [log.columns] in the order of the file.
func (r *reader) columns(t *keyed.Tab) []Column {
	var out []Column
	first := map[string]int{}
	for i := range t.Node.Keys {
		e := &t.Node.Keys[i]
		c := Column{Header: fold(e.Key), Scale: 1, Line: e.Line}
		if c.Header == "" || !validNumbered(c.Header) {
			r.Add(e.Line, t.Key(strconv.Quote(e.Key)), "a key that names no column", "the header as written, or #n for the n-th column", "write the header")
			continue
		}
		if line := first[c.Header]; line > 0 {
			r.Add(e.Line, t.Key(strconv.Quote(e.Key)), "a header that is mapped already", fmt.Sprintf("each column once (first in line %d)", line),
				"take one of them out, or use #n where two columns share a header")
			continue
		}
		first[c.Header] = e.Line
		if r.column(t, e, &c) {
			out = append(out, c)
		}
	}
	return out
}

const columnWant = `"quantity", "quantity@place", "ignore" or { quantity = "…", … }`

func (r *reader) column(t *keyed.Tab, e *keyed.Entry, c *Column) bool {
	key := t.Key(strconv.Quote(e.Key))
	switch {
	case e.Val.Kind == keyed.IsText:
		return r.quantity(e.Val, key, c)
	case e.Val.Kind != keyed.IsTable:
		r.Add(e.Val.Line, key, keyed.Shown(e.Val), columnWant, "write what the column holds, in quotes")
		return false
	case !e.Val.Inline && !e.Val.Stated:
		r.Add(e.Line, key, "a key with a point in it", columnWant, "put the header in quotes: a point parts a key in two")
		return false
	}
	ct := &keyed.Tab{R: r.Reader, Path: key, Node: e.Val}
	ct.Need("quantity", "what the column holds, for example \"loop_out_temp\"")
	q := ct.Get("quantity")
	ok := false
	if q != nil && q.Val.Kind != keyed.IsText {
		ct.Bad(q, "a text in quotes", "put it in quotes")
	} else if q != nil {
		ok = r.quantity(q.Val, ct.Key("quantity"), c)
	}
	r.columnKeys(ct, c, ok)
	ct.Close(nil)
	return ok
}

// columnKeys reads the keys of { … } and holds them against the quantity.
func (r *reader) columnKeys(t *keyed.Tab, c *Column, known bool) {
	info, _ := series.Lookup(series.Quantity(c.Quantity))
	checked := known && c.Quantity != "ignore"
	t.Text("unit", &c.Unit)
	t.Yes("counter", &c.Counter)
	if t.Number("scale", &c.Scale, keyed.Span(-1e9, 1e9, "")) && c.Scale == 0 {
		t.Bad(t.Node.Find("scale"), "a number other than 0", "leave it out where the values are right as they stand")
	}
	t.Number("offset", &c.Offset, keyed.Span(-1e9, 1e9, ""))
	t.Choice("fit", &c.Fit, "pocket", "pipe")
	t.Number("volts", &c.Volts, keyed.Above0(1000, "V"))
	if t.Integer("phases", &c.Phases, keyed.Span(1, 3, "")) && c.Phases == 2 {
		t.Bad(t.Node.Find("phases"), "1 or 3", "correct the number of phases")
	}
	t.Number("power_factor", &c.PowerFactor, keyed.Above0(1, ""))
	if !checked {
		return
	}
	if e := t.Node.Find("unit"); e != nil && e.Val.Kind == keyed.IsText {
		r.unit(t, e, c, info.Class)
	}
	if e := t.Node.Find("counter"); e != nil && c.Counter && info.Class != series.Volume && info.Class != series.Energy {
		t.Bad(e, "a counter of a volume or an energy", fmt.Sprintf("%s is no total; did you mean its volume or energy?", c.Quantity))
	}
	if e := t.Node.Find("fit"); e != nil && info.Class != series.Temperature {
		t.Bad(e, "fit with a temperature only", "take it out")
	}
	if u, _ := series.ParseUnit(c.Unit); t.Node.Find("volts") != nil && !u.Ampere {
		e := t.Node.Find("volts")
		t.Bad(e, "volts where the unit is A", "add unit = \"A\", or take volts out")
	}
}

// units are the spellings to suggest, by class; whatever series.ParseUnit reads
// is taken.
var units = map[series.Class][]string{
	series.Temperature: {"C", "F", "K"},
	series.Flow:        {"L/min", "L/h", "m3/h", "gal_us/min", "gal_imp/min"},
	series.Volume:      {"L", "m3", "gal_us", "gal_imp"},
	series.Power:       {"W", "kW", "A"},
	series.Energy:      {"Wh", "kWh", "MWh", "MJ"},
	series.Pressure:    {"bar", "kPa", "psi"},
	series.Level:       {"%"},
}

// unit holds a stated unit against the quantity's class.
func (r *reader) unit(t *keyed.Tab, e *keyed.Entry, c *Column, class series.Class) {
	known := units[class]
	u, ok := series.ParseUnit(c.Unit)
	want := "one of " + strings.Join(keyed.Quoted(known), ", ")
	switch {
	case class == series.OnOff && (!ok || u.Class != class):
		t.Bad(e, "no unit: a state is 0 or 1", "take it out")
	case ok && u.Gallon:
		t.Bad(e, want, "say which gallon: the US gallon is 3.785 L, the imperial 4.546 L")
	case ok && u.Ampere && class == series.Power:
		if c.Volts == 0 && t.Node.Find("volts") == nil {
			t.Bad(e, "a current with its volts and phases", "add volts = 400, phases = 3, power_factor = 0.85 as they are")
		}
	case ok && u.Pulses && (class == series.Volume || class == series.Energy):
		if t.Node.Find("scale") == nil {
			t.Bad(e, "pulses with what one of them is worth", fmt.Sprintf("add scale, in %s a pulse", class.BaseUnit()))
		}
	case !ok || u.Class != class:
		t.Bad(e, want, keyed.Meant(c.Unit, known))
	}
}

// quantity reads "quantity", "quantity@place" or "ignore".
func (r *reader) quantity(n *keyed.Node, key string, c *Column) bool {
	if n.Text == "ignore" {
		c.Quantity = "ignore"
		return true
	}
	name, place, placed := strings.Cut(n.Text, "@")
	if !r.known(n, key, name) || placed && !r.place(n.Line, key, place) {
		return false
	}
	c.Quantity, c.Place = name, place
	return true
}

// known refuses a quantity that is none.
func (r *reader) known(n *keyed.Node, key, name string) bool {
	if _, ok := series.Lookup(series.Quantity(name)); ok {
		return true
	}
	r.Add(n.Line, key, keyed.Shown(n), "a quantity", quantityHint(name))
	return false
}

func quantityHint(name string) string {
	if n := keyed.Nearest(name, append(quantityNames(), "ignore")); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "use a name of the list of quantities, or \"ignore\""
}

func quantityNames() []string {
	var out []string
	for _, q := range series.Names() {
		out = append(out, string(q))
	}
	return out
}

// place refuses a place that no report could print or no key could name.
func (r *reader) place(line int, key, place string) bool {
	bad := place == "" || place != strings.TrimSpace(place) || len([]rune(place)) > 40
	for _, c := range place {
		bad = bad || c < ' ' || strings.ContainsRune(`@"'=#:;,/\|<>`, c)
	}
	if bad {
		r.Add(line, key, strconv.Quote(keyed.Cut(place)), "a place: a short name such as \"top\" or \"barn 2\"", "use letters, digits, blanks, - and _")
	}
	return !bad
}
