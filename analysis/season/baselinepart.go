package season

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/analysis/baseline"
	"yardheat/analysis/doubt"
	"yardheat/ingest/farm"
)

// held is the electricity used held against a stretch without recovery.
type held struct {
	b      *builder
	kind   string
	why    string
	t      *table
	m      *baseline.Model
	base   []dayRow
	report []dayRow
	used   []doubt.Part // element and pumps, over all cycles
	at     int          // first output
	total  baseline.Total
	priced *baseline.Total // nil: no price
	// fixed conditions
	after    *baseline.Model
	fixed    []float64 // the sum of so many mean days
	atFixed  [2]baseline.Total
	fixedWhy string
	extra    *extraWork
	whyMoney string
	whyCO2   string
	// of the total: what probes' errors do, and the scatter's source.
	errs    []slope
	scatter int
}

// heldKinds are the baselines that rest on stretches of the record.
var heldKinds = []string{farm.BaselineOff, farm.BaselineBefore}

// held makes the model of a kind; of what the record does not allow why says so.
func (b *builder) held(kind string, x *terms, days []dayRow, extra *extraWork) *held {
	h := &held{b: b, kind: kind, extra: extra}
	if h.why = b.noStretch(kind, x); h.why != "" {
		return h
	}
	y := make([]float64, len(b.acc.Cycles))
	share := b.opt.Account.Cycle.CoveredShare
	for i := range y {
		y[i] = b.acc.Row(i, share).UsedKWh
	}
	for _, u := range []use{x.element, x.pumps} {
		if u.known {
			h.used = append(h.used, u.part)
		}
	}
	for _, names := range b.candidates() {
		t := b.table(days, names, y)
		base := t.picked(kind)
		m, why := baseline.Fit(t.rows(base), b.opt.Baseline.Fit)
		if why == "" {
			h.t, h.m, h.base, h.why = t, m, base, ""
			break
		}
		if h.why == "" {
			h.why = why
		}
	}
	if h.m == nil {
		h.why = kindDays(kind) + ": " + h.why
		return h
	}
	if h.report = h.t.picked("report"); len(h.report) == 0 {
		h.why = "no day outside the stretches without recovery has everything logged that the model needs"
		return h
	}
	r := h.t.rows(h.report)
	h.total = h.m.Total(r.X, r.Day, nil)
	h.price(r)
	h.conditions(r)
	return h
}

func kindDays(kind string) string {
	if kind == farm.BaselineBefore {
		return "of the days before the recovery"
	}
	return "of the days with the recovery switched off"
}

// noStretch says what a baseline by stretches lacks at the outset.
func (b *builder) noStretch(kind string, x *terms) string {
	switch {
	case !slices.ContainsFunc(b.rec.Farm.Seasons, func(s farm.Season) bool { return s.Kind == kind }):
		return "farm.toml has no [[season]] of kind \"" + kind + "\""
	case !x.element.known:
		return "the electricity of the element is not known: " + x.element.why
	case !x.pumps.known && b.hasPumpState():
		return "pumps are logged as on or off, and farm.toml gives no pumps.loop_kw or pumps.plate_kw"
	}
	return ""
}

// candidates are the sets of variables to try, in order: what the farm file asks
// for and nothing else, or what is likeliest to move a day's electricity.
func (b *builder) candidates() [][]string {
	if v := b.rec.Farm.Baseline.Variables; len(v) > 0 {
		return [][]string{v}
	}
	return [][]string{
		{farm.VariableConstant, farm.VariableHeat, farm.VariableTank},
		{farm.VariableConstant, farm.VariableHeat},
		{farm.VariableConstant, farm.VariableMilk, farm.VariableFeed},
		{farm.VariableConstant, farm.VariableMilk},
		{farm.VariableConstant, farm.VariableFeed},
	}
}

// price weighs the days by what a kWh usually costs at the element's hours.
func (h *held) price(r baseline.Rows) {
	b := h.b
	e, usual := b.rec.Farm.Electricity, b.acc.Element.UsualPrice
	switch {
	case b.acc.Solar.Rows != nil:
		h.whyMoney = "own solar is logged, and how much of the electricity not used it would have given can't be told"
		h.whyCO2 = h.whyMoney
		return
	case e == nil || !e.HasPrice && len(e.Rates) == 0 || usual == nil:
		h.whyMoney = "farm.toml gives no electricity.price_per_kwh"
	}
	if e == nil || !e.HasCO2 {
		h.whyCO2 = "farm.toml gives no electricity.co2_kg_per_kwh"
	}
	if h.whyMoney != "" {
		return
	}
	w := make([]float64, len(h.report))
	for k, d := range h.report {
		for _, i := range d.cycles {
			w[k] += usual[i] * b.acc.Cycles[i].Hours() / d.hours
		}
		if math.IsNaN(w[k]) {
			h.whyMoney = "electricity has no price on some of the days"
			return
		}
	}
	p := h.m.Total(r.X, r.Day, w)
	h.priced = &p
}

