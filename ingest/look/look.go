// Package look describes an export before any farm file exists: how it is
// written, its stamps and their span, its columns with unit, kind, range and a
// guessed quantity, and what the file alone cannot settle. It reads with the
// readers that the loader uses (table, stamps), so that the two never disagree.
//
// Flow: table.ReadBytes → stamps.Read (layout, order of day and month, zone) →
// one pass over the rows in the order of time, a tally a column → kind, unit,
// range, guess → doubts. Rows are only ever gone through in order, never
// picked by index.
//
// Values stay in the unit as written. Times are Unix milliseconds, UTC, or the
// logger's own wall clock where nothing states a zone.
package look

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/pack"
	"yardheat/ingest/table"
	"yardheat/ingest/work"
)

// Options are the settings that a [[log]] can carry and that settle a doubt;
// zero values mean "find it in the file".
type Options struct {
	Table table.Options
	// Zone of stamps that state none; Dates is dmy, mdy, ymd or "".
	Zone, Dates string
	// Now: stamps later than this are in the future; zero = not asked.
	Now time.Time
}

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	if o.Zone != "" {
		if _, err := clock.ParseZone(o.Zone); err != nil {
			return err
		}
	}
	if err := (clock.Options{Order: o.Dates}).Validate(); err != nil {
		return err
	}
	return o.Table.Validate()
}

// Table is one table of one file, described. The JSON keys are fixed.
type Table struct {
	File string `json:"file"`
	// Member is the file inside a packed one, "" in a plain file.
	Member     string `json:"member,omitempty"`
	Sheet      string `json:"sheet"`
	Encoding   string `json:"encoding"`
	Separator  string `json:"separator"`
	Decimal    string `json:"decimal"`
	Thousands  string `json:"thousands"`
	HeaderLine int    `json:"header_line"`
	FirstRow   int    `json:"first_row"`
	// Rows are those with a stamp; EventRows of them carry only marks of events
	// and no reading, and are left out of span, interval, gaps and order.
	Rows      int   `json:"rows"`
	EventRows int   `json:"event_rows"`
	Stamp     Stamp `json:"stamp"`
	// First and Last are RFC 3339, without an offset where the zone is unknown.
	First string `json:"first"`
	Last  string `json:"last"`
	// IntervalS is the usual (median) step, 0 for fewer than two stamps;
	// Regular tells whether most steps are near it.
	IntervalS float64 `json:"interval_s"`
	Regular   bool    `json:"regular"`
	// Gaps are steps longer than one and a half intervals, where they are
	// regular; LongestS is the longest step.
	Gaps        int       `json:"gaps"`
	LongestS    float64   `json:"longest_step_s"`
	Duplicates  int       `json:"duplicates"`
	OutOfOrder  int       `json:"out_of_order"`
	NewestFirst bool      `json:"newest_first"`
	Preamble    []string  `json:"preamble"`
	Columns     []Column  `json:"columns"`
	Tags        *Tags     `json:"tags,omitempty"`
	Unsure      []Doubt   `json:"unsure"`
	Problems    []Problem `json:"problems"`

	// Number is the table's place among those of its file or sheet, from 1; Of
	// how many there are.
	Number int `json:"-"`
	Of     int `json:"-"`
	// pieces of the file that it was made from so far.
	pieces int
}

// Stamp says how the stamps are written.
type Stamp struct {
	Columns []string `json:"columns"`
	Format  string   `json:"format"`
	// Zone is "" if the file does not say.
	Zone string `json:"zone"`
	// Because says what proves the order of day, month and year, and where the
	// zone comes from.
	Because string `json:"because"`
	// Order is dmy, mdy or ymd where only a choice makes it so, else "".
	Order string `json:"-"`
}

// Tags names the columns of a long log: a row holds one tag and one value. A tag
// that only several columns make together (a device, its channel) is called by
// their headers, joined by a stroke, and so are the tags.
type Tags struct {
	Tag   string `json:"tag"`
	Value string `json:"value"`
}

// Kind is what a column's cells are.
type Kind string

// The kinds. An amount per reading is a Mean in that it stands for an interval.
const (
	Instant Kind = "instant"
	Mean    Kind = "mean"
	Counter Kind = "counter"
	State   Kind = "state"
	Event   Kind = "event"
	Text    Kind = "text"
	Index   Kind = "index"
)

// Column is one column (or one tag of a long log) that holds no stamps.
type Column struct {
	Name string `json:"name"`
	// Number is the column's place, from 1.
	Number int    `json:"number"`
	Unit   string `json:"unit"`
	Kind   Kind   `json:"kind"`
	// Readings are cells with one, Missing the rows without: empty, a word, or
	// a number that stands for "no reading" (Codes of them). Implausible
	// readings are counted but not in Min and Max.
	Readings    int      `json:"readings"`
	Missing     int      `json:"missing"`
	Codes       int      `json:"codes"`
	Implausible int      `json:"implausible"`
	Min         *float64 `json:"min"`
	Max         *float64 `json:"max"`
	Quantity    string   `json:"quantity"`
	Place       string   `json:"place"`
	Because     string   `json:"because"`
	// Tag: the name is a tag of a long log, not a header.
	Tag bool `json:"tag,omitempty"`
	// Points are the means (of marks: the counts) of ten equal stretches of
	// the span; null = nothing there.
	Points [10]*float64 `json:"points"`
	// Amount: totals per reading, which stand for an interval.
	Amount bool `json:"-"`
	// UnitAssumed is the unit that start states where the file states none.
	UnitAssumed string `json:"-"`
	// letter is the C or F that its name ends in, which may be its unit.
	letter string
	// history holds the points of later pieces of a large file.
	history [][10]*float64
	// Words are what an event or text column says, commonest first.
	Words []string `json:"words,omitempty"`
}

