// Package align finds how far one logger's clock is ahead of another's, or of
// the milkings, from events that both tell of: draws and milkings, compressor
// starts in two logs, a flow and the fall of temperature that it makes. It
// stands between the logs as read and their true time, and knows trains of
// events only: no files, no quantities.
//
// Flow: two trains → the lag of each stretch of days, by the likelihood of all
// lags within ±14 h and the best path through the stretches (track.go) → events
// matched one to one, offset, drift and jumps fitted robustly (fit.go) → the
// same for the best other lag, and for the trains laid whole days apart, which
// says what the pattern of the day gives without any relation (find.go).
//
// Conventions: milliseconds by the stamp of each train; ahead = moved train's
// clock minus true time, in seconds; a delay is moved event minus fixed event in
// true time; drift in seconds a day, positive where the moved clock gains.
package align

import "fmt"

// Units of time.
const (
	secondMS = 1000
	hourMS   = 3600 * secondMS
	dayMS    = 24 * hourMS
)

// Train is events of one kind.
type Train struct {
	// AtMS are their times by the clock that saw them, ascending.
	AtMS []int64
	// HalfMS: each event lies within ± this of its time, evenly: half the
	// interval between readings.
	HalfMS int64
	// Nominal: the times were stated, not seen; they are the same every day and
	// tell one day from another by nothing.
	Nominal bool
}

// Delay is between what an event of the moved train and the event of the fixed
// train that belongs to it lie apart in true time. Where in it is not known, but
// it is much the same from day to day. Equal ends: one and the same event.
type Delay struct {
	LowS, HighS float64
}

// Options bound the search.
type Options struct {
	// MostS is the largest offset that is looked for.
	MostS float64
	// MostDriftSPerDay is the largest drift.
	MostDriftSPerDay float64
	// FewEvents: fewer matched ones prove nothing.
	FewEvents int
	// Margin is by how much the log likelihood of the lag must exceed that of
	// every other at least; MarginShare the same as a share of the likelihood,
	// and MarginSpread as a multiple of half the range of the likelihoods that the
	// trains laid whole days apart give.
	Margin, MarginShare, MarginSpread float64
}

// DefaultOptions give the options that a run starts from. The margins were set
// by thought: e^12 to one, a twelfth, and, as half the range of ten is about 1.5
// standard deviations of a normal sample, some 4.6 of these above the highest.
func DefaultOptions() Options {
	return Options{MostS: 14 * 3600, MostDriftSPerDay: 60, FewEvents: 12, Margin: 12, MarginShare: 0.08, MarginSpread: 3}
}

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	for _, c := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"MostS", o.MostS, 600, 20 * 3600}, {"MostDriftSPerDay", o.MostDriftSPerDay, 0, 120}, {"FewEvents", float64(o.FewEvents), 6, 1000},
		{"Margin", o.Margin, 5, 1000}, {"MarginShare", o.MarginShare, 0, 1}, {"MarginSpread", o.MarginSpread, 1, 100},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) {
			return fmt.Errorf("align: %s = %g: want %g to %g", c.name, c.v, c.lo, c.hi)
		}
	}
	return nil
}

// Jump is a step of the moved clock: where it showed AtMS it was moved by ByS.
// The events leave the moment open between FromMS and ToMS.
type Jump struct {
	AtMS, FromMS, ToMS int64
	ByS                float64
}

// Result is what the trains say.
type Result struct {
	// Found: the lag is distinct. Else Why says why not, and the rest tells of
	// the best lag there was.
	Found bool
	Why   string
	// AheadS is the moved clock minus true time at the middle asked for, with
	// its 95 % interval; the delay is taken off at its middle and widens it.
	AheadS, LowS, HighS float64
	// DriftSPerDay is 0 where it is not distinct from 0.
	DriftSPerDay float64
	Jumps        []Jump
	// MidMS is the middle asked for.
	MidMS int64

	// Matched of the moved train's Of events lie within WithinS of an event of
	// the fixed train; of them Next would at the best other lag, NextLagS, in the
	// same width.
	Matched, Of, Next int
	WithinS           float64
	NextLagS          float64
	// LagS is moved minus fixed at MidMS, the delay left in.
	LagS float64
	// Score is the log likelihood against chance, Other the best one elsewhere.
	Score, Other float64
}

// AheadAt gives how far the clock is ahead at a stamp.
func (r *Result) AheadAt(stampMS int64) float64 {
	a := r.AheadS + r.DriftSPerDay*float64(stampMS-r.MidMS)/dayMS
	for _, j := range r.Jumps {
		if stampMS >= j.AtMS && r.MidMS < j.AtMS {
			a += j.ByS
		}
		if stampMS < j.AtMS && r.MidMS >= j.AtMS {
			a -= j.ByS
		}
	}
	return a
}
