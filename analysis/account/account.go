// Package account keeps the farm's heat account: what each step gave and took,
// cycle by cycle, as metered, with the response of every sum to the errors of
// the probes behind it.
//
// Flow: grid and cycle → streams of heat (loop, plate, wash, other use),
// electricity, milk, tank → Account, a row a cycle. Season adds the rows, draws
// the errors and fills what was not seen; nothing here is random, and nothing
// is made up in a gap.
//
// Conventions: heat that the water gains is positive, and so are heat drawn
// off, heat lost and electricity used; kWh; litres where the meter stands; NaN
// is "not known". An error is reading minus truth; a sensitivity is the change
// of the sum as computed per unit of the error.
package account

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"yardheat/analysis/apart"
	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// Options of the account.
type Options struct {
	Grid  grid.Options
	Cycle cycle.Options
	// Book: how litres are booked before a probe is flushed; its TauS and LeadL
	// are set by probe.
	Book grid.BookOptions
	// JoinS: a pause of the flow up to this leaves a pipe probe flushed.
	JoinS float64
	// Time constants by fit, s (common practice, no source). LoopOutLagS, if
	// not 0, is that of the loop's outlet as the fit found it.
	LagPocketS, LagPipeS, LagUnknownS, LoopOutLagS float64
	// FeedWithinS: a cycle without draws takes the feed of the nearest draws
	// within this.
	FeedWithinS float64
	// FeedColderK, FeedMovesShare: the water of a wash does not pass the feed's
	// probe where that reads warmer by more than this meanwhile than at its
	// coldest, and moves by less than this share of it (our choice, no source).
	FeedColderK, FeedMovesShare float64
	// Tank loss: stretches of LossStretchS without flow, element or plate, at
	// least LossFewest of them.
	LossStretchS float64
	LossFewest   int
	// LateAfterS: plate heat later than this after the last compressor stop is
	// late; LateMilkingS: compressor electricity later than this after a
	// milking's end.
	LateAfterS, LateMilkingS float64
	// Washes without a meter: EarlierMost is the largest part of a refill's litres
	// that was drawn before the tank was hot: one of the three waters of a wash
	// (rinse, hot wash, rinse; common practice, no source); see EarlierShare.
	// EarlierUnseen is the most where the tank would have shown it.
	EarlierMost, EarlierUnseen float64
	// ColdAfterS: when milk must be cold after a milking's end.
	ColdAfterS float64
	// LeftLeastS: water at the plate that stands for less while the compressor
	// runs on has left nothing behind; LeftLeastK: nor has gas that is no warmer
	// than this above the water.
	LeftLeastS, LeftLeastK float64
	// LowRiseK: heat at a smaller difference of temperatures is counted and shown
	// as a share: 3 K is the least of the smallest differences that the Measuring
	// Instruments Directive, Annex VI, lets a heat meter be rated for.
	LowRiseK float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{
		Grid: grid.DefaultOptions(), Cycle: cycle.DefaultOptions(), Book: grid.DefaultBookOptions(),
		JoinS: 120, LagPocketS: 20, LagPipeS: 45, LagUnknownS: 20,
		FeedWithinS: 3 * 86400, FeedColderK: 1, FeedMovesShare: 0.25, LossStretchS: 4 * 3600, LossFewest: 5, EarlierMost: 1.0 / 3, EarlierUnseen: 0.05,
		LateAfterS: 600, LateMilkingS: 3 * 3600, ColdAfterS: 2 * 3600,
		LeftLeastS: 120, LeftLeastK: 5, LowRiseK: 3,
	}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	for _, err := range []error{o.Grid.Validate(), o.Cycle.Validate(), o.Book.Validate()} {
		if err != nil {
			return err
		}
	}
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"JoinS", o.JoinS, 0, 3600}, {"LagPocketS", o.LagPocketS, 0, 3600}, {"LagPipeS", o.LagPipeS, 0, 3600},
		{"LagUnknownS", o.LagUnknownS, 0, 3600}, {"LoopOutLagS", o.LoopOutLagS, 0, 3600},
		{"FeedWithinS", o.FeedWithinS, 0, 30 * 86400}, {"LossStretchS", o.LossStretchS, 600, 86400},
		{"FeedColderK", o.FeedColderK, 0, 20}, {"FeedMovesShare", o.FeedMovesShare, 0, 1},
		{"LossFewest", float64(o.LossFewest), 2, 1000}, {"LateAfterS", o.LateAfterS, 0, 7200},
		{"LateMilkingS", o.LateMilkingS, 0, 86400}, {"ColdAfterS", o.ColdAfterS, 0, 86400}, {"EarlierMost", o.EarlierMost, 0, 0.9}, {"EarlierUnseen", o.EarlierUnseen, 0, 0.9},
		{"LeftLeastS", o.LeftLeastS, 0, 3600}, {"LeftLeastK", o.LeftLeastK, 0, 50}, {"LowRiseK", o.LowRiseK, 0, 50},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("account: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Account is the farm's account over one period, a row a cycle in every part.
type Account struct {
	FromMS, ToMS int64
	Zone         *time.Location
	Cycles       []cycle.Cycle
	Milkings     []ingest.Milking
	// MilkingsFrom: "list", "times", "milk probe", "compressor", "washes", "day".
	MilkingsFrom string
	Draws        []cycle.Draw
	Washes       []cycle.Wash
	// Earlier: whether water is drawn before the tank is hot; only without a wash
	// meter.
	Earlier cycle.Earlier

	Loop, Plate, Wash, OtherUse Heat
	Element, Pumps, Compressor  Power
	Solar                       Solar
	Movable                     Movable
	Feed                        []Feed
	Milk                        Milk
	Store                       Store
	Loss                        Loss
	// Drive: litre-kelvins at the plate (see PlateDrive), nil without gas_in_temp.
	Drive []DriveRow
	// Left: what the compressor did after the plate's water had stopped; nil
	// where flow or compressor is not logged.
	Left []LeftRow
	// GasSources are the probes of Drive.
	GasSources []grid.Source
	// DrawRows and WashRows: the heat of every draw (loop) and every wash, in
	// the order of Draws and Washes; nil where that heat is not known.
	DrawRows, WashRows []HeatRow
	// The flows as chosen; nil where there is none.
	LoopFlow, PlateFlow, WashFlow, UseFlow *grid.Stream
	Problems                               []series.Problem

	// Pairs are the pipes' flows beside their probes, by the stream's name.
	Pairs map[string][]apart.Pair

	feedSources []grid.Source
	tankTop     *grid.Stream
}

// Input is what the account is made of.
type Input struct {
	Rec          *ingest.Record
	Grid         *grid.Grid
	FromMS, ToMS int64
	// CutsMS, if not empty, are the ascending edges of the rows, Unix ms UTC
	// within the period, instead of the milkings' starts: the sums of any
	// stretches side by side. Rows of milk then mean nothing.
	CutsMS []int64
}

// Make computes the account of [FromMS, ToMS). Stages that the farm does not
// have, or that the logs do not show, say why in their Why.
func Make(in Input, opt Options) (*Account, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if in.Rec == nil || in.Rec.Farm == nil || in.Grid == nil {
		return nil, fmt.Errorf("account: no record or no grid")
	}
	if in.ToMS <= in.FromMS {
		return nil, fmt.Errorf("account: the period from %d to %d ms is empty", in.FromMS, in.ToMS)
	}
	m := newMaker(in, opt)
	m.each(m.powers, m.flows, m.washes, m.cut, m.feed)
	var beside work.Group
	defer beside.Settle()
	beside.Go(m.tanks) // what it fills in, Store and Loss, is asked for by movable alone
	m.each(m.heats, m.left, m.pairs, m.cold)
	beside.Wait()
	m.movable()
	return m.acc, nil
}

// maker carries what the parts share while the account is made.
type maker struct {
	in   Input
	opt  Options
	farm *farm.Farm
	g    *grid.Grid
	zone *time.Location
	acc  *Account

	// hourOf is the local hour of each cell, found once for all uses.
	hourOf   []uint8
	hourOnce sync.Once

	loop, plate, wash, use *grid.Runs
	compressor, element    *grid.Stream
	tankTop                *grid.Stream
	// lines: which price of electricity holds in each cell; nil without rates.
	lines   []int16
	washHot *grid.Booked
	// feedC is the feed of the cycle at a time; nil = not known for any.
	feedC func(ms int64) float64
	// feedStands: the feed is read off standing water.
	feedStands bool
}

func newMaker(in Input, opt Options) *maker {
	zone := in.Rec.Zone
	if zone == nil {
		zone = time.UTC
	}
	return &maker{in: in, opt: opt, farm: in.Rec.Farm, g: in.Grid, zone: zone,
		acc: &Account{FromMS: in.FromMS, ToMS: in.ToMS, Zone: zone}}
}

// flow finds one flow or power and keeps its problems.
func (m *maker) flow(q series.Quantity) *grid.Stream {
	s, problems := m.g.Flow(m.farm, q, m.opt.Grid)
	m.acc.Problems = append(m.acc.Problems, problems...)
	return s
}

// runs are the stretches of a flow; nil without one.
func (m *maker) runs(s *grid.Stream) *grid.Runs {
	if s == nil {
		return nil
	}
	limit := cycle.Threshold(s.Values, m.opt.Cycle.ThresholdShare, m.opt.Cycle.ThresholdLMin)
	return grid.NewRuns(m.g, s, grid.RunOptions{ThresholdLMin: limit, JoinS: m.opt.JoinS})
}

// flows finds what the meters saw and the draws.
func (m *maker) flows() {
	m.loop = m.runs(m.flow("loop_flow"))
	m.plate = m.runs(m.flow("plate_flow"))
	m.wash = m.runs(m.flow("wash_flow"))
	m.use = m.runs(m.flow("hot_use_volume"))
	defer func() {
		a := m.acc
		a.LoopFlow, a.PlateFlow, a.WashFlow, a.UseFlow = flowOf(m.loop), flowOf(m.plate), flowOf(m.wash), flowOf(m.use)
	}()
	if m.loop == nil {
		m.loopByProbes()
		return
	}
	m.acc.Draws = cycle.Draws(m.g, m.loop.Flow.Values, m.opt.Cycle)
}

func flowOf(r *grid.Runs) *grid.Stream {
	if r == nil {
		return nil
	}
	return r.Flow
}

// loopByProbes finds the draws where the loop has no meter and the farm states
// the litres of a refill.
func (m *maker) loopByProbes() {
	in, out := m.g.Stream("loop_in_temp"), m.g.Stream("loop_out_temp")
	if in == nil {
		in = m.g.Stream("mains_temp")
	}
	if in == nil && out == nil || m.farm.Loop == nil || m.farm.Loop.DrawL <= 0 {
		return
	}
	draws, flow := cycle.DrawsByProbes(m.g, in, out, m.farm.Loop.DrawL, m.opt.Cycle.Probes)
	if tank := HotTank(m.g, m.farm); tank != nil {
		draws = cycle.HiddenDraws(m.g, in, out, tank.Values, draws, flow, m.farm.Loop.DrawL, m.opt.Cycle)
	}
	if len(draws) == 0 {
		return
	}
	m.acc.Draws = draws
	m.loop = m.runs(&grid.Stream{Quantity: "loop_flow", Unit: "L/min", Values: flow, From: "draws", Name: "loop.draw_l × draws seen in the probes",
		UsualS: m.g.StepS, Sources: []grid.Source{{Channel: -1, Quantity: "loop_flow", Key: "loop.draw_l", Weight: 1}}})
}

// washes finds the washes: by the meter, else by the refills.
func (m *maker) washes() {
	m.tankTop = HotTank(m.g, m.farm)
	m.acc.tankTop = m.tankTop
	target := math.NaN()
	if m.farm.Wash != nil && m.farm.Wash.HasTarget {
		target = m.farm.Wash.TargetC
	}
	var tank []float64
	if m.tankTop != nil {
		tank = m.tankTop.Values
	}
	switch {
	case m.wash != nil:
		if probe := m.hot("wash_temp"); probe != nil {
			m.washHot = m.wash.Book(probe, m.book(probe, 0))
		}
		m.acc.Washes = cycle.Washes(m.wash, m.washHot, target, m.opt.Cycle)
	case tank != nil && len(m.acc.Draws) > 0:
		m.acc.Washes = cycle.WashesByRefill(m.g, m.acc.Draws, tank, m.tankTop.UsualS, target, m.opt.Cycle)
		m.acc.Earlier = cycle.LookEarlier(m.g, tank, m.slowest("compressor_on", "compressor_power"), m.acc.Washes, m.compressorOn(), m.opt.Cycle)
	default:
		return
	}
	var element []float64
	if m.element != nil {
		element = m.element.Values
	}
	if target == target {
		cycle.Explain(m.g, m.acc.Washes, tank, element, target, m.opt.Cycle)
	}
}

// compressorOn is 1 where the compressor runs, 0 where it stands, by cell; nil
// where neither its state nor its power is logged.
func (m *maker) compressorOn() []float64 {
	if s := m.g.Stream("compressor_on"); s != nil {
		return s.Values
	}
	if m.compressor == nil {
		return nil
	}
	limit := compressorOnKW(m.compressor.Values)
	out := make([]float64, m.g.N)
	for i, v := range m.compressor.Values {
		switch {
		case v != v:
			out[i] = v
		case v > limit:
			out[i] = 1
		}
	}
	return out
}

// slowest is the longest interval of the tank's upper probe and the streams
// named, s.
func (m *maker) slowest(names ...series.Quantity) float64 {
	s := m.tankTop.UsualS
	for _, q := range names {
		if x := m.g.Stream(q); x != nil {
			s = math.Max(s, x.UsualS)
		}
	}
	return s
}

// cut makes the cycles.
func (m *maker) cut() {
	var kw []float64
	if m.compressor != nil {
		kw = m.compressor.Values
	}
	a := m.acc
	a.Milkings, a.MilkingsFrom = cycle.Milkings(m.in.Rec, m.g, kw, a.Washes, m.opt.Cycle)
	if len(m.in.CutsMS) > 0 {
		for i := range m.in.CutsMS[1:] {
			from, to := m.in.CutsMS[i], m.in.CutsMS[i+1]
			a.Cycles = append(a.Cycles, cycle.Cycle{Start: from, End: to, A: m.g.Cell(from), B: m.g.Cell(to), Milking: -1, Whole: true})
		}
		return
	}
	a.Cycles = cycle.Cycles(m.g, a.Milkings, m.in.FromMS, m.in.ToMS, m.zone, m.opt.Cycle)
}

// hot is a stream's hot probe; where wash_temp or hot_use_temp is not logged
// the hot tank's upper probe stands for it.
func (m *maker) hot(q series.Quantity) *grid.Stream {
	if s := m.g.Stream(q); s != nil {
		return s
	}
	if q == "wash_temp" || q == "hot_use_temp" {
		return m.tankTop
	}
	return nil
}

// book are the options for one probe.
func (m *maker) book(s *grid.Stream, leadL float64) grid.BookOptions {
	o := m.opt.Book
	o.TauS, o.LeadL = m.lagS(s), leadL
	o.Resolve = leadL == 0 && m.lagKnown(s)
	return o
}

// lagKnown: the farm says how every probe of the stream is fitted, or the loop's
// fit found its lag.
func (m *maker) lagKnown(s *grid.Stream) bool {
	if s.Quantity == "loop_out_temp" && m.opt.LoopOutLagS > 0 {
		return true
	}
	for _, x := range s.Sources {
		if m.g.Channels[x.Channel].Fit == "" {
			return false
		}
	}
	return true
}

// lagS is the probe's time constant by its fit; tank, bed and air probes are
// not corrected.
func (m *maker) lagS(s *grid.Stream) float64 {
	info, _ := series.Lookup(s.Quantity)
	if !info.Pipe {
		return 0
	}
	if s.Quantity == "loop_out_temp" && m.opt.LoopOutLagS > 0 {
		return m.opt.LoopOutLagS
	}
	sum := 0.0
	for _, x := range s.Sources {
		switch m.g.Channels[x.Channel].Fit {
		case "pocket":
			sum += m.opt.LagPocketS
		case "pipe":
			sum += m.opt.LagPipeS
		default:
			sum += m.opt.LagUnknownS
		}
	}
	return sum / float64(max(1, len(s.Sources)))
}

// each does one step after the other, and leaves between them once the work has
// ended.
func (m *maker) each(steps ...func()) {
	for _, step := range steps {
		m.g.Check()
		step()
	}
}
