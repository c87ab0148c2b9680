package season

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/ingest/farm"
)

// baselines readies all that the electricity used can be held against.
func (b *builder) baselines(s *saver, x *terms) {
	s.kind = b.rec.Farm.Baseline.Kind
	days := b.days()
	s.extra = b.extraWork(x, days)
	for _, kind := range heldKinds {
		h := b.held(kind, x, days, s.extra)
		s.held = append(s.held, h)
		if kind == s.kind {
			s.chosen = h
		}
	}
	if s.chosen != nil {
		b.heldCycles = slices.Repeat([]float64{nan}, len(b.acc.Cycles))
		if s.chosen.why == "" {
			b.heldCycles = s.chosen.cycleKWh()
		}
	}
}

// saving asks for the season's figures, by the baseline chosen, and for the others
// beside it.
func (b *builder) saving(s *saver, x *terms, all stretch) {
	b.baselines(s, x)
	v := &b.s.Saving
	v.Kind = s.kind
	v.Baselines = make([]Baseline, 1+len(s.held)) // their places must not move
	if s.why == "" {
		s.at = s.ask(s.rows)
	}
	for i, h := range s.held {
		h.show(&v.Baselines[1+i])
		v.Baselines[1+i].Chosen = h == s.chosen
	}
	if s.chosen == nil {
		b.savingByAlternative(s, all)
	} else {
		b.savingByHeld(s, s.chosen, all)
	}
	b.showAlternative(s, &v.Baselines[0], all)
	b.avoided(s, all)
	b.cost(x, b.purse(s))
	b.unused(x)
}

// savingByHeld fills in the season's figures from a stretch without recovery.
// Carrier and prices are those of electricity: none of the alternative's enters.
func (b *builder) savingByHeld(s *saver, h *held, all stretch) {
	v := &b.s.Saving
	v.Carrier = "electricity"
	if in := b.rec.Farm.Instead; in != nil {
		v.Currency = in.Currency
	}
	v.Basis = h.basis()
	const whole = "given only for the days reported on"
	if h.why != "" {
		for _, key := range []string{"baseline_kwh", "used_kwh", "saved_kwh", "money", "co2_kg"} {
			v.Figures = append(v.Figures, unknown(key, savingUnit(key, v.Currency), doubt.Fitted, h.why))
		}
		v.FuelMoney = unknown("", v.Currency, doubt.Fitted, h.why).Figure
		v.PowerMoney = v.FuelMoney
	} else {
		m := h.meta(all)
		for _, x := range []struct {
			key, why string
			out      int
		}{{"baseline_kwh", "", heldBaseline}, {"used_kwh", "", heldUsed}, {"saved_kwh", "", heldAvoided}, {"money", h.whyMoney, heldMoney}, {"co2_kg", h.whyCO2, heldCO2}} {
			b.orWhy(&v.Figures, x.key, m, savingUnit(x.key, v.Currency), x.why, h.at+x.out)
		}
		b.note("saved_kwh", h.at+heldAvoided)
		relabel(v.Figures, heldLabels)
		b.finish = append(b.finish, func() {
			v.FuelMoney, v.PowerMoney = unknown("", v.Currency, doubt.Fitted, h.whyMoney).Figure, unknown("", v.Currency, doubt.Fitted, h.whyMoney).Figure
			if h.whyMoney == "" {
				v.FuelMoney = b.result.Figure(h.at+heldNotSpent, v.Currency, doubt.Fitted, m.n, m.coverage, "")
				v.PowerMoney = b.result.Figure(h.at+heldSpent, v.Currency, doubt.Metered, m.n, m.coverage, "")
			}
		})
	}
	if s.why != "" {
		v.Figures = append(v.Figures, unknown("heat_per_kwh", "1", doubt.Estimated, s.why))
	} else {
		b.wantAt(&v.Figures, "heat_per_kwh", meta{unit: "1", basis: s.basis("heat_per_kwh"), n: len(s.rows), coverage: b.share(all, s.covered())}, s.at+outHeatPerKWh)
	}
	for _, key := range []string{"saved_kwh", "money", "co2_kg"} {
		v.Whole = append(v.Whole, unknown(key, savingUnit(key, v.Currency), doubt.Estimated, whole))
	}
	relabel(v.Whole, heldLabels)
}

