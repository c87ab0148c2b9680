// Package draft writes a first farm.toml from what look found in a farm's
// exports: a [[log]] for each logger, its columns mapped to the guessed
// quantities, everything that is a guess or a placeholder marked "# check", and
// everything that the files leave open as a comment with the key that settles
// it. What it writes, farm.Read accepts.
package draft

import (
	"fmt"
	"slices"
	"strings"

	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
	"yardheat/ingest/series"
)

// File is one export and what look says of its tables.
type File struct {
	// Name in the farm folder, with /.
	Name   string
	Tables []look.Table
}

// Options are what the draft is told beside the files.
type Options struct {
	// Name of the farm.
	Name string
	// Zone is the IANA name to propose where no file names one; ZoneFrom says
	// where it comes from.
	Zone, ZoneFrom string
	// Choices are what the farmer says of columns, in place of the guesses.
	Choices []Choice
	// Settings are keys of [[log]] that the farmer states.
	Settings []Setting
	// Used are the quantities (with place) that the farm maps already, with what to
	// call their column: a guess of the same is left as a comment.
	Used map[string]string
}

// Draft is the farm file and what stands in it.
type Draft struct {
	TOML []byte
	// Logs, Mapped, Left: loggers, columns mapped to a quantity, and columns
	// left for the farmer to name.
	Logs, Mapped, Left int
	// Open are the things that report will ask for before it can begin.
	Open []string
}

// New drafts a farm file.
func New(files []File, opt Options) Draft {
	w := newWriter(opt)
	w.groups, w.milkings = group(files)
	w.head()
	logs := w.logs() // first: which quantities there are settles the tables above
	w.plant()
	w.money()
	w.milkingsTable()
	w.b.WriteString(logs)
	w.draft.TOML = []byte(w.b.String())
	return w.draft
}

// writer writes one farm file.
type writer struct {
	b        strings.Builder
	opt      Options
	groups   []*logger
	milkings *milkList
	// used are the quantities (with place) that a column is mapped to.
	used  map[string]string
	draft Draft
}

func (w *writer) line(format string, args ...any) { fmt.Fprintf(&w.b, format+"\n", args...) }

// head writes [farm].
func (w *writer) head() {
	w.line("# Drafted by yardheat start. Lines that begin with # are comments. What is marked")
	w.line("# \"# check\" is a guess or a placeholder: correct it or take the mark off.")
	w.line("# The logs beside this file stay as they were exported.")
	w.line("")
	w.line("[farm]")
	w.line("name = %s", quote(w.opt.Name))
	w.line("# Stamps without a zone of their own are read in this zone, summer time included.")
	if zone := w.fileZone(); zone != "" {
		w.line("timezone = %s   # check: a file names it", quote(zone))
		return
	}
	zone, from := w.opt.Zone, w.opt.ZoneFrom
	if zone == "" {
		zone, from = "UTC", "nothing names a zone; write the farm's, such as \"Europe/Rome\""
		w.draft.Open = append(w.draft.Open, "timezone in [farm]: nothing names one, UTC stands in")
	}
	w.line("timezone = %s   # check: %s", quote(zone), from)
}

// fileZone is a zone with continent and city that a file names, "" if none.
func (w *writer) fileZone() string {
	for _, g := range w.groups {
		if z := g.first().Stamp.Zone; strings.Contains(z, "/") {
			return z
		}
	}
	return ""
}

func (w *writer) has(prefixes ...string) bool {
	for q := range w.used {
		if slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(q, p) }) {
			return true
		}
	}
	return false
}

