package season

import (
	"fmt"
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
)

// saver computes the saving of any stretch: the energy that the alternative
// would have used for the heat delivered, less the electricity used, over the
// cycles that have all of it.
type saver struct {
	b *builder
	x *terms
	// baseline heat (kWh), its money and CO2, by cycle.
	heat, fuelMoney, fuelCO2 []doubt.Part
	wash                     []doubt.Part
	used, usedCost           []doubt.Part
	solar                    solar
	efficiency               int
	prices                   priceErrors
	why, whyMoney, whyCO2    string
	rows                     []int
	at                       int // first output, where why is empty
	// what else the electricity can be held against; chosen: nil = the alternative
	kind   string
	held   []*held
	chosen *held
	extra  *extraWork
}

// solar is the own sun's part of the element's electricity by cycle.
type solar struct {
	known            bool
	source           int
	midKWh, halfKWh  []float64
	midCost, halfCst []float64
}

func (b *builder) saver(x *terms) *saver {
	s := &saver{b: b, x: x, efficiency: -1}
	switch f := b.rec.Farm; {
	case f.Instead == nil:
		s.why = "farm.toml has no [instead]: what would heat the water if nothing were recovered is not known"
	case !x.wash.known:
		s.why = "the heat in the wash water is not known: " + x.wash.why
	case !x.element.known:
		s.why = "the electricity of the element is not known: " + x.element.why
	}
	if s.why == "" && !x.pumps.known && b.hasPumpState() {
		s.why = "pumps are logged as on or off, and farm.toml gives no pumps.loop_kw or pumps.plate_kw"
	}
	if s.why != "" {
		s.whyMoney, s.whyCO2 = s.why, s.why
		return s
	}
	s.efficiency, s.prices = b.reg.key("instead.efficiency"), b.reg.prices()
	s.coveredRows()
	s.heats()
	s.electricity()
	return s
}

// hasPumpState: a pump's state is logged, whose electricity would count.
func (b *builder) hasPumpState() bool {
	return len(b.grid.Find("plate_pump")) > 0 || len(b.grid.Find("loop_pump")) > 0
}

// coveredRows are the cycles that have wash, other use, element and pumps.
func (s *saver) coveredRows() {
	a, share := s.b.acc, s.b.opt.Account.Cycle.CoveredShare
	for i := range a.Cycles {
		t := a.Row(i, share)
		if v := t.WashKWh + t.OtherUseKWh + t.ElementKWh + t.PumpKWh; !math.IsNaN(v) {
			s.rows = append(s.rows, i)
		}
	}
	if len(s.rows) == 0 {
		s.why = "no cycle has wash heat and electricity covered"
		s.whyMoney, s.whyCO2 = s.why, s.why
	}
}

func (s *saver) heats() {
	in := s.b.rec.Farm.Instead
	price := make([]float64, len(s.b.acc.Cycles))
	co2 := make([]float64, len(price))
	for i, c := range s.b.acc.Cycles {
		price[i], co2[i] = account.InsteadPrice(in, c.Start), in.CO2KgPerKWh
	}
	streams := []stream{s.x.wash, s.x.other}
	for _, x := range streams {
		if !x.known {
			continue
		}
		s.heat = append(s.heat, s.b.reg.heatPart(x.h, s.b.opt, baselineKWh, baselinePerHotK, nil))
		s.fuelMoney = append(s.fuelMoney, s.b.reg.heatPart(x.h, s.b.opt, baselineKWh, baselinePerHotK, price).Times(s.prices.fuel))
		s.fuelCO2 = append(s.fuelCO2, s.b.reg.heatPart(x.h, s.b.opt, baselineKWh, baselinePerHotK, co2).Times(s.prices.fuelCO2))
	}
	s.wash = append(s.wash, s.x.wash.part)
	if !in.HasPrice && len(in.PriceSince) == 0 {
		s.whyMoney = "farm.toml gives no instead.price_per_kwh"
	}
	if !in.HasCO2 {
		s.whyCO2 = "farm.toml gives no instead.co2_kg_per_kwh"
	}
}

func (s *saver) electricity() {
	e := s.b.rec.Farm.Electricity
	switch {
	case e == nil || !e.HasPrice && len(e.Rates) == 0:
		s.whyMoney = "farm.toml gives no electricity.price_per_kwh"
	case e != nil && !e.HasCO2:
		s.whyCO2 = "farm.toml gives no electricity.co2_kg_per_kwh"
	}
	if e == nil {
		s.whyCO2 = "farm.toml gives no electricity.co2_kg_per_kwh"
	}
	for _, x := range []use{s.x.element, s.x.pumps} {
		if x.known {
			s.used = append(s.used, x.part)
			if s.whyMoney == "" {
				s.usedCost = append(s.usedCost, s.b.reg.costPart(x.p))
			}
		}
	}
	s.solar = s.b.solar()
}

