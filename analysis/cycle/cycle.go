// Package cycle cuts a season into what happened on the farm: draws (refills
// through the loop), washes, milkings, and the cycles from one milking's start
// to the next that the account is kept by.
//
// It stands on grid and is used by account, plant and season. Everything here
// is a label over the same litres: what belongs to no draw and no wash still
// counts in the account.
//
// Conventions: cells of the grid as half-open spans [A, B); times Unix ms UTC;
// NaN is "not known". A cycle belongs to the local day in which it starts.
package cycle

import (
	"fmt"
	"math"
	"time"

	"yardheat/analysis/grid"
	"yardheat/ingest"
)

// Options are the thresholds of labels. All are printed in the report.
type Options struct {
	// A draw is flow above the larger of ThresholdShare of its 95th percentile
	// and ThresholdLMin for MinDrawS; pauses up to PauseS are joined.
	ThresholdShare, ThresholdLMin, MinDrawS, PauseS float64
	// Without a flow meter: how draws show in the loop's probes.
	Probes ProbeOptions
	// Washes are told apart by WashApartS without flow; less than WashLeastL is
	// no wash. Only those whose water passed JudgedC are judged.
	WashApartS, WashLeastL, JudgedC float64
	// Without a wash meter: the hot tank's fall over FallWithinS before and
	// around a refill that makes it a wash, K.
	FallK, FallWithinS float64
	// EarlyFallK: so much more than before must the tank fall within a quarter of
	// an hour to tell of water drawn before a wash.
	EarlyFallK float64
	// EarlyEveryS: in slower logs that is not looked for.
	EarlyEveryS float64
	// HiddenFallK: so far must the tank fall to tell of a draw that no pipe probe
	// could show.
	HiddenFallK float64
	// Why a wash is cool: the tank's mean over TankBeforeS before it, the
	// element's run since the wash before (at most HeatWithinS), which is short
	// below ShortShare of what washes that were hot enough had.
	TankBeforeS, HeatWithinS, ShortShare float64
	// Milkings found in the logs: pauses up to MilkingPauseS joined; shorter
	// than ShortestMilkingS or longer than LongestMilkingS is none.
	MilkingPauseS, ShortestMilkingS, LongestMilkingS float64
	// MilkRiseK: a milk probe swings at least so far between still and milking.
	MilkRiseK float64
	// LongestCycleS: a longer stretch from one milking's start to the next is
	// cut into days.
	LongestCycleS float64
	// CoveredShare of the time that each channel of an expression must cover in
	// an account cycle.
	CoveredShare float64
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{
		ThresholdShare: 0.05, ThresholdLMin: 0.5, MinDrawS: 120, PauseS: 600,
		Probes:     DefaultProbeOptions(),
		WashApartS: 300, WashLeastL: 5, JudgedC: 50,
		FallK: 2, FallWithinS: 1800, HiddenFallK: 5, EarlyFallK: 0.3, EarlyEveryS: 300,
		TankBeforeS: 900, HeatWithinS: 24 * 3600, ShortShare: 0.8,
		MilkingPauseS: 1800, ShortestMilkingS: 900, LongestMilkingS: 6 * 3600, MilkRiseK: 8,
		LongestCycleS: 36 * 3600, CoveredShare: 0.95,
	}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	if err := o.Probes.validate(); err != nil {
		return err
	}
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"ThresholdShare", o.ThresholdShare, 0, 0.5}, {"ThresholdLMin", o.ThresholdLMin, 0, 1000},
		{"MinDrawS", o.MinDrawS, 0, 3600}, {"PauseS", o.PauseS, 0, 7200},
		{"WashApartS", o.WashApartS, 0, 7200}, {"WashLeastL", o.WashLeastL, 0, 1000}, {"JudgedC", o.JudgedC, 0, 100},
		{"FallK", o.FallK, 0.1, 50}, {"EarlyEveryS", o.EarlyEveryS, 60, 3600}, {"EarlyFallK", o.EarlyFallK, 0.05, 20}, {"HiddenFallK", o.HiddenFallK, 1, 50}, {"FallWithinS", o.FallWithinS, 60, 14400},
		{"TankBeforeS", o.TankBeforeS, 60, 7200}, {"HeatWithinS", o.HeatWithinS, 600, 7 * 86400}, {"ShortShare", o.ShortShare, 0.1, 1},
		{"MilkingPauseS", o.MilkingPauseS, 0, 7200}, {"ShortestMilkingS", o.ShortestMilkingS, 0, 14400},
		{"LongestMilkingS", o.LongestMilkingS, o.ShortestMilkingS, 86400}, {"MilkRiseK", o.MilkRiseK, 1, 40},
		{"LongestCycleS", o.LongestCycleS, 3600, 14 * 86400}, {"CoveredShare", o.CoveredShare, 0.5, 1},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("cycle: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Cycle is one row of the account: from one milking's start to the next, or a
// local day.
type Cycle struct {
	Start, End int64
	// A, B: the cells [A, B).
	A, B int
	// Milking is its index in the milkings; -1 for a day or the stretch before
	// the first.
	Milking int
	// Whole: both ends inside the period. Only whole cycles enter ratios.
	Whole bool
}

// Hours of the cycle.
func (c Cycle) Hours() float64 { return float64(c.End-c.Start) / 3.6e6 }

// Month is the local month in which the cycle starts, "2026-02".
func (c Cycle) Month(zone *time.Location) string {
	return time.UnixMilli(c.Start).In(zone).Format("2006-01")
}

// Cycles cut [fromMS, toMS) into cycles without a gap: one from each milking's
// start to the next, the stretches at both ends of the period (not whole), and
// local days where no milking starts for longer than LongestCycleS or there are
// none at all. milkings ascend by Start.
func Cycles(g *grid.Grid, milkings []ingest.Milking, fromMS, toMS int64, zone *time.Location, opt Options) []Cycle {
	cutter := cutter{g: g, zone: zone, longMS: int64(opt.LongestCycleS * 1000)}
	if len(milkings) == 0 {
		cutter.longMS = 0
	}
	at, milking := fromMS, -1
	for i, m := range milkings {
		switch {
		case m.Start < fromMS || m.Start >= toMS || milking >= 0 && m.Start <= at:
		case m.Start == fromMS:
			milking = i
		default:
			cutter.stretch(at, m.Start, milking, true)
			at, milking = m.Start, i
		}
	}
	cutter.stretch(at, toMS, milking, false)
	return cutter.out
}

type cutter struct {
	g      *grid.Grid
	zone   *time.Location
	longMS int64
	out    []Cycle
}

func (c *cutter) add(from, to int64, milking int, whole bool) {
	if from < to {
		c.out = append(c.out, Cycle{from, to, c.g.Cell(from), c.g.Cell(to), milking, whole})
	}
}

// stretch adds what lies between two milkings' starts (or the period's ends):
// one cycle, or days where it is too long for one. endSeen: it ends with a
// milking.
func (c *cutter) stretch(from, to int64, milking int, endSeen bool) {
	startSeen := milking >= 0
	if to-from <= c.longMS {
		c.add(from, to, milking, startSeen && endSeen)
		return
	}
	days := grid.Days(from, to, c.zone)
	for i := 0; i+1 < len(days); i++ {
		a, b := max(from, days[i]), min(to, days[i+1])
		whole := (a == days[i] || startSeen) && (b == days[i+1] || endSeen)
		c.add(a, b, milking, whole)
		milking = -1
	}
}

// Span is a stretch of cells [A, B).
type Span struct{ A, B int }

// Spans are the stretches with on(value) true; those less than or equal to
// join cells apart are one. Cells that are not covered are off.
func Spans(values []float64, join int, on func(v float64) bool) []Span {
	var out []Span
	for i, v := range values {
		if v != v || !on(v) {
			continue
		}
		if n := len(out); n > 0 && i-out[n-1].B <= join {
			out[n-1].B = i + 1
		} else {
			out = append(out, Span{i, i + 1})
		}
	}
	return out
}

// integral is the sum of the covered cells times the factor.
func integral(values []float64, s Span, factor float64) float64 {
	sum := 0.0
	for _, v := range values[s.A:s.B] {
		if v == v {
			sum += v
		}
	}
	return sum * factor
}

// mean of the covered cells of [a, b); NaN where there is none.
func mean(values []float64, a, b int) float64 {
	sum, n := 0.0, 0
	for i := max(a, 0); i < min(b, len(values)); i++ {
		if v := values[i]; v == v {
			sum += v
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}
