package season

import (
	"fmt"
	"math"
	"strings"
	"time"

	"gonum.org/v1/gonum/floats"

	"yardheat/analysis/account"
	"yardheat/analysis/plant"
	"yardheat/ingest/farm"
)

// Ledger is what the totals are made of, cycle by cycle, so that whoever opens
// the workbook can add them up again and put other prices and factors in.
// Columns have one value a cycle, as Season.Cycles; kWh unless said otherwise.
type Ledger struct {
	Assumptions []LedgerAssumption
	Hours       []float64
	// Terms are the streams of heat and uses of electricity that are known.
	Terms []LedgerTerm
	// AboveKWh: heat in wash and other use above wash.heat_to_c, as seen.
	AboveKWh []float64
	// Sun: both ends of the element's own solar; nil where not known.
	SunLowKWh, SunHighKWh []float64
	SunOnlyHigh           bool
	// SunByLine: midway between both, by price of electricity.
	SunByLine [][]float64
	// FuelLine and PowerLine are the keys of the prices among the Assumptions:
	// the carrier's by cycle ("" = none holds), electricity's one by one.
	FuelLine  []string
	PowerLine []string
	// FuelCost, PowerCost: money not spent and spent; NaN where not known.
	FuelCost, PowerCost []float64
	// Counts: the cycles that have every term of the figure.
	CountsSaving, CountsUnexplained, CountsUnused, CountsRecovery []bool
	// Lines are the terms of element, pumps and own sun by price; empty where they
	// can't be estimated or priced.
	Lines []LedgerLine
	// FuelFill fills the heat that the alternative would have had to give.
	FuelFill LedgerFill
	// Alternative: the saving is the heat delivered, through the alternative's
	// heater. Of any other kind of baseline the workbook gives values alone.
	Alternative bool
}

// LedgerTerm is one stream of heat or use of electricity.
type LedgerTerm struct {
	Key, Label string // "loop_kwh"
	Power      bool
	SeenKWh    []float64
	Fill       LedgerFill
	// ByLine: what of it fell on each price of electricity; UsualShare: how a
	// kWh of the usual hours falls on them. Electricity only, by Ledger.PowerLine.
	ByLine, UsualShare [][]float64
}

// LedgerFill says how what was not seen is filled: a cycle Behind the mean gets
// PerH × hours × (1 − Share), another what PerH × hours is more than was seen.
type LedgerFill struct {
	Why              string // why it can't be
	Share, AddedKWh  []float64
	Behind           []bool
	PerH, SeenKWh    float64
	PutInKWh         float64 // Σ AddedKWh
	WholeKWh         float64
	NothingIsMissing bool
}

// LedgerLine is what of one term falls on one price of electricity over the
// whole period: as seen, and what was put in for what was not.
type LedgerLine struct {
	Term      string // "element_kwh", "pump_kwh" or SunTerm
	Line      int    // of Ledger.PowerLine
	SeenKWh   float64
	PutInKWh  float64
	WholeKWh  float64
	PerKWh    float64
	WholeCost float64 // negative for the own sun, which is not bought
}

// SunTerm is the own sun's part among the Lines.
const SunTerm = "sun"

// LedgerAssumption is one figure that no log gives.
type LedgerAssumption struct {
	Key, What string
	Value     float64
	Unit      string
	Source    string // where whoever stated it says it comes from
	By        string // "farm.toml", "default", "readings"
	// Live: the workbook's totals follow it. Else it is already in the kWh of the
	// cycles, or not in a total at all.
	Live bool
}

// Terms' keys.
const (
	keyLoop, keyPlant, keyElement = "loop_kwh", "plant_kwh", "element_kwh"
	keyWash, keyOther, keyPump    = "wash_kwh", "other_use_kwh", "pump_kwh"
	keyCompressor                 = "compressor_kwh"
)

// ledger lays the terms of the totals open.
func (b *builder) ledger(x *terms, s *saver, r *recovery) {
	a, n := b.acc, len(b.acc.Cycles)
	l := &b.s.Ledger
	// Other baselines rest on a fit, which no sheet makes again: the workbook shows
	// their saving as values.
	l.Alternative = s.kind == farm.BaselineAlternative
	l.Hours = make([]float64, n)
	for i, c := range a.Cycles {
		l.Hours[i] = c.Hours()
	}
	for _, t := range []struct {
		key string
		x   stream
	}{{keyLoop, x.loop}, {keyPlant, x.plate}, {keyWash, x.wash}, {keyOther, x.other}} {
		if t.x.known {
			l.Terms = append(l.Terms, b.heatTerm(t.key, t.x.h))
		}
	}
	for _, line := range account.PriceLines(b.rec.Farm.Electricity) {
		l.PowerLine = append(l.PowerLine, powerKey(line.Rate))
	}
	for _, t := range []struct {
		key string
		x   use
	}{{keyElement, x.element}, {keyPump, x.pumps}, {keyCompressor, x.compressor}} {
		if t.x.known {
			l.Terms = append(l.Terms, b.powerTerm(t.key, t.x.p))
		}
	}
	b.ledgerSun(s)
	b.ledgerSaving(x, s)
	if s.whyMoney == "" && s.why == "" {
		b.ledgerLines()
	}
	b.ledgerCounts(s, r)
	b.assume(r)
}

