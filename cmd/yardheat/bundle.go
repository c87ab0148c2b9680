package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"yardheat/analysis/season"
	"yardheat/reports"
	"yardheat/reports/bundle"
)

// besideOut is --bundle without a file: the bundle goes beside the report's
// folder, which holds a report and nothing else.
const besideOut = "OUT.bundle.zip"

func (f *reportFlags) bundleFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.bundle, "bundle", "", "pack report, originals, data dictionary, schema and provenance into one zip `FILE`: --bundle or --bundle=FILE")
	cmd.Flags().Lookup("bundle").NoOptDefVal = besideOut
	_ = cmd.MarkFlagFilename("bundle", "zip") // for shell completion; fails for a flag that is not there only
}

// args wants one folder; a file after --bundle needs the equals sign.
func (f *reportFlags) args(cmd *cobra.Command, args []string) error {
	if f.bundle == besideOut && len(args) == 2 {
		return usageError{fmt.Errorf("want one farm folder, got %q and %q; a file for the bundle goes behind an equals sign: --bundle=FILE", args[0], args[1])}
	}
	return exactly(1, "one farm folder")(cmd, args)
}

// bundler packs the bundle of one run; one without a path does nothing.
type bundler struct {
	path, dir, out string
	started        time.Time
	now            func() time.Time
}

// bundler settles where the bundle goes, before anything is computed.
func (a *app) bundler(dir, out string, f reportFlags) (bundler, error) {
	b := bundler{path: f.bundle, dir: dir, out: out, started: a.now(), now: a.now}
	if b.path == "" {
		return b, nil
	}
	if b.path == besideOut {
		b.path = filepath.Clean(out) + ".bundle.zip"
	}
	return b, asRefused(bundle.CheckPlace(b.path, out))
}

// mayHold says whether the originals can be packed, before anything is written.
func (b bundler) mayHold(s *season.Season) error {
	if b.path == "" {
		return nil
	}
	return bundle.CheckNames(s.Originals)
}

func (b bundler) write(s *season.Season, opt reports.Options, p *progress) error {
	if b.path == "" {
		return nil
	}
	files, err := reports.Files(b.out)
	if err == nil {
		err = bundle.Write(b.path, s, bundle.Options{Farm: b.dir, Report: b.out, Files: files, Started: b.started, Made: b.now(), Version: opt.Version, Context: opt.Context, Progress: p.stage})
	}
	if errors.Is(err, context.Canceled) {
		return asStopped(err, "the report stands in "+b.out+", but no bundle was written")
	}
	if err != nil {
		return fmt.Errorf("the report stands in %s, but no bundle was written: %w", b.out, asRefused(err))
	}
	return nil
}

// asRefused turns a place where no bundle may go into a wrong command line.
func asRefused(err error) error {
	var no *bundle.Refused
	if errors.As(err, &no) {
		return usageError{err}
	}
	return err
}
