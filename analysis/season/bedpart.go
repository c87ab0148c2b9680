package season

import (
	"fmt"
	"math"

	"yardheat/analysis/bed"
	"yardheat/analysis/doubt"
	"yardheat/analysis/pipe"
	"yardheat/ingest/series"
)

// bedLook lays the draws beside the bed's temperature, the air and the events; it
// needs the rows.
func (b *builder) bedLook() error {
	in := bed.Input{FromMS: b.acc.FromMS, ToMS: b.acc.ToMS, Zone: b.rec.Zone, BedC: b.bedRow("bed_temp"), AirC: b.bedRow("air_temp")}
	if l := b.rec.Farm.Loop; l != nil {
		in.AreaM2 = l.BedAreaM2
	}
	for _, d := range b.s.Draws {
		in.Draws = append(in.Draws, bed.Draw{StartMS: d.Start, EndMS: d.End, KWh: d.HeatKWh, Litres: d.Litres, ApproachK: d.ApproachK})
	}
	for _, e := range b.rec.Farm.Events {
		in.Events = append(in.Events, bed.Event{AtMS: e.At.UnixMilli(), What: e.What, Tonnes: e.Tonnes})
	}
	look, err := bed.Look(in, b.opt.Bed)
	if err != nil {
		return err
	}
	b.s.BedLook = *look
	for _, f := range []struct {
		key    string
		figure Figure
	}{{"dip_k", look.DipK}, {"recovery_h", look.RecoveryH}, {"response_k_per_kwh", look.ResponseKPerKWh}, {"trend_k_per_week", look.TrendKPerWeek}} {
		b.s.Bed = append(b.s.Bed, Named{Key: f.key, Label: labels[f.key], Figure: f.figure})
	}
	return nil
}

func (b *builder) bedRow(quantity series.Quantity) bed.Row {
	r := bed.Row{StartMS: b.grid.StartMS, StepMS: b.grid.StepMS()}
	if s := b.grid.Stream(quantity); s != nil {
		r.Values = s.Values
	}
	return r
}

// Geometry is what pipe and bedding should pass by a tape measure and handbook
// conductivities, beside what the fit says they do.
type Geometry struct {
	// Why there is none; "" = there is.
	Why string
	// SpacingM from pipe to pipe, bed area over length.
	SpacingM, FlowLMin, WaterC, Reynolds float64
	// MediumWPerMK: the range of conductivities of composting litters taken.
	MediumWPerMK pipe.Range
	// ExpectedWPerK for these; BareWPerK with film and wall alone.
	ExpectedWPerK pipe.Range
	BareWPerK     float64
	// FilmShare, WallShare of the resistance at the litter's best.
	FilmShare, WallShare float64
	// MediumFitted is the conductivity that the bedding must have for the fitted
	// coefficient, W/(m K).
	MediumFitted Figure
	// Verdict: "inside", "above", "below" or "not known"; Text says what it may mean.
	Verdict, Text string
}

// The verdicts of Geometry.
const (
	GeometryInside  = "inside"
	GeometryAbove   = "above"
	GeometryBelow   = "below"
	GeometryUnknown = "not known"
)

// geometry needs the loop's figures and the draws.
func (b *builder) geometry() {
	g := &b.s.Loop.Geometry
	*g = Geometry{SpacingM: nan, FlowLMin: nan, WaterC: nan, Reynolds: nan, MediumWPerMK: pipe.LitterWPerMK(), ExpectedWPerK: pipe.Range{Low: nan, High: nan},
		BareWPerK: nan, FilmShare: nan, WallShare: nan, Verdict: GeometryUnknown}
	g.MediumFitted = doubt.Make(nan, nan, nan, mediumUnit, doubt.Estimated, 0, 0, "")
	l := b.rec.Farm.Loop
	flow, water := b.meanDraw()
	switch {
	case l == nil:
		g.Why = WhyNoLoop
	case !(l.BedAreaM2 > 0):
		g.Why = "farm.toml gives no loop.bed_area_m2, and so no distance from pipe to pipe"
	case !(l.WallMM > 0):
		g.Why = "farm.toml gives no loop.wall_mm"
	case l.Fluid != "" && l.Fluid != "water":
		g.Why = "the film is known for water only"
	case !(flow > 0):
		g.Why = "no draw tells the flow"
	}
	if g.Why == "" {
		b.expect(g, flow, water)
	}
	g.MediumFitted.Why = g.Why
}