// solar turns the two ends of the own sun's share into a middle and a half,
// between which nothing in the logs decides.
func (b *builder) solar() solar {
	rows := b.acc.Solar.Rows
	if rows == nil {
		return solar{}
	}
	n := len(rows)
	s := solar{known: true, midKWh: make([]float64, n), halfKWh: make([]float64, n), midCost: make([]float64, n), halfCst: make([]float64, n)}
	for i, r := range rows {
		s.midKWh[i], s.halfKWh[i] = (r.LowKWh+r.HighKWh)/2, (r.HighKWh-r.LowKWh)/2
		s.midCost[i], s.halfCst[i] = (r.LowCost+r.HighCost)/2, (r.HighCost-r.LowCost)/2
	}
	s.source = b.reg.add(doubt.Source{Name: "whether element or farm comes first for the own solar", Kind: doubt.Shared, Dist: doubt.Rectangular, HalfWidth: 1, Assumed: true})
	return s
}

// over is what the saving of a stretch is computed from in a trial.
type over struct {
	heat, fuelMoney, fuelCO2, wash, used, usedCost []doubt.Part
	solarKWh, solarHalf, solarCost, solarCostHalf  float64
	standingKWh                                    float64
	standingMoney                                  float64
}

func (s *saver) over(rows []int) over {
	in := s.b.rec.Farm.Instead
	o := over{heat: pickAll(s.heat, rows), fuelMoney: pickAll(s.fuelMoney, rows), fuelCO2: pickAll(s.fuelCO2, rows),
		wash: pickAll(s.wash, rows), used: pickAll(s.used, rows), usedCost: pickAll(s.usedCost, rows)}
	for _, i := range rows {
		c := s.b.acc.Cycles[i]
		kwh := in.StandingLossKWhPerDay * c.Hours() / 24
		o.standingKWh += kwh
		o.standingMoney += kwh * account.InsteadPrice(in, c.Start)
		if s.solar.known {
			o.solarKWh, o.solarHalf = o.solarKWh+s.solar.midKWh[i], o.solarHalf+s.solar.halfKWh[i]
			o.solarCost, o.solarCostHalf = o.solarCost+s.solar.midCost[i], o.solarCostHalf+s.solar.halfCst[i]
		}
	}
	return o
}

// The outputs of one stretch's saving.
const (
	outBaseline = iota
	outUsed
	outSaved
	outMoney
	outCO2
	outHeatPerKWh
	outFuelMoney
	outPowerMoney
	outSolar
	savingOutputs
)

// ask asks for the outputs of a stretch's saving.
//
//	baseline = heat/η + standing losses,  saved = baseline − used
//	money = baseline · price − (grid kWh · price of the hour + solar kWh · export price)
func (s *saver) ask(rows []int) int {
	o, in, e := s.over(rows), s.b.rec.Farm.Instead, s.b.rec.Farm.Electricity
	eta, source, own, off := in.Efficiency, s.efficiency, s.solar, s.prices
	return s.b.block(savingOutputs, func(t *doubt.Trial, out []float64) {
		n := eta
		if source >= 0 {
			n += t.E[source]
		}
		pos := 0.0
		if own.known {
			pos = t.E[own.source]
		}
		out[outBaseline] = sumOf(o.heat, t.E)/n + o.standingKWh
		out[outUsed] = sumOf(o.used, t.E)
		out[outSaved] = out[outBaseline] - out[outUsed]
		out[outHeatPerKWh] = sumOf(o.wash, t.E) / out[outUsed]
		out[outSolar] = o.solarKWh + pos*o.solarHalf
		out[outFuelMoney] = sumOf(o.fuelMoney, t.E)/n + o.standingMoney*errFactor(t.E, off.fuel)
		out[outMoney], out[outPowerMoney], out[outCO2] = math.NaN(), math.NaN(), math.NaN()
		if e == nil {
			return
		}
		out[outPowerMoney] = sumOf(o.usedCost, t.E) - (o.solarCost+pos*o.solarCostHalf)*errFactor(t.E, off.power) + out[outSolar]*e.ExportPerKWh*errFactor(t.E, off.export)
		out[outMoney] = out[outFuelMoney] - out[outPowerMoney]
		out[outCO2] = sumOf(o.fuelCO2, t.E)/n + o.standingKWh*in.CO2KgPerKWh*errFactor(t.E, off.fuelCO2) - (out[outUsed]-out[outSolar])*e.CO2KgPerKWh*errFactor(t.E, off.powerCO2)
	})
}

// saved asks for a stretch's saving alone.
func (s *saver) saved(rows []int) int {
	o, eta, source := s.over(rows), s.b.rec.Farm.Instead.Efficiency, s.efficiency
	return s.b.output(func(t *doubt.Trial) float64 {
		n := eta
		if source >= 0 {
			n += t.E[source]
		}
		return sumOf(o.heat, t.E)/n + o.standingKWh - sumOf(o.used, t.E)
	})
}

