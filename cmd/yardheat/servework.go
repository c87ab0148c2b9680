package main

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"time"

	"yardheat/analysis/season"
	"yardheat/analysis/today"
	"yardheat/cmd/yardheat/web"
	"yardheat/ingest"
	"yardheat/ingest/work"
	"yardheat/reports"
	"yardheat/reports/bundle"
)

// quiet is the program at one moment, without a terminal to write progress to.
func (a *app) quiet() *app {
	still := *a.at(a.now().Truncate(time.Second))
	still.stderr = io.Discard
	return &still
}

// pageReport makes a report for the page: the same job as the command's.
func (a *app) pageReport(ctx context.Context, dir, out string, p web.Period, tell func(work.Progress)) error {
	a = a.quiet()
	s, err := a.pageSeason(ctx, dir, p, tell)
	if err != nil {
		return err
	}
	opt := a.madeNow(dir, out, reportFlags{from: p.From, to: p.To})
	tell(work.Progress{Stage: work.StageWrite})
	if err := ctx.Err(); err != nil {
		return err
	}
	return reports.Write(out, s, opt)
}

// pageSeason is the season of a farm, told as it comes about.
func (a *app) pageSeason(ctx context.Context, dir string, p web.Period, tell func(work.Progress)) (*season.Season, error) {
	tell(work.Progress{Stage: work.StageRead})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return a.compute(dir, p.From, p.To)
}

// pageToday looks at the last two days for the page.
func (a *app) pageToday(ctx context.Context, dir string, tell func(work.Progress)) (*today.Today, error) {
	a = a.quiet()
	tell(work.Progress{Stage: work.StageRead})
	load := ingest.DefaultLoadOptions()
	load.Now = a.now()
	rec, err := ingest.Load(dir, load)
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return nil, err
	}
	tell(work.Progress{Stage: work.StageGrid})
	return today.Make(rec, a.now(), today.DefaultOptions())
}

var errOtherNow = errors.New("the logs or farm.toml have changed since this report was made, or another version made it; work the report out anew, then make its bundle")

// pageBundle packs a finished report with its originals. The season is computed
// again, as the report says that it was made; where its files would come out
// otherwise, no bundle is made.
func (a *app) pageBundle(ctx context.Context, dir, report, to string, tell func(work.Progress)) error {
	return errors.New("not yet")
}

var _ = bundle.Write
var _ = filepath.Join
