// Package plant answers what share of the heat that the milk-cooling plant
// rejects is caught at its water-side plate. It takes sums per account cycle
// from analysis/account, with their response to every sensor's error, and is
// one part of the Monte Carlo budget that analysis/season runs:
//
//	f = Σ Q_plate / Σ (Q_milk + W + G·t)
//
// Q_plate the heat caught, Q_milk the heat taken from the milk by refrigerated
// cooling, W the electricity of the compressors whose gas passes the plate
// (all kWh), G the standing gain of the cold store (kW), t the cycles' hours.
//
// An ice bank lets the compressor run hours from the milking, so milk and heat
// are never paired by interval: all is sums over many cycles, and what the
// store may have carried over at both ends is in the interval. Heat rejected,
// heat caught and a gain of the store are positive.
package plant

import (
	"math"
	"slices"

	"yardheat/analysis/doubt"
)

// Row is one account cycle that has every term.
type Row struct {
	StartMS, EndMS int64
	// Day is the local day in which it starts, as a whole number that rises
	// by one a day.
	Day   int
	Hours float64
}

// Terms are the cycles' sums, one value a row of Rows in every part. No value
// is NaN (see Covered). Several parts of one term (two meters) add up.
type Terms struct {
	Rows       []Row
	Caught     []doubt.Part // kWh at the plate
	Milk       []doubt.Part // kWh from the milk; nil: the farm has no milk data
	Compressor []doubt.Part // kWh of electricity; nil: not logged
	// Rise and Drive, litre-kelvins while water flows: Σ V (T_out − T_in) and
	// Σ V (T_gas,in − T_in); nil where no gas_in_temp is logged.
	Rise, Drive []doubt.Part
	// Litres through the plate, Σ V q with the flow q in L/min, and litre-kelvins
	// Σ V T_in above 0 degC; nil where not asked for.
	Litres, FlowL, InLK []doubt.Part
}

// Why a figure is not known.
const (
	WhyNoMilk       = "no milk volume and milk temperatures, so the heat rejected is not known, nor with it the share caught, the COP, or how much more could be caught; known is the heat caught per compressor kWh"
	WhyNoCompressor = "no compressor electricity is logged, so the heat rejected is not known"
	WhyNoCycles     = "no cycle has all of plate heat, milk heat and compressor electricity covered"
	WhyNoGas        = "no gas_in_temp is logged"
	WhyPrecooled    = "milk_in_temp is before the water cooler, so the milk heat given is more than the plant takes; the share caught is at least this"
)

// Options of this stage.
type Options struct {
	// CarryShare: the most that the cold store carries over from one cycle to
	// the next, as a share of one milking's milk heat: with an ice bank, and
	// where nothing speaks for one (cooling is over before the next milking).
	CarryShareIce, CarryShareLittle float64
	// LateShare: compressor electricity more than LateHours after a milking's
	// end above this share speaks for an ice bank.
	LateShare, LateHours float64
	// GainShare: the most that the standing gain is taken to be where nothing
	// gives it, as a share of the milk heat: in a field study of sheep milk
	// storage took 0.12 kWh beside 1.76 for cooling, 7 % (Energies 2020,
	// 13, 2127). Twice that much with an ice bank: assumed, no source.
	GainShare, GainShareIce float64
	// StatedGainError: half-width of a stated standing gain, as a fraction of
	// it, where the farm gives none. Assumed, no source.
	StatedGainError float64
	// MaxCOP: cooling per compressor kWh above this is not possible. Direct
	// expansion reaches 2.5 to 3, ice 1.8 to 2.5 (common practice, no source).
	MaxCOP float64
	// AfterStopShare: heat caught later than 10 min after the last compressor
	// stop above this share of all is a fault.
	AfterStopShare float64
}

// DefaultOptions are what a report uses.
func DefaultOptions() Options {
	return Options{
		CarryShareIce: 1, CarryShareLittle: 0.05,
		LateShare: 0.15, LateHours: 3,
		GainShare: 0.10, GainShareIce: 0.20, StatedGainError: 0.20,
		MaxCOP: 6, AfterStopShare: 0.03,
	}
}

// Validate names the first option that cannot be used.
func (o Options) Validate() error {
	return firstOutside([]bounds{
		{"CarryShareIce", o.CarryShareIce, 0, 10}, {"CarryShareLittle", o.CarryShareLittle, 0, 10},
		{"LateShare", o.LateShare, 0, 1}, {"LateHours", o.LateHours, 0, 24},
		{"GainShare", o.GainShare, 0, 1}, {"GainShareIce", o.GainShareIce, 0, 1},
		{"StatedGainError", o.StatedGainError, 0, 1}, {"MaxCOP", o.MaxCOP, 1, 20},
		{"AfterStopShare", o.AfterStopShare, 0, 1},
	})
}

