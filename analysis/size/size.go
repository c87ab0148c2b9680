// Package size says what another loop, draw, number of milkings or tank would give
// on a farm whose present one was fitted: an estimate, never a measurement. It
// stands on season (the fitted figures), pipe (geometry and materials) and water.
//
// The loop is taken by the model that was fitted, in a steady rhythm of equal
// draws: a parcel that spends t seconds in the loop, V_th/q of them in flow,
// leaves with
//
//	T_out = T_b + (T_in - T_b) exp(-k (V_th/q + s (t - V_th/q))),
//
// k = UA/C of the design. What the model misses today it is taken to miss
// tomorrow, or up to Options.Misfit more or less: the heat metered is multiplied by
// the ratio of the model's heat with the new design and with the present one. Of what is added only a share is sure,
// since a bed that gives more cools; see Options.HeldLow.
//
// Conventions: degC, L, L/min, W/K, kWh a day; heat into the water is positive;
// NaN is "not known".
package size

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"yardheat/analysis/doubt"
	"yardheat/analysis/pipe"
	"yardheat/analysis/water"
)

// Options of the estimate; see DefaultOptions.
type Options struct {
	Trials int
	Seed   uint64
	// HeldLow is the least share of added heat that the bed keeps giving: it cools
	// as more is taken from it. The trials draw the share between it and 1. Our
	// choice, no source: how a bed answers is not in a record of one design.
	HeldLow float64
	// Misfit: what the model misses today it may miss by so much more or less of
	// itself with another design (fronts, lead pipes and the bed's dip within a draw
	// weigh differently there); the trials draw it evenly. Our choice, no source.
	Misfit float64
	// StillShare s is k of standing water over that of flowing; the trials draw it
	// between StillLow and 1.
	StillLow float64
	// BoundTo: a coefficient known from below only is drawn between its bound and
	// so many times that, even in its logarithm. Water that soaks shows no more.
	BoundTo float64
	// PressureBar above which the pressure drop is remarked on, and FluxWPerM2 above
	// which the extraction is: half of what litter can give by degradation (own
	// arithmetic from published manure and litter figures).
	PressureBar, FluxWPerM2 float64
	Cells                   int // litres' steps in a draw
}

// DefaultOptions gives the options that a run starts from.
func DefaultOptions() Options {
	return Options{Trials: 4000, Seed: 1, HeldLow: 0.5, Misfit: 1, StillLow: 0.6, BoundTo: 6, PressureBar: 1, FluxWPerM2: 70, Cells: 200}
}

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	switch {
	case o.Trials < 100:
		return fmt.Errorf("size: Trials %d: want 100 at least", o.Trials)
	case !(o.HeldLow >= 0 && o.HeldLow <= 1):
		return fmt.Errorf("size: HeldLow %g: want 0 to 1", o.HeldLow)
	case !(o.Misfit >= 0 && o.Misfit <= 1):
		return fmt.Errorf("size: Misfit %g: want 0 to 1", o.Misfit)
	case !(o.StillLow > 0 && o.StillLow <= 1):
		return fmt.Errorf("size: StillLow %g: want above 0 to 1", o.StillLow)
	case !(o.BoundTo > 1):
		return fmt.Errorf("size: BoundTo %g: want above 1", o.BoundTo)
	case o.Cells < 10:
		return fmt.Errorf("size: Cells %d: want 10 at least", o.Cells)
	}
	return nil
}

// Design is what can be chosen.
type Design struct {
	LengthM, BoreMM, WallMM float64
	Branches                int
	DrawL                   float64 // litres of a draw
	DrawsPerDay             float64
	FlowLMin                float64
	TankL                   float64 // 0 = not known
}

