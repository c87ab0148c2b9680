package results

import "yardheat/ingest/series"

// Kind says what stands under a key.
type Kind uint8

// The kinds of key.
const (
	Text    Kind = iota
	Integer      // 0 or more
	Number       // null: not known
	YesNo
	Time   // RFC 3339 UTC
	Figure // a number with interval, count, coverage, reason
	Object
	List  // of objects
	Texts // a list of texts
	Whole // a whole number of either sign
	Wholes
	Named // an object whose keys are the report's own, each an object like Inner
)

// Key is one key of results.json. The table of them (Keys) is what the JSON
// Schema and the data dictionary are made of; a test holds what the writer
// writes against it, so a key that is written stands here.
type Key struct {
	Name string
	Kind Kind
	// Unit of a number or figure: "" none, Currency what the farm file states.
	Unit    string
	Meaning string
	// Made says how it comes about; "" where the meaning says it.
	Made string
	// Values are all the texts that can stand there; nil = any.
	Values []string
	// Share: the number lies in 0 to 1.
	Share bool
	// Optional: left out where there is nothing to say.
	Optional bool
	Inner    []Key
}

// Currency is the unit of money: the farm file's instead.currency.
const Currency = "currency"

// Keys are the keys of results.json in the order in which they are written.
func Keys() []Key {
	return []Key{
		{Name: "schema", Values: []string{Schema}, Meaning: "The form of this file."},
		farmKeys(), periodKeys(), dataKeys(), loopKeys(), plantKeys(), heatKeysOf(), electricityKeys(), savingKeys(), washKeys(), ladderKeys(),
		bedKeys(),
		budgetKeys(), sensorKeys(), improveKeys(), matchedKeys(), monthKeys(), cautionKeys(), problemKeys(),
		{Name: "settings", Kind: Named, Meaning: "Every option and threshold in force, by its name.", Inner: []Key{
			text("value", "What it was set to."),
			one("source", "Where it comes from.", "default", "set", "farm.toml"),
		}},
		list("seasons", "The stretches of [[season]] in farm.toml.", append([]Key{
			text("name", "Its name in farm.toml, or a number."),
			one("kind", "What it is.", "normal", "recovery_off", "before"),
			at("from", "Its start."), at("to", "Its end, not included.")},
			stretchFigures()...)...),
		auditKeys(), exclusionKeys(),
	}
}

func exclusionKeys() Key {
	return list("exclusions", "Readings left out, by probe and test, and what they would move.",
		text("quantity", "What the probe reads."), text("place", "Its place in farm.toml."), text("column", "Its header in the files."), text("probe", "Its name: log and column."),
		one("test", "Which test left them out.", series.FlagNames[:]...), text("threshold", "By what the test judged, in words."),
		count("readings", "How many in all."), count("in_period", "How many in the period reported on."),
		list("moves", "The sums that would move with those readings put back; empty where none does.",
			text("figure", "The figure's path in this file."), number("reported_kwh", "kWh", "The sum as reported."), number("put_back_kwh", "kWh", "The sum with those readings put back.")),
		optional(text("why", "Why nothing was summed again.")))
}

func farmKeys() Key {
	return object("farm", "Whose report it is.",
		text("name", "The farm's name, from farm.toml."),
		text("timezone", "The farm's time zone by its IANA name, from farm.toml."))
}

func periodKeys() Key {
	return object("period", "The time reported on.",
		at("start", "First instant."), at("end", "Last instant."),
		count("milkings", "Milkings in it."), count("washes", "Washes in it, rinses not counted."), count("draws", "Refills through the loop in it."))
}

