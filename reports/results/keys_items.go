package results

// auditKeys stand where w.audit is written. budget[] also gets, behind assumed:
// text("distribution", "Its form."), number("sensitivity", "", "…"),
// text("sensitivity_per", "…"), number("u", "", "…").
func auditKeys() Key {
	effect := func(key string) Key {
		return object(key, "By how much "+key+" moves, in its unit.", number("less", "", "With it a fifth less."), number("more", "", "With it a fifth more."))
	}
	return object("audit", "What an auditor asks for beside the figures.",
		text("report_id", "A hash over originals, settings, period, seed and version."), text("version", "Of the program."),
		object("claim", "What kind of statement the saving is.", text("type", "Avoided energy or normalised saving."), text("option", "By which option of measurement."), text("why", "Why that one."),
			Key{Name: "stipulated", Kind: Texts, Meaning: "What is stated, not measured."}, text("baseline", "What it is held against."), text("adjustments", "What was adjusted."),
			object("guideline_14", "The criterion of ASHRAE Guideline 14 as an arithmetic comparison.", number("half_width_68_kwh", "kWh", "The larger side of the saving's interval at 68 %, as seen."), number("share", "1", "Of the saving."), number("limit", "1", "That it is held against."),
				one("criterion", "What the comparison says.", "met", "not met", "cannot tell", ""))),
		Key{Name: "outside", Kind: Texts, Meaning: "What lies outside the boundary."}, Key{Name: "interactive_effects", Kind: Texts, Meaning: "What the recovery does beyond the boundary."},
		list("boundary_drawing", "The stages of the drawing.", text("stage", "By its key."), text("label", "In words."), yesNo("inside", "Whether it lies inside the boundary."), Key{Name: "meters", Kind: Wholes, Meaning: "Numbers of its meters."}),
		list("meters", "The meters and probes.", count("number", "In the drawing."), text("probe", "Log and column."), text("quantity", "What it measures."), text("place", "Where."), text("position", "In words."), text("kind", "How it logs."),
			text("unit_found", "As written."), text("unit", "As kept."), text("conversion", "Between them."), text("error", "Its own error, 95 %."), yesNo("assumed", "farm.toml states none."), text("fit", "How it is fitted."), number("interval_s", "s", "Usual interval."),
			number("resolution", "", "Smallest step seen, in the unit."), Key{Name: "expected", Kind: Whole, Meaning: "Readings expected; -1: an event log."}, count("received", "Readings."), count("valid", "Not flagged."), object("flags", "Readings flagged, by test.", flagKeys()...), number("gap_s", "s", "The longest gap.")),
		list("streams", "What was seen and what was filled.", text("figure", "By its key."), number("seen_kwh", "kWh", "As seen."), number("filled_kwh", "kWh", "Added for the whole period."), number("filled_share", "1", "Of the whole."), number("filled_h", "h", "Hours filled."),
			number("held_share", "1", "Of the litres, booked at a reading held to the start of flow."), number("low_flow_share", "1", "Of the litres, below the flow that counts as a draw."), number("low_rise_litres_share", "1", "Of the litres at a small rise."), number("low_rise_heat_share", "1", "Of the heat at a small rise.")),
		list("left_out", "What was left out by a rule.", text("what", "What."), text("rule", "By which."), text("of", "Of what."), count("count", "How many."), number("hours", "h", "How long.")),
		list("clock_changes", "Between standard and summer time.", at("at", "When."), Key{Name: "by_s", Kind: Whole, Unit: "s", Meaning: "By how much."}),
		yesNo("weeks_with_loss", "Whether the tanks' loss is known in balance_weeks; else it is in the unexplained."),
		list("balance_weeks", "The heat balance week by week.", append([]Key{at("from", "Start."), at("to", "End."), count("cycles", "Cycles in it."), count("used", "Whole ones.")}, append([]Key{figureOf("in_kwh", "kWh", "Heat in.", ""), figureOf("out_kwh", "kWh", "Heat out.", "")},
			append(figures("loss_kwh", "store_change_kwh", "unexplained_kwh"), yesNo("explained", "Whether the interval of the unexplained holds 0."))...)...)...),
		list("boundaries", "The saving by boundary.", text("letter", "Which."), text("key", "By its key."), text("is", "In words."), anyFigure("kwh", "Energy."), anyFigure("per_kwh", "The same over the electricity of per."), text("per", "Which electricity.")),
		list("assumptions", "What is assumed, and what changes with it.", text("id", "Which."), text("value", "What it is set to."), text("unit", "Its unit."), text("source", "Where it comes from."), one("chosen", "By whom.", "farm.toml", "default"),
			effect("saved_kwh"), effect("money"), effect("co2_kg"), effect("recovery_fraction")),
		text("tornado_of", "Of which figure tornado is."), Key{Name: "tornado", Kind: Texts, Meaning: "The assumptions that move it the most."},
		list("prices", "The prices in force.", text("key", "Of farm.toml."), text("what", "In words."), number("value", "", "In the unit."), text("unit", "Its unit."), optional(at("since", "From when.")), text("holds", "At which hours."), text("source", "Where it comes from.")),
		list("static_factors", "What is taken to stay the same.", text("name", "Which."), text("value", "As stated."), text("source", "Where it stands.")),
		list("events", "What happened on the farm.", at("at", "When."), text("what", "What."), number("tonnes", "t", "Of bedding; 0: not stated."), text("effect_kwh", "What it moved, in words."), text("beside", "Changes found near it.")))
}
