// Package reading says what one probe's cells mean once they are numbers in
// true UTC and base units: a running counter or an amount per reading, means
// over which interval, a state and how long it holds, and which readings are
// flagged and so not used. It knows no files; what it finds out of order it
// returns as counts and first places.
//
// Flow: Column (merged readings) → Series (kind, intervals, differences of
// counters) → Flag (sentinel, range, spike, rate, stuck).
package reading

import (
	"fmt"
	"math"

	"yardheat/ingest/series"
)

// FlagOptions are the thresholds by which readings are flagged and doubts
// raised. Temperatures differences in K, times in the unit that the name says.
//
// Sources: QARTOD manuals for temperature (spike 5/10 K for streams, flat
// line by tolerance), soil networks (3 K between readings), as gathered in the
// project's notes on published tests; the rest common practice, no source.
type FlagOptions struct {
	// SpikeWaterK, SpikeBedK, SpikeAirK: a single reading further than this
	// from both neighbours, which agree with each other.
	SpikeWaterK, SpikeBedK, SpikeAirK float64
	// SpikeBlindK is used for pipe probes beside which no flow is logged.
	SpikeBlindK float64
	// SpikeWaterMaxIntervalS, SpikeSlowMaxIntervalS: in slower logs a water or
	// air (a bed or slab) temperature may honestly go and return between
	// readings.
	SpikeWaterMaxIntervalS, SpikeSlowMaxIntervalS float64
	// RateBedKPerH and RateStepK: a bed reading further than RateStepK plus
	// RateBedKPerH times the hours since the last good one is flagged.
	RateBedKPerH, RateStepK float64
	// EventQuietH: around an event of the bed (turned, bedded, cleared) the
	// rate is not judged.
	EventQuietH float64
	// StuckBedH, StuckWaterH, StuckAirH: equal readings for longer, while
	// something beside them moves; for a resolution of FineStepK. Coarser
	// probes are given proportionally longer, at most StuckMostH.
	StuckBedH, StuckWaterH, StuckAirH, FineStepK, StuckMostH float64
	// MovedK is how far a neighbour must have moved meanwhile.
	MovedK float64
	// PowerOnC is the value that a common sensor chip shows before its first
	// conversion; it is flagged where both neighbours are further than
	// PowerOnK (PowerOnSlowK in logs slower than SpikeWaterMaxIntervalS).
	PowerOnC, PowerOnK, PowerOnSlowK float64
	// NoiseShare: negative flow or power within this share of the 95th
	// percentile is noise about zero and read as 0.
	NoiseShare float64
	// GapIntervals: a step longer than so many usual intervals is a gap.
	GapIntervals float64
	// MaxFlowLMin caps what a meter can honestly count.
	MaxFlowLMin float64
	// RateMargin: a counter's step faster than so many times its 99th
	// percentile is not believed.
	RateMargin float64
	// DisagreeK, DisagreeShare: two probes of one place further apart on
	// average are listed.
	DisagreeK, DisagreeShare float64
	// SwapK: an outlet colder than its inlet by this, while water flows, looks
	// swapped.
	SwapK float64
	// FarDays: a few rows parted from all others by longer than this carry a
	// stamp of a clock that was not set.
	FarDays float64
}

// DefaultFlagOptions gives the starting thresholds.
func DefaultFlagOptions() FlagOptions {
	return FlagOptions{
		SpikeWaterK: 5, SpikeBedK: 3, SpikeAirK: 5, SpikeBlindK: 10,
		SpikeWaterMaxIntervalS: 600, SpikeSlowMaxIntervalS: 3600,
		RateBedKPerH: 3, RateStepK: 3, EventQuietH: 24,
		StuckBedH: 72, StuckWaterH: 24, StuckAirH: 24, FineStepK: 0.1, StuckMostH: 336,
		MovedK: 1, PowerOnC: 85, PowerOnK: 5, PowerOnSlowK: 20,
		NoiseShare: 0.01, GapIntervals: 1.5, MaxFlowLMin: 500, RateMargin: 20,
		DisagreeK: 1, DisagreeShare: 0.10, SwapK: 2, FarDays: 365,
	}
}

