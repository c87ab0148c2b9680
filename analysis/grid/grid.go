// Package grid lays a Record on one time grid: what passed in each cell, and
// what each probe read in it. It is where instants, means, amounts and states
// meet, each by its own rule: hold, interpolate and spread are three
// functions, and none bridges a gap longer than stated.
//
// Flow: Record → Build → Grid (a channel a probe) → Stream (one way chosen
// among several to log the same thing, probes of one place averaged, places
// added up or laid side by side).
//
// Cell i covers (Start + i·Step, Start + (i+1)·Step]. NaN is "not covered".
package grid

import (
	"context"
	"fmt"
	"sync"

	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// Grid is a record on one grid. Immutable once made.
type Grid struct {
	// StartMS is the left edge of cell 0, Unix ms UTC.
	StartMS int64
	StepS   float64
	N       int
	// Channels in a fixed order: by quantity as interfaces.md lists them,
	// then place, then probe.
	Channels []Channel

	streams *sync.Map       // those already put together, by name; nil = none kept
	ctx     context.Context // nil = nobody stops what is asked of it
}

// Check leaves the work once the context that the grid was built under has
// ended; see package work.
func (g *Grid) Check() { work.Check(g.ctx) }

// Free has the grid forget that context: it stays when the work is done.
func (g *Grid) Free() {
	if g != nil {
		g.ctx = nil
	}
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
	// Edges: pipe temperatures only: the value at the left edge of each cell,
	// N+1 of them, for the correction of a probe's lag. Else nil.
	Edges []float64
	// Readings are those behind the values (temperatures only): between them a
	// value is interpolated, not read.
	Readings Readings
	// HalfS: a reading is the mean over this many seconds on either side of its
	// stamp (temperatures logged as means); 0 = an instant.
	HalfS float64
	// Flags: the flags of the readings that fall into the cell, OR-ed; nil
	// where no reading carries one.
	Flags []series.Flag
	// From says how it was logged: "counter", "amount", "rate", "state"; a
	// temperature, pressure or level is a "reading".
	From string
	// UsualS is the usual interval of the log behind it in seconds.
	UsualS float64
	// ResolutionBase is a counter's step in L or kWh (0 = not a counter).
	ResolutionBase float64
	// SampledS: a state that is read every so often, s; 0 where its changes are
	// logged as they happen.
	SampledS float64
}

// Options of the grid.
type Options struct {
	// StepS is the cell; 0 = the smallest usual interval among the pipe
	// channels, within FinestS to CoarsestS, rounded down to a divisor of the
	// minute.
	StepS, FinestS, CoarsestS float64
	// MostCells: a longer period gets a longer step.
	MostCells int
	// A temperature is interpolated over at most the larger of BridgeIntervals
	// usual intervals and BridgeS.
	BridgeIntervals, BridgeS float64
	// LongestVolumeS and LongestEnergyS: an amount over a longer interval (a
	// counter across a gap) is not spread; LongestZeroS: nor is a zero.
	LongestVolumeS, LongestEnergyS, LongestZeroS float64
	// PulseVolumeS and PulseEnergyS: a counter's single step after others that
	// came no longer ago is spread over the time since, for a meter that gives a
	// pulse every few litres shows steady flow as steps and stillness.
	PulseVolumeS, PulseEnergyS float64
	// CoveredShare of a cell that must be seen for its mean to stand.
	CoveredShare float64
	// DisagreeShare: two ways to log one thing that differ by more are listed.
	DisagreeShare float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{
		FinestS: 10, CoarsestS: 60, MostCells: 3_000_000,
		BridgeIntervals: 1.5, BridgeS: 180,
		LongestVolumeS: 900, LongestEnergyS: 6 * 3600, LongestZeroS: 24 * 3600,
		PulseVolumeS: 300, PulseEnergyS: 1800,
		CoveredShare: 0.5, DisagreeShare: 0.10,
	}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	if o.StepS != 0 && !(o.StepS >= 1 && o.StepS <= 3600) {
		return fmt.Errorf("grid: option StepS is %g; want 0 (by the record) or 1 to 3600 s", o.StepS)
	}
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"FinestS", o.FinestS, 1, 600}, {"CoarsestS", o.CoarsestS, o.FinestS, 3600},
		{"MostCells", float64(o.MostCells), 1000, 1e8},
		{"BridgeIntervals", o.BridgeIntervals, 1, 20}, {"BridgeS", o.BridgeS, 0, 7200},
		{"LongestVolumeS", o.LongestVolumeS, 0, 86400}, {"LongestEnergyS", o.LongestEnergyS, 0, 7 * 86400},
		{"LongestZeroS", o.LongestZeroS, 0, 7 * 86400},
		{"PulseVolumeS", o.PulseVolumeS, 0, 3600}, {"PulseEnergyS", o.PulseEnergyS, 0, 86400}, {"CoveredShare", o.CoveredShare, 0.01, 1},
		{"DisagreeShare", o.DisagreeShare, 0, 10},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("grid: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// StepMS is the cell in milliseconds.
func (g *Grid) StepMS() int64 { return int64(g.StepS*1000 + 0.5) }

// EdgeMS is the left edge of cell i; EdgeMS(N) is the end of the grid.
func (g *Grid) EdgeMS(i int) int64 { return g.StartMS + int64(i)*g.StepMS() }

// EndMS is the right edge of the last cell.
func (g *Grid) EndMS() int64 { return g.EdgeMS(g.N) }

// Cell is the first cell whose mid-point is at or after atMS, within 0..N: a
// span of time [a, b) holds the cells Cell(a) up to but not including Cell(b),
// and adjoining spans never share one.
func (g *Grid) Cell(atMS int64) int {
	step := g.StepMS()
	d := atMS - g.StartMS - step/2
	if d <= 0 {
		return 0
	}
	return int(min((d+step-1)/step, int64(g.N)))
}

// Hours of one cell.
func (g *Grid) Hours() float64 { return g.StepS / 3600 }
