package record

import (
	"fmt"

	"yardheat/analysis/grid"
	"yardheat/analysis/season"
	"yardheat/reports/internal/rows"
)

// Type is what a column of a table holds.
type Type uint8

// The types of column. Number is a double, Whole a count or a number of
// something, YesNo 1 or 0 in the CSV and a boolean in Parquet.
const (
	UTC Type = iota
	Local
	Number
	Whole
	YesNo
	Text
)

// Column is one column of a table and what it holds.
type Column struct {
	// Name as it stands in the header; Head as a person reads it, "" = none.
	Name, Head string
	Type       Type
	// Quantity and Place it measures, Probe that reads it (log and column), Unit,
	// and From, how it was logged: counter, amount, rate, state, reading; all ""
	// for what is no channel of the record, but for Unit.
	Quantity, Place, Probe, Unit, From string
	// Meaning, and how it is Made ("" where the meaning says it).
	Meaning, Made string
	// Always: no cell is empty.
	Always bool
}

// madeOf says how a channel's cells come about, by how it was logged.
var madeOf = map[string]string{
	"reading": "the reading, interpolated to the middle of the cell; empty: not covered",
	"counter": "what the counter rose by, spread over the time between its readings",
	"amount":  "the amounts per reading, spread over their intervals",
	"rate":    "mean of the rate over the cell",
	"state":   "share of the cell in which it was on",
}

// Columns are those of record.csv and record.parquet in their order.
func Columns(s *season.Season) []Column {
	out := []Column{
		{Name: "time_utc", Type: UTC, Always: true, Meaning: "Start of the cell of the grid, in UTC."},
		{Name: "time_local", Type: Local, Always: true, Meaning: "The same, by the farm's clocks."},
	}
	if s.Record != nil {
		for i, name := range channelNames(s.Record) {
			out = append(out, channelColumn(name, &s.Record.Channels[i]))
		}
	}
	return append(out, Column{Name: "flags", Type: Text,
		Meaning: "Flags of the readings in the cell: channel:flag+flag;channel:flag. A flagged reading is in no figure."})
}

func channelColumn(name string, c *grid.Channel) Column {
	out := Column{Name: name + "_" + c.Unit, Type: Number, Quantity: string(c.Quantity), Place: c.Place, Probe: c.Probe, Unit: c.Unit,
		From: c.From, Made: madeOf[c.From]}
	at := ""
	if c.Place != "" {
		at = " at " + c.Place
	}
	out.Meaning = fmt.Sprintf("Quantity %s%s, read by %s.", c.Quantity, at, c.Probe)
	if at == "" {
		out.Meaning = fmt.Sprintf("Quantity %s of farm.toml, read by %s.", c.Quantity, c.Probe)
	}
	return out
}

var rowTypes = map[rows.Kind]Type{rows.Number: Number, rows.Text: Text, rows.YesNo: YesNo}

// columnsOf are the columns of a table of rows; a time takes two.
func columnsOf[T any](columns []rows.Column[T], about map[string]rows.About) []Column {
	var out []Column
	for _, c := range columns {
		one := Column{Name: c.Key, Head: c.Head, Type: rowTypes[c.Kind], Unit: c.Unit, Meaning: about[c.Key].Meaning, Made: about[c.Key].Made}
		if c.Whole {
			one.Type = Whole
		}
		if c.Kind != rows.Time {
			out = append(out, one)
			continue
		}
		for _, t := range []struct {
			tail, head, says string
			is               Type
		}{{"_utc", " (UTC)", ", in UTC.", UTC}, {"_local", " (local)", ", by the farm's clocks.", Local}} {
			at := one
			at.Name, at.Head, at.Type, at.Meaning = c.Key+t.tail, c.Head+t.head, t.is, sentence(one.Meaning, t.says)
			out = append(out, at)
		}
	}
	return out
}
