package ingest

import (
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
)

// loadAlone names the folder that a process of its own loads, for its peak.
const loadAlone = "YARDHEAT_LOAD_ALONE"

// TestLoadAlone is such a process.
func TestLoadAlone(t *testing.T) {
	dir := os.Getenv(loadAlone)
	if dir == "" {
		t.Skip("run by BenchmarkLongAlone")
	}
	_, err := Load(dir, DefaultLoadOptions())
	require.NoError(t, err)
}

// BenchmarkLongAlone loads long exports each time in a process of its own.
// peak-x is the most memory that was resident over the file's size, wc-x the
// processor time over that of wc -l on the same file.
func BenchmarkLongAlone(b *testing.B) {
	for _, l := range exports.Bulks() {
		b.Run(l.Name, func(b *testing.B) {
			dir, truth := longFarm(b, l)
			self, err := os.Executable()
			require.NoError(b, err)
			peakB, ours, wc := 0.0, 0.0, 0.0
			b.SetBytes(truth.SizeB)
			for b.Loop() {
				load := exec.Command(self, "-test.run", "^TestLoadAlone$")
				load.Env = append(os.Environ(), loadAlone+"="+dir)
				require.NoError(b, load.Run())
				count := exec.Command("wc", "-l", filepath.Join(dir, "year.csv"))
				require.NoError(b, count.Run())
				ours += cpuS(load)
				wc += cpuS(count)
				peakB = max(peakB, float64(load.ProcessState.SysUsage().(*syscall.Rusage).Maxrss)*1024)
			}
			b.ReportMetric(peakB/float64(truth.SizeB), "peak-x")
			b.ReportMetric(ours/wc, "wc-x")
		})
	}
}

func cpuS(c *exec.Cmd) float64 {
	return (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
}
