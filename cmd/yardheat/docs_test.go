package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
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
