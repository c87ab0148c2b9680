package season

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
)

// plan is how a figure is made.
type plan struct {
	formula []string
	terms   []ChainTerm
	// month: only its cycles, "" = all.
	month string
	// rows says whether a cycle counts, and why not; nil = all do.
	rows func(i int) (bool, string)
	// total makes the figure of the terms' sums; nil where it is fitted.
	total func(sums []float64) float64
	draws bool
}

// The formulas in words.
const (
	heatFormula = "Q = Σ V · ρ(T_meter) · (h(T_warm) − h(T_cold)) / 3600, in kWh, over the cells of the grid in which water flows"
	heatSymbols = "V: m³ passed in the cell. ρ (kg/m³) and h (kJ/kg): water by IAPWS-IF97 region 1 (IAPWS R7-97(2012)) at 0.3 MPa. T_meter: the side on which the meter stands"
	heatProbes  = "T: the probe's reading for that litre, corrected for its time constant and held to the flushed part of a run (DEVELOPERS.md, one run)"
	powerSums   = "W = Σ P · Δt, in kWh: P the mean power of each cell of the grid"
	wholeText   = "scaled from what was seen to the whole period by the cycles that are covered (analysis/account, fill.go)"
)

// plan finds how the figure at a path is made.
func (s *Season) plan(path string) plan {
	parts := strings.Split(path, ".")
	key := parts[len(parts)-1]
	var p plan
	switch {
	case parts[0] == "loop" || key == "ua_w_per_k" || key == "approach_k":
		p = s.loopPlan(key)
	case parts[0] == "plant" || key == "recovery_fraction":
		p = s.plantPlan(key)
	case parts[0] == "saving" || key == "saved_kwh":
		p = s.savingPlan(key)
	default:
		p = s.sumPlan(key)
	}
	if parts[0] == "months" {
		p.month = parts[1]
		p.formula = append(p.formula, "over the cycles that start in the local month "+parts[1])
	}
	if len(parts) == 3 && parts[1] == "whole" {
		p.formula = append(p.formula, wholeText)
		p.total = nil
	}
	return p
}

func add(sums []float64) float64 {
	v := 0.0
	for _, x := range sums {
		v += x
	}
	return v
}

// sumPlan: a sum of the account over all cycles.
func (s *Season) sumPlan(key string) plan {
	b, a := s.behind, s.behind.acc
	heats := map[string]*account.Heat{"loop_kwh": &a.Loop, "plant_kwh": &a.Plate, "wash_kwh": &a.Wash, "other_use_kwh": &a.OtherUse}
	powers := map[string]*account.Power{"element_kwh": &a.Element, "pump_kwh": &a.Pumps, "compressor_kwh": &a.Compressor}
	switch h, p := heats[key], powers[key]; {
	case h != nil && h.Rows != nil:
		return plan{formula: []string{heatFormula, heatSymbols, heatProbes}, terms: []ChainTerm{b.heatTerm(h)}, total: add}
	case p != nil && p.Rows != nil:
		return plan{formula: []string{powerSums}, terms: []ChainTerm{b.powerTerm(p)}, total: add}
	}
	switch key {
	case "store_change_kwh":
		if a.Store.Why == "" {
			return plan{formula: []string{"V_tank · ρ · c_p · (mean tank temperature at the end − at the start of each cycle) / 3600, in kWh"}, terms: []ChainTerm{b.storeTerm()}, total: add}
		}
	case "loss_kwh":
		if a.Loss.Why == "" {
			return plan{formula: []string{fmt.Sprintf("UA_tank · ∫(T_tank − T_air) dt by cycle; UA_tank = %.3g W/K, fitted to %d quiet stretches", a.Loss.WPerK, a.Loss.Stretches)}, terms: []ChainTerm{b.lossTerm()}, total: add}
		}
	case "unexplained_kwh":
		return s.unexplainedPlan()
	case "element_solar_kwh", "element_movable_kwh":
		return s.solarPlan(key)
	}
	return plan{formula: []string{"not known: see why"}}
}

func (b *behind) storeTerm() ChainTerm {
	st := &b.acc.Store
	return ChainTerm{Name: "change of heat in the tanks", Unit: "kWh", of: func(i int) float64 { return st.ChangeKWh[i] }, sources: st.Sources}
}

