// Package record writes what stands behind a report as plain tables, and what
// became of every original (sources.json).
//
// The tables (Tables) are the cleaned, aligned record, a row a cell of the grid
// (record), a row a cycle (milkings), a row a refill through the loop (draws)
// and a row a wash (washes). Each is written three times: as CSV; as Parquet of
// the same columns and the same values; and what its columns are, in the form of
// CSV on the Web beside the CSV and in the key-value metadata of the Parquet.
// README.md says what stands where and what may change between versions.
//
// The CSV is UTF-8 without a mark, LF, comma, decimal point, times in ISO 8601
// with offset, an empty cell for what is not known. A text that a spreadsheet
// would run as a formula gets a quote in front, in the CSV only. In Parquet what
// is not known is null, time_utc is an instant, and time_local reads as the
// farm's clocks did. The bytes do not depend on the number of cores. The package
// computes nothing.
package record

import (
	"fmt"
	"io"
	"math"
	"runtime"
	"strconv"
	"strings"
	"time"

	"yardheat/analysis/grid"
	"yardheat/analysis/season"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// block is how many rows one worker fills at a time.
const block = 8192

// Record writes record.csv: a row a cell of the grid, stamped with the start
// of the cell; one column a channel; and last the flags of the readings in the
// cell, as "channel:flag+flag;channel:flag".
func Record(w io.Writer, s *season.Season) error {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		return fmt.Errorf("record.csv: time zone of the farm: %w", err)
	}
	g := s.Record
	if g == nil {
		g = &grid.Grid{StepS: 60}
	}
	names := channelNames(g)
	if _, err := w.Write(recordHead(Columns(s))); err != nil {
		return err
	}
	workers := max(1, runtime.GOMAXPROCS(0))
	bufs := make([][]byte, workers)
	for from := 0; from < g.N; from += workers * block {
		fillBlocks(bufs, g, names, zone, from)
		for _, b := range bufs {
			if _, err := w.Write(b); err != nil {
				return err
			}
		}
	}
	return nil
}

// fillBlocks fills one buffer a worker; what is written does not depend on
// how many there are.
func fillBlocks(bufs [][]byte, g *grid.Grid, names []string, zone *time.Location, from int) {
	work.Each(len(bufs), len(bufs), func(k int) {
		lo := min(from+k*block, g.N)
		hi := min(lo+block, g.N)
		bufs[k] = appendCells(bufs[k][:0], g, names, zone, lo, hi)
	})
}

func appendCells(b []byte, g *grid.Grid, names []string, zone *time.Location, lo, hi int) []byte {
	utc, local := newStamper(time.UTC, subSecond(g)), newStamper(zone, subSecond(g))
	for i := lo; i < hi; i++ {
		at := g.EdgeMS(i)
		b = utc.append(b, at)
		b = append(b, ',')
		b = local.append(b, at)
		for k := range g.Channels {
			b = append(b, ',')
			b = appendFixed(b, g.Channels[k].Values[i])
		}
		b = append(b, ',')
		b = appendFlags(b, g, names, i)
		b = append(b, '\n')
	}
	return b
}

func appendFlags(b []byte, g *grid.Grid, names []string, i int) []byte {
	if !anyFlag(g, i) {
		return b
	}
	return appendText(b, flagCell(g, names, i))
}

// anyFlag tells whether a reading in cell i carries a flag.
func anyFlag(g *grid.Grid, i int) bool {
	for k := range g.Channels {
		if g.Channels[k].Flags != nil && g.Channels[k].Flags[i] != 0 {
			return true
		}
	}
	return false
}

// flagCell is "channel:flag+flag;channel:flag"; "" where there is none.
func flagCell(g *grid.Grid, names []string, i int) string {
	var cell strings.Builder
	for k := range g.Channels {
		if g.Channels[k].Flags == nil || g.Channels[k].Flags[i] == 0 {
			continue
		}
		if cell.Len() > 0 {
			cell.WriteByte(';')
		}
		cell.WriteString(names[k])
		sep := byte(':')
		for bit, name := range series.FlagNames {
			if g.Channels[k].Flags[i]&(1<<bit) != 0 {
				cell.WriteByte(sep)
				cell.WriteString(name)
				sep = '+'
			}
		}
	}
	return cell.String()
}

// channelNames are quantity[@place], with #2, #3 where several probes share
// one.
func channelNames(g *grid.Grid) []string {
	seen := map[string]int{}
	names := make([]string, len(g.Channels))
	for i, c := range g.Channels {
		name := string(c.Quantity)
		if c.Place != "" {
			name += "@" + c.Place
		}
		seen[name]++
		if n := seen[name]; n > 1 {
			name += "#" + strconv.Itoa(n)
		}
		names[i] = name
	}
	return names
}

func recordHead(columns []Column) []byte {
	var b []byte
	for i, c := range columns {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendText(b, c.Name)
	}
	return append(b, '\n')
}

// appendFull appends v with 12 significant digits and no exponent.
func appendFull(b []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	short := rounded(v)
	if short == 0 {
		return append(b, '0')
	}
	return strconv.AppendFloat(b, short, 'f', -1, 64)
}

// rounded is v to 12 significant digits.
func rounded(v float64) float64 {
	short, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return 0 // 12 digits of a finite number always parse
	}
	return short
}

// appendText appends a text cell: quoted by RFC 4180 where needed, and with a
// single quote in front where a spreadsheet would take it for a formula (OWASP
// ASVS 5, 1.2.10: = + - @, tab, carriage return, NUL).
func appendText(b []byte, text string) []byte {
	if text == "" {
		return b
	}
	if strings.ContainsRune("=+-@\t\r\x00", rune(text[0])) {
		text = "'" + text
	}
	if !strings.ContainsAny(text, "\",\n\r") {
		return append(b, text...)
	}
	b = append(b, '"')
	b = append(b, strings.ReplaceAll(text, `"`, `""`)...)
	return append(b, '"')
}
