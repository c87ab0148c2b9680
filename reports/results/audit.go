package results

import (
	"yardheat/analysis/season"
	"yardheat/ingest/series"
)

// audit is what an auditor asks for beside the figures.
func (w *writer) audit(a season.Audit) {
	w.object("audit", func() {
		w.text("report_id", a.ReportID)
		w.text("version", a.Version)
		w.claimKind(a.Claim)
		w.texts("outside", a.Outside)
		w.texts("interactive_effects", a.InteractiveEffects)
		w.list("boundary_drawing", len(a.Drawing), func(i int) { w.stage(a.Drawing[i]) })
		w.list("meters", len(a.Meters), func(i int) { w.meter(a.Meters[i]) })
		w.list("streams", len(a.Streams), func(i int) { w.stream(a.Streams[i]) })
		w.list("left_out", len(a.LeftOut), func(i int) {
			x := a.LeftOut[i]
			w.text("what", x.What)
			w.text("rule", x.Rule)
			w.text("of", x.Of)
			w.int("count", x.Count)
			w.number("hours", x.Hours)
		})
		w.list("clock_changes", len(a.ClockChanges), func(i int) {
			w.at("at", a.ClockChanges[i].At)
			w.int("by_s", a.ClockChanges[i].ByS)
		})
		w.bool("weeks_with_loss", a.WeeksLoss)
		w.list("balance_weeks", len(a.Weeks), func(i int) { w.balanceWeek(a.Weeks[i]) })
		w.list("boundaries", len(a.Boundaries), func(i int) {
			x := a.Boundaries[i]
			w.text("letter", x.Letter)
			w.text("key", x.Key)
			w.text("is", x.Is)
			w.figure("kwh", x.KWh)
			w.figure("per_kwh", x.PerKWh)
			w.text("per", x.Per)
		})
		w.assumptions(a)
		w.list("prices", len(a.Prices), func(i int) { w.price(a.Prices[i]) })
		w.list("static_factors", len(a.Static), func(i int) {
			w.text("name", a.Static[i].Name)
			w.text("value", a.Static[i].Value)
			w.text("source", a.Static[i].Source)
		})
		w.list("events", len(a.Events), func(i int) {
			x := a.Events[i]
			w.at("at", x.At)
			w.text("what", x.What)
			w.number("tonnes", x.Tonnes)
			w.text("effect_kwh", x.KWh)
			w.text("beside", x.Beside)
		})
	})
}

func (w *writer) claimKind(c season.Claim) {
	w.object("claim", func() {
		w.text("type", c.Type)
		w.text("option", c.Option)
		w.text("why", c.Why)
		w.texts("stipulated", c.Stipulated)
		w.text("baseline", c.Baseline)
		w.text("adjustments", c.Adjustments)
		w.object("guideline_14", func() {
			w.number("half_width_68_kwh", c.U68)
			w.number("share", c.Share)
			w.number("limit", c.Limit)
			w.text("criterion", c.Criterion)
		})
	})
}

func (w *writer) stage(s season.Stage) {
	w.text("stage", s.Key)
	w.text("label", s.Label)
	w.bool("inside", s.Inside)
	w.key("meters")
	w.inline++
	w.open('[')
	for _, n := range s.Meters {
		w.next()
		w.b = appendNumber(w.b, float64(n))
	}
	w.close(']')
	w.inline--
}

func (w *writer) meter(m season.Meter) {
	w.int("number", m.N)
	w.text("probe", m.Probe)
	w.text("quantity", m.Quantity)
	w.text("place", m.Place)
	w.text("position", m.Position)
	w.text("kind", m.Kind)
	w.text("unit_found", m.UnitFound)
	w.text("unit", m.Unit)
	w.text("conversion", m.Conversion)
	w.text("error", m.Error)
	w.bool("assumed", m.Assumed)
	w.text("fit", m.Fit)
	w.number("interval_s", m.IntervalS)
	w.number("resolution", m.Resolution)
	w.int("expected", m.Expected)
	w.int("received", m.Received)
	w.int("valid", m.Valid)
	w.object("flags", func() {
		for bit, name := range series.FlagNames {
			w.int(name, m.Flags[bit])
		}
	})
	w.number("gap_s", m.GapS)
}

func (w *writer) stream(s season.StreamAudit) {
	w.text("figure", s.Key)
	w.number("seen_kwh", s.SeenKWh)
	w.number("filled_kwh", s.FilledKWh)
	w.number("filled_share", s.FilledShare)
	w.number("filled_h", s.FilledH)
	w.number("held_share", s.HeldShare)
	w.number("low_flow_share", s.LowFlowShare)
	w.number("low_rise_litres_share", s.LowRiseLitres)
	w.number("low_rise_heat_share", s.LowRiseHeat)
}

func (w *writer) balanceWeek(x season.BalanceWeek) {
	w.at("from", x.From)
	w.at("to", x.To)
	w.int("cycles", x.Cycles)
	w.int("used", x.Used)
	w.figures(x.Figures)
	w.bool("explained", x.Explained)
}

func (w *writer) assumptions(a season.Audit) {
	effect := func(key string, e season.Effect) {
		w.object(key, func() {
			w.number("less", e.Less)
			w.number("more", e.More)
		})
	}
	w.list("assumptions", len(a.Assumptions), func(i int) {
		x := a.Assumptions[i]
		w.text("id", x.ID)
		w.text("value", x.Value)
		w.text("unit", x.Unit)
		w.text("source", x.Source)
		w.text("chosen", x.Chosen)
		effect("saved_kwh", x.Saved)
		effect("money", x.Money)
		effect("co2_kg", x.CO2)
		effect("recovery_fraction", x.Recovery)
	})
	w.text("tornado_of", a.TornadoOf)
	ids := make([]string, len(a.Tornado))
	for i, k := range a.Tornado {
		ids[i] = a.Assumptions[k].ID
	}
	w.texts("tornado", ids)
}

func (w *writer) price(p season.Price) {
	w.text("key", p.Key)
	w.text("what", p.What)
	w.number("value", p.Value)
	w.text("unit", p.Unit)
	if p.Since != 0 {
		w.at("since", p.Since)
	}
	w.text("holds", p.Holds)
	w.text("source", p.Source)
}
