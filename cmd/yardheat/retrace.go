package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/reports"
	"yardheat/reports/record"
	"yardheat/reports/retrace"
)

// retraceFlags are the options of `yardheat retrace`.
type retraceFlags struct {
	farm, figure string
	cycle        int
	all, json    bool
}

func (a *app) retraceCommand() *cobra.Command {
	var f retraceFlags
	cmd := &cobra.Command{
		Use:   "retrace OUT",
		Short: "Make a finished report again from the originals and say what differs",
		Long: `Makes the report in OUT again from its originals, beside it and without touching
either, and holds every original, every file and every figure against what OUT
says. OUT is a report's folder, or a bundle (.zip, or the folder it unpacks to).
The farm folder is found by sources.json; --farm names another place.

Exit status 4: something differs. An agreement shows that the report follows from
these originals, not that the originals are true.

--figure follows a figure down instead: its formula, what it is made of cycle by
cycle, and the rows of the files behind each; --cycle does so for one cycle.`,
		Example: `  yardheat retrace my-farm/report
  yardheat retrace my-farm/report --figure heat.loop_kwh
  yardheat retrace my-farm/report --cycle 41
  yardheat retrace season.zip
  yardheat retrace report --farm my-farm`,
		Args: exactly(1, "one report's folder or bundle"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.retrace(args[0], f)
		},
	}
	cmd.Flags().StringVar(&f.farm, "farm", "", "the farm folder, where it is not where the report says")
	cmd.Flags().StringVar(&f.figure, "figure", "", "follow a figure by its key in results.json, such as heat.loop_kwh or months.2026-01.saved_kwh")
	cmd.Flags().IntVar(&f.cycle, "cycle", 0, "follow one cycle, by its number in milkings.csv")
	cmd.Flags().BoolVar(&f.all, "all", false, "list every cycle of the figure, not the first five")
	cmd.Flags().BoolVar(&f.json, "json", false, "print the result as JSON and nothing else")
	return cmd
}

// differsError is a report that does not follow from its originals: exit
// status 4.
type differsError struct{ n int }

func (e differsError) Error() string {
	return fmt.Sprintf("the report differs from what follows from its originals (%s)", counted(e.n, "difference", "differences"))
}

// retrace opens what it was given, makes the report again and prints the
// verdict.
func (a *app) retrace(out string, f retraceFlags) (err error) {
	g, err := openGiven(out)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, g.Close()) }()
	s, err := retrace.ReadSources(g.Report)
	if err != nil {
		return a.printVerdict(withoutSources(err), out, "not known", f.json)
	}
	if g.Farm, err = farmOf(g, s, f.farm); err != nil {
		return err
	}
	if f.figure != "" || f.cycle != 0 {
		return a.follow(g, s, f)
	}
	temp, err := os.MkdirTemp("", "yardheat-retrace-")
	if err != nil {
		return fmt.Errorf("make a folder to work in: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(temp)) }()
	remade := a.remake(g, s, filepath.Join(temp, "report"))
	v, err := retrace.Compare(g, s, remade, program())
	if err != nil {
		return err
	}
	farm := g.Farm
	if g.Bundle {
		farm = "in the bundle"
	}
	return a.printVerdict(v, out, farm, f.json)
}

// openGiven turns what can't be opened into the exit status it has: a wrong
// command line, or an input that cannot be used.
func openGiven(out string) (*retrace.Given, error) {
	g, err := retrace.Open(out)
	var none *retrace.NoReport
	var bad *retrace.BadBundle
	switch {
	case errors.As(err, &none):
		return nil, usageError{fmt.Errorf("%w; name the folder of a report, or a bundle", err)}
	case errors.As(err, &bad):
		where := ""
		if bad.Name != "" {
			where = fmt.Sprintf("entry %q", bad.Name)
		}
		return nil, &ingest.InputError{Faults: []ingest.Fault{{File: bad.Path, Where: where, Got: bad.Why, Want: "a bundle as yardheat report --bundle writes it", Do: "ask for it again; nothing was unpacked"}}}
	}
	return g, err
}

// withoutSources is the verdict on a report whose sources.json is gone or
// broken: without it nothing says what to make again.
func withoutSources(err error) *retrace.Verdict {
	d := retrace.Difference{Kind: retrace.KindFileChanged, File: "sources.json", Text: err.Error()}
	if errors.Is(err, fs.ErrNotExist) {
		d.Kind, d.Text = retrace.KindFileMissing, "is not in the report's folder: without it nothing says from what the report was made"
	}
	return &retrace.Verdict{Now: program(), Differences: []retrace.Difference{d}}
}

// farmOf finds the farm folder: as stated, as it came, or as sources.json says.
func farmOf(g *retrace.Given, s *record.SourcesFile, stated string) (string, error) {
	dir, from := stated, "--farm"
	switch {
	case stated != "":
	case g.Farm != "":
		return g.Farm, nil
	case s.FarmFolder == "" && s.Program.Go != "" || filepath.IsAbs(s.FarmFolder):
		return "", usageError{errors.New("the report does not say where its farm folder lies; name it with --farm DIR")}
	default:
		real, err := standing(g.Report)
		if err != nil {
			return "", fmt.Errorf("folder of the report: %w", err)
		}
		to := s.FarmFolder
		if to == "" { // made before it was noted
			to = ".."
		}
		dir, from = filepath.Join(real, filepath.FromSlash(to)), "the report"
		if as := filepath.Join(g.Report, filepath.FromSlash(to)); sameFolder(as, dir) {
			dir = as // in the words of the command line
		}
	}
	if !holdsSome(dir, s) {
		return "", usageError{fmt.Errorf("%s says that the farm folder is %s, where none of the originals is; name it with --farm DIR", from, dir)}
	}
	return dir, nil
}

// holdsSome tells whether a folder holds any of the originals by name.
func holdsSome(dir string, s *record.SourcesFile) bool {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return false
	}
	defer func() { _ = root.Close() }() // read only
	for _, o := range retrace.Originals(s) {
		if _, err := root.Stat(filepath.FromSlash(o.Name)); err == nil {
			return true
		}
	}
	return false
}

