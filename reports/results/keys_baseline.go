package results

// savingMoreKeys are those of what a saving is held against, and of its cost.
func savingMoreKeys() []Key {
	return []Key{
		object("baseline", "The baseline chosen.", baselineKeys()...),
		list("baselines", "All that the electricity used can be held against, side by side.", baselineKeys()...),
		text("compressor_extra_text", "What compressor_extra_kwh rests on, and whether it is charged; \"\" = not known."),
		object("cost", "What the recovery costs, from [cost], without interest.",
			yesNo("stated", "farm.toml has [cost]."), number("capital", Currency, "Outlay."), number("upkeep_per_year", Currency, "Upkeep a year."),
			number("years", "years", "Years over which the outlay is spread."), text("source", "Where these come from."), text("year", "How the record was taken for a year."),
			optional(figureOf("money_per_year", Currency, "Money saved a year, before upkeep.", "")),
			optional(figureOf("payback_years", "years", "Simple payback.", "capital / (money_per_year − upkeep)")),
			optional(figureOf("cost_per_kwh_recovered", Currency, "Cost of a kWh caught in loop and plate.", "(capital/years + upkeep + pump electricity) / heat a year"))),
	}
}

func baselineKeys() []Key {
	keys := []Key{one("kind", "What the electricity used is held against.", "", "alternative", "recovery_off", "before"), yesNo("chosen", "The saving is by this one."),
		text("basis", "What it is, in a sentence."), optional(text("why", "Why it gives no number."))}
	for _, k := range figures("baseline_kwh", "used_kwh", "avoided_kwh", "normalised_kwh", "money", "co2_kg") {
		keys = append(keys, optional(k))
	}
	return append(keys, optional(text("fixed", "The conditions of normalised_kwh.")), optional(object("model", "A day's electricity, by least squares.",
		at("from", "Start of the days without recovery."), at("to", "Their end."), count("days", "Days used."), count("reported", "Days reported on."),
		number("n_effective", "", "Days that the related ones are worth."), number("rmse_kwh", "kWh", "RMSE of a day."), number("cv_rmse", "", "RMSE over the mean day."),
		number("nmbe", "", "Σ(measured − predicted) / ((n − p) mean)."), number("r2", "", "R² about the mean; decides nothing."), number("lag1", "", "Lag-one correlation of the residuals."),
		number("rho", "", "Correlation of neighbouring days taken."), number("days_low_kwh", "kWh", "Low end of the total by the days alone, exact."), number("days_high_kwh", "kWh", "High end."),
		number("boot_low_kwh", "kWh", "The same by blocks of days drawn anew."), number("boot_high_kwh", "kWh", "High end."), optional(text("boot_why", "Why none were drawn.")),
		number("quick_half_kwh", "kWh", "Half-width by the short form, for comparison."), number("day_kwh", "kWh", "A single day at the mean conditions."),
		number("day_low_kwh", "kWh", "Low end of its own interval."), number("day_high_kwh", "kWh", "High end."),
		list("terms", "The coefficients.", text("variable", "Of farm.toml's baseline.variables."), text("unit", "Of the coefficient."), number("coefficient", "", "Its value."),
			number("coefficient_low", "", "Low end."), number("coefficient_high", "", "High end."), number("sd", "", "Standard deviation."),
			number("range_low", "", "Lowest day of the baseline."), number("range_mean", "", "Mean day."), number("range_high", "", "Highest day."),
			number("reported_low", "", "Lowest day reported on."), number("reported_high", "", "Highest day reported on."), count("days_outside", "Days reported on outside the range.")),
		list("warnings", "What to look at.", text("text", "In a sentence.")))))
}
