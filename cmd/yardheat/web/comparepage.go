package web

import (
	"math"
	"net/http"
	"sort"
	"strconv"

	"yardheat/analysis/doubt"
	"yardheat/reports/results/saved"
)

// compareView is two reports side by side.
type compareView struct {
	*view
	A, B    side
	overlap bool
	// uneven: of different length, so that totals cannot be held against each other.
	uneven bool
}

// mostUneven is by how much of the longer one two periods may differ for their
// totals to be held against each other (our choice).
const mostUneven = 0.05

// side is one of the two.
type side struct {
	Name string
	v    *reportView
}

// comparePage sets two reports of a farm side by side.
func (s *Server) comparePage(w http.ResponseWriter, r *http.Request) {
	var sides [2]side
	for i, key := range []string{"a", "b"} {
		f, rep, ok := s.reportOf(w, r, r.URL.Query().Get(key))
		if !ok {
			return
		}
		got, err := s.readings.report(rep)
		if err != nil {
			s.fail(w, r, http.StatusUnprocessableEntity, err)
			return
		}
		v := s.words(r)
		v.Farm = f
		one := &reportView{view: v, R: got, Report: rep, zone: zoneOf(got)}
		sides[i] = side{v.Say("reports.span", "from", one.Day(got.Period.Start), "to", one.LastDay()), one}
	}
	v := s.words(r)
	if sides[0].Name == sides[1].Name { // told apart by when they were made
		for i := range sides {
			sides[i].Name += ", " + v.Say("compare.made", "at", v.Choice.Moment(sides[i].v.Report.At))
		}
	}
	f := sides[0].v.Farm
	c := &compareView{view: v, A: sides[0], B: sides[1]}
	a, b := c.A.v.R.Period, c.B.v.R.Period
	da, db := a.End.Sub(a.Start).Hours(), b.End.Sub(b.Start).Hours()
	c.uneven = math.Abs(da-db) > mostUneven*math.Max(da, db)
	c.overlap = a.Start.Before(b.End) && b.Start.Before(a.End)
	s.show(w, r, http.StatusOK, "compare", &view{Title: v.Say("compare.title"), Farm: f, Section: "reports", Page: c})
}

// Notes say what is to be known before the figures are read.
func (c *compareView) Notes() []string {
	var out []string
	a, b := c.A.v.R.Period, c.B.v.R.Period
	if c.overlap {
		out = append(out, c.Say("compare.overlap"))
	} else {
		out = append(out, c.Say("compare.apart"))
	}
	da, db := a.End.Sub(a.Start).Hours()/24, b.End.Sub(b.Start).Hours()/24
	if c.uneven {
		out = append(out, c.Say("compare.length", "a", c.Int(int(math.Round(da))), "b", c.Int(int(math.Round(db)))))
	}
	return out
}

// comparedRow is one figure of both.
type comparedRow struct{ Label, A, B, Difference string }

type comparedTable struct {
	Caption string
	Rows    []comparedRow
}

