package display

import (
	"strings"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
)

// unit is how a unit of the figures is shown to one reader: value × scale + shift.
type unit struct {
	name         string
	scale, shift float64
}

// unitOf converts temperatures and amounts of water; what is the same for every
// reader comes back as it was. A coefficient per kelvin stays one.
func (c Choice) unitOf(name string) unit {
	switch name {
	case "degC", "°C", "C":
		if c.Temp == "F" {
			return unit{"°F", 1.8, 32}
		}
		return unit{"degC", 1, 0}
	case "K":
		if c.Temp == "F" {
			return unit{"°F", 1.8, 0}
		}
	case "L":
		return unit{c.VolumeUnit(), c.VolumeValue(1), 0}
	case "L/min":
		return unit{c.VolumeUnit() + "/min", c.VolumeValue(1), 0}
	}
	return unit{name, 1, 0}
}

// Convert brings a number of a unit of the figures into the reader's, and names
// that unit as it is printed.
func (c Choice) Convert(v float64, name string) (float64, string) {
	u := c.unitOf(name)
	return v*u.scale + u.shift, doubt.ShowUnit(u.name)
}

// FigureText is a figure with its interval in the reader's units, "" where it is
// not known. In the figure's own unit it is the string that was printed;
// converted, value and interval are rounded anew by the same rule (doubt.Show).
func (c Choice) FigureText(f season.Figure) string {
	if f.Shown == "" || f.Value != f.Value {
		return ""
	}
	u := c.unitOf(f.Unit)
	text := f.Shown
	if u.scale != 1 || u.shift != 0 {
		text = doubt.Show(f.Value*u.scale+u.shift, f.Low*u.scale+u.shift, f.High*u.scale+u.shift, u.name)
	}
	return c.Shown(unbroken(text))
}

// unbroken keeps value, interval and unit on one line.
func unbroken(s string) string {
	at := strings.LastIndexByte(s, ' ')
	if at > 0 && !strings.HasSuffix(s, ")") {
		s = s[:at] + "\u00a0" + s[at+1:]
	}
	return strings.NewReplacer(" ± ", "\u00a0±\u00a0", " (+", "\u00a0(+").Replace(s)
}
