package season

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
)

// Assumption is a figure that nobody metered, and what the season's figures
// would be if it were a fifth less or more.
type Assumption struct {
	ID, Value, Unit string
	// Source as the farm file gives it, or that of the default; Chosen is
	// "farm.toml" or "default".
	Source, Chosen string
	// Effects on saved_kwh, money, co2_kg and recovery_fraction, over what was
	// seen: the figure computed anew less the figure.
	Saved, Money, CO2, Recovery Effect
}

// Effect is the change of a figure with an assumption a fifth less, and a fifth
// more; NaN where the figure is not known.
type Effect struct{ Less, More float64 }

// effectOf never holds −0.
func effectOf(less, more float64) Effect { return Effect{less + 0, more + 0} }

// most is the larger of both changes, without its sign; 0 where not known.
func (e Effect) most() float64 { return math.Max(seen(math.Abs(e.Less)), seen(math.Abs(e.More))) }

// noSource is said of a figure whose table of the farm file has no source.
const noSource = "not stated"

func orNotStated(source string) string {
	if source == "" {
		return noSource
	}
	return source
}

// fifth is how far each assumption is moved: the custom of such lists.
const fifth = 0.2

// outcome holds the figures that assumptions move.
type outcome struct{ saved, money, co2, recovery float64 }

func (o outcome) less(p outcome) outcome {
	return outcome{o.saved - p.saved, o.money - p.money, o.co2 - p.co2, o.recovery - p.recovery}
}

// assumed is a candidate of the list: value in unit, and either the source of
// the trials that carries it or a change that follows from the sums.
type assumed struct {
	id, unit string
	value    float64
	stated   bool
	source   string
	// by gives the change of the outcome when the value is times 1 + share.
	by func(share float64) outcome
}

// assumptions lists what was stated or assumed, each with its effect computed
// anew: by the model of the trials under that one error, or, for what no trial
// varies, by the sums of the account's own formula.
func (b *builder) assumptions() {
	a := &b.s.Audit
	for _, x := range b.assumedList() {
		less, more := x.by(-fifth), x.by(fifth)
		chosen := "default"
		if x.stated {
			chosen = "farm.toml"
		}
		a.Assumptions = append(a.Assumptions, Assumption{ID: x.id, Value: number(x.value), Unit: x.unit, Source: x.source, Chosen: chosen,
			Saved: effectOf(less.saved, more.saved), Money: effectOf(less.money, more.money), CO2: effectOf(less.co2, more.co2), Recovery: effectOf(less.recovery, more.recovery)})
	}
	a.TornadoOf = "money"
	of := func(i int) float64 { return a.Assumptions[i].Money.most() }
	if b.kept.s.whyMoney != "" {
		a.TornadoOf = "saved_kwh"
		of = func(i int) float64 { return a.Assumptions[i].Saved.most() }
	}
	for i := range a.Assumptions {
		if of(i) > 0 {
			a.Tornado = append(a.Tornado, i)
		}
	}
	slices.SortStableFunc(a.Tornado, func(i, j int) int {
		switch {
		case of(i) > of(j):
			return -1
		case of(i) < of(j):
			return 1
		}
		return 0
	})
	a.Tornado = a.Tornado[:min(5, len(a.Tornado))]
}

// nowhere: the value is in none of the four figures.
func (b *builder) nowhere(float64) outcome { return b.known(outcome{}) }

// known puts NaN for the figures that this season does not have.
func (b *builder) known(o outcome) outcome {
	s := b.kept.s
	if s.why != "" {
		o.saved = nan
	}
	if s.why != "" || s.whyMoney != "" {
		o.money = nan
	}
	if s.why != "" || s.whyCO2 != "" {
		o.co2 = nan
	}
	if _, ok := b.outputOf("recovery_fraction"); !ok {
		o.recovery = nan
	}
	return o
}

func (b *builder) outputOf(key string) (int, bool) {
	for _, o := range b.budget {
		if o.key == key {
			return o.output, true
		}
	}
	return 0, false
}

// underError are the outcomes of the model when the sources named err by so
// much, less those without any error.
func (b *builder) underError(errors map[int]float64) outcome {
	e := make([]float64, len(b.result.Sources))
	zero := b.outcomeOf(b.result.Under(e))
	for i, v := range errors {
		e[i] = v
	}
	return b.known(b.outcomeOf(b.result.Under(e)).less(zero))
}

