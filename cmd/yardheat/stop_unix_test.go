//go:build unix

package main

import (
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// Ctrl-C, and a request to end, stop a report: exit 1, a message, and nothing
// left behind.
func TestReportStoppedBySignal(t *testing.T) {
	guard := make(chan os.Signal, 4) // without it a signal that comes late would end the tests
	signal.Notify(guard, os.Interrupt, syscall.SIGTERM)
	defer signal.Stop(guard)
	farm, err := simfarm.Run(simfarm.Short(1))
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, farm.Write(dir))
	code, _, errs := try(t, "report", dir)
	require.Zero(t, code, errs)
	here := listing(t, dir)
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM} {
		go func() {
			time.Sleep(30 * time.Millisecond) // of some 300
			_ = syscall.Kill(os.Getpid(), s)
		}()
		code, out, errs := try(t, "report", dir)
		require.Equal(t, exitOther, code, errs)
		require.Empty(t, out)
		require.Contains(t, errs, "stopped: nothing was written, and an earlier report stands as it was")
		require.Equal(t, 1, strings.Count(errs, "\n"))
		require.Equal(t, here, listing(t, dir))
		<-guard
	}
	hidden, err := filepath.Glob(filepath.Join(dir, ".*"))
	require.NoError(t, err)
	require.Empty(t, hidden)
}
