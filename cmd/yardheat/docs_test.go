package main

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// Every problem code of the sources stands in DEVELOPERS.md, and none there is
// gone from the sources.
func TestProblemCodesAreDocumented(t *testing.T) {
	root := filepath.Join("..", "..")
	inCode := regexp.MustCompile(`Code\w*(?: *=|:) *"([a-z]+(?:-[a-z]+)+|negative)"`)
	used := map[string]bool{}
	all := ""
	for _, floor := range []string{"ingest", "analysis"} {
		err := filepath.WalkDir(filepath.Join(root, floor), func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
				return err
			}
			b, err := os.ReadFile(name)
			if err != nil {
				return err
			}
			all += string(b)
			for _, m := range inCode.FindAllStringSubmatch(string(b), -1) {
				used[m[1]] = true
			}
			return nil
		})
		require.NoError(t, err)
	}
	require.Greater(t, len(used), 40)
	b, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	require.NoError(t, err)
	listed := map[string]bool{}
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\|").FindAllStringSubmatch(string(b), -1) {
		listed[m[1]] = true
		require.Contains(t, all, `"`+m[1]+`"`, "listed, but no code says so")
	}
	for code := range used {
		require.True(t, listed[code], "%s is not in DEVELOPERS.md", code)
	}
}

func readDoc(t *testing.T, folder string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", folder, "README.md"))
	require.NoError(t, err)
	return string(b)
}

// Every quantity and every key of farm.toml stands in ingest/farm/README.md.
func TestFarmFileIsDocumented(t *testing.T) {
	doc := readDoc(t, "ingest/farm")
	quantities := doc[strings.Index(doc, "## Quantities"):]
	names := series.Names()
	require.Greater(t, len(names), 40)
	for _, q := range names {
		require.Contains(t, quantities, "`"+string(q)+"`")
	}
	for _, m := range regexp.MustCompile("`([a-z]+(?:_[a-z]+)*_(?:temp|flow|volume|power|energy|setpoint|pressure|level|on|valve|pump))`").FindAllStringSubmatch(quantities, -1) {
		_, ok := series.Lookup(series.Quantity(m[1]))
		require.True(t, ok, "%s is no quantity", m[1])
	}
	asked := regexp.MustCompile(`\.(?:Number|Text|Choice|Yes|Date|Moment|TimeOfDay|Texts|Table|Tables|Integer|Need|Get)\("([a-z_0-9]+)"`)
	files, err := filepath.Glob(filepath.Join("..", "..", "ingest", "farm", "*.go"))
	require.NoError(t, err)
	keys := map[string]bool{}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, m := range asked.FindAllStringSubmatch(string(b), -1) {
			keys[m[1]] = true
		}
	}
	require.Greater(t, len(keys), 80)
	for key := range keys {
		require.Regexp(t, "\\b"+key+"\\b", doc)
	}
}

// Every key that a report writes to results.json stands in reports/results/README.md.
func TestResultsAreDocumented(t *testing.T) {
	doc := readDoc(t, "reports/results")
	dir := simulated(t, 9)
	edit(t, dir, func(toml string) string {
		return toml + "\n[[season]]\nname = \"one\"\nfrom = 2025-02-10\nto = 2025-02-20\n\n[[season]]\nkind = \"recovery_off\"\nfrom = 2025-02-10\nto = 2025-02-24\n\n[cost]\ncapital = 1\n\n[[matched]]\nprobes = [\"plate_in_temp\", \"plate_out_temp\"]\noffset = \"find\"\n"
	})
	code, out, errs := try(t, "report", dir, "--json")
	require.Zero(t, code, errs)
	var all map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	require.NotEmpty(t, all["seasons"])
	require.Contains(t, out, "\"n_effective\"")
	delete(all, "settings")
	n := 0
	requireKeys(t, doc, all, &n)
	require.Greater(t, n, 150)
}

func requireKeys(t *testing.T, doc string, value any, n *int) {
	t.Helper()
	switch v := value.(type) {
	case map[string]any:
		for key, inner := range v {
			*n++
			require.Regexp(t, "\\b"+regexp.QuoteMeta(key)+"\\b", doc)
			requireKeys(t, doc, inner, n)
		}
	case []any:
		for _, inner := range v {
			requireKeys(t, doc, inner, n)
		}
	}
}

// Every key of sources.json stands in reports/record/README.md.
func TestSourcesAreDocumented(t *testing.T) {
	doc := readDoc(t, "reports/record")
	dir := simulated(t, 9)
	code, _, errs := try(t, "report", dir, "--from", "2025-02-10")
	require.Zero(t, code, errs)
	b, err := os.ReadFile(filepath.Join(dir, "report", "sources.json"))
	require.NoError(t, err)
	var all map[string]any
	require.NoError(t, json.Unmarshal(b, &all))
	for _, f := range all["files"].([]any) {
		delete(f.(map[string]any), "flagged") // by the tests' names
	}
	n := 0
	requireKeys(t, doc, all, &n)
	require.Greater(t, n, 100)
}
