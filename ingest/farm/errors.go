package farm

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"yardheat/ingest/farm/keyed"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
)

// errorUnit is a unit in which an error can be stated, with the factor to the
// base unit.
type errorUnit struct {
	name string
	to   float64
}

// errorUnits by class, the base unit first. A temperature's error is a
// difference: 1 F is 5/9 K and no offset belongs to it.
var errorUnits = map[series.Class][]errorUnit{
	series.Temperature: {{"K", 1}, {"C", 1}, {"F", 5.0 / 9}},
	series.Flow:        {{"L/min", 1}, {"L/h", 1.0 / 60}, {"m3/h", 1000.0 / 60}},
	series.Volume:      {{"L", 1}, {"m3", 1000}},
	series.Power:       {{"kW", 1}, {"W", 0.001}},
	series.Energy:      {{"kWh", 1}, {"Wh", 0.001}, {"MWh", 1000}},
	series.Pressure:    {{"bar", 1}, {"kPa", 0.01}, {"psi", 0.0689475729}}, // 1 psi = 6894.75729 Pa (NIST SP 811, 2008, B.8)
	series.Level:       {{"%", 1}},
}

// farmKey is a key of the farm file whose figure has an error.
type farmKey struct {
	units []errorUnit // "" = a bare number
	// assumed is the half-width at 95 % where none is stated; relative: a
	// fraction of the figure. 0 = taken as exact.
	assumed  float64
	relative bool
	// kelvin: a percentage means nothing.
	kelvin bool
}

var (
	inKW    = []errorUnit{{"kW", 1}, {"W", 0.001}}
	inL     = []errorUnit{{"L", 1}, {"m3", 1000}}
	inLMin  = []errorUnit{{"L/min", 1}, {"L/h", 1.0 / 60}}
	inPlain = []errorUnit{{"", 1}}
)

// farmKeys are the farm-file keys that can stand in [errors], with what is
// assumed. The assumptions of the interface are its own; the others (fixed
// flows 10 %, mains 1 K, standing gain 20 %, wall heat 20 %, CO2 10 %) are common
// practice, no source. Length, bore and wall go into the fit's prior and are
// taken as built; prices are exact unless an error of theirs is stated.
var farmKeys = map[string]farmKey{
	"loop.length_m":                    {[]errorUnit{{"m", 1}}, 0, true, false},
	"loop.bore_mm":                     {[]errorUnit{{"mm", 1}}, 0, true, false},
	"loop.wall_mm":                     {[]errorUnit{{"mm", 1}}, 0, true, false},
	"loop.wall_mj_per_m3_k":            {inPlain, 0.20, true, false},
	"loop.lead_l":                      {inL, 0, true, false},
	"loop.bed_area_m2":                 {[]errorUnit{{"m2", 1}}, 0, true, false},
	"loop.draw_l":                      {inL, 0.10, true, false},
	"loop.flow_l_min":                  {inLMin, 0.10, true, false},
	"plate.flow_l_min":                 {inLMin, 0.10, true, false},
	"tank.volume_l":                    {inL, 0.05, true, false},
	"mains.temp_c":                     {[]errorUnit{{"K", 1}, {"C", 1}, {"F", 5.0 / 9}}, 1, false, true},
	"milk.specific_heat_kj_per_kg_k":   {inPlain, 0.015, true, false},
	"milk.density_kg_per_l":            {inPlain, 0.015, true, false},
	"plant.compressor_kw":              {inKW, 0.15, true, false},
	"plant.standing_gain_kw":           {inKW, 0.20, true, false},
	"element.power_kw":                 {inKW, 0.15, true, false},
	"pumps.loop_kw":                    {inKW, 0.15, true, false},
	"pumps.plate_kw":                   {inKW, 0.15, true, false},
	"instead.efficiency":               {inPlain, 0.05, false, false},
	"instead.price_per_kwh":            {inPlain, 0, true, false},
	"instead.co2_kg_per_kwh":           {inPlain, 0.10, true, false},
	"electricity.price_per_kwh":        {inPlain, 0, true, false},
	"electricity.co2_kg_per_kwh":       {inPlain, 0.10, true, false},
	"electricity.export_price_per_kwh": {inPlain, 0, true, false},
	"cost.capital":                     {inPlain, 0, true, false},
	"cost.upkeep_per_year":             {inPlain, 0, true, false},
}