const mediumUnit = "W/(m K)"

func (b *builder) expect(g *Geometry, flowLMin, waterC float64) {
	l := b.rec.Farm.Loop
	wall, ok := pipe.WallWPerMK(l.Pipe)
	if !ok {
		g.Why = fmt.Sprintf("no conductivity is known for pipe of %q", l.Pipe)
		return
	}
	in := pipe.Loop{LengthM: l.LengthM, BoreMM: l.BoreMM, WallMM: l.WallMM, Wall: wall, Branches: max(l.Branches, 1), BedAreaM2: l.BedAreaM2, FlowLMin: flowLMin, WaterC: waterC}
	e := in.Expect(g.MediumWPerMK)
	g.SpacingM, g.FlowLMin, g.WaterC, g.Reynolds = in.Spacing(), flowLMin, waterC, e.Reynolds
	g.ExpectedWPerK, g.BareWPerK = e.UAWPerK, e.BareUAWPerK
	whole := l.LengthM / e.UAWPerK.High
	g.FilmShare, g.WallShare = e.FilmMKPerW/whole, e.WallMKPerW/whole
	ua := figureOf(b.s.Loop.Figures, "ua_w_per_k")
	// The wall's material leaves its own doubt: each end takes the wall that moves it
	// outwards.
	at := func(uaWPerK, wallWPerMK float64) float64 {
		one := in
		one.Wall = pipe.Range{Low: wallWPerMK, High: wallWPerMK}
		return one.MediumWPerMK(uaWPerK)
	}
	value, low, high := in.MediumWPerMK(ua.Value), at(ua.Low, wall.High), at(ua.High, wall.Low)
	if math.IsNaN(ua.High) {
		value = low
	}
	why := ""
	switch {
	case math.IsNaN(ua.Value):
		g.Why = "the loop's coefficient is not known"
		return
	case math.IsInf(value, 1):
		why = "film and wall alone should pass less than the fitted coefficient"
		value = low
	}
	g.MediumFitted = doubt.Make(value, low, high, mediumUnit, doubt.Estimated, ua.N, ua.Coverage, why)
	g.judge(ua, b.s.Loop.Model == "store")
}

// judge says where the fitted coefficient lies, and what that may mean; never
// which.
func (g *Geometry) judge(ua Figure, store bool) {
	const may = "Geometry and handbook values are rough: it is a question, not a finding about the fit."
	switch {
	case ua.Low > g.ExpectedWPerK.High:
		g.Verdict = GeometryAbove
		g.Text = "The loop passes more than pipe in bedding should. Pipe on or in a slab or wet ground, water that moves through the bed, more pipe than stated, or a meter or probe that is off would do it. " + may
	case ua.High < g.ExpectedWPerK.Low:
		g.Verdict = GeometryBelow
		g.Text = "The loop passes less than pipe in the driest bedding should. Air around or in the pipe, part of it outside the warm bed, less pipe than stated, or a meter or probe that is off would do it. " + may
	case math.IsNaN(ua.Low) || math.IsNaN(ua.High):
		g.Verdict = GeometryUnknown
		g.Text = "The fitted coefficient is known from one side only and cannot be held against the geometry."
	default:
		g.Verdict = GeometryInside
		g.Text = "The loop passes what pipe in composting litter should."
	}
	if store && g.Verdict != GeometryUnknown {
		g.Text += " The bed has a slab between it and the pipe, so the pipe does not lie in litter alone."
	}
}

// meanDraw is the draws' flow, L/min, and the mean of the water on its way, degC.
func (b *builder) meanDraw() (flowLMin, waterC float64) {
	var litres, minutes, degrees, of float64
	for _, d := range b.s.Draws {
		if !(d.Litres > 0) || d.End <= d.Start {
			continue
		}
		litres += d.Litres
		minutes += float64(d.End-d.Start) / 60000
		if c := (d.InC + d.OutC) / 2; c == c {
			degrees, of = degrees+c*d.Litres, of+d.Litres
		}
	}
	if minutes == 0 || of == 0 {
		return 0, nan
	}
	return litres / minutes, degrees / of
}

func figureOf(list []Named, key string) Figure {
	for _, n := range list {
		if n.Key == key {
			return n.Figure
		}
	}
	return doubt.Make(nan, nan, nan, "", doubt.Estimated, 0, 0, "")
}