// ledgerLines sums what falls on each price. The sun's part of what was not seen
// is as of what was.
func (b *builder) ledgerLines() {
	l := &b.s.Ledger
	element := 1.0
	for k, price := range account.PriceLines(b.rec.Farm.Electricity) {
		add := func(term string, sign, seen, putIn, whole float64) {
			l.Lines = append(l.Lines, LedgerLine{Term: term, Line: k, SeenKWh: seen, PutInKWh: putIn, WholeKWh: whole, PerKWh: price.PerKWh, WholeCost: sign * whole * price.PerKWh})
		}
		for _, t := range l.Terms {
			if t.Key != keyElement && t.Key != keyPump {
				continue
			}
			if t.Fill.Why != "" {
				l.Lines = nil
				return
			}
			if t.Key == keyElement && t.Fill.SeenKWh != 0 {
				element = t.Fill.WholeKWh / t.Fill.SeenKWh
			}
			putIn := 0.0
			for i, v := range t.Fill.AddedKWh {
				if v != 0 && !math.IsNaN(t.UsualShare[k][i]) {
					putIn += v * t.UsualShare[k][i]
				}
			}
			seen := floats.Sum(t.ByLine[k])
			add(t.Key, 1, seen, putIn, seen+putIn)
		}
		if l.SunByLine != nil {
			seen := floats.Sum(l.SunByLine[k])
			add(SunTerm, -1, seen, 0, seen*element)
		}
	}
}

func (b *builder) heatTerm(key string, h *account.Heat) LedgerTerm {
	share := b.opt.Account.Cycle.CoveredShare
	t := LedgerTerm{Key: key, Label: labels[key], SeenKWh: h.Column(heatKWh)}
	t.Fill = b.fillOf(b.acc.FillHeat(h, share), func(i int) (float64, bool) {
		c := b.acc.Cycles[i]
		return h.Rows[i].SeenShare(c), h.Rows[i].Covered(c, share)
	})
	return t
}

func (b *builder) powerTerm(key string, p *account.Power) LedgerTerm {
	share := b.opt.Account.Cycle.CoveredShare
	t := LedgerTerm{Key: key, Label: labels[key], Power: true, SeenKWh: p.Column(powerKWh), ByLine: p.ByLine, UsualShare: p.UsualShare}
	if key == keyElement {
		t.Label = "Element electricity"
	}
	t.Fill = b.fillOf(b.acc.FillPower(p, share), func(i int) (float64, bool) {
		c := b.acc.Cycles[i]
		return p.Rows[i].SeenShare(c), p.Rows[i].Covered(c, share)
	})
	if t.ByLine == nil && len(b.s.Ledger.PowerLine) == 1 {
		t.ByLine, t.UsualShare = [][]float64{t.SeenKWh}, [][]float64{ones(len(t.SeenKWh))}
	}
	return t
}

func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}

func (b *builder) fillOf(f account.Fill, seen func(i int) (share float64, covered bool)) LedgerFill {
	n := len(b.acc.Cycles)
	out := LedgerFill{Why: f.Why, Share: make([]float64, n), Behind: make([]bool, n), AddedKWh: f.Added,
		PerH: f.PerH, SeenKWh: f.SeenKWh, WholeKWh: f.WholeKWh, NothingIsMissing: f.Why == "" && f.PerH == 0}
	for _, v := range f.Added {
		out.PutInKWh += v
	}
	for i := range n {
		share, covered := seen(i)
		out.Share[i], out.Behind[i] = share, covered && share > 0
	}
	return out
}

func (b *builder) ledgerSun(s *saver) {
	l, sun := &b.s.Ledger, &b.acc.Solar
	if sun.Rows == nil {
		return
	}
	for _, r := range sun.Rows {
		l.SunLowKWh, l.SunHighKWh = append(l.SunLowKWh, r.LowKWh), append(l.SunHighKWh, r.HighKWh)
	}
	l.SunOnlyHigh, l.SunByLine = sun.OnlyHigh, sun.MidByLine
	if l.SunByLine == nil && len(l.PowerLine) == 1 && s.solar.known {
		l.SunByLine = [][]float64{s.solar.midKWh}
	}
}

