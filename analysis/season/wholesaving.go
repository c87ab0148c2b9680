package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
)

// filled is one term of the saving over the whole period: what was seen, scaled
// by factor, and money by its own, since a kWh of the missing time is priced
// where it falls; extra is the source of what was not seen, of standard
// deviation 1, sdKWh its size and sdMoney what that costs.
type filled struct {
	part, money         []doubt.Part
	factor, moneyFactor float64
	extra               int
	sdKWh, sdMoney      float64
	fill                account.Fill
	unpriced            bool
}

// fillTerm readies a term from its fill: price by cycle (nil: none), seenMoney
// what the seen part comes to.
func (b *builder) fillTerm(name string, f account.Fill, price []float64, seenMoney float64) filled {
	x := filled{fill: f, factor: 1, moneyFactor: 1, extra: -1}
	if f.Why != "" {
		return x
	}
	if f.SeenKWh != 0 {
		x.factor = f.WholeKWh / f.SeenKWh
	}
	added, mean, kwh := 0.0, 0.0, 0.0
	for i, v := range f.Added {
		if v == 0 || price == nil {
			continue
		}
		if math.IsNaN(price[i]) {
			x.unpriced = true
			continue
		}
		added, mean, kwh = added+v*price[i], mean+v*price[i], kwh+v
	}
	if seenMoney != 0 {
		x.moneyFactor = (seenMoney + added) / seenMoney
	}
	if f.ExtraVar > 0 {
		x.extra = b.reg.add(doubt.Source{Name: "time not seen: " + name, Kind: doubt.Random, HalfWidth: z95})
		x.sdKWh = math.Sqrt(f.ExtraVar)
		if kwh > 0 {
			x.sdMoney = x.sdKWh * mean / kwh
		}
	}
	return x
}

// off is the trial's error of what was not seen, in standard deviations.
func (x *filled) off(e []float64) float64 {
	if x.extra < 0 {
		return 0
	}
	return e[x.extra]
}

// fuelWhole is the heat that the alternative would have had to give, over all
// cycles.
func (s *saver) fuelWhole() filled {
	b := s.b
	share := b.opt.Account.Cycle.CoveredShare
	f := b.acc.FillBaseline(share)
	in := b.rec.Farm.Instead
	price := make([]float64, len(b.acc.Cycles))
	var rows []int
	seen := 0.0
	for i, c := range b.acc.Cycles {
		price[i] = account.InsteadPrice(in, c.Start)
		if v := b.acc.Row(i, share).BaselineHeatKWh; !math.IsNaN(v) {
			rows, seen = append(rows, i), seen+v*price[i]
		}
	}
	x := b.fillTerm("wash and other use", f, price, seen)
	x.part, x.money = pickAll(s.heat, rows), pickAll(s.fuelMoney, rows)
	return x
}

// powersWhole are the uses of electricity over all cycles, each by what was
// seen of itself.
func (s *saver) powersWhole() []filled {
	b := s.b
	var out []filled
	for _, u := range []use{s.x.element, s.x.pumps} {
		if !u.known {
			continue
		}
		seen := 0.0
		for _, r := range u.p.Rows {
			seen += r.Cost
		}
		x := b.fillTerm(u.p.Name, b.acc.FillPower(u.p, b.opt.Account.Cycle.CoveredShare), u.p.UsualPrice, seen)
		x.part = []doubt.Part{u.part}
		if s.whyMoney == "" {
			x.money = []doubt.Part{b.reg.costPart(u.p)}
		}
		out = append(out, x)
	}
	return out
}

// whole is what the saving over the whole period is computed from in a trial.
type whole struct {
	fuel                       filled
	powers                     []filled
	standingKWh, standingMoney float64
	solarKWh, solarHalf        float64
	solarCost, solarCostHalf   float64
	why, whyMoney              string
	coverage                   float64
	cycles                     int
}

