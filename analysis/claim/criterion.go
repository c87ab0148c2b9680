package claim

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"yardheat/analysis/season"
)

// Criterion asks that the uncertainty of the saving, half its interval at a
// confidence as a share of it, is not above a limit.
type Criterion struct {
	Name string
	// Limit as a share of the saving, Confidence 0 to 1.
	Limit, Confidence float64
	// Below: the uncertainty must lie below the limit, not just not above it.
	Below bool
}

// Guideline14 is the criterion of ASHRAE Guideline 14: an uncertainty below 50 %
// of the annual reported savings at a confidence of 68 % (read from a page that
// quotes the guideline, not from its text).
func Guideline14() Criterion {
	return Criterion{Name: "ASHRAE Guideline 14", Limit: 0.5, Confidence: 0.68, Below: true}
}

// Short is the criterion in numbers: "below 50 % at 68 %".
func (c Criterion) Short() string {
	word := "at most"
	if c.Below {
		word = "below"
	}
	return fmt.Sprintf("%s %s at %s", word, Percent(c.Limit), Percent(c.Confidence))
}

func (c Criterion) validate() error {
	switch {
	case !(c.Limit > 0 && c.Limit <= mostLimit):
		return fmt.Errorf("criterion %q: the uncertainty is %g %%; want more than 0 and at most %g %%", c.Short(), 100*c.Limit, 100*mostLimit)
	case !(c.Confidence > 0 && c.Confidence <= mostConfidence):
		return fmt.Errorf("criterion %q: the confidence is %g %%; want more than 0 and at most %g %%", c.Short(), 100*c.Confidence, 100*mostConfidence)
	}
	return nil
}

// mostLimit: a wider uncertainty is no criterion.
const mostLimit = 10.0

var criterionForm = regexp.MustCompile(`^±?\s*(\d+(?:[.,]\d+)?)\s*%?\s*(?:at|@)\s*(\d+(?:[.,]\d+)?)\s*%?$`)

// ParseCriterion reads "20% at 90%": an uncertainty of at most 20 % of the
// saving at a confidence of 90 %. Blanks, a leading ± and decimal commas may
// stand in it.
func ParseCriterion(text string) (Criterion, error) {
	m := criterionForm.FindStringSubmatch(strings.TrimSpace(strings.Join(strings.Fields(text), " ")))
	if m == nil {
		return Criterion{}, fmt.Errorf("%q: want an uncertainty and a confidence, such as \"20%% at 90%%\"", text)
	}
	c := Criterion{}
	for i, dst := range []*float64{&c.Limit, &c.Confidence} {
		v, err := strconv.ParseFloat(strings.Replace(m[i+1], ",", ".", 1), 64)
		if err != nil {
			return Criterion{}, fmt.Errorf("%q: %q is no number", text, m[i+1])
		}
		*dst = v / 100
	}
	c.Name = "own criterion"
	if err := c.validate(); err != nil {
		return Criterion{}, err
	}
	return c, nil
}

// What a criterion comes to.
const (
	Met    = "met"
	NotMet = "not met"
)

// Tested is a criterion held against the saving.
type Tested struct {
	Criterion
	// Result: met, not met, cannot tell.
	Result string
	// Low, High: the interval at the criterion's confidence; Uncertainty the
	// larger of its two sides as a share of the saving. NaN: not known.
	Low, High, Uncertainty float64
	// Shown: the uncertainty as printed; Why it cannot be told.
	Shown, Why string
}

// test holds a criterion against a saving. It cannot be told where the saving is
// not known; where the measured saving is none (0 or a loss), for an uncertainty
// in per cent of a saving then means nothing; and where the limit lies within
// the scatter of the trials themselves. An interval that reaches below 0 is no
// such case: its uncertainty is above 100 %, and that is a number.
func (c Criterion) test(f season.Figure, trials []float64) Tested {
	t := Tested{Criterion: c, Result: string(CannotTell), Low: math.NaN(), High: math.NaN(), Uncertainty: math.NaN(), Shown: "not known"}
	switch {
	case math.IsNaN(f.Value) || len(trials) == 0:
		t.Why = "the saving is not known"
		return t
	case f.Value <= 0:
		t.Why = "what was measured is no saving (" + f.Shown + "), and an uncertainty in per cent of it means nothing"
		return t
	}
	low, high, se := interval(trials, f.Value, c.Confidence)
	t.Low, t.High = low, high
	t.Uncertainty = math.Max(high-f.Value, f.Value-low) / f.Value
	t.Shown = Percent(t.Uncertainty)
	switch off := t.Uncertainty - c.Limit; {
	case math.Abs(off) <= 2*se/f.Value:
		t.Why = fmt.Sprintf("the uncertainty lies at the limit, closer than %d trials can tell", len(trials))
	case off < 0:
		t.Result = Met
	default:
		t.Result = NotMet
	}
	return t
}
