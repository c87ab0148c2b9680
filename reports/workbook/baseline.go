package workbook

import (
	"math"
	"time"

	"yardheat/analysis/season"
)

// baselines has a row a figure, a coefficient, a number of the fit, and a warning of
// every baseline that the record allows, the chosen one marked; then what the
// recovery costs.
func baselines(s *season.Season, b *books, zone *time.Location) table {
	t := table{name: "Baseline", heads: figureHeads(head{"Baseline", 16}, head{"Chosen", 9}, head{"What", 44}, head{"Key in results.json", 26})}
	for _, held := range s.Saving.Baselines {
		chosen := ""
		if held.Chosen {
			chosen = "yes"
		}
		first := func(what, key string) []any { return []any{held.Kind, chosen, what, key} }
		for _, n := range held.Figures {
			e := expr{from: "from the trials; it does not follow the sheet Assumptions"}
			if held.Kind == "alternative" && held.Chosen {
				if x := b.recalc(ofSaving, n.Key, b.all()); x.known() { // the Summary's own figure
					e = x
				}
			}
			t.rows = append(t.rows, figureCells(n.Figure, e, first(n.Label, n.Key)...))
		}
		t.rows = append(t.rows, first("Basis: "+held.Basis, "basis"))
		if held.Fixed != "" {
			t.rows = append(t.rows, first(held.Fixed, "fixed"))
		}
		if held.Model != nil {
			t.rows = append(t.rows, modelRows(held.Model, first, zone)...)
		}
	}
	if s.Saving.ExtraText != "" {
		t.rows = append(t.rows, []any{"", "", s.Saving.ExtraText, "compressor_extra_text"})
	}
	if c := s.Saving.Cost; c.Stated {
		for _, n := range c.Figures {
			t.rows = append(t.rows, figureCells(n.Figure, expr{from: "from the trials and [cost] of farm.toml; it does not follow the sheet Assumptions"}, "Cost", "", n.Label, n.Key))
		}
		plain := func(what, key, unit string, v float64) {
			t.rows = append(t.rows, []any{"Cost", "", what, key, number{v, 2}, nil, nil, nil, nil, unit})
		}
		plain("Capital", "capital", s.Saving.Currency, c.Capital)
		plain("Upkeep a year", "upkeep_per_year", s.Saving.Currency, c.UpkeepPerYear)
		plain("Years", "years", "years", c.Years)
		t.rows = append(t.rows, []any{"Cost", "", c.Year, "year"}, []any{"Cost", "", c.Source, "source"})
	}
	return t
}

// modelRows are the numbers of a fit, in the columns of figures.
func modelRows(m *season.BaselineModel, first func(what, key string) []any, zone *time.Location) [][]any {
	var rows [][]any
	add := func(what, key, unit string, v, low, high float64, decimals int) {
		cell := func(x float64) any {
			if math.IsNaN(x) {
				return nil
			}
			return number{x, decimals}
		}
		rows = append(rows, append(first(what, key), cell(v), nil, nil, cell(low), cell(high), unit))
	}
	nan := math.NaN()
	add("Days of the baseline", "days", "days", float64(m.Days), nan, nan, 0)
	add("Days reported on", "reported", "days", float64(m.Reported), nan, nan, 0)
	add("Days that the related ones are worth", "n_effective", "days", m.NEffective, nan, nan, 1)
	add("RMSE of a day", "rmse_kwh", "kWh", m.RMSEKWh, nan, nan, 3)
	add("CV(RMSE), a share", "cv_rmse", "1", m.CVRMSE, nan, nan, 5)
	add("NMBE, measured less predicted, a share", "nmbe", "1", m.NMBE, nan, nan, 6)
	add("R² (decides nothing)", "r2", "1", m.R2, nan, nan, 4)
	add("Lag-one correlation of the residuals", "lag1", "1", m.Lag1, nan, nan, 3)
	add("Correlation of neighbouring days taken", "rho", "1", m.Rho, nan, nan, 3)
	add("Baseline by the days alone: exact interval", "days_low_kwh, days_high_kwh", "kWh", nan, m.Low, m.High, 1)
	add("Baseline by the days alone: blocks of days drawn anew", "boot_low_kwh, boot_high_kwh", "kWh", nan, m.BootLow, m.BootHigh, 1)
	add("Half-width by the short form, for comparison", "quick_half_kwh", "kWh", m.QuickKWh, nan, nan, 1)
	add("A single day at the mean conditions", "day_kwh", "kWh", m.DayKWh, m.DayLow, m.DayHigh, 2)
	for _, t := range m.Terms {
		add("Coefficient of "+t.Label, t.Variable, t.Unit, t.Coef, t.CoefLow, t.CoefHigh, 5)
		if !math.IsNaN(t.Low) {
			add("Range of "+t.Label+" in the baseline", t.Variable, "", t.Mean, t.Low, t.High, 3)
			add("Range of "+t.Label+" in the days reported on", t.Variable, "", nan, t.ReportLow, t.ReportHigh, 3)
			add("Days reported on outside that range", "days_outside", "days", float64(t.Outside), nan, nan, 0)
		}
	}
	rows = append(rows, first("From "+time.UnixMilli(m.From).In(zone).Format("2006-01-02 15:04")+" to "+time.UnixMilli(m.To).In(zone).Format("2006-01-02 15:04")+" (local)", "from, to"))
	if m.BootWhy != "" {
		rows = append(rows, first("Blocks not drawn: "+m.BootWhy, "boot_why"))
	}
	for _, w := range m.Warnings {
		rows = append(rows, first("Warning: "+w, "warnings"))
	}
	return rows
}