func dataKeys() Key {
	flags := flagKeys()
	clock := []Key{
		number("ahead_s", "s", "Stamp minus true time at mid-file; taken off."),
		number("drift_s_per_day", "s/d", "How fast the logger's clock gains; taken off."),
		list("jumps", "Steps of the logger's clock; taken off.", at("at", "When, by the stamp."), number("by_s", "s", "By how much the clock stepped.")),
		number("low", "s", "Low end of the 95 % interval of ahead_s."), number("high", "s", "High end of it."),
		one("from", "Where the correction comes from.", "keep", "given", "found", "not found"),
	}
	return object("data", "What was read.",
		list("files", "The originals, a row a table (a workbook or an archive may hold several).",
			text("name", "Name relative to the farm folder."), optional(text("sheet", "Sheet of a workbook, or member of an archive.")),
			text("sha256", "SHA-256 of the file's bytes, in hexadecimal."),
			count("rows", "Rows with a stamp."), count("kept", "Rows of which at least one reading was kept."),
			at("first", "First stamp, in true time."), at("last", "Last stamp, in true time."), text("zone", "Zone in which the stamps were read."),
			object("clock", "What was done to its stamps.", clock...)),
		list("channels", "The columns that were read.",
			text("quantity", "What it measures: a quantity of ingest/farm/README.md."), text("place", "Where, from farm.toml; \"\" = not said."),
			text("column", "Header as written in the file."), text("file", "File or files it stands in."), text("unit", "Unit in which it is kept."),
			count("samples", "Readings."), count("kept", "Readings that were not flagged."),
			object("flags", "Readings flagged, by test.", flags...), number("gap_s", "s", "The longest stretch of the period that it does not cover.")))
}

func changeKeys() Key {
	return list("changes", "Steps on a date, in order of time. The readings name no cause.",
		at("at", "The date found."), text("of", "What changed, by its key."),
		anyFigure("before", "Its mean before the step, back to the step before."), anyFigure("after", "Its mean after the step, up to the next."),
		at("at_low", "Low end of the date's 95 % interval."), at("at_high", "High end of it."),
		anyFigure("size", "The step itself, in the unit or in %."),
		list("events", "What farm.toml says happened near that date.", at("at", "When."), text("what", "What.")),
		text("text", "The step in words."))
}

func loopKeys() Key {
	in := figures("ua_w_per_k", "u_w_per_m2_k", "per_metre_w_per_m_k", "time_constant_h", "supply_w_per_k", "steady_w_per_k",
		"slab_kj_per_k", "bed_offset_k", "volume_ratio", "approach_k", "effectiveness")
	return object("loop", "The pipe loop under the bed.", append(in,
		one("model", "The model that draws left out chose; \"\" = no loop.", "uniform", "store", ""),
		optional(text("model_why", "What speaks for it.")), yesNo("identified", "Whether the coefficient can be read off these draws."),
		optional(text("why", "Why not, and what would settle it.")),
		number("rmse_k", "K", "Root mean square of outlet read less outlet modelled."), count("draws_used", "Draws in the fit."),
		number("litres_left_out", "L", "Water of the draws that are not in the fit."), changeKeys(),
		list("course", "The coefficient fitted stretch by stretch of days.", append([]Key{at("from", "Start of the stretch."), at("to", "Its end.")}, figures("ua_w_per_k")...)...),
		list("draws", "The refills through the loop, in order of time.", at("start", "When the water began to flow."), at("end", "When it stopped."),
			number("litres", "L", "Water drawn."), yesNo("used", "Whether the fit uses it.")), geometryKeys())...)
}

func plantKeys() Key {
	milk := []Key{count("cycles", "Milkings judged."), count("too_warm", "Of these with milk above limit_c."),
		figureOf("mean_c", "degC", "Milk temperature, mean.", ""), number("warmest_c", "degC", "The warmest.")}
	week := []string{"plate_effectiveness", "caught_per_kwh", "plate_flow_l_min", "plate_in_c", "recovery_fraction"}
	in := figures("recovery_fraction", "heat_caught_kwh", "heat_rejected_kwh", "milk_heat_kwh", "compressor_kwh", "standing_gain_kw", "cop",
		"plate_effectiveness", "caught_per_kwh", "rejected_per_kwh", "recovery_per_k", "effectiveness_per_k", "left_kwh")
	return object("plant", "The milk-cooling plant and its plate heat exchanger.", append(in,
		count("cycles_used", "Cycles behind recovery_fraction."), changeKeys(),
		object("line", "Straight line of heat caught against heat rejected, a point a cycle (York 2004).",
			figureOf("slope", "1", "Heat caught per heat rejected, beyond the intercept.", ""), figureOf("intercept_kwh", "kWh", "Heat caught in a cycle that rejects none.", "")),
		number("water_in_from_c", "degC", "Water into the plate in the coolest stretch of days behind recovery_per_k."), number("water_in_to_c", "degC", "In the warmest."),
		count("left_cycles", "Cycles in which the plate's water stopped before the compressor."), number("left_s", "s", "How long it stood while the compressor ran, in all."),
		object("milk_cold", "Whether the milk was cold in time.",
			text("why", "Why it is not known; \"\" = it is."), text("read", "Which reading is judged."), number("limit_c", "degC", "The farm's milk.limit_c."),
			object("with_recovery", "In cycles with water through the plate.", milk...), object("without", "In cycles without.", milk...)),
		list("weeks", "The plate week by week; intervals by the errors of the sensors, which all weeks share.", append(append([]Key{
			at("from", "Start of the week."), at("to", "Its end."), count("cycles", "Cycles in it.")}, figures(week...)...),
			object("own", "The same figures with the interval by the scatter of the week's own days.", figures(week...)...))...))...)
}