func (b *behind) lossTerm() ChainTerm {
	sources := slices.Clone(b.acc.Store.Sources)
	for _, k := range b.grid.Find("air_temp") {
		c := &b.grid.Channels[k]
		sources = append(sources, grid.Source{Channel: k, Quantity: c.Quantity, Place: c.Place, Probe: c.Probe, Weight: 1})
	}
	return ChainTerm{Name: "tank loss", Unit: "kWh", of: func(i int) float64 { return b.acc.Loss.KWh[i] }, sources: sources}
}

// solarPlan: what of the element's electricity the farm's own sun gave.
func (s *Season) solarPlan(key string) plan {
	b := s.behind
	if b.acc.Solar.Rows == nil || key != "element_solar_kwh" {
		return plan{formula: []string{"see element_movable_kwh in the Definitions of the workbook; it is counted from wash to wash, not by cycle"}}
	}
	term := func(name string, of func(account.SolarRow) float64) ChainTerm {
		return ChainTerm{Name: name, Unit: "kWh", of: func(i int) float64 { return of(b.acc.Solar.Rows[i]) }, sources: slices.Concat(b.acc.Element.Sources, b.acc.Solar.Sources)}
	}
	p := plan{formula: []string{"low end: max(0, element − grid import) in each cell; high end: min(element, solar − export); the value is the middle"},
		terms: []ChainTerm{term("low end", func(r account.SolarRow) float64 { return r.LowKWh }), term("high end", func(r account.SolarRow) float64 { return r.HighKWh })}}
	if !b.acc.Solar.OnlyHigh {
		p.total = func(v []float64) float64 { return (v[0] + v[1]) / 2 }
	}
	return p
}

// unexplainedPlan: what the terms of a cycle leave over, where all are there.
func (s *Season) unexplainedPlan() plan {
	b, a := s.behind, s.behind.acc
	share := b.opt.Account.Cycle.CoveredShare
	p := plan{formula: []string{"loop + plate + element − wash − other use − tank loss − change of heat in the tanks, over the whole cycles that have every term"}}
	minus := 0
	heat := func(h *account.Heat) {
		if h.Rows != nil {
			p.terms = append(p.terms, b.heatTerm(h))
		}
	}
	heat(&a.Loop)
	heat(&a.Plate)
	if a.Element.Rows != nil {
		p.terms = append(p.terms, b.powerTerm(&a.Element))
	}
	minus = len(p.terms)
	heat(&a.Wash)
	heat(&a.OtherUse)
	if a.Loss.Why == "" {
		p.terms = append(p.terms, b.lossTerm())
	}
	if a.Store.Why == "" {
		p.terms = append(p.terms, b.storeTerm())
	}
	p.rows = func(i int) (bool, string) {
		switch {
		case !a.Cycles[i].Whole:
			return false, "an end lies outside the period"
		case math.IsNaN(a.Row(i, share).UnexplainedKWh):
			return false, "not covered: " + strings.Join(a.NotCovered(i, share), ", ")
		}
		return true, ""
	}
	p.total = func(v []float64) float64 { return add(v[:minus]) - add(v[minus:]) }
	return p
}

// savingPlan: the energy that the alternative would have used, less the
// electricity used.
func (s *Season) savingPlan(key string) plan {
	b, in := s.behind, s.behind.rec.Farm.Instead
	a := b.acc
	if in == nil || a.Wash.Rows == nil || a.Element.Rows == nil {
		return plan{formula: []string{"not known: see why"}}
	}
	p := plan{formula: []string{
		fmt.Sprintf("baseline = (wash heat + other use − heat above heat_to_c) / %g (instead.efficiency) + standing loss; used = element + pumps; saved = baseline − used", in.Efficiency),
		heatFormula, heatSymbols, heatProbes, powerSums}}
	wash := b.heatTerm(&a.Wash)
	p.terms = append(p.terms, wash)
	above := ChainTerm{Name: "of it above heat_to_c", Unit: "kWh", of: func(i int) float64 { return a.Wash.Rows[i].AboveKWh }}
	p.terms = append(p.terms, above)
	other := ChainTerm{Name: "other use heat", Unit: "kWh", of: func(int) float64 { return 0 }}
	if a.OtherUse.Rows != nil {
		other = b.heatTerm(&a.OtherUse)
		other.of = func(i int) float64 { return a.OtherUse.Rows[i].KWh - a.OtherUse.Rows[i].AboveKWh }
	}
	standing := ChainTerm{Name: "standing loss of the alternative", Unit: "kWh", of: func(i int) float64 { return in.StandingLossKWhPerDay * a.Cycles[i].Hours() / 24 }}
	p.terms = append(p.terms, other, standing, b.powerTerm(&a.Element))
	pumps := ChainTerm{Name: "pumps electricity", Unit: "kWh", of: func(int) float64 { return 0 }}
	if a.Pumps.Rows != nil {
		pumps = b.powerTerm(&a.Pumps)
	}
	p.terms = append(p.terms, pumps)
	baseline := func(v []float64) float64 { return (v[0]-v[1]+v[2])/in.Efficiency + v[3] }
	used := func(v []float64) float64 { return v[4] + v[5] }
	switch key {
	case "baseline_kwh":
		p.total = baseline
	case "used_kwh":
		p.total = used
	case "saved_kwh":
		p.total = func(v []float64) float64 { return baseline(v) - used(v) }
	case "heat_per_kwh":
		p.formula[0] = "wash heat / (element + pumps)"
		p.total = func(v []float64) float64 { return v[0] / used(v) }
	case "money", "co2_kg":
		b.priced(&p, key)
	}
	p.rows = b.savedRows
	return p
}

