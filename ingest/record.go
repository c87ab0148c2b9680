// Package ingest turns a farm folder into one immutable Record: the farm
// file, the logs read, cleaned, flagged, in true UTC and base units, and the
// list of what was doubtful. It knows files and clocks, and no statistics.
//
// Flow: farm (farm.toml) → logs (files → table → clock → cells in base units,
// overlapping exports merged) → reading (counters, intervals, flags) → checks
// of probes against each other, milkings list → Record.
//
// Load is all that a user of the package needs:
//
//	rec, err := ingest.Load("my-farm", ingest.DefaultLoadOptions())
//
// What it gives. Record.Series holds a series for each probe, one column of one
// [[log]] of farm.toml, whichever of the logger's files its readings come from:
// stamps in Unix milliseconds UTC, true time (a clock's error taken off where
// farm.toml says so or it was found), values in the base unit of the quantity
// (package series: degC, L/min, L, kW, kWh, bar, %, 0/1), ascending in time. A
// cell without a reading is no reading; a bad reading keeps its place, its value
// and where it stood (file and line), and carries a flag, for whoever wants it
// back. A counter's series holds what it rose by. Nothing is interpolated and
// nothing filled in: that is analysis/grid's work.
//
// What goes wrong. Input that can't be used is an *InputError with every fault of
// the run: file, line or cell, what stood there, what was expected, what to do.
// Everything that is merely doubtful is a series.Problem in Record.Problems, with
// a code that programs compare (DEVELOPERS.md lists all), a severity, and a
// sentence for people. The files are read and never written.
//
// Which keys farm.toml has, which quantities there are and which default errors
// probes bear, ingest/farm/README.md says. The thresholds of the flags stand in
// LoadOptions and in Record.Limits, by series.
package ingest

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"time"

	"yardheat/ingest/farm"
	"yardheat/ingest/logs"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
)

// Record is all that a farm folder says, cleaned. Immutable.
type Record struct {
	Farm *farm.Farm
	// Dir is the folder as given.
	Dir string
	// Zone is the farm's time zone.
	Zone *time.Location
	// Options in force, thresholds among them.
	Options LoadOptions
	// Series in the order of logs and columns of the farm file.
	Series []*series.Series
	// Limits are the thresholds by which each series was flagged, by its index;
	// nil where nobody noted them.
	Limits []reading.Limits
	// Milkings from the farm's list or stated times, ascending; nil where the
	// farm file has neither (they may still be found in the logs).
	Milkings []Milking
	// MilkingsFrom is "list", "times" or "".
	MilkingsFrom string
	Files        []File
	// Own are farm.toml and the milkings list: originals too, read beside the
	// logs.
	Own []Own
	// Originals are all files that were read, farm.toml, the milkings list and
	// files of which nothing was used among them, by name. SHA256 is "" where only
	// the head of a file was read.
	Originals []Own
	Problems  []series.Problem
	// First, Last: the span of kept readings, Unix ms UTC.
	First, Last int64
}

// Milking is one row of the milkings list (or one stated time on one day).
type Milking struct {
	Start, End int64 // Unix ms UTC
	// MilkL is the milk in litres; NaN where not known.
	MilkL float64
	// InC, OutC: milk temperatures of the row; NaN where the list has none.
	InC, OutC float64
	// Line is the row of the list that it stands in; 0 = in none.
	Line int
}

// Own is one of the farm's own files.
type Own struct {
	Name   string
	SizeB  int64
	SHA256 string
}

// BundleMark is the comment of every zip archive that a report was bundled
// into; a bundle in a farm folder is no log.
const BundleMark = logs.BundleMark

// own notes a file by its bytes.
func (r *Record) own(name string, b []byte) {
	r.Own = append(r.Own, Own{Name: name, SizeB: int64(len(b)), SHA256: fmt.Sprintf("%x", sha256.Sum256(b))})
}

// File is one original and what became of it.
type File struct {
	Name   string // relative to the farm folder, '/' separators
	Sheet  string
	Log    int
	SizeB  int64
	SHA256 string
	// Rows with a stamp; Kept: rows of which at least one reading was kept.
	Rows, Kept int
	// Flags counts its readings by flag, in the order of series.FlagNames.
	Flags [len(series.FlagNames)]int
	First int64 // Unix ms UTC, true time
	Last  int64
	Zone  string // as resolved: "Europe/Rome", "UTC", "+01:00"
	// StampColumns hold the stamps, in StampLayout; StampBecause says what proves
	// it.
	StampColumns              []string
	StampLayout, StampBecause string
	Encoding                  string
	Separator                 string
	Decimal                   string
	HeaderLine                int
	Clock                     Clock
	// Corrections made to it, in words: clock, units, counter resets.
	Corrections []string
	// Ignored columns (not named in farm.toml); SetAside: those that it says to
	// ignore.
	Ignored, SetAside []string
}

// FlagText counts the file's flagged readings in words: "12 spike, 3 stuck".
func (f File) FlagText() string {
	var parts []string
	for i, n := range f.Flags {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, series.FlagNames[i]))
		}
	}
	if parts == nil {
		return "none"
	}
	return strings.Join(parts, ", ")
}

// Clock is the correction applied to one file's stamps. AheadS is stamp minus
// true time at mid-file.
type Clock struct {
	AheadS       float64
	DriftSPerDay float64
	Jumps        []Jump
	Low, High    float64 // 95 % interval of AheadS; NaN where not known
	From         string  // "keep", "given", "found", "not found"
}

// Jump is a step of a logger's clock.
type Jump struct {
	At  int64 // Unix ms UTC, by the stamp
	ByS float64
}

// InputError is an input that cannot be used: exit status 3. It carries every
// fault found in one run.
type InputError struct {
	Faults []Fault
}

// Fault is one reason why the input cannot be used.
type Fault = series.Fault