func heatKeysOf() Key {
	return object("heat", "Heat, over the period as seen.", append(figures(heatKeys...),
		object("whole", "The same, estimated for the gaps too.", figures(heatKeys...)...),
		share(number("low_flow_share", "1", "Share of the loop's litres below the flow that counts as a draw.")))...)
}

func electricityKeys() Key {
	return object("electricity", "Electricity, over the period as seen.",
		append([]Key{figureOf("element_kwh", "kWh", "Electricity of the element.", "metered, or hours on times its rated power")},
			figures("element_solar_kwh", "element_movable_kwh", "pump_kwh", "compressor_kwh")...)...)
}

func savingKeys() Key {
	return object("saving", "Energy, money and CO2 against the alternative heater, over the period as seen.", append(append(figures("baseline_kwh", "used_kwh", "saved_kwh", "money", "co2_kg", "heat_per_kwh", "avoided_kwh", "normalised_kwh", "compressor_extra_kwh", "unused_kwh"),
		text("carrier", "What the alternative burns or uses, from instead.carrier."), text("currency", "Of money, from instead.currency."), text("basis", "On what the saving is reckoned, in one sentence."),
		figureOf("money_not_spent", Currency, "What the alternative's energy would have cost.", "baseline_kwh × instead.price_per_kwh"),
		figureOf("money_spent", Currency, "What the electricity did cost.", "grid kWh × price at that hour + solar kWh × export price"),
		object("whole", "The same, estimated for the gaps too.", figures("saved_kwh", "money", "co2_kg")...)), savingMoreKeys()...)...)
}

func washKeys() Key {
	return object("washes", "The washes judged.",
		count("count", "Washes whose temperature is known."), count("rinses", "Rinses: water that was never hot."), count("too_cool", "Washes cooler than wash.target_c."), count("unknown", "Washes whose temperature is not known."),
		number("coolest_c", "degC", "The coolest wash."), number("target_c", "degC", "The farm's wash.target_c; null = none is stated."),
		list("list", "Each wash and rinse, in order of time.",
			at("at", "Start."), number("temp_c", "degC", "Flow-weighted mean once flushed; without a wash meter the tank as its refill begins to follow the wash."), number("end_c", "degC", "Temperature at its end."),
			number("litres", "L", "Water."), yesNo("too_cool", "Cooler than wash.target_c."),
			one("reason", "Why it was too cool; \"\" = it was not.", "", "cold tank", "short heat", "not known"), yesNo("rinse", "A rinse, not a wash.")))
}

func ladderKeys() Key {
	return list("ladder", "How far each step lifts the water.",
		one("step", "Which step.", "feed", "loop", "plate", "element", "wash"),
		figureOf("temp_c", "degC", "Temperature behind the step.", "mean over the litres that pass"), figureOf("gained_kwh", "kWh", "Heat gained in it.", "as in heat"))
}

func budgetKeys() Key {
	return list("budget", "Whose error makes how much of a figure's spread, the largest first.",
		text("figure", "The figure, by its key."), text("source", "The probe or farm-file key."), one("kind", "shared: one error all season. random: differs from day to day.", "shared", "random"),
		share(number("share", "1", "Share of the variance.")), text("error", "Its own error as printed, 95 %."), yesNo("assumed", "farm.toml states none: a default by kind."),
		text("distribution", "Its form."), number("sensitivity", "", "Of the figure, per unit of the error; null for days."), text("sensitivity_per", "That unit; \"1\": relative, \"\": a plain number."), number("u", "", "Standard uncertainty that it makes alone, in the figure's unit."))
}

