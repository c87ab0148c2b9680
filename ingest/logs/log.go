// Package logs reads the files of each [[log]] of a farm: which files its
// patterns name, which of their columns the farm file maps, their stamps in
// true UTC, their cells as numbers in base units, and the readings of
// overlapping exports brought together. What a column means over time (counter,
// interval, flags) is package reading's work.
//
// Flow: patterns → files → tables (in parallel) → columns bound → stamps
// (layout, order of day and month, zone, clock) → readings → merged columns.
package logs

import (
	"context"
	"os"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/stamps"
	"yardheat/ingest/work"
)

// Options are what the reader is told beside the farm file.
type Options struct {
	// Now: stamps later than this are in the future; zero = not asked.
	Now time.Time
	// Workers is how many files are read at a time (0 = 2).
	Workers int
	// StreamBytes: text exports from this size on are read as streams; 0 =
	// DefaultStreamBytes, below 0 = never.
	StreamBytes int64
	// Context ends the reading: Read then leaves by work.Check. nil = it never
	// ends.
	Context context.Context
	// Told is told of every file under Stage, begun and done; nil = nobody asks.
	Told  *work.Teller
	Stage work.Stage
	Flags reading.FlagOptions
	// Clocks are those that were found, by log.
	Clocks map[int]clock.Shift

	files *progress
}

// Log is one [[log]] as read.
type Log struct {
	Index int
	Farm  *farm.Log
	// Tables that were used, the older first: the later in this list is "the
	// later file".
	Tables []*Table
	// Columns are the mapped columns in the order of the farm file.
	Columns []*Column
	Found   series.Found

	names []string
	all   []*Table          // every table of every file, by name
	twins map[string]string // files that hold the bytes of another, and that other
}

// Table is one table of one file and what became of it.
type Table struct {
	*stamps.Table
	// File is the number that Origin.File carries.
	File    int32
	Ignored []string

	log   *Log
	cols  []int // by mapped column: its index in Header, −1 = not here; nil = none is
	tags  []int // with tags: the columns that make the tag together
	value int   // and that of the value

	source   *source          // of a long file: what its rows are yet to be read from
	streamed []int            // by mapped column: its index among the columns of Stream, −1 = none
	odd      map[int][]string // by row: the cells of lines that were kept though they did not fit
	stampsMS []int64          // what the columns share, once asked for
	origins  series.Origins
}

// Column is one mapped column and its readings from all the log's files.
type Column struct {
	Farm farm.Column
	// Header and Unit as written in the first file that has the column.
	HeaderText, UnitText string
	Info                 series.Info
	reading.Column
	// FactorBase is what one of the unit as written is in the base unit.
	FactorBase float64
	// Written turns a base value back into the number as written.
	Written func(base float64) float64
	Amps    bool
	Missing int

	seen  int // files that have it
	units columnUnits
	parts []*part
}

// Read reads all the logs of a farm file from its folder.
func Read(root *os.Root, f *farm.Farm, opt Options) ([]*Log, series.Found) {
	var found series.Found
	if opt.StreamBytes == 0 {
		opt.StreamBytes = DefaultStreamBytes
	}
	logs := make([]*Log, len(f.Logs))
	for i := range f.Logs {
		logs[i] = newLog(i, &f.Logs[i])
		logs[i].names = expand(root, logs[i].Farm, f.Milkings.File, &found)
	}
	found.Add(shared(logs))
	opt.files = newProgress(logs, opt)
	defer opt.files.close()
	readAll(root, logs, opt)
	for _, l := range logs {
		l.bind()
		l.stream(opt)
		l.readStamps(f, opt)
	}
	number(logs)
	for _, l := range logs {
		work.Check(opt.Context)
		l.readCells(opt)
	}
	for _, l := range logs {
		work.Check(opt.Context)
		l.merge()
		found.Add(l.Found)
	}
	return logs, found
}

func newLog(index int, f *farm.Log) *Log {
	l := &Log{Index: index, Farm: f}
	for _, c := range f.Columns {
		if c.Quantity == "ignore" {
			continue
		}
		info, _ := series.Lookup(series.Quantity(c.Quantity))
		l.Columns = append(l.Columns, &Column{Farm: c, Info: info})
	}
	return l
}

// number gives every used table its place among the record's files: by log,
// then by name.
func number(logs []*Log) {
	n := int32(0)
	for _, l := range logs {
		for _, t := range l.all {
			if t.Ready {
				t.File = n
				n++
			}
		}
	}
}

// readStamps reads the stamps of the tables that hold a mapped column.
func (l *Log) readStamps(f *farm.Farm, opt Options) {
	var tables []*stamps.Table
	for _, t := range l.all {
		if t.cols != nil {
			t.Taken = t.taken()
			tables = append(tables, t.Table)
		}
	}
	var found *clock.Shift
	if s, ok := opt.Clocks[l.Index]; ok {
		found = &s
	}
	l.Found.Add(stamps.Read(tables, l.Farm, f, stamps.Options{Now: opt.Now, FarDays: opt.Flags.FarDays, Clock: found,
		Each: func(n int, f func(int)) {
			parallel(opt.Workers, n, func(i int) {
				work.Check(opt.Context)
				f(i)
			})
		}}))
}