// plant writes the tables about pipe, tanks and machines, as far as a quantity
// asks for them; figures are placeholders.
func (w *writer) plant() {
	if w.has("loop_") {
		w.line("\n# The pipe under the bed: no heat figure of the loop holds before these are right.")
		w.line("[loop]")
		w.line("length_m = 100   # check: placeholder; all branches together")
		w.line("bore_mm = 26   # check: placeholder; inside diameter")
		w.line("# wall_mm = 3")
		w.line("# pipe = \"PE\"")
		w.line("# bed_area_m2 = 200")
		if !w.has("loop_flow", "loop_volume") {
			w.line("# flow_l_min = 12   # fixed flow, where only a valve or pump is logged")
			w.line("# draw_l = 300      # or litres per refill, where there is no meter")
		}
	}
	if w.has("plate_") {
		w.line("\n# The plate on the hot side of the milk cooling.")
		w.line("[plate]")
		w.line("meter_at = \"in\"   # check: is the water meter before (in) or behind (out) the plate?")
	}
	if w.has("tank_", "element_", "wash_") {
		w.line("\n[tank]")
		w.line("volume_l = 1000   # check: placeholder")
	}
	if w.has("wash_") {
		w.line("\n[wash]")
		w.line("target_c = 60   # check: placeholder; a wash cooler than this on average is called too cool")
		w.line("# heat_to_c = 65   # what the element heats to")
	}
	if w.has("compressor_on") && !w.has("compressor_power", "compressor_energy") {
		w.line("\n# [plant]")
		w.line("# compressor_kw = 5   # rated power: only on and off is logged")
	}
	if w.has("element_on") && !w.has("element_power", "element_energy") {
		w.line("\n# [element]")
		w.line("# power_kw = 6   # rated power: only on and off is logged")
	}
	if w.has("loop_out_temp", "wash_temp") && !w.has("mains_temp") {
		w.line("\n# No probe of the cold feed was found: one figure, or twelve by month.")
		w.line("# [mains]")
		w.line("# temp_c = 10")
	}
}

// money writes what a saving is counted against, as comments.
func (w *writer) money() {
	w.line("\n# What would heat the water if nothing were recovered. Without it no saving is")
	w.line("# given. An auditor asks where the figures come from: source says it.")
	for _, l := range [...]string{"[instead]", `carrier = "heating oil"`, "efficiency = 0.9", "price_per_kwh = 0.10", "co2_kg_per_kwh = 0.27", `currency = "EUR"`,
		`source = "last bill"`, "", "[electricity]", "price_per_kwh = 0.25", "co2_kg_per_kwh = 0.3"} {
		w.line("%s", strings.TrimSpace("# "+l))
	}
}

// logs writes a [[log]] for each logger.
func (w *writer) logs() string {
	head := w.b.String()
	w.b.Reset()
	for _, g := range w.groups {
		w.log(g)
	}
	logs := w.b.String()
	w.b.Reset()
	w.b.WriteString(head)
	return logs
}

func (w *writer) log(g *logger) {
	t := g.first()
	w.draft.Logs++
	w.line("\n# %s", comment(g.says()))
	w.line("[[log]]")
	var names []string
	for _, n := range g.files {
		names = append(names, quote(n))
	}
	w.line("files = [%s]", strings.Join(names, ", "))
	if t.Sheet != "" {
		w.line("sheet = %s", quote(t.Sheet))
	}
	if t.Of > 1 {
		w.line("table = %d", t.Number)
	}
	if t.HeaderLine == 0 && t.Rows > 0 && !w.states(t, "header") {
		w.line("header = 0   # check: no line names the columns; #1 is the first")
	}
	if t.Tags != nil {
		w.line("tags = { tag = %s, value = %s }   # check: a row holds one tag and one value", quote(t.Tags.Tag), quote(t.Tags.Value))
	}
	if t.Rows == 0 {
		w.line("# check: no stamps were found; stamp_columns names their columns, stamp_layout how they are written")
		w.line("# stamp_columns = [\"…\"]")
	}
	stated := w.settings(t)
	for _, u := range g.doubts() {
		if !slices.Contains(stated, u.About) {
			w.doubt(u)
		}
	}
	w.line("\n[log.columns]")
	for i, c := range g.columns() {
		if t.Tags == nil || c.Tag {
			w.column(t, i, c)
		}
	}
}

// doubt writes what the files leave open, as a comment with the key.
func (w *writer) doubt(u look.Doubt) {
	if u.About == "log.columns" || u.About == "header" {
		return
	}
	w.line("# check: %s; assumed: %s", comment(u.Text), comment(u.Assumed))
	w.line("# %s", comment(u.Settle))
	if u.About == "dates" && strings.Contains(u.Assumed, "report will ask") {
		w.draft.Open = append(w.draft.Open, "dates in [[log]]: "+u.Text)
	}
}

