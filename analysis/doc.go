// Package analysis is the floor between the readings and the report: it knows
// the physics and the statistics, opens no file and writes none. The package
// itself is empty; this is the map of those below it.
//
// # Who asks whom
//
//	season    everything, computed once: Compute(*ingest.Record, Options) → *Season
//	beside    two periods of a farm, or two farms, and by what their figures differ
//	claim     a claimed saving held against a Season's trials
//
//	account   the heat account, a row a cycle, with its response to every sensor's error
//	caution   what a reading gives reason to look at
//	loop      the buried loop in a uniform bed: UA, identified or not; loop/store with a slab about the pipe
//	plant     the share of the plant's rejected heat that is caught
//	baseline  a day's energy against what was done with it, and other days by that model
//	change    the days on which a quantity changed
//	match     what is known of probes that were compared with each other
//	apart     how far the clocks of a pipe's flow and of its temperatures differ
//
//	cycle     draws, washes, milkings, and the cycles that the account is kept by
//	grid      the record on one time grid, hold, interpolate and spread each by its rule
//	doubt     Monte Carlo trials over all errors (JCGM 101), intervals, budgets, rounding
//
//	solve, rank, water    least squares, order statistics, properties of water (IAPWS-IF97)
//	study                 the whole of it against random simulated farms; tests only
//
// Somebody who wants figures needs season alone; the packages under it can be
// used by themselves: water.HeatKWh and its like take litres and degrees, loop.Run plain
// columns of numbers (loop.FromCells), baseline.Fit rows of days, doubt.Run
// sources of error and a function of them.
//
// # Conventions
//
// Times are Unix milliseconds, UTC, true time; seconds from an origin where a
// package says so. Litres stand where the meter stands; temperatures are degC,
// differences K, heat and electricity kWh, powers kW. Heat that the water gains
// is positive, electricity used is positive, a saving is positive where less
// final energy was bought. An error is reading minus truth. NaN is "not known":
// it goes in and out of every function and never reaches an output. A name
// carries its unit wherever a bare number crosses a function.
//
// An interval is two-sided at 95 % unless its Confidence says otherwise, and is
// to hold the truth that often; testdata/study holds how often it did. What the
// data can't give is no number, and says why.
//
// Every stage has one options struct with a DefaultOptions function and a
// Validate method that names the field that is out of bounds; all of them stand
// among the settings of results.json.
//
// # Errors
//
// An error is returned for options out of bounds and for a period that holds
// nothing of the record. What is merely doubtful is a problem or a caution in the
// result; a stage that the farm lacks, or that its logs can't tell, leaves figures
// without a value that say why.
//
// # Sources
//
// Each package names its own beside the formula. Published numbers that the tests
// hold them against, with their sources, stand in testdata/check-values.
package analysis
