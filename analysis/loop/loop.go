// Package loop fits the buried loop: how readily the bed gives its heat to the
// water (UA), from inlet, outlet and bed temperature and the flow, and says
// whether these logs can tell it at all.
//
// Water moves as a plug, and water and pipe wall together relax to the bed:
//
//	dT/dt = k (T_b + b - T),  k = UA/C,  C = rho c V_L (1 + beta)
//
// The parcel that leaves at t entered at t' where W(t') = W(t) - V_th, W the
// litres passed and V_th = r V_L (1 + beta) the thermal volume. With F the
// solution of dF/dt = k (T_b + b - F) along the record,
//
//	T_out(t) = F(t) + (T_in(t') - F(t')) exp(-(K(t) - K(t'))),  K = integral of k dt,
//
// k replaced by s k while the water stands. The fit's parameters are ln k, the
// bed offset b (the probe's place and the bed's depletion together, not a
// probe error), ln r, the front's width in litres, s, and the depletion: by how
// much more the bed at the pipe falls with the heat that is taken than its
// probe shows (with it, T_b + b moves within a draw; without it the water that
// carries UA, which comes late in a draw, would be held against the bed of the
// soaked water), the bed's lag behind its probe, and what a
// lead pipe loses to the air. The outlet probe's lag is fitted apart, from the starts of
// draws.
//
// The flow of the package: Input → path (one compact record with litres
// passed, still stretches, runs of flow) → model (T_out and its derivatives in
// one pass) → fit → spread (blocks of days, shared errors) → Fit.
//
// Conventions: seconds since any origin, litres, L/min, degC; heat into the
// water positive; NaN is "not covered"; a probe's error is reading minus truth.
package loop

import (
	"context"
	"fmt"
	"math"
	"sort"
	"yardheat/ingest/series/room"
)

// Input is one loop's record at nodes in time. Between nodes temperatures and
// flow run straight; jumps of flow stand at nodes.
type Input struct {
	// T are the nodes in seconds, ascending.
	T []float64
	// Flow0, Flow1: L/min just after node i and just before node i+1 (one
	// fewer than nodes). NaN = not covered.
	Flow0, Flow1 []float64
	// InC, OutC, BedC at the nodes.
	InC, OutC, BedC []float64
	// Draws, if known: start and end in seconds. Nil: found in the flow.
	Draws [][2]float64
	// DayZeroS is the second at which a local day begins (any one of them).
	DayZeroS float64
	// EdgeS: so long after flow starts a reading is still a mixture of still
	// and flowing water: the usual interval of a slow log, 0 for a fast one.
	EdgeS float64
	Pipe  Pipe
	// Branches side by side share the flow; 0 = 1.
	Branches int
	// LeadL: litres of pipe between the bed and the outlet probe.
	LeadL float64
	// Meter is where the litres were counted.
	Meter Meter
}

// Meter is the place of the flow meter, and so how dense the water was whose
// litres it counted: the same water has 0.3 to 1 % more of them in the bed.
type Meter int

// MeterMean: the flow is in litres at the mean temperature of the loop's water;
// MeterIn, MeterOut: as it comes in or goes out.
const (
	MeterMean Meter = iota
	MeterIn
	MeterOut
)

// FromCells makes an Input of values on a grid of equal cells: temperatures at
// mid-cell, flow as the mean over the cell. Nodes stand at mid-cell; the flow
// runs straight from one mid-cell to the next, which keeps the litres of every
// cell.
func FromCells(stepS float64, flowLMin, inC, outC, bedC []float64) Input {
	n := len(flowLMin)
	in := Input{T: make([]float64, n), InC: inC, OutC: outC, BedC: bedC}
	for i := range in.T {
		in.T[i] = (float64(i) + 0.5) * stepS
	}
	if n > 1 {
		in.Flow0, in.Flow1 = flowLMin[:n-1], flowLMin[1:]
	}
	return in
}

// FromEdges makes an Input of a grid whose temperatures are known at the edges
// of its cells (n+1 of them), where a log by the minute has its readings, and
// the bed's at mid-cell: nothing is blurred by interpolation. Flow is the mean
// over each cell.
func FromEdges(stepS float64, flowLMin, inEdgesC, outEdgesC, bedC []float64) Input {
	n := len(flowLMin)
	if n == 0 || len(bedC) != n {
		return Input{BedC: bedC} // for Run to refuse or to find empty
	}
	in := Input{T: room.Make[float64](n + 1), Flow0: flowLMin, Flow1: flowLMin, InC: inEdgesC, OutC: outEdgesC, BedC: room.Make[float64](n + 1)}
	for i := range in.T {
		in.T[i] = float64(i) * stepS
		a, b := bedC[max(i-1, 0)], bedC[min(i, n-1)]
		switch {
		case math.IsNaN(a):
			in.BedC[i] = b
		case math.IsNaN(b):
			in.BedC[i] = a
		default:
			in.BedC[i] = (a + b) / 2
		}
	}
	return in
}

