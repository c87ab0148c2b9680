package page

import (
	_ "embed"
	"math"

	"yardheat/analysis/bed"
	"yardheat/analysis/doubt"
)

//go:embed bed.tmpl
var bedSource string

// signs are the words for the bed's signs.
var signs = map[string]string{
	bed.SignBelow:    "Share of hours with the bed below its limit while the loop is drawn on",
	bed.SignFalling:  "The bed's mean falls, air taken off",
	bed.SignSlower:   "The bed comes back slower in the later half of the record",
	bed.SignApproach: "Soaked water leaves ever further below the bed",
	bed.SignFlux:     "More heat is metered than half of what litter is thought to make: look at the meter too",
}

// signValue prints what a sign found or is held against.
func signValue(v float64, unit string) string {
	if math.IsNaN(v) {
		return doubt.NotKnown
	}
	text := doubt.Plain(math.Round(v*100)/100, unit)
	return text
}
