package results

// bedFigures in the order of the file.
var bedFigures = []string{"mean_c", "heat_w_per_m2", "heat_kwh_per_day", "heat_kwh_per_m2", "heat_kwh_per_tonne", "dip_k", "recovery_h", "response_k_per_kwh", "trend_k_per_week"}

func bedKeys() Key {
	return object("bed", "What was extracted from the bed; not what the bed produced.", append(figures(bedFigures...),
		number("most_w_per_m2", "W/m2", "Highest mean extraction per square metre over bed.FluxDays whole days."),
		optional(at("most_from", "The first of them; only where it is known.")),
		list("since", "Stretches from one bedding or clearing to the next.",
			text("what", "The event that begins it; \"\" = the record's beginning."), at("from", "Its start."), at("to", "Its end."),
			number("days", "d", "How long."), number("heat_kwh", "kWh", "Heat taken in draws that begin in it."), number("heat_kwh_per_day", "kWh/d", "The same a day."),
			number("heat_kwh_per_m2", "kWh/m2", "The same over the bed's area."), number("tonnes", "t", "Bedding that the event states."),
			number("heat_kwh_per_tonne", "kWh/t", "Heat over it."), number("bed_c", "degC", "Mean of the bed's probes.")),
		list("signs", "Signs of more being taken than the bed keeps up; each held against its limit.",
			one("sign", "Which.", "bed-below", "bed-falling", "recovery-slower", "approach-grows", "extraction-high"),
			one("state", "What the record shows.", "seen", "not seen", "not known"),
			number("value", "", "What was found, in unit."), number("limit", "", "What it is held against."), text("unit", "Of both."), text("why", "Why it is not known; \"\" = it is.")),
		list("days", "The bed by local day.",
			at("from", "The day's first moment."), number("heat_kwh", "kWh", "Heat taken in draws that begin that day; null for a day cut by the period."),
			number("heat_w_per_m2", "W/m2", "The same per square metre over the day."), count("draws", "Draws that begin that day."),
			number("bed_c", "degC", "Mean of the bed's probes, where most of the day is covered."), number("air_c", "degC", "Mean of the air, likewise."),
			number("since_bedded_d", "d", "Days since the last bedding before that day."), number("since_cleared_d", "d", "Days since the last clearing.")))...)
}

func geometryKeys() Key {
	return object("geometry", "What pipe and bedding should pass by geometry and handbook conductivities, beside the fit. It corrects nothing.",
		text("why", "Why there is no such estimate; \"\" = there is."),
		number("spacing_m", "m", "From pipe to pipe: bed area over length."), number("flow_l_min", "L/min", "Mean flow of the draws."),
		number("water_c", "degC", "Mean water on its way."), number("reynolds", "1", "Reynolds number of one branch."),
		number("medium_low_w_per_m_k", "W/(m K)", "Least conductivity of the litters taken."), number("medium_high_w_per_m_k", "W/(m K)", "Greatest."),
		number("expected_low_w_per_k", "W/K", "The loop's coefficient with the least."), number("expected_high_w_per_k", "W/K", "With the greatest."),
		number("bare_w_per_k", "W/K", "Film and wall alone: no bedding gives more."),
		number("film_share", "1", "The film's share of the resistance at the greatest."), number("wall_share", "1", "The wall's."),
		figures("medium_fitted_w_per_m_k")[0],
		one("verdict", "Where the fitted coefficient lies.", "inside", "above", "below", "not known"), text("text", "What that may mean."))
}
