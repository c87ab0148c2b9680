package simfarm

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// toml writes farm.toml, with comments for a newcomer where asked for.
type toml struct {
	bytes.Buffer
	comments bool
}

// say writes a comment, line by line.
func (t *toml) say(lines ...string) {
	if !t.comments {
		return
	}
	for _, l := range lines {
		t.WriteString("# " + l + "\n")
	}
}

func (t *toml) table(name string) { t.WriteString("\n[" + name + "]\n") }

func (t *toml) text(key, v string) {
	if v != "" {
		fmt.Fprintf(t, "%s = %s\n", key, strconv.Quote(v))
	}
}

func (t *toml) number(key string, v float64) {
	if v != 0 {
		fmt.Fprintf(t, "%s = %s\n", key, plain(v))
	}
}

// plain prints a number without an exponent; "plain" ones stay whole.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// farmFile is farm.toml.
func (f *Farm) farmFile() []byte {
	t := &toml{comments: f.s.Comments}
	t.WriteString("# " + f.s.Name + ". This farm is invented; its logs are simulated.\n")
	t.say("", "A farm is this file and the logs beside it. The logs stay as they were exported;",
		"everything that has to be said about them stands here. Lines that begin with #",
		"are comments.")
	t.table("farm")
	t.text("name", f.s.Name)
	t.say("Stamps without a zone of their own are read in this zone, summer time included.")
	t.text("timezone", f.s.Zone)
	f.pipeTables(t)
	f.waterTables(t)
	f.moneyTables(t)
	f.milkingsTable(t)
	f.eventTables(t)
	f.baselineTables(t)
	f.errorTable(t)
	f.matchedTables(t)
	for i := range f.s.Loggers {
		f.logTable(t, &f.s.Loggers[i])
	}
	return t.Bytes()
}

func (f *Farm) pipeTables(t *toml) {
	l := &f.s.Loop
	t.WriteString("\n")
	t.say("The pipe under the bedding. Length of all branches together, bore inside; the",
		"wall stores heat too, so its thickness and heat capacity help the fit.")
	t.WriteString("[loop]\n")
	t.number("length_m", l.LengthM)
	t.number("bore_mm", l.BoreMM)
	t.number("wall_mm", l.WallMM)
	if l.WallMM > 0 {
		t.number("wall_mj_per_m3_k", l.WallMJPerM3K)
	}
	t.number("bed_area_m2", l.BedAreaM2)
	t.say("Litres of pipe between the bed and the outlet probe: they cool while the water stands.")
	fmt.Fprintf(t, "lead_l = %.2f\n", f.leadL)
	if l.StateDraw {
		t.number("draw_l", f.drawL())
		t.WriteString("\n")
	} else if l.StateFlow {
		t.number("flow_l_min", f.statedFlowLMin())
		t.WriteString("\n")
	} else {
		t.WriteString("meter_at = \"in\"\n\n")
	}
	t.say("The plate on the hot side of the milk cooling; its flow meter is on the cold side.")
	t.WriteString("[plate]\nmeter_at = \"in\"\n")
}

func (f *Farm) waterTables(t *toml) {
	s := &f.s
	t.table("tank")
	fmt.Fprintf(t, "volume_l = %s\n", plain(f.statedTankL()))
	t.text("role", "hot")
	t.WriteString("\n")
	t.say("A wash cooler than target_c on average is called too cool; the element heats to",
		"heat_to_c, and no water counts as a saving above that.")
	t.WriteString("[wash]\n")
	t.number("target_c", s.Wash.TargetC)
	t.number("heat_to_c", s.Wash.HeatToC)
	t.text("meter_at", "hot")
	t.WriteString("\n")
	t.say("What one litre of this milk holds: the dairy's own figures.")
	t.WriteString("[milk]\n")
	t.number("specific_heat_kj_per_kg_k", s.Milk.SpecificHeatKJPerKgK)
	t.number("density_kg_per_l", s.Milk.DensityKgPerL)
	t.table("plant")
	t.number("standing_gain_kw", s.Plant.StandingGainKW)
	t.text("refrigerant", s.Plant.Refrigerant)
	t.table("element")
	t.number("power_kw", s.Tank.ElementKW)
	t.table("pumps")
	t.number("plate_kw", s.Plant.PumpKW)
}

func (f *Farm) moneyTables(t *toml) {
	p := &f.s.Money
	t.WriteString("\n")
	t.say("What would heat the water if nothing were recovered. An auditor asks where these",
		"figures come from: say it under source.")
	t.WriteString("[instead]\n")
	t.text("carrier", p.Carrier)
	t.number("efficiency", p.Efficiency)
	t.number("price_per_kwh", p.PricePerKWh)
	if p.RisesDay > 0 {
		fmt.Fprintf(t, "price_since = [{ since = %s, price_per_kwh = %s }]\n", formatLocal(f.risesAt(), f.zone, dayLayout), plain(p.RisenPerKWh))
	}
	t.number("co2_kg_per_kwh", p.CO2KgPerKWh)
	t.text("currency", p.Currency)
	t.text("source", p.Source)
	t.table("electricity")
	t.number("price_per_kwh", p.PowerPricePerKWh)
	t.number("co2_kg_per_kwh", p.PowerCO2KgKWh)
	t.text("source", p.Source)
	if p.NightFrom != "" {
		t.WriteString("\n[[electricity.rate]]\n")
		t.text("from", p.NightFrom)
		t.text("to", p.NightTo)
		t.number("price_per_kwh", p.NightPricePerKWh)
	}
	if p.Capital > 0 {
		t.table("cost")
		t.number("capital", p.Capital)
		t.number("upkeep_per_year", p.UpkeepPerYear)
		t.number("years", p.Years)
		t.text("source", p.Source)
	}
}

