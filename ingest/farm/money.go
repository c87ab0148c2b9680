package farm

import (
	"slices"
	"strings"
	"time"
)

// Bounds of prices: any currency. Spot prices of electricity fall below 0.
var (
	price     = span(0, 1e6, "")
	spotPrice = span(-1e6, 1e6, "")
	co2PerKWh = span(0, 5, "kg/kWh")
)

// moneyTables reads [instead], [electricity] and [cost].
func (r *reader) moneyTables(t *tab, f *Farm) {
	if it := t.table("instead"); it != nil {
		f.Instead = r.instead(it, f.Zone)
	}
	if et := t.table("electricity"); et != nil {
		f.Electricity = r.electricity(et, f.Zone)
	}
	if ct := t.table("cost"); ct != nil {
		c := &Cost{}
		ct.number("capital", &c.Capital, span(0, 1e12, ""))
		ct.number("upkeep_per_year", &c.UpkeepPerYear, span(0, 1e12, ""))
		ct.number("years", &c.Years, above0(100, "years"))
		ct.text("source", &c.Source)
		ct.close(nil)
		f.Cost = c
	}
}

func (r *reader) instead(t *tab, zone *time.Location) *Instead {
	i := &Instead{}
	t.text("carrier", &i.Carrier)
	t.need("efficiency", "heat delivered per kWh of the carrier, for example 0.9, or 3 for a heat pump")
	t.number("efficiency", &i.Efficiency, above0(5, "(0.9 for 90 %)"))
	i.HasPrice = t.number("price_per_kwh", &i.PricePerKWh, price)
	i.HasCO2 = t.number("co2_kg_per_kwh", &i.CO2KgPerKWh, co2PerKWh)
	t.text("currency", &i.Currency)
	t.text("source", &i.Source)
	i.PriceSince = r.priceSince(t, zone)
	t.number("standing_loss_kwh_per_day", &i.StandingLossKWhPerDay, span(0, 1000, "kWh a day"))
	t.close(homes{"export_price_per_kwh": "[electricity]"})
	return i
}

// priceSince reads a list of { since = …, price_per_kwh = … }, or of pairs
// [since, price].
func (r *reader) priceSince(t *tab, zone *time.Location) []PriceSince {
	e := t.get("price_since")
	if e == nil {
		return nil
	}
	const want = "a list of dated prices: [{ since = 2026-01-01, price_per_kwh = 0.12 }]"
	if e.val.kind != isList {
		t.bad(e, want, "write a list in square brackets")
		return nil
	}
	var out []PriceSince
	for _, n := range e.val.items {
		p := &tab{r: r, path: t.key("price_since"), node: n}
		if n.kind == isList && len(n.items) == 2 {
			p.node = &node{kind: isTable, line: n.line, keys: []entry{{"since", n.line, n.items[0]}, {"price_per_kwh", n.line, n.items[1]}}}
		} else if n.kind != isTable {
			r.add(n.line, t.key("price_since"), shown(n), want, "give each price its date")
			continue
		}
		var s PriceSince
		p.need("since", "the date from which the price holds")
		p.need("price_per_kwh", "the price per kWh from that date")
		dated := p.date("since", &s.Since, zone)
		if p.number("price_per_kwh", &s.PricePerKWh, price) && dated {
			out = append(out, s)
		}
		p.close(nil)
	}
	slices.SortStableFunc(out, func(a, b PriceSince) int { return a.Since.Compare(b.Since) })
	return out
}

func (r *reader) electricity(t *tab, zone *time.Location) *Electricity {
	el := &Electricity{}
	el.HasPrice = t.number("price_per_kwh", &el.PricePerKWh, spotPrice)
	el.HasCO2 = t.number("co2_kg_per_kwh", &el.CO2KgPerKWh, co2PerKWh)
	el.HasExport = t.number("export_price_per_kwh", &el.ExportPerKWh, spotPrice)
	for _, rt := range t.tables("rate") {
		el.Rates = append(el.Rates, r.rate(rt, zone))
	}
	slices.SortStableFunc(el.Rates, func(a, b Rate) int { return a.Since.Compare(b.Since) })
	t.close(homes{"efficiency": "[instead]", "carrier": "[instead]"})
	return el
}

func (r *reader) rate(t *tab, zone *time.Location) Rate {
	rate := Rate{ToMin: dayMin, Days: [7]bool{true, true, true, true, true, true, true}}
	t.timeOfDay("from", &rate.FromMin)
	t.timeOfDay("to", &rate.ToMin)
	t.date("since", &rate.Since, zone)
	t.need("price_per_kwh", "the price per kWh at that time")
	t.number("price_per_kwh", &rate.PricePerKWh, spotPrice)
	if e, list := t.texts("days", daysWant); e != nil {
		rate.Days = [7]bool{}
		for _, n := range list {
			if !addDays(&rate.Days, n.text) {
				r.add(n.line, t.key("days"), shown(n), daysWant, meant(n.text, weekdays))
			}
		}
	}
	t.close(nil)
	return rate
}

const daysWant = `days as ["mon", "tue"] or "mon-fri"`

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// addDays marks a day or a range of days; ranges may pass the end of the week.
func addDays(days *[7]bool, text string) bool {
	from, to, isRange := strings.Cut(text, "-")
	a := slices.Index(weekdays, strings.TrimSpace(from))
	b := a
	if isRange {
		b = slices.Index(weekdays, strings.TrimSpace(to))
	}
	if a < 0 || b < 0 {
		return false
	}
	for d := a; ; d = (d + 1) % 7 {
		days[d] = true
		if d == b {
			return true
		}
	}
}
