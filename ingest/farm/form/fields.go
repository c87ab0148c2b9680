// Package form is the short form of a farm's figures as data: which keys of
// farm.toml it asks for, in what order and unit, what is a usual figure, and what
// the farm file's own reader refuses. It holds no sentence: a page has its own,
// by the fields' keys and the codes of Check.
package form

import (
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/farm"
)

// Kind is how a field is filled in.
type Kind string

// The kinds.
const (
	Number Kind = "number"
	Whole  Kind = "whole" // a number without decimals
	Text   Kind = "text"
	Choice Kind = "choice"
	YesNo  Kind = "yes-no" // "true" or "false"
	Zone   Kind = "timezone"
	// Months: one figure, or twelve from January to December.
	Months Kind = "months"
	// Times: milkings as "05:20-07:05, 15:50-17:35".
	Times Kind = "times"
	// Glycol: a share in %; 0 is plain water.
	Glycol Kind = "glycol"
)

// Stage is the part of the form that a field stands in.
type Stage string

// The stages, in order.
const (
	Farm        Stage = "farm"
	Loop        Stage = "loop"
	Plate       Stage = "plate"
	Tank        Stage = "tank"
	Wash        Stage = "wash"
	Milk        Stage = "milk"
	Plant       Stage = "plant"
	Element     Stage = "element"
	Instead     Stage = "instead"
	Electricity Stage = "electricity"
	Cost        Stage = "cost"
	Milkings    Stage = "milkings"
)

// Stages are all of them in the order of the form.
var Stages = []Stage{Farm, Loop, Plate, Tank, Wash, Milk, Plant, Element, Instead, Electricity, Cost, Milkings}

// Need is whether a report can do without a field.
type Need string

// The needs.
const (
	// Optional: without it a default holds, or a figure is left out.
	Optional Need = "optional"
	// Stated: where anything of its table is stated the reader asks for it.
	Stated Need = "stated"
	// Wanted: the report is made without it, but lacks what farmers look for first.
	Wanted Need = "wanted"
	// Always: no farm file is read without it.
	Always Need = "always"
)

// Field is one figure of the form.
type Field struct {
	// Table and Key of farm.toml. Repeats: the table may stand several times
	// ([[tank]]), see At.
	Table, Key string
	Repeats    bool
	Stage      Stage
	Kind       Kind
	// Unit of the figure, "" = none.
	Unit string
	// Low and High are a usual figure: outside it is taken, but asked about. Both
	// 0 = nothing is unusual. Common practice, no source.
	Low, High float64
	// Least and Most are what the farm file's reader takes; Open: Least itself is
	// not taken.
	Least, Most float64
	Open        bool
	// Default is what holds where the key is absent, as farm.toml would have it;
	// "" = none.
	Default string
	Choices []string
	Need    Need
}

// Name is the field's key in full, such as "loop.length_m".
func (f Field) Name() string { return f.Table + "." + f.Key }

// At is the path of the field's table for package edit; n counts from 0 where the
// table repeats.
func (f Field) At(n int) string {
	if !f.Repeats {
		return f.Table
	}
	return f.Table + "[" + strconv.Itoa(n) + "]"
}

// number is a field with a number above 0, or from least on.
func number(table, key string, stage Stage, unit string, low, high, least, most float64, open bool) Field {
	return Field{Table: table, Key: key, Stage: stage, Kind: Number, Unit: unit, Low: low, High: high, Least: least, Most: most, Open: open, Need: Optional}
}

func text(table, key string, stage Stage) Field {
	return Field{Table: table, Key: key, Stage: stage, Kind: Text, Need: Optional}
}

func choice(table, key string, stage Stage, def string, of ...string) Field {
	return Field{Table: table, Key: key, Stage: stage, Kind: Choice, Choices: of, Default: def, Need: Optional}
}

func yes(table, key string, stage Stage) Field {
	return Field{Table: table, Key: key, Stage: stage, Kind: YesNo, Default: "false", Need: Optional}
}

func (f Field) needed(n Need) Field         { f.Need = n; return f }
func (f Field) kind(k Kind) Field           { f.Kind = k; return f }
func (f Field) byDefault(text string) Field { f.Default = text; return f }
func (f Field) repeats() Field              { f.Repeats = true; return f }

