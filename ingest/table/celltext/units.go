package celltext

import (
	"slices"
	"strings"
)

// unitWords are the unit texts that this package tells from names, lower
// case and without blanks. What they mean is the loader's business.
var unitWords = wordSet(`° °c c degc °celsius celsius gradc degreesc degreescelsius deg °f f degf fahrenheit
 degreesf °k k kelvin l ltr lt liter liters litre litres ml dl hl m³ m3 cbm gal gals gallon gallons gal_us gal_imp
 usgal impgal gal(us) gal(imp) gpm lpm lph gph cfm w kw mw watt watts wh kwh mwh gwh j kj mj gj btu a ma amp amps
 ampere v mv volt volts va kva var kvar hz khz bar barg bara mbar pa kpa hpa mpa psi psig psia inhg mmhg atm % %rh
 pct percent ‰ s sec secs second seconds ms min mins minute minutes h hr hrs hour hours d day days mm cm m km in
 inch inches ft g kg mg t tonne tonnes lb lbs ppm ppb lx lux µs imp imps pulse pulses count counts rpm db dbm
 °с л м³ м3 вт квт вт·ч втч квт·ч квтч квт-ч мвт·ч мвтч бар кпа с мин ч час on/off 0/1 1/0 mol %rf %r.f. %r.h. %hr %hum mn degt knots kt kts mph kmh
 kbtu mbtu mmbtu btuh mbh therm therms vdc vac mvdc mvac adc aac madc ohm ohms kohm ω kω inwc in.wc in.w.c. inwg in.wg in.w.g. iwc inh2o mmwc mmh2o ftwc
 cfh scfm acfm bhp hp °fd °cd deg.c deg.f kilowatt kilowatts kilowatthour kilowatthours watthours`)

// bareUnits may end a header without brackets; shorter ones are as often the
// name of a place ("Tank C") or a word ("Temp min", "Loop in").
var bareUnits = wordSet(`°c °f degc degf gal_us gal_imp gpm lpm lph kw kwh mwh mj wh bar mbar kpa psi % °celsius
 celsius fahrenheit litres liters m³ m3 gal hpa gj °с квт квт·ч квтч м³ м3 бар кпа`)

func wordSet(s string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(s) {
		set[w] = true
	}
	return set
}

var unitSpelling = strings.NewReplacer("º", "°", "˚", "°", "℃", "°c", "℉", "°f", "μ", "µ", " ", "", "\u00a0", "",
	"\u2009", "", "\u202f", "", "*", "·")

func foldUnit(s string) string { return strings.ToLower(unitSpelling.Replace(s)) }

// IsUnit tells whether s reads as a unit: known words with powers, joined by
// "/" or "·".
func IsUnit(s string) bool {
	if s == "" || len(s) > 24 {
		return false
	}
	f := foldUnit(s)
	if len(s) == 1 { // "T" and "H" are names of columns
		return strings.Contains("CFKcfkLlAVWmshJgtd%", s)
	}
	if unitWords[f] {
		return true
	}
	for _, part := range strings.FieldsFunc(f, func(r rune) bool { return r == '/' || r == '·' }) {
		if !unitWords[part] && !unitWords[strings.TrimRight(part, "^-23²³⁻¹1")] {
			return false
		}
	}
	return !strings.HasPrefix(f, "/") && !strings.HasSuffix(f, "/") && !strings.Contains(f, "//")
}

// fullWidth are the brackets and the sign of Eastern typesetting.
var fullWidth = strings.NewReplacer("（", "(", "）", ")", "［", "[", "］", "]", "％", "%", "／", "/")

// encodedTwice are the signs of units as they look where a text was encoded
// twice.
var encodedTwice = strings.NewReplacer("Â°", "°", "Âº", "°", "Â³", "³", "Â²", "²", "Âµ", "µ", "Î¼", "µ", "Â·", "·", "â„ƒ", "°C")

// Once is a text with the signs of units encoded once, where they were twice.
func Once(s string) string {
	if strings.Contains(s, "Â") || strings.Contains(s, "Î¼") || strings.Contains(s, "â„ƒ") {
		return encodedTwice.Replace(s)
	}
	return s
}

