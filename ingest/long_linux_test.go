package ingest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
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
	// Not what the parent is told of its child: that counts the parent's own
	// memory, in which the child began.
	status, err := os.ReadFile("/proc/self/status")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(status), "VmHWM:")
	require.True(t, ok)
	line, _, _ := strings.Cut(rest, "\n")
	fmt.Println("peak", line)
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
				out, err := load.Output()
				require.NoError(b, err)
				var peakKB float64
				_, err = fmt.Sscanf(string(out), "peak %f kB", &peakKB)
				require.NoError(b, err)
				count := exec.Command("wc", "-l", filepath.Join(dir, "year.csv"))
				require.NoError(b, count.Run())
				ours += cpuS(load)
				wc += cpuS(count)
				peakB = max(peakB, peakKB*1024)
			}
			b.ReportMetric(peakB/float64(truth.SizeB), "peak-x")
			b.ReportMetric(ours/wc, "wc-x")
		})
	}
}

func cpuS(c *exec.Cmd) float64 {
	return (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
}
