package record

import "yardheat/analysis/season"

// Column is one column of record.csv and what it holds.
type Column struct {
	// Name as it stands in the header.
	Name string
	// Quantity and Place it measures, Probe that reads it (log and column), Unit,
	// and From, how it was logged: counter, amount, rate, state, reading; all ""
	// for time_utc, time_local and flags.
	Quantity, Place, Probe, Unit, From string
}

// Columns are those of record.csv in their order.
func Columns(s *season.Season) []Column {
	out := []Column{{Name: "time_utc"}, {Name: "time_local"}}
	if s.Record != nil {
		for i, name := range channelNames(s.Record) {
			c := s.Record.Channels[i]
			out = append(out, Column{Name: name + "_" + c.Unit, Quantity: string(c.Quantity), Place: c.Place, Probe: c.Probe, Unit: c.Unit, From: c.From})
		}
	}
	return append(out, Column{Name: "flags"})
}