// savedRows: the cycles that have wash heat, other use and electricity.
func (b *behind) savedRows(i int) (bool, string) {
	if slices.Contains(b.saved, i) {
		return true, ""
	}
	return false, "not covered: " + strings.Join(b.acc.NotCovered(i, b.opt.Account.Cycle.CoveredShare), ", ")
}

// priced adds what money and CO2 take by cycle: prices go with the time.
func (b *behind) priced(p *plan, key string) {
	a, in, e := b.acc, b.rec.Farm.Instead, b.rec.Farm.Electricity
	if e == nil {
		return
	}
	heat := func(i int) float64 {
		v := a.Wash.Rows[i].KWh - a.Wash.Rows[i].AboveKWh
		if a.OtherUse.Rows != nil {
			v += a.OtherUse.Rows[i].KWh - a.OtherUse.Rows[i].AboveKWh
		}
		return v/in.Efficiency + in.StandingLossKWhPerDay*a.Cycles[i].Hours()/24
	}
	cost := func(i int) (kwh, money float64) {
		kwh, money = a.Element.Rows[i].KWh, a.Element.Rows[i].Cost
		if a.Pumps.Rows != nil {
			kwh, money = kwh+a.Pumps.Rows[i].KWh, money+a.Pumps.Rows[i].Cost
		}
		if a.Solar.Rows != nil {
			r := a.Solar.Rows[i]
			sun := (r.LowKWh + r.HighKWh) / 2
			kwh, money = kwh-sun, money-(r.LowCost+r.HighCost)/2+sun*e.ExportPerKWh
		}
		return kwh, money
	}
	unit := "kg"
	fuel := func(i int) float64 { return heat(i) * in.CO2KgPerKWh }
	power := func(i int) float64 { kwh, _ := cost(i); return kwh * e.CO2KgPerKWh }
	p.formula[0] = fmt.Sprintf("Σ baseline · %g kg/kWh (instead) − Σ grid electricity · %g kg/kWh", in.CO2KgPerKWh, e.CO2KgPerKWh)
	if key == "money" {
		unit = in.Currency
		fuel = func(i int) float64 { return heat(i) * account.InsteadPrice(in, a.Cycles[i].Start) }
		power = func(i int) float64 { _, money := cost(i); return money }
		p.formula[0] = "Σ baseline · price of the alternative at the cycle's start − (Σ grid electricity · its price of the hour + own solar · export price)"
	}
	at := len(p.terms)
	p.terms = append(p.terms, ChainTerm{Name: "not bought", Unit: unit, of: fuel}, ChainTerm{Name: "bought", Unit: unit, of: power})
	p.total = func(v []float64) float64 { return v[at] - v[at+1] }
}

