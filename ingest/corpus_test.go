package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/stamps"
	"yardheat/ingest/table"
)

// The corpus: an invented truth in many layouts, each with the reading that a
// person gives it (package exports, which knows nothing of the readers).

func TestCorpusIsLarge(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range exports.Corpus() {
		require.False(t, seen[l.Name], "two layouts %q", l.Name)
		seen[l.Name] = true
	}
	require.GreaterOrEqual(t, len(seen), 100)
}

// Every layout is read right by itself, with no setting: cells, stamps, marks,
// units.
func TestCorpusCells(t *testing.T) {
	for _, l := range exports.Corpus() {
		t.Run(l.Name, func(t *testing.T) {
			of := l.All()
			if words := l.Want.Refused; words != "" {
				faults := refuse(t, farmOf(l, l.Write(of)))
				require.Contains(t, fmt.Sprintf("%+v", faults[0]), words)
				require.NotEmpty(t, faults[0].Do)
				return
			}
			checkCells(t, l, l.Write(of), l.Reading(of))
		})
	}
}

// checkCells reads a file as it stands, no column being mapped.
func checkCells(t *testing.T, l exports.Layout, data []byte, want exports.Reading) {
	t.Helper()
	tables, err := table.ReadBytes("log.csv", data, table.Options{})
	require.NoError(t, err)
	require.Len(t, tables, want.Tables)
	all, found := stampsOf(t, l, tables)
	require.Empty(t, found.Faults)
	rowCount, first, last := 0, int64(math.MaxInt64), int64(math.MinInt64)
	for _, tb := range all {
		require.Equal(t, want.Encoding, tb.Encoding)
		require.Equal(t, want.Separator, tb.Separator)
		require.Contains(t, []string{want.Decimal, ""}, tb.Decimal)
		rowCount += tb.RowCount
		first, last = min(first, tb.First), max(last, tb.Last)
	}
	require.Equal(t, want.Decimal, all[0].Decimal)
	require.Equal(t, want.Rows, rowCount)
	require.Equal(t, want.First, time.UnixMilli(first).UTC())
	require.Equal(t, want.Last, time.UnixMilli(last).UTC())
	checkCodes(t, l, tables, found)
	for _, c := range want.Columns {
		checkColumn(t, l, all, c)
	}
}

func stampsOf(t *testing.T, l exports.Layout, tables []*table.Table) ([]*stamps.Table, series.Found) {
	t.Helper()
	zone, err := time.LoadLocation(exports.FarmZone)
	require.NoError(t, err)
	log := &farm.Log{Clock: "keep"}
	if !l.Stamp.States {
		log.Zone = l.Zone
	}
	var all []*stamps.Table
	for _, tb := range tables {
		all = append(all, &stamps.Table{Name: "log.csv", Table: tb, Taken: make([]bool, len(tb.Header)), Tagged: l.Shape == exports.Long})
	}
	found := stamps.Read(all, log, &farm.Farm{Zone: zone, ZoneName: exports.FarmZone}, stamps.Options{FarDays: options().Flags.FarDays, Each: func(n int, f func(int)) {
		for i := range n {
			f(i)
		}
	}})
	return all, found
}

// tellsOnly are problems that say how a file was read and doubt nothing.
var tellsOnly = []string{series.CodeOutOfOrder, series.CodeZoneFromFile, series.CodeHourRepeated, series.CodeStampChoice, "double-header"}

// checkCodes: what must be listed is, and nothing is doubted without cause.
func checkCodes(t *testing.T, l exports.Layout, tables []*table.Table, found series.Found) {
	t.Helper()
	seen := map[string]string{}
	for _, tb := range tables {
		for _, p := range tb.Problems {
			seen[p.Code] = fmt.Sprintf("line %d: %s", p.Line, p.Text)
		}
	}
	for _, p := range found.Problems {
		seen[p.Code] = p.Where + ": " + p.Text
	}
	for _, code := range l.Want.Codes {
		require.Contains(t, seen, code)
	}
	for code, text := range seen {
		if !slices.Contains(l.Want.Codes, code) && !slices.Contains(tellsOnly, code) {
			t.Errorf("%s: %s", code, text)
		}
	}
}

