package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardheat/analysis/beside"
	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
	"yardheat/ingest"
)

// compareFlags are the options of `yardheat compare`.
type compareFlags struct {
	first, second string
	drift         float64
	json          bool
}

func (a *app) compareCommand() *cobra.Command {
	var f compareFlags
	drift := beside.DefaultOptions().Drift
	cmd := &cobra.Command{
		Use:   "compare DIR [DIR2] [--first FROM..TO] [--second FROM..TO]",
		Short: "Set two periods of a farm, or two farms, beside each other",
		Long: `Sets two periods of the farm folder DIR, or the farms in DIR and DIR2, beside each
other: by what the figures of the first screen and of the bed differ, each with a
95 % interval, totals a day. In two periods of one farm the same probe errs
alike, and so most of its error leaves the difference; of two farms nothing does.
What else differed (air, cold feed, litres) stands beside; no cause is named.
Periods are local days, both included; with one farm both are needed, and they must
not overlap. Of two folders either may be left out: the whole record.`,
		Example: `  yardheat compare my-farm --first 2026-01-01..2026-01-31 --second 2026-02-01..2026-02-28
  yardheat compare my-farm neighbours-farm
  yardheat compare my-farm neighbours-farm --second 2026-01-01..2026-03-31 --json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return usageError{errors.New("want one or two farm folders; see: yardheat compare --help")}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.compare(args, f)
		},
	}
	cmd.Flags().StringVar(&f.first, "first", "", "days of the first period, FROM..TO, both included")
	cmd.Flags().StringVar(&f.second, "second", "", "days of the second period, likewise")
	cmd.Flags().Float64Var(&f.drift, "drift", 100*drift, "per cent of each instrument's error taken as new in the second period")
	cmd.Flags().BoolVar(&f.json, "json", false, "print the comparison as JSON to stdout and nothing else")
	return cmd
}

// compare computes both seasons and prints what they differ by.
func (a *app) compare(dirs []string, f compareFlags) error {
	opt := beside.DefaultOptions()
	opt.Drift = f.drift / 100
	if err := opt.Validate(); err != nil {
		return usageError{fmt.Errorf("--drift %g: want a percentage, 0 to 100", f.drift)}
	}
	same, err := sameFarm(dirs)
	if err != nil {
		return err
	}
	if same && (f.first == "" || f.second == "") {
		return usageError{errors.New("want two periods of the one farm: --first FROM..TO and --second FROM..TO, such as --first 2026-01-01..2026-01-31")}
	}
	opt.SameFarm = same
	s, err := a.bothSeasons(dirs, same, [2]string{f.first, f.second})
	if err != nil {
		return err
	}
	c, err := beside.Compare(s[0], s[1], opt)
	switch {
	case errors.Is(err, beside.ErrOverlap):
		return usageError{fmt.Errorf("--first %s and --second %s overlap: what happened in both cannot differ; want periods without a day in common", f.first, f.second)}
	case errors.Is(err, beside.ErrSameFiles):
		return usageError{fmt.Errorf("%w; want two farms, or two periods of one: yardheat compare DIR --first FROM..TO --second FROM..TO", err)}
	case err != nil:
		return err
	}
	if f.json {
		return a.printCompareJSON(s, c, opt)
	}
	a.printCompare(s, c, opt)
	return nil
}

// sameFarm tells whether it is one folder, named once or twice.
func sameFarm(dirs []string) (bool, error) {
	if len(dirs) == 1 {
		return true, nil
	}
	x, err := os.Stat(dirs[0])
	if err != nil {
		return false, missingFolder(dirs[0], err)
	}
	y, err := os.Stat(dirs[1])
	if err != nil {
		return false, missingFolder(dirs[1], err)
	}
	return os.SameFile(x, y), nil
}

func missingFolder(dir string, err error) error {
	return &ingest.InputError{Faults: []ingest.Fault{{File: dir, Got: err.Error(), Want: "a farm folder", Do: "look whether its name is right"}}}
}

// bothSeasons computes them; one farm is loaded once.
func (a *app) bothSeasons(dirs []string, same bool, periods [2]string) ([2]*season.Season, error) {
	var out [2]*season.Season
	var rec *ingest.Record
	p := a.newProgress()
	defer p.done()
	for i, flag := range []string{"--first", "--second"} {
		if i == 0 || !same {
			load := ingest.DefaultLoadOptions()
			load.Now, load.Progress, load.Context = a.now(), p.stage, a.ctx
			var err error
			if rec, err = ingest.Load(dirs[i], load); err != nil {
				return out, err
			}
		}
		o := season.DefaultOptions()
		o.Version, o.Progress, o.Context = version, p.stage, a.ctx
		var err error
		if o.From, o.To, err = daysSpan(periods[i], rec.Zone); err != nil {
			return out, usageError{fmt.Errorf("%s %w", flag, err)}
		}
		out[i], err = season.Compute(rec, o)
		if errors.Is(err, season.ErrPeriod) {
			return out, usageError{fmt.Errorf("%s %s: %w", flag, periods[i], err)}
		}
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// daysSpan reads FROM..TO, local days and both included; "" = the whole record.
func daysSpan(text string, zone *time.Location) (from, to time.Time, err error) {
	if text == "" {
		return from, to, nil
	}
	a, b, ok := strings.Cut(text, "..")
	if !ok || a == "" || b == "" {
		return from, to, fmt.Errorf("%q: want two days as FROM..TO, such as 2026-01-01..2026-01-31", text)
	}
	if from, err = localDay(a, zone, 0); err != nil {
		return from, to, err
	}
	if to, err = localDay(b, zone, 1); err != nil {
		return from, to, err
	}
	if !from.Before(to) {
		return from, to, fmt.Errorf("%s: its end lies before its start", text)
	}
	return from, to, nil
}

func (a *app) printCompare(s [2]*season.Season, c *beside.Comparison, opt beside.Options) {
	names := [2]string{periodWords(s[0]), periodWords(s[1])}
	if c.SameFarm {
		fmt.Fprintf(a.stdout, "%s: %s, and %s.\n\n", s[0].Farm, names[0], names[1])
	} else {
		fmt.Fprintf(a.stdout, "First %s, %s; second %s, %s.\n\n", s[0].Farm, names[0], s[1].Farm, names[1])
	}
	row := func(x ...string) {
		fmt.Fprintln(a.stdout, strings.TrimRight(fmt.Sprintf("  %-48s %-24s %-24s %-22s %-16s %s", x[0], x[1], x[2], x[3], x[4], x[5]), " "))
	}
	row("", "first", "second", "second less first", "second / first", "")
	for _, r := range c.Rows {
		ratio := ""
		if !math.IsNaN(r.Ratio.Value) {
			ratio = r.Ratio.Shown
		}
		row(r.Label, r.First.Shown, r.Second.Shown, r.Difference.Shown, ratio, r.Verdict)
	}
	fmt.Fprintln(a.stdout, "\n  What else was not alike, without an interval:")
	for _, b := range c.Beside {
		row(b.Label, besideNumber(b.First, b.Unit), besideNumber(b.Second, b.Unit), besideNumber(b.Second-b.First, strings.Replace(b.Unit, "degC", "K", 1)), "", "")
	}
	fmt.Fprintln(a.stdout)
	for _, r := range c.Rows {
		if r.Verdict == beside.NotKnown {
			wrapped(a.stdout, "  ! ", r.Label+": "+r.Difference.Why)
		}
	}
	for _, text := range compareNotes(c, opt) {
		wrapped(a.stdout, "  - ", text)
	}
}

// compareNotes say how the differences are to be read.
func compareNotes(c *beside.Comparison, opt beside.Options) []string {
	notes := []string{`"Told apart" says that the 95 % interval of the difference leaves zero out. Why they differ is not in these figures.`,
		fmt.Sprintf("Of rows in which nothing differs, one in twenty is told apart by chance: here %.1f.", c.ByChance)}
	if c.SameFarm {
		notes = append(notes, fmt.Sprintf("The same probe, meter and stated figure err alike in both periods, but for %.0f %% of each instrument's error, taken as drift (--drift; an assumption). A probe that was changed or moved in between is not the same.", 100*opt.Drift))
	} else {
		notes = append(notes, "All errors of the two farms are taken as independent.")
	}
	return append(notes, "Totals are a day of the period, the time that nobody saw estimated and in the interval; they say nothing of other days.")
}

func periodWords(s *season.Season) string {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		zone = time.UTC
	}
	day := func(ms int64) string { return time.UnixMilli(ms).In(zone).Format(time.DateOnly) }
	return day(s.Period.Start) + " to " + day(s.Period.End-1)
}

func besideNumber(x float64, unit string) string {
	if math.IsNaN(x) {
		return doubt.NotKnown
	}
	digits := 1
	if math.Abs(x) >= 100 {
		digits = 0
	}
	return strings.Replace(strings.TrimSpace(fmt.Sprintf("%.*f %s", digits, x, doubt.ShowUnit(unit))), "-", "\u2212", 1)
}

// compareJSON is the comparison as JSON; figures as in results.json.
type compareJSON struct {
	SameFarm bool             `json:"same_farm"`
	Drift    float64          `json:"drift"`
	First    map[string]any   `json:"first"`
	Second   map[string]any   `json:"second"`
	Rows     []map[string]any `json:"figures"`
	Beside   []map[string]any `json:"beside"`
	ByChance float64          `json:"apart_by_chance"`
	Notes    []string         `json:"notes"`
}

func (a *app) printCompareJSON(s [2]*season.Season, c *beside.Comparison, opt beside.Options) error {
	side := func(s *season.Season) map[string]any {
		return map[string]any{"farm": s.Farm, "from": time.UnixMilli(s.Period.Start).UTC().Format(time.RFC3339), "to": time.UnixMilli(s.Period.End).UTC().Format(time.RFC3339)}
	}
	out := compareJSON{SameFarm: c.SameFarm, Drift: opt.Drift, First: side(s[0]), Second: side(s[1]), Rows: []map[string]any{}, Beside: []map[string]any{}, ByChance: c.ByChance, Notes: compareNotes(c, opt)}
	figure := func(f doubt.Figure) any {
		m := map[string]any{"value": orNull(f.Value), "low": orNull(f.Low), "high": orNull(f.High), "unit": f.Unit, "confidence": f.Confidence, "basis": f.Basis, "n": f.N, "coverage": f.Coverage, "shown": f.Shown}
		if f.Why != "" {
			m["why"] = f.Why
		}
		return m
	}
	for _, r := range c.Rows {
		parts := []map[string]any{}
		for _, p := range r.Parts {
			parts = append(parts, map[string]any{"source": p.Source, "share": p.Share})
		}
		out.Rows = append(out.Rows, map[string]any{"key": r.Key, "label": r.Label, "first": figure(r.First), "second": figure(r.Second),
			"difference": figure(r.Difference), "ratio": figure(r.Ratio), "verdict": r.Verdict, "budget": parts})
	}
	for _, b := range c.Beside {
		out.Beside = append(out.Beside, map[string]any{"key": b.Key, "label": b.Label, "unit": b.Unit, "first": orNull(b.First), "second": orNull(b.Second)})
	}
	enc := json.NewEncoder(a.stdout)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(out)
}