func sensorKeys() Key {
	var shares []Key
	for _, k := range headline {
		shares = append(shares, optional(share(number(k, "1", "Share of the variance of "+k+"."))))
	}
	return list("budget_by_sensor", "The budget added up by instrument or stated figure.",
		text("sensor", "Which."), one("kind", "As in budget.", "shared", "random", ""), text("error", "Its own error as printed, 95 %."), yesNo("assumed", "farm.toml states none: a default by kind."),
		object("shares", "Share of each headline figure's variance; those of one figure add up to 1.", shares...))
}

func improveKeys() Key {
	return list("improve", "By figure, the one measure at the farm that would narrow it the most.",
		text("figure", "The figure, by its key."), Key{Name: "sensors", Kind: Texts, Meaning: "The instruments or stated figures it is about."},
		text("measure", "What to do; \"\" = nothing helps."), share(number("narrower", "1", "By what share the interval would shrink.")),
		anyFigure("then", "The figure as it would then be."), text("text", "The same in one line."))
}

func matchedKeys() Key {
	return object("matched", "Probes held against each other.",
		list("pairs", "Two probes and by how much they differ.",
			Key{Name: "probes", Kind: Texts, Meaning: "The two."}, one("from", "How it is known.", "stated", "bath", "still"), yesNo("applied", "Whether it was taken off."),
			figureOf("offset_k", "K", "First less other.", ""), count("stretches", "Stretches of still or stirred water behind it."), text("why", "Why it was not used, or what it rests on.")),
		list("taken_off", "What was taken off readings.", text("probe", "Whose."), number("k", "K", "By how much.")),
		object("before", "The headline figures had nothing been compared; empty where nothing was used.", optionals(figures(headline...))...))
}

func monthKeys() Key {
	return list("months", "The calendar months, or parts of them, in farm time.", append([]Key{text("month", "YYYY-MM.")}, required(stretchFigures())...)...)
}

func cautionKeys() Key {
	return list("cautions", "What a person should look at. A list without entries is not a clearance.",
		text("id", "Which caution."), text("text", "What to look at."), text("because", "The reading that raised it."), at("first", "First time it was raised."), at("last", "Last time."))
}

func problemKeys() Key {
	return list("problems", "What was doubtful in the input.",
		text("code", "Its code; DEVELOPERS.md lists them."), one("severity", "note: taken as said. doubt: may move figures. left out: readings are not in the figures.", "note", "doubt", "left out"),
		text("file", "Which file."), text("where", "Line, cell or column."), text("text", "What, in words."))
}

// headline are the figures of the first screen.
var headline = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "recovery_fraction"}

// stretchFigures are those of a month or season.
func stretchFigures() []Key {
	return optionals(figures("loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "approach_k", "recovery_fraction"))
}

func text(name, meaning string) Key { return Key{Name: name, Meaning: meaning} }

func one(name, meaning string, values ...string) Key {
	return Key{Name: name, Meaning: meaning, Values: values}
}

func count(name, meaning string) Key {
	return Key{Name: name, Kind: Integer, Meaning: meaning}
}

func number(name, unit, meaning string) Key {
	return Key{Name: name, Kind: Number, Unit: unit, Meaning: meaning}
}

func share(k Key) Key {
	k.Share = true
	return k
}

func yesNo(name, meaning string) Key { return Key{Name: name, Kind: YesNo, Meaning: meaning} }

func at(name, meaning string) Key { return Key{Name: name, Kind: Time, Meaning: meaning} }

func object(name, meaning string, inner ...Key) Key {
	return Key{Name: name, Kind: Object, Meaning: meaning, Inner: inner}
}

func list(name, meaning string, inner ...Key) Key {
	return Key{Name: name, Kind: List, Meaning: meaning, Inner: inner}
}

func optional(k Key) Key {
	k.Optional = true
	return k
}

func optionals(keys []Key) []Key {
	for i := range keys {
		keys[i].Optional = true
	}
	return keys
}

func required(keys []Key) []Key {
	for i := range keys {
		keys[i].Optional = false
	}
	return keys
}

func flagKeys() []Key {
	return []Key{
		count("sentinel", "Readings that are a number by which loggers say that there is none."), count("range", "Readings outside the plausible range."),
		count("spike", "Single readings far from their neighbours."), count("stuck", "Readings of a probe that did not move for too long."),
		count("rate", "Readings that changed faster than can be."), count("duplicate", "Readings under a stamp that came twice."),
		count("order", "Readings out of the order of time."),
	}
}
