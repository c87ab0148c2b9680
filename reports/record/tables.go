package record

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"

	"yardheat/analysis/grid"
	"yardheat/analysis/season"
	"yardheat/reports/internal/rows"
)

// The names of the tables: the CSV, the Parquet and the description of one have
// its name and their ending.
const (
	RecordTable   = "record"
	MilkingsTable = "milkings"
	DrawsTable    = "draws"
	WashesTable   = "washes"

	CSVTail     = ".csv"
	ParquetTail = ".parquet"
	CSVWTail    = ".csv-metadata.json"
)

// TableNames are the tables of every report.
func TableNames() []string { return []string{RecordTable, MilkingsTable, DrawsTable, WashesTable} }

// Table is one table of a season, ready to be written.
type Table struct {
	// Name without an ending; Title and About for a person.
	Name, Title, About string
	// Schema is the version of its columns: "yardheat-record/1".
	Schema string
	// Key are the columns that tell its rows apart.
	Key     []string
	Columns []Column
	// Rows it has.
	Rows int
	// Zone of time_local; StepS of the grid, 0 = none.
	Zone  string
	StepS float64

	csv func(w io.Writer) error
	// millis: its CSV prints thousandths of a second.
	millis bool
	fills  []filler
}

// filler puts the values of one column, from row lo on, into out.
type filler func(out []parquet.Value, lo int)

// CSV writes the table as comma-separated values.
func (t *Table) CSV(w io.Writer) error { return t.csv(w) }

// Tables are the tables of a season in the order of TableNames. The error is a
// zone of the farm that this system does not know.
func Tables(s *season.Season) ([]*Table, error) {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		return nil, fmt.Errorf("record.csv: time zone of the farm: %w", err)
	}
	g := s.Record
	if g == nil {
		g = &grid.Grid{StepS: 60}
	}
	record := &Table{Name: RecordTable, Schema: "yardheat-record/1", Title: "Record of " + s.Farm, Key: []string{"time_utc"},
		About:   "The cleaned readings on one grid, a row a cell, stamped with its start. An empty cell is not covered.",
		Columns: Columns(s), Rows: g.N, StepS: g.StepS, millis: subSecond(g), fills: recordFills(g, zone),
		csv: func(w io.Writer) error { return Record(w, s) }}
	milkings := tableOf(s.Cycles, rows.Cycles(), rows.AboutCycles(), zone)
	milkings.Name, milkings.Schema, milkings.Title, milkings.Key = MilkingsTable, "yardheat-milkings/1", "Cycles of "+s.Farm, []string{"cycle"}
	milkings.About = "A row a cycle: from one milking's start to the next. 12 significant digits; an empty cell is not known."
	draws := tableOf(s.Draws, rows.Draws(), rows.AboutDraws(), zone)
	draws.Name, draws.Schema, draws.Title, draws.Key = DrawsTable, "yardheat-draws/1", "Draws of "+s.Farm, []string{"draw"}
	draws.About = "A row a draw: a refill through the loop. 12 significant digits; an empty cell is not known."
	washes := tableOf(s.Washes.List, rows.Washes(), rows.AboutWashes(), zone)
	washes.Name, washes.Schema, washes.Title = WashesTable, "yardheat-washes/1", "Washes of "+s.Farm
	washes.About = "A row a wash or rinse. 12 significant digits; an empty cell is not known."
	out := []*Table{record, milkings, draws, washes}
	for _, t := range out {
		t.Zone = s.ZoneName
	}
	return out, nil
}

// subSecond tells whether cells start between whole seconds.
func subSecond(g *grid.Grid) bool { return g.StepMS()%1000 != 0 || g.StartMS%1000 != 0 }

func recordFills(g *grid.Grid, zone *time.Location) []filler {
	utc, local := newStamper(time.UTC, false), newStamper(zone, false)
	edge := func(i int) (int64, bool) { return g.EdgeMS(i), true }
	out := []filler{fillTime(utc, edge), fillTime(local, edge)}
	for k := range g.Channels {
		v := g.Channels[k].Values
		out = append(out, func(to []parquet.Value, lo int) { fillFixed(to, v[lo:lo+len(to)]) })
	}
	names := channelNames(g)
	return append(out, func(to []parquet.Value, lo int) {
		for i := range to {
			to[i] = null
			if anyFlag(g, lo+i) {
				to[i] = parquet.ByteArrayValue([]byte(flagCell(g, names, lo+i))).Level(0, 1, 0)
			}
		}
	})
}