// HeaderUnit finds the unit that a header names: in brackets, behind a
// stroke, or as its last word. "" = none.
func HeaderUnit(header string) string {
	header = Once(header)
	if strings.Contains(header, "\uff08") || strings.Contains(header, "\uff05") || strings.Contains(header, "\uff3b") {
		header = fullWidth.Replace(header)
	}
	if i := strings.LastIndex(strings.ToLower(header), "gal"); i > 0 && IsUnit(header[i:]) && letters(header[i-1:i]) == 0 {
		return header[i:] // "Water gal (US)": which gallon stands behind the word
	}
	if u := bracketUnit(header); u != "" {
		return u
	}
	if i := strings.LastIndexAny(header, " ,"); i > 0 {
		if u := Trim(header[i+1:]); isBareUnit(u) || isNamedUnit(u, header[:i]) {
			return u
		}
		if j := strings.LastIndexAny(Trim(header[:i]), " ,"); j > 0 {
			if u := Trim(header[j+1:]); isBareUnit(u) { // "Loop deg C"
				return u
			}
		}
	}
	if u := Trim(header[strings.LastIndexAny(header, " ,_")+1:]); strings.IndexByte(u, '/') > 0 && IsUnit(u) && len(u) < len(header) {
		return u // "wind_m/s": the stroke is the unit's own
	}
	if i := strings.IndexByte(header, '/'); i > 0 {
		if u := Trim(header[i+1:]); IsUnit(u) && !IsUnit(header) {
			return u
		}
	}
	if u := underscoreUnit(header); u != "" {
		return u
	}
	if before := beforeBracket(header); before != "" {
		return HeaderUnit(before)
	}
	if isBareUnit(header) {
		return header
	}
	return leadingUnit(header)
}

// tariffWords may stand behind the unit that a meter's column is named by.
var tariffWords = wordSet(`total totals sum summe gesamt totaal import export bezug lieferung day night tag nacht dag ht nt avg average mean mittel`)

// leadingUnit reads names that start with their unit: "kWh total", "kW avg".
// Only before a word that says which of several: "kWh price" is no kWh.
func leadingUnit(header string) string {
	first, rest, two := strings.Cut(Trim(header), " ")
	if two && isBareUnit(first) && first != "%" && tariffWords[strings.ToLower(Trim(rest))] {
		return first
	}
	return ""
}

// beforeBracket is a header without the remark in brackets at its end: "Temp,
// °C (serial 1234)".
func beforeBracket(header string) string {
	if n := len(header); n > 0 && header[n-1] == ')' {
		if i := strings.IndexByte(header, '('); i > 0 {
			return Trim(header[:i])
		}
	}
	return ""
}

func bracketUnit(header string) string {
	for end := len(header); ; {
		c := strings.LastIndexAny(header[:end], ")]}")
		if c < 0 {
			return ""
		}
		open := strings.LastIndexByte(header[:c], "([{"[strings.IndexByte(")]}", header[c])])
		if open < 0 {
			return ""
		}
		if u := Trim(header[open+1 : c]); IsUnit(u) || IsMoney(u) {
			return u
		}
		end = open
	}
}

func isBareUnit(s string) bool {
	if s == "" || len(s) > 16 {
		return false
	}
	f := foldUnit(s)
	return bareUnits[f] || strings.ContainsAny(f, "/°%") && IsUnit(s) && len(f) > 1
}

// underscoreUnit reads names made by programs: "loop_flow_l_min",
// "tank_temp_C", "power_kW".
func underscoreUnit(header string) string {
	i := strings.LastIndexByte(header, '_')
	if i <= 0 {
		return ""
	}
	last := header[i+1:]
	if j := strings.LastIndexByte(header[:i], '_'); j > 0 {
		u := header[j+1:i] + "/" + last
		if (last == "min" || last == "h" || last == "s") && IsUnit(u) {
			return u
		}
	}
	if isNamedUnit(last, header[:i]) || isBareUnit(last) {
		return last
	}
	return ""
}