// Farm is what is known of the farm as it is.
type Farm struct {
	Now Design
	// Spread holds litres of single draws over their mean, a few that stand for all;
	// empty = all alike. A draw that just passes the loop differs from one that just
	// does not.
	Spread []float64
	// UA of the present loop, W/K: value and 95 % ends. High NaN: known from below
	// only, Value is then the bound.
	UAWPerK, UALowWPerK, UAHighWPerK float64
	// TimeConstantH = C/UA of the present loop at UAWPerK.
	TimeConstantH float64
	// Store: the bed has a slab between it and the pipe; what it gives a longer loop
	// is then not told.
	Store bool
	// FeedC into the loop, BedC of the bed at the pipe (with the fitted offset).
	// BedHalfK is the latter's half-width at 95 %.
	FeedC, BedC, BedHalfK float64
	// HeatKWhPerDay metered, its 95 % ends.
	HeatKWhPerDay, HeatLow, HeatHigh float64
	// ElementKWhPerDay and TankLossKWhPerDay; NaN = not known.
	ElementKWhPerDay, TankLossKWhPerDay float64
	BedAreaM2                           float64 // 0 = not known
	Wall                                pipe.Range
}

// The reasons why there can be no estimate.
var (
	ErrNoFit    = errors.New("the loop's coefficient is not known, not even from below: without it nothing can be said of another loop")
	ErrNoHeat   = errors.New("the loop's heat is not known")
	ErrSame     = errors.New("nothing is changed: state a length, bore, draw, number of draws or tank")
	ErrTooFast  = errors.New("so many draws of so many litres do not fit into a day at that flow")
	ErrGeometry = errors.New("length, bore and litres must be above zero")
)

// Estimate is what another design would give.
type Estimate struct {
	Now, New Design
	// HeatKWhPerDay now (metered) and with the design (estimated); More is the
	// difference.
	Heat, NewHeat, More doubt.Figure
	// OutC is the mean temperature of the water drawn, by the model.
	OutC, NewOutC doubt.Figure
	// UA of the design.
	NewUA doubt.Figure
	// ModelShare: the model's heat over the metered one, at present.
	ModelShare float64
	// DropBar of one branch, now and new; SpeedMPerS of the water.
	DropBar, NewDropBar, NewSpeedMPerS float64
	// LoopVolumes is a draw over the thermal volume.
	LoopVolumes, NewLoopVolumes float64
	// FluxWPerM2 is the extraction per bed area with the design; NaN = no area.
	FluxWPerM2, NewFluxWPerM2 float64
	// LossKWhPerDay of the tank, now and new (a body of the same shape and
	// insulation: by the power 2/3 of its volume); NaN = not known.
	LossKWhPerDay, NewLossKWhPerDay float64
	// ElementLessKWhPerDay is the most that the element could be spared.
	ElementLessKWhPerDay doubt.Figure
	// Remarks by code, in order; the page and the command say them in words.
	Remarks []string
}

// The codes of Remarks.
const (
	RemarkBound     = "known-from-below"     // the coefficient is: the estimate spans what it may be
	RemarkStore     = "store-not-carried"    // the bed has a slab; a longer loop's is not known
	RemarkPressure  = "pressure-drop"        // above Options.PressureBar
	RemarkFlux      = "extraction-high"      // above Options.FluxWPerM2
	RemarkUnseen    = "more-than-seen"       // a quarter more heat than this bed was seen to give
	RemarkMisfit    = "model-off"            // the model is off the metered heat by over a tenth
	RemarkNoSpacing = "spacing-not-known"    // no bed area: the bedding's share is kept per metre
	RemarkPlate     = "plate-catches-less"   // warmer water enters the plate
	RemarkElement   = "element-covers-less"  // more heat than the element puts in today
	RemarkTankLoss  = "tank-loss-not-known"  // no loss figure to scale
	RemarkDrawTank  = "draw-above-tank"      // a draw is more than the tank holds
	RemarkLaminar   = "laminar"              // the design's flow is laminar: the film counts
	RemarkWarmStore = "stands-warm"          // more water stands between 20 and 45 degC
	RemarkShort     = "loop-shorter-than-it" // a draw of more than two loops passes unsoaked
)

// Compute estimates what the design gives.
func Compute(f Farm, d Design, o Options) (*Estimate, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	if err := f.check(d); err != nil {
		return nil, err
	}
	e := &Estimate{Now: f.Now, New: d}
	e.plain(f, d)
	f.trials(e, d, o)
	e.remark(f, d, o)
	return e, nil
}

