package season

import (
	"math"
	"time"

	"yardheat/analysis/doubt"
	"yardheat/analysis/plant"
)

// recovery is the plant's share caught, for the season and for any stretch.
type recovery struct {
	b       *builder
	terms   plant.Terms
	cycles  []int // the cycle behind each row of terms
	gain    plant.Gain
	line    plant.Gain // as the line has it, whether or not it is used
	carry   float64
	storage plant.Storage
	why     string
}

// recovery readies the plant's terms over the account cycles that have all of
// them.
func (b *builder) recovery(x *terms) *recovery {
	r := &recovery{b: b}
	switch {
	case !x.plate.known:
		r.why = x.plate.why
		return r
	case !x.compressor.known && b.acc.Milk.Why != "":
		r.why = plant.WhyNoCompressor
		return r
	}
	r.rows(x)
	r.parts(x)
	r.cold()
	return r
}

// rows picks the cycles.
func (r *recovery) rows(x *terms) {
	b, a := r.b, r.b.acc
	share := b.opt.Account.Cycle.CoveredShare
	for i, c := range a.Cycles {
		t := a.Row(i, share)
		v := t.PlateKWh
		if x.compressor.known {
			v += t.CompressorKWh
		}
		if a.Milk.Why == "" {
			v += t.MilkKWh
		}
		if !c.Whole || math.IsNaN(v) {
			continue
		}
		r.cycles = append(r.cycles, i)
		r.terms.Rows = append(r.terms.Rows, plant.Row{StartMS: c.Start, EndMS: c.End, Day: localDay(c.Start, a.Zone), Hours: c.Hours()})
	}
}

