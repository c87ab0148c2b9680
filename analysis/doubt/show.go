package doubt

import (
	"math"
	"strconv"
	"strings"
)

// Confidence is the coverage probability of every printed interval.
const Confidence = 0.95

const (
	thin  = "\u202f" // narrow no-break space between groups of digits
	minus = "\u2212"

	// twoDigitsBelow: an uncertainty whose leading digits are below 50 shows
	// two of them, else one. So the rounded one is never far from the true.
	twoDigitsBelow = 5
	// mayDrop: an uncertainty is rounded up unless rounding to the nearest
	// lowers it by less than this: 10.47 → 11 but 28.05 → 28.
	mayDrop = 0.04
	// skewed: above this ratio of the two sides both are printed.
	skewed = 1.25
	// NotKnown is what Show prints for what the data can't give.
	NotKnown = "not known"
)

// Make fills in a figure. A NaN or infinite number is not known; of a figure
// with one known end the value is that end; without a value there are no
// ends.
func Make(value, low, high float64, unit string, basis Basis, n int, coverage float64, why string) Figure {
	value, low, high = clean(value, low, high)
	f := Figure{Value: value, Low: low, High: high, Unit: unit, Confidence: Confidence, Basis: basis,
		N: n, Coverage: coverage, Shown: Show(value, low, high, unit), Why: why}
	if math.IsNaN(f.Value) && f.Why == "" {
		f.Why = "the readings do not give it"
	}
	return f
}

func clean(value, low, high float64) (v, l, h float64) {
	for _, p := range []*float64{&value, &low, &high} {
		if math.IsInf(*p, 0) {
			*p = math.NaN()
		}
	}
	noLow, noHigh := math.IsNaN(low), math.IsNaN(high)
	switch {
	case math.IsNaN(value) && noLow == noHigh:
		return value, math.NaN(), math.NaN()
	case noLow && !noHigh:
		return high, low, high
	case noHigh && !noLow:
		return low, low, high
	case low > high:
		return value, high, low
	}
	return value, low, high
}

// Show is the string that every view prints, rounded by JCGM 100:2008 7.2.6:
// the uncertainty to two significant digits at most, the value to match.
//
//	1 240 ± 90 kWh          both sides alike
//	1 240 (+110/−80) kWh    one side more than a quarter larger
//	980 to 1 100 kWh        value outside its own interval
//	at least 850 W/K        known from one side (rounded to the weaker claim)
//	1 240 kWh (interval not known)
//	not known
//
// Digits are grouped by U+202F, the minus sign is U+2212.
func Show(value, low, high float64, unit string) string {
	value, low, high = clean(value, low, high)
	noLow, noHigh := math.IsNaN(low), math.IsNaN(high)
	switch {
	case math.IsNaN(value):
		return NotKnown
	case noLow && noHigh:
		return withUnit(digits(value, placeOf(value, 3)), unit) + " (interval not known)"
	case noHigh:
		return "at least " + withUnit(digits(bound(low, math.Floor), placeOf(low, 2)), unit)
	case noLow:
		return "at most " + withUnit(digits(bound(high, math.Ceil), placeOf(high, 2)), unit)
	}
	return withUnit(showInterval(value, low, high), unit)
}

func showInterval(value, low, high float64) string {
	up, down := high-value, value-low
	switch {
	case up == 0 && down == 0:
		return digits(value, placeOf(value, 4))
	case up < 0 || down < 0:
		_, place := roundUp((high - low) / 2)
		return digits(low, place) + " to " + digits(high, place)
	case math.Max(up, down) <= skewed*math.Min(up, down):
		u, place := roundUp(math.Max(up, down))
		return digits(value, place) + " ± " + digits(u, place)
	}
	u, upPlace := roundUp(up)
	d, downPlace := roundUp(down)
	place := min(upPlace, downPlace)
	switch { // a side of nothing has no last digit
	case up == 0:
		place, upPlace = downPlace, downPlace
	case down == 0:
		place, downPlace = upPlace, upPlace
	}
	return digits(value, place) + " (+" + digits(u, upPlace) + "/" + minus + digits(d, downPlace) + ")"
}

// roundUp rounds an uncertainty as Show prints it and gives the power of ten
// of its last digit.
func roundUp(u float64) (rounded float64, place int) {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0, 0
	}
	n := 1
	if lead := u / math.Pow10(placeOf(u, 1)); lead < twoDigitsBelow {
		n = 2
	}
	place = placeOf(u, n)
	scaled := u / math.Pow10(place)
	whole := math.Round(scaled)
	if scaled-whole > mayDrop*scaled {
		whole++
	}
	return whole * math.Pow10(place), place
}

// placeOf is the power of ten of the n-th significant digit.
func placeOf(v float64, n int) int {
	v = math.Abs(v)
	if v == 0 {
		return 0
	}
	e := int(math.Floor(math.Log10(v)))
	if v >= math.Pow10(e+1) { // Log10 of a power of ten can fall short
		e++
	}
	return e - n + 1
}

// bound rounds to two significant digits by f, so that the claim made is the
// weaker one.
func bound(v float64, f func(float64) float64) float64 {
	unit := math.Pow10(placeOf(v, 2))
	near := math.Round(v / unit)
	if math.Abs(v/unit-near) < 1e-9 { // 850 must not become 840
		return near * unit
	}
	return f(v/unit) * unit
}

// digits prints a number to the power of ten given.
func digits(v float64, place int) string {
	if place > 0 {
		v = math.Round(v/math.Pow10(place)) * math.Pow10(place)
	}
	text := strconv.FormatFloat(math.Abs(v), 'f', max(0, -place), 64)
	whole, fraction, found := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + thin + whole[i:]
	}
	if found {
		whole += "." + fraction
	}
	if v < 0 && strings.Trim(text, "0.") != "" {
		return minus + whole
	}
	return whole
}

func withUnit(number, unit string) string {
	if unit = ShowUnit(unit); unit == "" {
		return number
	}
	return number + " " + unit
}

// ShowUnit is a unit as it is printed: degC → °C, m2 → m², 1 → nothing.
func ShowUnit(unit string) string {
	if unit == "1" {
		return ""
	}
	return strings.NewReplacer("degC", "°C", "m2", "m²", "m3", "m³").Replace(unit)
}

// Plain prints a number as it was given, digits grouped: 6060.5 → "6 060.5".
func Plain(v float64, unit string) string {
	text := strconv.FormatFloat(v, 'f', -1, 64)
	_, fraction, _ := strings.Cut(text, ".")
	return withUnit(digits(v, -len(fraction)), unit)
}

// Beside prints v to the last digit that Show prints of a figure, rounded by
// math.Floor, math.Round or math.Ceil.
func Beside(v float64, f Figure, round func(float64) float64) string {
	_, place := roundUp(math.Max(f.High-f.Value, f.Value-f.Low))
	step := math.Pow10(place)
	return withUnit(digits(round(v/step)*step, place), f.Unit)
}
