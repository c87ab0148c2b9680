package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/plant"
)

// PlantWeek is the plate over seven local days. Figures holds
// plate_effectiveness, caught_per_kwh, plate_flow_l_min, plate_in_c and
// recovery_fraction, in this order; their intervals are those of the sensors,
// which all weeks share.
type PlantWeek struct {
	From, To int64
	Cycles   int
	Figures  []Named
	// Own are the same values, each with the 95 % interval of what is the week's
	// own (the scatter of its days): what a change is judged by.
	Own []Named
}

// MilkCold is whether the milk was cold in time.
type MilkCold struct {
	// Why, if not empty: no milk temperature is known.
	Why string
	// Basis says what was read, in words.
	Basis  string
	LimitC float64
	// With: cycles in which water flowed at the plate; Without: those in which
	// none did.
	With, Without MilkGroup
}

// MilkGroup is the milk of some cycles.
type MilkGroup struct {
	Cycles, TooWarm int
	// MeanC of the cycles, with the error of its probe and their scatter.
	MeanC    Figure
	WarmestC float64 // NaN: none
}

// flowTerms adds to the terms what the plate's water did in the cycles.
func (r *recovery) flowTerms(t *plant.Terms, cycles []int) {
	a, reg := r.b.acc, r.b.reg
	h := &a.Plate
	column := func(of func(account.HeatRow) float64) []float64 {
		out := make([]float64, len(cycles))
		for k, i := range cycles {
			out[k] = of(h.Rows[i])
		}
		return out
	}
	litres := column(func(x account.HeatRow) float64 { return x.CountedL })
	gains, by := reg.meter(h.Flow, litres)
	t.Litres = []doubt.Part{doubt.NewPart(litres, gains, by)}
	flow := column(func(x account.HeatRow) float64 { return x.LitreLMin })
	twice := make([]float64, len(flow)) // litres and flow are of one meter
	for k, v := range flow {
		twice[k] = 2 * v
	}
	_, byTwice := reg.meter(h.Flow, twice)
	t.FlowL = []doubt.Part{doubt.NewPart(flow, append(append([]int(nil), gains...), gains...), byTwice)}
	t.InLK = []doubt.Part{doubt.NewPart(column(func(x account.HeatRow) float64 { return x.LitreColdC }), gains, append(reg.effects(h.Cold, litres), by...))}
}

// plateTerms are the terms of the plate alone, over all cycles that have them,
// whether or not the milk is known.
func (r *recovery) plateTerms(x *terms) plant.Terms {
	b, a := r.b, r.b.acc
	share := b.opt.Account.Cycle.CoveredShare
	var t plant.Terms
	var cycles []int
	for i, c := range a.Cycles {
		row := a.Row(i, share)
		v := row.PlateKWh
		if x.compressor.known {
			v += row.CompressorKWh
		}
		if c.Whole && v == v {
			cycles = append(cycles, i)
			t.Rows = append(t.Rows, plant.Row{StartMS: c.Start, EndMS: c.End, Day: localDay(c.Start, a.Zone), Hours: c.Hours()})
		}
	}
	t.Caught = []doubt.Part{x.plate.part.Pick(cycles)}
	if x.compressor.known {
		t.Compressor = []doubt.Part{x.compressor.part.Pick(cycles)}
	}
	if a.Drive != nil {
		t.Rise, t.Drive = r.drive(cycles)
	}
	r.flowTerms(&t, cycles)
	return t
}

