package reports

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/reports/internal/fixture"
)

const (
	killOut = "YARDHEAT_TEST_KILL_OUT"
	killAt  = "YARDHEAT_TEST_KILL_AT"
	killed  = 97 // exit status by which the test knows its own
)

// dieAt ends the process at a rename, with nothing undone, closed or removed.
func dieAt(when string) disk {
	count := 0
	return disk{rename: func(from, to string) error {
		count++
		if when == "before" {
			os.Exit(killed)
		}
		err := os.Rename(from, to)
		if when == "between" && count == 1 || when == "after" && count == 2 {
			os.Exit(killed)
		}
		return err
	}}
}

// TestKilledChild is the process that dies; by itself it tests nothing.
func TestKilledChild(t *testing.T) {
	out := os.Getenv(killOut)
	if out == "" {
		t.Skip("run by TestAProcessKilledAtTheRenames")
	}
	require.NoError(t, write(out, renamed("Second"), opt, dieAt(os.Getenv(killAt))))
}

// A process that dies before, between or after the renames leaves a whole
// report, in OUT or beside it, and the next run repairs the rest.
func TestAProcessKilledAtTheRenames(t *testing.T) {
	self, err := os.Executable()
	require.NoError(t, err)
	for when, want := range map[string]struct{ farm, in string }{
		"before":  {"First", "report"},
		"between": {"First", ".report.yardheat-old"},
		"after":   {"Second", "report"},
	} {
		t.Run(when, func(t *testing.T) {
			parent := t.TempDir()
			out := filepath.Join(parent, "report")
			require.NoError(t, Write(out, renamed("First"), opt))
			cmd := exec.Command(self, "-test.run=^TestKilledChild$")
			cmd.Env = append(os.Environ(), killOut+"="+out, killAt+"="+when)
			said, err := cmd.CombinedOutput()
			require.Error(t, err)
			require.Equal(t, killed, cmd.ProcessState.ExitCode(), "%s", said)
			requireReportOf(t, filepath.Join(parent, want.in), want.farm)
			left, err := os.ReadDir(parent)
			require.NoError(t, err)
			require.Len(t, left, 2, "the dead process must have left something to repair")

			require.NoError(t, realDisk().repairChecked(out))
			requireReportOf(t, out, want.farm)
			requireNothingBeside(t, parent)
			require.NoError(t, Write(out, renamed("Third"), opt))
			requireReportOf(t, out, "Third")
			requireNothingBeside(t, parent)
		})
	}
}

func TestAReadOnlyParent(t *testing.T) {
	if runtime.GOOS == "windows" || os.Getuid() == 0 {
		t.Skip("the mode of a folder does not bind this user")
	}
	parent := t.TempDir()
	out := filepath.Join(parent, "report")
	require.NoError(t, Write(out, renamed("First"), opt))
	before := tree(t, out)
	require.NoError(t, os.Chmod(parent, 0o555))
	t.Cleanup(func() { require.NoError(t, os.Chmod(parent, 0o755)) })
	require.ErrorIs(t, Write(out, renamed("Second"), opt), os.ErrPermission)
	require.Equal(t, before, tree(t, out))
	requireNothingBeside(t, parent)
}

// A season of 150 days at one minute, 20 channels.
func BenchmarkWrite(b *testing.B) {
	s := fixture.Large(150*1440, 20)
	out := filepath.Join(b.TempDir(), "report")
	for b.Loop() {
		if err := Write(out, s, opt); err != nil {
			b.Fatal(err)
		}
	}
	require.FileExists(b, filepath.Join(out, resultsName))
}
