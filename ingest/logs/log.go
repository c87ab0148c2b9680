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
	"fmt"
	"os"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// Options are what the reader is told beside the farm file.
type Options struct {
	// Now: stamps later than this are in the future; zero = not asked.
	Now time.Time
	// Workers is how many files are read at a time (0 = 2).
	Workers int
	// Progress is told how many files have been read; nil = nobody asks. It is
	// never called twice at once.
	Progress func(stage string, done, total int)
	Flags    reading.FlagOptions
}

// Found is what was found wrong or doubtful.
type Found struct {
	Faults   []series.Fault
	Problems []series.Problem
}

func (f *Found) fault(file, where, got, want, do string) {
	f.Faults = append(f.Faults, series.Fault{File: file, Where: where, Got: got, Want: want, Do: do})
}

func (f *Found) problem(code string, sev series.Severity, file, where, format string, args ...any) {
	f.Problems = append(f.Problems, series.Problem{Code: code, Severity: sev, File: file, Where: where, Text: fmt.Sprintf(format, args...)})
}

func (f *Found) add(o Found) {
	f.Faults, f.Problems = append(f.Faults, o.Faults...), append(f.Problems, o.Problems...)
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
	Found   Found

	names []string
	all   []*Table // every table of every file, by name
}

// Table is one table of one file and what became of it.
type Table struct {
	// Name is the file, relative to the farm folder.
	Name string
	*table.Table
	// File is the number that Origin.File carries.
	File int32
	// RowCount is the rows with a stamp; First and Last their span in true UTC.
	RowCount    int
	First, Last int64
	Zone        string
	// Shift was applied; AheadS is the clock at mid-file.
	Shift       clock.Shift
	AheadS      float64
	Corrections []string
	Ignored     []string

	log    *Log
	zone   *time.Location
	cols   []int // by mapped column: its index in Header, −1 = not here
	tag    int   // with tags: the columns of tag and value
	value  int
	stamps []int
	texts  []string
	clk    *clock.Column
	utc    []int64 // by the stamp
	at     []int64 // true UTC
	order  []int32 // rows with a stamp, in the order of time
	rowBad []series.Flag
	found  Found
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
func Read(root *os.Root, f *farm.Farm, opt Options) ([]*Log, Found) {
	var found Found
	logs := make([]*Log, len(f.Logs))
	for i := range f.Logs {
		logs[i] = newLog(i, &f.Logs[i])
		logs[i].names = expand(root, logs[i].Farm, &found)
	}
	found.add(shared(logs))
	readAll(root, logs, opt)
	for _, l := range logs {
		l.bind()
		l.readStamps(f, opt)
	}
	number(logs)
	for _, l := range logs {
		l.readCells(opt)
	}
	for _, l := range logs {
		l.merge()
		found.add(l.Found)
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
			if t.used() {
				t.File = n
				n++
			}
		}
	}
}

// used tells whether a table has stamps and mapped columns.
func (t *Table) used() bool { return t.clk != nil }

// Place names a cell: "line 12, column 4" or "sheet Log, D12".
func (t *Table) Place(line, col int) string {
	switch {
	case t.Sheet != "" && col >= 0 && line > 0:
		return fmt.Sprintf("sheet %q, %s%d", t.Sheet, letters(col+1), line)
	case t.Sheet != "" && line > 0:
		return fmt.Sprintf("sheet %q, row %d", t.Sheet, line)
	case t.Sheet != "":
		return fmt.Sprintf("sheet %q", t.Sheet)
	case line <= 0:
		return ""
	case col >= 0:
		return fmt.Sprintf("line %d, column %d", line, col+1)
	}
	return fmt.Sprintf("line %d", line)
}

// letters are a spreadsheet's column letters, 1 = A.
func letters(column int) string {
	s := ""
	for ; column > 0; column = (column - 1) / 26 {
		s = string(rune('A'+(column-1)%26)) + s
	}
	return s
}
