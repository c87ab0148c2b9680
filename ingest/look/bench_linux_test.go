package look

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
)

// lookAlone names the file that a process of its own looks at, for its peak.
const lookAlone = "YARDHEAT_LOOK_ALONE"

// TestLookAlone is such a process.
func TestLookAlone(t *testing.T) {
	path := os.Getenv(lookAlone)
	if path == "" {
		t.Skip("run by BenchmarkLook")
	}
	debug.SetGCPercent(30) // as the program does
	_, err := File(path, Options{})
	require.NoError(t, err)
	status, err := os.ReadFile("/proc/self/status")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(status), "VmHWM:")
	require.True(t, ok)
	line, _, _ := strings.Cut(rest, "\n")
	fmt.Println("peak", line)
}

// BenchmarkLook describes exports of some 50 MB, each time in a process of its
// own: a regular one, one with decimal commas, and a long log of tags.
func BenchmarkLook(b *testing.B) {
	for _, l := range exports.Bulks()[1:3] {
		l.Rows = 430_000
		b.Run(l.Name, func(b *testing.B) {
			benchLook(b, func(w *bufio.Writer) error {
				_, err := l.Write(w)
				return err
			})
		})
	}
	b.Run("tags", func(b *testing.B) {
		benchLook(b, func(w *bufio.Writer) error {
			fmt.Fprintln(w, "time,tag,value")
			at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
			for i := range 1_400_000 {
				k := i % 8
				fmt.Fprintf(w, "%s,tank_temp_%d,%d.%02d\n", at.Add(time.Duration(i/8)*30*time.Second).Format(time.DateTime), k, 20+5*k, i*7919%100)
			}
			return nil
		})
	})
}

func benchLook(b *testing.B, write func(*bufio.Writer) error) {
	path := filepath.Join(b.TempDir(), "log.csv")
	f, err := os.Create(path)
	require.NoError(b, err)
	w := bufio.NewWriterSize(f, 1<<20)
	require.NoError(b, write(w))
	require.NoError(b, w.Flush())
	require.NoError(b, f.Close())
	info, err := os.Stat(path)
	require.NoError(b, err)
	self, err := os.Executable()
	require.NoError(b, err)
	b.SetBytes(info.Size())
	peakMB, cpuS, n := 0.0, 0.0, 0
	for b.Loop() {
		look := exec.Command(self, "-test.run", "^TestLookAlone$")
		look.Env = append(os.Environ(), lookAlone+"="+path)
		out, err := look.Output()
		require.NoError(b, err)
		var kB float64
		_, err = fmt.Sscanf(string(out), "peak %f kB", &kB)
		require.NoError(b, err)
		peakMB = max(peakMB, kB/1024)
		cpuS += (look.ProcessState.UserTime() + look.ProcessState.SystemTime()).Seconds()
		n++
	}
	b.ReportMetric(peakMB, "peak-MB")
	b.ReportMetric(cpuS/float64(n), "cpu-s")
}