func (b *builder) outcomeOf(out []float64) outcome {
	o := outcome{nan, nan, nan, nan}
	if i, ok := b.outputOf("saved_kwh"); ok {
		at := i - outSaved
		o.saved, o.money, o.co2 = out[at+outSaved], out[at+outMoney], out[at+outCO2]
	}
	if i, ok := b.outputOf("recovery_fraction"); ok {
		o.recovery = out[i]
	}
	return o
}

// bySource moves a stated figure that stands for a meter through the trials'
// model, where its error is a share of it. One that is no source there is in
// none of the sums, unless it is taken as exact: then the effect is not known.
func (b *builder) bySource(name string) func(float64) outcome {
	i, ok := b.reg.byName[name]
	switch {
	case ok && i < len(b.result.Sources):
		return func(share float64) outcome { return b.underError(map[int]float64{i: share}) }
	case b.standsForMeter(name):
		return func(float64) outcome { return outcome{nan, nan, nan, nan} }
	}
	return b.nowhere
}

// standsForMeter: a flow or power of the account is a state times this figure.
func (b *builder) standsForMeter(key string) bool {
	a := b.acc
	all := slices.Concat(a.Loop.Flow, a.Plate.Flow, a.Wash.Flow, a.OtherUse.Flow, a.Element.Sources, a.Pumps.Sources, a.Compressor.Sources)
	return slices.ContainsFunc(all, func(s grid.Source) bool { return s.Key == key })
}

// sums are what prices and factors multiply, over the saving's cycles.
type sums struct {
	baselineKWh, usedKWh, sunKWh float64
	fuelMoney, gridMoney         float64
	standingKWh, standingMoney   float64
}

func (b *builder) sums() sums {
	i, ok := b.outputOf("saved_kwh")
	if !ok {
		return sums{}
	}
	at, o := i-outSaved, b.kept.s.over(b.kept.s.rows)
	out := b.result.Under(make([]float64, len(b.result.Sources)))
	v := sums{baselineKWh: out[at+outBaseline], usedKWh: out[at+outUsed], sunKWh: out[at+outSolar], fuelMoney: out[at+outFuelMoney],
		standingKWh: o.standingKWh, standingMoney: o.standingMoney}
	if e := b.rec.Farm.Electricity; e != nil {
		v.gridMoney = out[at+outPowerMoney] - v.sunKWh*e.ExportPerKWh
	}
	return v
}

func (b *builder) assumedList() []assumed {
	return slices.Concat(b.assumedInstead(), b.assumedPower(), b.assumedMilk(), b.assumedRated(), b.assumedLags())
}

func (b *builder) assumedInstead() []assumed {
	in := b.rec.Farm.Instead
	if in == nil {
		return nil
	}
	v, source := b.sums(), orNotStated(in.Source)
	times := func(o outcome) func(float64) outcome {
		return func(share float64) outcome {
			return b.known(outcome{share * o.saved, share * o.money, share * o.co2, 0})
		}
	}
	out := []assumed{{"instead.efficiency", "", in.Efficiency, true, source, b.efficiency(in, v)}}
	if in.HasPrice || len(in.PriceSince) > 0 {
		price, id := in.PricePerKWh, "instead.price_per_kwh"
		if len(in.PriceSince) > 0 {
			price, id = account.InsteadPrice(in, b.acc.ToMS), "instead.price_per_kwh and price_since (the last)"
		}
		out = append(out, assumed{id, in.Currency + "/kWh", price, true, source, times(outcome{money: v.fuelMoney})})
	}
	if in.HasCO2 {
		out = append(out, assumed{"instead.co2_kg_per_kwh", "kg/kWh", in.CO2KgPerKWh, true, source, times(outcome{co2: v.baselineKWh * in.CO2KgPerKWh})})
	}
	stated := in.StandingLossKWhPerDay != 0
	if !stated {
		source = "no loss is charged where none is stated"
	}
	return append(out, assumed{"instead.standing_loss_kwh_per_day", "kWh/d", in.StandingLossKWhPerDay, stated, source,
		times(outcome{saved: v.standingKWh, money: v.standingMoney, co2: v.standingKWh * in.CO2KgPerKWh})})
}