// heldLabels are the words where the saving is held against days without recovery.
var heldLabels = map[string]string{"baseline_kwh": "Electricity that would have been used", "saved_kwh": "Electricity avoided"}

// besideLabels are those that fit all baselines.
var besideLabels = map[string]string{"baseline_kwh": "Energy that would have been used", "avoided_kwh": "Energy avoided, at each day's own conditions"}

func relabel(list []Named, words map[string]string) {
	for i := range list {
		if w, ok := words[list[i].Key]; ok {
			list[i].Label = w
		}
	}
}

func savingUnit(key, currency string) string {
	switch key {
	case "money":
		return currency
	case "co2_kg":
		return "kg"
	}
	return "kWh"
}

// orWhy is wantAt, or a figure that is not known where why is said.
func (b *builder) orWhy(dst *[]Named, key string, m meta, unit, why string, at int) {
	if why != "" {
		*dst = append(*dst, unknown(key, unit, m.basis, why))
		return
	}
	m.unit = unit
	if key == "used_kwh" {
		m.basis = b.usedBasis()
	}
	b.wantAt(dst, key, m, at)
}

// usedBasis: the electricity of element and pumps is metered, or on and off times
// a rated power.
func (b *builder) usedBasis() doubt.Basis {
	for _, p := range []*account.Power{&b.acc.Element, &b.acc.Pumps} {
		if p.Why == "" && rated(p.Sources) {
			return doubt.Estimated
		}
	}
	return doubt.Metered
}

func (h *held) meta(all stretch) meta {
	in := map[int]bool{}
	for _, i := range cyclesOf(h.report) {
		in[i] = true
	}
	return meta{basis: doubt.Fitted, n: len(in), coverage: h.b.share(all, func(i int) float64 {
		if in[i] {
			return 1
		}
		return 0
	})}
}

// basis is the sentence that says what the saving is.
func (h *held) basis() string {
	without := "the days with the recovery switched off"
	if h.kind == farm.BaselineBefore {
		without = "the days before the recovery"
	}
	text := "Avoided energy at the conditions of the days reported on: the electricity of element and pumps that these days would have used as " + without +
		" did (a model of a day's electricity, by least squares), less what they used"
	if h.extra.distinct {
		text += ", less what the compressor used more than without recovery"
	}
	return text + ". It is electricity not bought, at the price of electricity; the alternative of [instead] is not in it. Both sides were read by one meter, whose error counts once."
}

// show asks for what stands of a baseline beside the others.
func (h *held) show(v *Baseline) {
	b := h.b
	v.Kind, v.Basis, v.Why = h.kind, h.basis(), h.why
	if h.why != "" {
		for _, key := range []string{"baseline_kwh", "used_kwh", "avoided_kwh", "normalised_kwh", "money", "co2_kg"} {
			v.Figures = append(v.Figures, unknown(key, savingUnit(key, b.currency()), doubt.Fitted, h.why))
		}
		relabel(v.Figures, besideLabels)
		return
	}
	h.at = h.ask()
	m := h.meta(b.stretchOf(func(int) bool { return true }))
	for _, x := range []struct {
		key, why string
		out      int
	}{{"baseline_kwh", "", heldBaseline}, {"used_kwh", "", heldUsed}, {"avoided_kwh", "", heldAvoided}, {"normalised_kwh", h.fixedWhy, heldNormalised},
		{"money", h.whyMoney, heldMoney}, {"co2_kg", h.whyCO2, heldCO2}} {
		b.orWhy(&v.Figures, x.key, m, savingUnit(x.key, b.currency()), x.why, h.at+x.out)
	}
	relabel(v.Figures, besideLabels)
	v.Fixed = h.fixedText()
	v.Model = h.shown()
}