// savingByAlternative asks for the season's figures by delivered heat.
func (b *builder) savingByAlternative(s *saver, all stretch) {
	v := &b.s.Saving
	in := b.rec.Farm.Instead
	if in != nil {
		v.Carrier, v.Currency = in.Carrier, in.Currency
	}
	v.Basis = b.savingBasis()
	list := []struct {
		key, unit, why string
		out            int
	}{
		{"baseline_kwh", "kWh", s.why, outBaseline}, {"used_kwh", "kWh", s.why, outUsed}, {"saved_kwh", "kWh", s.why, outSaved},
		{"money", v.Currency, s.whyMoney, outMoney}, {"co2_kg", "kg", s.whyCO2, outCO2}, {"heat_per_kwh", "1", s.why, outHeatPerKWh},
	}
	if s.why != "" {
		for _, x := range list {
			v.Figures = append(v.Figures, unknown(x.key, x.unit, s.basis(x.key), x.why))
		}
		v.FuelMoney = unknown("", v.Currency, doubt.Metered, s.why).Figure
		v.PowerMoney = v.FuelMoney
		for _, x := range list[2:5] { // saved_kwh, money, co2_kg
			v.Whole = append(v.Whole, unknown(x.key, x.unit, doubt.Estimated, x.why))
		}
		return
	}
	at := s.at
	// What the alternative would have used rests on a stated efficiency.
	m := meta{n: len(s.rows), coverage: b.share(all, s.covered())}
	for _, x := range list {
		if x.why != "" {
			v.Figures = append(v.Figures, unknown(x.key, x.unit, s.basis(x.key), x.why))
			continue
		}
		m.unit, m.basis = x.unit, s.basis(x.key)
		b.wantAt(&v.Figures, x.key, m, at+x.out)
	}
	b.note("saved_kwh", at+outSaved)
	m.unit = v.Currency
	b.moneyLines(s, at, m)
	b.wholeSaving(s)
}

// basis of a figure of the saving: the electricity may be metered, and the wash
// heat; what the alternative would have used rests on its stated efficiency.
func (s *saver) basis(key string) doubt.Basis {
	metered := key == "used_kwh" || key == "heat_per_kwh" && !(s.x.wash.known && (s.x.wash.h.Estimated || rated(s.x.wash.h.Flow)))
	for _, u := range []use{s.x.element, s.x.pumps} {
		metered = metered && !(u.known && rated(u.p.Sources))
	}
	if metered {
		return doubt.Metered
	}
	return doubt.Estimated
}

func (b *builder) moneyLines(s *saver, at int, m meta) {
	v := &b.s.Saving
	b.finish = append(b.finish, func() {
		if s.whyMoney != "" {
			v.FuelMoney = unknown("", m.unit, doubt.Metered, s.whyMoney).Figure
			v.PowerMoney = v.FuelMoney
			return
		}
		v.FuelMoney = b.result.Figure(at+outFuelMoney, m.unit, doubt.Estimated, m.n, m.coverage, "")
		v.PowerMoney = b.result.Figure(at+outPowerMoney, m.unit, s.basis("used_kwh"), m.n, m.coverage, "")
	})
}

// covered says for each cycle whether it is among the saver's rows.
func (s *saver) covered() func(i int) float64 {
	in := make([]float64, len(s.b.acc.Cycles))
	for _, i := range s.rows {
		in[i] = 1
	}
	return func(i int) float64 { return in[i] }
}

// savingBasis is the sentence that says what the saving is.
func (b *builder) savingBasis() string {
	in := b.rec.Farm.Instead
	if in == nil {
		return "No saving is given: farm.toml does not say what would heat the water instead."
	}
	carrier := in.Carrier
	if carrier == "" {
		carrier = "the alternative"
	}
	text := fmt.Sprintf("Avoided energy: the heat in the wash water and other hot water above the cold feed, divided by the efficiency %.2f of %s, less the electricity of element and pumps; final energy across carriers, over the cycles in which all of it was logged.",
		in.Efficiency, carrier)
	if in.Source != "" {
		text += " Figures from: " + in.Source + "."
	}
	e := b.rec.Farm.Electricity
	if e != nil && !e.HasExport && b.acc.Solar.Rows != nil {
		text += " Own solar is priced at 0, since no export price is stated."
	}
	return text
}

// electricityFigures asks for element, solar, pumps and compressor.
func (b *builder) electricityFigures(x *terms, all stretch) {
	dst := &b.s.Electricity
	b.seenPower(dst, "element_kwh", x.element, all, 0)
	(*dst)[len(*dst)-1].Label = "Element electricity"
	b.ownSun(dst)
	b.movableSun(dst)
	b.seenPower(dst, "pump_kwh", x.pumps, all, 0)
	b.seenPower(dst, "compressor_kwh", x.compressor, all, 0)
}