// plantPlan: the plant over the cycles that have all of its terms.
func (s *Season) plantPlan(key string) plan {
	b, a := s.behind, s.behind.acc
	p := plan{formula: []string{"share caught = Σ heat caught at the plate / Σ (milk heat + compressor electricity + standing gain), over whole cycles that have every term",
		fmt.Sprintf("milk heat = V · ρ · c · (T_in − T_out) / 3600; ρ = %g kg/L, c = %g kJ/(kg K); standing gain %.3g kW · hours", b.rec.Farm.Milk.DensityKgPerL, b.rec.Farm.Milk.SpecificHeatKJPerKgK, b.gainKW),
		heatFormula, heatSymbols, heatProbes, powerSums}}
	if a.Plate.Rows == nil || len(b.used) == 0 {
		return plan{formula: []string{"not known: see why"}}
	}
	zero := func(name string) ChainTerm {
		return ChainTerm{Name: name, Unit: "kWh", of: func(int) float64 { return 0 }}
	}
	milk, compressor := zero("milk heat"), zero("compressor electricity")
	if a.Milk.Why == "" && a.Milk.Rows != nil {
		milk = b.milkTerm()
	}
	if a.Compressor.Rows != nil {
		compressor = b.powerTerm(&a.Compressor)
	}
	gain := ChainTerm{Name: "standing gain", Unit: "kWh", of: func(i int) float64 { return finiteOr0(b.gainKW) * a.Cycles[i].Hours() }}
	p.terms = []ChainTerm{b.heatTerm(&a.Plate), milk, compressor, gain}
	p.rows = func(i int) (bool, string) {
		switch {
		case slices.Contains(b.used, i):
			return true, ""
		case !a.Cycles[i].Whole:
			return false, "an end lies outside the period"
		}
		return false, "not covered: " + strings.Join(a.NotCovered(i, b.opt.Account.Cycle.CoveredShare), ", ")
	}
	p.total = map[string]func(v []float64) float64{
		"recovery_fraction": func(v []float64) float64 { return v[0] / (v[1] + v[2] + v[3]) },
		"heat_caught_kwh":   func(v []float64) float64 { return v[0] },
		"heat_rejected_kwh": func(v []float64) float64 { return v[1] + v[2] + v[3] },
		"milk_heat_kwh":     func(v []float64) float64 { return v[1] },
		"compressor_kwh":    func(v []float64) float64 { return v[2] },
		"cop":               func(v []float64) float64 { return (v[1] + v[3]) / v[2] },
		"caught_per_kwh":    func(v []float64) float64 { return v[0] / v[2] },
		"rejected_per_kwh":  func(v []float64) float64 { return (v[1] + v[2] + v[3]) / v[2] },
	}[key]
	if p.total == nil {
		p.formula = append(p.formula, key+" is fitted to, or estimated from, these cycles")
	}
	return p
}

// loopPlan: the fit of the loop to its draws.
func (s *Season) loopPlan(key string) plan {
	b := s.behind
	p := plan{draws: true, formula: []string{
		"UA is fitted to the outlet's readings of the draws below: plug flow through a pipe in a bed of one temperature, T_out = T_bed − (T_bed − T_in) · exp(−NTU) along each litre's stay",
		"model: " + s.Loop.Model + "; " + s.Loop.ModelWhy}}
	switch key {
	case "approach_k":
		p.formula = []string{"bed − water that has soaked in the loop, mean over the draws below"}
	case "effectiveness":
		p.formula = []string{"(T_out − T_in) / (T_bed − T_in) by draw, mean over the draws below"}
	}
	h := &b.acc.Loop
	draw := func(name, unit string, sources []grid.Source, of func(DrawRow) float64) {
		p.terms = append(p.terms, ChainTerm{Name: name, Unit: unit, of: func(i int) float64 { return of(s.Draws[i]) }, sources: sources})
	}
	draw("litres", "L", h.Flow, func(d DrawRow) float64 { return d.Litres })
	draw("in", "°C", h.Cold, func(d DrawRow) float64 { return d.InC })
	draw("out", "°C", h.Hot, func(d DrawRow) float64 { return d.OutC })
	draw("bed", "°C", b.bedSources(), func(d DrawRow) float64 { return d.BedC })
	draw("heat", "kWh", nil, func(d DrawRow) float64 { return d.HeatKWh })
	draw("misfit", "K", nil, func(d DrawRow) float64 { return d.RMSEK })
	return p
}

// bedSources are the bed's probes.
func (b *behind) bedSources() []grid.Source {
	var out []grid.Source
	for _, k := range b.grid.Find("bed_temp") {
		c := &b.grid.Channels[k]
		out = append(out, grid.Source{Channel: k, Quantity: c.Quantity, Place: c.Place, Probe: c.Probe, Weight: 1})
	}
	return out
}