func (b *builder) currency() string {
	if in := b.rec.Farm.Instead; in != nil {
		return in.Currency
	}
	return ""
}

// whyNoFixed is said of the alternative.
const whyNoFixed = "by heat delivered through the alternative only avoided energy is given, at each day's own conditions: there is no model that could be laid on others"

// showAlternative is the same of delivered heat through the alternative heater.
func (b *builder) showAlternative(s *saver, v *Baseline, all stretch) {
	v.Kind, v.Chosen, v.Basis, v.Why = farm.BaselineAlternative, s.chosen == nil, b.savingBasis(), s.why
	m := meta{n: len(s.rows), coverage: b.share(all, s.covered()), basis: doubt.Estimated}
	for _, x := range []struct {
		key, why string
		out      int
	}{{"baseline_kwh", s.why, outBaseline}, {"used_kwh", s.why, outUsed}, {"avoided_kwh", s.why, outSaved}, {"normalised_kwh", whyNoFixed, 0},
		{"money", s.whyMoney, outMoney}, {"co2_kg", s.whyCO2, outCO2}} {
		why := x.why
		if s.why != "" {
			why = s.why
		}
		at := s.at + x.out
		if x.key == "avoided_kwh" && why == "" {
			at = s.avoidedOutput()
		}
		b.orWhy(&v.Figures, x.key, m, savingUnit(x.key, b.currency()), why, at)
	}
	relabel(v.Figures, besideLabels)
}

// dayCount of the cycles behind the alternative's saving.
func (s *saver) dayCount() float64 {
	hours := 0.0
	for _, i := range s.rows {
		hours += s.b.acc.Cycles[i].Hours()
	}
	return hours / 24
}

// avoidedOutput is the saving less the compressor's extra work, where that is
// distinct.
func (s *saver) avoidedOutput() int {
	if !s.extra.distinct {
		return s.at + outSaved
	}
	o, eta, source, days := s.over(s.rows), s.b.rec.Farm.Instead.Efficiency, s.efficiency, s.dayCount()
	return s.b.output(func(t *doubt.Trial) float64 {
		n := eta
		if source >= 0 {
			n += t.E[source]
		}
		return sumOf(o.heat, t.E)/n + o.standingKWh - sumOf(o.used, t.E) - days*s.extra.perDay(t.E)
	})
}

// avoided asks for avoided_kwh, normalised_kwh and compressor_extra_kwh of the
// baseline chosen.
func (b *builder) avoided(s *saver, all stretch) {
	v := &b.s.Saving
	days := 0.0
	if h := s.chosen; h == nil {
		b.orWhy(&v.Figures, "avoided_kwh", meta{n: len(s.rows), coverage: b.share(all, s.covered()), basis: doubt.Estimated}, "kWh", s.why, b.ifKnown(s.why, s.avoidedOutput))
		v.Figures = append(v.Figures, unknown("normalised_kwh", "kWh", doubt.Estimated, whyNoFixed))
		days = s.dayCount()
	} else {
		m := h.meta(all)
		b.orWhy(&v.Figures, "avoided_kwh", m, "kWh", h.why, h.at+heldAvoided)
		why := h.why
		if why == "" {
			why = h.fixedWhy
		}
		b.orWhy(&v.Figures, "normalised_kwh", m, "kWh", why, h.at+heldNormalised)
		days = float64(len(h.report))
	}
	w := s.extra
	why := w.why
	if why == "" && days == 0 {
		why = "no saving is given that it could be charged to"
	}
	if why != "" {
		v.Figures = append(v.Figures, unknown("compressor_extra_kwh", "kWh", doubt.Fitted, why))
		return
	}
	v.ExtraText, v.ExtraCharged = w.text(), w.distinct
	m := meta{unit: "kWh", basis: doubt.Fitted, n: len(cyclesOf(w.report)), coverage: days * 24 / math.Max(all.hours, 1)}
	b.want(&v.Figures, "compressor_extra_kwh", m, func(t *doubt.Trial) float64 { return days * w.perDay(t.E) })
}