// Model computes the plant's figures within a trial.
type Model struct {
	terms   Terms
	gain    Gain
	hours   doubt.Part
	blocks  *doubt.Blocks
	sources []doubt.Source
	first   int
	// pool resamples Milk, Compressor, hours and Caught, in this order.
	pool *doubt.Pool
}

// Places of the model's own sources, counted from the first.
const (
	ownGain = iota
	ownCarryStart
	ownCarryEnd
	ownDays
)

// New readies the terms for trials. carryKWh is what the store may carry over
// at most (see Storage.CarryKWh; NaN counts as 0). The model has sources of its own, Sources():
// the caller puts them among its sources beginning at index first.
func New(terms Terms, gain Gain, carryKWh float64, first int) *Model {
	m := &Model{terms: terms, gain: gain, first: first}
	hours, days := make([]float64, len(terms.Rows)), make([]int, len(terms.Rows))
	for i, r := range terms.Rows {
		hours[i], days[i] = r.Hours, r.Day
	}
	m.hours = doubt.NewPart(hours, nil, nil)
	m.blocks = doubt.NewBlocks(days, doubt.Lag1(doubt.DayMeans(days, ratios(terms, gain.KW))), 1)
	m.pool = m.blocks.Pool(slices.Concat(terms.Milk, terms.Compressor, []doubt.Part{m.hours}, terms.Caught)...)
	start, end := carrySources(orZero(carryKWh), runs(terms.Rows))
	m.sources = []doubt.Source{ownGain: gain.source(), ownCarryStart: start, ownCarryEnd: end,
		ownDays: {Name: "which days happened (recovery fraction)", Kind: doubt.Random, Dist: doubt.Resample, Blocks: m.blocks}}
	return m
}

// Sources are the model's own: what the line leaves open of the standing gain,
// the store at both ends, and which days happened.
func (m *Model) Sources() []doubt.Source { return m.sources }

// Blocks is the plan by which cycles are resampled for the recovery fraction;
// where its Why is not empty the fraction has no interval.
func (m *Model) Blocks() *doubt.Blocks { return m.blocks }

// Cycles is the number of cycles behind the figures.
func (m *Model) Cycles() int { return len(m.terms.Rows) }

// Values are the plant's figures under one trial's errors; NaN = not known.
type Values struct {
	// Recovery is a property of the plant: days are resampled for it.
	Recovery float64
	// The rest is a census of the cycles used.
	CaughtKWh, RejectedKWh, MilkKWh, CompressorKWh float64
	StandingGainKW, COP, PlateEffectiveness        float64
	// CaughtPerKWh is heat caught per kWh of compressor electricity.
	CaughtPerKWh float64
}

// Values computes the figures for a trial.
func (m *Model) Values(t *doubt.Trial) Values {
	if m.Cycles() == 0 {
		return unknownValues()
	}
	gainKW, carry := m.own(t)
	return Values{
		Recovery:           m.recovery(t, gainKW, carry),
		CaughtKWh:          census(m.terms.Caught, t.E),
		MilkKWh:            census(m.terms.Milk, t.E),
		CompressorKWh:      census(m.terms.Compressor, t.E),
		StandingGainKW:     gainKW,
		PlateEffectiveness: census(m.terms.Rise, t.E) / census(m.terms.Drive, t.E),
	}.derived(gainKW*m.hours.Census(t.E), carry)
}

// Recovery is the recovery fraction alone for a trial.
func (m *Model) Recovery(t *doubt.Trial) float64 {
	if m.Cycles() == 0 {
		return math.NaN()
	}
	gainKW, carry := m.own(t)
	return m.recovery(t, gainKW, carry)
}

// own are the standing gain and what the store carries over in a trial.
func (m *Model) own(t *doubt.Trial) (gainKW, carryKWh float64) {
	return m.gain.at(t.E, m.first+ownGain), t.E[m.first+ownCarryStart] - t.E[m.first+ownCarryEnd]
}