// checkColumn holds one column's cells against the truth, in the order of time.
func checkColumn(t *testing.T, l exports.Layout, all []*stamps.Table, want exports.Column) {
	t.Helper()
	var at []time.Time
	var values []float64
	missing, seen := 0, false
	for _, tb := range all {
		col, tag := cellColumn(l, tb, want.Header)
		if col < 0 {
			continue
		}
		seen = true
		if l.Shape != exports.Long && l.Shape != exports.Events {
			require.Equal(t, want.Unit, tb.Units[col], want.Header)
		}
		for _, r := range tb.Order {
			cells := tb.Rows[r].Cells
			if tag >= 0 && cells[tag] != want.Header || l.Shape == exports.Staggered && outside(want, tb.At[r]) {
				continue
			}
			v := numberOf(tb, cells[col], want.State)
			at, values = append(at, time.UnixMilli(tb.At[r]).UTC()), append(values, v)
			if math.IsNaN(v) {
				missing++
			}
		}
	}
	require.True(t, seen, "no column %q in %q", want.Header, all[0].Header)
	require.Equal(t, len(want.At), len(at), want.Header)
	require.Equal(t, want.Missing, missing, want.Header)
	for i := range at {
		same := values[i] == want.V[i] || math.IsNaN(values[i]) && math.IsNaN(want.V[i])
		if !at[i].Equal(want.At[i]) || !same {
			t.Fatalf("%s, reading %d: want %v at %s, got %v at %s", want.Header, i, want.V[i], want.At[i], values[i], at[i])
		}
	}
}

// outside: the row is another channel's (of a staggered log).
func outside(c exports.Column, atMS int64) bool {
	_, found := slices.BinarySearchFunc(c.At, time.UnixMilli(atMS), time.Time.Compare)
	return !found
}

// cellColumn finds a channel's column and, in a long table, that of the tag.
func cellColumn(l exports.Layout, tb *stamps.Table, header string) (col, tag int) {
	col, tag = -1, -1
	name := header
	if l.Shape == exports.Long || l.Shape == exports.Events {
		name = "Value"
		if at := tb.Find(tagOf(l)); len(at) == 1 {
			tag = at[0]
		}
	}
	if at := tb.Find(name); len(at) == 1 {
		col = at[0]
	}
	return col, tag
}

func tagOf(l exports.Layout) string {
	if l.Tag == "" {
		return "Channel"
	}
	return l.Tag
}

func numberOf(tb *stamps.Table, cell string, state bool) float64 {
	if state {
		return map[string]float64{"on": 1, "off": 0}[cell]
	}
	if v, _, ok := table.ParseNumber(cell, tb.Decimal, tb.Thousands); ok {
		return v
	}
	return math.NaN()
}

// farmOf is a farm folder with one file.
func farmOf(l exports.Layout, data ...[]byte) files {
	fs := files{"farm.toml": romeFarm + l.Farm("log*.csv")}
	for i, b := range data {
		fs[fmt.Sprintf("log%d.csv", i)] = string(b)
	}
	return fs
}

// Every layout, loaded as a farm's log, gives the truth's readings.
func TestCorpusLoaded(t *testing.T) {
	for _, l := range exports.Corpus() {
		if l.Want.Refused != "" {
			continue
		}
		t.Run(l.Name, func(t *testing.T) {
			of := l.All()
			rec := load(t, farmOf(l, l.Write(of)))
			require.Len(t, rec.Files, l.Reading(of).Tables)
			checkLoaded(t, l.Reading(of), rec)
		})
	}
}

// Every layout read as a stream gives what it gives read whole, problems and
// counts included.
func TestCorpusStreamed(t *testing.T) {
	for _, l := range exports.Corpus() {
		t.Run(l.Name, func(t *testing.T) {
			dir := write(t, farmOf(l, l.Write(l.All())))
			opt := options()
			opt.StreamBytes = -1
			whole, errWhole := Load(dir, opt)
			opt.StreamBytes = 1
			got, err := Load(dir, opt)
			require.Equal(t, errWhole, err)
			if err != nil {
				return
			}
			require.Equal(t, whole.Problems, got.Problems)
			require.Equal(t, fmt.Sprint(whole.Files), fmt.Sprint(got.Files))
			for i, w := range whole.Series {
				require.Equal(t, w.T, got.Series[i].T)
				require.Equal(t, fmt.Sprint(w.V), fmt.Sprint(got.Series[i].V))
				require.Equal(t, w.Flags.List(), got.Series[i].Flags.List())
			}
		})
	}
}

