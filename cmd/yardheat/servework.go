package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"yardheat/analysis/season"
	"yardheat/analysis/today"
	"yardheat/cmd/yardheat/web"
	"yardheat/ingest"
	"yardheat/ingest/work"
	"yardheat/reports"
	"yardheat/reports/bundle"
	"yardheat/reports/retrace"
)

// working is the program at one moment, for one job of the page: it ends with
// ctx, and tells how far it is instead of writing to a terminal.
func (a *app) working(ctx context.Context, tell func(work.Progress)) *app {
	one := *a.at(a.now().Truncate(time.Second))
	one.ctx, one.tell, one.stdout, one.stderr = ctx, tell, io.Discard, io.Discard
	return &one
}

// pageReport makes a report for the page: the same job as the command's.
func (a *app) pageReport(ctx context.Context, dir, out string, p web.Period, tell func(work.Progress)) error {
	a = a.working(ctx, tell)
	s, err := a.compute(dir, p.From, p.To)
	if err != nil {
		return err
	}
	opt := a.madeNow(dir, out, reportFlags{from: p.From, to: p.To})
	opt.Context, opt.Progress = ctx, tell
	return reports.Write(out, s, opt)
}

// pageToday looks at the last two days for the page.
func (a *app) pageToday(ctx context.Context, dir string, tell func(work.Progress)) (*today.Today, error) {
	a = a.working(ctx, tell)
	load := ingest.DefaultLoadOptions()
	load.Now, load.Progress, load.Context = a.now(), tell, ctx
	rec, err := ingest.Load(dir, load)
	if err != nil {
		return nil, err
	}
	tell(work.Progress{Stage: work.StageGrid})
	t, err := today.Make(rec, a.now(), today.DefaultOptions())
	return t, errors.Join(err, ctx.Err())
}

var errOtherNow = errors.New("the bundle would not hold what this report was made from: logs or farm.toml have changed since, or another version of the program made it. Work the report out anew, then make the bundle of that one")

// pageBundle packs a finished report with its originals. The season is computed
// again, as the report says that it was made; nothing is packed where the report
// would come out otherwise today.
func (a *app) pageBundle(ctx context.Context, dir, report, to string, tell func(work.Progress)) (err error) {
	a = a.working(ctx, tell)
	g, err := retrace.Open(report)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, g.Close()) }()
	src, err := retrace.ReadSources(report)
	if err != nil {
		return err
	}
	g.Farm = dir
	at, err := retrace.MadeAt(src)
	if err != nil {
		return err
	}
	s, err := a.at(at).computeWith(dir, src.Options.From, src.Options.To, season.DefaultOptions())
	if err != nil {
		return err
	}
	if err := a.remadeEqual(ctx, g, s, to, tell); err != nil {
		return err
	}
	files, err := reports.Files(report)
	if err != nil {
		return err
	}
	return bundle.Write(to, s, bundle.Options{Farm: dir, Report: report, Files: files, Started: a.now(), Made: a.now(), Version: src.Version, Context: ctx, Progress: tell})
}

// remadeEqual makes the report again beside the bundle and holds both against
// each other, as retrace does.
func (a *app) remadeEqual(ctx context.Context, g *retrace.Given, s *season.Season, to string, tell func(work.Progress)) (err error) {
	src, err := retrace.ReadSources(g.Report)
	if err != nil {
		return err
	}
	temp, err := os.MkdirTemp(filepath.Dir(to), "part-")
	if err != nil {
		return fmt.Errorf("make a folder to work in: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(temp)) }()
	out := filepath.Join(temp, "report")
	opt := reports.Options{PNG: src.Options.PNG, Now: a.now(), Version: version, Program: program(), From: src.Options.From, To: src.Options.To, Farm: src.FarmFolder, Context: ctx, Progress: tell}
	if err := reports.Write(out, s, opt); err != nil {
		return err
	}
	v, err := retrace.Compare(g, src, retrace.Remade{Dir: out}, program())
	if err != nil {
		return err
	}
	if !v.Agrees {
		return errOtherNow
	}
	return nil
}
