// Package change looks for the days on which a quantity changed: from a series
// of (time, value) by draw, by cycle or by week to dates, with the size of each
// step and 95 % intervals of size and date. It knows no farm and no unit.
//
// The values are taken as
//
//	v_i = level + drift t_i + Σ_j δ_j [t_i ≥ τ_j] + β·x_i + e_i,
//
// x_i what moves the value without anything having changed (how warm the bed
// is, how much was drawn), and e_i related noise: a part that is each value's
// own, and one that fades over φ days (Ornstein and Uhlenbeck),
//
//	cov(e_i, e_k) = σ² ((1 − λ) r_i [i = k] + λ exp(−|t_i − t_k|/φ)),
//
// r_i the relative variance known beforehand. φ reaches from less than a day to
// longer than a season, where the noise is a slow wandering: what drifts is
// thus told from what steps, by the likelihood and not by a rule. Both
// likelihoods, with and without the step, are those of the contrasts that
// level, drift and β leave (restricted likelihood), so that they can be
// compared.
//
// A step is named if twice the gain in log-likelihood exceeds a penalty, the
// bound that noise alone passes at one date in few seasons (see penalty), if
// steady series drawn from the noise as it would be without the step gain as
// much no more often (see chance), if its interval leaves out zero, and if it is
// large enough to matter (Options.Least). More steps are sought with
// the former ones in place, their dates then found anew, each beside the
// others; two that only show together (there and back) count together.
//
// Dates and sizes have posterior intervals, flat priors over the date, the
// size, and a grid of (λ, φ): the doubt about the noise is thus in them. The
// interval of a date reaches from the beginning of one value to the end of
// another: the step may have come while either was taken.
//
// Sources, from memory: the likelihood of a shift at an unknown date, Quandt
// 1958 and Hawkins 1977; level shifts beside wandering levels, Harvey 1989;
// contrasts, Patterson and Thompson 1971.
package change

import (
	"context"
	"fmt"
	"math"
)

// Series is one quantity by draw, cycle or week.
type Series struct {
	// Day is the time of each value in days since any origin, ascending.
	Day []float64
	// End, if not nil, is the end of the time that each value tells of, which
	// begins at Day.
	End []float64
	// Value, in any unit, its logarithm where steps are factors. NaN is left out.
	Value []float64
	// SD is what is known beforehand of each value's own scatter, in the unit of
	// Value; nil: all alike.
	SD []float64
	// Beside is what moves the values although nothing has changed, one column
	// each with a number a value; a number that is not known (NaN) counts as the
	// column's median.
	Beside [][]float64
}

func (s Series) validate() error {
	n := len(s.Day)
	if len(s.Value) != n || s.SD != nil && len(s.SD) != n || s.End != nil && len(s.End) != n {
		return fmt.Errorf("change: %d times but %d values, %d deviations and %d ends", n, len(s.Value), len(s.SD), len(s.End))
	}
	for i, x := range s.Beside {
		if len(x) != n {
			return fmt.Errorf("change: column %d beside has %d numbers; want %d", i, len(x), n)
		}
	}
	for i := 1; i < n; i++ {
		if !(s.Day[i] >= s.Day[i-1]) {
			return fmt.Errorf("change: value %d at day %g does not follow day %g", i, s.Day[i], s.Day[i-1])
		}
	}
	return nil
}

// Options of Find.
type Options struct {
	// FalseAlarms: in how many of all steady series a change may be named.
	FalseAlarms float64
	// Least is the smallest step worth naming, in the unit of the values.
	Least float64
	// SideValues and SideDays: each side of a change holds at least so much.
	SideValues int
	SideDays   float64
	// Most changes named.
	Most int
	// NoDrift: no straight drift beside the steps.
	NoDrift bool
	// Draws of steady series that a gain is held against, and their seed.
	Draws int
	Seed  uint64
	// OutlierSD: a value so many standard deviations from its neighbours'
	// median counts for as much less as it is further off.
	OutlierSD float64
	// FloorSD is the least scatter of a value, in its unit: resolution, and what
	// no column beside explains.
	FloorSD float64
	// Confidence of the intervals.
	Confidence float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are for one series by itself; Least and FloorSD depend on the
// quantity.
func DefaultOptions() Options {
	return Options{FalseAlarms: 0.05, SideValues: 8, SideDays: 5, Most: 4, OutlierSD: 4, Draws: 400, Seed: 1, Confidence: 0.95}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"FalseAlarms", o.FalseAlarms, 1e-6, 0.5}, {"Least", o.Least, 0, math.MaxFloat64}, {"SideValues", float64(o.SideValues), 3, 1000},
		{"Draws", float64(o.Draws), 100, 1e6}, {"SideDays", o.SideDays, 0, 365}, {"Most", float64(o.Most), 0, 20}, {"OutlierSD", o.OutlierSD, 2, 1000},
		{"FloorSD", o.FloorSD, 0, math.MaxFloat64}, {"Confidence", o.Confidence, 0.5, 0.999},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("change: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Estimate is a number with its interval.
type Estimate struct{ Value, Low, High float64 }

// Change is one step.
type Change struct {
	// Day is the middle of the gap in which the step most likely fell.
	Day Estimate
	// Size is after less before.
	Size Estimate
	// Before and After are the levels on both sides, to the next changes, the
	// columns beside at their means.
	Before, After Estimate
	// Gain is twice the gain in log-likelihood, Penalty what it had to exceed.
	Gain, Penalty float64
	// Chance is how often a steady series would gain as much.
	Chance float64
	// N values before and after, to the next changes.
	NBefore, NAfter int
}

// Result of Find.
type Result struct {
	Changes []Change
	// Values used.
	Values int
	// Why nothing could be looked for; "" where it could.
	Why string
}

// Find looks for changes. An error means that series or options are malformed.
func Find(s Series, o Options) (Result, error) {
	if err := o.Validate(); err != nil {
		return Result{}, err
	}
	if err := s.validate(); err != nil {
		return Result{}, err
	}
	f := newFinder(s, o)
	res := Result{Values: len(f.t)}
	if len(f.t) < 2*o.SideValues || f.last(0)-f.first(0) < 0 {
		res.Why = fmt.Sprintf("%d values; a change needs %d on each side, over %g days", len(f.t), o.SideValues, o.SideDays)
		return res, nil
	}
	f.search()
	res.Changes = f.changes()
	return res, nil
}
