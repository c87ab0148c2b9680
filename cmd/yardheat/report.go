package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/series"
	"yardheat/reports"
	"yardheat/reports/results"
)

// reportFlags are the options of `yardheat report`.
type reportFlags struct {
	out, from, to string
	json, png     bool
	// bundle: "" = none, besideOut = OUT.bundle.zip, else the file.
	bundle string
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report DIR",
		Short: "Report on a farm folder: page, workbook, figures, record",
		Long: `Reads the farm folder DIR (farm.toml and the logs as exported), and writes the
seasonal report into OUT: report.html, season.xlsx, results.json, sources.json,
charts, and the tables record, milkings, draws and washes as CSV and Parquet. The
logs themselves are never altered.`,
		Example: `  yardheat report my-farm
  yardheat report my-farm --from 2026-01-01 --to 2026-01-31 --out january
  yardheat report my-farm --bundle`,
		Args: f.args,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.report(args[0], f)
		},
	}
	cmd.Flags().StringVar(&f.out, "out", "", "folder for the report (default DIR/report)")
	cmd.Flags().StringVar(&f.from, "from", "", "first local day, YYYY-MM-DD")
	cmd.Flags().StringVar(&f.to, "to", "", "last local day, YYYY-MM-DD, included")
	cmd.Flags().BoolVar(&f.json, "json", false, "print results.json to stdout and nothing else")
	f.bundleFlag(cmd)
	cmd.Flags().BoolVar(&f.png, "png", false, "write the charts as PNG too (slow)")
	return cmd
}

// report does the main job and prints where the report is, and the headline
// figures.
func (a *app) report(dir string, f reportFlags) error {
	out := f.out
	if out == "" {
		out = filepath.Join(dir, "report")
	}
	if err := asForeign(reports.CheckOut(out)); err != nil {
		return err
	}
	a, end := a.interruptible()
	defer end()
	pack, err := a.bundler(dir, out, f)
	if err != nil {
		return err
	}
	a = a.at(a.now().Truncate(time.Second))
	s, err := a.compute(dir, f.from, f.to)
	if err != nil {
		return asStopped(err, nothingWritten)
	}
	if err := pack.mayHold(s); err != nil {
		return err
	}
	p := a.newProgress()
	opt := a.madeNow(dir, out, f)
	opt.Context, opt.Progress = a.ctx, p.stage
	err = asStopped(asForeign(reports.Write(out, s, opt)), nothingWritten)
	if err == nil {
		err = pack.write(s, opt, p)
	}
	p.done()
	if err != nil {
		return err
	}
	if f.json {
		return a.printJSON(s)
	}
	a.printHeadline(out, pack.path, s)
	return nil
}

// nothingWritten is what stands after a run that was stopped.
const nothingWritten = "nothing was written, and an earlier report stands as it was"

// asForeign turns "OUT holds something that is not ours" into a wrong command
// line: nothing was touched.
func asForeign(err error) error {
	var foreign *reports.NotOurs
	if errors.As(err, &foreign) {
		return usageError{err}
	}
	return err
}

// compute loads the farm and computes its season.
func (a *app) compute(dir, from, to string) (*season.Season, error) {
	return a.computeWith(dir, from, to, season.DefaultOptions())
}

// computeWith is compute with options of the analysis.
func (a *app) computeWith(dir, from, to string, opt season.Options) (*season.Season, error) {
	s, _, err := a.computeRecord(dir, from, to, opt)
	return s, err
}

// computeRecord is computeWith with the record that the season was computed of.
func (a *app) computeRecord(dir, from, to string, opt season.Options) (*season.Season, *ingest.Record, error) {
	p := a.newProgress()
	defer p.done()
	load := ingest.DefaultLoadOptions()
	load.Now = a.now()
	load.Progress, load.Context = p.stage, a.ctx
	rec, err := ingest.Load(dir, load)
	if err != nil {
		return nil, nil, err
	}
	if opt.From, err = localDay(from, rec.Zone, 0); err != nil {
		return nil, nil, usageError{fmt.Errorf("--from %w", err)}
	}
	if opt.To, err = localDay(to, rec.Zone, 1); err != nil {
		return nil, nil, usageError{fmt.Errorf("--to %w", err)}
	}
	if !opt.From.IsZero() && !opt.To.IsZero() && !opt.From.Before(opt.To) {
		return nil, nil, usageError{fmt.Errorf("--to %s lies before --from %s", to, from)}
	}
	opt.Version = version
	opt.Progress, opt.Context = p.stage, a.ctx
	s, err := season.Compute(rec, opt)
	if errors.Is(err, season.ErrPeriod) {
		return nil, nil, usageError{err}
	}
	return s, rec, err
}

// localDay is the local midnight at the start of a day given as YYYY-MM-DD,
// plus so many days; zero time for "".
func localDay(text string, zone *time.Location, plus int) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q: want a day as YYYY-MM-DD, such as 2026-01-31", text)
	}
	return time.Date(day.Year(), day.Month(), day.Day()+plus, 0, 0, 0, 0, zone), nil
}

func (a *app) printJSON(s *season.Season) error {
	b, err := results.JSON(s)
	if err != nil {
		return err
	}
	_, err = a.stdout.Write(b)
	return err
}

// printHeadline says where the report is and what it found, in a few lines.
func (a *app) printHeadline(out, bundle string, s *season.Season) {
	fmt.Fprintf(a.stdout, "Report:  %s\n", filepath.Join(out, "report.html"))
	if bundle != "" {
		fmt.Fprintf(a.stdout, "Bundle:  %s\n", bundle)
	}
	fmt.Fprintln(a.stdout)
	width := 0
	for _, h := range s.Headline {
		width = max(width, len([]rune(h.Label)))
	}
	for _, h := range s.Headline {
		shown := h.Figure.Shown
		if h.Figure.Why != "" {
			shown += " (" + h.Figure.Why + ")"
		}
		fmt.Fprintf(a.stdout, "  %s%s  %s\n", h.Label, strings.Repeat(" ", width-len([]rune(h.Label))), shown)
	}
	doubts := 0
	for _, p := range s.Problems {
		if p.Severity != series.Note {
			doubts++
		}
	}
	fmt.Fprintf(a.stdout, "\nIn the report: %s, %s, %s.\n", counted(doubts, "doubt about the logs", "doubts about the logs"),
		counted(len(s.Problems)-doubts, "note", "notes"), counted(len(s.Cautions), "caution", "cautions"))
}

// counted is a number with its noun.
func counted(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}
