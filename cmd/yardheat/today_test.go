package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The lines of a farm, as text and as JSON; every key of the JSON is documented.
func TestToday(t *testing.T) {
	dir := simulated(t, 9)
	code, out, errs := try(t, "today", dir)
	require.Zero(t, code, errs)
	require.Empty(t, errs)
	require.NotContains(t, out, "NaN")
	require.NotContains(t, strings.ToLower(out), "safe")
	lines := strings.Split(strings.TrimSpace(out), "\n")[2:]
	require.LessOrEqual(t, len(lines), 10)
	require.Regexp(t, `^  look at    Logs      end \d+ days ago`, lines[0], "the sample ends long before now, and that comes first")
	for _, l := range lines {
		require.Regexp(t, `^  (look at  |not known|in order ) `, l)
	}

	code, out, errs = try(t, "today", dir, "--json")
	require.Zero(t, code, errs)
	require.NotContains(t, out, "NaN")
	var all struct {
		Schema string
		Lines  []struct {
			Line, State, Says string
			Times             map[string]time.Time
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	require.Equal(t, "yardheat-today/1", all.Schema)
	require.Len(t, all.Lines, len(lines))
	require.Equal(t, "logs-end", all.Lines[0].Says)
	var keys map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &keys))
	n := 0
	doc := readDoc(t, "analysis/today")
	requireKeys(t, doc, keys, &n)
	require.Greater(t, n, 60)
	for _, m := range regexp.MustCompile(`"key": "([a-z_0-9]+)"`).FindAllStringSubmatch(out, -1) {
		require.Contains(t, doc, "`"+m[1]+"`")
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		require.NotEqual(t, "report", e.Name(), "today writes nothing")
	}
}

func TestTodayRefuses(t *testing.T) {
	code, _, errs := try(t, "today")
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "one farm folder")
	code, _, errs = try(t, "today", filepath.Join(t.TempDir(), "none"))
	require.Equal(t, exitBadInput, code)
	require.Contains(t, errs, "no such folder")
}