// conditions fits the days reported on too, and lays both models on the mean day
// of both stretches, as many times as there are days reported on.
func (h *held) conditions(r baseline.Rows) {
	if h.after, h.fixedWhy = baseline.Fit(r, h.b.opt.Baseline.Fit); h.fixedWhy != "" {
		h.fixedWhy = "of the days reported on no such model can be made: " + h.fixedWhy
		return
	}
	all := append(slices.Clone(h.m.X), r.X...)
	h.fixed = make([]float64, len(h.m.Names))
	for _, x := range all {
		for j, v := range x {
			h.fixed[j] += v / float64(len(all)) * float64(len(h.report))
		}
	}
	h.atFixed[0] = h.m.Total([][]float64{h.fixed}, []int{0}, nil)
	h.atFixed[1] = h.after.Total([][]float64{h.fixed}, []int{0}, nil)
}

// fixedText says which conditions normalised_kwh is for.
func (h *held) fixedText() string {
	if h.fixedWhy != "" {
		return ""
	}
	var parts []string
	n := float64(len(h.report))
	for j, name := range h.t.names {
		if name != farm.VariableConstant {
			parts = append(parts, fmt.Sprintf("%s %.4g %s", variableWords[name][0], h.fixed[j]/n, doubt.ShowUnit(variableWords[name][1])))
		}
	}
	text := fmt.Sprintf("Fixed conditions: %d days, each the mean day of both stretches", len(h.report))
	if len(parts) > 0 {
		text += " (" + strings.Join(parts, ", ") + " a day)"
	}
	return text + "; expected, without the scatter of single days and without the compressor's extra work."
}

// The outputs of a baseline.
const (
	heldBaseline = iota
	heldUsed
	heldAvoided
	heldMoney
	heldCO2
	heldNotSpent
	heldSpent
	heldNormalised
	heldOutputs
)

// source is the place of what the days leave in doubt: half is a half-width at
// 95 %.
func (h *held) source(what string, half float64) int {
	return h.b.reg.add(doubt.Source{Name: "scatter of the baseline's days (" + h.kind + ")" + what, Kind: doubt.Random, HalfWidth: half})
}

// ask asks for the outputs over the days reported on. The meter that read the
// electricity on both sides has one error, and so have the probes:
//
//	baseline = Σ_days w_d y_d (1 + e) + Σ_j (∂E/∂x)_j e_j + scatter,  avoided = baseline − used − compressor's extra work where it is distinct
//
// w_d the part that each day without recovery has in the total, exact for least
// squares; what errors of the variables' probes do is taken by fits made anew.
func (h *held) ask() int {
	n := len(h.b.acc.Cycles)
	base := weighted(h.used, byCycle(h.base, h.total.OfDay, n))
	used := pickAll(h.used, cyclesOf(h.report))
	e := h.source("", (h.total.High-h.total.Low)/2)
	by := h.slopes(func(m *baseline.Model, x [][]float64) float64 { return m.Mean(sumRows(x)) })
	charge := h.extra.charge(len(h.report))
	h.errs, h.scatter = by, e
	money, spent, unpriced := h.moneyParts()
	normal := h.normalised()
	var co2 float64
	if el := h.b.rec.Farm.Electricity; el != nil {
		co2 = el.CO2KgPerKWh
	}
	price, factor := h.b.reg.powerPrice(), h.b.reg.prices().powerCO2
	return h.b.block(heldOutputs, func(t *doubt.Trial, out []float64) {
		extra, extraCost := charge(t.E)
		out[heldBaseline] = sumOf(base, t.E) + along(by, t.E) + t.E[e]
		out[heldUsed] = sumOf(used, t.E)
		out[heldAvoided] = out[heldBaseline] - out[heldUsed] - extra
		out[heldCO2] = out[heldAvoided] * co2 * errFactor(t.E, factor)
		out[heldNotSpent], out[heldSpent], out[heldMoney] = nan, nan, nan
		if !unpriced {
			out[heldNotSpent] = (sumOf(money, t.E) + (along(by, t.E)+t.E[e])*h.meanPrice()) * errFactor(t.E, price)
			out[heldSpent] = sumOf(spent, t.E) + extraCost
			out[heldMoney] = out[heldNotSpent] - out[heldSpent]
		}
		out[heldNormalised] = normal(t.E)
	})
}

// moneyOf is the money of a trial.
func (h *held) moneyOf() func(t *doubt.Trial) float64 {
	money, spent, _ := h.moneyParts()
	charge, price := h.extra.charge(len(h.report)), h.b.reg.powerPrice()
	return func(t *doubt.Trial) float64 {
		_, extraCost := charge(t.E)
		return (sumOf(money, t.E)+(along(h.errs, t.E)+t.E[h.scatter])*h.meanPrice())*errFactor(t.E, price) - sumOf(spent, t.E) - extraCost
	}
}

// meanPrice of a kWh of the baseline.
func (h *held) meanPrice() float64 { return h.priced.Value / h.total.Value }

