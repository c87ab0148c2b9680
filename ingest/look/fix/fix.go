// Package fix says by which key of farm.toml a doubt or a problem is settled, and
// between which values: a page offers them to be taken with one click. It holds no
// sentence.
package fix

import (
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
	"yardheat/ingest/series"
)

// Choice is one way to settle it.
type Choice struct {
	// Value is what to write; Unset: take the key out instead (the farm's own zone,
	// say).
	Value edit.Value
	Unset bool
	// Name is the value as a page's catalogue can know it: "dmy", ",", "UTC".
	Name string
	// Reads is what the file's first date, or a reading, becomes by this choice: a
	// date as 2026-02-03, a number with a point; "" = not known.
	Reads string
	// Assumed: the file was described so.
	Assumed bool
}

// Fix is a key that settles something.
type Fix struct {
	// Doubt or Problem it belongs to, by index; -1 = not one of these.
	Doubt, Problem int
	// Key of [[log]]: dates, decimal, zone, stamp, encoding, header, stamp_columns,
	// clock; "columns" with Column for a column's own.
	Key    string
	Column string
	// Sub is the key of the column's table: unit, counter; "" = the whole ("ignore").
	Sub     string
	Choices []Choice
	// Free: other values than the choices can be meant.
	Free bool
}

// Of lists the fixes of a described table, in the order of its doubts and
// problems. zone is the farm's, "" = not known.
func Of(t *look.Table, zone string) []Fix {
	var out []Fix
	for i := range t.Unsure {
		for _, f := range ofDoubt(t, &t.Unsure[i], zone) {
			f.Doubt, f.Problem = i, -1
			out = append(out, f)
		}
	}
	for i := range t.Problems {
		for _, f := range ofProblem(t, &t.Problems[i]) {
			f.Doubt, f.Problem = -1, i
			out = append(out, f)
		}
	}
	return out
}

func ofDoubt(t *look.Table, u *look.Doubt, zone string) []Fix {
	switch u.About {
	case "dates":
		return one(Fix{Key: "dates", Choices: dates(t)})
	case "decimal":
		if strings.HasPrefix(u.Assumed, "none is needed") {
			return nil
		}
		return one(Fix{Key: "decimal", Choices: decimals(t, u.Columns)})
	case "zone":
		return one(Fix{Key: "zone", Choices: zones(t, zone), Free: true})
	case "stamp":
		return one(Fix{Key: "stamp", Choices: texts("end", "end", "start", "instant")})
	case "encoding":
		return one(Fix{Key: "encoding", Choices: texts(t.Encoding, encodings(t.Encoding)...), Free: true})
	case "header":
		return one(Fix{Key: "header", Choices: []Choice{{Value: edit.Number(0), Name: "0", Assumed: true}}, Free: true})
	case "stamp_columns":
		return one(Fix{Key: "stamp_columns", Choices: []Choice{{Value: edit.Texts(t.Stamp.Columns...), Name: strings.Join(t.Stamp.Columns, ", "), Assumed: true}}, Free: true})
	case "log.columns":
		return columns(t, u)
	}
	return nil
}

func one(f Fix) []Fix { return []Fix{f} }

// texts are choices of plain words.
func texts(assumed string, of ...string) []Choice {
	out := make([]Choice, len(of))
	for i, w := range of {
		out[i] = Choice{Value: edit.Text(w), Name: w, Assumed: w == assumed}
	}
	return out
}

func encodings(now string) []string {
	out := []string{now}
	for _, o := range [...]string{"Windows-1252", "Windows-1250", "Windows-1251", "UTF-8"} {
		if o != now {
			out = append(out, o)
		}
	}
	return out
}

// dates are the orders in which the first date of the file is a date, with what
// it then is. A year of two digits in front is another.
func dates(t *look.Table) []Choice {
	assumed := t.Stamp.Order
	if assumed == "" {
		assumed = look.OrderOf(t.Stamp.Format)
	}
	orders := []string{"dmy", "mdy"}
	if strings.Contains(t.Stamp.Format, "YY") && !strings.Contains(t.Stamp.Format, "YYYY") {
		orders = append(orders, "ymd")
	}
	first, ok := firstDay(t)
	var out []Choice
	for _, o := range orders {
		c := Choice{Value: edit.Text(o), Name: o, Assumed: o == assumed}
		if ok && assumed != "" {
			read, some := reread(first, assumed, o)
			if !some {
				continue // no date in that order
			}
			c.Reads = read
		}
		out = append(out, c)
	}
	return out
}