// isNamedUnit tells whether a header's last word is a unit that only a name
// before it makes one: C, F and K behind a temperature ("tank_temp_C", "temp
// c"), K behind a difference, L behind a volume, mm behind rain.
func isNamedUnit(last, before string) bool {
	before = strings.ToLower(before)
	switch last {
	case "C", "F", "K", "c", "f", "k":
		return strings.Contains(before, "temp") || last == "K" && IsDifference(before)
	case "L", "l":
		return strings.HasSuffix(Trim(before), "volume") || strings.HasSuffix(Trim(before), "volumen")
	case "mm":
		return slices.ContainsFunc(rainWords, func(w string) bool { return strings.Contains(before, w) })
	}
	return false
}

var rainWords = strings.Fields("rain precip niederschlag regen pluie neerslag nederbörd lluvia opad")

// differenceWords name a difference of two temperatures, which is no
// temperature: "dT [K]" may be 5 (common practice, no source).
var differenceWords = wordSet(`dt δt ∆t deltat difference diff differenz temperaturdifferenz spreizung spread écart ecart diferencia
 differenza verschil różnica roznica skillnad hysteresis hysterese hystérésis superheat subcooling überhitzung unterkühlung`)

// IsDifference tells whether a header speaks of a temperature difference.
func IsDifference(header string) bool {
	words := strings.FieldsFunc(strings.ToLower(header), func(r rune) bool { return strings.ContainsRune(" _-/.,;:()[]{}", r) })
	for i, w := range words {
		if differenceWords[w] || w == "delta" && i+1 < len(words) && words[i+1][0] == 't' { // "Delta" alone may be a place
			return true
		}
	}
	return false
}

// HeaderUnits is HeaderUnit for the headers of one table: the last letter of
// "temp c" is no unit beside "temp a" and "temp b".
func HeaderUnits(headers []string) []string {
	units := make([]string, len(headers))
	for i, h := range headers {
		if units[i] = HeaderUnit(h); len(units[i]) == 1 && OneOfLetters(h, headers) {
			units[i] = ""
		}
	}
	return units
}

// OneOfLetters tells whether a header ends in a letter of its own, as others of
// the same name end in other letters that are no unit.
func OneOfLetters(header string, headers []string) bool {
	if len(header) < 2 {
		return false
	}
	stem := header[:len(header)-1]
	for _, o := range headers {
		if o != header && len(o) == len(header) && strings.EqualFold(o[:len(stem)], stem) && letters(o[len(stem):]) == 1 && !strings.Contains("CFKcfk", o[len(stem):]) {
			return true
		}
	}
	return false
}

// IsUnitCell is IsUnit for a cell of a unit row, where brackets, dashes and
// stamp patterns stand too.
func IsUnitCell(s string) bool {
	s = StripBrackets(s)
	return IsUnit(s) || IsMissing(s) || isStampPattern(s)
}

func StripBrackets(s string) string {
	s = Once(Trim(s))
	if len(s) >= 2 && strings.IndexByte("([{", s[0]) >= 0 && strings.IndexByte(")]}", s[len(s)-1]) >= 0 {
		return Trim(s[1 : len(s)-1])
	}
	return s
}

// isStampPattern knows "DD.MM.YYYY hh:mm", "UTC" and "local time".
func isStampPattern(s string) bool {
	switch strings.ToLower(s) {
	case "utc", "gmt", "local", "local time", "iso", "iso8601":
		return true
	}
	return len(s) >= 4 && strings.Trim(s, "dDmMyYhHsSTtjJaA:./-,' ") == "" && strings.ContainsAny(s, ":./-")
}

// IsStampPart knows what a unit row has under the names of stamp and running
// number.
func IsStampPart(s string) bool {
	switch strings.ToLower(strings.TrimRight(strings.TrimLeft(s, "#"), ".")) {
	case "ts", "rn", "yr", "mo", "dy", "hr", "mn", "yy", "yyyy", "no", "nr", "n", "#", "date", "time":
		return true
	}
	return false
}

// IsUnitLead is what may stand in the first column of a unit row.
func IsUnitLead(s string) bool {
	switch strings.ToLower(strings.TrimRight(s, ":")) {
	case "unit", "units", "einheit", "einheiten", "unité", "unidad", "eenheid":
		return true
	}
	return false
}
