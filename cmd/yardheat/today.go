package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"yardheat/analysis/today"
	"yardheat/ingest"
	"yardheat/reports/lines"
	"yardheat/reports/results"
)

func (a *app) todayCommand() *cobra.Command {
	var json bool
	cmd := &cobra.Command{
		Use:   "today DIR",
		Short: "Say in ten lines what the last 48 hours show",
		Long: `Reads the farm folder DIR and says in at most ten lines, the most urgent first,
what the last 48 hours of its logs show: loggers that fell silent, milk cold in
time, washes hot enough, loop, plate, heat, tank and bed against their own weeks
before, cautions, and what to do next. Each line begins with "look at", "not known"
or "in order"; "in order" says that a number stands on this side of its limit,
no more. The 48 hours end with the last reading of the freshest logger. A stage
that the farm lacks has no line. Whatever it finds, it ends with status 0.`,
		Example: `  yardheat today my-farm
  yardheat today my-farm --json`,
		Args: exactly(1, "one farm folder"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.today(args[0], json)
		},
	}
	cmd.Flags().BoolVar(&json, "json", false, "print the lines as JSON to stdout and nothing else")
	return cmd
}

// today loads the farm and prints the lines.
func (a *app) today(dir string, json bool) error {
	now := a.now().Truncate(time.Second)
	p := a.newProgress()
	load := ingest.DefaultLoadOptions()
	load.Now = now
	load.Progress, load.Context = p.stage, a.ctx
	rec, err := ingest.Load(dir, load)
	if err != nil {
		p.done()
		return err
	}
	p.step("comparing with the weeks before")
	t, err := today.Make(rec, now, today.DefaultOptions())
	p.done()
	if err != nil {
		return err
	}
	if json {
		b, err := results.Today(t)
		if err != nil {
			return err
		}
		_, err = a.stdout.Write(b)
		return err
	}
	_, err = fmt.Fprint(a.stdout, lines.Text(t))
	return err
}