func farmKeyNames() []string {
	var out []string
	for k := range farmKeys {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// errorsTable reads [errors], in the order of the file. A dotted key without
// quotes (loop.draw_l = …) means the same as one with.
func (r *reader) errorsTable(t *keyed.Tab) []StatedError {
	et := t.Table("errors")
	if et == nil {
		return nil
	}
	var out []StatedError
	r.walkErrors(et.Node, "", func(e *keyed.Entry, key string) {
		if s, ok := r.statedError(e, key, et.Key(strconv.Quote(key))); ok {
			if slices.ContainsFunc(out, func(o StatedError) bool { return o.Key == key }) {
				r.Add(e.Line, et.Key(strconv.Quote(key)), "a key that stands already", "each key once", "take one of them out")
				return
			}
			out = append(out, s)
		}
	})
	return out
}

func (r *reader) walkErrors(n *keyed.Node, path string, visit func(e *keyed.Entry, key string)) {
	for i := range n.Keys {
		e := &n.Keys[i]
		if key := keyed.Join(path, e.Key); e.Val.Kind == keyed.IsTable && !e.Val.Inline {
			r.walkErrors(e.Val, key, visit)
		} else {
			visit(e, key)
		}
	}
}

// statedError reads one row and holds its unit against its key.
func (r *reader) statedError(e *keyed.Entry, key, where string) (StatedError, bool) {
	s := StatedError{Key: key, Line: e.Line}
	us, kelvin, level, ok := r.errorKey(e, key, where)
	if !ok {
		return s, false
	}
	text := e.Val.Text
	if e.Val.Kind == keyed.IsNumber {
		text = e.Val.Raw
	} else if e.Val.Kind != keyed.IsText {
		r.Add(e.Val.Line, where, keyed.Shown(e.Val), errorWant(us, kelvin), "write the half-width in quotes")
		return s, false
	}
	text = strings.TrimPrefix(strings.TrimSpace(text), "±")
	if body, found := strings.CutSuffix(text, "limits"); found {
		s.Rectangular, text = true, body
	}
	v, unit := figure(text)
	s.HalfWidth = v
	fail := func(do string) (StatedError, bool) {
		r.Add(e.Val.Line, where, keyed.Shown(e.Val), errorWant(us, kelvin), do)
		return s, false
	}
	switch {
	case !(v >= 0):
		return fail("write a figure of 0 or more and its unit")
	case unit == "%" && kelvin:
		return fail("a percentage of a temperature depends on where its scale begins: state it in K")
	case unit == "%" && !level:
		s.Relative, s.HalfWidth = true, v/100
		if v > 100 {
			return fail("correct the figure: 100 % at most")
		}
		return s, true
	}
	k := slices.IndexFunc(us, func(u errorUnit) bool { return u.name == unit })
	if k < 0 && unit == "" {
		return fail("add the unit: is it " + strings.Join(unitNames(us, kelvin), " or ") + "?")
	} else if k < 0 {
		return fail("write one of these units")
	}
	s.HalfWidth *= us[k].to
	if kelvin && s.HalfWidth > 50 {
		return fail("correct the figure: 50 K at most")
	}
	return s, true
}

// errorKey says in which units the error of a key is stated.
func (r *reader) errorKey(e *keyed.Entry, key, where string) (us []errorUnit, kelvin, level, ok bool) {
	if k, known := farmKeys[key]; known {
		return k.units, k.kelvin, false, true
	}
	name, place, placed := strings.Cut(key, "@")
	info, known := series.Lookup(series.Quantity(name))
	switch {
	case !known:
		do := "use a quantity, quantity@place, or a key of this file such as \"loop.draw_l\""
		if n := keyed.Nearest(name, append(quantityNames(), farmKeyNames()...)); n != "" {
			do = fmt.Sprintf("did you mean %q?", n)
		}
		r.Add(e.Line, where, strconv.Quote(keyed.Cut(key)), "a quantity or a farm-file key that has an error", do)
		return nil, false, false, false
	case placed && !r.place(e.Line, where, place):
		return nil, false, false, false
	case info.Class == series.OnOff:
		r.Add(e.Line, where, strconv.Quote(keyed.Cut(key)), "a quantity or a farm-file key that has an error",
			"a state has none: state that of the rated figure, such as \"element.power_kw\" = \"15 %\"")
		return nil, false, false, false
	}
	return errorUnits[info.Class], info.Class == series.Temperature, info.Class == series.Level, true
}

func unitNames(us []errorUnit, kelvin bool) []string {
	var out []string
	for _, u := range us {
		out = append(out, u.name)
	}
	if !kelvin && !slices.Contains(out, "%") {
		out = append(out, "%")
	}
	return out
}

func errorWant(us []errorUnit, kelvin bool) string {
	var examples []string
	for _, u := range unitNames(us, kelvin) {
		examples = append(examples, strconv.Quote(strings.TrimSpace("0.5 "+u)))
	}
	return "a half-width at 95 % as " + strings.Join(examples, " or ") + ", with \"limits\" behind it for limits"
}

// figure parts "0.5 K" into figure and unit; NaN where there is no figure.
func figure(text string) (v float64, unit string) {
	text = strings.TrimSpace(text)
	k := strings.IndexFunc(text, func(c rune) bool { return !strings.ContainsRune("+-.0123456789", c) })
	if k < 0 {
		k = len(text)
	}
	v, err := strconv.ParseFloat(text[:k], 64)
	if err != nil || math.IsInf(v, 0) {
		return math.NaN(), strings.TrimSpace(text[k:])
	}
	return v, strings.TrimSpace(text[k:])
}

// matched reads [[matched]].
func (r *reader) matched(t *keyed.Tab, zone *time.Location) []Matched {
	var out []Matched
	for _, mt := range t.Tables("matched") {
		var m Matched
		const want = "two or more temperature probes, such as [\"loop_in_temp\", \"loop_out_temp\"]"
		mt.Need("probes", want)
		m.Find = finds(mt)
		if !m.Find {
			mt.Need("within", "how closely they agreed, such as \"0.05 K\"")
		}
		e, list := mt.Texts("probes", want)
		for _, n := range list {
			name, place, placed := strings.Cut(n.Text, "@")
			info, known := series.Lookup(series.Quantity(name))
			switch {
			case !r.known(n, mt.Key("probes"), name) || placed && !r.place(n.Line, mt.Key("probes"), place):
			case known && info.Class != series.Temperature:
				r.Add(n.Line, mt.Key("probes"), keyed.Shown(n), want, "only temperatures are matched")
			case slices.Contains(m.Probes, n.Text):
				r.Add(n.Line, mt.Key("probes"), keyed.Shown(n), want, "name each probe once")
			default:
				m.Probes = append(m.Probes, n.Text)
			}
		}
		if e != nil && e.Val.Kind == keyed.IsList && len(e.Val.Items) < 2 {
			mt.Bad(e, want, "name the probes that were compared")
		}
		kelvin(mt, "within", &m.WithinK, 0)
		if !m.Find {
			m.HasOffset = kelvin(mt, "offset", &m.OffsetK, -20)
		}
		mt.Moment("on", &m.On, zone)
		mt.Close(nil)
		out = append(out, m)
	}
	return out
}

// finds: the offset is to be found in the record.
func finds(t *keyed.Tab) bool {
	e := t.Node.Find("offset")
	if e == nil || e.Val.Kind != keyed.IsText || strings.TrimSpace(e.Val.Text) != "find" {
		return false
	}
	t.Get("offset")
	return true
}

// kelvin reads a difference of temperatures as "0.05 K", from low to 20 K.
func kelvin(t *keyed.Tab, key string, dst *float64, low float64) bool {
	var text string
	e := t.Get(key)
	if e == nil {
		return false
	}
	want := fmt.Sprintf(`a difference as "0.05 K", from %g to 20 K`, low)
	if key == "offset" {
		want += `, or "find"`
	}
	if e.Val.Kind != keyed.IsText {
		t.Bad(e, want, "write figure and unit in quotes")
		return false
	}
	text = e.Val.Text
	v, unit := figure(strings.TrimPrefix(text, "±"))
	for _, u := range errorUnits[series.Temperature] {
		if u.name == unit && v*u.to >= low && v*u.to <= 20 {
			*dst = v * u.to
			return true
		}
	}
	t.Bad(e, want, "correct the figure or its unit")
	return false
}

// flags reads [flags]: thresholds by quantity, in its base unit, and those for
// all quantities.
func (r *reader) flags(t *keyed.Tab) (map[string]Thresholds, map[string]float64) {
	ft := t.Table("flags")
	if ft == nil {
		return nil, nil
	}
	out, general := map[string]Thresholds{}, map[string]float64{}
	opt := reading.DefaultFlagOptions()
	known := opt.Thresholds()
	for i := range ft.Node.Keys {
		e := &ft.Node.Keys[i]
		if k := slices.IndexFunc(known, func(th reading.Threshold) bool { return th.Key == e.Key }); k >= 0 {
			var v float64
			if ft.NumberIn(e, e.Val, &v, keyed.Span(known[k].Low, known[k].High, "")) {
				general[e.Key] = v
			}
			continue
		}
		if q, _, _ := strings.Cut(e.Key, "@"); !lookedUp(q) {
			r.Add(e.Line, ft.Key(e.Key), strconv.Quote(keyed.Cut(e.Key)), "a quantity, quantity@place, or a threshold", thresholdHint(e.Key, known))
			continue
		}
		if e.Val.Kind != keyed.IsTable {
			ft.Bad(e, "a table such as { range = [-5, 90], spike = 5, rate = 60, stuck_h = 12 }", "write its thresholds in braces")
			continue
		}
		out[e.Key] = r.thresholds(&keyed.Tab{R: r.Reader, Path: ft.Key(e.Key), Node: e.Val})
	}
	return out, general
}

func lookedUp(quantity string) bool {
	_, ok := series.Lookup(series.Quantity(quantity))
	return ok
}

func thresholdHint(name string, known []reading.Threshold) string {
	names := quantityNames()
	for _, t := range known {
		names = append(names, t.Key)
	}
	if n := keyed.Nearest(name, names); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "use a name of the list of quantities, or a threshold of the report's settings"
}

func (r *reader) thresholds(t *keyed.Tab) Thresholds {
	th := Thresholds{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	all := keyed.Span(-1e9, 1e9, "")
	if e := t.Get("range"); e != nil {
		const want = "lowest and highest plausible value as [-5, 90]"
		if e.Val.Kind != keyed.IsList || len(e.Val.Items) != 2 {
			t.Bad(e, want, "write two numbers in square brackets")
		} else if t.NumberIn(e, e.Val.Items[0], &th.RangeLow, all) && t.NumberIn(e, e.Val.Items[1], &th.RangeHigh, all) && th.RangeLow >= th.RangeHigh {
			t.Bad(e, want, "write the lower one first")
		}
	}
	t.Number("spike", &th.Spike, keyed.Above0(1e9, ""))
	t.Number("rate", &th.RatePerH, keyed.Above0(1e9, "per hour"))
	t.Number("stuck_h", &th.StuckH, keyed.Above0(10000, "h"))
	t.Close(nil)
	return th
}