func (s *saver) whole() whole {
	b := s.b
	w := whole{fuel: s.fuelWhole(), powers: s.powersWhole()}
	w.why, w.coverage, w.cycles = w.fuel.fill.Why, w.fuel.fill.Coverage, w.fuel.fill.Cycles
	if w.fuel.unpriced {
		w.whyMoney = "the alternative has no price for some of the time not seen"
	}
	for _, x := range w.powers {
		if w.why == "" {
			w.why = x.fill.Why
		}
		if x.unpriced {
			w.whyMoney = "electricity has no price for some of the time not seen"
		}
		w.coverage, w.cycles = math.Min(w.coverage, x.fill.Coverage), min(w.cycles, x.fill.Cycles)
	}
	in := b.rec.Farm.Instead
	for i, c := range b.acc.Cycles {
		kwh := in.StandingLossKWhPerDay * c.Hours() / 24
		w.standingKWh, w.standingMoney = w.standingKWh+kwh, w.standingMoney+kwh*account.InsteadPrice(in, c.Start)
		if s.solar.known {
			w.solarKWh, w.solarHalf = w.solarKWh+s.solar.midKWh[i], w.solarHalf+s.solar.halfKWh[i]
			w.solarCost, w.solarCostHalf = w.solarCost+s.solar.midCost[i], w.solarCostHalf+s.solar.halfCst[i]
		}
	}
	if len(w.powers) > 0 { // the sun's part of what was not seen: as of what was
		f := w.powers[0].factor
		w.solarKWh, w.solarHalf, w.solarCost, w.solarCostHalf = f*w.solarKWh, f*w.solarHalf, f*w.solarCost, f*w.solarCostHalf
	}
	return w
}

// wholeSaving estimates the saving for the whole period. Heat and electricity
// are filled each by itself, so that a logger that was out takes nothing from
// what the others saw; money at the prices of the missing time.
func (b *builder) wholeSaving(s *saver) {
	w := s.whole()
	keys := []struct{ key, unit, why string }{{"saved_kwh", "kWh", s.why}, {"money", b.s.Saving.Currency, s.whyMoney + w.whyMoney}, {"co2_kg", "kg", s.whyCO2}}
	at := s.askWhole(&w)
	for i, x := range keys {
		switch {
		case x.why != "":
			b.s.Saving.Whole = append(b.s.Saving.Whole, unknown(x.key, x.unit, doubt.Estimated, x.why))
		case w.why != "":
			b.s.Saving.Whole = append(b.s.Saving.Whole, unknown(x.key, x.unit, doubt.Estimated, "what was not seen can't be estimated: "+w.why))
		default:
			b.wantAt(&b.s.Saving.Whole, x.key, meta{unit: x.unit, basis: doubt.Estimated, n: w.cycles, coverage: w.coverage}, at+i)
		}
	}
}

// askWhole asks for saved_kwh, money and co2_kg of the whole period.
func (s *saver) askWhole(w *whole) int { return s.b.block(3, s.wholeOutputs(w)) }

// wholeOutputs computes them.
func (s *saver) wholeOutputs(w *whole) func(t *doubt.Trial, out []float64) {
	in, e := s.b.rec.Farm.Instead, s.b.rec.Farm.Electricity
	eta, source, own, price := in.Efficiency, s.efficiency, s.solar, s.prices
	return func(t *doubt.Trial, out []float64) {
		n, pos := eta, 0.0
		if source >= 0 {
			n += t.E[source]
		}
		if own.known {
			pos = t.E[own.source]
		}
		off := w.fuel.off(t.E)
		baseline := (w.fuel.factor*sumOf(w.fuel.part, t.E)+w.fuel.sdKWh*off)/n + w.standingKWh
		fuel := (w.fuel.moneyFactor*sumOf(w.fuel.money, t.E)+w.fuel.sdMoney*off*errFactor(t.E, price.fuel))/n + w.standingMoney*errFactor(t.E, price.fuel)
		used, cost := 0.0, 0.0
		for i := range w.powers {
			x := &w.powers[i]
			off := x.off(t.E)
			used += x.factor*sumOf(x.part, t.E) + x.sdKWh*off
			cost += x.moneyFactor*sumOf(x.money, t.E) + x.sdMoney*off*errFactor(t.E, price.power)
		}
		out[0], out[1], out[2] = baseline-used, math.NaN(), math.NaN()
		if e == nil {
			return
		}
		sun := w.solarKWh + pos*w.solarHalf
		out[1] = fuel - (cost - (w.solarCost+pos*w.solarCostHalf)*errFactor(t.E, price.power) + sun*e.ExportPerKWh*errFactor(t.E, price.export))
		out[2] = baseline*in.CO2KgPerKWh*errFactor(t.E, price.fuelCO2) - (used-sun)*e.CO2KgPerKWh*errFactor(t.E, price.powerCO2)
	}
}