// Validate names the first threshold that is out of bounds.
func (o FlagOptions) Validate() error {
	for _, f := range []struct {
		name      string
		v         float64
		low, high float64
	}{
		{"SpikeWaterK", o.SpikeWaterK, 0.1, 100}, {"SpikeBedK", o.SpikeBedK, 0.1, 100}, {"SpikeAirK", o.SpikeAirK, 0.1, 100},
		{"SpikeBlindK", o.SpikeBlindK, 0.1, 100}, {"SpikeWaterMaxIntervalS", o.SpikeWaterMaxIntervalS, 0, 86400},
		{"SpikeSlowMaxIntervalS", o.SpikeSlowMaxIntervalS, 0, 86400}, {"RateBedKPerH", o.RateBedKPerH, 0.01, 1000},
		{"RateStepK", o.RateStepK, 0.1, 100}, {"EventQuietH", o.EventQuietH, 0, 1000}, {"StuckBedH", o.StuckBedH, 1, 1e4},
		{"StuckWaterH", o.StuckWaterH, 1, 1e4}, {"StuckAirH", o.StuckAirH, 1, 1e4}, {"FineStepK", o.FineStepK, 1e-3, 10},
		{"StuckMostH", o.StuckMostH, 1, 1e4}, {"MovedK", o.MovedK, 0.01, 100}, {"PowerOnC", o.PowerOnC, 0, 200},
		{"PowerOnK", o.PowerOnK, 0.1, 100}, {"PowerOnSlowK", o.PowerOnSlowK, 0.1, 100}, {"NoiseShare", o.NoiseShare, 0, 0.2},
		{"GapIntervals", o.GapIntervals, 1.01, 100}, {"MaxFlowLMin", o.MaxFlowLMin, 1, 1e5}, {"RateMargin", o.RateMargin, 1, 1e4},
		{"DisagreeK", o.DisagreeK, 0.01, 100}, {"DisagreeShare", o.DisagreeShare, 0.001, 1}, {"SwapK", o.SwapK, 0.1, 50},
		{"FarDays", o.FarDays, 1, 1e5},
	} {
		if !(f.v >= f.low && f.v <= f.high) {
			return fmt.Errorf("flags: %s = %v: want %v to %v", f.name, f.v, f.low, f.high)
		}
	}
	return nil
}

// Limits are the thresholds for one quantity: defaults by what it is, unless
// the farm file states its own. NaN = not tested.
type Limits struct {
	Low, High, SpikeK, RateKPerH, StuckH float64
	// SpikeStated: the farm's own spike limit; the interval is then not asked.
	SpikeStated bool
}

// LimitsFor gives the default limits of a quantity.
func (o FlagOptions) LimitsFor(q series.Quantity) Limits {
	info, _ := series.Lookup(q)
	nan := math.NaN()
	l := Limits{Low: info.Low, High: info.High, SpikeK: nan, RateKPerH: nan, StuckH: nan}
	if info.Class != series.Temperature {
		return l
	}
	switch q {
	case "tank_setpoint", "element_setpoint":
	case "bed_temp":
		l.SpikeK, l.RateKPerH, l.StuckH = o.SpikeBedK, o.RateBedKPerH, o.StuckBedH
	case "slab_temp":
		l.SpikeK, l.StuckH = o.SpikeBedK, o.StuckBedH
	case "air_temp", "outdoor_temp":
		l.SpikeK, l.StuckH = o.SpikeAirK, o.StuckAirH
	case "milk_in_temp", "milk_out_temp":
		l.SpikeK = o.SpikeWaterK
	default:
		l.SpikeK, l.StuckH = o.SpikeWaterK, o.StuckWaterH
	}
	return l
}

// With puts the farm file's own thresholds in place of the defaults; NaN
// leaves the default.
func (l Limits) With(low, high, spike, rate, stuckH float64) Limits {
	set := func(p *float64, v float64) bool {
		if !math.IsNaN(v) {
			*p = v
			return true
		}
		return false
	}
	set(&l.Low, low)
	set(&l.High, high)
	l.SpikeStated = set(&l.SpikeK, spike)
	set(&l.RateKPerH, rate)
	set(&l.StuckH, stuckH)
	return l
}
