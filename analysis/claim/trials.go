package claim

import (
	"fmt"
	"math"
	"sort"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
)

// whole is what a share of trials may be off by as a floating-point number.
const whole = 1e-9

// atLeast is the share of ordered trials at or above x.
func atLeast(trials []float64, x float64) float64 {
	return float64(len(trials)-sort.SearchFloat64s(trials, x)) / float64(len(trials))
}

func verdict(chance, confidence float64) Verdict {
	switch {
	case chance >= confidence-whole:
		return Supported
	case chance <= 1-confidence+whole:
		return NotSupported
	}
	return CannotTell
}

// bounds are the largest claim that is supported, and the largest that is not
// refuted: verdict says so of every claim at and beyond them.
func bounds(trials []float64, confidence float64) (supportedTo, refutedAbove float64) {
	n := len(trials)
	enough := int(math.Ceil(confidence*float64(n) - whole*float64(n)))
	few := int(math.Floor((1-confidence)*float64(n) + whole*float64(n)))
	return trials[n-enough], trials[n-1-few]
}

// showChance rounds towards 50 %, so that no printed chance passes a confidence
// that the chance itself does not.
func showChance(p float64) string {
	switch {
	case math.IsNaN(p):
		return doubt.NotKnown
	case p > mostConfidence:
		return "over 99.9 %"
	case p < 1-mostConfidence:
		return "under 0.1 %"
	case p > 0.5:
		return fmt.Sprintf("%.1f %%", math.Floor(1000*p+whole)/10)
	}
	return fmt.Sprintf("%.1f %%", math.Ceil(1000*p-whole)/10)
}

// Percent prints a share or a confidence: "90 %", "2.6 %".
func Percent(p float64) string { return doubt.Percent(p) }

func plain(v float64, unit string) string { return doubt.Plain(v, unit) }

func beside(v float64, f season.Figure, round func(float64) float64) string {
	return doubt.Beside(v, f, round)
}
