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
	// SpikeBlindMaxIntervalS: in slower logs a pipe probe beside which no flow is
	// logged is not judged: a draw of twenty minutes is one reading there, far
	// from both neighbours.
	SpikeBlindMaxIntervalS float64
	// SpikeMost: so many readings in a row, at most, are a spike together, where
	// they lie further from the median of SpikeWindow readings about them than
	// SpikeMAD scaled median deviations (Hampel's identifier); except of a bed or
	// slab they last SpikeMostS at most.
	SpikeMost, SpikeWindow, SpikeMAD, SpikeMostS float64
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
	// WeakH, WeakMoveK, WeakShare: a probe that moved less than WeakShare of
	// what a probe like it moved, where that was at least WeakMoveK within WeakH
	// hours, has a weakened signal there; it is listed where that is the rule.
	WeakH, WeakMoveK, WeakShare float64
	// StampRatio: where a rate agrees so many times better with the counter
	// beside it under another place of its stamp, the stamp is in doubt.
	StampRatio float64
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
		SpikeWaterK: 5, SpikeBedK: 3, SpikeAirK: 5, SpikeBlindK: 10, SpikeBlindMaxIntervalS: 180,
		SpikeMost: 3, SpikeWindow: 15, SpikeMAD: 3, SpikeMostS: 300,
		SpikeWaterMaxIntervalS: 600, SpikeSlowMaxIntervalS: 3600,
		RateBedKPerH: 3, RateStepK: 3, EventQuietH: 24,
		StuckBedH: 72, StuckWaterH: 24, StuckAirH: 24, FineStepK: 0.1, StuckMostH: 336,
		MovedK: 1, PowerOnC: 85, PowerOnK: 5, PowerOnSlowK: 20,
		NoiseShare: 0.01, GapIntervals: 1.5, MaxFlowLMin: 500, RateMargin: 20,
		DisagreeK: 1, DisagreeShare: 0.10, SwapK: 2, FarDays: 365,
		WeakH: 12, WeakMoveK: 3, WeakShare: 0.05, StampRatio: 3,
	}
}

// Threshold is one of the options: its key in [flags], its value in some
// FlagOptions, and its bounds.
type Threshold struct {
	Key       string
	Value     *float64
	Low, High float64
}

// Thresholds lists the options by their keys in [flags].
func (o *FlagOptions) Thresholds() []Threshold {
	return []Threshold{
		{"spike_water_k", &o.SpikeWaterK, 0.1, 100}, {"spike_bed_k", &o.SpikeBedK, 0.1, 100}, {"spike_air_k", &o.SpikeAirK, 0.1, 100},
		{"spike_blind_k", &o.SpikeBlindK, 0.1, 100}, {"spike_blind_max_interval_s", &o.SpikeBlindMaxIntervalS, 0, 86400}, {"spike_most", &o.SpikeMost, 1, 7}, {"spike_window", &o.SpikeWindow, 5, 101},
		{"spike_mad", &o.SpikeMAD, 1, 100}, {"spike_most_s", &o.SpikeMostS, 0, 86400},
		{"spike_water_max_interval_s", &o.SpikeWaterMaxIntervalS, 0, 86400}, {"spike_slow_max_interval_s", &o.SpikeSlowMaxIntervalS, 0, 86400},
		{"rate_bed_k_per_h", &o.RateBedKPerH, 0.01, 1000}, {"rate_step_k", &o.RateStepK, 0.1, 100}, {"event_quiet_h", &o.EventQuietH, 0, 1000},
		{"stuck_bed_h", &o.StuckBedH, 1, 1e4}, {"stuck_water_h", &o.StuckWaterH, 1, 1e4}, {"stuck_air_h", &o.StuckAirH, 1, 1e4},
		{"fine_step_k", &o.FineStepK, 1e-3, 10}, {"stuck_most_h", &o.StuckMostH, 1, 1e4}, {"moved_k", &o.MovedK, 0.01, 100},
		{"power_on_c", &o.PowerOnC, 0, 200}, {"power_on_k", &o.PowerOnK, 0.1, 100}, {"power_on_slow_k", &o.PowerOnSlowK, 0.1, 100},
		{"noise_share", &o.NoiseShare, 0, 0.2}, {"gap_intervals", &o.GapIntervals, 1.01, 100}, {"max_flow_l_min", &o.MaxFlowLMin, 1, 1e5},
		{"rate_margin", &o.RateMargin, 1, 1e4}, {"disagree_k", &o.DisagreeK, 0.01, 100}, {"disagree_share", &o.DisagreeShare, 0.001, 1},
		{"weak_h", &o.WeakH, 1, 240}, {"weak_move_k", &o.WeakMoveK, 0.1, 100}, {"weak_share", &o.WeakShare, 0.001, 0.5},
		{"stamp_ratio", &o.StampRatio, 1, 100}, {"swap_k", &o.SwapK, 0.1, 50}, {"far_days", &o.FarDays, 1, 1e5},
	}
}

// Validate names the first threshold that is out of bounds.
func (o FlagOptions) Validate() error {
	for _, t := range o.Thresholds() {
		if !(*t.Value >= t.Low && *t.Value <= t.High) {
			return fmt.Errorf("flags: %s = %v: want %v to %v", t.Key, *t.Value, t.Low, t.High)
		}
	}
	return nil
}

// With puts the farm file's own thresholds, by key, in place of the defaults.
func (o FlagOptions) With(stated map[string]float64) FlagOptions {
	for _, t := range o.Thresholds() {
		if v, ok := stated[t.Key]; ok {
			*t.Value = v
		}
	}
	return o
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
