// Package grid lays a Record on one time grid: what passed in each cell, and
// what each probe read in it. It is where instants, means, amounts and states
// meet, each by its own rule: hold, interpolate and difference are three
// functions, and none bridges a gap longer than stated.
//
// Cell i covers (Start + i·Step, Start + (i+1)·Step]. NaN is "not covered".
package grid

import "yardheat/ingest/series"

// Grid is a record on one grid. Immutable once made.
type Grid struct {
	// StartMS is the left edge of cell 0, Unix ms UTC.
	StartMS int64
	StepS   float64
	N       int
	// Channels in a fixed order: by quantity as interfaces.md lists them,
	// then place, then probe.
	Channels []Channel
}

// Channel is one probe on the grid.
type Channel struct {
	Quantity series.Quantity
	Place    string
	Probe    string
	Fit      string
	// Unit as kept on the grid: degC, L/min (flows AND volumes), kW (powers AND
	// energies), bar, %, 0/1 (share of the cell).
	Unit string
	// Values: temperatures, pressures, levels: the value at mid-cell; flows and
	// powers: the mean over the cell; states: the share of the cell. NaN = not
	// covered.
	Values []float64
	// Flags: the flags of the readings that fall into the cell, OR-ed.
	Flags []series.Flag
	// From says how it was logged: "counter", "amount", "rate", "state".
	From string
	// UsualS is the usual interval of the log behind it in seconds.
	UsualS float64
	// ResolutionBase is a counter's step in L or kWh (0 = not a counter).
	ResolutionBase float64
}