// efficiency divides the heat anew: (baseline − standing)/(1 + share).
func (b *builder) efficiency(in *farm.Instead, v sums) func(float64) outcome {
	return func(share float64) outcome {
		f := 1/(1+share) - 1
		heat := v.baselineKWh - v.standingKWh
		return b.known(outcome{saved: f * heat, money: f * (v.fuelMoney - v.standingMoney), co2: f * heat * in.CO2KgPerKWh})
	}
}

func (b *builder) assumedPower() []assumed {
	e, in := b.rec.Farm.Electricity, b.rec.Farm.Instead
	if e == nil || in == nil {
		return nil
	}
	v, source := b.sums(), orNotStated(e.Source)
	unit := strings.TrimPrefix(in.Currency+"/kWh", " ")
	by := func(o outcome) func(float64) outcome {
		return func(share float64) outcome { return b.known(outcome{0, share * o.money, share * o.co2, 0}) }
	}
	var out []assumed
	if e.HasPrice || len(e.Rates) > 0 {
		id, value := "electricity.price_per_kwh", e.PricePerKWh
		if len(e.Rates) > 0 {
			id += " and all rates"
			if !e.HasPrice {
				value = e.Rates[0].PricePerKWh
			}
		}
		out = append(out, assumed{id, unit, value, true, source, by(outcome{money: -v.gridMoney})})
	}
	if e.HasExport || v.sunKWh > 0 {
		exportSource := source
		if !e.HasExport {
			exportSource = noSource
		}
		out = append(out, assumed{"electricity.export_price_per_kwh", unit, e.ExportPerKWh, e.HasExport, exportSource, by(outcome{money: -v.sunKWh * e.ExportPerKWh})})
	}
	if e.HasCO2 {
		out = append(out, assumed{"electricity.co2_kg_per_kwh", "kg/kWh", e.CO2KgPerKWh, true, source, by(outcome{co2: -(v.usedKWh - v.sunKWh) * e.CO2KgPerKWh})})
	}
	return out
}

// assumedMilk moves the share caught alone: f = caught / rejected.
func (b *builder) assumedMilk() []assumed {
	m, f := b.rec.Farm.Milk, b.s.Plant.Figures
	if b.acc.Milk.Why != "" {
		return nil
	}
	value := func(key string) float64 {
		for _, n := range f {
			if n.Key == key {
				return n.Figure.Value
			}
		}
		return nan
	}
	caught, rejected, milk := value("heat_caught_kwh"), value("heat_rejected_kwh"), value("milk_heat_kwh")
	more := func(kwh float64) func(float64) outcome {
		return func(share float64) outcome {
			return b.known(outcome{recovery: caught/(rejected+share*kwh) - caught/rejected})
		}
	}
	text := func(stated bool, of string) string {
		if stated {
			return noSource
		}
		return of
	}
	out := []assumed{
		{"milk.specific_heat_kj_per_kg_k", "kJ/(kg K)", m.SpecificHeatKJPerKgK, m.SpecificHeatStated, text(m.SpecificHeatStated, "Dairy Engineering, lesson 3 (ICAR-IASRI e-course)"), more(milk)},
		{"milk.density_kg_per_l", "kg/L", m.DensityKgPerL, m.DensityStated, text(m.DensityStated, "Goff, Dairy Chemistry and Physics, University of Guelph"), more(milk)},
	}
	if p := b.rec.Farm.Plant; p != nil && p.HasStandingGain {
		out = append(out, assumed{"plant.standing_gain_kw", "kW", p.StandingGainKW, true, noSource, more(rejected - milk - value("compressor_kwh"))})
	}
	return out
}