// fillFixed makes values of a channel's readings. A value is made anew only where
// it differs from the one before: still pipes and states repeat theirs.
func fillFixed(to []parquet.Value, v []float64) {
	last, made := math.NaN(), null
	for i, x := range v {
		if x != last {
			last, made = x, optional(x, fixed(x))
		}
		to[i] = made
	}
}

// null is what is not known.
var null = parquet.NullValue().Level(0, 0, 0)

// optional is shown, or null where v is not known. v − v is 0 for every finite v
// only.
func optional(v, shown float64) parquet.Value {
	if v-v != 0 {
		return null
	}
	return parquet.DoubleValue(shown).Level(0, 1, 0)
}

func fillTime(s *stamper, at func(i int) (int64, bool)) filler {
	return func(to []parquet.Value, lo int) {
		for i := range to {
			to[i] = null
			if ms, ok := at(lo + i); ok {
				to[i] = parquet.Int64Value(s.wallMS(ms)).Level(0, 1, 0)
			}
		}
	}
}

func tableOf[T any](list []T, columns []rows.Column[T], about map[string]rows.About, zone *time.Location) *Table {
	t := &Table{Columns: columnsOf(columns, about), Rows: len(list), millis: !wholeSeconds(list, columns)}
	for _, c := range columns {
		t.fills = append(t.fills, fillsOf(list, c, zone)...)
	}
	t.csv = func(w io.Writer) error { return writeRows(w, list, columns, t, zone) }
	return t
}

func fillsOf[T any](list []T, c rows.Column[T], zone *time.Location) []filler {
	each := func(value func(*T) parquet.Value) []filler {
		return []filler{func(to []parquet.Value, lo int) {
			for i := range to {
				to[i] = value(&list[lo+i])
			}
		}}
	}
	switch {
	case c.Kind == rows.Time:
		at := func(i int) (int64, bool) { ms := c.At(&list[i]); return ms, ms != 0 }
		return []filler{fillTime(newStamper(time.UTC, false), at), fillTime(newStamper(zone, false), at)}
	case c.Kind == rows.Text:
		return each(func(r *T) parquet.Value {
			if text := c.Text(r); text != "" {
				return parquet.ByteArrayValue([]byte(text)).Level(0, 1, 0)
			}
			return null
		})
	case c.Kind == rows.YesNo:
		return each(func(r *T) parquet.Value { return parquet.BooleanValue(c.Number(r) == 1).Level(0, 1, 0) })
	case c.Whole:
		return each(func(r *T) parquet.Value {
			if v := c.Number(r); v-v == 0 {
				return parquet.Int64Value(int64(v)).Level(0, 1, 0)
			}
			return null
		})
	}
	return each(func(r *T) parquet.Value { v := c.Number(r); return optional(v, rounded(v)+0) }) // + 0: -0 is 0
}

func writeRows[T any](w io.Writer, list []T, columns []rows.Column[T], t *Table, zone *time.Location) error {
	b := recordHead(t.Columns)
	utc, local := newStamper(time.UTC, t.millis), newStamper(zone, t.millis)
	for i := range list {
		for k, c := range columns {
			if k > 0 {
				b = append(b, ',')
			}
			b = appendCell(b, &list[i], c, utc, local)
		}
		b = append(b, '\n')
	}
	_, err := w.Write(b)
	return err
}

// wholeSeconds tells whether every time of the rows is one.
func wholeSeconds[T any](list []T, columns []rows.Column[T]) bool {
	for _, c := range columns {
		for i := range list {
			if c.Kind == rows.Time && c.At(&list[i])%1000 != 0 {
				return false
			}
		}
	}
	return true
}

func appendCell[T any](b []byte, r *T, c rows.Column[T], utc, local *stamper) []byte {
	switch c.Kind {
	case rows.Time:
		at := c.At(r)
		if at == 0 {
			return append(b, ',')
		}
		b = utc.append(b, at)
		b = append(b, ',')
		return local.append(b, at)
	case rows.Text:
		return appendText(b, c.Text(r))
	}
	return appendFull(b, c.Number(r))
}

// sentence ends a text otherwise than with its full stop.
func sentence(text, tail string) string { return strings.TrimSuffix(text, ".") + tail }