func (b *builder) ifKnown(why string, f func() int) int {
	if why != "" {
		return -1
	}
	return f()
}

// text says what the compressor's extra work rests on, and whether it is charged.
func (w *extraWork) text() string {
	text := fmt.Sprintf("The compressor's electricity on %d days with recovery, less what they would have taken as on %d days without, by %s: ", len(w.report), w.m.N, w.words)
	if w.distinct {
		return text + "distinctly more, and charged to the energy avoided."
	}
	return text + "not distinctly more, and not charged (less work is not credited either)."
}

// purse is the chosen saving's money, less the compressor's extra work where the
// record shows it and it is not in it yet.
func (b *builder) purse(s *saver) purse {
	if h := s.chosen; h != nil {
		why := h.why
		if why == "" {
			why = h.whyMoney
		}
		var money func(*doubt.Trial) float64
		if why == "" {
			money = h.moneyOf()
		}
		return purse{why: why, days: float64(len(h.report)), money: money}
	}
	why := s.whyMoney
	if s.why != "" {
		why = s.why
	}
	if why != "" {
		return purse{why: why}
	}
	w := s.whole()
	if w.why != "" || w.whyMoney != "" {
		return purse{why: "what was not seen can't be estimated: " + w.why + w.whyMoney}
	}
	days := float64(b.acc.ToMS-b.acc.FromMS) / 86_400_000
	whole, charge := s.wholeOutputs(&w), s.extra.charge(int(math.Round(days)))
	return purse{days: days, money: func(t *doubt.Trial) float64 {
		var out [3]float64
		whole(t, out[:])
		_, cost := charge(t.E)
		return out[1] - cost
	}}
}

// unused asks for the heat that went in and was neither used nor stored: the
// tanks' loss, what ran over, and what the meters' errors make. Recovered heat in
// it is no saving, and none is counted: a saving starts at heat delivered, or at
// electricity.
func (b *builder) unused(x *terms) {
	v, a, share := &b.s.Saving, b.acc, b.opt.Account.Cycle.CoveredShare
	store, _ := b.storePart()
	var rows []int
	for i, c := range a.Cycles {
		if t := a.Row(i, share); c.Whole && !math.IsNaN(t.UnusedKWh()) {
			rows = append(rows, i)
		}
	}
	if len(rows) == 0 {
		v.Figures = append(v.Figures, unknown("unused_kwh", "kWh", doubt.Metered, "no whole cycle has every term: "+b.missingTerm(x)))
		return
	}
	plus, minus := b.knownParts(rows, x.loop, x.plate), b.knownParts(rows, x.wash, x.other)
	if x.element.known {
		plus = append(plus, x.element.part.Pick(rows))
	}
	minus = append(minus, store.Pick(rows))
	m := meta{unit: "kWh", basis: doubt.Metered, n: len(rows), coverage: float64(len(rows)) / math.Max(1, float64(len(a.Cycles)))}
	b.want(&v.Figures, "unused_kwh", m, func(t *doubt.Trial) float64 { return sumOf(plus, t.E) - sumOf(minus, t.E) })
}

// heldIn asks for saved_kwh of a stretch by days without recovery.
func (b *builder) heldIn(dst *[]Named, h *held, part stretch, in map[int]bool) {
	if h.why != "" {
		*dst = append(*dst, unknown("saved_kwh", "kWh", doubt.Fitted, h.why))
		return
	}
	at, days, hours := h.inRows(in)
	if at < 0 || hours <= leastOfStretch*part.hours {
		*dst = append(*dst, unknown("saved_kwh", "kWh", doubt.Fitted, fmt.Sprintf("%d of its days are among those reported on", days)))
		return
	}
	b.wantAt(dst, "saved_kwh", meta{unit: "kWh", basis: doubt.Fitted, n: days, coverage: hours / part.hours}, at)
}

