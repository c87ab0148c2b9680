// Package clock turns the stamps of one log into true UTC: it finds the
// layout and the date order and what proves it, resolves the hours that a
// clock change repeats or skips by row order, and applies a known offset,
// drift and jumps. It knows no files and no quantities.
//
// Flow: Read (texts → wall clock), Resolve (wall clock → UTC by zone and row
// order), Shift (UTC by the stamp → true UTC). All times are milliseconds;
// a wall clock is counted as if it were UTC.
package clock

import "math"

// Bad stands in Column.Wall and in resolved times for a text that is no
// stamp; NoOffset in Column.OffsetMS for a row that states no zone.
const (
	Bad      = math.MinInt64
	NoOffset = math.MinInt64
)

// Options are what the farm file says of a log's stamps; zero values mean
// "find it in the texts".
type Options struct {
	// Layout is the layout as stated, for example "DD.MM.YYYY hh:mm".
	Layout string
	// Order is dmy, mdy, ymd or "".
	Order string
}

// Column is the stamps of one table as read.
type Column struct {
	// Layout is the layout found or stated, for example "DD.MM.YYYY hh:mm:ss".
	Layout string
	// Because says what proves the date order.
	Because string
	// Wall is the civil time of each row as milliseconds since
	// 1970-01-01T00:00 of its own wall clock; Bad where unreadable.
	Wall []int64
	// OffsetMS is the zone offset that each row states (local minus UTC),
	// NoOffset where it states none; nil if no row states one.
	OffsetMS []int64
	// ZoneWords are the zone abbreviations that stand in the rows ("CET"), each
	// once; ZoneWord is each row's, counted from 1, 0 = none; nil if no row has
	// one. UseZoneWords makes offsets of them.
	ZoneWords []string
	ZoneWord  []uint8
	// Ranged: each row states the two ends of an interval, and Wall is where it
	// begins.
	Ranged bool
	// Bad counts the rows without a readable stamp.
	Bad int
}

// Repeat is what became of the rows in an hour that a clock change repeats
// (autumn) or skips (spring).
type Repeat struct {
	// Kind is "repeated" or "skipped".
	Kind string
	// AtMS is the instant of the clock change, UTC.
	AtMS int64
	// FirstRow, LastRow: the rows concerned (index into Column.Wall), FirstRow
	// the earlier in the file. Rows counts them.
	FirstRow, LastRow, Rows int
	// Sure: row order settles which rows belong to which pass.
	Sure bool
	// Because says how it was settled, or why not.
	Because string
}

// Jump is a step of a logger's clock: where the old clock showed AtMS (UTC by
// the stamp) it was moved by ByS seconds.
type Jump struct {
	AtMS int64
	ByS  float64
}

// Shift says how far a logger's clock was ahead of true time.
type Shift struct {
	// AheadS is stamp minus true time at MidMS (UTC by the stamp).
	AheadS       float64
	DriftSPerDay float64
	MidMS        int64
	Jumps        []Jump
}

// OrderError is a column whose date order the texts alone can't prove.
type OrderError struct {
	// Example is a stamp that reads either way.
	Example string
	// Orders are the orders that fit, for example dmy and mdy.
	Orders []string
	// Reason says why the rows don't settle it.
	Reason string
}

// StampError is a column in which no stamp was found, or too few.
type StampError struct {
	// Example is a text that is no stamp, with its row index.
	Example string
	Row     int
	// Want says what was expected.
	Want string
}
