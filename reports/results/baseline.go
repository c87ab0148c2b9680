package results

import "yardheat/analysis/season"

// baselines writes the baseline chosen, and all that there could be.
func (w *writer) baselines(v season.Saving) {
	chosen := season.Baseline{Kind: v.Kind}
	for _, b := range v.Baselines {
		if b.Chosen {
			chosen = b
		}
	}
	w.object("baseline", func() { w.baseline(chosen) })
	w.list("baselines", len(v.Baselines), func(i int) { w.baseline(v.Baselines[i]) })
	w.text("compressor_extra_text", v.ExtraText)
	w.object("cost", func() { w.cost(v.Cost) })
}

func (w *writer) baseline(b season.Baseline) {
	w.text("kind", b.Kind)
	w.bool("chosen", b.Chosen)
	w.text("basis", b.Basis)
	if b.Why != "" {
		w.text("why", b.Why)
	}
	w.figures(b.Figures)
	if b.Fixed != "" {
		w.text("fixed", b.Fixed)
	}
	if b.Model != nil {
		w.object("model", func() { w.model(b.Model) })
	}
}

func (w *writer) model(m *season.BaselineModel) {
	w.at("from", m.From)
	w.at("to", m.To)
	w.int("days", m.Days)
	w.int("reported", m.Reported)
	w.number("n_effective", m.NEffective)
	w.number("rmse_kwh", m.RMSEKWh)
	w.number("cv_rmse", m.CVRMSE)
	w.number("nmbe", m.NMBE)
	w.number("r2", m.R2)
	w.number("lag1", m.Lag1)
	w.number("rho", m.Rho)
	w.number("days_low_kwh", m.Low)
	w.number("days_high_kwh", m.High)
	w.number("boot_low_kwh", m.BootLow)
	w.number("boot_high_kwh", m.BootHigh)
	if m.BootWhy != "" {
		w.text("boot_why", m.BootWhy)
	}
	w.number("quick_half_kwh", m.QuickKWh)
	w.number("day_kwh", m.DayKWh)
	w.number("day_low_kwh", m.DayLow)
	w.number("day_high_kwh", m.DayHigh)
	w.list("terms", len(m.Terms), func(i int) {
		t := m.Terms[i]
		w.text("variable", t.Variable)
		w.text("unit", t.Unit)
		w.number("coefficient", t.Coef)
		w.number("coefficient_low", t.CoefLow)
		w.number("coefficient_high", t.CoefHigh)
		w.number("sd", t.SD)
		w.number("range_low", t.Low)
		w.number("range_mean", t.Mean)
		w.number("range_high", t.High)
		w.number("reported_low", t.ReportLow)
		w.number("reported_high", t.ReportHigh)
		w.int("days_outside", t.Outside)
	})
	w.list("warnings", len(m.Warnings), func(i int) { w.text("text", m.Warnings[i]) })
}

func (w *writer) cost(c season.SavingCost) {
	w.bool("stated", c.Stated)
	w.number("capital", c.Capital)
	w.number("upkeep_per_year", c.UpkeepPerYear)
	w.number("years", c.Years)
	w.text("source", c.Source)
	w.text("year", c.Year)
	w.figures(c.Figures)
}
