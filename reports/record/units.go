package record

// unit is a unit of measure in two published vocabularies: QUDT
// (http://qudt.org/vocab/unit/, names of release 2.1) and UCUM (case sensitive
// codes). Both written from memory, for want of a copy here.
type unit struct{ qudt, ucum string }

const qudtUnits = "http://qudt.org/vocab/unit/"

// units are those of every column, by the word that stands in tables and
// dictionary. A test fails on a column whose unit is not here.
var units = map[string]unit{
	"degC":  {"DEG_C", "Cel"},
	"°C":    {"DEG_C", "Cel"},
	"K":     {"K", "K"},
	"L/min": {"L-PER-MIN", "L/min"},
	"L":     {"L", "L"},
	"kW":    {"KiloW", "kW"},
	"kWh":   {"KiloW-HR", "kW.h"},
	"bar":   {"BAR", "bar"},
	"%":     {"PERCENT", "%"},
	"0/1":   {"UNITLESS", "1"}, // share of the cell in which it was on
}
