package workbook

import (
	"strings"

	"yardheat/analysis/season"
)

// meanings are the columns by cycle that milkings.csv has not, by the start of
// their keys.
var meanings = [...]struct{ sheet, key, text string }{
	{cyclesName, "hours", "The cycle's length."},
	{cyclesName, "seen:", "Sum over all that was seen of the cycle, whether or not that is enough for a row of its own: totals as seen add these up. The column of the same name further left is empty where too little was seen."},
	{cyclesName, "above_kwh", "Heat in wash and other hot water above wash.heat_to_c, as seen: the alternative would not have had to give it."},
	{cyclesName, "sun_low", "Of the element's electricity, from own solar at least: the element last in line for it."},
	{cyclesName, "sun_high", "Of the element's electricity, from own solar at most: the element first in line for it. Money and CO2 take the middle of both."},
	{cyclesName, "line:", "Electricity used while this price held, by the clock of each reading; of own solar the middle of both ends."},
	{cyclesName, "power_cost", "Electricity of element and pumps at the price of each line, own solar taken off and priced at what it would have earned."},
	{cyclesName, "fuel_price", "The price that held when the cycle began."},
	{cyclesName, "fuel_cost", "What the alternative would have used, at that price."},
	{cyclesName, "counts_saving", "1: wash, other use, element and pumps are all covered. The saving as seen, its money and its CO2 are sums over these cycles."},
	{cyclesName, "counts_unexplained", "1: the cycle is whole and has every term of the balance."},
	{cyclesName, "counts_unused", "1: the cycle is whole and has every term of the balance but the tanks' loss."},
	{cyclesName, "counts_recovery", "1: the cycle is whole and has plate heat, milk heat and compressor electricity."},
	{unseenName, "cycle", "Number of the cycle, as on the sheet Cycles."},
	{unseenName, "share:", "Share of the cycle's heat or electricity that was seen, by time and, within it, by litres."},
	{unseenName, "behind:", "1: covered well enough to stand behind the mean per hour on the sheet Whole period."},
	{unseenName, "added:", "What stands for the part not seen. Behind the mean: mean per hour × hours × (1 − share). Else: what mean × hours is more than was seen."},
	{unseenName, "usual:", "How a kWh of this use would fall on this price at the hours at which the use usually runs."},
}

// meaning of a column by cycle; "" where the sheet's definitions say it already.
func (g *grown) meaning(key string) string {
	for _, m := range meanings {
		if m.sheet == g.name && (m.key == key || strings.HasSuffix(m.key, ":") && strings.HasPrefix(key, m.key)) {
			return m.text
		}
	}
	return ""
}

// Meanings say what the columns of the sheets Cycles and Not seen hold beyond
// those of milkings.csv: by sheet, then by header.
func Meanings(s *season.Season) map[string]map[string]string {
	b := newBooks(s, nil)
	out := map[string]map[string]string{}
	for _, g := range []*grown{b.cycles, b.unseen} {
		if g == nil {
			continue
		}
		out[g.name] = map[string]string{}
		for _, c := range g.columns {
			if text := g.meaning(c.key); text != "" {
				out[g.name][c.head.text] = text
			}
		}
	}
	return out
}

// meaningRows define those columns, each under its letter.
func meaningRows(b *books) [][]any {
	var out [][]any
	for _, g := range []*grown{b.cycles, b.unseen} {
		if g == nil {
			continue
		}
		said := map[string]bool{}
		for i, c := range g.columns {
			text := g.meaning(c.key)
			if text == "" || said[text] {
				continue
			}
			said[text] = true
			name := c.head.text
			if k := strings.IndexByte(c.key, ':'); k >= 0 {
				name += ", and the like"
			}
			out = append(out, []any{g.name + ", column " + letter(i) + ": " + name, text, "definition"})
		}
	}
	return out
}
