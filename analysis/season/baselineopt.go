package season

import (
	"fmt"

	"yardheat/analysis/baseline"
)

// BaselineOptions say which days a baseline is made of, and what is said of it.
type BaselineOptions struct {
	Fit baseline.Options
	// SettleDays after the recovery was switched off, and after it was switched on
	// again, count to neither side: the tank still holds the other side's heat.
	SettleDays int
	// A day whose cycles last less or more hours in all is not used.
	DayLeastH, DayMostH float64
	// WithinShare: a variable still counts as inside its range so far beyond its
	// ends, as a share of the range.
	WithinShare float64
	// WashK: washes of both sides that differ by more are pointed at.
	WashK float64
	// BootTrials of the bootstrap.
	BootTrials int
}

func baselineOptions() BaselineOptions {
	return BaselineOptions{Fit: baseline.DefaultOptions(), SettleDays: 1, DayLeastH: 20, DayMostH: 28, WithinShare: 0.05, WashK: 2, BootTrials: 2000}
}

func (o BaselineOptions) validate() error {
	switch {
	case o.SettleDays < 0 || o.SettleDays > 30:
		return fmt.Errorf("season: option Baseline.SettleDays is %d; want 0 to 30", o.SettleDays)
	case !(o.DayLeastH > 0 && o.DayLeastH <= 24):
		return fmt.Errorf("season: option Baseline.DayLeastH is %g; want more than 0, at most 24", o.DayLeastH)
	case !(o.DayMostH >= 24 && o.DayMostH <= 48):
		return fmt.Errorf("season: option Baseline.DayMostH is %g; want 24 to 48", o.DayMostH)
	case !(o.WithinShare >= 0 && o.WithinShare <= 1):
		return fmt.Errorf("season: option Baseline.WithinShare is %g; want 0 to 1", o.WithinShare)
	case !(o.WashK >= 0 && o.WashK <= 50):
		return fmt.Errorf("season: option Baseline.WashK is %g; want 0 to 50", o.WashK)
	case o.BootTrials < 100 || o.BootTrials > 100_000:
		return fmt.Errorf("season: option Baseline.BootTrials is %d; want 100 to 100000", o.BootTrials)
	}
	return o.Fit.Validate()
}

// Baseline is one thing that the electricity used can be held against. All that
// the record allows stand side by side; one is chosen.
type Baseline struct {
	Kind   string // "alternative", "recovery_off", "before"
	Chosen bool
	// Basis says in a sentence what it is; Why, if not empty, why it gives no number.
	Basis, Why string
	// Figures: baseline_kwh, used_kwh, avoided_kwh, normalised_kwh, money, co2_kg.
	Figures []Named
	// Fixed says under which conditions normalised_kwh holds.
	Fixed string
	Model *BaselineModel // nil: no model (the alternative), or Why
}

// BaselineModel is a day's electricity against what the farm did.
type BaselineModel struct {
	Terms []BaselineTerm
	// From, To are the stretch; Days of it are used, and Reported those reported on.
	From, To       int64
	Days, Reported int
	// RMSEKWh a day, CVRMSE, NMBE, R2 as shares; Lag1 and Rho (see package
	// baseline); NEffective = n(1 − ρ)/(1 + ρ).
	RMSEKWh, CVRMSE, NMBE, R2, Lag1, Rho, NEffective float64
	// Interval of baseline_kwh by the days alone, in three ways: exact, by blocks of
	// days drawn anew (BootWhy: not), and half-width by the short form.
	Low, High, BootLow, BootHigh float64
	BootWhy                      string
	QuickKWh                     float64
	// DayKWh: a single day at the mean conditions, and its own interval.
	DayKWh, DayLow, DayHigh float64
	Warnings                []string
}

// BaselineTerm is one coefficient: kWh a day for the constant, kWh per unit else.
type BaselineTerm struct {
	Variable, Label, Unit string
	// Coef with its 95 % interval and standard deviation.
	Coef, CoefLow, CoefHigh, SD float64
	// The variable's range in the baseline, a day, and what the days reported on
	// reached; Outside of them lie beyond. NaN for the constant.
	Low, Mean, High, ReportLow, ReportHigh float64
	Outside                                int
}

func bootOptions(b *builder) baseline.BootOptions {
	return baseline.BootOptions{Seed: b.opt.Doubt.Seed, Trials: b.opt.Baseline.BootTrials}
}