// Fields is the form in its order.
var Fields = []Field{
	text("farm", "name", Farm).needed(Wanted),
	text("farm", "timezone", Farm).kind(Zone).needed(Always),

	number("loop", "length_m", Loop, "m", 20, 3000, 0, 20000, true).needed(Stated),
	number("loop", "bore_mm", Loop, "mm", 10, 60, 5, 200, false).needed(Stated),
	number("loop", "wall_mm", Loop, "mm", 1, 8, 0, 30, true),
	choice("loop", "pipe", Loop, "", "PE", "PEX", "PP", "copper", "steel"),
	number("loop", "branches", Loop, "", 1, 20, 1, 200, false).kind(Whole).byDefault("1"),
	number("loop", "bed_area_m2", Loop, "m²", 20, 3000, 0, 100000, true),
	number("loop", "lead_l", Loop, "L", 0, 100, 0, 1000, false),
	choice("loop", "meter_at", Loop, "in", "in", "out"),
	choice("loop", "circuit", Loop, "open", "open", "closed"),
	number("loop", "fluid", Loop, "%", 0, 50, 0, 100, false).kind(Glycol).byDefault("0"),
	number("loop", "draw_l", Loop, "L", 20, 3000, 0, 100000, true),
	number("loop", "flow_l_min", Loop, "L/min", 1, 80, 0, 500, true),

	choice("plate", "meter_at", Plate, "in", "in", "out"),
	number("plate", "flow_l_min", Plate, "L/min", 1, 80, 0, 500, true),

	text("tank", "name", Tank).repeats(),
	choice("tank", "role", Tank, "", "preheat", "hot").repeats(),
	number("tank", "volume_l", Tank, "L", 50, 5000, 0, 1e6, true).repeats().needed(Stated),

	number("wash", "target_c", Wash, "°C", 40, 85, 20, 100, false).needed(Wanted),
	number("wash", "heat_to_c", Wash, "°C", 50, 90, 20, 100, false),
	choice("wash", "meter_at", Wash, "hot", "hot", "cold"),
	number("mains", "temp_c", Wash, "°C", 2, 25, -5, 40, false).kind(Months).needed(Stated),

	yes("milk", "precooled", Milk),
	number("milk", "limit_c", Milk, "°C", 3, 10, 0, 20, false).byDefault(plain(farm.MilkLimitC)),
	number("milk", "specific_heat_kj_per_kg_k", Milk, "kJ/(kg K)", 3.7, 4.05, 3, 4.3, false).byDefault(plain(farm.MilkSpecificHeatKJPerKgK)),
	number("milk", "density_kg_per_l", Milk, "kg/L", 1.02, 1.04, 0.95, 1.1, false).byDefault(plain(farm.MilkDensityKgPerL)),

	number("plant", "compressor_kw", Plant, "kW", 0.5, 40, 0, 500, true),
	number("plant", "standing_gain_kw", Plant, "kW", 0, 3, 0, 100, false),
	text("plant", "refrigerant", Plant),
	number("pumps", "loop_kw", Plant, "kW", 0.02, 2, 0, 100, true),
	number("pumps", "plate_kw", Plant, "kW", 0.02, 2, 0, 100, true),

	number("element", "power_kw", Element, "kW", 1, 40, 0, 500, true),

	text("instead", "carrier", Instead).needed(Wanted),
	number("instead", "efficiency", Instead, "", 0.5, 4.5, 0, 5, true).needed(Stated),
	number("instead", "price_per_kwh", Instead, "/kWh", 0.01, 2, 0, 1e6, false).needed(Wanted),
	number("instead", "co2_kg_per_kwh", Instead, "kg/kWh", 0, 1.2, 0, 5, false).needed(Wanted),
	text("instead", "currency", Instead).needed(Wanted),
	text("instead", "source", Instead).needed(Wanted),
	number("instead", "standing_loss_kwh_per_day", Instead, "kWh/d", 0, 20, 0, 1000, false),

	number("electricity", "price_per_kwh", Electricity, "/kWh", 0.01, 2, -1e6, 1e6, false).needed(Wanted),
	number("electricity", "co2_kg_per_kwh", Electricity, "kg/kWh", 0, 1.2, 0, 5, false).needed(Wanted),
	number("electricity", "export_price_per_kwh", Electricity, "/kWh", 0, 1, -1e6, 1e6, false),
	text("electricity", "source", Electricity).needed(Wanted),

	number("cost", "capital", Cost, "", 100, 200000, 0, 1e12, false),
	number("cost", "upkeep_per_year", Cost, "/a", 0, 10000, 0, 1e12, false),
	number("cost", "years", Cost, "a", 5, 30, 0, 100, true),
	text("cost", "source", Cost),

	text("milkings", "times", Milkings).kind(Times),
	choice("milkings", "milk_is", Milkings, "milking", "milking", "day", "collection"),
	choice("milkings", "dates", Milkings, "", "dmy", "mdy", "ymd"),
}

// Find gives a field by its name.
func Find(name string) (Field, bool) {
	k := slices.IndexFunc(Fields, func(f Field) bool { return f.Name() == name })
	if k < 0 {
		return Field{}, false
	}
	return Fields[k], true
}

// Of lists the fields of a stage.
func Of(s Stage) []Field {
	var out []Field
	for _, f := range Fields {
		if f.Stage == s {
			out = append(out, f)
		}
	}
	return out
}

// Asked lists the stages whose figures a report of these quantities ("loop_flow",
// "tank_temp@top") uses; the others can be left shut.
func Asked(quantities []string) []Stage {
	has := func(prefixes ...string) bool {
		return slices.ContainsFunc(quantities, func(q string) bool {
			return slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(q, p) })
		})
	}
	of := map[Stage]bool{Farm: true, Instead: true, Electricity: true, Cost: true, Milkings: true,
		Loop: has("loop_"), Plate: has("plate_"), Tank: has("tank_", "element_", "wash_"), Wash: has("wash_", "tank_", "hot_use_", "loop_", "plate_"), Milk: has("milk_"),
		Plant: has("compressor_", "gas_", "suction_", "discharge_", "plate_", "loop_pump", "pump_", "ice_"), Element: has("element_")}
	return slices.DeleteFunc(slices.Clone(Stages), func(s Stage) bool { return !of[s] })
}
