package main

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
)

func TestDoubleClickOpensThePage(t *testing.T) {
	for _, c := range []struct {
		name    string
		clicked bool
		fails   error
	}{{"clicked", true, nil}, {"clicked and fails", true, errors.New("no port")}, {"typed", false, nil}} {
		t.Run(c.name, func(t *testing.T) {
			var out, errs bytes.Buffer
			a := newApp(strings.NewReader("\n"), &out, &errs)
			a.doubleClicked = func() bool { return c.clicked }
			root := a.root()
			if old := pageCommand(root); old != nil {
				root.RemoveCommand(old)
			}
			served, open := 0, false
			serve := &cobra.Command{Use: "serve", RunE: func(*cobra.Command, []string) error { served++; return c.fails }}
			serve.Flags().BoolVar(&open, "open", false, "")
			root.AddCommand(serve)
			root.SetArgs([]string{})
			root.SetOut(&out)
			require.Equal(t, c.fails, root.Execute())
			require.Equal(t, c.clicked, served == 1)
			require.Equal(t, c.clicked, open)
			require.Equal(t, c.clicked, strings.Contains(out.String(), "Keep this window open"))
			require.Equal(t, c.fails != nil, strings.Contains(out.String(), "Press Enter"))
			require.Equal(t, !c.clicked, strings.Contains(out.String(), "Usage:"))
		})
	}
	require.Empty(t, cobra.MousetrapHelpText, "cobra's own words on a double-click are off")
}
