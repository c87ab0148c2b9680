package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"yardheat/analysis/claim"
	"yardheat/analysis/season"
	"yardheat/reports/results"
	"yardheat/reports/statement"
)

// claimFlags are the options of `yardheat claim`.
type claimFlags struct {
	kwh, money, co2 string
	from, to        string
	confidence      string
	criteria        []string
	whole, seen     bool
	out             string
	json            bool
}

func (a *app) claimCommand() *cobra.Command {
	var f claimFlags
	cmd := &cobra.Command{
		Use:   "claim DIR --kwh N",
		Short: "Hold a claimed saving against the measured one",
		Long: `Says how likely it is that the saving of the farm folder DIR is at least what is
claimed, and at a chosen confidence whether the claim is supported, not supported,
or cannot be told from the record; then what would decide it, and whether the
saving is known as closely as the criterion of ASHRAE Guideline 14, and one's own,
ask. Of --kwh, --money and --co2 at least one is needed; a claim of 0 asks whether
anything was saved at all. A claim is about the whole period and is held against
the estimate for it, whose interval is wider for the time that was not seen; with
--seen it is held against what was seen alone. A saving told from days without
recovery is known for the days reported on only, and a claim is held against
these. Any verdict ends with status 0.`,
		Example: `  yardheat claim my-farm --kwh 5500
  yardheat claim my-farm --money 800 --from 2026-01-01 --to 2026-01-31 --criterion "20% at 90%" --out statement.html`,
		Args: exactly(1, "one farm folder"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.claim(args[0], f)
		},
	}
	cmd.Flags().StringVar(&f.kwh, "kwh", "", "claimed saving of final energy, kWh")
	cmd.Flags().StringVar(&f.money, "money", "", "claimed saving of money, in farm.toml's currency")
	cmd.Flags().StringVar(&f.co2, "co2", "", "claimed saving of CO2, kg")
	cmd.Flags().StringVar(&f.from, "from", "", "first local day, YYYY-MM-DD")
	cmd.Flags().StringVar(&f.to, "to", "", "last local day, YYYY-MM-DD, included")
	cmd.Flags().StringVar(&f.confidence, "confidence", "90", "confidence of the verdict, per cent")
	cmd.Flags().StringArrayVar(&f.criteria, "criterion", nil, `an own criterion, such as "20% at 90%" (may be repeated)`)
	cmd.Flags().BoolVar(&f.whole, "whole", false, "hold it against the whole period (the default, but for a saving told from days without recovery)")
	cmd.Flags().BoolVar(&f.seen, "seen", false, "hold it against what was seen of the period")
	cmd.Flags().StringVar(&f.out, "out", "", "write a one-page statement to sign (HTML) to this file")
	cmd.Flags().BoolVar(&f.json, "json", false, "print the result as JSON to stdout and nothing else")
	if err := cmd.MarkFlagFilename("out", "html"); err != nil {
		panic(err) // no such flag: a slip in the lines above
	}
	return cmd
}

func (a *app) claim(dir string, f claimFlags) error {
	asked, opt, err := f.parse()
	if err != nil {
		return usageError{err}
	}
	if f.out != "" {
		if err := asForeignStatement(statement.CheckOut(f.out)); err != nil {
			return err
		}
	}
	s, err := a.compute(dir, f.from, f.to)
	if err != nil {
		return err
	}
	if err := withinRecord(s, f.from, f.to); err != nil {
		return usageError{err}
	}
	j, err := claim.Judge(s, asked, opt)
	if err != nil {
		return usageError{err}
	}
	if f.out != "" {
		if err := writeStatement(f.out, s, j); err != nil {
			return err
		}
	}
	if f.json {
		b, err := results.Claim(s, j)
		if err != nil {
			return err
		}
		_, err = a.stdout.Write(b)
		return err
	}
	fmt.Fprint(a.stdout, statement.Text(s, j))
	if f.out != "" {
		fmt.Fprintf(a.stdout, "\nStatement:  %s\n", f.out)
	}
	return nil
}

func writeStatement(path string, s *season.Season, j *claim.Judgement) error {
	html, err := statement.HTML(s, j, statement.Options{Version: version})
	if err != nil {
		return err
	}
	return asForeignStatement(statement.Write(path, html))
}

// asForeignStatement turns "that file is not ours" into a wrong command line.
func asForeignStatement(err error) error {
	var foreign *statement.NotOurs
	if errors.As(err, &foreign) {
		return usageError{err}
	}
	return err
}

// withinRecord refuses days that the record does not reach: nobody can say what
// was saved on them.
func withinRecord(s *season.Season, from, to string) error {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		zone = time.UTC
	}
	first, last := time.UnixMilli(s.Period.Start).In(zone), time.UnixMilli(s.Period.End-1).In(zone)
	says := fmt.Sprintf("the record runs from %s to %s, and a claim can only be held against days in it", first.Format(time.DateOnly), last.Format(time.DateOnly))
	if from != "" && from < first.Format(time.DateOnly) {
		return fmt.Errorf("--from %s: %s", from, says)
	}
	if to != "" && to > last.Format(time.DateOnly) {
		return fmt.Errorf("--to %s: %s", to, says)
	}
	return nil
}
