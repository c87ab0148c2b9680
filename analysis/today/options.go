package today

import (
	"fmt"

	"yardheat/analysis/season"
)

// Options of the lines. All are listed in the JSON.
type Options struct {
	// WindowH is the stretch looked at; UsualDays the weeks before it that it is
	// held against; StaleH: logs that end so long before now are said first.
	WindowH, UsualDays, StaleH float64
	// GapDays just before the stretch are left out of what is usual, so that what
	// began to go wrong a few days ago does not soon pass for it; they count where
	// there would be too few values without them.
	GapDays float64
	// Share of the earlier values that the usual range holds.
	Share float64
	// Fewest earlier values and, of draws and cycles, values in the stretch, below
	// which nothing is compared.
	FewestDraws, FewestCycles, FewestStretches, FewestHours, FewestDays, FewestNow int
	// A value asks for a look if it lies outside the usual range by more than
	// BeyondShare of its width, and off the median by more than this: shares of it,
	// or K.
	BeyondShare                                                      float64
	LeastLoop, LeastUA, LeastPlate, LeastHeat, LeastBedK, LeastTankK float64
	// PassedVolumes of the loop's water (its wall takes part) must have been drawn
	// before what comes out has passed the whole pipe; InletBeyondK: see riseShare.
	PassedVolumes, InletBeyondK float64
	// Plate without water: a cycle with LittleShare of the usual litres or less
	// although the compressor used its usual part; RareShare: so few earlier cycles
	// were like that.
	LittleShare, RareShare float64
	// SilentTimes the usual interval, and at least ProbeSilentH (a probe, beside
	// its own log) or LogSilentH (a whole log, beside the others: they are exported
	// by hand, one after the other).
	SilentTimes, ProbeSilentH, LogSilentH float64
	// A probe looks faulty where so large a share of its readings in the stretch is
	// flagged as no reading of a probe, or as a flat line; of at least
	// FaultReadings.
	FaultShare, StuckShare float64
	FaultReadings          int
	// BedWithinH: the bed's and tank's last reading is "now" for so long.
	BedWithinH float64
	// A wash of less than SmallShare of the upper quartile's litres is a small one,
	// where HabitShare of all stretches of wash water are.
	SmallShare, HabitShare float64
	// Season holds the options of account, loop and cautions.
	Season season.Options
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{WindowH: 48, UsualDays: 35, GapDays: 7, StaleH: 48, Share: 0.9,
		FewestDraws: 20, FewestCycles: 20, FewestStretches: 8, FewestHours: 96, FewestDays: 10, FewestNow: 2,
		BeyondShare: 0.25, LeastLoop: 0.1, LeastUA: 0.15, LeastPlate: 0.15, LeastHeat: 0.25, LeastBedK: 3, LeastTankK: 8,
		PassedVolumes: 1.25, InletBeyondK: 3,
		LittleShare: 0.25, RareShare: 0.05,
		SilentTimes: 3, ProbeSilentH: 2, LogSilentH: 12, FaultShare: 0.2, StuckShare: 0.1, FaultReadings: 10,
		BedWithinH: 6, SmallShare: 0.5, HabitShare: 0.2, Season: season.DefaultOptions()}
}

// bound is one option with its limits.
type bound struct {
	Name      string
	V, lo, hi float64
}

// bounds lists the options of the lines themselves.
func (o Options) bounds() []bound {
	return []bound{
		{"window_h", o.WindowH, 24, 168}, {"usual_days", o.UsualDays, 7, 366}, {"gap_days", o.GapDays, 0, 60}, {"stale_h", o.StaleH, 1, 8784}, {"share", o.Share, 0.5, 0.99},
		{"fewest_draws", float64(o.FewestDraws), 5, 1e4}, {"fewest_cycles", float64(o.FewestCycles), 5, 1e4},
		{"fewest_stretches", float64(o.FewestStretches), 3, 1e3}, {"fewest_hours", float64(o.FewestHours), 5, 1e4},
		{"fewest_days", float64(o.FewestDays), 3, 366}, {"fewest_now", float64(o.FewestNow), 1, 100},
		{"beyond_share", o.BeyondShare, 0, 5}, {"least_loop", o.LeastLoop, 0, 1}, {"least_ua", o.LeastUA, 0, 1}, {"least_plate", o.LeastPlate, 0, 1}, {"least_heat", o.LeastHeat, 0, 1},
		{"least_bed_k", o.LeastBedK, 0, 30}, {"least_tank_k", o.LeastTankK, 0, 50},
		{"passed_volumes", o.PassedVolumes, 0.5, 3}, {"inlet_beyond_k", o.InletBeyondK, 0, 20},
		{"little_share", o.LittleShare, 0, 0.9}, {"rare_share", o.RareShare, 0, 0.5},
		{"silent_times", o.SilentTimes, 1, 100}, {"probe_silent_h", o.ProbeSilentH, 0, 168}, {"log_silent_h", o.LogSilentH, 0, 168},
		{"fault_share", o.FaultShare, 0, 1}, {"stuck_share", o.StuckShare, 0, 1}, {"fault_readings", float64(o.FaultReadings), 1, 1e6},
		{"bed_within_h", o.BedWithinH, 0.1, 48}, {"small_share", o.SmallShare, 0, 0.9}, {"habit_share", o.HabitShare, 0, 1},
	}
}

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	for _, b := range o.bounds() {
		if !(b.V >= b.lo && b.V <= b.hi) {
			return fmt.Errorf("today: option %s is %g; want %g to %g", b.Name, b.V, b.lo, b.hi)
		}
	}
	return o.Season.Validate()
}

// Setting is one option in force.
type Setting struct {
	Key   string
	Value float64
}

// Settings lists the options of the lines.
func (o Options) Settings() []Setting {
	var out []Setting
	for _, b := range o.bounds() {
		out = append(out, Setting{b.Name, b.V})
	}
	return out
}