func sameFolder(a, b string) bool {
	x, errA := os.Stat(a)
	y, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(x, y)
}

// remake makes the report again, as it says that it was made.
func (a *app) remake(g *retrace.Given, s *record.SourcesFile, out string) retrace.Remade {
	at, err := retrace.MadeAt(s)
	if err != nil {
		return retrace.Remade{Err: err}
	}
	made, err := a.at(at).computeWith(g.Farm, s.Options.From, s.Options.To, season.DefaultOptions())
	if err != nil {
		return retrace.Remade{Err: err}
	}
	p := a.newProgress()
	p.step("writing the report anew")
	defer p.done()
	opt := reports.Options{PNG: s.Options.PNG, Now: at, Version: version, Program: program(), From: s.Options.From, To: s.Options.To, Farm: s.FarmFolder}
	if err := reports.Write(out, made, opt); err != nil {
		return retrace.Remade{Err: err}
	}
	return retrace.Remade{Dir: out}
}

// follow prints the chain of a figure or of a cycle.
func (a *app) follow(g *retrace.Given, s *record.SourcesFile, f retraceFlags) error {
	at, err := retrace.MadeAt(s)
	if err != nil {
		return err
	}
	opt := season.DefaultOptions()
	opt.Trace = true
	made, err := a.at(at).computeWith(g.Farm, s.Options.From, s.Options.To, opt)
	if err != nil {
		return err
	}
	var chain *season.Chain
	if f.figure != "" {
		chain, err = made.Trace(f.figure, f.cycle)
	} else {
		chain, err = made.TraceCycle(f.cycle)
	}
	if errors.Is(err, season.ErrNoFigure) || errors.Is(err, season.ErrNoCycle) {
		return usageError{err}
	}
	if err != nil {
		return err
	}
	followed, err := retrace.Follow(chain, made, g, s, program())
	if err != nil {
		return err
	}
	if err := a.printFollowed(followed, f); err != nil {
		return err
	}
	if n := len(followed.Differences); n > 0 {
		return differsError{n}
	}
	return nil
}

func (a *app) printFollowed(f *retrace.Followed, flags retraceFlags) error {
	if flags.json {
		enc := json.NewEncoder(a.stdout)
		enc.SetIndent("", "  ")
		return enc.Encode(f)
	}
	_, err := fmt.Fprint(a.stdout, f.Text(flags.all))
	return err
}

// printVerdict prints the verdict; one that differs ends with status 4.
func (a *app) printVerdict(v *retrace.Verdict, out, farm string, asJSON bool) error {
	if asJSON {
		if v.Differences == nil {
			v.Differences = []retrace.Difference{}
		}
		enc := json.NewEncoder(a.stdout)
		enc.SetIndent("", "  ")
		if err := enc.Encode(v); err != nil {
			return err
		}
	} else if _, err := fmt.Fprint(a.stdout, v.Text(out, farm)); err != nil {
		return err
	}
	if !v.Agrees {
		return differsError{len(v.Differences) + v.More}
	}
	return nil
}
