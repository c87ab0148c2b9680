package season

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// Meter is one probe or meter as the record shows it, a row of the metering
// table and of the coverage table.
type Meter struct {
	// N is its number in the drawing, from 1.
	N                                int
	Probe, Quantity, Place, Position string
	// At is the stage of the drawing at which it stands; "" = beside it.
	At string
	// Kind: "thermometer", "water meter", "electricity", "state", "other".
	Kind string
	// UnitFound as written, "" = none was found; Unit as used. Conversion in words.
	UnitFound, Unit, Conversion string
	// Error is its own, 95 %, as stated or assumed; "" = none is carried.
	Error   string
	Assumed bool
	Fit     string
	// IntervalS is the usual one; NaN where changes are logged as they happen.
	IntervalS float64
	// Resolution is the smallest step seen between neighbours, in Unit; NaN =
	// the readings never move.
	Resolution float64
	// Expected readings in the period at the usual interval (-1: not told, an
	// event log), Received, and Valid ones, which carry no flag; Flags by test.
	Expected, Received, Valid int
	Flags                     [7]int
	// GapS of the period that the probe does not cover; NaN: not used.
	GapS float64
}

// meters is the metering table of a record, in the order of the farm file.
func (b *builder) meters(rec *ingest.Record) []Meter {
	var out []Meter
	channel := map[string]*grid.Channel{}
	for i := range b.grid.Channels {
		c := &b.grid.Channels[i]
		channel[string(c.Quantity)+"\x00"+c.Probe] = c
	}
	for i, x := range rec.Series {
		m := Meter{N: i + 1, Probe: x.Probe, Quantity: string(x.Quantity), Place: x.Place, Fit: x.Fit, UnitFound: x.Unit, GapS: nan, IntervalS: nan, Resolution: nan}
		info, _ := series.Lookup(x.Quantity)
		m.Kind, m.Unit = meterKind(info.Class), info.Class.BaseUnit()
		m.Position, m.At = b.position(x)
		m.Conversion = b.conversion(x)
		if e, assumed := b.rec.Farm.ProbeError(x.Quantity, x.Place, x.Fit, loggedAs(x, info.Class)); e.HalfWidth > 0 {
			m.Error, m.Assumed = stated(x.Probe, m.Unit, e, assumed).Error(), assumed
		}
		b.read(&m, x)
		if g := channel[string(x.Quantity)+"\x00"+x.Probe]; g != nil {
			m.GapS = b.grid.GapS(g.Values)
		}
		out = append(out, m)
	}
	return out
}

// loggedAs is how ProbeError is told of a series.
func loggedAs(x *series.Series, c series.Class) string {
	if x.Amps {
		return "amps"
	}
	return x.LoggedAs(c)
}

// read counts a meter's readings within the period and looks for its step.
func (b *builder) read(m *Meter, x *series.Series) {
	last, step := nan, math.Inf(1)
	i, _ := slices.BinarySearch(x.T, b.acc.FromMS)
	hi, _ := slices.BinarySearch(x.T, b.acc.ToMS+1)
	for ; i < hi; i++ {
		end := x.Flags.Until(i, hi)
		var n int
		n, last, step = steps(x.V[i:end], last, step)
		m.Received, m.Valid = m.Received+n, m.Valid+n
		if i = end; i == hi || x.V[i] != x.V[i] {
			continue
		}
		m.Received++
		for bit, f := 0, x.Flags.At(i); bit < len(m.Flags); bit++ {
			if f&(1<<bit) != 0 {
				m.Flags[bit]++
			}
		}
	}
	m.Expected = -1
	if x.IntervalMS > 0 && !(x.Kind == series.State && x.HoldMS == 0) {
		m.IntervalS = float64(x.IntervalMS) / 1000
		m.Expected = int((b.acc.ToMS - b.acc.FromMS) / x.IntervalMS)
	}
	switch {
	case x.Counter && x.ResolutionBase > 0:
		m.Resolution = math.Round(x.ResolutionBase/leastStep) * leastStep
	case !math.IsInf(step, 1):
		m.Resolution = math.Round(step/leastStep) * leastStep
	}
}

// steps counts the readings among v and finds the smallest step between
// neighbours, from the last one before them and the smallest so far.
func steps(v []float64, last, least float64) (n int, end, step float64) {
	for _, x := range v {
		if x != x {
			continue
		}
		n++
		if d := math.Abs(x - last); d > leastStep && d < least {
			least = d
		}
		last = x
	}
	return n, last, least
}

