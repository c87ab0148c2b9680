package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"yardheat/cmd/yardheat/desktop"
)

// pageCommand is the command that serves the page, nil where there is none.
func pageCommand(root *cobra.Command) *cobra.Command {
	for _, c := range root.Commands() {
		if c.Name() == "serve" {
			return c
		}
	}
	return nil
}

// fromDesktop is what a double-click does: `yardheat serve --open`, with a window
// that says what it is for. An error stays in the window until it is read.
func (a *app) fromDesktop(root, page *cobra.Command) error {
	fmt.Fprint(a.stdout, desktop.KeepOpen)
	page.SetContext(root.Context())
	err := page.ParseFlags([]string{"--open"})
	if err == nil {
		err = page.RunE(page, nil)
	}
	if err != nil {
		fmt.Fprintf(a.stdout, "Yardheat stopped: %v\n\nPress Enter to close this window.\n", err)
		_, _ = a.stdin.Read(make([]byte, 1)) // any key, or the window's end
	}
	return err
}
