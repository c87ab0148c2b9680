package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// try runs the program as a user would, without a terminal.
func try(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(args, strings.NewReader(""), &out, &errs)
	return code, out.String(), errs.String()
}

func TestHelpShowsAnExampleFirst(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"report", "--help"}, {"demo", "--help"}, {"look", "--help"}, {"start", "--help"}, {"today", "--help"}, {"claim", "--help"}, {"compare", "--help"}, {"retrace", "--help"}} {
		code, out, errs := try(t, args...)
		require.Zero(t, code, args)
		require.Empty(t, errs)
		require.True(t, strings.HasPrefix(out, "Example:\n"), "%v: %s", args, out)
	}
}

// Help lists only what works.
func TestHelpListsTheCommands(t *testing.T) {
	_, out, _ := try(t, "--help")
	for _, c := range []string{"demo", "look", "start", "report", "today", "claim", "size", "compare", "retrace", "serve", "licences", "completion"} {
		require.Contains(t, out, "\n  "+c)
	}
}

func TestWrongCommandLine(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"repotr", "x"}, "did you mean report"},
		{[]string{"report"}, "want one farm folder"},
		{[]string{"report", "a", "b"}, "want one farm folder"},
		{[]string{"report", "--no-such", "a"}, "no-such"},
		{[]string{"demo", "a", "b"}, "accepts at most 1"},
	} {
		code, out, errs := try(t, c.args...)
		require.Equal(t, exitUsage, code, c.args)
		require.Empty(t, out)
		require.Contains(t, errs, c.want)
	}
}

func TestShellCompletion(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		code, out, _ := try(t, "completion", shell)
		require.Zero(t, code)
		require.Contains(t, out, "yardheat")
	}
}

// A folder that is somebody's own is never written over by the sample.
func TestDemoLeavesForeignFoldersAlone(t *testing.T) {
	dir := t.TempDir()
	own := filepath.Join(dir, "farm.toml")
	require.NoError(t, os.WriteFile(own, []byte("mine"), 0o644))
	code, _, errs := try(t, "demo", dir)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "not the sample farm")
	b, err := os.ReadFile(own)
	require.NoError(t, err)
	require.Equal(t, "mine", string(b))
}
