package ingest

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
)

// longFarm writes an invented farm whose one log is a long export.
func longFarm(tb testing.TB, l exports.Bulk) (dir string, truth *exports.BulkTruth) {
	tb.Helper()
	dir = tb.TempDir()
	f, err := os.Create(filepath.Join(dir, "year.csv"))
	require.NoError(tb, err)
	truth, err = l.Write(f)
	require.NoError(tb, err)
	require.NoError(tb, f.Close())
	require.NoError(tb, os.WriteFile(filepath.Join(dir, "farm.toml"), []byte(l.Farm("year.csv")), 0o600))
	return dir, truth
}

// rightLong holds a record against what the export is known to hold.
func rightLong(tb testing.TB, rec *Record, truth *exports.BulkTruth, rows int) {
	tb.Helper()
	require.Len(tb, rec.Series, len(truth.Channels))
	for i, s := range rec.Series {
		want := truth.Channels[i]
		require.Equal(tb, rows, s.Samples()+s.Missing)
		require.Equal(tb, want.Count, s.Kept())
		sum := 0.0
		for k, v := range s.V {
			if s.Flags.At(k) == 0 {
				sum += v
			}
		}
		require.InEpsilon(tb, float64(want.Sum)/100, sum, 1e-11)
	}
}

// BenchmarkLong loads long exports, with layout found, flags set and the place
// of every reading known. heap-x is the heap at the end over the file's size.
func BenchmarkLong(b *testing.B) {
	for _, l := range exports.Bulks() {
		b.Run(l.Name, func(b *testing.B) {
			dir, truth := longFarm(b, l)
			opt := DefaultLoadOptions()
			rec, err := Load(dir, opt)
			require.NoError(b, err)
			rightLong(b, rec, truth, l.Rows)
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			held := float64(m.HeapAlloc) / float64(truth.SizeB)
			runtime.KeepAlive(rec)
			b.SetBytes(truth.SizeB)
			for b.Loop() {
				if _, err := Load(dir, opt); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(held, "heap-x")
		})
	}
}