// leastStep: a smaller step is one of arithmetic, not of an instrument.
const leastStep = 1e-4

func meterKind(c series.Class) string {
	switch c {
	case series.Temperature:
		return "thermometer"
	case series.Flow, series.Volume:
		return "water meter"
	case series.Power, series.Energy:
		return "electricity"
	case series.OnOff:
		return "state"
	}
	return "other"
}

// positions of quantities, in words and by the stage of the drawing.
var positions = map[series.Quantity][2]string{
	"mains_temp": {"cold feed", "feed"}, "loop_in_temp": {"loop, inlet", "loop"}, "loop_out_temp": {"loop, outlet", "loop"},
	"bed_temp": {"bed", "bed"}, "slab_temp": {"slab", "bed"}, "air_temp": {"air of the house", ""}, "outdoor_temp": {"outdoors", ""},
	"plate_in_temp": {"plate, water in", "plate"}, "plate_out_temp": {"plate, water out", "plate"},
	"gas_in_temp": {"plate, refrigerant in", "milk"}, "gas_out_temp": {"plate, refrigerant out", "milk"},
	"milk_in_temp": {"milk, into refrigerated cooling", "milk"}, "milk_out_temp": {"milk, out of refrigerated cooling", "milk"},
	"ice_water_temp": {"ice water", "milk"}, "ice_level": {"ice bank", "milk"}, "milk_volume": {"milk", "milk"},
	"tank_temp": {"tank", "tank"}, "tank_level": {"tank", "tank"}, "tank_setpoint": {"tank", "tank"},
	"wash_temp": {"wash, hot side", "wash"}, "return_temp": {"wash, return", "wash"}, "hot_use_temp": {"other hot taps", "other"}, "hot_use_volume": {"other hot taps", "other"},
	"plate_pump": {"plate's pump", "plate"}, "loop_pump": {"loop's pump", "loop"}, "loop_valve": {"loop's valve", "loop"}, "loop_pressure": {"loop", "loop"},
	"compressor_power": {"compressor", "milk"}, "compressor_energy": {"compressor", "milk"}, "compressor_on": {"compressor", "milk"},
	"suction_pressure": {"compressor, suction", "milk"}, "discharge_pressure": {"compressor, discharge", "milk"},
	"element_power": {"element", "element"}, "element_energy": {"element", "element"}, "element_on": {"element", "element"}, "element_setpoint": {"element", "element"},
	"pump_power": {"pumps", "pumps"}, "pump_energy": {"pumps", "pumps"},
	"solar_power": {"own solar", ""}, "solar_energy": {"own solar", ""}, "grid_import_power": {"grid connection", ""}, "grid_import_energy": {"grid connection", ""},
	"grid_export_power": {"grid connection", ""}, "grid_export_energy": {"grid connection", ""},
}

// position is where a meter stands; of water meters the farm file says on which
// side.
func (b *builder) position(x *series.Series) (words, at string) {
	f := b.rec.Farm
	side := func(stage, meterAt, or string) (string, string) {
		if meterAt == "" {
			meterAt = or
		}
		return fmt.Sprintf("%s, meter at %q", stage, meterAt), stage
	}
	switch x.Quantity {
	case "loop_flow", "loop_volume":
		if f.Loop != nil {
			return side("loop", f.Loop.MeterAt, "in")
		}
		return side("loop", "", "in")
	case "plate_flow", "plate_volume":
		if f.Plate != nil {
			return side("plate", f.Plate.MeterAt, "in")
		}
		return side("plate", "", "in")
	case "wash_flow", "wash_volume":
		if f.Wash != nil {
			return side("wash", f.Wash.MeterAt, "hot")
		}
		return side("wash", "", "hot")
	}
	p := positions[x.Quantity]
	if x.Place != "" {
		p[0] += ", " + x.Place
	}
	return p[0], p[1]
}

