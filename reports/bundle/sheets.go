package bundle

import "strings"

// about is one header of the workbook that is no column of package rows and no
// figure.
type about struct{ sheet, head, kind, unit, meaning string }

// aboutHead finds what a header means: on that sheet, else on any.
func aboutHead(sheet, head string) (about, bool) {
	var any about
	found := false
	for _, a := range heads {
		switch {
		case !a.heads(head):
		case a.sheet == sheet:
			return a, true
		case a.sheet == "":
			any, found = a, true
		}
	}
	return any, found
}

// heads describe the workbook's headers; sheet "" = wherever it stands. A test
// holds them against the sheets.
var heads = [...]about{
	{"", "Value (in the unit)", "number", "that of the column Unit", "The figure; empty = not known. Known from one side only: the known end."},
	{"", "Low end", "number", "that of the column Unit", "Low end of the interval; empty = not known."},
	{"", "High end", "number", "that of the column Unit", "High end of the interval; empty = not known."},
	{"", "Unit", "text", "", "Unit of the figure beside it."},
	{"", "Basis", "text", "", "metered: summed from readings. fitted: found by fitting a model. estimated: rests on a stated or assumed figure."},
	{"", "Confidence", "number", "", "Of the interval, 0 to 1."},
	{"", "Cycles or draws", "number", "", "How many stand behind the figure."},
	{"", "Share of the period seen", "number", "", "Coverage, 0 to 1."},
	{"", "Why missing", "text", "", "Why the value or an end is not known."},
	{"", "Figure", "text", "", "Which figure, in words or by its key."},
	{"", "Key in results.json", "text", "", "Under which key results.json has it."},
	{"", "From (UTC)", "time", "", "Start of the stretch, in UTC."},
	{"", "From (local)", "time", "", "The same, by the farm's clocks."},
	{"", "To (UTC)", "time", "", "End of the stretch, in UTC."},
	{"", "To (local)", "time", "", "The same, by the farm's clocks."},
	{"", "Cycles", "number", "", "Cycles in it."},
	{"", "Its own error (95 %)", "text", "", "Error of the probe or stated figure, half-width at 95 %."},
	{"", "Assumed", "yes or no", "", "farm.toml states no error: a default by kind."},
	{"", "First (UTC)", "time", "", "First time, in UTC."},
	{"", "First (local)", "time", "", "The same, by the farm's clocks."},
	{"", "Last (UTC)", "time", "", "Last time, in UTC."},
	{"", "Last (local)", "time", "", "The same, by the farm's clocks."},
	{"", "Kind", "text", "", "shared: one error all season. random: differs from day to day."},

	{"Meters", "No.", "number", "", "Number in the drawing of the boundary."},
	{"Meters", "Tag", "text", "", "Log and column."},
	{"Meters", "Quantity", "text", "", "Quantity of farm.toml."},
	{"Meters", "Place", "text", "", "Place of farm.toml."},
	{"Meters", "Position", "text", "", "Where it sits, in words."},
	{"Meters", "Kind", "text", "", "How it logs."},
	{"Meters", "Error, 95 %", "text", "", "Its own error, half-width at 95 %."},
	{"Meters", "Fit", "text", "", "How the probe is fitted."},
	{"Meters", "Unit as found", "text", "", "As written in the file."},
	{"Meters", "Unit as used", "text", "", "As the readings are kept."},
	{"Meters", "Conversion", "text", "", "From the one to the other."},
	{"Meters", "Usual interval (s)", "number", "s", "Between its readings."},
	{"Meters", "Smallest step seen (unit as used)", "number", "that of the column Unit as used", "Its resolution as the readings show it."},
	{"Meters", "Readings expected", "number", "", "At the usual interval; -1: an event log."},
	{"Meters", "Received", "number", "", "Readings."},
	{"Meters", "Valid", "number", "", "Readings that were not flagged."},
	{"Meters", "Flagged: …", "number", "", "Readings flagged by that test."},
	{"Meters", "Not covered (h)", "number", "h", "The longest gap."},
	{"Left out", "What", "text", "", "What was left out."},
	{"Left out", "Rule", "text", "", "By which rule."},
	{"Left out", "Of", "text", "", "Of what."},
	{"Left out", "Number", "number", "", "How many."},
	{"Left out", "Hours", "number", "h", "How long."},
	{"Balance by week", "Cycles used", "number", "", "Whole cycles with every term."},
	{"Balance by week", "Errors explain it", "yes or no", "", "Whether the interval of the unexplained holds 0."},
	{"Balance by week", "In: loop, plate, element…", "number", "kWh", "Heat in: value, or an end of its interval."},
	{"Balance by week", "Drawn off…", "number", "kWh", "Heat drawn off: value, or an end of its interval."},
	{"Balance by week", "Lost from the tanks…", "number", "kWh", "Heat lost: value, or an end of its interval."},
	{"Balance by week", "Stayed in the tanks…", "number", "kWh", "Change in the tanks: value, or an end of its interval."},
	{"Balance by week", "Unexplained…", "number", "kWh", "What is left: value, or an end of its interval."},
	{"Boundaries", "Boundary", "text", "", "Its letter."},
	{"Boundaries", "Key", "text", "", "By its key in results.json."},
	{"Boundaries", "What", "text", "", "What is counted."},
	{"Boundaries", "Is", "text", "", "What lies inside."},
	{"Boundaries", "Value (kWh)", "number", "kWh", "Energy; empty = not known."},
	{"Boundaries", "Low end (kWh)", "number", "kWh", "Low end of its interval."},
	{"Boundaries", "High end (kWh)", "number", "kWh", "High end of its interval."},
	{"Boundaries", "Per kWh of electricity", "number", "", "The same over the electricity named beside it."},
	{"Boundaries", "Electricity of", "text", "", "Which electricity that is."},
	{"Effects of assumptions", "Assumption", "text", "", "Which, by its id."},
	{"Effects of assumptions", "Value", "text", "that of the column Unit", "What it is set to."},
	{"Effects of assumptions", "Source", "text", "", "Where it comes from."},
	{"Effects of assumptions", "Chosen by", "text", "", "farm.toml, or a default."},
	{"Effects of assumptions", "…, change if a fifth less", "number", "that in the header", "By how much the figure changes with the assumption a fifth less."},
	{"Effects of assumptions", "…, change if a fifth more", "number", "that in the header", "By how much the figure changes with the assumption a fifth more."},
	{"Prices and factors", "Key", "text", "", "Key of farm.toml."},
	{"Prices and factors", "What", "text", "", "In words."},
	{"Prices and factors", "Value", "number", "that of the column Unit", "The price or factor."},
	{"Prices and factors", "Since (local)", "time", "", "From when, by the farm's clocks."},
	{"Prices and factors", "Holds", "text", "", "At which hours."},
	{"Prices and factors", "Source", "text", "", "Where it comes from."},
	{"", "As reported", "number", "that of the column Unit", "The figure as results.json has it, beside the formula."},
	{"", "As shown in the report", "text", "", "The text that every view prints, rounded by GUM 7.2.6."},
	{"", "Comes from", "text", "", "Sheet and rows that the formula adds up."},
	{"", "Difference", "number", "that of the column Unit", "The formula's value less the figure as reported: what changed with the Assumptions."},
	{"Months", "Rows of Cycles", "text", "", "Rows of the sheet Cycles that belong to it."},
	{"Assumptions", "What it is", "text", "", "Price, factor or efficiency, in words."},
	{"Assumptions", "Value: change it here", "number", "that of the column Unit", "What every formula of the workbook takes."},
	{"Assumptions", "As reported", "number", "that of the column Unit", "What the report took."},
	{"Assumptions", "Changed (1)", "number", "", "1: the value is another than that of the report."},
	{"Assumptions", "Key in farm.toml", "text", "", "Where it is stated."},
	{"Assumptions", "Who states it", "text", "", "farm.toml, or a default."},
	{"Assumptions", "Where it comes from", "text", "", "As the farm says."},
	{"Assumptions", "What follows", "text", "", "Which figures follow it."},
	{"Whole period", "Of", "text", "", "Which sum."},
	{"Whole period", "Key", "text", "", "By its key."},
	{"Whole period", "As seen (kWh)", "number", "kWh", "Sum over what was seen."},
	{"Whole period", "Put in for what was not seen (kWh)", "number", "kWh", "Sum of what stands for the gaps."},
	{"Whole period", "Whole period (kWh)", "number", "kWh", "Both together."},
	{"Whole period", "Mean of the cycles behind it (kWh per hour seen)", "number", "kWh/h", "What a gap is filled by."},
	{"Whole period", "Price", "number", "currency/kWh", "Of the sheet Assumptions."},
	{"Whole period", "Cost", "number", "currency", "Energy × price."},

	{"Summary", "About", "text", "", "Which part of the account."},

	{"Months", "Month or season", "text", "", "YYYY-MM in farm time, or the name of a [[season]]."},
	{"Months", "Kind", "text", "", "month, or the kind of the season: normal, recovery_off, before."},
	{"Months", "Milk (L)", "number", "L", "Milk of its cycles."},
	{"Months", "Water through the loop (L)", "number", "L", "Seen in its cycles."},
	{"Months", "Water through the plate (L)", "number", "L", "Seen in its cycles."},
	{"Months", "Wash water (L)", "number", "L", "Seen in its cycles."},

	{"Fits", "Of", "text", "", "The loop, the plant, or a stretch of days of the loop."},

	{"Changes", "Date (UTC)", "time", "", "The date found for the step, in UTC."},
	{"Changes", "Date (local)", "time", "", "The same, by the farm's clocks."},
	{"Changes", "Not before (UTC)", "time", "", "Low end of the date's 95 % interval."},
	{"Changes", "Not after (UTC)", "time", "", "High end of it."},
	{"Changes", "What changed", "text", "", "In words."},
	{"Changes", "Key", "text", "", "By its key."},
	{"Changes", "Before", "number", "that of the column Unit", "Mean before the step, back to the step before."},
	{"Changes", "Before, low end", "number", "that of the column Unit", "Low end of its interval."},
	{"Changes", "Before, high end", "number", "that of the column Unit", "High end of it."},
	{"Changes", "After", "number", "that of the column Unit", "Mean after the step, up to the next."},
	{"Changes", "After, low end", "number", "that of the column Unit", "Low end of its interval."},
	{"Changes", "After, high end", "number", "that of the column Unit", "High end of it."},
	{"Changes", "Unit of the step", "text", "", "Unit of the three columns that follow."},
	{"Changes", "Step", "number", "that of the column Unit of the step", "The step at the date."},
	{"Changes", "Step, low end", "number", "that of the column Unit of the step", "Low end of its interval."},
	{"Changes", "Step, high end", "number", "that of the column Unit of the step", "High end of it."},
	{"Changes", "On the farm near that date", "text", "", "Events of farm.toml."},
	{"Changes", "In words", "text", "", "The step in one sentence. The readings name no cause."},

	{"Budget", "Source of error", "text", "", "The probe or farm-file key."},
	{"Budget", "Share of the variance", "number", "", "How much of the figure's spread it makes, 0 to 1."},
	{"By instrument", "Instrument or figure", "text", "", "The instrument, or the figure that farm.toml states."},

	{"Improve", "In one line", "text", "", "The one measure at the farm that would narrow the figure the most."},
	{"Improve", "Narrower by (share)", "number", "", "By what share the interval would shrink."},
	{"Improve", "Then: low end", "number", "that of the column Unit", "Low end as it would then be."},
	{"Improve", "Then: high end", "number", "that of the column Unit", "High end as it would then be."},

	{"Baseline", "Baseline", "text", "", "alternative, recovery_off or before: what the electricity used is held against; Cost: the outlay."},
	{"Baseline", "Chosen", "text", "", "yes: the saving is by this one."},
	{"Baseline", "What", "text", "", "The figure, coefficient, measure of the fit, sentence or warning."},
	{"Compared probes", "First probe, or figure", "text", "", "The first of the two; below, the probe or headline figure."},
	{"Compared probes", "Other probe", "text", "", "The second."},
	{"Compared probes", "From", "text", "", "stated, bath, still: how it is known. taken off: what was taken off readings. before: a figure had nothing been compared."},
	{"Compared probes", "Used", "yes or no", "", "Whether it was taken off."},
	{"Compared probes", "Difference or value", "number", "that of the column Unit", "First less other; below, the figure."},
	{"Compared probes", "Stretches", "number", "", "Stretches of still or stirred water behind it."},
	{"Compared probes", "Why not", "text", "", "Why it was not used."},

	{"Sources", "File", "text", "", "Original, relative to the farm folder."},
	{"Sources", "Sheet", "text", "", "Sheet of a workbook, or member of an archive."},
	{"Sources", "Size (bytes)", "number", "bytes", "Size of the original."},
	{"Sources", "SHA-256", "text", "", "Of its bytes, in hexadecimal."},
	{"Sources", "Rows", "number", "", "Rows with a stamp."},
	{"Sources", "Rows kept", "number", "", "Rows of which at least one reading was kept."},
	{"Sources", "Readings flagged", "text", "", "How many, by test."},
	{"Sources", "Zone of the stamps", "text", "", "Zone in which they were read."},
	{"Sources", "Clock ahead (s)", "number", "s", "Stamp minus true time at mid-file; taken off."},
	{"Sources", "Clock drift (s per day)", "number", "s/d", "How fast the clock gains; taken off."},
	{"Sources", "Clock", "text", "", "keep, given, found, not found: where the correction comes from."},
	{"Sources", "Corrections", "text", "", "What was corrected, in words."},
	{"Sources", "Columns not read", "text", "", "Columns that farm.toml does not name."},

	{"Problems", "Code", "text", "", "Code of the problem or caution."},
	{"Problems", "Severity", "text", "", "note, doubt, left out, or caution."},
	{"Problems", "File", "text", "", "Which file."},
	{"Problems", "Where", "text", "", "Line, cell or column."},
	{"Problems", "What", "text", "", "What, in words."},
	{"Problems", "Because", "text", "", "The reading that raised the caution."},

	{"Definitions", "Term or setting", "text", "", "A word of this workbook, or an option by its name."},
	{"Definitions", "Meaning or value", "text", "", "What it means, or what it was set to."},
	{"Definitions", "From", "text", "", "definition, program (what the program says of itself), or where the setting comes from."},
}

// heads tells whether this is said of a header; an … stands for any text.
func (a about) heads(head string) bool {
	before, after, open := strings.Cut(a.head, "…")
	return a.head == head || open && len(head) >= len(before)+len(after) && strings.HasPrefix(head, before) && strings.HasSuffix(head, after)
}
