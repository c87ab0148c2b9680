// Package stamps turns the stamp columns of one log's tables into true UTC: it
// finds which columns hold the stamps, reads them in one order of day and month
// for all files of the logger, resolves their zone, applies what is known of
// the clock, and puts the rows in the order of time. It knows no quantities.
//
// Flow: find the columns → texts, one a row → clock.Read, siblings settling
// what one file leaves open → clock.Resolve → clock.Shift → order of rows.
package stamps

import (
	"fmt"
	"slices"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/stream"
	"yardheat/ingest/table"
)

// Options are what Read is told beside the farm file.
type Options struct {
	// Now: stamps later than this are in the future; zero = not asked.
	Now time.Time
	// FarDays: a few rows further than this from all others carry the stamp of
	// a clock that was not set.
	FarDays float64
	// Clock is what was found of the log's clock beside what the farm file states;
	// nil = nothing.
	Clock *clock.Shift
	// Each runs f for 0 … n−1, several at a time, and waits.
	Each func(n int, f func(i int))
}

// Table is one table whose stamps are read, and what came of them.
type Table struct {
	// Name is the file, relative to the farm folder.
	Name string
	*table.Table
	// Taken are the columns that the farm file maps to something.
	Taken []bool
	// Tagged: a long log, in which several rows share a stamp by nature.
	Tagged bool
	// Stream is what was read of a long table's rows; nil where Rows holds them
	// all. Rows is then a sample of them.
	Stream *stream.Rows
	// Unstamped are rows of a stream that have no readable stamp.
	Unstamped []Unstamped

	// Columns are those that hold the stamps.
	Columns []int
	// Ready: the stamps were read; At, Order and the rest are set.
	Ready bool
	// At is each row's true UTC in ms (clock.Bad where it has no stamp); Order
	// the rows that have one, in the order of time.
	At    []int64
	Order []int32
	// RowFlags are flags of whole rows; nil = none.
	RowFlags []series.Flag
	// RowCount is the rows with a stamp; First and Last the span of those not
	// flagged, true UTC.
	RowCount    int
	First, Last int64
	Zone        string
	// Shift was applied; AheadS is the clock at mid-file.
	Shift  clock.Shift
	AheadS float64
	// Corrections made, in words.
	Corrections []string
	// Found is what was wrong or doubtful in this table.
	Found series.Found
	// Open is the order of day and month that the rows leave open; set where
	// the stamps were refused for it.
	Open *clock.OrderError

	// parts are what Columns hold, where each holds one part of the stamp.
	parts []role
	// made are the stamps where no cells hold them; nil = they do.
	made  *made
	zones zones
	// above completes the stamps by what stands above the table; nil = nothing.
	above *above
	log   *farm.Log
	zone  *time.Location
	texts []string // one a row; of a stream, those that decide for all
	at    []int    // of a stream: the row of each text
	clk   *clock.Column
	utc   []int64 // by the stamp
}

// Unstamped is a row without a readable stamp: its line, and what stood where
// the stamp belongs.
type Unstamped struct {
	Line int
	Text string
}

// Place names a cell of the table; the column counts from 0, −1 = the row.
func (t *Table) Place(line, column int) string { return series.PlaceOf(t.Sheet, line, column+1) }

// Layout is how the stamps are written, and what proves it; "" where no cells
// hold them.
func (t *Table) Layout() (layout, because string) {
	if t.clk == nil {
		return "", ""
	}
	return t.clk.Layout, t.clk.Because
}

// StampHeaders name the columns that hold the stamps: by their headers, or by
// #n where they have none.
func (t *Table) StampHeaders() []string {
	var out []string
	for _, c := range t.Columns {
		if c < len(t.Header) && t.Header[c] != "" && t.HeaderLine > 0 {
			out = append(out, t.Header[c])
		} else {
			out = append(out, fmt.Sprintf("#%d", c+1))
		}
	}
	return out
}

// Find gives the columns that a header or "#n" names.
func (t *Table) Find(header string) []int {
	var at []int
	for i, h := range t.Header {
		if h == header {
			at = append(at, i)
		}
	}
	if n := 0; len(at) == 0 {
		if k, err := fmt.Sscanf(header, "#%d", &n); k == 1 && err == nil && n >= 1 && n <= len(t.Header) && header == fmt.Sprintf("#%d", n) {
			at = append(at, n-1)
		}
	}
	return at
}

// rows is how many rows the table has, holes in a stream among them.
func (t *Table) rows() int {
	if t.Stream != nil {
		return len(t.Stream.ClockMS)
	}
	return len(t.Rows)
}

// LineOf is where a row stands in its file or sheet.
func (t *Table) LineOf(row int) int {
	if t.Stream != nil {
		return t.Stream.FirstLine + row
	}
	return t.Rows[row].Line
}

// textLine is where the k-th of the texts stands.
func (t *Table) textLine(k int) int {
	if t.Stream != nil {
		return t.LineOf(t.at[k])
	}
	return t.LineOf(k)
}

// textOf is a row's stamp as written; of a stream, as read.
func (t *Table) textOf(row int32) string {
	if t.Stream != nil {
		return time.UnixMilli(t.clk.Wall[row]).UTC().Format("2006-01-02 15:04:05")
	}
	return t.texts[row]
}

// sameReadings tells whether two rows hold the same but for the stamp.
func (t *Table) sameReadings(a, b int32) bool {
	if t.Stream == nil {
		return slices.Equal(t.Rows[a].Cells, t.Rows[b].Cells)
	}
	for _, v := range t.Stream.V {
		if v[a] != v[b] && (v[a] == v[a] || v[b] == v[b]) {
			return false
		}
	}
	return true
}

// Headers says what columns there are, for messages.
func (t *Table) Headers() string {
	if len(t.Header) == 0 || t.HeaderLine == 0 {
		return series.Plural(len(t.Header), "column") + " without names"
	}
	return "the columns " + series.List(t.Header, 12)
}

// NearHint suggests the name that was meant.
func NearHint(name string, names []string) string {
	if near := farm.Nearest(name, names); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return "write the header as it stands in the file, or #n for the n-th column"
}
