package main

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var updateAudit = flag.Bool("update-audit", false, "write what the commands of reports/statement/README.md print into it")

// words splits a command line at blanks, with double quotes.
var words = regexp.MustCompile(`"[^"]*"|\S+`)

func split(line string) []string {
	out := words.FindAllString(line, -1)
	for i := range out {
		out[i] = strings.Trim(out[i], `"`)
	}
	return out
}

// typed runs one command of the document in the test's folder: yardheat in this
// process, anything else by the shell.
func typed(t *testing.T, line string) string {
	t.Helper()
	if args := split(line); args[0] == "yardheat" {
		code, out, errs := try(t, args[1:]...)
		require.Zero(t, code, "%s: %s", line, errs)
		return out
	}
	out, err := exec.Command("sh", "-c", line).CombinedOutput()
	require.NoError(t, err, "%s: %s", line, out)
	return string(out)
}

// The worked audit is true: every command of it is run, in order, and prints
// what stands there.
func TestWorkedAudit(t *testing.T) {
	if testing.Short() {
		t.Skip("the sample farm, reported on twice")
	}
	for _, tool := range []string{"sh", "awk", "sha256sum", "cmp"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("the document's commands need " + tool)
		}
	}
	doc, err := filepath.Abs(filepath.Join("..", "..", "reports", "statement", "README.md"))
	require.NoError(t, err)
	b, err := os.ReadFile(doc)
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	commands := 0
	block := regexp.MustCompile("(?s)```console\n(.*?)```\n")
	got := block.ReplaceAllStringFunc(string(b), func(part string) string {
		var said strings.Builder
		for _, line := range strings.Split(block.FindStringSubmatch(part)[1], "\n") {
			if command, ok := strings.CutPrefix(line, "$ "); ok {
				commands++
				said.WriteString(line + "\n" + typed(t, command))
			}
		}
		return "```console\n" + said.String() + "```\n"
	})
	require.Greater(t, commands, 7)
	if *updateAudit {
		require.NoError(t, os.WriteFile(doc, []byte(got), 0o644))
		return
	}
	require.Equal(t, string(b), got, "run again with -update-audit, and read what changed")
}
