package results

// meant is what a figure of the season is, wherever it stands.
type meant struct{ key, unit, meaning, made string }

// meanings of the figures, by key. A new figure is one row here and its key in
// keys.go.
var meanings = [...]meant{
	{"ua_w_per_k", "W/K", "Heat-transfer coefficient of the loop, on the water's side.", "fitted to the outlet readings of draws after the water has soaked; where the water comes out as warm as the bed, a lower bound"},
	{"u_w_per_m2_k", "W/(m2 K)", "The same per square metre of the pipe's inside surface.", "ua_w_per_k / (π × bore × length)"},
	{"per_metre_w_per_m_k", "W/(m K)", "The same per metre of pipe.", "ua_w_per_k / length"},
	{"time_constant_h", "h", "How long standing water takes to come within 1/e of the bed.", "1 / the fitted rate at which standing water takes on the bed's temperature"},
	{"supply_w_per_k", "W/K", "What the bed supplies to the slab around the pipe.", "fitted, where the model with a store stands"},
	{"steady_w_per_k", "W/K", "Coefficient in lasting flow, once the slab is drawn down.", "the water's side and the supply in series"},
	{"slab_kj_per_k", "kJ/K", "Heat capacity of the slab that gives its heat to the water.", "fitted, where the model with a store stands"},
	{"bed_offset_k", "K", "Bed at the pipe less the bed's probe.", "fitted"},
	{"volume_ratio", "1", "Volume of the loop as the water shows it, by that of farm.toml.", "fitted"},
	{"approach_k", "K", "Bed temperature minus the temperature of water that has soaked in the loop.", "metered, over draws that soaked"},
	{"effectiveness", "1", "Temperature gained by a draw, divided by bed minus feed.", "(out − in) / (bed + bed_offset_k − in) of the means by litres"},

	{"recovery_fraction", "1", "Share of the rejected heat that is caught at the plate.", "heat caught / (heat taken from the milk + compressor electricity + standing gain of the cold store), over the cycles that have all of them"},
	{"heat_caught_kwh", "kWh", "Heat caught at the plate in the cycles behind recovery_fraction.", "flow × heat capacity of water × (plate_out_temp − plate_in_temp), summed"},
	{"heat_rejected_kwh", "kWh", "Heat that the plant gave off in these cycles.", "milk heat + compressor electricity + standing gain"},
	{"milk_heat_kwh", "kWh", "Heat taken from the milk in these cycles.", "litres × density × specific heat × (milk in − milk out)"},
	{"compressor_kwh", "kWh", "Electricity of the compressor.", "metered, or hours on times its rated power"},
	{"standing_gain_kw", "kW", "Heat that leaks into the cold store.", "from plant.standing_gain_kw, else read off the line of heat caught against heat rejected, else 0 with its doubt"},
	{"cop", "1", "Cooling per kWh of compressor electricity; fans, pumps and agitators not in it.", "(milk heat + standing gain) / compressor electricity"},
	{"plate_effectiveness", "1", "How near the water comes to the refrigerant gas's temperature.", "(plate_out_temp − plate_in_temp) / (gas_in_temp − plate_in_temp), weighted by the water"},
	{"caught_per_kwh", "1", "Heat caught per kWh of compressor electricity.", "heat caught / compressor electricity"},
	{"rejected_per_kwh", "1", "Heat to be caught per kWh of compressor electricity.", "heat rejected / compressor electricity"},
	{"recovery_per_k", "1/K", "By how much the share caught goes with the temperature of the water into the plate.", "fitted over stretches of days: what went together in these data"},
	{"effectiveness_per_k", "1/K", "By how much the plate's effectiveness goes with it.", "fitted over stretches of days: what went together in these data"},
	{"left_kwh", "kWh", "Heat not caught because the plate's water had stopped before the compressor.", "compressor electricity of that time × heat caught per compressor kWh while water flowed"},
	{"plate_flow_l_min", "L/min", "Water flow through the plate while it flows.", "mean over the litres"},
	{"plate_in_c", "degC", "Water into the plate while it flows.", "mean over the litres"},

	{"loop_kwh", "kWh", "Heat that the water gained across the loop: heat from the yard.", "flow × heat capacity of water × (loop_out_temp − loop_in_temp), summed"},
	{"plant_kwh", "kWh", "Heat that the water gained across the plate: heat from the milk.", "flow × heat capacity of water × (plate_out_temp − plate_in_temp), summed"},
	{"element_kwh", "kWh", "Heat from the socket.", "electricity of the element: metered, or hours on times its rated power"},
	{"wash_kwh", "kWh", "Heat in the wash water above the cold feed of its cycle.", "wash litres × heat capacity of water × (wash_temp − cold feed), summed"},
	{"other_use_kwh", "kWh", "Heat in other hot water used.", "litres × heat capacity of water × (hot_use_temp − cold feed), summed"},
	{"store_change_kwh", "kWh", "Change of heat in the tanks.", "tank volume × heat capacity of water × (tank at the end − at the start), by layers"},
	{"loss_kwh", "kWh", "Heat lost from the tanks.", "fitted to the tank's cooling while nothing flows"},
	{"unexplained_kwh", "kWh", "What the account leaves open.", "loop + plant + element − wash − other use − change in the tanks − loss; a loss that is not known stays in it"},

	{"element_solar_kwh", "kWh", "Electricity of the element that came from the farm's own sun.", "from grid import and export, else from solar power"},
	{"element_movable_kwh", "kWh", "Electricity that the element took from the grid and the farm's own sun could have given between the same two washes.", "no more than the sun left over, the element's power and the room in the tank allow; an estimate"},
	{"pump_kwh", "kWh", "Electricity of the pumps.", "metered, or hours on times rated power"},

	{"baseline_kwh", "kWh", "Energy that the alternative heater would have used, in kWh of its carrier.", "(wash heat + other use) / instead.efficiency, on heat delivered up to wash.heat_to_c, + instead.standing_loss_kwh_per_day"},
	{"used_kwh", "kWh", "Electricity that was used for the same hot water.", "element + pumps"},
	{"saved_kwh", "kWh", "Final energy saved, across carriers; never priced.", "baseline_kwh − used_kwh"},
	{"money", Currency, "Money saved.", "baseline × instead.price_per_kwh − grid kWh × price at that hour − solar kWh × export price"},
	{"co2_kg", "kg", "CO2 saved.", "baseline × instead.co2_kg_per_kwh − grid kWh × electricity.co2_kg_per_kwh"},
	{"avoided_kwh", "kWh", "Energy avoided, at each day's own conditions.", "baseline_kwh − used_kwh − compressor_extra_kwh where distinct"},
	{"normalised_kwh", "kWh", "Energy saved at fixed conditions.", "difference of two models at the conditions of fixed"},
	{"compressor_extra_kwh", "kWh", "Compressor electricity more than without recovery.", "measured − expected by the days without"},
	{"unused_kwh", "kWh", "Heat put in that was neither used nor stored.", "loop + plant + element − wash − other use − store change"},
	{"heat_per_kwh", "1", "Wash heat per kWh of electricity used.", "wash_kwh / used_kwh"},

	{"mean_c", "degC", "Bed temperature.", "mean of the bed's probes over the time covered"},
	{"heat_w_per_m2", "W/m2", "Heat extracted per square metre of bed, while covered.", "loop_kwh / (loop.bed_area_m2 × hours covered)"},
	{"heat_kwh_per_m2", "kWh/m2", "Heat extracted per square metre of bed.", "loop_kwh / loop.bed_area_m2"},
	{"heat_kwh_per_day", "kWh/d", "Heat extracted a day, while covered.", "loop_kwh / days covered"},
	{"heat_kwh_per_tonne", "kWh/t", "Heat extracted per tonne of bedding.", "loop_kwh / tonnes of the events \"bedded\""},
	{"dip_k", "K", "How far the bed's probe dips after a draw.", "median over draws of the level in the hour before less the lowest after"},
	{"recovery_h", "h", "Hours from there until half of the dip is back.", "median over draws; a lower end where draws follow too soon"},
	{"response_k_per_kwh", "K/kWh", "How the bed's daily mean goes with the heat taken that day.", "least squares with air and drift; interval by autoregressive residuals"},
	{"trend_k_per_week", "K/week", "Drift of the bed's daily mean.", "the same fit"},
	{"medium_fitted_w_per_m_k", "W/(m K)", "Conductivity that the bedding must have for the fitted coefficient.", "ln(spacing / outside diameter) / (2 π (length/UA − film − wall))"},
}

