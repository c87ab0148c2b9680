// Package doubt says how sure a figure is: Monte Carlo trials over the errors
// of sensors and stipulated figures (JCGM 101), blocks of days, intervals,
// budgets, and rounding by GUM 7.2.6.
package doubt

// Basis says where a figure comes from.
type Basis string

// The bases of results.json.
const (
	Metered   Basis = "metered"
	Fitted    Basis = "fitted"
	Estimated Basis = "estimated"
)

// Figure is one number with all that is needed to believe it. Value, Low and
// High are NaN where unknown (null in JSON); Why then says the reason. One
// known from one side only has the other end NaN and Value the known end.
type Figure struct {
	Value, Low, High float64
	Unit             string
	Confidence       float64 // 0.95
	Basis            Basis
	// N is the number of cycles or draws behind it.
	N int
	// Coverage is the share of the period that was seen, 0 to 1.
	Coverage float64
	// Shown is the string that every view prints, rounded by GUM 7.2.6.
	Shown string
	// Why the value, or the interval, is missing.
	Why string
}