// conversion says in words what becomes of a written number.
func (b *builder) conversion(x *series.Series) string {
	var parts []string
	if x.Counter {
		parts = append(parts, "running counter, differences taken")
	}
	info, _ := series.Lookup(x.Quantity)
	if u, ok := series.ParseUnit(x.Unit); ok && x.Unit != "" {
		base := series.BaseUnitOf(info.Class)
		if u.Before != base.Before || u.Factor != base.Factor || u.After != base.After {
			parts = append(parts, conversionWords(u))
		}
	}
	if c := b.column(x); c != nil {
		if c.Scale != 0 && c.Scale != 1 {
			parts = append(parts, "× "+number(c.Scale)+" (scale of farm.toml)")
		}
		if c.Offset != 0 {
			parts = append(parts, "+ "+number(c.Offset)+" (offset of farm.toml)")
		}
	}
	if x.Amps {
		parts = append(parts, "current times the stated volts, phases and power factor")
	}
	if len(parts) == 0 {
		return "none"
	}
	return strings.Join(parts, "; ")
}

func conversionWords(u series.Unit) string {
	text := ""
	if u.Before != 0 {
		text = number(u.Before) + " added, then "
	}
	text += "× " + number(u.Factor)
	if u.After != 0 {
		text += ", then " + number(u.After) + " added"
	}
	return text
}

func (b *builder) column(x *series.Series) *farm.Column {
	if x.Log >= len(b.rec.Farm.Logs) {
		return nil
	}
	for i := range b.rec.Farm.Logs[x.Log].Columns {
		c := &b.rec.Farm.Logs[x.Log].Columns[i]
		if c.Header == x.Column && c.Quantity == string(x.Quantity) {
			return c
		}
	}
	return nil
}

// LeftOutReadings is the What of single readings that a test left out.
const LeftOutReadings = "readings"

// LeftOut is something that is in no figure, or not in all, with its rule.
type LeftOut struct {
	What, Rule, Of string
	Count          int
	// Hours it stands for; NaN: not told.
	Hours float64
}

// leftOut lists flagged readings by probe and test, cycles that the saving
// leaves out and draws that the fit does.
func (b *builder) leftOut() {
	out := &b.s.Audit.LeftOut
	for _, m := range b.s.Audit.Meters {
		for bit, n := range m.Flags {
			if n > 0 {
				*out = append(*out, LeftOut{What: LeftOutReadings, Rule: series.FlagNames[bit], Of: m.Probe, Count: n, Hours: float64(n) * m.IntervalS / 3600})
			}
		}
	}
	if s := b.kept.s; s.why == "" {
		b.countCycles("cycles not in the saving", s.rows, "wash", "other use", "element", "pumps")
	}
	if r := b.kept.r; r.why == "" {
		b.countCycles("cycles not in the share caught", r.cycles, "plate", "compressor")
	}
	var whys []string
	count, hours := map[string]int{}, map[string]float64{}
	for _, d := range b.s.Draws {
		if d.Used || d.Why == "" {
			continue
		}
		if count[d.Why] == 0 {
			whys = append(whys, d.Why)
		}
		count[d.Why]++
		hours[d.Why] += float64(d.End-d.Start) / 3600e3
	}
	for _, why := range whys {
		*out = append(*out, LeftOut{What: "draws not in the fit of the loop (their heat counts)", Rule: why, Of: "the loop", Count: count[why], Hours: hours[why]})
	}
}

// countCycles adds the cycles that are not among rows, by which of the terms
// named is not covered in them.
func (b *builder) countCycles(what string, rows []int, terms ...string) {
	in := make([]bool, len(b.acc.Cycles))
	for _, i := range rows {
		in[i] = true
	}
	var rules []string
	count, hours := map[string]int{}, map[string]float64{}
	for i, c := range b.acc.Cycles {
		if in[i] {
			continue
		}
		lacks := slices.DeleteFunc(b.acc.NotCovered(i, b.opt.Account.Cycle.CoveredShare), func(t string) bool { return !slices.Contains(terms, t) })
		rule := "not covered: " + strings.Join(lacks, ", ")
		switch {
		case len(lacks) == 0 && !c.Whole:
			rule = "does not lie whole inside the period"
		case len(lacks) == 0:
			rule = "a term that no meter gives is not known (milk)"
		}
		if count[rule] == 0 {
			rules = append(rules, rule)
		}
		count[rule]++
		hours[rule] += c.Hours()
	}
	for _, rule := range rules {
		b.s.Audit.LeftOut = append(b.s.Audit.LeftOut, LeftOut{What: what, Rule: rule, Of: "the account", Count: count[rule], Hours: hours[rule]})
	}
}