func (f Farm) check(d Design) error {
	switch {
	case !(f.UAWPerK > 0) || !(f.TimeConstantH > 0):
		return ErrNoFit
	case !(f.HeatKWhPerDay > 0):
		return ErrNoHeat
	case d == f.Now:
		return ErrSame
	}
	for _, x := range []Design{f.Now, d} {
		if !(x.LengthM > 0 && x.BoreMM > 0 && x.WallMM >= 0 && x.DrawL > 0 && x.DrawsPerDay > 0 && x.FlowLMin > 0) {
			return ErrGeometry
		}
		if x.DrawL/x.FlowLMin > 0.9*24*60/x.DrawsPerDay {
			return ErrTooFast
		}
	}
	return nil
}

// plain fills in what needs no trials.
func (e *Estimate) plain(f Farm, d Design) {
	mean := (f.FeedC + f.BedC) / 2
	drop := func(d Design) float64 {
		n := float64(max(d.Branches, 1))
		return pipe.DropBar(d.FlowLMin/n, d.BoreMM, d.LengthM/n, mean)
	}
	e.DropBar, e.NewDropBar = drop(f.Now), drop(d)
	e.NewSpeedMPerS = pipe.SpeedMPerS(d.FlowLMin/float64(max(d.Branches, 1)), d.BoreMM)
	capacity := f.TimeConstantH * 3600 * f.UAWPerK
	perL := 1000 * water.HeatCapacityKJPerLK(mean)
	e.LoopVolumes = f.Now.DrawL / (capacity / perL)
	e.NewLoopVolumes = d.DrawL / (f.capacity(d) / perL)
	e.FluxWPerM2, e.NewFluxWPerM2 = math.NaN(), math.NaN()
	e.LossKWhPerDay, e.NewLossKWhPerDay = f.TankLossKWhPerDay, math.NaN()
	if f.Now.TankL > 0 && d.TankL > 0 {
		e.NewLossKWhPerDay = f.TankLossKWhPerDay * math.Pow(d.TankL/f.Now.TankL, 2.0/3)
	}
}

// capacity is that of water and wall in the design, J/K: the fitted one by the
// volumes of water and of wall, whose shares are those of the loop as built. The
// wall's heat capacity per volume is taken as half of water's (common plastics).
func (f Farm) capacity(d Design) float64 {
	const wallOverWater = 0.5
	of := func(d Design) float64 {
		return d.LengthM * (d.BoreMM*d.BoreMM + wallOverWater*((d.BoreMM+2*d.WallMM)*(d.BoreMM+2*d.WallMM)-d.BoreMM*d.BoreMM))
	}
	return f.TimeConstantH * 3600 * f.UAWPerK * of(d) / of(f.Now)
}

// loop gives a design's geometry to package pipe.
func (f Farm) loop(d Design) pipe.Loop {
	return pipe.Loop{LengthM: d.LengthM, BoreMM: d.BoreMM, WallMM: d.WallMM, Wall: f.Wall, Branches: d.Branches,
		BedAreaM2: f.BedAreaM2, FlowLMin: d.FlowLMin, WaterC: (f.FeedC + f.BedC) / 2}
}

// carry takes a coefficient of the present loop to the design: film and wall by
// geometry, and what is left, the bedding's, by the logarithm of spacing over
// diameter where the bed's area is known, else as it is per metre.
func (f Farm) carry(uaWPerK float64, d Design) float64 {
	now, then := f.loop(f.Now).Expect(pipe.LitterWPerMK()), f.loop(d).Expect(pipe.LitterWPerMK())
	rest := math.Max(0, f.Now.LengthM/uaWPerK-now.FilmMKPerW-now.WallMKPerW)
	around := func(d Design) float64 { return math.Log(f.loop(d).Spacing() / (f.loop(d).OutsideMM() / 1000)) }
	if scale := around(d) / around(f.Now); scale > 0 {
		rest *= scale
	}
	inside := then.FilmMKPerW + then.WallMKPerW
	if rest == 0 {
		// The fitted coefficient is more than film and wall pass: they are taken as
		// they were fitted.
		inside *= f.Now.LengthM / uaWPerK / (now.FilmMKPerW + now.WallMKPerW)
	}
	return d.LengthM / (inside + rest)
}

