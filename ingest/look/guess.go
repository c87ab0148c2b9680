package look

import (
	"fmt"
	"slices"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// guessed is the quantity that a column may hold, and why. quantity is ""
// where nothing speaks for one.
type guessed struct {
	quantity, place, because string
	class                    series.Class
	known                    bool // class is
	// unit is what to state where the file states none.
	unit string
}

// guess names the quantity by unit, words, behaviour and range. Words of the
// file's name stand in where the header names no part of the plant.
func guess(name string, c *Column, t *tally, context string) guessed {
	h := newHeader(name)
	g := classOf(h, c, t)
	if !g.known && c.letter != "" && c.Kind == Instant {
		g = guessed{class: series.Temperature, known: true, because: "ends in " + c.letter + ", as of °" + c.letter}
	}
	if !g.known {
		g.because = noClass(name, c)
		return g
	}
	if h.any(wordsHumidity) && (g.class == series.Level || g.class == series.Temperature && c.Unit == "") {
		g.because, g.known = "a humidity: not used by a farm", false
		return g
	}
	q, words := subject(h, g.class)
	if q == "" {
		if from := newHeader(context); from.any(parts...) {
			both := header{tokens: append(slices.Clone(from.tokens), h.tokens...)}
			if q, words = subject(both, g.class); q != "" {
				words += ", in the file's name"
			}
		}
	}
	g.quantity = q
	if c.Unit == "" && g.class == series.Temperature && c.letter != "" {
		g.unit = c.letter
	}
	if q == "" {
		g.because = filledJoin(g.because, "nothing says of what")
		return g
	}
	g.because = filledJoin(g.because, words)
	if info, _ := series.Lookup(series.Quantity(q)); info.SeparatePlaces {
		g.place = place(h)
	}
	if c.Unit == "" && g.unit == "" && g.class != series.OnOff {
		g.unit = assumedUnit(g.class, t)
	}
	return g
}

func filledJoin(parts ...string) string { return strings.Join(filled(parts), "; ") }

func noClass(name string, c *Column) string {
	switch {
	case c.Unit != "":
		return fmt.Sprintf("%s is no unit of a quantity that is used", series.Quoted(c.Unit))
	case name == "":
		return "no header, no unit"
	}
	return "no unit, and no word of a known quantity"
}

// parts are the words for parts of a plant: where a file's name holds one, it
// speaks for columns that name none.
var parts = [][]string{wordsLoop, wordsBed, wordsSlab, wordsPlate, wordsMilk, wordsTank, wordsWash, wordsCompressor, wordsElement, wordsSolar}

// classOf settles what is measured: by the unit, else by words and behaviour.
func classOf(h header, c *Column, t *tally) guessed {
	if c.Kind == State {
		return guessed{class: series.OnOff, known: true}
	}
	if c.Unit != "" {
		u, ok := series.ParseUnit(c.Unit)
		if !ok {
			return guessed{}
		}
		if u.Pulses && h.any(wordsEnergy, wordsPower) {
			u.Class = series.Energy
		}
		return guessed{class: u.Class, known: true, because: "unit " + c.Unit}
	}
	for _, l := range [...]struct {
		words []string
		class series.Class
	}{{wordsTemperature, series.Temperature}, {wordsEnergy, series.Energy}, {wordsPower, series.Power}, {wordsPressure, series.Pressure},
		{wordsFlow, series.Flow}, {wordsVolume, series.Volume}, {wordsLevel, series.Level}} {
		if w := h.has(l.words); w != "" && fits(l.class, t) {
			if l.class == series.Flow && h.any(wordsTemperature, wordsReturn) || l.class == series.Flow && c.Kind == Counter {
				continue
			}
			return guessed{class: l.class, known: true, because: fmt.Sprintf("the word %q", w)}
		}
	}
	return byBehaviour(h, c, t)
}

// byBehaviour: what only rises is a total; what names a part of the plant and
// stays between -10 and 100 is most likely a temperature.
func byBehaviour(h header, c *Column, t *tally) guessed {
	switch {
	case t.plausible == 0:
	case c.Kind == Counter && h.any(wordsCompressor, wordsElement, wordsSolar, wordsImport, wordsExport):
		return guessed{class: series.Energy, known: true, because: "it only rises, as a meter does"}
	case c.Kind == Counter && h.any(wordsLoop, wordsPlate, wordsWash, wordsMilk):
		return guessed{class: series.Volume, known: true, because: "it only rises, as a meter does"}
	case h.any(wordsLoop, wordsBed, wordsSlab, wordsPlate, wordsMilk, wordsTank, wordsWash, wordsMains, wordsAir, wordsOutdoor, wordsGas) &&
		t.least >= -30 && t.most <= 110 && !h.any(wordsHumidity) && c.Kind != Counter:
		return guessed{class: series.Temperature, known: true, because: fmt.Sprintf("%g to %g, as temperatures in °C are", t.least, t.most)}
	}
	return guessed{}
}

// fits tells whether the readings can be of the class at all.
func fits(c series.Class, t *tally) bool {
	if t.plausible == 0 {
		return true
	}
	switch c {
	case series.Flow, series.Volume, series.Energy:
		return t.least >= -1
	case series.Level:
		return t.least >= -1 && t.most <= 110
	}
	return true
}

// assumedUnit is the unit to state, by the range of what was read.
func assumedUnit(c series.Class, t *tally) string {
	switch {
	case c == series.Temperature && t.plausible > 0 && t.most > 110:
		return "F"
	case c == series.Temperature:
		return "C"
	}
	return c.BaseUnit()
}

// subject names the quantity of a class by the words for a part of the plant.
func subject(h header, c series.Class) (quantity, words string) {
	var rules []rule
	switch c {
	case series.Temperature:
		rules = temperatureRules
	case series.Flow:
		rules = flowRules
	case series.Volume:
		rules = volumeRules
	case series.Power, series.Energy:
		rules = powerRules
	case series.Pressure:
		rules = pressureRules
	case series.Level:
		rules = []rule{{"ice_level", [][]string{wordsIce}}, {"tank_level", [][]string{wordsTank}}}
	case series.OnOff:
		rules = stateRules
	}
	for _, r := range rules {
		if said := r.said(h); said != "" {
			q := r.quantity
			if c == series.Energy {
				q = strings.Replace(q, "_power", "_energy", 1)
			}
			return q, said
		}
	}
	return "", ""
}

// rule names a quantity where the header holds a word of each list.
type rule struct {
	quantity string
	of       [][]string
}

func (r rule) said(h header) string {
	var said []string
	for _, l := range r.of {
		w := h.has(l)
		if w == "" {
			return ""
		}
		said = append(said, fmt.Sprintf("%q", w))
	}
	if len(said) == 1 {
		return "the word " + said[0]
	}
	return "the words " + strings.Join(said, " and ")
}

// The rules in the order in which they are tried: the narrower first.
var (
	temperatureRules = []rule{
		{"element_setpoint", [][]string{wordsSetpoint, wordsElement}}, {"tank_setpoint", [][]string{wordsSetpoint}},
		{"ice_water_temp", [][]string{wordsIce}},
		{"milk_in_temp", [][]string{wordsMilk, wordsIn}}, {"milk_out_temp", [][]string{wordsMilk, wordsOut}}, {"milk_out_temp", [][]string{wordsMilk, wordsTank}},
		{"gas_in_temp", [][]string{wordsGas, wordsIn}}, {"gas_out_temp", [][]string{wordsGas, wordsOut}}, {"gas_in_temp", [][]string{wordsGas, list("hot heiss chaud caliente caldo heet discharge")}},
		{"plate_in_temp", [][]string{wordsPlate, wordsIn}}, {"plate_out_temp", [][]string{wordsPlate, wordsOut}},
		{"loop_in_temp", [][]string{wordsLoop, wordsIn}}, {"loop_out_temp", [][]string{wordsLoop, wordsOut}}, {"loop_out_temp", [][]string{wordsLoop, wordsSupply}},
		{"slab_temp", [][]string{wordsSlab}}, {"bed_temp", [][]string{wordsBed}},
		{"wash_temp", [][]string{wordsWash}}, {"mains_temp", [][]string{wordsMains}}, {"tank_temp", [][]string{wordsTank}},
		{"hot_use_temp", [][]string{wordsHotUse}}, {"outdoor_temp", [][]string{wordsOutdoor}}, {"air_temp", [][]string{wordsAir}},
		{"return_temp", [][]string{wordsReturn}},
	}
	flowRules   = []rule{{"loop_flow", [][]string{wordsLoop}}, {"plate_flow", [][]string{wordsPlate}}, {"wash_flow", [][]string{wordsWash}}}
	volumeRules = []rule{
		{"milk_volume", [][]string{wordsMilk}}, {"loop_volume", [][]string{wordsLoop}}, {"plate_volume", [][]string{wordsPlate}}, {"wash_volume", [][]string{wordsWash}},
		{"hot_use_volume", [][]string{wordsHotUse}},
	}
	powerRules = []rule{
		{"compressor_power", [][]string{wordsCompressor}}, {"element_power", [][]string{wordsElement}}, {"pump_power", [][]string{wordsPump}},
		{"solar_power", [][]string{wordsSolar}}, {"grid_export_power", [][]string{wordsExport}}, {"grid_import_power", [][]string{wordsImport}},
	}
	pressureRules = []rule{{"suction_pressure", [][]string{wordsSuction}}, {"discharge_pressure", [][]string{wordsDischarge}}, {"loop_pressure", [][]string{wordsLoop}}}
	stateRules    = []rule{
		{"plate_pump", [][]string{wordsPlate, wordsPump}}, {"loop_pump", [][]string{wordsLoop, wordsPump}},
		{"loop_valve", [][]string{wordsLoop, list("valve ventil vanne valvula valvola klep")}},
		{"compressor_on", [][]string{wordsCompressor}}, {"element_on", [][]string{wordsElement}},
	}
)

// wordsPlace part probes of one bed, tank or room.
var wordsPlace = list(`top upper middle mid lower bottom low high north south east west left right centre center front back inner outer
 oben mitte unten nord sud ost west links rechts haut bas milieu gauche droite arriba abajo medio izquierda derecha alto basso centro destra sinistra
 boven onder midden noord zuid oost`)

// place is what parts this probe from its like: a word for where it is, or a
// number.
func place(h header) string {
	var out []string
	for _, w := range h.tokens {
		if slices.Contains(wordsPlace, w) || celltext.LeadingDigits(w) == len(w) && len(w) <= 2 {
			out = append(out, w)
		}
	}
	return strings.Join(out, " ")
}