// ledgerSaving lays open what the alternative would have cost, and what was
// bought.
func (b *builder) ledgerSaving(x *terms, s *saver) {
	in, l, n := b.rec.Farm.Instead, &b.s.Ledger, len(b.acc.Cycles)
	if in == nil {
		return
	}
	share := b.opt.Account.Cycle.CoveredShare
	if x.wash.known {
		l.AboveKWh = make([]float64, n)
		for _, h := range []stream{x.wash, x.other} {
			for i := range n {
				if h.known {
					l.AboveKWh[i] += h.h.Rows[i].AboveKWh
				}
			}
		}
	}
	l.FuelFill = b.fillOf(b.acc.FillBaseline(share), func(i int) (float64, bool) {
		if v := b.acc.Row(i, share).BaselineHeatKWh; v == v {
			return 1, true
		}
		return 0, false
	})
	l.FuelLine, l.FuelCost, l.PowerCost = make([]string, n), make([]float64, n), make([]float64, n)
	for i, c := range b.acc.Cycles {
		l.FuelLine[i] = fuelKey(account.InsteadLine(in, c.Start))
		l.FuelCost[i], l.PowerCost[i] = nan, nan
		t := b.acc.Row(i, share)
		if s.whyMoney != "" {
			continue
		}
		l.FuelCost[i] = (t.BaselineHeatKWh/in.Efficiency + in.StandingLossKWhPerDay*c.Hours()/24) * account.InsteadPrice(in, c.Start)
		l.PowerCost[i] = b.spent(x, s, i)
	}
}

// spent is what the electricity of element and pumps cost in cycle i, with the
// farm's own sun at its export price.
func (b *builder) spent(x *terms, s *saver, i int) float64 {
	sum := 0.0
	for _, u := range []use{x.element, x.pumps} {
		if u.known {
			sum += u.p.Rows[i].Cost
		}
	}
	if s.solar.known {
		sum += s.solar.midKWh[i]*b.rec.Farm.Electricity.ExportPerKWh - s.solar.midCost[i]
	}
	return sum
}

// ledgerCounts marks the cycles behind the figures that take whole rows only.
func (b *builder) ledgerCounts(s *saver, r *recovery) {
	n, share := len(b.acc.Cycles), b.opt.Account.Cycle.CoveredShare
	l := &b.s.Ledger
	l.CountsSaving, l.CountsUnexplained, l.CountsUnused, l.CountsRecovery = make([]bool, n), make([]bool, n), make([]bool, n), make([]bool, n)
	for _, i := range s.rows {
		l.CountsSaving[i] = true
	}
	for _, i := range r.cycles {
		l.CountsRecovery[i] = true
	}
	for i, c := range b.acc.Cycles {
		t := b.acc.Row(i, share)
		l.CountsUnexplained[i] = c.Whole && !math.IsNaN(t.UnexplainedKWh)
		l.CountsUnused[i] = c.Whole && !math.IsNaN(t.UnusedKWh())
	}
}

// powerKey is an electricity price's key among the Assumptions.
func powerKey(rate int) string {
	if rate < 0 {
		return "electricity.price_per_kwh"
	}
	return fmt.Sprintf("electricity.rate[%d]", rate+1)
}

// fuelKey likewise for the carrier's, by its line.
func fuelKey(line int) string {
	switch {
	case line < 0:
		return ""
	case line == 0:
		return "instead.price_per_kwh"
	}
	return fmt.Sprintf("instead.price_since[%d]", line)
}

const byFarm, byDefault = "farm.toml", "default"

// assume lists what the figures rest on and no log gives.
func (b *builder) assume(r *recovery) {
	f, l := b.rec.Farm, &b.s.Ledger
	add := func(a LedgerAssumption) { l.Assumptions = append(l.Assumptions, a) }
	if in := f.Instead; in != nil {
		for _, a := range b.ledgerInstead(in) {
			add(a)
		}
	}
	if e := f.Electricity; e != nil {
		for _, a := range b.ledgerPower(e, currencyOf(f)) {
			add(a)
		}
	}
	if r.why == "" {
		gain, by := r.gain.KW, map[plant.GainFrom]string{plant.GainStated: byFarm, plant.GainLine: "readings", plant.GainNone: byDefault}[r.gain.From]
		if r.gain.From == plant.GainNone {
			gain = 0
		}
		add(LedgerAssumption{Key: "plant.standing_gain_kw", What: "Standing gain of the cold store", Value: gain, Unit: "kW", By: by, Source: r.gain.Why, Live: true})
	}
	if b.acc.Milk.Why == "" {
		m := f.Milk
		add(LedgerAssumption{Key: "milk.specific_heat_kj_per_kg_k", What: "Specific heat of milk", Value: m.SpecificHeatKJPerKgK, Unit: "kJ/(kg K)", By: stateBy(m.SpecificHeatStated), Live: true})
		add(LedgerAssumption{Key: "milk.density_kg_per_l", What: "Density of milk", Value: m.DensityKgPerL, Unit: "kg/L", By: stateBy(m.DensityStated), Live: true})
	}
	b.assumedBed(add)
	if w := f.Wash; w != nil && w.HasHeatTo {
		add(LedgerAssumption{Key: "wash.heat_to_c", What: "What the element heats to: heat above it is not saved", Value: w.HeatToC, Unit: "°C", By: byFarm})
	}
	for _, t := range f.Tanks {
		if t.VolumeL > 0 {
			add(LedgerAssumption{Key: "tank.volume_l", What: strings.TrimSpace("Volume of the tank " + t.Name), Value: t.VolumeL, Unit: "L", By: byFarm})
		}
	}
}

