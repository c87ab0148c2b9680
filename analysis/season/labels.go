package season

import (
	"math"

	"yardheat/analysis/doubt"
)

// labels are the words that every view prints for a figure of results.json.
var labels = map[string]string{
	"ua_w_per_k":          "Loop: heat-transfer coefficient UA",
	"u_w_per_m2_k":        "Loop: U on the inside surface",
	"per_metre_w_per_m_k": "Loop: coefficient per metre",
	"time_constant_h":     "Loop: time constant",
	"supply_w_per_k":      "Loop: supply from bed to slab",
	"steady_w_per_k":      "Loop: coefficient in lasting flow",
	"slab_kj_per_k":       "Loop: heat capacity of the slab",
	"bed_offset_k":        "Loop: bed offset",
	"volume_ratio":        "Loop: volume ratio, fitted to built",
	"approach_k":          "Loop: approach, bed to soaked water",
	"effectiveness":       "Loop: effectiveness of a draw",

	"recovery_fraction":   "Plant: share of the rejected heat caught",
	"heat_caught_kwh":     "Plant: heat caught",
	"heat_rejected_kwh":   "Plant: heat rejected",
	"milk_heat_kwh":       "Heat taken from the milk",
	"compressor_kwh":      "Compressor electricity",
	"standing_gain_kw":    "Standing gain of the cold store",
	"cop":                 "Plant: cooling per compressor kWh (COP)",
	"plate_effectiveness": "Plate: effectiveness",
	"caught_per_kwh":      "Plant: heat caught per compressor kWh",
	"rejected_per_kwh":    "Plant: heat rejected per compressor kWh",
	"recovery_per_k":      "Plant: share caught, change per kelvin of warmer water into the plate",
	"effectiveness_per_k": "Plate: effectiveness, change per kelvin of warmer water",
	"left_kwh":            "Plant: heat left behind when the plate's water stopped early",
	"plate_flow_l_min":    "Plate: flow while water flows",
	"plate_in_c":          "Plate: water in",

	"loop_kwh":         "Heat from the yard",
	"plant_kwh":        "Heat from the milk",
	"element_kwh":      "Heat from the socket (element)",
	"wash_kwh":         "Heat in the wash water",
	"other_use_kwh":    "Heat in other hot water used",
	"store_change_kwh": "Change of heat in the tanks",
	"loss_kwh":         "Heat lost from the tanks",
	"unexplained_kwh":  "Unexplained",

	"element_solar_kwh":   "Element electricity from own solar",
	"element_movable_kwh": "Element electricity that own solar could have given",
	"pump_kwh":            "Pump electricity",

	"baseline_kwh": "Energy the alternative would have used",
	"used_kwh":     "Electricity used by element and pumps",
	"saved_kwh":    "Final energy saved",
	"money":        "Money saved",
	"co2_kg":       "CO2 saved",
	"heat_per_kwh": "Wash heat per kWh of electricity used",

	"avoided_kwh":            "Energy avoided, at each day's own conditions",
	"normalised_kwh":         "Energy saved, at fixed conditions",
	"compressor_extra_kwh":   "Compressor: electricity more than without recovery",
	"unused_kwh":             "Heat put in that was neither used nor stored",
	"money_per_year":         "Money saved a year, before upkeep",
	"payback_years":          "Payback, simple",
	"cost_per_kwh_recovered": "Cost of a kWh recovered from yard and milk",

	"mean_c":             "Bed temperature, mean",
	"heat_w_per_m2":      "Heat extracted per square metre, while covered",
	"heat_kwh_per_m2":    "Heat extracted per square metre",
	"heat_kwh_per_tonne": "Heat extracted per tonne of bedding",
	"heat_kwh_per_day":   "Heat extracted a day, while covered",
	"dip_k":              "Dip of the bed's probe after a draw",
	"recovery_h":         "Hours until the bed is half way back",
	"response_k_per_kwh": "Bed temperature, change per kWh taken in a day",
	"trend_k_per_week":   "Bed temperature, drift a week",
}

func named(key string, f Figure) Named { return Named{Key: key, Label: labels[key], Figure: f} }

// unknown is a figure that the data can't give.
func unknown(key, unit string, basis doubt.Basis, why string) Named {
	nan := math.NaN()
	return named(key, doubt.Make(nan, nan, nan, unit, basis, 0, 0, why))
}
