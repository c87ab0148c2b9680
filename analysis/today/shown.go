package today

import (
	"math"
	"strconv"
	"strings"
)

// Shown is the number as text views in English print it: temperatures to a tenth
// of a degree, shares in per cent, kWh and litres whole where they are
// ten and more. It is "" where the value is not known.
func (n Number) Shown() string { return shown(n.Value, n.Key, n.Unit) }

// Shown is the range as text views in English print it, "61.2 % to 66.0 %".
func (u *Usual) Shown(key, unit string) string {
	return shown(u.Low, key, unit) + " to " + shown(u.High, key, unit)
}

func shown(v float64, key, unit string) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	digits, sign := 0, ""
	switch {
	case key == "effectiveness" || key == "plate_effectiveness" || key == "rise_share":
		v, digits, sign = 100*v, 1, " %"
	case key == "caught_per_kwh":
		digits, sign = 2, " kWh per kWh"
	case unit == "degC":
		digits, sign = 1, " °C"
	case unit == "K":
		digits, sign = 1, " K"
	case unit == "1":
		if v != math.Trunc(v) {
			digits = 1
		}
	default: // W/K, kWh, L, h
		if math.Abs(v) < 10 {
			digits = 1
		}
		sign = " " + unit
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text + sign
}