// checkLoaded holds the loaded series against the truth.
func checkLoaded(t *testing.T, want exports.Reading, rec *Record) {
	t.Helper()
	for _, c := range want.Columns {
		checkSeries(t, c, get(t, rec, series.Quantity(c.Quantity)))
	}
}

func checkSeries(t *testing.T, want exports.Column, s *series.Series) {
	t.Helper()
	var at, wantAt []int64
	var v, wantV []float64
	for i, x := range s.V {
		if s.Flags.At(i)&(series.Absent|series.Duplicate) == 0 {
			at, v = append(at, s.T[i]), append(v, x)
		}
	}
	for i, x := range want.V {
		if math.IsNaN(x) {
			continue
		}
		if want.Counter {
			if i > 0 {
				wantAt, wantV = append(wantAt, want.At[i].UnixMilli()), append(wantV, x-want.V[i-1])
			}
			continue
		}
		wantAt, wantV = append(wantAt, want.At[i].UnixMilli()), append(wantV, baseValue(t, s, x))
	}
	require.Equal(t, wantAt, at, want.Header)
	require.InDeltaSlice(t, wantV, v, 1e-8, want.Header)
}

// baseValue converts by the definitions of the units.
func baseValue(t *testing.T, s *series.Series, x float64) float64 {
	t.Helper()
	switch s.Unit {
	case "°F":
		return (x - 32) / 1.8
	case "L/h":
		return x / 60
	case "m³/h":
		return x * 1000 / 60
	case "°C", "kWh", "0/1":
		return x
	}
	require.Failf(t, "unit", "%q of %s", s.Unit, s.Column)
	return 0
}

// Same answer: however a layout's readings are cut up, doubled, turned round
// or written in other units, the loaded readings do not move.
func TestCorpusSameAnswer(t *testing.T) {
	for i, l := range exports.Corpus() {
		if l.Want.Refused != "" || testing.Short() && i%8 != 0 {
			continue
		}
		t.Run(l.Name, func(t *testing.T) {
			t.Parallel()
			of := l.All()
			base := load(t, farmOf(l, l.Write(of)))
			for name, written := range rowCrosses(l, of) {
				t.Run(name, func(t *testing.T) {
					rec := load(t, farmOf(l, written...))
					checkLoaded(t, l.Reading(of), rec)
					sameFlags(t, base, rec)
				})
			}
			for _, change := range []string{exports.InFahrenheit, exports.InCubicMetres, exports.InTokyo, exports.OtherMark} {
				other, ok := l.As(change)
				if !ok {
					continue
				}
				t.Run(change, func(t *testing.T) {
					rec := load(t, farmOf(other, other.Write(of)))
					checkLoaded(t, other.Reading(of), rec)
					sameFlags(t, base, rec)
				})
			}
		})
	}
}

// rowCrosses are the same rows in other files and another order. Rows in an
// hour that stands twice can't be told apart once their order is lost.
func rowCrosses(l exports.Layout, of []int) map[string][][]byte {
	n := len(of)
	turned := slices.Clone(of)
	slices.Reverse(turned)
	mixed := slices.Clone(of)
	exports.Shuffle(mixed)
	out := map[string][][]byte{
		"split":       {l.Write(of[:n/3]), l.Write(of[n/3 : n*2/3]), l.Write(of[n*2/3:])},
		"overlapping": {l.Write(of[:n*3/4]), l.Write(of[n/2:])},
		"doubled":     {l.Write(of), append(l.Write(of), '\n')},
		"reversed":    {l.Write(turned)},
	}
	if l.Span != exports.Autumn || l.Stamp.States {
		out["shuffled"] = [][]byte{l.Write(mixed)}
		out["rows twice"] = [][]byte{l.Write(append(slices.Clone(of), of...))}
	}
	if l.Shape == exports.Events {
		delete(out, "shuffled") // equal stamps do not occur, but a file's first event does not stand in it
		delete(out, "split")
	}
	return out
}

// sameFlags compares which readings are kept.
func sameFlags(t *testing.T, want, got *Record) {
	t.Helper()
	require.Equal(t, len(want.Series), len(got.Series))
	for i, a := range want.Series {
		require.Equal(t, keptAt(a), keptAt(got.Series[i]), strings.Join([]string{string(a.Quantity), a.Column}, " "))
	}
}
