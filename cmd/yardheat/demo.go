package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"yardheat/ingest/simfarm"
)

// sampleMark is a file that the demo leaves in its folder, so that it never
// writes over a folder that is somebody's own.
const sampleMark = ".yardheat-sample"

func (a *app) demoCommand() *cobra.Command {
	var json bool
	cmd := &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Write the sample farm (invented, seeded) and report on it",
		Long: `Writes a sample farm, invented and made by a seeded simulator, into DIR
(default sample-farm) and reports on it. Its logs are messy on purpose. DIR must
be absent, empty or an earlier sample.`,
		Example: `  yardheat demo
  yardheat demo try-it`,
		Args: atMost(1),
		RunE: func(_ *cobra.Command, args []string) error {
			dir := "sample-farm"
			if len(args) == 1 {
				dir = args[0]
			}
			return a.demo(dir, json)
		},
	}
	cmd.Flags().BoolVar(&json, "json", false, "print results.json to stdout and nothing else")
	return cmd
}

func (a *app) demo(dir string, json bool) error {
	if err := a.writeSample(dir); err != nil {
		return err
	}
	if !json {
		fmt.Fprintf(a.stdout, "Sample farm (invented):  %s\n", dir)
	}
	return a.report(dir, reportFlags{json: json})
}

// writeSample simulates the sample farm and writes it where nothing of
// anybody's stands.
func (a *app) writeSample(dir string) error {
	if err := sampleMayGo(dir); err != nil {
		return err
	}
	p := a.newProgress()
	p.step("simulating the sample farm")
	defer p.done()
	farm, err := simfarm.Run(simfarm.Sample())
	if err != nil {
		return fmt.Errorf("simulate the sample farm: %w", err)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the folder for the sample farm: %w", err)
	}
	if err := os.WriteFile(filepath.Join(dir, sampleMark), []byte("written by yardheat demo\n"), 0o644); err != nil {
		return fmt.Errorf("mark the folder as a sample: %w", err)
	}
	if err := farm.Write(dir); err != nil {
		return fmt.Errorf("write the sample farm: %w", err)
	}
	return nil
}

// sampleMayGo refuses a folder that holds something else.
func sampleMayGo(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) || (err == nil && len(entries) == 0) {
		return nil
	}
	if err != nil {
		return usageError{fmt.Errorf("cannot write the sample into %s: %w", dir, err)}
	}
	for _, e := range entries {
		if e.Name() == sampleMark {
			return nil
		}
	}
	return usageError{fmt.Errorf("%s holds something that is not the sample farm; name another folder: yardheat demo DIR", dir)}
}
