package retrace

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/record"
)

func written(t *testing.T, s *season.Season, name string) []byte {
	t.Helper()
	tables, err := record.Tables(s)
	require.NoError(t, err)
	for _, table := range tables {
		if table.Name == name {
			var b bytes.Buffer
			require.NoError(t, table.Parquet(&b))
			return b.Bytes()
		}
	}
	t.Fatal(name)
	return nil
}

// A Parquet file that was altered is told where; one of the same values is not.
func TestParquetIsHeldCellByCell(t *testing.T) {
	plain := fixture.Season()
	for _, c := range []struct {
		what, table string
		was         func(s *season.Season)
		raw         func(b []byte) []byte
		says        []string
	}{
		{"nothing", "record", func(*season.Season) {}, nil, nil},
		{"a reading", "record", func(s *season.Season) { s.Record.Channels[1].Values[40] = 77.5 }, nil, []string{`line 42, bed_temp@=1+1_degC: "77.5" in the report`}},
		{"a reading taken out", "record", func(s *season.Season) { s.Record.Channels[1].Values[41] = nan() }, nil, []string{`line 43, bed_temp@=1+1_degC: "" in the report`}},
		{"a flag", "record", func(s *season.Season) { s.Record.Channels[0].Flags[3] = 0 }, nil, []string{`line 5, flags: "" in the report`}},
		{"a row less", "record", func(s *season.Season) { s.Record.N-- }, nil, []string{"fewer than follow"}},
		{"a time", "draws", func(s *season.Season) { s.Draws[0].Start += 3_600_000 }, nil, []string{"start_utc", "start_local"}},
		{"a yes for a no", "washes", func(s *season.Season) { s.Washes.List[0].Rinse = !s.Washes.List[0].Rinse }, nil, []string{"rinse"}},
		{"the farm's name in what it says of itself", "draws", func(s *season.Season) { s.Farm = "Another" }, nil, []string{"metadata yardheat.csvw"}},
		{"the end cut off", "record", func(*season.Season) {}, func(b []byte) []byte { return b[:len(b)-9] }, []string{"can't be read"}},
		{"no table at all", "record", func(*season.Season) {}, func([]byte) []byte { return []byte("time_utc\n") }, []string{"can't be read"}},
		{"the middle overwritten", "record", func(*season.Season) {}, func(b []byte) []byte {
			for i := 4000; i < 4400; i++ {
				b[i] ^= 0xA5
			}
			return b
		}, []string{"record.parquet"}},
	} {
		t.Run(c.what, func(t *testing.T) {
			s := fixture.Season()
			c.was(s)
			b := written(t, s, c.table)
			if c.raw != nil {
				b = c.raw(b)
			}
			dir := t.TempDir()
			was, now := filepath.Join(dir, "was"), filepath.Join(dir, "now")
			require.NoError(t, os.WriteFile(was, b, 0o600))
			require.NoError(t, os.WriteFile(now, written(t, plain, c.table), 0o600))
			v := &Verdict{}
			require.NoError(t, (&comparer{v: v}).parquet(c.table+".parquet", was, now))
			if c.says == nil {
				require.Empty(t, v.Differences)
				return
			}
			require.NotEmpty(t, v.Differences)
			var said string
			for _, d := range v.Differences {
				said += d.File + ": " + d.Text + "\n"
			}
			for _, want := range c.says {
				require.Contains(t, said, want)
			}
		})
	}
}

// Values that print alike in CSV but are other bits are told apart.
func TestMinusZeroIsNotZero(t *testing.T) {
	f := parquet.Group{"x": parquet.Leaf(parquet.DoubleType)}.Fields()[0]
	zero := 0.0
	require.NotEqual(t, textOf(f, parquet.DoubleValue(zero)), textOf(f, parquet.DoubleValue(-1/inf())))
}

func nan() float64 { z := 0.0; return z / z }
func inf() float64 { z := 0.0; return 1 / z }
