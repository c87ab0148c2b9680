// Package store fits a buried loop whose bed holds a store: a slab about the
// pipe that takes far more heat than the water and is refilled by the bed,
//
//	C   dT/dt   = UA_1 (T_s - T)
//	C_s dT_s/dt = UA_2 (T_b + b - T_s) - UA_1 (T_s - T)
//
// everywhere along the pipe; water T moves as a plug, the slab T_s stays put.
// UA_1 is the water's side (comparable with UA of the uniform bed), UA_2 the
// supply from bed to slab, C_s the slab's heat capacity, each for the whole
// pipe. In lasting flow both act in series.
//
// It reads the record and the rows of a fit of the uniform bed (package loop),
// fits the store to the same rows, and says which of the two foretells draws
// left out better.
//
// The flow of the package: loop.Fit → feed (what drives the cells) → march
// (cells along the pipe) → view (outlet readings) → fit → spread → choice.
//
// Conventions as in loop: seconds, litres, degC, heat into the water positive,
// NaN is "not covered". Rates are kept over the water's heat capacity C: k =
// UA_1/C and supply UA_2/C in 1/h, slab = C_s/C a bare number; only they show
// in temperatures.
package store

import (
	"context"
	"fmt"

	"yardheat/analysis/loop"
)

// Options of the store's fit; the rest is loop.Options.
type Options struct {
	// Cells along the pipe in the fit; the search for a start takes a third.
	Cells int
	// WarmUpH: a segment's first hours, run beforehand to find the state that the
	// slab begins with, and fitted by nothing.
	WarmUpH float64
	// FlushLags: a run's first readings are left out for so many time constants of
	// the probe after the lead pipe has passed: what stood there may be 20 K
	// colder, and a slab shows in hundredths.
	FlushLags float64
	// FrontMiss: by what part of a front's step the cells may be wrong beside it.
	FrontMiss float64
	// SlabOffsetSDK is the prior of the slab probe's place and error.
	SlabOffsetSDK float64
	// StartSDK is the prior of how the slab began.
	StartSDK float64
	// Folds of whole blocks, left out in turn.
	Folds int
	// StandardErrors: the store is chosen when it foretells the draws left out
	// better by more than so many standard errors of the difference, and
	// LeastGain: lowers their squared error by at least this part.
	StandardErrors, LeastGain float64
	// GiveUp: a first fit with few cells whose misfit is so many times that of the
	// uniform bed is not followed up.
	GiveUp float64
	// SuppliedWithin: a coefficient is a figure when both ends of its interval are
	// within this factor of it; else the misfit's profile must close it on both
	// sides, or it is a bound.
	SuppliedWithin float64
	// Skip leaves the store out.
	Skip bool
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are the project's (our choice, no source, but for the rule of
// one standard error: Breiman et al., "Classification and Regression Trees",
// 1984, section 3.4.3, from memory).
func DefaultOptions() Options {
	return Options{Cells: 48, WarmUpH: 36, FlushLags: 6, FrontMiss: 0.1, SlabOffsetSDK: 1, StartSDK: 3, Folds: 10, StandardErrors: 1, LeastGain: 0.1, GiveUp: 1.25, SuppliedWithin: 1.5}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"Cells", float64(o.Cells), 12, 400}, {"WarmUpH", o.WarmUpH, 0, 240}, {"FlushLags", o.FlushLags, 0, 30}, {"FrontMiss", o.FrontMiss, 0, 1}, {"SlabOffsetSDK", o.SlabOffsetSDK, 1e-6, 50},
		{"StartSDK", o.StartSDK, 1e-6, 50}, {"Folds", float64(o.Folds), 2, 50}, {"StandardErrors", o.StandardErrors, 0, 10}, {"LeastGain", o.LeastGain, 0, 1}, {"GiveUp", o.GiveUp, 1, 1e6}, {"SuppliedWithin", o.SuppliedWithin, 1.01, 10},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("store: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Params are the store's parameters.
type Params struct {
	// KPerH = UA_1/C in flow, SupplyPerH = UA_2/C, SlabRatio = C_s/C.
	KPerH, SupplyPerH, SlabRatio float64
	OffsetK                      float64
	VolumeRatio                  float64
	// Still: UA_1 in still over that in flowing water.
	Still float64
	// LeadLoss as in loop.Params.
	LeadLoss float64
	// SlabOffsetK: slab probe minus the slab's mean.
	SlabOffsetK float64
	// StartK: the slab at the record's start above what its first hours say; 0
	// where it recovers too fast for that to show.
	StartK float64
}

// Coefficient is one of the three of a bed with a store, in W/K or kJ/K.
type Coefficient struct {
	Value, Low, High float64
	// LowerBound, UpperBound: one-sided ends (95 %) from the misfit's profile
	// where the draws give no interval that is a figure; else NaN.
	LowerBound, UpperBound float64
	// Told: Value and interval stand.
	Told bool
	// Why not, in words.
	Why string
	// RandomSD of its logarithm, from days.
	RandomSD float64
	// DaysSD is the part of it that differs from day to day or from place to
	// place in a draw: what two stretches of one record differ by. The rest, what
	// the model may miss alike in every draw, both have.
	DaysSD float64
	grad   []float64 // of its logarithm by Theta
	direct float64   // by the pipe's volume, beside what the fit does
}

// Ln is the derivative of ln Value by a shared error of the fit's Sources.
func (c *Coefficient) Ln(s loop.Source) float64 {
	v := 0.0
	for i := range c.grad {
		v += c.grad[i] * s.Theta[i]
	}
	if s.Name == loop.SourceVolume {
		v += c.direct
	}
	return v
}

// Fit is the store's.
type Fit struct {
	// Loop is the fit in the uniform fit's words (UA_1 for UA), to be used in
	// its place where Chosen: draws, windows, offset, ratio, sources.
	Loop *loop.Fit
	Params
	Supply, Slab, Steady Coefficient
	Choice
	// SlabRows: readings of the slab's probe that were fitted.
	SlabRows int

	// the fitter, for a Predictor.
	f *fitter
}

// Choice is what draws left out say.
type Choice struct {
	// Chosen: the bed has a store that these draws show.
	Chosen bool
	// Why not, in words.
	Why string
	// UniformK, StoreK: root mean square error of foretold readings, K (robust
	// loss). Gain: mean over blocks of the fall in squared error, over the
	// uniform's; GainSE its standard error.
	UniformK, StoreK, Gain, GainSE float64
	// Blocks compared.
	Blocks int
}

// theta indices.
const (
	pK = iota
	pSupply
	pSlab
	pOffset
	pRatio
	pStill
	pLead
	pSlabOffset
	pStart
	params
	// not fitted, for the shared errors: inlet, lag.
	cIn     = iota - 1
	cLag    = iota - 1
	columns = iota - 1
)

// names of the parameters; those that loop has too bear its names.
var names = [params]string{"ln_k", "ln_supply", "ln_slab", "offset", "ln_r", "still", "lead_loss", "slab_offset", "start"}