// Tables are the figures that either report knows.
func (c *compareView) Tables() []comparedTable {
	a, b := c.A.v.R, c.B.v.R
	var out []comparedTable
	add := func(key string, fa, fb saved.Figures, keys ...string) {
		t := comparedTable{Caption: c.Say("report.table." + key)}
		for _, k := range keys {
			x, y := fa.Get(k), fb.Get(k)
			if x.Known() || y.Known() {
				t.Rows = append(t.Rows, comparedRow{c.Label(k), c.FigOr(x), c.FigOr(y), c.difference(x, y)})
			}
		}
		if len(t.Rows) > 0 {
			out = append(out, t)
		}
	}
	add("heat", a.Heat.Seen, b.Heat.Seen, "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "unexplained_kwh")
	add("saving", a.Saving.Figures, b.Saving.Figures, "saved_kwh", "money", "co2_kg", "heat_per_kwh")
	add("loop", a.Loop.Figures, b.Loop.Figures, "ua_w_per_k", "approach_k", "effectiveness")
	add("plant", a.Plant.Figures, b.Plant.Figures, "recovery_fraction", "caught_per_kwh", "plate_effectiveness")
	add("bed", a.Bed, b.Bed, "mean_c", "heat_w_per_m2")
	if t := c.washTable(); len(t.Rows) > 0 {
		out = append(out, t)
	}
	return out
}

func (c *compareView) washTable() comparedTable {
	a, b := c.A.v.R.Washes, c.B.v.R.Washes
	t := comparedTable{Caption: c.Say("report.washes")}
	if a.Count+b.Count == 0 {
		return t
	}
	diff := func(x, y int) string {
		if c.uneven {
			return c.Say("compare.nodifference")
		}
		return c.signed(float64(y-x), 0)
	}
	t.Rows = []comparedRow{
		{c.Say("compare.judged"), c.Int(a.Count), c.Int(b.Count), diff(a.Count, b.Count)},
		{c.Say("compare.cool"), c.Int(a.TooCool), c.Int(b.TooCool), diff(a.TooCool, b.TooCool)},
		{c.Say("compare.coolest"), c.Temp(a.CoolestC), c.Temp(b.CoolestC), ""},
	}
	return t
}

func (c *compareView) signed(x float64, decimals int) string {
	text := c.Choice.Number(x, decimals)
	if x > 0 {
		return "+" + text
	}
	return text
}

// difference is the second less the first. Only where the periods do not overlap
// does it bear an interval: both sides put together as independent errors. Of
// what the same instruments get wrong in both a part cancels, so that this is
// rather too wide; the page says so. Of reports on the same time most of the
// error is the same in both, and no interval is given.
func (c *compareView) difference(x, y saved.Figure) string {
	a, b := x.Season(), y.Season()
	if c.uneven && total(a.Unit) || !x.Known() || !y.Known() || !sameUnit(a.Unit, b.Unit) || math.IsNaN(a.Low+a.High+b.Low+b.High) {
		return c.Say("compare.nodifference")
	}
	unit := a.Unit
	if unit == "degC" || unit == "°C" {
		unit = "K" // a difference of temperatures has no zero
	}
	d := b.Value - a.Value
	low := d - math.Hypot(b.Value-b.Low, a.High-a.Value)
	high := d + math.Hypot(b.High-b.Value, a.Value-a.Low)
	f := doubt.Make(d, low, high, unit, doubt.Estimated, 0, 0, "")
	if c.overlap {
		scaled, shown := c.Choice.Convert(d, unit)
		wide, _ := c.Choice.Convert(high-low, unit)
		return c.Choice.Shown(plus(d) + doubt.Beside(scaled, doubt.Make(scaled, scaled-wide/2, scaled+wide/2, shown, doubt.Estimated, 0, 0, ""), math.Round))
	}
	return plus(d) + c.Choice.FigureText(f)
}

// total: a unit of what grows with the length of the period. Money bears the name
// of its currency, which is no other unit of a figure that is compared.
func total(unit string) bool {
	switch unit {
	case "1", "", "W/K", "K", "degC", "°C", "W/m2":
		return false
	}
	return true
}

func plus(d float64) string {
	if d > 0 {
		return "+"
	}
	return ""
}

func sameUnit(a, b string) bool { return a == b || doubt.ShowUnit(a) == doubt.ShowUnit(b) }

// mostChanges of one kind are named.
const mostChanges = 15

// Changed says what differs in what both were made of.
func (c *compareView) Changed() []string {
	a, b := c.A.v.R, c.B.v.R
	var out []string
	if a.Audit.Version != b.Audit.Version {
		out = append(out, c.Say("compare.version", "a", clean(a.Audit.Version), "b", clean(b.Audit.Version)))
	}
	out = append(out, c.cut(c.files(a, b))...)
	out = append(out, c.cut(c.named("compare.fact", facts(a), facts(b)))...)
	return append(out, c.cut(c.named("compare.setting", settings(a), settings(b)))...)
}

// cut counts what is more than can be read.
func (c *compareView) cut(list []string) []string {
	if len(list) <= mostChanges {
		return list
	}
	return append(list[:mostChanges:mostChanges], c.Count("compare.more", len(list)-mostChanges))
}

func (c *compareView) files(a, b *saved.Report) []string {
	was, is := map[string]string{}, map[string]string{}
	for _, f := range a.Data.Files {
		was[f.Name] = f.SHA256
	}
	for _, f := range b.Data.Files {
		is[f.Name] = f.SHA256
	}
	var out []string
	for _, name := range names(was, is) {
		x, before := was[name]
		y, after := is[name]
		switch {
		case !before:
			out = append(out, c.Say("compare.file.new", "name", clean(name)))
		case !after:
			out = append(out, c.Say("compare.file.gone", "name", clean(name)))
		case x != y:
			out = append(out, c.Say("compare.file.other", "name", clean(name)))
		}
	}
	return out
}

// names are the keys of both, each once, sorted.
func names(a, b map[string]string) []string {
	var out []string
	for k := range a {
		out = append(out, k)
	}
	for k := range b {
		if _, ok := a[k]; !ok {
			out = append(out, k)
		}
	}
	sort.Strings(out)
	return out
}

// facts are what farm.toml states: figures of the farm, and prices.
func facts(r *saved.Report) map[string]string {
	out := map[string]string{}
	for _, f := range r.Audit.Static {
		out[f.Name] = f.Value
	}
	for _, p := range r.Audit.Prices {
		key := p.Key
		if p.Since != "" {
			key += " " + p.Since
		}
		if p.What != "" && out[key] != "" {
			key += " (" + p.What + ")"
		}
		out[key] = strconv.FormatFloat(float64(p.Value), 'g', -1, 64) + " " + p.Unit
	}
	return out
}

func settings(r *saved.Report) map[string]string {
	out := map[string]string{}
	for k, s := range r.Settings {
		out[k] = s.Value
	}
	return out
}

func (c *compareView) named(key string, was, is map[string]string) []string {
	var out []string
	for _, name := range names(was, is) {
		if x, y := was[name], is[name]; x != y {
			out = append(out, c.Say(key, "name", clean(name), "a", c.orNone(clean(x)), "b", c.orNone(clean(y))))
		}
	}
	return out
}
