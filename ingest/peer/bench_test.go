package peer

import (
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
)

// BenchmarkPeer reads the same export by turns with ours and with theirs.
// ns/op is ours; the metrics are the median of both and how many times ours is
// faster, by the medians, by the quickest of each, and by processor time, which
// a busy machine falsifies least.
func BenchmarkPeer(b *testing.B) {
	for _, l := range exports.Bulks() {
		b.Run(l.Name, func(b *testing.B) {
			dir, file, truth := export(b, l)
			a, err := ours(dir)
			require.NoError(b, err)
			right(b, a, truth, truth.Bins)
			a, err = theirs(file, l)
			require.NoError(b, err)
			right(b, a, truth, truth.WallBins)
			var us, them runs
			b.SetBytes(truth.SizeB)
			for b.Loop() {
				us.time(b, func() error { _, err := ours(dir); return err })
				b.StopTimer()
				them.time(b, func() error { _, err := theirs(file, l); return err })
				b.StartTimer()
			}
			b.ReportMetric(us.median(), "ours-s")
			b.ReportMetric(them.median(), "theirs-s")
			b.ReportMetric(them.median()/us.median(), "times")
			b.ReportMetric(slices.Min(them.wallS)/slices.Min(us.wallS), "times-quickest")
			b.ReportMetric(slices.Min(them.cpuS)/slices.Min(us.cpuS), "times-cpu")
		})
	}
}

// runs are what one of the two took, by run.
type runs struct{ wallS, cpuS []float64 }

func (r *runs) time(tb testing.TB, f func() error) {
	cpu, at := cpuS(tb), time.Now()
	if err := f(); err != nil {
		tb.Fatal(err)
	}
	r.wallS, r.cpuS = append(r.wallS, time.Since(at).Seconds()), append(r.cpuS, cpuS(tb)-cpu)
}

func (r *runs) median() float64 {
	v := slices.Sorted(slices.Values(r.wallS))
	return v[len(v)/2]
}

// cpuS is the processor time that this process has taken.
func cpuS(tb testing.TB) float64 {
	var u syscall.Rusage
	require.NoError(tb, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// export writes a farm whose one log is the export.
func export(tb testing.TB, l exports.Bulk) (dir, file string, truth *exports.BulkTruth) {
	tb.Helper()
	dir = tb.TempDir()
	file = filepath.Join(dir, "year.csv")
	f, err := os.Create(file)
	require.NoError(tb, err)
	truth, err = l.Write(f)
	require.NoError(tb, err)
	require.NoError(tb, f.Close())
	require.NoError(tb, os.WriteFile(filepath.Join(dir, "farm.toml"), []byte(l.Farm("year.csv")), 0o600))
	return dir, file, truth
}

// TestPeersAgree holds both against the smallest export, so that the benchmark
// compares like with like.
func TestPeersAgree(t *testing.T) {
	l := exports.Bulks()[0]
	dir, file, truth := export(t, l)
	a, err := ours(dir)
	require.NoError(t, err)
	right(t, a, truth, truth.Bins)
	a, err = theirs(file, l)
	require.NoError(t, err)
	right(t, a, truth, truth.WallBins)
}
