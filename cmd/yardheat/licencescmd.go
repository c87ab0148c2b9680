package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"yardheat/cmd/yardheat/licences"
)

func (a *app) licencesCommand() *cobra.Command {
	var full bool
	cmd := &cobra.Command{
		Use:   "licences",
		Short: "List what else is in this program, and under which licences",
		Example: `  yardheat licences           a line each
  yardheat licences --full    with every licence's text`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.licences(full) },
	}
	cmd.Flags().BoolVar(&full, "full", false, "print every licence's text below the list")
	return cmd
}

// licences prints the list, held against what the build says it holds.
func (a *app) licences(full bool) error {
	parts, err := licences.All(runtime.Version())
	if err != nil {
		return err
	}
	if err := licences.Write(a.stdout, parts, full); err != nil {
		return err
	}
	info, ok := debug.ReadBuildInfo()
	if !ok || !strings.HasSuffix(info.Path, "/yardheat") {
		return nil // not the program itself: a test, with the tests' modules in it
	}
	if more := licences.Unlisted(parts, info); len(more) > 0 {
		return fmt.Errorf("this build also holds what the list does not know: %s", strings.Join(more, ", "))
	}
	return nil
}