// column writes one row of [log.columns]; without a guess it is a comment.
func (w *writer) column(t *look.Table, at int, c look.Column) {
	key := quote(keyOf(t, at, c))
	if choice, ok := w.choice(t, keyOf(t, at, c)); ok {
		w.chosen(key, choice, c)
		return
	}
	if c.Kind == look.Index || c.Kind == look.Event || c.Kind == look.Text {
		w.line("# %s is not read   # %s", key, comment(c.Because))
		return
	}
	q := c.Quantity
	if c.Place != "" {
		q += "@" + c.Place
	}
	why := reasonOf(c)
	value, missing := valueOf(c, q)
	other, taken := w.used[q]
	switch {
	case c.Readings == 0:
		w.line("# %s = %s   # no reading at all; %s", key, quote("ignore"), why)
		return
	case c.Quantity == "":
		w.draft.Left++
		w.line("# %s = \"…\"   # %s", key, why)
		return
	case taken:
		w.draft.Left++
		w.line("# %s = %s   # %s has this quantity already; %s", key, value, comment(other), why)
		return
	case missing != "":
		w.draft.Left++
		w.line("# %s = %s   # %s; %s", key, value, missing, why)
		return
	}
	w.used[q] = c.Name
	w.draft.Mapped++
	w.line("%s = %s   # check: %s", key, value, why)
}

// keyOf is the name by which [log.columns] calls a column: #n where its header
// is missing or stands twice.
func keyOf(t *look.Table, at int, c look.Column) string {
	twice := slices.Contains(t.Stamp.Columns, c.Name)
	for i, o := range t.Columns {
		twice = twice || i != at && o.Name == c.Name && o.Tag == c.Tag
	}
	if twice && !c.Tag {
		return fmt.Sprintf("#%d", c.Number)
	}
	return c.Name
}

func reasonOf(c look.Column) string {
	why := c.Because
	if c.Min != nil {
		why = fmt.Sprintf("%s; %g to %g %s", why, *c.Min, *c.Max, c.Unit)
	}
	return comment(strings.TrimSpace(strings.TrimPrefix(why, "; ")))
}

// valueOf is the right-hand side of a column, and what must be filled in
// before it can stand.
func valueOf(c look.Column, q string) (value, missing string) {
	parts := []string{"quantity = " + quote(q)}
	u, _ := series.ParseUnit(c.Unit)
	switch {
	case c.UnitAssumed != "" && !u.Gallon && !u.Ampere && !u.Pulses:
		parts = append(parts, "unit = "+quote(c.UnitAssumed))
	case u.Gallon:
		per := ""
		if k := strings.IndexByte(c.Unit, '/'); k > 0 {
			per = c.Unit[k:]
		}
		parts = append(parts, "unit = "+quote("gal_us"+per))
		missing = "which gallon: gal_us or gal_imp"
	case u.Ampere:
		parts = append(parts, "volts = 400", "phases = 3", "power_factor = 0.85")
		missing = "a current: write volts, phases and power factor as they are"
	case u.Pulses:
		parts = append(parts, "scale = 1", "unit = "+quote(classOf(c.Quantity)))
		missing = "pulses: write what one is worth as scale"
	}
	info, _ := series.Lookup(series.Quantity(c.Quantity))
	if c.Kind == look.Counter && (info.Class == series.Volume || info.Class == series.Energy) {
		parts = append(parts, "counter = true")
	}
	if len(parts) == 1 {
		return quote(q), missing
	}
	return "{ " + strings.Join(parts, ", ") + " }", missing
}

func classOf(quantity string) string {
	info, _ := series.Lookup(series.Quantity(quantity))
	return info.Class.BaseUnit()
}

// quote writes a TOML basic string.
func quote(s string) string { return edit.Quote(strings.ToValidUTF8(s, "?")) }

// comment is a text that can stand in a comment of one line.
func comment(s string) string { return edit.Comment(s) }