// weeks fills in the plate's weeks.
func (r *recovery) weeks(x *terms) {
	b := r.b
	list := plant.Weeks(r.plateTerms(x), r.gain, r.carry, b.reg.sources)
	recovered := plant.Weeks(r.terms, r.gain, r.carry, b.reg.sources)
	const noWater = "no water passed the plate"
	for _, w := range list {
		f := w.Recovery
		f.Value = math.NaN()
		for _, v := range recovered { // by the same seven days where both begin alike, else the nearest
			if v.FromMS < w.ToMS && v.ToMS > w.FromMS && (math.IsNaN(f.Value) || overlapMS(v, w) > 3*86400*1000) {
				f = v.Recovery
			}
		}
		why := [...]string{noWater, noWater, noWater, noWater, r.whyNoRecovery()}
		if r.b.acc.Drive == nil {
			why[0] = plant.WhyNoGas
		}
		if !x.compressor.known {
			why[1] = plant.WhyNoCompressor
		}
		p := PlantWeek{From: w.FromMS, To: w.ToMS, Cycles: w.Cycles}
		for k, v := range [...]plant.Weekly{w.Effectiveness, w.CaughtPerKWh, w.FlowLMin, w.InC, f} {
			basis := doubt.Metered
			if weekKeys[k].key == "recovery_fraction" {
				basis = doubt.Estimated
			}
			p.Figures = append(p.Figures, named(weekKeys[k].key, v.Figure(weekKeys[k].unit, basis, w.Cycles, why[k])))
			p.Own = append(p.Own, named(weekKeys[k].key, v.OwnFigure(weekKeys[k].unit, w.Cycles, whyUnknown(v.Value, why[k]))))
		}
		b.s.Plant.Weeks = append(b.s.Plant.Weeks, p)
	}
}

// whyUnknown is why, for a value that is not known.
func whyUnknown(v float64, why string) string {
	if v == v {
		return ""
	}
	return why
}

func overlapMS(a, b plant.Week) int64 { return min(a.ToMS, b.ToMS) - max(a.FromMS, b.FromMS) }

func (r *recovery) whyNoRecovery() string {
	switch {
	case r.terms.Milk == nil:
		return plant.WhyNoMilk
	case r.terms.Compressor == nil:
		return plant.WhyNoCompressor
	}
	return plant.WhyNoCycles
}

// weekKeys in the order of PlantWeek.Figures.
var weekKeys = [...]struct{ key, unit string }{
	{"plate_effectiveness", "1"}, {"caught_per_kwh", "1"}, {"plate_flow_l_min", "L/min"}, {"plate_in_c", "degC"}, {"recovery_fraction", "1"},
}

// onInlet adds how recovery and effectiveness go with the water's temperature.
func (r *recovery) onInlet(x *terms, coverage float64) {
	f := plant.RecoveryOnInlet(r.terms, r.gain.KW)
	e := plant.EffectivenessOnInlet(r.plateTerms(x))
	p := &r.b.s.Plant
	p.Figures = append(p.Figures, named("recovery_per_k", f.Figure(coverage)), named("effectiveness_per_k", e.Figure(coverage)))
	p.InletFromC, p.InletToC = f.FromC, f.ToC
	if math.IsNaN(f.FromC) {
		p.InletFromC, p.InletToC = e.FromC, e.ToC
	}
}

