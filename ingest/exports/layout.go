package exports

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Stamp is a way to write times.
type Stamp struct {
	// Heads name its columns; "{zone}" in one is the name of the zone.
	Heads []string
	// Cells writes a time that stands in the layout's zone.
	Cells func(at time.Time) []string
	// States: cells or heads say which zone they are in.
	States bool
	// OneZone: it can be written in one zone only (seconds since 1970, say).
	OneZone bool
}

// Shapes of a table.
const (
	Wide      = ""
	Long      = "long"      // time, tag, value
	Staggered = "staggered" // a row fills one channel, seven seconds behind the last
	Apart     = "apart"     // a table for each channel, one behind the other
	Events    = "events"    // a row where a state changes
)

// Blanks and Fixed are separators of their own kind: one or more blanks
// between cells that hold none, and columns of fixed width.
const (
	Blanks = " "
	Fixed  = "  "
)

// Layout is one way to write the truth.
type Layout struct {
	Name string
	Span int
	// Channels are those written, by index; nil = the first five.
	Channels []int

	Encoding string // as the reader names it; "UTF-8" where ""
	BOM      bool
	LineEnd  string // "\n" where ""; "mixed" = LF, CR LF and CR by turns

	Sep       string
	SepLine   bool
	Trailing  bool   // a separator at the end of every line
	Quotes    string // "", "all", "header", "text"
	Decimal   string // "." where ""
	Thousands string
	Numbers   string
	Missing   []string // what stands where there is no reading, by turns

	Stamp   Stamp
	StampAt int    // index of the first stamp column
	Zone    string // in which stamps are written; FarmZone where ""
	Lead    bool   // a running number in front

	Shape string
	Tag   string // header of the tag column of a long table; "Channel" where ""

	// UnitsIn is "(", "[", " ", "/", ", ", "_" (by that mark in the header),
	// "row", "cells" or "" (nowhere).
	UnitsIn  string
	Names    []string // of the channels, in place of the truth's
	Suffix   []string // what a row below the names adds to each
	Remark   string   // behind every name
	Every    int      // only each such row of the truth is written (0 = each)
	Above    [][]string
	NoHeader bool
	Preamble []string
	Footer   []string
	// Below stands between the names (or the unit row) and the rows: a rule of
	// dashes, a row that says how each column was made.
	Below []string
	// Again: the header stands again after so many rows.
	Again int
	// Spoil changes the finished text.
	Spoil func(text string) string
	// Order is "", "newest first" or "shuffled".
	Order string

	// Want says what a reading cannot be told from the fields above.
	Want Want

	truth *Truth
}

// Want is what a person reads off a layout beside its readings.
type Want struct {
	// Separator and Encoding, where they differ from what the layout states.
	Separator, Encoding string
	// Decimal mark as the file proves it; "none" = it cannot.
	Decimal string
	// Codes are the problems that must be listed.
	Codes []string
	// Refused: no reading, but an error that holds these words.
	Refused string
}

// Changes of Layout.As.
const (
	InFahrenheit  = "°C as °F"
	InCubicMetres = "L/h as m³/h"
	InTokyo       = "another zone"
	OtherMark     = "the other decimal mark"
)

// As writes the same readings another way; false where the layout can't.
func (l Layout) As(change string) (Layout, bool) {
	l.init()
	switch change {
	case InFahrenheit, InCubicMetres:
		return l.inUnits(change)
	case InTokyo:
		if l.Stamp.OneZone {
			return l, false
		}
		l.Zone = "Asia/Tokyo"
		return l, true
	case OtherMark:
		return l.otherMark()
	}
	return l, false
}

func (l Layout) inUnits(change string) (Layout, bool) {
	t := *l.truth
	t.Channels = slices.Clone(t.Channels)
	some := false
	for _, k := range l.Channels {
		c := &t.Channels[k]
		switch {
		case change == InFahrenheit && c.Unit == "°C":
			c.fahrenheit()
			some = true
		case change == InCubicMetres && c.Unit == "L/h":
			c.cubicMetres()
			some = true
		}
	}
	l.truth = &t
	return l, some
}