func (f *Farm) milkingsTable(t *toml) {
	t.WriteString("\n")
	t.say("The list of milkings that the farm keeps.")
	t.WriteString(`[milkings]
file = "milkings.csv"
dates = "ymd"
milk_is = "milking"

[milkings.columns]
date = "Date"
start = "Start"
end = "End"
milk_volume = "Milk [L]"
milk_in_temp = "Milk in [°C]"
milk_out_temp = "Milk out [°C]"
`)
}

func (f *Farm) eventTables(t *toml) {
	for i, e := range f.s.Events {
		t.WriteString("\n")
		if i == 0 {
			t.say("What was done to the bed; the report lays it beside what the loop did.")
		}
		at := f.start + int64(e.Day*86400+e.Hour*3600)
		fmt.Fprintf(t, "[[event]]\nat = %s\nwhat = %q\n", formatLocal(at, f.zone, "2006-01-02T15:04:05"), e.What)
		t.number("tonnes", e.Tonnes)
	}
}

func (f *Farm) errorTable(t *toml) {
	t.WriteString("\n")
	t.say("How far off each instrument may be, as half-widths that hold 95 times in 100;",
		"\"limits\" means that the maker promises never more. Without a row a default is used",
		"and printed as assumed.")
	t.WriteString("[errors]\n")
	for _, e := range f.s.Errors {
		v := plain(e.Half)
		switch {
		case e.Relative:
			v = plain(rounded(e.Half*100, 3)) + " %"
		case strings.HasSuffix(e.Key, "_temp"):
			v += " K"
		}
		if e.Rectangular {
			v += " limits"
		}
		key := e.Key
		if strings.Contains(key, ".") {
			key = strconv.Quote(key)
		}
		fmt.Fprintf(t, "%s = %q\n", key, v)
	}
}

func (f *Farm) matchedTables(t *toml) {
	for i, m := range f.s.Matched {
		fmt.Fprintf(t, "\n[[matched]]\nprobes = [%q, %q]\n", m.Keys[0], m.Keys[1])
		if m.WithinK > 0 {
			fmt.Fprintf(t, "within = \"%s K\"\n", plain(m.WithinK))
		}
		switch {
		case m.Find:
			t.text("offset", "find")
		case m.Offset:
			fmt.Fprintf(t, "offset = \"%s K\"\n", plain(f.offsetsK[i]))
		}
	}
}

func (f *Farm) logTable(t *toml, l *Logger) {
	t.WriteString("\n[[log]]\n")
	name := l.Name + ".csv"
	switch {
	case l.Format == "xlsx":
		name = l.Name + ".xlsx"
	case l.Monthly:
		name = l.Name + "-*.csv"
		t.say("One export a month; where they overlap, readings count once.")
	}
	fmt.Fprintf(t, "files = [%q]\n", name)
	if l.Format == "xlsx" {
		t.text("sheet", dataSheet)
	}
	if l.Stamp == "dmy" {
		t.text("dates", "dmy")
	}
	t.text("stamp", l.StampAt)
	if l.Zone != "" {
		if l.Zone != "UTC" {
			t.say("This logger keeps standard time all year.")
		}
		t.text("zone", l.Zone)
	}
	if l.ClockText != "" {
		t.say("Its clock was found wrong when it was read out: so far ahead of true time in the",
			"middle of the record, and gaining.")
		t.text("clock", l.ClockText)
		fmt.Fprintf(t, "drift = \"%+.1f s/d\"\n", l.DriftSPerDay)
	}
	t.WriteString("\n[log.columns]\n")
	for i := range l.Columns {
		c := &l.Columns[i]
		header := strings.Replace(c.header(l), "|", " ", 1)
		fmt.Fprintf(t, "%q = %s\n", header, c.value(l))
	}
}

// value is the column's right-hand side in [log.columns].
func (c *Column) value(l *Logger) string {
	q := c.Quantity
	if c.Place != "" {
		q += "@" + c.Place
	}
	parts := []string{"quantity = " + strconv.Quote(q)}
	if c.Mode == Counter {
		parts = append(parts, "counter = true")
	}
	if strings.HasSuffix(c.Quantity, "_temp") && c.Signal < Air && lagS[c.Signal] > 0 && c.Signal != TankTop && c.Signal != TankLow {
		parts = append(parts, `fit = "pocket"`)
	}
	if len(parts) == 1 {
		return strconv.Quote(q)
	}
	return "{ " + strings.Join(parts, ", ") + " }"
}