// assumedRated are rated and built figures that stand for meters.
func (b *builder) assumedRated() []assumed {
	f := b.rec.Farm
	var out []assumed
	add := func(id, unit string, v float64) {
		if v > 0 {
			out = append(out, assumed{id, unit, v, true, noSource, b.bySource(id)})
		}
	}
	if f.Plant != nil {
		add("plant.compressor_kw", "kW", f.Plant.CompressorKW)
	}
	if f.Element != nil {
		add("element.power_kw", "kW", f.Element.PowerKW)
	}
	if f.Pumps != nil {
		add("pumps.loop_kw", "kW", f.Pumps.LoopKW)
		add("pumps.plate_kw", "kW", f.Pumps.PlateKW)
	}
	if f.Loop != nil {
		add("loop.draw_l", "L", f.Loop.DrawL)
		add("loop.flow_l_min", "L/min", f.Loop.FlowLMin)
	}
	if f.Plate != nil {
		add("plate.flow_l_min", "L/min", f.Plate.FlowLMin)
	}
	for i, t := range f.Tanks {
		if i == 0 {
			add("tank.volume_l", "L", t.VolumeL)
		}
	}
	return out
}

// assumedLags moves the time constants of all pipe probes together.
func (b *builder) assumedLags() []assumed {
	const tail = ": time constant"
	per := map[int]float64{}
	if b.opt.LagError <= 0 {
		return nil
	}
	for i, s := range b.result.Sources {
		if strings.HasSuffix(s.Name, tail) {
			per[i] = s.HalfWidth / b.opt.LagError // the time constant itself, s
		}
	}
	if len(per) == 0 {
		return nil
	}
	by := func(share float64) outcome {
		e := map[int]float64{}
		for i, tau := range per {
			e[i] = share * tau
		}
		return b.underError(e)
	}
	return []assumed{{fmt.Sprintf("account.LagPocketS, LagPipeS: time constants of %d pipe probes", len(per)), "s (pocket)", b.opt.Account.LagPocketS, false, "common practice, no source", by}}
}

// Price is a price or factor of the account.
type Price struct {
	Key, What string
	Value     float64
	Unit      string
	// Since: from when; 0 = always. Holds: the hours and days, in words.
	Since         int64
	Holds, Source string
}

func (b *builder) prices() {
	in, e := b.rec.Farm.Instead, b.rec.Farm.Electricity
	out := &b.s.Audit.Prices
	unit, source := "/kWh", ""
	if in != nil {
		unit, source = in.Currency+unit, orNotStated(in.Source)
		if in.HasPrice {
			*out = append(*out, Price{"instead.price_per_kwh", "price of the alternative's carrier", in.PricePerKWh, unit, 0, "always", source})
		}
		for _, p := range in.PriceSince {
			*out = append(*out, Price{"instead.price_since", "price of the alternative's carrier", p.PricePerKWh, unit, p.Since.UnixMilli(), "from that day", source})
		}
		if in.HasCO2 {
			*out = append(*out, Price{"instead.co2_kg_per_kwh", "carbon factor of the alternative's carrier", in.CO2KgPerKWh, "kg/kWh", 0, "always", source})
		}
	}
	if e == nil {
		return
	}
	source = orNotStated(e.Source)
	if e.HasPrice {
		*out = append(*out, Price{"electricity.price_per_kwh", "price of electricity", e.PricePerKWh, unit, 0, "where no rate holds", source})
	}
	for _, r := range e.Rates {
		p := Price{"electricity.rate", "price of electricity", r.PricePerKWh, unit, 0, rateHolds(r), source}
		if !r.Since.IsZero() {
			p.Since = r.Since.UnixMilli()
		}
		*out = append(*out, p)
	}
	if e.HasExport {
		*out = append(*out, Price{"electricity.export_price_per_kwh", "price of own solar sold", e.ExportPerKWh, unit, 0, "always", source})
	}
	if e.HasCO2 {
		*out = append(*out, Price{"electricity.co2_kg_per_kwh", "carbon factor of electricity", e.CO2KgPerKWh, "kg/kWh", 0, "always", source})
	}
}

func rateHolds(r farm.Rate) string {
	text := "all day"
	if r.FromMin != r.ToMin {
		text = fmt.Sprintf("%02d:%02d to %02d:%02d", r.FromMin/60, r.FromMin%60, r.ToMin/60, r.ToMin%60)
	}
	if r.Days == [7]bool{} || r.Days == [7]bool{true, true, true, true, true, true, true} {
		return text
	}
	var days []string
	for i, name := range [7]string{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"} {
		if r.Days[i] {
			days = append(days, name)
		}
	}
	return text + ", " + strings.Join(days, " ")
}
