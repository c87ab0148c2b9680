package series

import (
	"fmt"
	"strings"
)

// Unit is a unit as read: what it measures and how a value in it becomes one
// in the base unit of its class:
//
//	base = (written + before) · factor + after
//
// The zero Unit is none.
type Unit struct {
	// Text is the unit as written.
	Text  string
	Class Class
	// Factor, Before and After: see above.
	Factor, Before, After float64
	// Ampere: a current; Factor is 1 until Current gives it volts.
	Ampere bool
	// Gallon: "gal" alone, which may be 3.785 L or 4.546 L.
	Gallon bool
	// Pulses: a count that means nothing without the litres or kWh of a pulse.
	Pulses bool
}

// Base turns a written value into the base unit.
func (u Unit) Base(written float64) float64 { return (written+u.Before)*u.Factor + u.After }

// Written turns a value in the base unit back into the unit as written.
func (u Unit) Written(base float64) float64 { return (base-u.After)/u.Factor - u.Before }

// BaseUnitOf is the unit that values of the class are kept in.
func BaseUnitOf(c Class) Unit { return Unit{Text: c.BaseUnit(), Class: c, Factor: 1} }

// Litres of a gallon. Sources: US gallon 231 in³ exactly (NIST Handbook 44,
// 2023, appendix C, from memory); imperial gallon 4.54609 L exactly (UK Weights
// and Measures Act 1985, schedule 1, from memory).
const (
	litresUSGallon       = 3.785411784
	litresImperialGallon = 4.54609
)

// barOfPSI: 1 lbf/in² in bar; lb and in exact (international yard and pound,
// 1959), standard gravity 9.80665 m/s².
const barOfPSI = 0.45359237 * 9.80665 / (0.0254 * 0.0254) / 1e5

// atmosphereBar is the standard atmosphere, taken off absolute pressures, as
// pressures are kept above it.
const atmosphereBar = 1.01325

func scaled(c Class, factor float64) Unit { return Unit{Class: c, Factor: factor} }

// plainUnits by folded spelling (see foldUnit). Mega and milli part where the
// case is kept; see ParseUnit.
var plainUnits = spellings([]spelling{
	{`c °c degc deg.c degreec degreesc celsius °celsius degreecelsius degreescelsius °с grad gradc gradcelsius`, scaled(Temperature, 1)},
	{`f °f degf deg.f degreef degreesf fahrenheit °fahrenheit degreesfahrenheit`, Unit{Class: Temperature, Before: -32, Factor: 5. / 9}},
	{`k °k degk kelvin`, Unit{Class: Temperature, Factor: 1, After: -273.15}},
	{`lpm`, scaled(Flow, 1)},
	{`lph`, scaled(Flow, 1./60)},
	{`cmh`, scaled(Flow, 1000./60)},
	{`gpm gph`, Unit{Class: Flow, Gallon: true}},
	{`w watt watts`, scaled(Power, 1e-3)},
	{`kw kilowatt kilowatts`, scaled(Power, 1)},
	{`mw megawatt`, scaled(Power, 1e3)},
	{`a amp amps ampere amperes`, Unit{Class: Power, Factor: 1, Ampere: true}},
	{`wh watthours`, scaled(Energy, 1e-3)},
	{`kwh kw·h kilowatthour kilowatthours`, scaled(Energy, 1)},
	{`mwh`, scaled(Energy, 1e3)},
	{`gwh`, scaled(Energy, 1e6)},
	{`j`, scaled(Energy, 1/3.6e6)},
	{`kj`, scaled(Energy, 1/3600.)},
	{`mj`, scaled(Energy, 1/3.6)},
	{`gj`, scaled(Energy, 1000/3.6)},
	{`bar barg bar(g)`, scaled(Pressure, 1)},
	{`bara bar(a)`, Unit{Class: Pressure, Factor: 1, After: -atmosphereBar}},
	{`mbar hpa`, scaled(Pressure, 1e-3)},
	{`pa`, scaled(Pressure, 1e-5)},
	{`kpa kpag`, scaled(Pressure, 1e-2)},
	{`mpa mpag`, scaled(Pressure, 10)},
	{`psi psig lbf/in2`, scaled(Pressure, barOfPSI)},
	{`psia`, Unit{Class: Pressure, Factor: barOfPSI, After: -atmosphereBar}},
	{`вт`, scaled(Power, 1e-3)}, // Cyrillic, as in Russia, Ukraine and Bulgaria
	{`квт`, scaled(Power, 1)},
	{`вт·ч втч`, scaled(Energy, 1e-3)},
	{`квт·ч квтч квт-ч`, scaled(Energy, 1)},
	{`мвт·ч мвтч`, scaled(Energy, 1e3)},
	{`бар`, scaled(Pressure, 1)},
	{`кпа`, scaled(Pressure, 1e-2)},
	{`% pct percent prozent`, scaled(Level, 1)},
	{`on/off 0/1 1/0 open/closed bool`, scaled(OnOff, 1)},
})

