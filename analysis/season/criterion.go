package season

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
)

// Criterion asks that the uncertainty of the saving, the larger side of its
// interval at a confidence as a share of it, is not above a limit.
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
	return fmt.Sprintf("%s %s at %s", word, doubt.Percent(c.Limit), doubt.Percent(c.Confidence))
}

// What a criterion comes to.
const (
	Met        = "met"
	NotMet     = "not met"
	untellable = "cannot tell"
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

// Test holds a criterion against a saving and its trials, ascending. It cannot
// be told where the saving is not known; where the measured saving is none (0 or
// a loss), for an uncertainty in per cent of a saving then means nothing; and
// where the limit lies within the scatter of the trials themselves. An interval
// that reaches below 0 is no such case: its uncertainty is above 100 %, and that
// is a number.
func (c Criterion) Test(f Figure, trials []float64) Tested {
	t := Tested{Criterion: c, Result: untellable, Low: nan, High: nan, Uncertainty: nan, Shown: doubt.NotKnown}
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
	t.Shown = doubt.Percent(t.Uncertainty)
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

// interval leaves as many trials below as above (JCGM 101:2008, 7.7); se is the
// standard error of the end that lies farther from the value.
func interval(trials []float64, value, confidence float64) (low, high, se float64) {
	n := len(trials)
	q := min(int(math.Floor(confidence*float64(n)+0.5)), n-1)
	r := (n - q) / 2
	low, high = trials[r], trials[r+q]
	far := r
	if high-value > value-low {
		far = r + q
	}
	p := (float64(far) + 0.5) / float64(n)
	k := max(1, int(math.Ceil(math.Sqrt(float64(n)*p*(1-p)))))
	se = (trials[min(n-1, far+k)] - trials[max(0, far-k)]) / 2
	return math.Min(low, value), math.Max(high, value), se
}

// criterion holds the saving that the farm chose to be held to, as seen, against
// ASHRAE Guideline 14, as a claim with `--seen` does.
func (b *builder) criterion() {
	var f Figure
	var trials []float64
	f.Value = nan
	for _, n := range b.s.Saving.Figures {
		if n.Key == "saved_kwh" {
			f = n.Figure
		}
	}
	for _, x := range b.s.Claims.Spreads {
		if x.Key == "saved_kwh" && !x.Whole {
			trials = x.Trials
		}
	}
	t, c := Guideline14().Test(f, trials), &b.s.Audit.Claim
	c.U68, c.Share, c.Limit, c.Criterion = t.Uncertainty*f.Value, t.Uncertainty, t.Limit, t.Result
}