// model gives heat (kWh a day) and the mean outlet of a design in a steady rhythm,
// over the spread of the draws.
func (f Farm) model(d Design, uaWPerK, capacityJPerK, still float64, cells int) (kWhPerDay, outC float64) {
	spread := f.Spread
	if len(spread) == 0 {
		spread = []float64{1}
	}
	k := uaWPerK / capacityJPerK // 1/s
	thermalL := capacityJPerK / (1000 * water.HeatCapacityKJPerLK((f.FeedC+f.BedC)/2))
	per := max(10, cells/len(spread))
	sum, litres := 0.0, 0.0
	for _, ratio := range spread {
		sum += ratio * d.left(k, thermalL, still, ratio*d.DrawL, per)
		litres += ratio
	}
	outC = f.BedC + (f.FeedC-f.BedC)*sum/litres
	return water.HeatKWh(d.DrawL, f.FeedC, f.FeedC, outC) * d.DrawsPerDay, outC
}

// left is the mean share of the distance from feed to bed that is still there in
// draws of drawL litres: exp(-k t) over the draw's parcels, with still water
// relaxing by the share still of k.
func (d Design) left(k, thermalL, still, drawL float64, cells int) float64 {
	qLS, period := d.FlowLMin/60, 86400/d.DrawsPerDay
	flowing := thermalL / qLS
	sum := 0.0
	for i := range cells {
		v := (float64(i) + 0.5) / float64(cells) * drawL
		draws := math.Max(0, math.Ceil((thermalL-v)/drawL)) // draws back at which it entered
		in := v + draws*drawL - thermalL
		seconds := draws*period + (v-in)/qLS
		sum += math.Exp(-k * (flowing + still*math.Max(0, seconds-flowing)))
	}
	return sum / float64(cells)
}

// trials draws coefficient, heat, still share and the bed's answer, and takes the
// 2.5 and 97.5 per cent points.
func (f Farm) trials(e *Estimate, d Design, o Options) {
	rng := rand.New(rand.NewPCG(o.Seed, 0x7369))
	oneSided := math.IsNaN(f.UAHighWPerK)
	heat, more, outNow, outNew, uaNew, share := rows(o.Trials), rows(o.Trials), rows(o.Trials), rows(o.Trials), rows(o.Trials), rows(o.Trials)
	bedC := f.BedC
	capNow, capNew := f.TimeConstantH*3600*f.UAWPerK, f.capacity(d)
	for i := range o.Trials {
		ua := f.drawUA(rng.NormFloat64(), rng.Float64(), o)
		still := o.StillLow + (1-o.StillLow)*rng.Float64()
		held := o.HeldLow + (1-o.HeldLow)*rng.Float64()
		f.BedC = bedC + rng.NormFloat64()*f.BedHalfK/1.959963984540054
		metered := f.HeatKWhPerDay + rng.NormFloat64()*(f.HeatHigh-f.HeatLow)/2/1.959963984540054
		now, outC := f.model(f.Now, ua, capNow, still, o.Cells)
		uaNew[i] = f.carry(ua, d)
		then, newC := f.model(d, uaNew[i], capNew, still, o.Cells)
		wrong := o.Misfit * (2*rng.Float64() - 1)
		gain := then/now - 1
		if gain > 0 {
			gain *= held
		}
		if then != now {
			gain = (1+gain)*math.Pow(now/metered, wrong) - 1
		}
		heat[i], more[i] = metered*(1+gain), metered*gain
		outNow[i], outNew[i], share[i] = outC, newC, now/metered
	}
	e.ModelShare = quantile(share, 0.5)
	figure := func(x []float64, unit string) doubt.Figure {
		return doubt.Make(quantile(x, 0.5), quantile(x, 0.025), quantile(x, 0.975), unit, doubt.Estimated, 0, 1, "")
	}
	e.Heat = doubt.Make(f.HeatKWhPerDay, f.HeatLow, f.HeatHigh, "kWh", doubt.Metered, 0, 1, "")
	e.NewHeat, e.More = figure(heat, "kWh"), figure(more, "kWh")
	e.OutC, e.NewOutC = figure(outNow, "degC"), figure(outNew, "degC")
	e.NewUA = figure(uaNew, "W/K")
	if oneSided {
		e.NewUA = doubt.Make(e.NewUA.Low, e.NewUA.Low, math.NaN(), "W/K", doubt.Estimated, 0, 1, "the fitted coefficient is known from below only")
	}
	if f.BedAreaM2 > 0 {
		e.FluxWPerM2 = f.HeatKWhPerDay * 1000 / 24 / f.BedAreaM2
		e.NewFluxWPerM2 = e.NewHeat.Value * 1000 / 24 / f.BedAreaM2
	}
	if f.ElementKWhPerDay >= 0 {
		less := rows(o.Trials)
		for i := range less {
			less[i] = math.Min(more[i], f.ElementKWhPerDay)
		}
		e.ElementLessKWhPerDay = figure(less, "kWh")
	}
}