// left asks for the heat left behind when the plate's water stopped early: the
// compressor's electricity in that time, at the heat caught per compressor kWh
// while the water flowed,
//
//	Q_left = Q · Σ_left W (T_gas − T_in)/Σ_flow W (T_gas − T_in)
//
// T_in of the water that entered last; without gas_in_temp the kelvins drop
// out. How that rate would have been is known no better than it scatters from
// cycle to cycle.
func (r *recovery) left(x *terms) {
	b, a := r.b, r.b.acc
	p := &b.s.Plant
	p.LeftS = 0
	why := ""
	switch {
	case a.Left == nil:
		why = "it takes compressor electricity beside the flow at the plate"
	case !x.compressor.known:
		why = plant.WhyNoCompressor
	}
	share := b.opt.Account.Cycle.CoveredShare
	var rows []int
	var leftKWh, flowKWh, leftKWhK, flowKWhK float64
	var rates, weights []float64
	for i := range a.Left {
		t := a.Row(i, share)
		if v := t.PlateKWh + t.CompressorKWh; v != v {
			continue
		}
		l := a.Left[i]
		rows = append(rows, i)
		leftKWh, flowKWh = leftKWh+l.LeftKWh, flowKWh+l.FlowKWh
		leftKWhK, flowKWhK = leftKWhK+l.LeftKWhK, flowKWhK+l.FlowKWhK
		if l.Stops > 0 {
			p.LeftCycles++
			p.LeftS += l.LeftS
		}
		if l.FlowKWh > 0 {
			rates, weights = append(rates, t.PlateKWh/l.FlowKWh), append(weights, l.FlowKWh)
		}
	}
	if why == "" && !(flowKWh > 0 && len(rates) > 1) {
		why = "no cycle has heat caught while the compressor ran"
	}
	if why != "" {
		p.LeftCycles, p.LeftS = 0, nan
		p.Figures = append(p.Figures, unknown("left_kwh", "kWh", doubt.Estimated, why))
		return
	}
	factor := leftKWh / flowKWh
	if f := leftKWhK / flowKWhK; f == f && flowKWhK > 0 {
		factor = f
	}
	mean, sd := meanSD(rates, weights)
	rate := b.reg.add(doubt.Source{Name: "heat left behind: its rate per compressor kWh", Kind: doubt.Shared, HalfWidth: z95 * sd / math.Abs(mean), Relative: true, Assumed: true})
	part := x.plate.part.Pick(rows)
	m := meta{unit: "kWh", basis: doubt.Estimated, n: len(rows), coverage: float64(len(rows)) / math.Max(1, float64(len(a.Cycles)))}
	b.want(&p.Figures, "left_kwh", m, func(t *doubt.Trial) float64 {
		return part.Census(t.E) * factor * math.Max(0, 1+t.E[rate])
	})
}

// milkCold says whether the milk was cold in time, with and without water at
// the plate.
func (b *builder) milkCold() {
	a, m := b.acc, &b.s.Plant.MilkCold
	m.LimitC = b.rec.Farm.Milk.LimitC
	m.Basis = "milk_out_temp in the pipe, as the milk left the cooler: what it read two hours later says nothing of the milk"
	switch {
	case a.Milk.Out == nil:
		m.Basis = "the milkings list: the milk as it left the cooler, not two hours after"
	case a.Milk.OutIsTank:
		m.Basis = "milk_out_temp in the tank, two hours after the milking"
	}
	var with, without []float64
	for i, row := range a.Milk.Rows {
		if v := row.After2hC; v == v && a.Cycles[i].Milking >= 0 {
			if a.Plate.Rows != nil && a.Plate.Rows[i].Litres > 0 {
				with = append(with, v)
			} else {
				without = append(without, v)
			}
		}
	}
	source := b.milkOutSource()
	b.milkGroup(&m.With, with, source)
	b.milkGroup(&m.Without, without, source)
	if len(with)+len(without) == 0 {
		m.Why = "no temperature of the milk after cooling is known"
	}
}

// milkOutSource is the place of the error of the milk's temperature.
func (b *builder) milkOutSource() int {
	if m := &b.acc.Milk; len(m.Out) > 0 {
		return b.reg.probe(m.Out[0])
	}
	return b.reg.quantity("milk_out_temp", "rate", nan)
}

func (b *builder) milkGroup(g *MilkGroup, tempC []float64, source int) {
	g.Cycles, g.WarmestC = len(tempC), nan
	if len(tempC) == 0 {
		g.MeanC = unknown("", "degC", doubt.Metered, "no such cycle").Figure
		return
	}
	for _, v := range tempC {
		if v > b.s.Plant.MilkCold.LimitC {
			g.TooWarm++
		}
		if !(g.WarmestC >= v) {
			g.WarmestC = v
		}
	}
	mean, _ := meanOf(tempC)
	half := z95 * b.reg.sources[source].U()
	g.MeanC = doubt.Make(mean, mean-half, mean+half, "degC", doubt.Metered, len(tempC), float64(len(tempC))/math.Max(1, float64(len(b.acc.Cycles))), "")
}