// figures are keys that each hold a figure of meanings. A key without a row
// there gets no meaning, which a test refuses.
func figures(keys ...string) []Key {
	out := make([]Key, len(keys))
	for i, k := range keys {
		out[i], _ = FigureKey(k)
		out[i].Name, out[i].Kind = k, Figure
	}
	return out
}

// figureOf is a key that holds a figure with a meaning of its own.
func figureOf(key, unit, meaning, made string) Key {
	return Key{Name: key, Kind: Figure, Unit: unit, Meaning: meaning, Made: made}
}

// AnyUnit is the unit of a figure that is in that of another.
const AnyUnit = "as the figure it is about"

func anyFigure(key, meaning string) Key { return figureOf(key, AnyUnit, meaning, "") }

// FigureKeys are what a figure holds.
func FigureKeys() []Key {
	return []Key{
		number("value", "", "The figure; null = not known, and why says the reason. Known from one side only: the known end."),
		number("low", "", "Low end of the interval; null = not known."), number("high", "", "High end of the interval; null = not known."),
		text("unit", "Unit of value, low and high; \"1\" or \"\" = none."),
		share(number("confidence", "1", "Of the interval.")),
		one("basis", "metered: summed from readings. fitted: found by fitting a model. estimated: rests on a stated or assumed figure.", "metered", "fitted", "estimated"),
		count("n", "Cycles or draws behind it."), share(number("coverage", "1", "Share of the period that was seen.")),
		text("shown", "The text that every view prints, rounded by GUM 7.2.6."), optional(text("why", "Why value or an end is missing.")),
	}
}

// FigureKey is what the figure of a key means, wherever it stands.
func FigureKey(key string) (Key, bool) {
	for _, m := range meanings {
		if m.key == key {
			return figureOf(m.key, m.unit, m.meaning, m.made), true
		}
	}
	return Key{}, false
}