// derived fills in what follows from the other sums.
func (v Values) derived(gainKWh, carryKWh float64) Values {
	v.RejectedKWh = v.MilkKWh + v.CompressorKWh + gainKWh
	v.COP = (v.MilkKWh + gainKWh + carryKWh) / v.CompressorKWh
	v.CaughtPerKWh = v.CaughtKWh / v.CompressorKWh
	return v
}

func (m *Model) recovery(t *doubt.Trial, gainKW, carryKWh float64) float64 {
	sums := t.Resampled(m.first+ownDays, m.pool)
	next := func(p doubt.Part) (v float64) {
		v, sums = p.Of(t.E, sums)
		return v
	}
	rejected := total(m.terms.Milk, next) + total(m.terms.Compressor, next) + gainKW*next(m.hours) + carryKWh
	return total(m.terms.Caught, next) / rejected
}

// WhyNoRecovery says why there is no recovery fraction at all; "" where there
// is one.
func (m *Model) WhyNoRecovery() string {
	switch {
	case m.terms.Milk == nil:
		return WhyNoMilk
	case m.terms.Compressor == nil:
		return WhyNoCompressor
	case m.Cycles() == 0 || len(m.terms.Caught) == 0:
		return WhyNoCycles
	}
	return ""
}

// RecoveryFigure makes the figure of the recovery fraction from the trials'
// output k: without an interval where blocks are too few, from one side where
// milk_in_temp is before a water cooler.
func (m *Model) RecoveryFigure(r *doubt.Result, k int, coverage float64, precooled bool) doubt.Figure {
	o, why := r.Outputs[k], m.WhyNoRecovery()
	nan := math.NaN()
	switch {
	case why != "":
		return doubt.Make(nan, nan, nan, "1", doubt.Estimated, m.Cycles(), coverage, why)
	case m.blocks.Why() != "":
		return doubt.Make(o.Nominal, nan, nan, "1", doubt.Estimated, m.Cycles(), coverage, m.blocks.Why())
	case precooled:
		return doubt.Make(nan, o.Low, nan, "1", doubt.Estimated, m.Cycles(), coverage, WhyPrecooled)
	}
	return doubt.Make(o.Nominal, o.Low, o.High, "1", doubt.Estimated, m.Cycles(), coverage, "")
}

// Covered lists the rows in which every column has a number: the cycles that
// have all terms. Columns that are nil are left out of the question.
func Covered(columns ...[]float64) []int {
	n := 0
	for _, c := range columns {
		n = max(n, len(c))
	}
	var rows []int
	for i := range n {
		ok := true
		for _, c := range columns {
			ok = ok && (c == nil || !math.IsNaN(c[i]))
		}
		if ok {
			rows = append(rows, i)
		}
	}
	return rows
}

// Pick is the terms over some of their rows, for a month or a stretch.
func (t Terms) Pick(rows []int) Terms {
	p := Terms{Rows: make([]Row, len(rows)), Caught: pick(t.Caught, rows), Milk: pick(t.Milk, rows),
		Compressor: pick(t.Compressor, rows), Rise: pick(t.Rise, rows), Drive: pick(t.Drive, rows),
		Litres: pick(t.Litres, rows), FlowL: pick(t.FlowL, rows), InLK: pick(t.InLK, rows)}
	for i, r := range rows {
		p.Rows[i] = t.Rows[r]
	}
	return p
}

func pick(parts []doubt.Part, rows []int) []doubt.Part {
	if parts == nil {
		return nil
	}
	out := make([]doubt.Part, len(parts))
	for i, p := range parts {
		out[i] = p.Pick(rows)
	}
	return out
}

// census sums the parts; a term without parts is not known.
func census(parts []doubt.Part, e []float64) float64 {
	return total(parts, func(p doubt.Part) float64 { return p.Census(e) })
}

func total(parts []doubt.Part, of func(doubt.Part) float64) float64 {
	if len(parts) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, p := range parts {
		sum += of(p)
	}
	return sum
}

// ratios are caught over rejected heat by row, NaN where nothing was rejected:
// what tells how much neighbouring days are alike.
func ratios(t Terms, gainKW float64) []float64 {
	out := make([]float64, len(t.Rows))
	for r := range out {
		value := func(p doubt.Part) float64 { return p.Value(r) }
		out[r] = math.NaN()
		if rejected := total(t.Milk, value) + total(t.Compressor, value) + gainKW*t.Rows[r].Hours; rejected > 0 {
			out[r] = total(t.Caught, value) / rejected
		}
	}
	return out
}

func unknownValues() Values {
	n := math.NaN()
	return Values{n, n, n, n, n, n, n, n, n}
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}
