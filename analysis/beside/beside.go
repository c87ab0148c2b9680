// Package beside sets two periods of a farm, or two farms, next to each other: by
// what their figures differ, with an interval, and what else differed. It knows
// nothing of causes and names none.
//
//	c, err := beside.Compare(first, second, beside.DefaultOptions())
//
// A difference is second less first. Totals are taken a day, by the estimate for the
// whole period, which is what was seen where all was, and else has the doubt about the
// time that nobody saw in its interval. Its
// error is made of the sources of both seasons (season.Season.Doubts):
//
//	D = x₂ − x₁,  δD = Σ_i (g₂ᵢ − g₁ᵢ) eᵢ + Σ_j g₂ⱼ e₂ⱼ − Σ_j g₁ⱼ e₁ⱼ
//
// with g what one standard uncertainty of an error moves a figure by, with sign, i
// the errors that both have in common and j all others, each drawn by its own
// distribution in trials (JCGM 101:2008, 7; the linear form is JCGM 100:2008, 5.1
// and 5.2, equations 10, 13 and 16). Of the same farm the error of an instrument,
// or of a figure of farm.toml, is one and the same in both periods, so that most of
// it cancels; a part of each instrument's (Options.Drift) is taken to have drifted in
// between. What a season finds of itself (a
// clock's offset, a probe's time constant) may be the same or not: the wider of the
// two counts. What scatters from day to day is independent, and between two farms
// everything is. What a season's own interval has beyond its linear budget stands as
// one more independent error. A coefficient of the loop is taken by its logarithm.
//
// A metered total is a census of its days: the interval says how well the difference
// of what happened is known, not what another week would have brought.
package beside

import (
	"errors"
	"fmt"
	"math"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
)

// Options of Compare.
type Options struct {
	// SameFarm: both are periods of one farm, with the same instruments.
	SameFarm bool
	// Drift: in each period a part of so much of an instrument's standard uncertainty
	// is new, the rest being the same in both: e = √(1 − Drift²) e₀ + Drift e′. An
	// assumption (common practice, no source): no record tells how a probe ages.
	Drift float64
	// Doubt are those of the trials.
	Doubt doubt.Options
	// LeastShare of a period's time that a total must have been seen for.
	LeastShare float64
}

// DefaultOptions are what the command uses.
func DefaultOptions() Options {
	return Options{Drift: 0.1, Doubt: doubt.DefaultOptions(), LeastShare: 0.5}
}

// Validate names the first option that cannot be used.
func (o Options) Validate() error {
	if !(o.Drift >= 0 && o.Drift <= 1) {
		return fmt.Errorf("beside: Drift is %v; want 0 to 1", o.Drift)
	}
	if !(o.LeastShare >= 0 && o.LeastShare <= 1) {
		return fmt.Errorf("beside: LeastShare is %v; want 0 to 1", o.LeastShare)
	}
	return o.Doubt.Validate()
}

// ErrOverlap: the periods share time, and so readings: what happened in both
// cannot differ.
var ErrOverlap = errors.New("the two periods overlap")

// ErrSameFiles: two folders hold the same log.
var ErrSameFiles = errors.New("both folders hold the same log, and their periods overlap")

// Row is one figure of both, and what it differs by.
type Row struct {
	Key, Label string
	// First, Second: as reported, a total a day.
	First, Second doubt.Figure
	// Difference is second less first; Ratio second over first, without a unit,
	// where zero means none of it and both are distinctly above.
	Difference, Ratio doubt.Figure
	// Verdict: one of the constants below.
	Verdict string
	// Parts are whose error makes how much of the difference's variance, the
	// largest first, Share under 1 % left out.
	Parts []Part
}

// Part is one error's share.
type Part struct {
	Source string
	Share  float64
}

// The verdicts. Apart: the interval of the difference leaves zero out.
const (
	Apart    = "told apart"
	NotApart = "not told apart"
	NotKnown = "not known"
)

// Beside is something else that may differ, without an interval; NaN = not known.
type Beside struct {
	Key, Label, Unit string
	First, Second    float64
}

// Comparison is all of it.
type Comparison struct {
	SameFarm bool
	Rows     []Row
	Beside   []Beside
	// ByChance is the number of rows, of those with a verdict, that an interval of
	// 95 % tells apart by chance where nothing differs.
	ByChance float64
}

// Compare sets second beside first.
func Compare(first, second *season.Season, opt Options) (*Comparison, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if err := apart(first, second, opt.SameFarm); err != nil {
		return nil, err
	}
	c := &Comparison{SameFarm: opt.SameFarm, Beside: besides(first, second)}
	m := newModel(opt.SameFarm, opt.Drift)
	for _, k := range kinds {
		a, b := take(first, k, opt.LeastShare), take(second, k, opt.LeastShare)
		if !a.logged && !b.logged {
			continue // neither farm has it
		}
		c.Rows = append(c.Rows, Row{Key: k.key(), Label: k.label(first, second), First: a.figure, Second: b.figure})
		m.add(len(c.Rows)-1, k, a, b)
	}
	if err := m.fill(c.Rows, opt.Doubt); err != nil {
		return nil, err
	}
	n := 0
	for _, r := range c.Rows {
		if r.Verdict != NotKnown {
			n++
		}
	}
	c.ByChance = float64(n) * (1 - doubt.Confidence)
	return c, nil
}

// apart refuses periods that share readings.
func apart(a, b *season.Season, same bool) error {
	if a.Period.End <= b.Period.Start || b.Period.End <= a.Period.Start {
		return nil
	}
	if same {
		return ErrOverlap
	}
	of := map[string]string{}
	for _, f := range a.Files {
		of[f.SHA256] = f.Name
	}
	for _, f := range b.Files {
		if name, ok := of[f.SHA256]; ok && f.SHA256 != "" {
			return fmt.Errorf("%w: %s and %s are the same bytes", ErrSameFiles, name, f.Name)
		}
	}
	return nil
}

func known(f doubt.Figure) bool { return !math.IsNaN(f.Value + f.Low + f.High) }
