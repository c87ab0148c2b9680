package record

import (
	"bytes"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
)

func parquetOf(t testing.TB, table *Table) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, table.Parquet(&b))
	return b.Bytes()
}

// rowsOf reads a Parquet file back, one []Value a row, and its columns' names.
func rowsOf(t testing.TB, b []byte) (names []string, rows []parquet.Row, f *parquet.File) {
	t.Helper()
	f, err := parquet.OpenFile(bytes.NewReader(b), int64(len(b)))
	require.NoError(t, err)
	for _, field := range f.Schema().Fields() {
		names = append(names, field.Name())
	}
	for _, g := range f.RowGroups() {
		r := g.Rows()
		for {
			buf := make([]parquet.Row, 1)
			n, err := r.ReadRows(buf)
			if n == 1 {
				rows = append(rows, buf[0].Clone())
			}
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
		}
		require.NoError(t, r.Close())
	}
	return names, rows, f
}

// hostile is a season whose texts, times and numbers are the odd ones.
func hostile() *season.Season {
	s := fixture.Season()
	s.Cycles[0].Month, s.Cycles[0].NotCovered = fixture.Formula, "a,b \"c\"\nd"
	s.Cycles[1].LoopKWh, s.Cycles[1].PlantKWh = math.Copysign(0, -1), 1e-13
	s.Draws[0].Start += 250
	s.Draws[0].Why = "\r-1"
	v := s.Record.Channels[0].Values
	v[0], v[1], v[2], v[3], v[4] = -0.000001, math.Copysign(0, -1), 3e10, math.Inf(1), -12.345675
	return s
}

// Every value of every table is that of its CSV, bit for bit.
func TestParquetIsTheCSV(t *testing.T) {
	for name, s := range map[string]*season.Season{"hostile": hostile(), "empty": fixture.Empty(), "plain": fixture.Season()} {
		tables, err := Tables(s)
		require.NoError(t, err)
		for _, table := range tables {
			t.Run(name+" "+table.Name, func(t *testing.T) {
				cells := readAll(t, csvOf(t, s, table.Name))
				names, rows, f := rowsOf(t, parquetOf(t, table))
				require.Equal(t, cells[0], names)
				require.Len(t, rows, len(cells)-1)
				require.Len(t, rows, table.Rows)
				for i, row := range rows {
					for k, v := range row {
						require.Equal(t, cells[i+1][k], asCSV(t, table, k, v), "row %d, %s", i, names[k])
					}
				}
				schema, ok := f.Lookup("yardheat.schema")
				require.True(t, ok)
				require.Equal(t, table.Schema, schema)
			})
		}
	}
}

// asCSV prints a value of a Parquet file as the CSV has it.
func asCSV(t testing.TB, table *Table, k int, v parquet.Value) string {
	if v.IsNull() {
		return ""
	}
	zone, err := time.LoadLocation(table.Zone)
	require.NoError(t, err)
	layout := "2006-01-02T15:04:05Z07:00"
	switch table.Columns[k].Type {
	case UTC, Local:
		at := time.UnixMilli(v.Int64()).UTC()
		if table.Columns[k].Type == Local {
			at = time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), at.Second(), at.Nanosecond(), zone)
		}
		if table.millis {
			layout = "2006-01-02T15:04:05.000Z07:00"
		}
		return at.Format(layout)
	case Whole:
		return strconv.FormatInt(v.Int64(), 10)
	case YesNo:
		return map[bool]string{true: "1", false: "0"}[v.Boolean()]
	case Text:
		got := readAll(t, append(appendText(nil, string(v.ByteArray())), '\n'))
		return got[0][0]
	}
	require.False(t, v.Double() == 0 && math.Signbit(v.Double()), "-0")
	return strconv.FormatFloat(v.Double(), 'f', -1, 64)
}

// fixed is what is read from the text that appendFixed writes.
func TestFixedIsTheTextReadAgain(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for i := range 400_000 {
		v := (r.Float64() - 0.5) * math.Pow(10, float64(i%13))
		if i%3 == 0 {
			v = math.Round(v*1e6) / 1e6
		}
		want, err := strconv.ParseFloat(string(appendFixed(nil, v)), 64)
		require.NoError(t, err)
		if math.Float64bits(want) != math.Float64bits(fixed(v)) {
			t.Fatalf("%v: %v in the CSV, %v in the Parquet", v, want, fixed(v))
		}
	}
}

// The same bytes on any number of cores, over several row groups.
func TestParquetIsTheSameOnAnyCores(t *testing.T) {
	s := fixture.Large(groupRows+batchRows+77, 5)
	table := tableNamed(t, s, RecordTable)
	many := parquetOf(t, table)
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	require.True(t, bytes.Equal(many, parquetOf(t, table)))
	runtime.GOMAXPROCS(7)
	require.True(t, bytes.Equal(many, parquetOf(t, table)))
	f, err := parquet.OpenFile(bytes.NewReader(many), int64(len(many)))
	require.NoError(t, err)
	require.Len(t, f.RowGroups(), 2)
	require.Equal(t, int64(table.Rows), f.NumRows())
}

// Readers skip row groups by the least and the greatest value of a column.
func TestParquetHasStatistics(t *testing.T) {
	s := fixture.Season()
	_, _, f := rowsOf(t, parquetOf(t, tableNamed(t, s, RecordTable)))
	group := f.Metadata().RowGroups[0]
	require.Equal(t, s.Record.StartMS, int64(le(group.Columns[0].MetaData.Statistics.MinValue)))
	require.Equal(t, s.Record.EdgeMS(s.Record.N-1), int64(le(group.Columns[0].MetaData.Statistics.MaxValue)))
	nulls := 0
	for _, v := range s.Record.Channels[0].Values {
		if v-v != 0 {
			nulls++
		}
	}
	require.NotZero(t, nulls)
	require.Equal(t, int64(nulls), group.Columns[2].MetaData.Statistics.NullCount)
}

func le(b []byte) (v uint64) {
	for i := range b {
		v |= uint64(b[i]) << (8 * i)
	}
	return v
}

// A season of 150 days at one minute, 20 channels.
func BenchmarkParquet(b *testing.B) {
	table := tableNamed(b, fixture.Large(216_000, 20), RecordTable)
	for b.Loop() {
		if err := table.Parquet(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(216_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
