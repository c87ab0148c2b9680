package season

import (
	"fmt"
	"math"
	"strings"
	"time"

	"yardheat/ingest/farm"
)

// byHeld: the saving is held against days without recovery.
func (b *builder) byHeld() bool { return b.kept.s.chosen != nil }

// without names the days that a kind of baseline rests on.
func without(kind string) string {
	if kind == farm.BaselineBefore {
		return "the days before the recovery"
	}
	return "the days with the recovery switched off"
}

// heldClaim says what kind of statement a saving against days without recovery is.
func (b *builder) heldClaim(c *Claim) {
	h := b.kept.s.chosen
	m := b.chosenModel()
	if h.why != "" || m == nil {
		c.Why = h.why
		return
	}
	c.Type = "Avoided energy: the electricity that was used is held against what the same days would have used as " + without(h.kind) +
		" did. It is not normalised: it does not say what another season would save; normalised_kwh stands beside it, for the conditions named there."
	c.Stipulated = b.stipulated()
	c.Option = "Retrofit isolation, in the manner of option B of the IPMVP (from memory): the electricity is measured with and without recovery, and so is what it is laid against."
	if len(c.Stipulated) > 0 {
		c.Option = "Retrofit isolation, in the manner of option A of the IPMVP (from memory): electricity is measured with and without recovery, but stipulated is " +
			strings.Join(c.Stipulated, ", ") + ". Were that measured too, it would be in the manner of option B."
	}
	c.Option += " The report does not claim to follow any protocol."
	day := func(ms int64) string { return time.UnixMilli(ms).In(b.acc.Zone).Format(time.DateOnly) }
	c.Baseline = fmt.Sprintf("Measured: %s, %s to %s, of which %d days are used; %d days are reported on. The alternative of [instead] is not in it.",
		without(h.kind), day(m.From), day(m.To-1), m.Days, m.Reported)
	c.Adjustments = b.adjustments(m)
}

// adjustments are the model's equation with all that is needed to judge it.
func (b *builder) adjustments(m *BaselineModel) string {
	var sum, ranges []string
	for _, t := range m.Terms {
		sd := fmt.Sprintf("(%.4g ± %.2g)", t.Coef, (t.CoefHigh-t.CoefLow)/2)
		if t.Variable == farm.VariableConstant {
			sum = append(sum, sd+" kWh")
			continue
		}
		sum = append(sum, sd+" "+t.Unit+" × "+t.Label)
		ranges = append(ranges, fmt.Sprintf("%s %.4g to %.4g (reported on: %.4g to %.4g, %d days outside)", t.Label, t.Low, t.High, t.ReportLow, t.ReportHigh, t.Outside))
	}
	text := fmt.Sprintf("Routine: electricity of a day = %s, by least squares (± half-widths at 95 %%). CV(RMSE) %.2g %%, NMBE %.2f %%, n = %d days, lag-one correlation of neighbouring days %.2f (ρ taken %.2f, effective n %.1f), R² %.3f.",
		strings.Join(sum, " + "), 100*m.CVRMSE, noZero(100*m.NMBE), m.Days, m.Lag1, m.Rho, m.NEffective, m.R2)
	if len(ranges) > 0 {
		text += " Valid for the ranges of the baseline's days: " + strings.Join(ranges, "; ") + "."
	}
	if len(m.Warnings) > 0 {
		text += " " + strings.Join(m.Warnings, " ")
	}
	return text
}

// noZero is 0 for what is rounding: least squares with a constant leave no bias.
func noZero(v float64) float64 {
	if math.Abs(v) < 1e-6 {
		return 0
	}
	return v
}

func (b *builder) chosenModel() *BaselineModel {
	for i := range b.s.Saving.Baselines {
		if x := &b.s.Saving.Baselines[i]; x.Chosen {
			return x.Model
		}
	}
	return nil
}

// compressorWords say where the compressor's extra work stands.
func (b *builder) compressorWords() string {
	w := b.kept.s.extra
	switch {
	case b.byHeld() && w.distinct:
		return "What it used more than on days without recovery is charged in the saving (compressor_extra_kwh); row (d+) shows its electricity beside the heat."
	case b.byHeld() && w.why == "":
		return "Held against days without recovery it used no more by more than the interval, and nothing is charged or credited in the saving (compressor_extra_kwh); row (d+) shows its electricity beside the heat."
	case b.byHeld():
		return "It is neither credited nor charged in the saving: its extra work is not known (" + w.why + "); row (d+) shows its electricity beside the heat."
	case w.distinct:
		return "It is neither credited nor charged in saved_kwh; avoided_kwh beside it has its extra work taken off (compressor_extra_kwh), and row (d+) shows its electricity beside the heat."
	}
	return "It is neither credited nor charged in the saving; row (d+) shows its electricity beside the heat."
}

// netWords say what row (g) is.
func (b *builder) netWords() string {
	text := "(e) − element − (f); no interaction is charged"
	if b.byHeld() {
		text += "; by the alternative of [instead], and so not the saving reported, which is told from " + without(b.kept.s.chosen.kind)
	}
	return text
}

// heldBoundary is what a saving against days without recovery holds and leaves out.
func (b *builder) heldBoundary() (inside, outside []string) {
	s, a := b.kept.s, b.acc
	h := s.chosen
	inside = append(inside, "electricity of the element, of "+without(h.kind)+" and of those reported on")
	if !a.Pumps.Absent && a.Pumps.Why == "" {
		inside = append(inside, "electricity of the pumps likewise, where a meter or a state shows it")
	} else if !a.Pumps.Absent {
		outside = append(outside, "electricity of the pumps ("+a.Pumps.Why+")")
	}
	if h.why == "" {
		for _, n := range h.t.names {
			if n == farm.VariableHeat {
				inside = append(inside, "tank losses as far as they are those of the days without recovery, and the heat delivered as what the electricity is laid against")
			}
		}
	}
	switch {
	case a.Compressor.Absent:
	case s.extra.distinct:
		inside = append(inside, "what the milk-cooling compressor used more than without recovery")
	default:
		outside = append(outside, "electricity of the milk-cooling compressor: no distinct extra work is known")
	}
	return inside, append(outside, "the alternative of [instead]: its efficiency and prices are not in this saving",
		"heat recovered that nobody used: it spared no electricity", "what changed on the farm between the two stretches and is not among the model's variables",
		"labour, bedding, and the machinery that turns the bed", "what the recovery itself cost, to build and to keep")
}

// heldFigures are the stated figures behind a saving against days without recovery.
func (b *builder) heldFigures() []Stated {
	a := assumer{b: b}
	e := b.rec.Farm.Electricity
	for _, x := range []struct{ key, label string }{{"element.power_kw", "Rated power of the element"}, {"pumps.loop_kw", "Rated power of the loop's pump"}, {"pumps.plate_kw", "Rated power of the plate's pump"}} {
		if b.inSaving(x.key) {
			a.add(x.key, x.label, b.ratedText(x.key))
		}
	}
	if e != nil {
		a.electricity(b.currency())
	}
	return a.list
}

func (b *builder) ratedText(key string) string {
	f, v := b.rec.Farm, 0.0
	switch {
	case key == "element.power_kw" && f.Element != nil:
		v = f.Element.PowerKW
	case key == "pumps.loop_kw" && f.Pumps != nil:
		v = f.Pumps.LoopKW
	case key == "pumps.plate_kw" && f.Pumps != nil:
		v = f.Pumps.PlateKW
	}
	if v == 0 {
		return ""
	}
	return number(v) + " kW"
}
