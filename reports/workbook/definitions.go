package workbook

import (
	"fmt"
	"strings"

	"yardheat/analysis/season"
)

// words define what the sheets print. Read-only.
var words = [...][2]string{
	{"Value, low end, high end", "The figure and the ends of its interval. An empty cell is not known; the column Why missing says why. Where one end is empty the figure is known from one side only."},
	{"Basis", "metered: summed from readings. fitted: found by fitting a model to readings. estimated: rests on a stated or assumed figure."},
	{"Value, as reported, difference", "Value: a formula over the sheets Cycles and Assumptions wherever the column Comes from names cells; a spreadsheet computes it again when an assumption is changed. As reported: what the report says, a value. Difference: 0 while both agree to nine digits."},
	{"Low and high ends, the text as shown", "Values from the trials with the assumptions as reported. Where the number above the Summary is not 0 an assumption was changed, and they hold no longer: change farm.toml and make the report again."},
	{"Comes from", "The cells that a figure is made of: Cycles!AJ2:AJ60 where AX=1 are the rows of that column in which column AX is 1. A value without a formula names the readings or the fit that it comes from."},
	{"Whole period", "As seen, plus what is put in for what was not seen: the covered cycles' mean per hour, for the hours missing (sheet Not seen). Money of what was not seen: at the prices of the hours at which that use usually runs."},
	{"electricity.rate[2], instead.price_since[2]", "The second of the rates, or dated prices, by the date from which they hold; of those without a date, or of one date, by their order in farm.toml."},
	{"UTC, local", "Every time stands twice: in UTC, and on the clocks of the farm's time zone, daylight saving included."},
	{"loop_kwh, plant_kwh", "Heat that the water gained across the loop and across the plate, as metered."},
	{"wash_kwh", "Heat in the wash water above the cold feed of its cycle."},
	{"recovery_fraction", "Heat caught at the plate, divided by the heat taken from the milk plus compressor electricity plus the standing gain of the cold store."},
	{"cop", "Cold side: heat taken from the milk plus standing gain, per kWh of compressor electricity. Fans, pumps and agitators are not in it."},
	{"rejected_per_kwh", "Hot side: milk heat plus standing gain plus compressor electricity, per kWh of compressor electricity: what there was to catch."},
	{"caught_per_kwh", "Water side: heat caught at the plate per kWh of compressor electricity. The compressor runs for the milk, not for the water."},
	{"recovery_per_k, effectiveness_per_k", "By how much the share caught and the plate's effectiveness go with the temperature of the water that enters the plate, over stretches of days: what went together in these data."},
	{"left_kwh", "Compressor electricity used after the plate's water had stopped within the same run of the compressor, at the heat caught per compressor kWh while the water flowed, from water as warm as it was when it stopped."},
	{"Own low end, own high end", "95 % interval by the scatter of the week's own days. The interval beside it is that of the sensors, which all weeks share: a change between weeks is judged by the first."},
	{"baseline_kwh", "(Wash heat + other use) / efficiency of the alternative, in kWh of its carrier, on heat delivered: heat above the temperature that the element heats to is not in it, and no tank loss is charged to the alternative."},
	{"used_kwh", "Electricity of the element and the pumps."},
	{"saved_kwh", "baseline_kwh − used_kwh: final energy across carriers. It is not priced."},
	{"money", "baseline × price of the alternative − grid electricity × its price at that hour − own solar × export price."},
	{"A wash's temperature", "Flow-weighted mean of the wash probe once flushed; without a wash meter, the tank's temperature when its refill begins to follow the wash, and the refill's litres."},
	{"element_movable_kwh", "What the element took from the grid and the farm's own sun could have given between the same two washes: no more than the sun left over, than the element's power takes and than the tank had room for. An estimate."},
	{"Approach", "Bed temperature minus the temperature of water that has soaked in the loop."},
	{"Effectiveness", "Temperature gained by a draw, divided by bed minus feed."},
	{"Share of the variance", "How much of a figure's spread an error makes. shared: one error for the whole season. random: differs from day to day."},
	{"By instrument", "The same shares added up by instrument or stated figure; each figure's column adds up to 1 (shares below 0.0005 are left out). What two compared probes have in common, or between them, is parted by the square of what each moves."},
	{"Compared probes", "First probe less other. stated: from farm.toml. bath: in one bucket while logging. still: in still water, used only where farm.toml asks for it. before: figures had nothing been compared."},
	{"As seen, whole period", "As seen: over the time that the readings cover. Whole period: the same, estimated for the gaps too."},
}

// definitions end with every setting in force.
func definitions(s *season.Season, b *books) table {
	t := table{name: "Definitions", wraps: true, heads: []head{{"Term or setting", 44}, {"Meaning or value", 110}, {"From", 14}}}
	for _, w := range words {
		t.rows = append(t.rows, []any{w[0], w[1], "definition"})
	}
	t.rows = append(t.rows, meaningRows(b)...)
	t.rows = append(t.rows,
		[]any{"made by", strings.TrimSpace("Yardheat " + s.Audit.Version), "program"},
		[]any{"report id", s.Audit.ReportID, "program"},
		[]any{"basis of the saving", s.Saving.Basis, "farm.toml"},
		[]any{"time zone", s.ZoneName, "farm.toml"},
		[]any{"trials", fmt.Sprint(s.Trials), "default"},
		[]any{"seed", fmt.Sprint(s.Seed), "default"})
	for _, one := range s.Settings {
		t.rows = append(t.rows, []any{one.Key, one.Value, one.Source})
	}
	return t
}
