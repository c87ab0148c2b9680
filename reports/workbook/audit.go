package workbook

import (
	"math"
	"time"

	"yardheat/analysis/season"
	"yardheat/ingest/series"
)

// auditSheets are what an auditor asks for beside the figures.
func auditSheets(s *season.Season, zone *time.Location) []table {
	return []table{meters(s), leftOut(s), balance(s, zone), boundaries(s), effects(s), prices(s, zone)}
}

func meters(s *season.Season) table {
	t := table{name: "Meters", heads: []head{{"No.", 6}, {"Tag", 30}, {"Quantity", 18}, {"Place", 12}, {"Position", 26}, {"Kind", 14}, {"Error, 95 %", 14},
		{"Assumed", 9}, {"Fit", 9}, {"Unit as found", 12}, {"Unit as used", 12}, {"Conversion", 34}, {"Usual interval (s)", 11}, {"Smallest step seen (unit as used)", 14},
		{"Readings expected", 11}, {"Received", 11}, {"Valid", 11}}}
	for _, name := range series.FlagNames {
		t.heads = append(t.heads, head{"Flagged: " + name, 10})
	}
	t.heads = append(t.heads, head{"Not covered (h)", 11})
	for _, m := range s.Audit.Meters {
		row := []any{m.N, m.Probe, m.Quantity, m.Place, m.Position, m.Kind, m.Error, m.Assumed, m.Fit, m.UnitFound, m.Unit, m.Conversion,
			number{m.IntervalS, 0}, number{m.Resolution, 4}, expected(m.Expected), m.Received, m.Valid}
		for _, n := range m.Flags {
			row = append(row, n)
		}
		t.rows = append(t.rows, append(row, number{m.GapS / 3600, 2}))
	}
	return t
}

// expected readings; an event log has no number of them.
func expected(n int) any {
	if n < 0 {
		return nil
	}
	return n
}

func leftOut(s *season.Season) table {
	t := table{name: "Left out", heads: []head{{"What", 40}, {"Rule", 60}, {"Of", 30}, {"Number", 10}, {"Hours", 10}}}
	for _, x := range s.Audit.LeftOut {
		t.rows = append(t.rows, []any{x.What, x.Rule, x.Of, x.Count, number{x.Hours, 2}})
	}
	return t
}

// balance has for each figure its value and the ends of its interval.
func balance(s *season.Season, zone *time.Location) table {
	t := table{name: "Balance by week", heads: []head{{"From (local)", 20}, {"To (local)", 20}, {"Cycles", 8}, {"Cycles used", 8}, {"Errors explain it", 10}}}
	keys := []struct{ key, text string }{{"in_kwh", "In: loop, plate, element"}, {"out_kwh", "Drawn off"}, {"loss_kwh", "Lost from the tanks"},
		{"store_change_kwh", "Stayed in the tanks"}, {"unexplained_kwh", "Unexplained"}}
	for _, k := range keys {
		t.heads = append(t.heads, head{k.text + " (kWh)", 14}, head{k.text + ", low end (kWh)", 14}, head{k.text + ", high end (kWh)", 14})
	}
	for _, w := range s.Audit.Weeks {
		row := []any{stampOf(w.From, zone), stampOf(w.To, zone), w.Cycles, w.Used, w.Explained}
		for _, k := range keys {
			f := season.Figure{Value: math.NaN(), Low: math.NaN(), High: math.NaN()}
			for _, n := range w.Figures {
				if n.Key == k.key {
					f = n.Figure
				}
			}
			row = append(row, number{f.Value, 2}, number{f.Low, 2}, number{f.High, 2})
		}
		t.rows = append(t.rows, row)
	}
	return t
}

func boundaries(s *season.Season) table {
	t := table{name: "Boundaries", heads: []head{{"Boundary", 10}, {"Key", 26}, {"What", 40}, {"Is", 60}, {"Value (kWh)", 13}, {"Low end (kWh)", 13}, {"High end (kWh)", 13},
		{"Per kWh of electricity", 13}, {"Low end", 11}, {"High end", 11}, {"Electricity of", 32}, {"Cycles", 8}, {"Why missing", 50}}}
	for _, b := range s.Audit.Boundaries {
		t.rows = append(t.rows, []any{b.Letter, b.Key, b.Label, b.Is, number{b.KWh.Value, 2}, number{b.KWh.Low, 2}, number{b.KWh.High, 2},
			number{b.PerKWh.Value, 3}, number{b.PerKWh.Low, 3}, number{b.PerKWh.High, 3}, b.Per, b.KWh.N, b.KWh.Why})
	}
	return t
}

func effects(s *season.Season) table {
	unit := s.Saving.Currency
	t := table{name: "Effects of assumptions", heads: []head{{"Assumption", 44}, {"Value", 12}, {"Unit", 12}, {"Source", 40}, {"Chosen by", 12}}}
	for _, h := range []string{withUnit("Energy saved", "kWh"), withUnit("Money", unit), withUnit("CO2", "kg"), "Share of the rejected heat caught"} {
		t.heads = append(t.heads, head{h + ", change if a fifth less", 16}, head{h + ", change if a fifth more", 16})
	}
	for _, x := range s.Audit.Assumptions {
		t.rows = append(t.rows, []any{x.ID, x.Value, x.Unit, x.Source, x.Chosen, number{x.Saved.Less, 2}, number{x.Saved.More, 2}, number{x.Money.Less, 2}, number{x.Money.More, 2},
			number{x.CO2.Less, 2}, number{x.CO2.More, 2}, number{x.Recovery.Less, 4}, number{x.Recovery.More, 4}})
	}
	return t
}

func prices(s *season.Season, zone *time.Location) table {
	t := table{name: "Prices and factors", heads: []head{{"Key", 36}, {"What", 40}, {"Value", 11}, {"Unit", 12}, {"Since (local)", 20}, {"Holds", 30}, {"Source", 50}}}
	for _, p := range s.Audit.Prices {
		t.rows = append(t.rows, []any{p.Key, p.What, number{p.Value, 4}, p.Unit, stampOf(p.Since, zone), p.Holds, p.Source})
	}
	return t
}
