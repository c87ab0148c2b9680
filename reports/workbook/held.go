package workbook

// byDays says where the figures of a saving told from days without recovery come
// from: a fit, which no sheet works out anew.
func byDays(key string) expr {
	switch key {
	case "baseline_kwh", "saved_kwh", "avoided_kwh", "normalised_kwh", "money", "co2_kg", "money_not_spent":
		return expr{from: "a model of the days without recovery, laid on the days reported on (coefficients: sheet Baseline)"}
	case "used_kwh", "money_spent":
		return expr{from: "readings of the days reported on (record.csv)"}
	case "compressor_extra_kwh":
		return expr{from: "a model of the compressor's electricity on the days without recovery"}
	}
	return expr{}
}