func (in *Input) validate() error {
	n := len(in.T)
	want := max(n-1, 0)
	switch {
	case len(in.InC) != n || len(in.OutC) != n || len(in.BedC) != n:
		return fmt.Errorf("loop: %d nodes but %d inlet, %d outlet, %d bed temperatures", n, len(in.InC), len(in.OutC), len(in.BedC))
	case len(in.Flow0) != want || len(in.Flow1) != want:
		return fmt.Errorf("loop: %d nodes but %d and %d flows; want one fewer than nodes", n, len(in.Flow0), len(in.Flow1))
	case !(in.LeadL >= 0) || math.IsInf(in.LeadL, 0):
		return fmt.Errorf("loop: lead pipe of %g L", in.LeadL)
	case !(in.EdgeS >= 0):
		return fmt.Errorf("loop: edge of %g s", in.EdgeS)
	}
	for i := 1; i < n; i++ {
		if !(in.T[i] > in.T[i-1]) {
			return fmt.Errorf("loop: node %d at %g s does not follow %g s", i, in.T[i], in.T[i-1])
		}
	}
	return in.Pipe.validate()
}

// Options of the fit. Standard deviations are half-widths at 95 % over 1.96.
type Options struct {
	// Shared errors, one for the season: inlet, outlet, bed (K), flow
	// (relative). The volume's error comes from the pipe.
	InSDK, OutSDK, BedSDK, FlowSD float64
	// What the probes' errors have in common where they were compared with each
	// other: correlations, 0 where they were not.
	InOutCorr, InBedCorr, OutBedCorr float64
	// OffsetSDK is the prior of the bed offset.
	OffsetSDK float64
	// LagS of the outlet probe on first sight, LagSD its relative doubt (of
	// ln lag); InletLagS of the inlet probe.
	LagS, LagSD, InletLagS float64
	// StiffWall: the wall follows its water all the way, no film between.
	StiffWall bool
	// StillMean and StillSD are the prior of s, k in still over k in flowing
	// water, where no film is reckoned with (StiffWall) and at the start; s stays
	// within StillLow..1.
	StillMean, StillSD, StillLow float64
	// StillFilmWPerM2K is the film coefficient of still water and StillFilmSD
	// the standard deviation of its logarithm: the prior of s once UA is roughly
	// known.
	StillFilmWPerM2K, StillFilmSD float64
	// FrontShare and FrontShareSD: the front's width over the thermal volume.
	FrontShare, FrontShareSD float64
	// FrontSkewSD is how skewed a front may be that is taken as Gaussian: one
	// form for the season, so that no number of draws averages it away.
	FrontSkewSD float64
	// FrontFormSD: by what part of its step a front's response may otherwise be
	// off in each stretch as long as it is wide, one form for the season.
	FrontFormSD float64
	// DepletionSDK and BedLagSDH are the priors of depletion and bed lag (mean
	// 0).
	DepletionSDK, BedLagSDH float64
	// LeadWPerMK is the prior of the lead pipe's loss per metre, mean and
	// standard deviation alike.
	LeadWPerMK float64
	// Hold parameters at their first value: offset, depletion, bed lag and lead loss 0, ratio 1, front
	// FrontShare, still StillMean, lag LagS.
	HoldOffset, HoldRatio, HoldFront, HoldStill, HoldDepletion, HoldBedLag, HoldLead, HoldLag bool
	// FreeRatio lets ln r go even where no draw passes the loop's volume.
	FreeRatio bool
	// Huber: residuals beyond this many standard deviations count linearly.
	Huber float64
	// FloorK is the least standard deviation of a residual (resolution).
	FloorK float64
	// ThresholdShare of the 95th percentile and ThresholdLMin: flow above the
	// larger of both is a draw, if it lasts MinDrawS; pauses up to PauseS join.
	ThresholdShare, ThresholdLMin, MinDrawS, PauseS float64
	// BridgeS: a hole in the bed's record up to this is interpolated;
	// BridgedShare: at most this part of a parcel's stay may be.
	BridgeS, BridgedShare float64
	// SoakS: water that stood so long counts as soaked for the approach.
	SoakS float64
	// StillStepS: while water stands, nodes are thinned to this (0 = not).
	StillStepS float64
	// MinBlockDays is the least length of a block; FewestBlocks gives no
	// interval below it; WindowDays is the length of the windows of UA.
	MinBlockDays, FewestBlocks, WindowDays int
	// Confidence of the interval; IdentifiedWithin: both ends this near, and
	// still so if the model were off by MisfitK in each draw.
	Confidence, IdentifiedWithin, MisfitK float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are the project's: priors in words in the farm's report.
func DefaultOptions() Options {
	const z = 1.959964 // normal quantile at 97.5 %
	return Options{
		InSDK: 1 / z, OutSDK: 1 / z, BedSDK: 0.5 / z, FlowSD: 0.05 / z,
		OffsetSDK: 8 / z,
		LagS:      45, LagSD: 0.4, InletLagS: 45,
		StillMean: 0.92, StillSD: 0.06, StillLow: 0.6, StillFilmWPerM2K: stillFilmWPerM2K, StillFilmSD: 0.4,
		FrontShare: 0.02, FrontShareSD: 0.02, FrontSkewSD: frontSkewSD, FrontFormSD: frontFormSD, DepletionSDK: 0.7, BedLagSDH: 1, LeadWPerMK: 0.6,
		Huber: 1.345, FloorK: 0.03,
		ThresholdShare: 0.05, ThresholdLMin: 0.5, MinDrawS: 120, PauseS: 600,
		BridgeS: 7200, BridgedShare: 0.05, SoakS: 3600, StillStepS: 300,
		MinBlockDays: 3, FewestBlocks: 8, WindowDays: 14,
		Confidence: 0.95, IdentifiedWithin: 0.25, MisfitK: 0.1,
	}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	bounds := []struct {
		name      string
		v, lo, hi float64
	}{
		{"InSDK", o.InSDK, 0, 50}, {"OutSDK", o.OutSDK, 0, 50}, {"BedSDK", o.BedSDK, 0, 50}, {"FlowSD", o.FlowSD, 0, 1},
		{"OffsetSDK", o.OffsetSDK, 1e-6, 100}, {"DepletionSDK", o.DepletionSDK, 1e-6, 100}, {"BedLagSDH", o.BedLagSDH, 1e-6, 100}, {"LeadWPerMK", o.LeadWPerMK, 1e-6, 100}, {"LagS", o.LagS, 0, 3600}, {"LagSD", o.LagSD, 0, 3}, {"InletLagS", o.InletLagS, 0, 3600},
		{"StillLow", o.StillLow, 0.1, 1}, {"StillMean", o.StillMean, o.StillLow, 1}, {"StillSD", o.StillSD, 1e-6, 1},
		{"StillFilmWPerM2K", o.StillFilmWPerM2K, 1, 1e5}, {"StillFilmSD", o.StillFilmSD, 0, 3},
		{"FrontShare", o.FrontShare, 0, 0.2}, {"FrontShareSD", o.FrontShareSD, 1e-6, 1}, {"FrontSkewSD", o.FrontSkewSD, 0, 5}, {"FrontFormSD", o.FrontFormSD, 0, 1},
		{"Huber", o.Huber, 0.5, 100}, {"FloorK", o.FloorK, 1e-9, 5},
		{"ThresholdShare", o.ThresholdShare, 0, 0.5}, {"ThresholdLMin", o.ThresholdLMin, 0, 1000},
		{"MinDrawS", o.MinDrawS, 0, 3600}, {"PauseS", o.PauseS, 0, 7200}, {"BridgeS", o.BridgeS, 0, 86400},
		{"BridgedShare", o.BridgedShare, 0, 1}, {"SoakS", o.SoakS, 0, 86400}, {"StillStepS", o.StillStepS, 0, 3600},
		{"MinBlockDays", float64(o.MinBlockDays), 1, 60}, {"FewestBlocks", float64(o.FewestBlocks), 2, 60},
		{"WindowDays", float64(o.WindowDays), 1, 120}, {"Confidence", o.Confidence, 0.5, 0.999}, {"IdentifiedWithin", o.IdentifiedWithin, 0.01, 1}, {"MisfitK", o.MisfitK, 0.001, 5},
	}
	for _, b := range bounds {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("loop: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Between is the record of the nodes from fromS to toS (seconds), its draws
// those that lie wholly inside. The slices are shared.
func (in Input) Between(fromS, toS float64) Input {
	a := sort.SearchFloat64s(in.T, fromS)
	b := max(a, sort.SearchFloat64s(in.T, toS))
	out := in
	out.T, out.InC, out.OutC, out.BedC = in.T[a:b], in.InC[a:b], in.OutC[a:b], in.BedC[a:b]
	flows := max(a, b-1)
	out.Flow0, out.Flow1 = in.Flow0[min(a, len(in.Flow0)):min(flows, len(in.Flow0))], in.Flow1[min(a, len(in.Flow1)):min(flows, len(in.Flow1))]
	if in.Draws != nil {
		out.Draws = [][2]float64{}
		for _, d := range in.Draws {
			if d[0] >= fromS && d[1] <= toS {
				out.Draws = append(out.Draws, d)
			}
		}
	}
	return out
}
