// Package doubt says how sure a figure is: Monte Carlo trials over the errors
// of sensors and stipulated figures (JCGM 101), blocks of days, intervals,
// budgets, and rounding by GUM 7.2.6.
//
// Flow: Sources (one for every probe, meter and stated figure, with its
// distribution) and a Model, which makes the outputs of one trial's errors → Run
// → Result: an interval for each output, and its budget by source and by
// instrument. Every source is drawn once a trial, so that outputs that share a
// probe share its error; what scatters from day to day is drawn as whole blocks
// of days (Blocks), long enough to keep how days hang together. Trials are seeded:
// the same sources and options give the same result on any number of cores.
//
// A Figure is what comes out: Make prints it once (Show), its half-width with two
// significant digits and the value to the same place, and every view prints that
// string. An interval leaves as much of the trials below it as above, or is the
// shortest one, as Options say. NaN is "not known".
//
// Sources: JCGM 100 (GUM, 2008), 5.1 and 7.2.6; JCGM 101 (2008), 7; their worked
// examples are held against in the tests.
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
