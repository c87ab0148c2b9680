package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/reports/page"
)

// listed is one row of reports/CHECKLIST.md.
type listed struct{ anchor, key, not string }

func checklist(t *testing.T) map[int]listed {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "reports", "CHECKLIST.md"))
	require.NoError(t, err)
	out := map[int]listed{}
	for _, line := range strings.Split(string(b), "\n") {
		cells := strings.Split(strings.Trim(line, "|"), "|")
		if len(cells) != 5 {
			continue
		}
		n, err := strconv.Atoi(strings.TrimSpace(cells[0]))
		if err != nil {
			continue
		}
		bare := func(i int) string { return strings.Trim(strings.TrimSpace(cells[i]), "`") }
		out[n] = listed{bare(2), bare(3), bare(4)}
	}
	return out
}

// Each of the 26 items has its place in the page and the results of the sample
// farm, or the document says why not; page and document agree.
func TestChecklistOnTheSampleFarm(t *testing.T) {
	rows := checklist(t)
	require.Len(t, rows, 26)
	dir, _ := sampleFarm(t)
	html, err := os.ReadFile(filepath.Join(dir, "report", "report.html"))
	require.NoError(t, err)
	text, err := os.ReadFile(filepath.Join(dir, "report", "results.json"))
	require.NoError(t, err)
	var results any
	require.NoError(t, json.Unmarshal(text, &results))

	items := page.Checklist()
	require.Len(t, items, 26)
	for i, item := range items {
		row := rows[item.N]
		require.Equal(t, i+1, item.N)
		require.Equal(t, row.anchor, item.Anchor, "item %d", item.N)
		if item.Note != "" {
			require.NotEmpty(t, row.not, "item %d lacks something on the page: CHECKLIST.md says nothing of it", item.N)
		}
		said := after(string(html), row.anchor)
		require.Greater(t, len(said), 40, "item %d: nothing stands at #%s", item.N, row.anchor)
		if row.key == "" {
			require.NotEmpty(t, row.not, "item %d", item.N)
			continue
		}
		require.True(t, holdsKey(results, strings.Split(row.key, ".")), "item %d: results.json has nothing at %s", item.N, row.key)
	}
	require.False(t, holdsKey(results, []string{"audit", "nothing"}), "the test must be able to fail")
	require.Empty(t, after(string(html), "a-nothing"))
}

var tag = regexp.MustCompile(`<[^>]*>`)

// after is the text behind an id, up to the next heading with an id.
func after(html, id string) string {
	_, rest, ok := strings.Cut(html, ` id="`+id+`"`)
	if !ok {
		return ""
	}
	_, rest, _ = strings.Cut(rest, ">")
	if end := strings.Index(rest, `<h4 id=`); end >= 0 {
		rest = rest[:end]
	}
	return strings.TrimSpace(tag.ReplaceAllString(rest, " "))
}

// holdsKey: something not empty stands at the path; of a list, in its first
// element.
func holdsKey(v any, path []string) bool {
	if list, ok := v.([]any); ok && len(path) > 0 {
		return len(list) > 0 && holdsKey(list[0], path)
	}
	if len(path) == 0 {
		switch x := v.(type) {
		case nil:
			return false
		case string:
			return x != ""
		case []any:
			return len(x) > 0
		case map[string]any:
			return len(x) > 0
		}
		return true
	}
	m, ok := v.(map[string]any)
	if !ok {
		return false
	}
	inner, ok := m[path[0]]
	return ok && holdsKey(inner, path[1:])
}