func firstDay(t *look.Table) (time.Time, bool) {
	at, err := time.Parse("2006-01-02", t.First[:min(len(t.First), 10)])
	return at, err == nil
}

// reread is what a date that was read in one order is in another: its three
// numbers as they stand, a year by its last two digits where it moves.
func reread(day time.Time, was, is string) (string, bool) {
	numbers := map[byte]int{'d': day.Day(), 'm': int(day.Month()), 'y': day.Year()}
	by := map[byte]int{}
	for i := range 3 {
		n := numbers[was[i]]
		if was[i] == 'y' && is[i] != 'y' {
			n %= 100
		}
		if is[i] == 'y' && was[i] != 'y' {
			n += 2000
		}
		by[is[i]] = n
	}
	at := time.Date(by['y'], time.Month(by['m']), by['d'], 0, 0, 0, 0, time.UTC)
	return at.Format("2006-01-02"), at.Day() == by['d'] && int(at.Month()) == by['m'] && by['m'] >= 1
}

// decimals are the two marks, with what the first doubtful column's largest
// reading becomes where its mark has three digits behind it.
func decimals(t *look.Table, names []string) []Choice {
	out := texts(t.Decimal, ".", ",")
	for i := range t.Columns {
		c := &t.Columns[i]
		if len(names) > 0 && !slices.Contains(names, c.Name) || c.Max == nil || t.Decimal == "" || *c.Max == math.Trunc(*c.Max) {
			continue
		}
		for k := range out {
			v := *c.Max
			if out[k].Name != t.Decimal {
				v = math.Round(v * 1000) // its three digits are whole
			}
			out[k].Reads = edit.Number(v).String()
		}
		break
	}
	return out
}

// zones are the farm's own, the same without summer time, and UTC.
func zones(t *look.Table, zone string) []Choice {
	out := []Choice{{Unset: true, Name: zone, Assumed: t.Stamp.Zone == ""}}
	if loc, err := clock.ParseZone(zone); zone != "" && err == nil {
		year := 2026 // any: only whether summer time is kept matters
		if first, ok := firstDay(t); ok {
			year = first.Year()
		}
		_, a := time.Date(year, 1, 1, 0, 0, 0, 0, loc).Zone()
		_, b := time.Date(year, 7, 1, 0, 0, 0, 0, loc).Zone()
		if a != b {
			fixed := time.Date(year, 1, 1, 0, 0, 0, 0, time.FixedZone("", min(a, b))).Format("-07:00")
			out = append(out, Choice{Value: edit.Text(fixed), Name: fixed})
		}
	}
	return append(out, Choice{Value: edit.Text("UTC"), Name: "UTC"})
}

// unitsOf are the units to choose from, by class.
var unitsOf = map[series.Class][]string{
	series.Temperature: {"C", "F", "K"},
	series.Flow:        {"L/min", "L/h", "m3/h", "gal_us/min", "gal_imp/min"},
	series.Volume:      {"L", "m3", "gal_us", "gal_imp"},
	series.Power:       {"kW", "W"},
	series.Energy:      {"kWh", "Wh", "MWh", "MJ"},
	series.Pressure:    {"bar", "kPa", "psi"},
	series.Level:       {"%"},
}

// Units are the units to choose from for a quantity; nil for a state.
func Units(quantity string) []string {
	info, ok := series.Lookup(series.Quantity(quantity))
	if !ok {
		return nil
	}
	return slices.Clone(unitsOf[info.Class])
}

// columns are the fixes of single columns: their units, or that one says what
// another does.
func columns(t *look.Table, u *look.Doubt) []Fix {
	var out []Fix
	twin := strings.Contains(u.Settle, `"ignore"`) && len(u.Columns) == 2
	for i := range t.Columns {
		c := &t.Columns[i]
		if !slices.Contains(u.Columns, c.Name) || t.Tags != nil && !c.Tag {
			continue
		}
		key := draft.Key(t, i)
		if twin {
			if c.Name == u.Columns[1] {
				out = append(out, Fix{Key: "columns", Column: key, Choices: texts("", "ignore")})
			}
			continue
		}
		if units := Units(c.Quantity); units != nil && !strings.HasPrefix(u.Settle, "#") {
			out = append(out, Fix{Key: "columns", Column: key, Sub: "unit", Choices: texts(c.UnitAssumed, units...)})
		}
	}
	return out
}

