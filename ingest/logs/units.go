package logs

import (
	"fmt"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// columnUnits remembers what has been said of a column's unit.
type columnUnits struct {
	contradicted, refused bool
}

// scale is how the written numbers of one column of one table become base
// values: base = unit((written · scale) + offset).
type scale struct {
	unit          series.Unit
	scale, offset float64
	// open: neither farm file nor header gives a unit; a cell may.
	open bool
}

func (s *scale) base(written float64) float64 { return s.unit.Base(written*s.scale + s.offset) }

// plain: a number is its base value.
func (s *scale) plain() bool {
	return s.unit.Factor == 1 && s.unit.Before == 0 && s.unit.After == 0 && s.scale == 1 && s.offset == 0
}

func (s *scale) written(base float64) float64 { return (s.unit.Written(base) - s.offset) / s.scale }

// scaleOf settles the unit of a column in one table: the farm file's, else the
// header's or unit row's, else (open) the cells' or the base unit. A unit that
// cannot be used is a fault.
func (l *Log) scaleOf(t *Table, c *Column, col int) (scale, bool) {
	s := scale{unit: series.BaseUnitOf(c.Info.Class), scale: c.Farm.Scale, offset: c.Farm.Offset}
	if s.scale == 0 {
		s.scale = 1
	}
	if c.Info.Class == series.OnOff {
		return s, true
	}
	written := t.Units[col]
	if l.Farm.TagColumn != "" {
		if written = celltext.HeaderUnit(c.Farm.Header); written == "" {
			written = t.Units[t.value]
		}
	}
	text, from := c.Farm.Unit, fmt.Sprintf("farm.toml, line %d", c.Farm.Line)
	if text == "" {
		text, from = written, t.Place(t.HeaderLine, col)
	} else {
		l.contradiction(t, c, written)
	}
	if text == "" {
		s.open = true
		return s, true
	}
	u, ok := l.usable(t, c, text, from)
	s.unit = u
	return s, ok
}

// usable reads a unit and holds it against the quantity.
func (l *Log) usable(t *Table, c *Column, text, where string) (series.Unit, bool) {
	u, known := series.ParseUnit(text)
	class := c.Info.Class
	key := fmt.Sprintf("unit on %s in [log.columns] (farm.toml, line %d)", series.Quoted(c.Farm.Header), c.Farm.Line)
	refuse := func(want, do string) (series.Unit, bool) {
		if !c.units.refused {
			c.units.refused = true
			l.Found.Fault(t.Name, where, fmt.Sprintf("the unit %s of %s", series.Quoted(text), series.Quoted(c.Farm.Header)), want, do)
		}
		return series.Unit{}, false
	}
	switch {
	case u.Pulses && (class == series.Volume || class == series.Energy):
		if c.Farm.Scale == 1 || c.Farm.Scale == 0 {
			return refuse("how much one pulse stands for", fmt.Sprintf("add scale = … (%s a pulse) and %s = %q", class.BaseUnit(), key, class.BaseUnit()))
		}
		return series.Unit{Text: text, Class: class, Factor: 1}, true
	case !known:
		return refuse("a unit for "+c.Farm.Quantity+" that is read: "+unitsOf(class), "say which it is by "+key)
	case u.Gallon && (class == series.Volume || class == series.Flow):
		return refuse("which gallon: the US gallon is 3.785 L, the imperial 4.546 L", key+": gal_us or gal_imp"+perTime(class, text))
	case u.Class != class:
		return refuse("a unit for "+c.Farm.Quantity+": "+unitsOf(class), meant(c, u.Class, key))
	case u.Ampere:
		v, err := u.Current(c.Farm.Volts, c.Farm.Phases, c.Farm.PowerFactor)
		if err != nil {
			return refuse("volts, phases and power_factor beside a current", fmt.Sprintf("add volts = 400, phases = 3, power_factor = 0.85, as they are, to %s (farm.toml, line %d)", series.Quoted(c.Farm.Header), c.Farm.Line))
		}
		c.Amps = true
		return v, true
	}
	return u, true
}

func perTime(class series.Class, text string) string {
	if class != series.Flow {
		return ""
	}
	if strings.HasSuffix(strings.ToLower(text), "h") {
		return ", with /h"
	}
	return ", with /min"
}

// unitsOf lists the units of a class, for messages.
func unitsOf(c series.Class) string {
	return [...]string{"C, F, K", "L/min, L/h, m3/h, gal_us/min, gal_imp/min", "L, m3, gal_us, gal_imp", "W, kW, A", "Wh, kWh, MWh, MJ", "bar, kPa, psi", "%", "0/1"}[c]
}

// meant suggests the quantity that fits a unit of another class.
func meant(c *Column, class series.Class, key string) string {
	endings := map[series.Class]string{series.Flow: "_flow", series.Volume: "_volume", series.Power: "_power", series.Energy: "_energy"}
	q := c.Farm.Quantity
	if k := strings.LastIndexByte(q, '_'); k > 0 {
		if end, ok := endings[class]; ok {
			if _, ok := series.Lookup(series.Quantity(q[:k] + end)); ok {
				return fmt.Sprintf("did you mean %q? Else correct %s", q[:k]+end, key)
			}
		}
	}
	return "see whether the right column is named, or correct " + key
}

// contradiction lists a header that names another unit of the same kind than
// the farm file.
func (l *Log) contradiction(t *Table, c *Column, written string) {
	a, okA := series.ParseUnit(c.Farm.Unit)
	b, okB := series.ParseUnit(written)
	if written == "" || !okA || !okB || c.units.contradicted || b.Pulses || b.Gallon {
		return
	}
	if a.Class == b.Class && a.Factor == b.Factor && a.Before == b.Before && a.After == b.After {
		return
	}
	c.units.contradicted = true
	l.Found.Problem(series.CodeUnitContradiction, series.Doubt, t.Name, t.Place(t.HeaderLine, -1), "%s: the file says %s, farm.toml line %d says %s, which is used",
		series.Quoted(c.Farm.Header), series.Quoted(written), c.Farm.Line, series.Quoted(c.Farm.Unit))
}
