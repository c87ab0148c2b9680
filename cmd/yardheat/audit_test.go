package main

import (
	"flag"
	"fmt"
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

// behind is what may follow a yardheat command in the document: a pipe; or files
// for what it prints and says, and its exit status.
var behind = regexp.MustCompile(`^(yardheat .*?)(?: \| (.*)| > (\S+) 2> (\S+); echo "exit status \$\?")?$`)

// madeAt is the time at which a report was made; the document has one for all.
var madeAt = regexp.MustCompile(`made \d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ`)

// typed runs one command of the document in the test's folder: yardheat in this
// process, anything else by the shell.
func typed(t *testing.T, line string) string {
	t.Helper()
	m := behind.FindStringSubmatch(line)
	if m == nil {
		return byShell(t, line, "")
	}
	args := split(m[1])
	if args[1] == "demo" {
		return sampleHere(t, args[2])
	}
	code, out, errs := try(t, args[1:]...)
	out = madeAt.ReplaceAllString(out, "made 2026-04-02T06:30:00Z")
	if m[3] != "" {
		require.NoError(t, os.WriteFile(m[3], []byte(out), 0o644))
		require.NoError(t, os.WriteFile(m[4], []byte(errs), 0o644))
		return fmt.Sprintf("exit status %d\n", code)
	}
	require.Zero(t, code, "%s: %s", line, errs)
	if m[2] != "" {
		return byShell(t, m[2], out)
	}
	return out
}

func byShell(t *testing.T, line, stdin string) string {
	t.Helper()
	cmd := exec.Command("sh", "-c", line)
	cmd.Stdin = strings.NewReader(stdin)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s: %s", line, out)
	return string(out)
}

// The worked audit is true: every command of it is run, in order, and prints
// what stands there.
func TestWorkedAudit(t *testing.T) {
	if testing.Short() {
		t.Skip("the sample farm, reported on ten times")
	}
	for _, tool := range []string{"sh", "awk", "sha256sum", "cmp", "sed", "grep"} {
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
	require.Greater(t, commands, 15)
	if *updateAudit {
		require.NoError(t, os.WriteFile(doc, []byte(got), 0o644))
		return
	}
	require.Equal(t, string(b), got, "run again with -update-audit, and read what changed")
}
