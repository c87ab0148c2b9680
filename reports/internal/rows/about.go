package rows

// About is what a column holds and how it comes about; Made is "" where the
// meaning says it.
type About struct{ Meaning, Made string }

// AboutCycles, AboutDraws and AboutWashes say of every column of Cycles, Draws
// and Washes, by its key, what it is. A test holds them against the columns.
func AboutCycles() map[string]About {
	return map[string]About{
		"cycle":                {"Number of the cycle, from 1: from one milking's start to the next.", "milkings from the list, from stated times, or found in the logs"},
		"start":                {"Start of the cycle.", "start of a milking, or midnight where milkings lie too far apart"},
		"end":                  {"End of the cycle, the start of the next.", ""},
		"month":                {"Month in which it starts, in farm time.", ""},
		"milking_end":          {"End of the milking.", "from the list or the stated times; empty: none is known"},
		"milk_l":               {"Milk of the milking.", "from the list, or metered"},
		"milk_in_c":            {"Milk into refrigerated cooling.", "from the list, or metered"},
		"milk_out_c":           {"Milk out of refrigerated cooling.", "from the list, or metered"},
		"milk_kwh":             {"Heat taken from the milk.", "litres × density × specific heat × (milk in − milk out)"},
		"loop_l":               {"Water through the loop.", "metered; without a meter, draws × loop.draw_l"},
		"loop_kwh":             {"Heat that the water gained across the loop.", "flow × heat capacity of water × (loop_out_temp − loop_in_temp), summed"},
		"plate_l":              {"Water through the plate.", "metered, or hours × plate.flow_l_min"},
		"plant_kwh":            {"Heat that the water gained across the plate.", "flow × heat capacity of water × (plate_out_temp − plate_in_temp), summed"},
		"element_kwh":          {"Electricity of the element.", "metered, or hours on × its rated power"},
		"wash_l":               {"Wash water, rinses among it.", "metered; without a meter, from the tank's refills"},
		"wash_kwh":             {"Heat in the wash water above the cold feed.", "litres × heat capacity of water × (wash_temp − feed_c), summed"},
		"other_use_kwh":        {"Heat in other hot water used.", "metered"},
		"pump_kwh":             {"Electricity of the pumps.", "metered, or hours on × rated power"},
		"compressor_kwh":       {"Electricity of the compressor.", "metered, or hours on × its rated power"},
		"store_change_kwh":     {"Heat in the tanks at the end less at the start.", "tank volume × heat capacity of water × temperature, by layers"},
		"loss_kwh":             {"Heat lost from the tanks.", "fitted to the tank's cooling while nothing flows"},
		"unexplained_kwh":      {"What the account leaves open.", "loop + plant + element − wash − other use − change in the tanks − loss; a loss that is not known stays in it"},
		"feed_c":               {"Cold feed.", "flow-weighted over the cycle's draws, else over the nearest within 3 days, else [mains]"},
		"wash_c":               {"Wash water, flow-weighted mean.", "over all wash water of the cycle"},
		"baseline_kwh":         {"Energy that the alternative heater would have used.", "(wash + other use) / instead.efficiency, on heat delivered up to wash.heat_to_c, + instead.standing_loss_kwh_per_day"},
		"saved_kwh":            {"Final energy saved.", "baseline_kwh − element_kwh − pump_kwh"},
		"milk_cold_after_2h_c": {"Milk two hours after the milking.", "metered, or as the list has it"},
		"coverage":             {"Share of the cycle that was seen.", "the smallest share among the terms that the farm logs"},
		"not_covered":          {"What is logged on this farm but not covered in this cycle, and so is blank.", ""},
		"whole":                {"Whether both ends lie inside the period.", ""},
		"used_in_recovery":     {"Whether it counts in the recovery fraction.", ""},
	}
}

// AboutDraws is AboutCycles for draws.
func AboutDraws() map[string]About {
	return map[string]About{
		"draw":          {"Number of the draw, from 1: a refill through the loop.", ""},
		"start":         {"Start of the flow.", ""},
		"end":           {"End of the flow.", ""},
		"litres":        {"Water drawn.", "metered, or loop.draw_l"},
		"loop_volumes":  {"Water drawn, in volumes of the loop; the wall's heat capacity counts as water.", ""},
		"in_c":          {"Water into the loop.", "flow-weighted mean"},
		"out_c":         {"Water out of the loop.", "flow-weighted mean"},
		"bed_c":         {"Bed.", "mean of its probes over the draw"},
		"heat_kwh":      {"Heat that the water gained.", "flow × heat capacity of water × (out − in), summed"},
		"effectiveness": {"Temperature gained, divided by bed minus feed.", "(out_c − in_c) / (bed_c + the fitted offset of the bed − in_c)"},
		"approach_k":    {"Bed minus the water that had soaked in the loop.", "from the litres that stood in it before the draw"},
		"rmse_k":        {"Root mean square of outlet read less outlet modelled.", ""},
		"used":          {"Whether it counts in the fit.", ""},
		"why":           {"Why it does not.", ""},
	}
}

// AboutWashes is AboutCycles for washes.
func AboutWashes() map[string]About {
	return map[string]About{
		"at":       {"Start.", ""},
		"end":      {"End.", ""},
		"cycle":    {"Number of its cycle.", ""},
		"temp_c":   {"Temperature of the wash.", "flow-weighted mean once flushed; without a wash meter the tank as its refill begins to follow the wash"},
		"end_c":    {"Temperature at its end.", ""},
		"litres":   {"Water.", "metered; without a meter the refill's litres"},
		"heat_kwh": {"Heat above the cold feed.", "litres × heat capacity of water × (temperature − feed), summed"},
		"rinse":    {"Whether it was a rinse, never hot.", ""},
		"too_cool": {"Whether it was cooler than wash.target_c.", ""},
		"reason":   {"Why it was too cool.", "from the element's hours and the tank before the wash"},
	}
}