func (h *held) moneyParts() (notSpent, spent []doubt.Part, unpriced bool) {
	if h.priced == nil {
		return nil, nil, true
	}
	b := h.b
	notSpent = weighted(h.used, byCycle(h.base, h.priced.OfDay, len(b.acc.Cycles)))
	for _, p := range []use{b.use(&b.acc.Element), b.use(&b.acc.Pumps)} {
		if p.known {
			spent = append(spent, b.reg.costPart(p.p).Pick(cyclesOf(h.report)))
		}
	}
	return notSpent, spent, false
}

// normalised is the difference of both models at the fixed conditions.
func (h *held) normalised() func(e []float64) float64 {
	if h.fixedWhy != "" {
		return func([]float64) float64 { return nan }
	}
	n := len(h.b.acc.Cycles)
	before, after := weighted(h.used, byCycle(h.base, h.atFixed[0].OfDay, n)), weighted(h.used, byCycle(h.report, h.atFixed[1].OfDay, n))
	s := h.source(", at fixed conditions", math.Hypot(h.atFixed[0].ModelHalf, h.atFixed[1].ModelHalf))
	return func(e []float64) float64 { return sumOf(before, e) - sumOf(after, e) + e[s] }
}

// slope is what one source's error does to a figure, a unit.
type slope struct {
	source int
	per    float64
}

func along(by []slope, e []float64) float64 {
	sum := 0.0
	for _, s := range by {
		sum += s.per * e[s.source]
	}
	return sum
}

func sumRows(x [][]float64) []float64 {
	out := make([]float64, len(x[0]))
	for _, row := range x {
		for j, v := range row {
			out[j] += v
		}
	}
	return out
}

// slopes fits anew with each probe of the heat delivered off by its error. Errors
// of milk, and of the feed as a variable, are the same on every day: the
// coefficients take them up, and nothing is left of them.
func (h *held) slopes(of func(m *baseline.Model, x [][]float64) float64) []slope {
	j := slices.Index(h.t.names, farm.VariableHeat)
	if j < 0 {
		return nil
	}
	parts := h.b.deliveredParts()
	e := make([]float64, len(h.b.reg.sources))
	opt := h.b.opt.Baseline.Fit
	opt.MostRho = 0
	at := func() float64 {
		t := *h.t
		t.x = slices.Clone(h.t.x)
		t.x[j] = slices.Clone(h.t.x[j])
		for _, d := range slices.Concat(h.base, h.report) {
			for _, i := range d.cycles {
				for _, p := range parts {
					t.x[j][i] += p.Row(i, e) - p.Value(i)
				}
			}
		}
		m, why := baseline.Fit(t.rows(h.base), opt)
		if why != "" {
			return nan
		}
		return of(m, t.rows(h.report).X)
	}
	var out []slope
	seen := map[int]bool{}
	for _, p := range parts {
		for _, s := range p.Sources() {
			u := h.b.reg.sources[s].U()
			if seen[s] || u == 0 {
				continue
			}
			seen[s] = true
			e[s] = u
			up := at()
			e[s] = -u
			down := at()
			e[s] = 0
			if per := (up - down) / (2 * u); !math.IsNaN(per) {
				out = append(out, slope{s, per})
			}
		}
	}
	return out
}

// deliveredParts are the heat in wash and other hot water up to heat_to_c.
func (b *builder) deliveredParts() []doubt.Part {
	var out []doubt.Part
	for _, s := range []stream{b.stream(&b.acc.Wash), b.stream(&b.acc.OtherUse)} {
		if s.known {
			out = append(out, b.reg.heatPart(s.h, b.opt, baselineKWh, baselinePerHotK, nil))
		}
	}
	return out
}

// inRows asks for baseline less used over some of the days reported on.
func (h *held) inRows(in map[int]bool) (output, days int, hours float64) {
	var list []dayRow
	for _, d := range h.report {
		if in[d.cycles[0]] {
			list, hours = append(list, d), hours+d.hours
		}
	}
	if len(list) == 0 {
		return -1, 0, 0
	}
	r := h.t.rows(list)
	total := h.m.Total(r.X, r.Day, nil)
	base := weighted(h.used, byCycle(h.base, total.OfDay, len(h.b.acc.Cycles)))
	used := pickAll(h.used, cyclesOf(list))
	name := ", of days from " + time.UnixMilli(h.b.acc.Cycles[list[0].cycles[0]].Start).In(h.b.acc.Zone).Format("2006-01-02")
	e := h.source(name, (total.High-total.Low)/2)
	charge := h.extra.charge(len(list))
	return h.b.output(func(t *doubt.Trial) float64 {
		extra, _ := charge(t.E)
		return sumOf(base, t.E) + t.E[e] - sumOf(used, t.E) - extra
	}), len(list), hours
}

// cycleKWh is what the model gives a cycle reported on; NaN else. The days' sums
// add up to baseline_kwh.
func (h *held) cycleKWh() []float64 {
	out := slices.Repeat([]float64{nan}, len(h.b.acc.Cycles))
	for _, i := range cyclesOf(h.report) {
		out[i] = h.m.Mean(h.t.cycle(i))
	}
	return out
}
