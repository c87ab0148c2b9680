// Package claim holds a claimed saving against the measured one: how likely it
// is that the saving is at least what is claimed, what that says at a chosen
// confidence, what would decide it where nothing can be said, and whether the
// saving is known as closely as a criterion asks.
//
// All comes from the Monte Carlo trials of the season (JCGM 101): the chance
// that a claim x is true is the share of the trials in which the saving S was at
// least x,
//
//	chance = P(S ≥ x),  supported: chance ≥ c,  not supported: chance ≤ 1 − c,
//
// with the confidence c; between the two the data cannot tell. A claim for the
// whole period is judged against the estimate for the whole period, whose
// interval holds the doubt about the time that no logger saw; as seen, only
// where that is asked for.
package claim

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
	"yardheat/ingest/farm"
)

// Verdict on a claim.
type Verdict string

// The verdicts.
const (
	Supported    Verdict = "supported"
	NotSupported Verdict = "not supported"
	CannotTell   Verdict = "cannot tell"
)

// Keys that a claim can be about, in the order in which they are judged.
var Keys = []string{"saved_kwh", "money", "co2_kg"}

// Options of a judgement.
type Options struct {
	// Confidence at which a claim counts as supported or not, 0.5 to 0.999:
	// 20,000 trials do not carry more.
	Confidence float64
	// Whole: judge against the whole period's saving even where that is never
	// known (a saving against days without recovery).
	Whole bool
	// Seen: judge against the saving as seen, not the whole period's.
	Seen bool
	// Criteria beside that of ASHRAE Guideline 14.
	Criteria []Criterion
}

// DefaultOptions judge at 90 %.
func DefaultOptions() Options { return Options{Confidence: 0.9} }

// mostConfidence: the tail beyond it holds 20 trials of 20,000.
const mostConfidence = 0.999

// Validate names the first option that cannot be used.
func (o Options) Validate() error {
	if !(o.Confidence > 0.5 && o.Confidence <= mostConfidence) {
		return fmt.Errorf("the confidence is %g %%; want more than 50 %% (at 50 %% a claim would be both supported and not) and at most %g %% (the trials do not carry more)",
			100*o.Confidence, 100*mostConfidence)
	}
	for _, c := range o.Criteria {
		if err := validate(c); err != nil {
			return err
		}
	}
	return nil
}

// Asked is one claim: that the saving is at least so much.
type Asked struct {
	Key     string // saved_kwh, money, co2_kg
	Claimed float64
}

// Claim is one claim held against what was measured.
type Claim struct {
	Key, Label, Unit string
	Claimed          float64
	ClaimedShown     string
	// Measured is the figure judged against; Seen and Whole are both there are.
	Measured, Seen, Whole season.Figure
	// Chance that the saving is at least what is claimed; NaN where the saving is
	// not known. ChanceShown never rounds it past the confidence.
	Chance      float64
	ChanceShown string
	Trials      int
	Verdict     Verdict
	// Claims up to SupportedTo are supported at the confidence, claims above
	// RefutedAbove are not; NaN where the saving is not known.
	SupportedTo, RefutedAbove           float64
	SupportedToShown, RefutedAboveShown string
	// Decide says what would decide it.
	Decide   string
	Criteria []Tested
	// Parts are the shares of the variance by instrument; Unseen that of missing
	// time, Assumed that of errors which nobody stated.
	Parts           []season.SpreadPart
	Unseen, Assumed float64
}

// Judgement is all claims on one season.
type Judgement struct {
	Confidence float64
	Seen       bool
	// ByDays: the saving is told from days without recovery, and only for the days
	// reported on; a claim is then held against these unless Options.Whole.
	ByDays bool
	Claims []Claim
	// Cannot lists what cannot be said.
	Cannot []string
}

// ByDays: the saving is held against days without recovery.
func ByDays(s *season.Season) bool {
	return s.Saving.Kind == farm.BaselineOff || s.Saving.Kind == farm.BaselineBefore
}

// Judge holds claims against a season.
func Judge(s *season.Season, asked []Asked, opt Options) (*Judgement, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if len(asked) == 0 {
		return nil, fmt.Errorf("no claim to judge")
	}
	j := &Judgement{Confidence: opt.Confidence, ByDays: ByDays(s)}
	if j.ByDays && !opt.Whole {
		opt.Seen = true
	}
	j.Seen = opt.Seen
	for _, a := range asked {
		if !(a.Claimed >= 0) || math.IsInf(a.Claimed, 0) {
			return nil, fmt.Errorf("the claim for %s is %g; want 0 or more", a.Key, a.Claimed)
		}
		c, spread, err := start(s, a, opt.Seen)
		if err != nil {
			return nil, err
		}
		c.judge(spread, opt)
		j.Claims = append(j.Claims, c)
	}
	j.Cannot = cannot(s, j)
	return j, nil
}

// start finds the figure that a claim is about, and its trials.
func start(s *season.Season, a Asked, seen bool) (Claim, season.Spread, error) {
	if !slices.Contains(Keys, a.Key) {
		return Claim{}, season.Spread{}, fmt.Errorf("%q is nothing that a claim can be about; want one of %v", a.Key, Keys)
	}
	c := Claim{Key: a.Key, Label: a.Key, Claimed: a.Claimed, Seen: absent(), Whole: absent()}
	for _, list := range []struct {
		of  []season.Named
		dst *season.Figure
	}{{s.Saving.Figures, &c.Seen}, {s.Saving.Whole, &c.Whole}} {
		for _, n := range list.of {
			if n.Key == a.Key {
				*list.dst, c.Label, c.Unit = n.Figure, n.Label, n.Figure.Unit
			}
		}
	}
	c.Measured = c.Whole
	if seen {
		c.Measured = c.Seen
	}
	c.ClaimedShown = plain(a.Claimed, c.Unit)
	for _, x := range s.Claims.Spreads {
		if x.Key == a.Key && x.Whole == !seen {
			return c, x, nil
		}
	}
	return c, season.Spread{}, nil
}

// absent stands for a figure that the season does not hold.
func absent() season.Figure {
	return doubt.Make(math.NaN(), math.NaN(), math.NaN(), "", doubt.Estimated, 0, 0, "the farm folder has no logs for it")
}

// judge fills in what the trials say.
func (c *Claim) judge(x season.Spread, opt Options) {
	c.Verdict, c.Chance, c.Trials = CannotTell, math.NaN(), len(x.Trials)
	c.SupportedTo, c.RefutedAbove = math.NaN(), math.NaN()
	c.Parts, c.Unseen = x.Parts, x.Unseen
	for _, p := range x.Parts {
		if p.Assumed {
			c.Assumed += p.Share
		}
	}
	known := len(x.Trials) > 0 && !math.IsNaN(c.Measured.Value)
	if known {
		c.Chance = atLeast(x.Trials, c.Claimed)
		c.Verdict = verdict(c.Chance, opt.Confidence)
		c.SupportedTo, c.RefutedAbove = bounds(x.Trials, opt.Confidence)
		c.SupportedToShown, c.RefutedAboveShown = beside(c.SupportedTo, c.Measured, math.Floor), beside(c.RefutedAbove, c.Measured, math.Ceil)
	}
	c.ChanceShown = showChance(c.Chance)
	c.Decide = c.decide(x, opt.Confidence)
	for _, k := range append([]Criterion{Guideline14()}, opt.Criteria...) {
		c.Criteria = append(c.Criteria, k.Test(c.Measured, x.Trials))
	}
}