// volumeLitres by folded spelling: litres of one.
var volumeLitres = map[string]float64{
	"l": 1, "ltr": 1, "ltrs": 1, "lt": 1, "lit": 1, "liter": 1, "liters": 1, "litre": 1, "litres": 1, "dm3": 1, "л": 1, "м3": 1000,
	"ml": 1e-3, "cl": 1e-2, "dl": 0.1, "hl": 100, "m3": 1000, "cbm": 1000, "cum": 1000, "cubicmetre": 1000, "cubicmetres": 1000, "cubicmeters": 1000,
	"gal_us": litresUSGallon, "galus": litresUSGallon, "usgal": litresUSGallon, "gal(us)": litresUSGallon, "usg": litresUSGallon, "us_gal": litresUSGallon,
	"usgallons": litresUSGallon, "usgallon": litresUSGallon,
	"gal_imp": litresImperialGallon, "galimp": litresImperialGallon, "impgal": litresImperialGallon, "gal(imp)": litresImperialGallon, "gal(uk)": litresImperialGallon,
	"ukgal": litresImperialGallon, "imp_gal": litresImperialGallon, "imperialgallons": litresImperialGallon, "imp.gal": litresImperialGallon,
}

// bareGallons do not say which gallon they are.
var bareGallons = map[string]bool{"gal": true, "gals": true, "gallon": true, "gallons": true}

var pulseWords = map[string]bool{"pulse": true, "pulses": true, "imp": true, "imps": true, "impulse": true, "impulses": true, "count": true, "counts": true, "ticks": true}

// minutesOf a span of time by folded spelling.
var minutesOf = map[string]float64{
	"s": 1. / 60, "sec": 1. / 60, "second": 1. / 60, "min": 1, "mins": 1, "minute": 1, "minutes": 1, "h": 60, "hr": 60, "hrs": 60, "hour": 60, "hours": 60, "std": 60,
	"с": 1. / 60, "мин": 1, "ч": 60, "час": 60, "d": 1440, "day": 1440, "days": 1440,
}

type spelling struct {
	words string
	unit  Unit
}

func spellings(list []spelling) map[string]Unit {
	out := map[string]Unit{}
	for _, s := range list {
		for _, w := range strings.Fields(s.words) {
			out[w] = s.unit
		}
	}
	return out
}

var unitSigns = strings.NewReplacer("º", "°", "˚", "°", "℃", "°c", "℉", "°f", "³", "3", "²", "2", "^3", "3", "^2", "2", "⁻¹", "-1",
	" per ", "/", " ", "", "\u00a0", "", "\u2009", "", "\u202f", "", "∙", "·", "*", "·", "[", "", "]", "")

// foldUnit brings a unit's spelling to one form: lower case, no blanks, "/".
func foldUnit(text string) string {
	s := strings.ToLower(unitSigns.Replace(text))
	s = strings.TrimSuffix(s, ".")
	for _, span := range [...]string{"min", "h", "s"} { // "l·min-1"
		if rest, ok := strings.CutSuffix(s, "·"+span+"-1"); ok {
			return rest + "/" + span
		}
		if rest, ok := strings.CutSuffix(s, span+"-1"); ok && rest != "" {
			return rest + "/" + span
		}
	}
	return s
}

// ParseUnit reads a unit in the spellings that people write ("deg C", "℃",
// "m³/h", "lpm", "ltr"). Case does not matter, except that "mW" and "mWh" are
// no units of a farm and are not taken for mega. ok is false for a unit that
// is not read.
func ParseUnit(text string) (u Unit, ok bool) {
	s := foldUnit(text)
	if strings.HasPrefix(strings.TrimSpace(text), "mW") {
		return Unit{}, false
	}
	if u, ok = plainUnits[s]; !ok {
		u, ok = volumeUnit(s)
	}
	if !ok && pulseWords[s] {
		u, ok = Unit{Class: Volume, Factor: 1, Pulses: true}, true
	}
	u.Text = text
	return u, ok
}

// volumeUnit reads a volume or a volume per time.
func volumeUnit(s string) (Unit, bool) {
	volume, span, rate := strings.Cut(s, "/")
	perMin := 1.0
	class := Volume
	if rate {
		minutes, ok := minutesOf[span]
		if !ok {
			return Unit{}, false
		}
		class, perMin = Flow, minutes
	}
	if bareGallons[volume] {
		return Unit{Class: class, Gallon: true}, true
	}
	if litres, ok := volumeLitres[volume]; ok {
		return scaled(class, litres/perMin), true
	}
	return Unit{}, false
}

// Current gives a current its power:
//
//	P = U·I·cos φ (one phase), √3·U·I·cos φ (three)
//
// P in kW, U the voltage between conductors in V (three phases: between two of
// them), I in A.
func (u Unit) Current(volts float64, phases int, powerFactor float64) (Unit, error) {
	if !u.Ampere {
		return u, nil
	}
	if volts <= 0 {
		return u, fmt.Errorf("a current without volts")
	}
	if powerFactor <= 0 {
		powerFactor = 1
	}
	u.Factor = volts * powerFactor / 1000
	if phases == 3 {
		u.Factor *= sqrt3
	}
	return u, nil
}

const sqrt3 = 1.7320508075688772
