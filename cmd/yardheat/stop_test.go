package main

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// slowStop is from when on YARDHEAT_STACKS shows where the work stands.
const slowStop = 60 * time.Millisecond

// stopped runs a report that is cancelled after a while and gives how long it
// went on from then (0 where it was done before), and its error.
func stopped(t testing.TB, dir, out string, after, slow time.Duration) (late time.Duration, err error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.ctx = ctx
	done := make(chan error, 1)
	go func() { done <- a.report(dir, reportFlags{out: out}) }()
	select {
	case err = <-done:
		return 0, err
	case <-time.After(after):
	}
	cancel()
	at := time.Now()
	select {
	case err = <-done:
	case <-time.After(slow):
		b := make([]byte, 1<<20)
		b = b[:runtime.Stack(b, true)]
		if os.Getenv("YARDHEAT_STACKS") != "" {
			fmt.Fprintf(os.Stderr, "=== %v after %v\n%s\n", time.Since(at), after, b)
		}
		err = <-done
	}
	return time.Since(at), err
}

// listing is every file below dir with its content's length and time.
func listing(t testing.TB, dir string) (out []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		out = append(out, fmt.Sprint(path, " ", info.Size(), " ", info.ModTime().UnixNano()))
		return nil
	}))
	return out
}

// A report that is cancelled at any moment ends soon, leaves the farm folder and
// the report of before as they were, and no goroutine behind.
func TestReportStoppedAtAnyMoment(t *testing.T) {
	dir, runs := filepath.Join(t.TempDir(), "farm"), 60
	if testing.Short() {
		runs = 8
	}
	if own := os.Getenv("YARDHEAT_STOP_FARM"); own != "" {
		dir = own
	} else {
		farm, err := simfarm.Run(simfarm.Sample())
		require.NoError(t, err)
		require.NoError(t, farm.Write(dir))
	}
	out := filepath.Join(t.TempDir(), "report")
	begun := time.Now()
	_, err := stopped(t, dir, out, time.Hour, time.Hour)
	require.NoError(t, err)
	whole := time.Since(begun)
	before, here := listing(t, filepath.Dir(out)), listing(t, dir)
	runtime.GC()
	goroutines := runtime.NumGoroutine()
	rng := rand.New(rand.NewPCG(6, 1))
	var worst, sum time.Duration
	n := 0
	for range runs {
		after := time.Duration(rng.Float64() * float64(whole))
		late, err := stopped(t, dir, out, after, slowStop)
		for end := time.Now().Add(100 * time.Millisecond); runtime.NumGoroutine() > goroutines && time.Now().Before(end); {
			time.Sleep(time.Millisecond) // one that has done its work takes a moment to be gone
		}
		require.LessOrEqual(t, runtime.NumGoroutine(), goroutines, "goroutines left behind")
		if err == nil { // it was done, or being put in place
			before = listing(t, filepath.Dir(out))
			continue
		}
		require.ErrorIs(t, err, context.Canceled)
		require.Equal(t, exitOther, exitStatus(err))
		require.Equal(t, before, listing(t, filepath.Dir(out)), "after %v", after)
		require.Equal(t, here, listing(t, dir))
		worst, sum, n = max(worst, late), sum+late, n+1
	}
	require.Positive(t, n)
	t.Logf("whole %v; %d cancelled, mean %v, worst %v late", whole, n, sum/time.Duration(n), worst)
}
