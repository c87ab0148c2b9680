package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web"
	"yardheat/ingest/work"
	"yardheat/reports/results/saved"
)

// The page's work on the sample farm: a report of some days, its bundle, the last
// two days; a report that is stopped leaves nothing; of logs that have changed no
// bundle is made.
func TestPagesWork(t *testing.T) {
	if testing.Short() {
		t.Skip("computes the sample farm's season several times")
	}
	dir := filepath.Join(t.TempDir(), "farm")
	a := newApp(nil, io.Discard, io.Discard)
	require.Equal(t, exitDone, a.run([]string{"demo", dir}))
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "report")))
	out, to := filepath.Join(dir, "reports", "2026-11-28-120000"), filepath.Join(dir, ".yardheat", "bundles", "x.zip")
	require.NoError(t, os.MkdirAll(filepath.Dir(out), 0o755))
	require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
	var stages []work.Stage
	tell := func(p work.Progress) {
		if len(stages) == 0 || stages[len(stages)-1] != p.Stage {
			stages = append(stages, p.Stage)
		}
	}
	require.NoError(t, a.pageReport(t.Context(), dir, out, web.Period{From: "2026-02-01", To: "2026-02-14"}, tell))
	require.Contains(t, stages, work.StageTrials)
	b, err := os.ReadFile(filepath.Join(out, "results.json"))
	require.NoError(t, err)
	r, err := saved.Read(b)
	require.NoError(t, err)
	require.Equal(t, 14.0, r.Period.End.Sub(r.Period.Start).Hours()/24)
	require.Len(t, r.Loop.Draws, r.Period.Draws)

	require.NoError(t, a.pageBundle(t.Context(), dir, out, to, tell))
	require.FileExists(t, to)
	left, err := os.ReadDir(filepath.Dir(to))
	require.NoError(t, err)
	require.Len(t, left, 1, "nothing but the bundle")

	got, err := a.pageToday(t.Context(), dir, tell)
	require.NoError(t, err)
	require.NotEmpty(t, got.Lines)

	ctx, stop := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer stop()
	second := filepath.Join(dir, "reports", "2026-11-28-130000")
	require.ErrorIs(t, a.pageReport(ctx, dir, second, web.Period{}, tell), context.DeadlineExceeded)
	reports, err := os.ReadDir(filepath.Dir(out))
	require.NoError(t, err)
	require.Len(t, reports, 1)

	farm := filepath.Join(dir, "farm.toml")
	b, err = os.ReadFile(farm)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(farm, append(b, []byte("# another line\n")...), 0o600))
	require.ErrorIs(t, a.pageBundle(t.Context(), dir, out, filepath.Join(filepath.Dir(to), "y.zip"), tell), errOtherNow)
}