func ofProblem(t *look.Table, p *look.Problem) []Fix {
	switch p.Code {
	case series.CodeBadCell:
		if strings.Contains(p.Text, "decimal in [[log]]") {
			return one(Fix{Key: "decimal", Choices: texts(t.Decimal, other(t.Decimal))})
		}
	case series.CodeNoStamps:
		var all []Choice
		for i := range t.Columns {
			key := draft.Key(t, i)
			all = append(all, Choice{Value: edit.Texts(key), Name: key})
		}
		return []Fix{{Key: "stamp_columns", Choices: all, Free: true}, {Key: "stamp_layout", Free: true}}
	}
	return nil
}

func other(mark string) string {
	if mark == "," {
		return "."
	}
	return ","
}

// OfCode is the fix of a problem that the loader lists, where its code alone says
// which key settles it: Key with its choices, the column being the problem's own.
// ok is false where no key does.
func OfCode(code, zone string) (f Fix, ok bool) {
	f = Fix{Doubt: -1, Problem: -1}
	switch code {
	case series.CodeDatesByCustom, series.CodeDatesMixed, series.CodeDatesFromSibling:
		f.Key, f.Choices = "dates", texts("", "dmy", "mdy", "ymd")
	case "decimal-mark":
		f.Key, f.Choices = "decimal", texts("", ".", ",")
	case series.CodeZoneWord, series.CodeHourRepeated, series.CodeHourSkipped:
		f.Key, f.Choices, f.Free = "zone", zones(&look.Table{}, zone), true
	case series.CodeStampAssumed, series.CodeStampPlace:
		f.Key, f.Choices = "stamp", texts("", "end", "start", "instant")
	case series.CodeClockOff:
		f.Key, f.Choices, f.Free = "clock", texts("keep", "keep", "find"), true
	case series.CodeStampChoice:
		f.Key, f.Free = "stamp_columns", true
	case series.CodeUnitAssumed, series.CodeUnitContradiction:
		f.Key, f.Sub, f.Free = "columns", "unit", true
	case series.CodeLooksFahrenheit:
		f.Key, f.Sub, f.Choices = "columns", "unit", texts("", "F", "C")
	case series.CodeFlowUnit:
		f.Key, f.Sub, f.Choices = "columns", "unit", texts("", unitsOf[series.Flow]...)
	case series.CodeCounterFound, series.CodeCounterFalls:
		f.Key, f.Sub = "columns", "counter"
		f.Choices = []Choice{{Value: edit.Yes(true), Name: "true"}, {Value: edit.Yes(false), Name: "false"}}
	default:
		return Fix{}, false
	}
	return f, true
}

// Apply takes a choice for the n-th [[log]] of a farm file. Of a column that is
// mapped by its quantity alone the value becomes a table; a column that is not
// mapped stays so, and ok is false.
func (f Fix) Apply(d *edit.Doc, log int, c Choice) (ok bool, err error) {
	if f.Key != "columns" {
		if c.Unset {
			return true, d.Unset(edit.LogTable(log), f.Key)
		}
		return true, d.Set(edit.LogTable(log), f.Key, c.Value)
	}
	if f.Sub == "" {
		return true, d.SetColumn(log, f.Column, c.Value)
	}
	now := d.Column(log, f.Column)
	quantity, alone := now.(string)
	table, _ := now.(map[string]any)
	if now == nil || quantity == "ignore" {
		return false, nil
	}
	pairs := []edit.Pair{{Key: "quantity", Value: edit.Text(quantity)}}
	if !alone {
		pairs = pairs[:0]
		keys := make([]string, 0, len(table))
		for k := range table {
			if k != f.Sub {
				keys = append(keys, k)
			}
		}
		slices.SortFunc(keys, func(a, b string) int { // the quantity first
			if (a == "quantity") != (b == "quantity") {
				if a == "quantity" {
					return -1
				}
				return 1
			}
			return strings.Compare(a, b)
		})
		for _, k := range keys {
			v, err := edit.Of(table[k])
			if err != nil {
				return false, err
			}
			pairs = append(pairs, edit.Pair{Key: k, Value: v})
		}
	}
	if !c.Unset {
		pairs = append(pairs, edit.Pair{Key: f.Sub, Value: c.Value})
	}
	return true, d.SetColumn(log, f.Column, edit.Table(pairs...))
}
