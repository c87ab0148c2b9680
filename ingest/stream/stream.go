// Package stream reads the rows of a long, regular text export straight into
// columns of numbers: in blocks, on several cores, without a string a cell. It
// infers nothing: package table finds the layout on a sample, and this package
// reads by it every line that fits. A line that does not fit is kept as text,
// with its number, for package table to judge among its neighbours (Skeleton).
//
// Flow: Sample (pieces of the file → text for package table) → Plan → Read
// (blocks in file order → workers → Rows) → Skeleton (what did not fit, with
// the lines around it).
//
// A row of Rows is a line of the file: row i is line FirstLine + i, so that
// nothing has to be remembered of where a reading stands. Lines that hold no
// row leave a hole: ClockMS is clock.Bad there, the values NaN.
package stream

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"yardheat/ingest/clock"
)

// Plan is how the lines of one table are read.
type Plan struct {
	// Separator and Decimal are single bytes.
	Separator, Decimal byte
	// Width is the number of cells of a line; those from Named on, which a
	// separator at the line's end leaves, must be empty.
	Width, Named int
	// Stamp are the columns (from 0) that make the stamp, one or a date and a
	// time of day, joined by a blank in this order.
	Stamp []int
	// Columns are those whose values are read, each once.
	Columns []Column
	// FirstLine is the number (from 1) of the first line of readings, FirstByte
	// where it begins.
	FirstLine int
	FirstByte int64
	// Context ends the reading; nil = it never ends. Told is called from one
	// goroutine with the bytes behind it, now and then; nil = nobody asks.
	Context context.Context
	Told    func(bytes int64)
}

// Column is one column that is read.
type Column struct {
	// Index counts from 0.
	Index int
	// Cell reads what is no plain number. It must be safe for several
	// goroutines.
	Cell func(text string) (v float64, what Cell)
}

// Cell says what a cell that is no plain number holds.
type Cell uint8

// The kinds of cell.
const (
	// Value is a value after all: a state word.
	Value Cell = iota
	// Missing says that there is no reading; Failed that the logger failed to
	// take it.
	Missing
	Failed
	// Bad is neither.
	Bad
	// Odd may change how the whole table is read: the line is left to package
	// table.
	Odd
)

// BadCell is a cell that is neither number nor word for "missing".
type BadCell struct {
	Row  int
	Text string
}

// FailedCells are counted; First is the first of them.
type FailedCells struct {
	Count int
	First BadCell
}

// Add counts one more.
func (f *FailedCells) Add(row int, text string) {
	if f.Count++; f.Count == 1 || row < f.First.Row {
		f.First = BadCell{row, text}
	}
}

// OddLine is a line that does not fit the plan.
type OddLine struct {
	Line int
	// At is where the line begins in the file.
	At   int64
	Text string
}

// Rows is what Read gives.
type Rows struct {
	FirstLine int
	// ClockMS and Runs are the stamps as clock.Stamper gives them.
	ClockMS []int64
	Runs    []clock.Run
	// V are the values by column of the plan, as written; NaN where a cell
	// holds none, and in holes.
	V [][]float64
	// Bad are the first cells, by column, that are neither number nor word;
	// BadCount counts them all.
	Bad      [][]BadCell
	BadCount []int
	// Failed are, by column, the cells in which the logger says that it failed.
	Failed []FailedCells
	// Odd are the lines that did not fit, ascending.
	Odd    []OddLine
	Lines  int // of the file
	SizeB  int64
	SHA256 string
}

// Insert adds a row that package table kept of a line that did not fit. ok is
// false where the text is no stamp.
func (r *Rows) Insert(row int, stamp string) bool {
	var s clock.Stamper
	ms, ok := s.Add(row, stamp)
	if !ok {
		return false
	}
	s.Flush()
	r.ClockMS[row] = ms
	at, _ := slices.BinarySearchFunc(r.Runs, row, func(x clock.Run, row int) int { return x.Row - row })
	r.Runs = slices.Insert(r.Runs, at, s.Runs...)
	return true
}

// Limits of what is held of lines that do not fit: a file with more of them
// is not regular.
const (
	mostOdd     = 4000
	mostLine    = 64 << 10 // bytes of one line
	shownOfBad  = 3
	blockBytes  = 1 << 20
	blocksAhead = 3
	// The columns may take mostRoomB, or so many times the file's size.
	mostRoomB     = 256 << 20
	mostRoomTimes = 3
)

// ErrIrregular is a file that cannot be read by one plan.
var ErrIrregular = errors.New("not regular enough")

func irregular(line int, why string, args ...any) error {
	return fmt.Errorf("%w: line %d: %s", ErrIrregular, line, fmt.Sprintf(why, args...))
}

// Validate names the field of a plan that is out of bounds.
func (p *Plan) Validate() error {
	if len(p.Stamp) == 0 || len(p.Stamp) > 2 {
		return fmt.Errorf("plan: %d stamp columns; want 1 or 2", len(p.Stamp))
	}
	for _, i := range p.Stamp {
		if i < 0 || i >= p.Width {
			return fmt.Errorf("plan: stamp column %d of %d", i, p.Width)
		}
	}
	for _, c := range p.Columns {
		if c.Index < 0 || c.Index >= p.Width {
			return fmt.Errorf("plan: column %d of %d", c.Index, p.Width)
		}
	}
	if p.Separator == p.Decimal || p.Separator < 9 {
		return fmt.Errorf("plan: separator %q beside decimal mark %q", p.Separator, p.Decimal)
	}
	return nil
}