func (b *builder) assumedBed(add func(LedgerAssumption)) {
	if p := b.rec.Farm.Loop; p != nil && p.BedAreaM2 > 0 {
		add(LedgerAssumption{Key: "loop.bed_area_m2", What: "Area of the bed", Value: p.BedAreaM2, Unit: "m²", By: byFarm, Live: true})
	}
	if t := b.tonnesBedded(); t > 0 {
		add(LedgerAssumption{Key: "event.tonnes", What: "Bedding brought in, all bedded events together", Value: t, Unit: "t", By: byFarm, Live: true})
	}
}

func stateBy(stated bool) string {
	if stated {
		return byFarm
	}
	return byDefault
}

func currencyOf(f *farm.Farm) string {
	if f.Instead != nil && f.Instead.Currency != "" {
		return f.Instead.Currency
	}
	return "money"
}

func (b *builder) ledgerInstead(in *farm.Instead) []LedgerAssumption {
	one := func(key, what, unit string, v float64) LedgerAssumption {
		return LedgerAssumption{Key: key, What: what, Value: v, Unit: unit, Source: in.Source, By: byFarm, Live: true}
	}
	perKWh := currencyOf(b.rec.Farm) + "/kWh"
	out := []LedgerAssumption{one("instead.efficiency", "Heat delivered per kWh of the alternative's carrier", "kWh/kWh", in.Efficiency)}
	if in.HasPrice {
		out = append(out, one(fuelKey(0), "Price of the carrier", perKWh, in.PricePerKWh))
	}
	for i, p := range in.PriceSince {
		out = append(out, one(fuelKey(i+1), "Price of the carrier in cycles that begin on "+p.Since.In(b.acc.Zone).Format(time.DateOnly)+" or later, until the next", perKWh, p.PricePerKWh))
	}
	if in.HasCO2 {
		out = append(out, one("instead.co2_kg_per_kwh", "CO2 of the carrier", "kg/kWh", in.CO2KgPerKWh))
	}
	loss := one("instead.standing_loss_kwh_per_day", "What the alternative would lose while it stands", "kWh/d", in.StandingLossKWhPerDay)
	if in.StandingLossKWhPerDay == 0 {
		loss.By, loss.Source = byDefault, ""
	}
	return append(out, loss)
}

func (b *builder) ledgerPower(e *farm.Electricity, currency string) []LedgerAssumption {
	one := func(key, what, unit string, v float64) LedgerAssumption {
		return LedgerAssumption{Key: key, What: what, Value: v, Unit: unit, Source: e.Source, By: byFarm, Live: true}
	}
	var out []LedgerAssumption
	for _, p := range account.PriceLines(e) {
		what := "Price of electricity"
		switch {
		case p.Rate >= 0:
			what += " " + rateWords(e.Rates[p.Rate], b.acc.Zone)
		case len(e.Rates) > 0:
			what += " where no rate holds"
		}
		out = append(out, one(powerKey(p.Rate), what, currency+"/kWh", p.PerKWh))
	}
	if e.HasCO2 {
		out = append(out, one("electricity.co2_kg_per_kwh", "CO2 of electricity from the grid", "kg/kWh", e.CO2KgPerKWh))
	}
	if b.acc.Solar.Rows != nil {
		x := one("electricity.export_price_per_kwh", "What own solar used here would have earned", currency+"/kWh", e.ExportPerKWh)
		if !e.HasExport {
			x.By, x.Source = byDefault, ""
		}
		out = append(out, x)
	}
	return out
}

// rateWords says when a rate holds.
func rateWords(r farm.Rate, zone *time.Location) string {
	clock := func(min int) string { return fmt.Sprintf("%02d:%02d", min/60, min%60) }
	text := "from " + clock(r.FromMin) + " to " + clock(r.ToMin)
	var days []string
	for d, on := range r.Days {
		if on {
			days = append(days, time.Weekday(d).String()[:3])
		}
	}
	if len(days) > 0 && len(days) < 7 {
		text += " on " + strings.Join(days, ", ")
	}
	if !r.Since.IsZero() {
		text += " since " + r.Since.In(zone).Format(time.DateOnly)
	}
	return text
}