func (l Layout) otherMark() (Layout, bool) {
	if l.Spoil != nil || l.Want.Decimal == "none" || l.Shape == Events {
		return l, false
	}
	if l.Decimal == "," {
		l.Decimal = "."
		if l.Thousands == "." {
			l.Thousands = ","
		}
		return l, true
	}
	l.Decimal = ","
	if l.Thousands == "," {
		l.Thousands = "."
	}
	if l.Sep == "," && l.Quotes != "all" {
		l.Sep = ";"
		for _, lines := range [...]*[]string{&l.Preamble, &l.Below, &l.Footer} {
			*lines = slices.Clone(*lines)
			for i := range *lines {
				(*lines)[i] = strings.ReplaceAll((*lines)[i], ",", ";")
			}
		}
	}
	return l, true
}

// init fills defaults in.
func (l *Layout) init() {
	if l.truth == nil {
		l.truth = NewTruth(l.Span)
	}
	if l.Channels == nil {
		l.Channels = []int{0, 1, 2, 3, 4}
	}
	if l.Zone == "" {
		l.Zone = FarmZone
	}
	if l.Tag == "" {
		l.Tag = "Channel"
	}
	if l.Missing == nil {
		l.Missing = []string{""}
	}
	if l.Sep == "" {
		l.Sep = ","
	}
}

// Rows is how many times the truth holds.
func (l Layout) Rows() int { return rows }

// header is the name of a channel as written.
func (l *Layout) header(k int) string {
	c := &l.truth.Channels[k]
	name := c.Name
	if at := slices.Index(l.Channels, k); l.Names != nil {
		name = l.Names[at]
	}
	switch l.UnitsIn {
	case "", "row", "cells":
		return name
	}
	if c.Unit == "" {
		return name
	}
	switch l.UnitsIn {
	case "(":
		return name + " (" + c.Unit + ")"
	case "[":
		return name + " [" + c.Unit + "]"
	}
	return name + l.UnitsIn + c.Unit + l.Remark
}

// Farm is the [[log]] of a farm file that maps the layout's columns.
func (l Layout) Farm(files string) string {
	l.init()
	var b strings.Builder
	fmt.Fprintf(&b, "[[log]]\nfiles = [%q]\nstamp = \"instant\"\n", files)
	if l.Zone != FarmZone && !l.Stamp.States {
		fmt.Fprintf(&b, "zone = %q\n", l.Zone)
	}
	if l.Shape == Long || l.Shape == Events {
		fmt.Fprintf(&b, "tags = { tag = %q, value = \"Value\" }\n", l.Tag)
	}
	b.WriteString("[log.columns]\n")
	for n, k := range l.Channels {
		c := &l.truth.Channels[k]
		fmt.Fprintf(&b, "%q = { quantity = %q", l.key(n, k), c.Quantity)
		if l.UnitsIn == "" && c.Unit != "" {
			fmt.Fprintf(&b, ", unit = %q", c.Unit)
		}
		if c.Counter {
			b.WriteString(", counter = true")
		}
		b.WriteString(" }\n")
	}
	return b.String()
}

// key is what the farm file calls the n-th channel written, the k-th of the
// truth.
func (l *Layout) key(n, k int) string {
	if l.NoHeader {
		return fmt.Sprintf("#%d", l.columnOf(n)+1)
	}
	above := ""
	for _, row := range l.Above {
		if s := row[l.columnOf(n)]; s != "" {
			above += s + " "
		}
	}
	if l.Suffix != nil {
		return above + l.header(k) + l.Suffix[n]
	}
	return above + l.header(k)
}

// columnOf is the index of the n-th channel's column in a wide table.
func (l *Layout) columnOf(n int) int {
	lead := 0
	if l.Lead {
		lead = 1
	}
	if n < l.StampAt-lead {
		return n + lead
	}
	return n + lead + len(l.Stamp.Heads)
}
