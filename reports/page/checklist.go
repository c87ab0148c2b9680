package page

// Item is one of the 26 things that a report on a saving holds, as
// reports/CHECKLIST.md lists them.
type Item struct {
	N    int
	What string
	// Anchor is the id at which the page has it; Note says what of it is not on
	// the page, and why; "" = nothing is missing.
	Anchor, Note string
}

// Checklist is the 26 items in their order.
func Checklist() []Item {
	return []Item{
		{1, "Title, site, period, report id, version, date, made by", "a-report", "The date stands in sources.json, so that this page is the same whenever it is made; who made it is written by hand."},
		{2, "Result in one sentence, with its interval, and against a criterion", "a-criterion", ""},
		{3, "Type of claim and option", "a-claim", ""},
		{4, "Boundary, meters, what is outside, interactive effects", "a-boundary", ""},
		{5, "Baseline and static factors", "a-baseline", "Who agreed to it is written by hand."},
		{6, "Routine adjustments", "a-adjustments", ""},
		{7, "Non-routine events", "a-events", "Their effect in kWh is not computed: what else changed at the time is not known."},
		{8, "Meters", "a-metering", "Make, class and date of calibration are not in farm.toml: written by hand."},
		{9, "Coverage by channel, and what was filled", "a-coverage", ""},
		{10, "Exclusions and their effect", "a-exclusions", "A reading that no test left out, but that no cycle could use, has no effect of its own: totals with and without what was not seen are shown."},
		{11, "Clocks", "a-clock", ""},
		{12, "Units as found and as used", "a-units", ""},
		{13, "Energy balance by week", "a-balance", ""},
		{14, "Heat by source, delivered, lost, topped up; solar share", "heat", ""},
		{15, "Parasitic electricity and ratios at each boundary", "a-boundaries", ""},
		{16, "Uncertainty budget", "a-budget", ""},
		{17, "Readings outside a meter's rated range", "a-ranges", "farm.toml states no ranges; small differences and flows are shown as shares instead."},
		{18, "Prices and carbon factors", "a-prices", ""},
		{19, "Assumptions, with what a fifth more or less of each does", "a-assumptions", ""},
		{20, "The five that matter most", "a-tornado", ""},
		{21, "Comparison with earlier periods and reports", "a-compared", "An earlier report is not read: a page that depends on what stood in the folder before would not come out the same again."},
		{22, "Cautions", "cautions", ""},
		{23, "What the data cannot say", "cannot", ""},
		{24, "Originals with hashes, settings, command line, seed, environment", "a-manifest", ""},
		{25, "Machine-readable results", "a-files", ""},
		{26, "Sign-off", "a-sign", ""},
	}
}