func rows(n int) []float64 { return make([]float64, n) }

// drawUA draws the present coefficient: log-normal between its ends, or even in
// its logarithm above its bound.
func (f Farm) drawUA(normal, even float64, o Options) float64 {
	if math.IsNaN(f.UAHighWPerK) {
		return f.UAWPerK * math.Exp(even*math.Log(o.BoundTo))
	}
	if !(f.UALowWPerK > 0) {
		return f.UAWPerK
	}
	return f.UAWPerK * math.Exp(normal*math.Log(f.UAHighWPerK/f.UALowWPerK)/2/1.959963984540054)
}

func quantile(x []float64, p float64) float64 {
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	at := p * float64(len(s)-1)
	i := int(at)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (at-float64(i))*(s[i+1]-s[i])
}

// remark adds what has to be said beside the numbers.
func (e *Estimate) remark(f Farm, d Design, o Options) {
	add := func(when bool, code string) {
		if when {
			e.Remarks = append(e.Remarks, code)
		}
	}
	pipeChanged := d.LengthM != f.Now.LengthM || d.BoreMM != f.Now.BoreMM || d.WallMM != f.Now.WallMM || d.Branches != f.Now.Branches
	add(math.IsNaN(f.UAHighWPerK), RemarkBound)
	add(f.Store && pipeChanged, RemarkStore)
	add(math.Abs(e.ModelShare-1) > 0.1, RemarkMisfit)
	add(pipeChanged && !(f.BedAreaM2 > 0), RemarkNoSpacing)
	add(e.NewHeat.Value > 1.25*e.Heat.Value, RemarkUnseen)
	add(e.NewFluxWPerM2 > o.FluxWPerM2, RemarkFlux)
	add(e.NewDropBar > o.PressureBar, RemarkPressure)
	add(pipe.Reynolds(d.FlowLMin/float64(max(d.Branches, 1)), d.BoreMM, (f.FeedC+f.BedC)/2) < pipe.LaminarRe, RemarkLaminar)
	add(e.NewLoopVolumes > 2, RemarkShort)
	add(e.More.Value > 0, RemarkPlate)
	add(f.ElementKWhPerDay >= 0 && e.More.Value > f.ElementKWhPerDay, RemarkElement)
	add(d.TankL != f.Now.TankL && d.TankL > 0 && math.IsNaN(e.NewLossKWhPerDay), RemarkTankLoss)
	add(d.TankL > 0 && d.DrawL > d.TankL, RemarkDrawTank)
	add(d.TankL > f.Now.TankL || d.LengthM*d.BoreMM*d.BoreMM > f.Now.LengthM*f.Now.BoreMM*f.Now.BoreMM, RemarkWarmStore)
}