// localDay numbers local days, one more each day.
func localDay(ms int64, zone *time.Location) int {
	t := time.UnixMilli(ms).In(zone)
	return int(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

func (r *recovery) parts(x *terms) {
	a := r.b.acc
	r.terms.Caught = []doubt.Part{x.plate.part.Pick(r.cycles)}
	if x.compressor.known {
		r.terms.Compressor = []doubt.Part{x.compressor.part.Pick(r.cycles)}
	}
	if a.Milk.Why == "" {
		r.terms.Milk = []doubt.Part{r.milk()}
	}
	if a.Drive != nil {
		r.terms.Rise, r.terms.Drive = r.drive(r.cycles)
	}
	r.flowTerms(&r.terms, r.cycles)
}

// milk is the milk heat of the cycles with its errors.
func (r *recovery) milk() doubt.Part {
	b, m := r.b, &r.b.acc.Milk
	litres, in, out := make([]float64, len(r.cycles)), make([]float64, len(r.cycles)), make([]float64, len(r.cycles))
	for k, i := range r.cycles {
		litres[k], in[k], out[k] = m.Rows[i].Litres, m.Rows[i].InC, m.Rows[i].OutC
	}
	src := plant.MilkSources{SpecificHeat: b.reg.key("milk.specific_heat_kj_per_kg_k"), Density: b.reg.key("milk.density_kg_per_l")}
	src.Volume, src.In, src.Out = b.reg.quantity("milk_volume", "amount", b.meanMilkL()), -1, -1
	if len(m.Flow) == 1 {
		src.Volume = b.reg.probe(m.Flow[0])
	}
	switch {
	case len(m.In) > 0:
		src.In = b.reg.probe(m.In[0])
	default:
		src.In = b.reg.quantity("milk_in_temp", "rate", nan)
	}
	switch {
	case len(m.Out) > 0:
		src.Out = b.reg.probe(m.Out[0])
	default:
		src.Out = b.reg.quantity("milk_out_temp", "rate", nan)
	}
	f := b.rec.Farm.Milk
	return plant.MilkPart(litres, in, out, f.SpecificHeatKJPerKgK, f.DensityKgPerL, src)
}

// drive is what the plate's effectiveness is made of.
func (r *recovery) drive(cycles []int) (rises, drives []doubt.Part) {
	a, reg := r.b.acc, r.b.reg
	n := len(cycles)
	rise, drive, litres := make([]float64, n), make([]float64, n), make([]float64, n)
	minus := make([]float64, n)
	for k, i := range cycles {
		d := a.Drive[i]
		rise[k], drive[k], litres[k], minus[k] = d.RiseLK, d.DriveLK, d.Litres, -d.Litres
	}
	hot, cold := reg.effects(a.Plate.Hot, litres), reg.effects(a.Plate.Cold, minus)
	gas := reg.effects(a.GasSources, litres)
	return []doubt.Part{doubt.NewPart(rise, nil, append(append([]doubt.Effect{}, hot...), cold...))},
		[]doubt.Part{doubt.NewPart(drive, nil, append(append([]doubt.Effect{}, gas...), cold...))}
}

// cold judges the cold store and finds the standing gain.
func (r *recovery) cold() {
	b, a := r.b, r.b.acc
	var late, all float64
	for _, x := range a.Compressor.Rows {
		late, all = late+x.LateKWh, all+x.KWh
	}
	r.storage = plant.FindStorage(plant.Evidence{IceWaterProbe: a.Milk.HasIceWater, LevelKnown: a.Milk.HasIceLevel && !math.IsNaN(a.Milk.IceChangePct),
		LevelChangePct: a.Milk.IceChangePct, LateShare: late / all}, b.opt.Plant)
	milk := 0.0
	for _, i := range r.cycles {
		if v := a.Milk.Rows[i].KWh; !math.IsNaN(v) {
			milk += v / float64(len(r.cycles))
		}
	}
	r.carry = r.storage.CarryKWh(milk, b.opt.Plant)
	r.line = plant.FindGain(r.terms, r.storage, b.reg.sources, b.opt.Plant)
	if p := b.rec.Farm.Plant; p != nil && p.HasStandingGain {
		half := math.NaN()
		if e, _ := b.rec.Farm.KeyError("plant.standing_gain_kw"); e.HalfWidth > 0 {
			half = e.HalfWidth
			if e.Relative {
				half *= p.StandingGainKW
			}
		}
		r.gain = plant.StatedGain(p.StandingGainKW, half, b.opt.Plant)
		return
	}
	r.gain = r.line
}

// model readies the plant's figures over some rows of terms; its own sources
// join the others.
func (r *recovery) model(rows []int) *plant.Model {
	terms := r.terms
	if rows != nil {
		terms = terms.Pick(rows)
	}
	m := plant.New(terms, r.gain, r.carry, len(r.b.reg.sources))
	r.b.reg.sources = append(r.b.reg.sources, m.Sources()...)
	return m
}

// The outputs of the plant.
const (
	outRecovery = iota
	outCaught
	outRejected
	outMilk
	outCompressor
	outGain
	outCOP
	outEffectiveness
	outCaughtPerKWh
	outRejectedPerKWh
	plantOutputs
)

func askPlant(b *builder, m *plant.Model) int {
	return b.block(plantOutputs, func(t *doubt.Trial, out []float64) {
		v := m.Values(t)
		out[outRecovery], out[outCaught], out[outRejected], out[outMilk] = v.Recovery, v.CaughtKWh, v.RejectedKWh, v.MilkKWh
		out[outCompressor], out[outGain], out[outCOP], out[outEffectiveness] = v.CompressorKWh, v.StandingGainKW, v.COP, v.PlateEffectiveness
		out[outCaughtPerKWh], out[outRejectedPerKWh] = v.CaughtPerKWh, v.RejectedKWh/v.CompressorKWh
	})
}

// plantKeys in the order of results.json.
var plantKeys = []struct {
	key, unit string
	out       int
}{
	{"recovery_fraction", "1", outRecovery}, {"heat_caught_kwh", "kWh", outCaught}, {"heat_rejected_kwh", "kWh", outRejected},
	{"milk_heat_kwh", "kWh", outMilk}, {"compressor_kwh", "kWh", outCompressor}, {"standing_gain_kw", "kW", outGain},
	{"cop", "1", outCOP}, {"plate_effectiveness", "1", outEffectiveness},
	{"caught_per_kwh", "1", outCaughtPerKWh}, {"rejected_per_kwh", "1", outRejectedPerKWh},
}

// plantExtras follow them.
var plantExtras = []struct {
	key, unit string
	basis     doubt.Basis
}{{"recovery_per_k", "1/K", doubt.Fitted}, {"effectiveness_per_k", "1/K", doubt.Fitted}, {"left_kwh", "kWh", doubt.Estimated}}

// plant asks for the season's plant figures.
func (b *builder) plant(r *recovery, x *terms) {
	p := &b.s.Plant
	nan := math.NaN()
	p.InletFromC, p.InletToC, p.LeftS = nan, nan, nan
	b.milkCold()
	if r.why != "" {
		for _, k := range plantKeys {
			p.Figures = append(p.Figures, unknown(k.key, k.unit, doubt.Metered, r.why))
		}
		for _, k := range plantExtras {
			p.Figures = append(p.Figures, unknown(k.key, k.unit, k.basis, r.why))
		}
		if x.plate.known { // the plate's weeks take no more than its own logs
			r.weeks(x)
		}
		p.Slope = doubt.Make(nan, nan, nan, "1", doubt.Fitted, 0, 0, r.why)
		p.InterceptKWh = doubt.Make(nan, nan, nan, "kWh", doubt.Fitted, 0, 0, r.why)
		return
	}
	m := r.model(nil)
	at := askPlant(b, m)
	coverage := float64(m.Cycles()) / math.Max(1, float64(len(b.acc.Cycles)))
	precooled := b.rec.Farm.Milk.Precooled
	p.CyclesUsed, b.used = m.Cycles(), r.cycles
	for _, k := range plantKeys {
		b.later(&p.Figures, k.key, func() Figure { return r.figure(m, k.key, k.unit, at+k.out, coverage, precooled) })
	}
	if m.WhyNoRecovery() == "" {
		b.note("recovery_fraction", at+outRecovery)
	}
	p.Slope = doubt.Make(nan, nan, nan, "1", doubt.Fitted, 0, coverage, r.line.Why)
	if r.line.Lines && !r.line.Line.Distinct() {
		p.Slope = doubt.Make(nan, nan, nan, "1", doubt.Fitted, 0, coverage, "heat caught does not distinctly rise with heat rejected: these cycles are too much alike for a line")
	}
	p.InterceptKWh = doubt.Make(nan, nan, nan, "kWh", doubt.Fitted, 0, coverage, p.Slope.Why)
	if r.line.Lines && r.line.Line.Distinct() {
		p.Slope, p.InterceptKWh = r.line.Line.SlopeFigure(coverage), r.line.Line.InterceptFigure(coverage)
	}
	r.onInlet(x, coverage)
	r.left(x)
	r.weeks(x)
	b.finish = append(b.finish, func() { r.faults(m, at, coverage, precooled) })
}

func (r *recovery) figure(m *plant.Model, key, unit string, k int, coverage float64, precooled bool) Figure {
	b := r.b
	fig := func(basis doubt.Basis, why string) Figure {
		return b.result.Figure(k, unit, basis, m.Cycles(), coverage, why)
	}
	nan := math.NaN()
	not := func(why string) Figure {
		return doubt.Make(nan, nan, nan, unit, doubt.Metered, m.Cycles(), coverage, why)
	}
	switch {
	case key == "recovery_fraction" && b.result.Outputs[k].High < 0:
		return not("heat caught or heat rejected is negative: look whether the probes of plate or milk are swapped")
	case key == "recovery_fraction":
		return m.RecoveryFigure(b.result, k, coverage, precooled)
	case m.Cycles() == 0:
		return not(plant.WhyNoCycles)
	case key == "standing_gain_kw":
		return r.gain.Figure(b.result.Outputs[k].Low, b.result.Outputs[k].High, m.Cycles(), coverage)
	case r.terms.Milk == nil && (key == "heat_rejected_kwh" || key == "milk_heat_kwh" || key == "cop" || key == "rejected_per_kwh"):
		return not(plant.WhyNoMilk)
	case r.terms.Compressor == nil && (key == "heat_rejected_kwh" || key == "compressor_kwh" || key == "cop" || key == "caught_per_kwh" || key == "rejected_per_kwh"):
		return not(plant.WhyNoCompressor)
	case r.terms.Drive == nil && key == "plate_effectiveness":
		return not(plant.WhyNoGas)
	}
	return fig(doubt.Metered, "")
}

// faults adds what cannot be to the problems.
func (r *recovery) faults(m *plant.Model, at int, coverage float64, precooled bool) {
	b := r.b
	late, caught := 0.0, 0.0
	for _, i := range r.cycles {
		row := b.acc.Plate.Rows[i]
		late, caught = late+row.LateKWh, caught+row.KWh
	}
	f := m.RecoveryFigure(b.result, at+outRecovery, coverage, precooled)
	b.s.Problems = append(b.s.Problems, plant.Faults(f, r.gain, r.terms, late, caught, b.opt.Plant)...)
}

// month asks for a stretch's recovery fraction.
func (r *recovery) month(dst *[]Named, in map[int]bool) {
	if r.why != "" {
		*dst = append(*dst, unknown("recovery_fraction", "1", doubt.Estimated, r.why))
		return
	}
	rows := []int{}
	for k, i := range r.cycles {
		if in[i] {
			rows = append(rows, k)
		}
	}
	m := r.model(rows)
	at := r.b.output(func(t *doubt.Trial) float64 { return m.Recovery(t) })
	coverage := float64(len(rows)) / math.Max(1, float64(len(in)))
	precooled := r.b.rec.Farm.Milk.Precooled
	r.b.later(dst, "recovery_fraction", func() Figure { return m.RecoveryFigure(r.b.result, at, coverage, precooled) })
}