// shown is the model as reports print it.
func (h *held) shown() *BaselineModel {
	b, m := h.b, h.m
	r := h.t.rows(h.report)
	first, last := h.base[0], h.base[len(h.base)-1]
	v := &BaselineModel{From: b.acc.Cycles[first.cycles[0]].Start, To: b.acc.Cycles[last.cycles[len(last.cycles)-1]].End, Days: m.N, Reported: len(h.report),
		RMSEKWh: m.RMSE, CVRMSE: m.CVRMSE, NMBE: m.NMBE, R2: m.R2, Lag1: m.Lag1, Rho: m.Rho, NEffective: m.NEffective,
		Low: h.total.Low, High: h.total.High, BootLow: nan, BootHigh: nan, QuickKWh: m.Quick(len(h.report), h.total.Value)}
	mean := sumRows(r.X)
	for j := range mean {
		mean[j] /= float64(len(r.X))
	}
	v.DayLow, v.DayKWh, v.DayHigh = m.Point(mean)
	if boot, err := m.Bootstrap(r.X, r.Day, bootOptions(b)); err != nil {
		v.BootWhy = err.Error()
	} else {
		v.BootLow, v.BootHigh, v.BootWhy = boot.Low, boot.High, boot.Why
	}
	outside := m.Outside(r.X, b.opt.Baseline.WithinShare)
	for j, name := range h.t.names {
		words := variableWords[name]
		t := BaselineTerm{Variable: name, Label: words[0], Unit: "kWh/" + words[1], Coef: m.Coef[j], CoefLow: m.Coef[j] - m.T*m.SD[j], CoefHigh: m.Coef[j] + m.T*m.SD[j], SD: m.SD[j], Low: nan, Mean: nan, High: nan, ReportLow: nan, ReportHigh: nan}
		if name == farm.VariableConstant {
			t.Unit = "kWh"
		} else {
			g := m.Ranges[j]
			t.Low, t.Mean, t.High = g.Low, g.Mean, g.High
			t.ReportLow, t.ReportHigh = m.Span(r.X, j)
		}
		for _, o := range outside {
			if o.Variable == j {
				t.Outside = o.Days
				v.Warnings = append(v.Warnings, outsideText(o, name))
			}
		}
		v.Terms = append(v.Terms, t)
	}
	v.Warnings = append(v.Warnings, h.warnings()...)
	return v
}

// warnings are the things that both sides must be alike in.
func (h *held) warnings() []string {
	b := h.b
	var out []string
	from, to := b.acc.Cycles[h.base[0].cycles[0]].Start, b.acc.Cycles[h.report[len(h.report)-1].cycles[0]].End
	if at := b.acc.Cycles[h.report[0].cycles[0]].Start; at < from {
		from = at
	}
	for _, e := range b.rec.Farm.Events {
		if at := e.At.UnixMilli(); e.What == "meter_changed" && at >= from && at < to {
			out = append(out, "A meter was changed on "+e.At.In(b.acc.Zone).Format("2006-01-02")+", between the days compared: if it is the element's, its error is not the same on both sides, and the interval is too narrow.")
		}
	}
	if b.acc.Wash.Rows == nil {
		return out
	}
	before, after := meanWashC(b.acc, h.base), meanWashC(b.acc, h.report)
	if math.Abs(before-after) > b.opt.Baseline.WashK {
		text := fmt.Sprintf("The wash water was %.1f °C on the days without recovery and %.1f °C on those reported on: ", before, after)
		if slices.Contains(h.t.names, farm.VariableHeat) {
			text += "the energy avoided is for the heat that these had, as if the element would have given it."
		} else {
			text += "they did not give the same, and the model does not know of it (heat_delivered among baseline.variables would)."
		}
		out = append(out, text)
	}
	return out
}

func meanWashC(a *account.Account, days []dayRow) float64 {
	sum, litres := 0.0, 0.0
	for _, i := range cyclesOf(days) {
		r := a.Wash.Rows[i]
		sum, litres = sum+r.LitreHotC, litres+r.CountedL
	}
	return sum / litres
}
