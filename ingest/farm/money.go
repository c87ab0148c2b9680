package farm

import (
	"slices"
	"strings"
	"time"

	"yardheat/ingest/farm/keyed"
)

// Bounds of prices: any currency. Spot prices of electricity fall below 0.
var (
	price     = keyed.Span(0, 1e6, "")
	spotPrice = keyed.Span(-1e6, 1e6, "")
	co2PerKWh = keyed.Span(0, 5, "kg/kWh")
)

// moneyTables reads [instead], [electricity] and [cost].
func (r *reader) moneyTables(t *keyed.Tab, f *Farm) {
	if it := t.Table("instead"); it != nil {
		f.Instead = r.instead(it, f.Zone)
	}
	if et := t.Table("electricity"); et != nil {
		f.Electricity = r.electricity(et, f.Zone)
	}
	if ct := t.Table("cost"); ct != nil {
		c := &Cost{}
		ct.Number("capital", &c.Capital, keyed.Span(0, 1e12, ""))
		ct.Number("upkeep_per_year", &c.UpkeepPerYear, keyed.Span(0, 1e12, ""))
		ct.Number("years", &c.Years, keyed.Above0(100, "years"))
		ct.Text("source", &c.Source)
		ct.Close(nil)
		f.Cost = c
	}
}

func (r *reader) instead(t *keyed.Tab, zone *time.Location) *Instead {
	i := &Instead{}
	t.Text("carrier", &i.Carrier)
	t.Need("efficiency", "heat delivered per kWh of the carrier, for example 0.9, or 3 for a heat pump")
	t.Number("efficiency", &i.Efficiency, keyed.Above0(5, "(0.9 for 90 %)"))
	i.HasPrice = t.Number("price_per_kwh", &i.PricePerKWh, price)
	i.HasCO2 = t.Number("co2_kg_per_kwh", &i.CO2KgPerKWh, co2PerKWh)
	t.Text("currency", &i.Currency)
	t.Text("source", &i.Source)
	i.PriceSince = r.priceSince(t, zone)
	t.Number("standing_loss_kwh_per_day", &i.StandingLossKWhPerDay, keyed.Span(0, 1000, "kWh a day"))
	t.Close(keyed.Homes{"export_price_per_kwh": "[electricity]"})
	return i
}

// priceSince reads a list of { since = …, price_per_kwh = … }, or of pairs
// [since, price].
func (r *reader) priceSince(t *keyed.Tab, zone *time.Location) []PriceSince {
	e := t.Get("price_since")
	if e == nil {
		return nil
	}
	const want = "a list of dated prices: [{ since = 2026-01-01, price_per_kwh = 0.12 }]"
	if e.Val.Kind != keyed.IsList {
		t.Bad(e, want, "write a list in square brackets")
		return nil
	}
	var out []PriceSince
	for _, n := range e.Val.Items {
		p := &keyed.Tab{R: r.Reader, Path: t.Key("price_since"), Node: n}
		if n.Kind == keyed.IsList && len(n.Items) == 2 {
			p.Node = &keyed.Node{Kind: keyed.IsTable, Line: n.Line, Keys: []keyed.Entry{{Key: "since", Line: n.Line, Val: n.Items[0]}, {Key: "price_per_kwh", Line: n.Line, Val: n.Items[1]}}}
		} else if n.Kind != keyed.IsTable {
			r.Add(n.Line, t.Key("price_since"), keyed.Shown(n), want, "give each price its date")
			continue
		}
		var s PriceSince
		p.Need("since", "the date from which the price holds")
		p.Need("price_per_kwh", "the price per kWh from that date")
		dated := p.Date("since", &s.Since, zone)
		if p.Number("price_per_kwh", &s.PricePerKWh, price) && dated {
			out = append(out, s)
		}
		p.Close(nil)
	}
	slices.SortStableFunc(out, func(a, b PriceSince) int { return a.Since.Compare(b.Since) })
	return out
}

func (r *reader) electricity(t *keyed.Tab, zone *time.Location) *Electricity {
	el := &Electricity{}
	el.HasPrice = t.Number("price_per_kwh", &el.PricePerKWh, spotPrice)
	el.HasCO2 = t.Number("co2_kg_per_kwh", &el.CO2KgPerKWh, co2PerKWh)
	el.HasExport = t.Number("export_price_per_kwh", &el.ExportPerKWh, spotPrice)
	for _, rt := range t.Tables("rate") {
		el.Rates = append(el.Rates, r.rate(rt, zone))
	}
	slices.SortStableFunc(el.Rates, func(a, b Rate) int { return a.Since.Compare(b.Since) })
	t.Text("source", &el.Source)
	t.Close(keyed.Homes{"efficiency": "[instead]", "carrier": "[instead]"})
	return el
}

func (r *reader) rate(t *keyed.Tab, zone *time.Location) Rate {
	rate := Rate{ToMin: keyed.DayMin, Days: [7]bool{true, true, true, true, true, true, true}}
	t.TimeOfDay("from", &rate.FromMin)
	t.TimeOfDay("to", &rate.ToMin)
	t.Date("since", &rate.Since, zone)
	t.Need("price_per_kwh", "the price per kWh at that time")
	t.Number("price_per_kwh", &rate.PricePerKWh, spotPrice)
	if e, list := t.Texts("days", daysWant); e != nil {
		rate.Days = [7]bool{}
		for _, n := range list {
			if !addDays(&rate.Days, n.Text) {
				r.Add(n.Line, t.Key("days"), keyed.Shown(n), daysWant, keyed.Meant(n.Text, weekdays))
			}
		}
	}
	t.Close(nil)
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