// Doubt is something the file alone cannot settle.
type Doubt struct {
	// About is the farm-file key that settles it.
	About   string   `json:"key"`
	Flag    string   `json:"flag,omitempty"`
	Columns []string `json:"columns,omitempty"`
	Text    string   `json:"text"`
	Assumed string   `json:"assumed"`
	// Settle is the line of [[log]] to write.
	Settle string `json:"settle"`
}

// Problem is something met while reading.
type Problem struct {
	Code   string `json:"code"`
	Line   int    `json:"line"`
	Cell   string `json:"cell,omitempty"`
	Column int    `json:"column"`
	Text   string `json:"text"`
}

// File describes the tables of one file.
func File(path string, opt Options) (found []Table, err error) {
	defer work.Catch(&err)
	// Looked at before it is opened: to open a pipe would wait for who writes it.
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() && !info.IsDir() {
		return nil, notPlain(path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	defer func() { _ = f.Close() }() // read only
	info, err := f.Stat()
	if err != nil {
		return nil, unreadable(path, err)
	}
	if mode := info.Mode(); !mode.IsRegular() && !mode.IsDir() {
		return nil, notPlain(path)
	}
	if err := opt.Validate(); err != nil {
		return nil, fmt.Errorf("look: %w", err)
	}
	if size := info.Size(); info.Mode().IsRegular() && size > wholeBytes && size <= table.DefaultMaxBytes {
		out, err := inPieces(f, path, opt, pieceBytes)
		if !errors.Is(err, errWhole) {
			return out, err
		}
	}
	tables, err := table.Read(path, opt.Table)
	if err != nil {
		return nil, err
	}
	return describe(path, tables, opt), nil
}

func notPlain(path string) error {
	return &table.Error{File: path, Got: "no plain file", Want: "an export of a logger", Do: "name a file"}
}

func unreadable(path string, err error) error {
	return &table.Error{File: path, Got: "a file that cannot be opened (" + reason(err) + ")", Want: "an export of a logger", Do: "check the name", Err: err}
}

// Bytes is File on bytes already in memory; name is what messages call the
// file.
func Bytes(name string, b []byte, opt Options) (found []Table, err error) {
	defer work.Catch(&err)
	if err := opt.Validate(); err != nil {
		return nil, fmt.Errorf("look: %w", err)
	}
	if len(b) > wholeBytes && !pack.IsPacked(b) {
		out, err := inPieces(bytes.NewReader(b), name, opt, pieceBytes)
		if !errors.Is(err, errWhole) {
			return out, err
		}
	}
	tables, err := table.ReadBytes(name, b, opt.Table)
	if err != nil {
		return nil, err
	}
	return describe(name, tables, opt), nil
}

func describe(path string, tables []*table.Table, opt Options) []Table {
	out := make([]Table, 0, len(tables))
	number, of := map[string]int{}, map[string]int{}
	for _, t := range tables {
		of[t.File+"\x00"+t.Sheet]++
	}
	done := make([]*describer, len(tables))
	for i, t := range tables {
		done[i] = newDescriber(path, t, opt)
		done[i].run()
	}
	orderBySibling(done, opt)
	for i, t := range tables {
		d := done[i]
		key := t.File + "\x00" + t.Sheet
		number[key]++
		d.out.Number, d.out.Of = number[key], of[key]
		out = append(out, d.out)
	}
	return out
}

// orderBySibling reads again the tables whose dates alone read either way, where
// others of the file prove one order of day and month: as the loader does.
func orderBySibling(all []*describer, opt Options) {
	proven := ""
	for _, d := range all {
		if d.orderOpen() || !d.at.Ready {
			continue
		}
		order := formatOrder(d.out.Stamp.Format)
		if proven != "" && order != "" && order != proven {
			return
		}
		if order != "" {
			proven = order
		}
	}
	if proven == "" || opt.Dates != "" {
		return
	}
	for i, d := range all {
		if !d.orderOpen() {
			continue
		}
		o := opt
		o.Dates = proven
		again := newDescriber(d.out.File, d.src, o)
		again.run()
		if again.at.Ready {
			again.out.Stamp.Because = strings.Replace(again.out.Stamp.Because, "stated", "another table of the file proves it", 1)
			all[i] = again
		}
	}
}

// orderOpen tells whether nothing in the table itself settles the order of day
// and month.
func (d *describer) orderOpen() bool {
	return slices.ContainsFunc(d.out.Unsure, func(u Doubt) bool { return u.About == "dates" })
}

// OrderOf is dmy, mdy or ymd of a Stamp.Format of three numbers, "" of others; a
// year of four digits in front has no other order.
func OrderOf(format string) string { return formatOrder(format) }

// formatOrder is dmy, mdy or ymd of a format of three numbers, "" of others.
func formatOrder(format string) string {
	y, m, d := strings.IndexByte(format, 'Y'), strings.IndexByte(format, 'M'), strings.IndexByte(format, 'D')
	switch {
	case y < 0 || m < 0 || d < 0 || strings.Contains(format, "MMM") || strings.HasPrefix(format, "YYYY"):
		return ""
	case d < m && m < y:
		return "dmy"
	case m < d && d < y:
		return "mdy"
	case y < m && m < d:
		return "ymd"
	}
	return ""
}
