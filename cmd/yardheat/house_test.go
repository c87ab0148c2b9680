package main

import (
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The house: data goes up, imports go down. A floor may import itself and the
// floors below it.
var floors = []string{"ingest", "analysis", "reports", "cmd"}

// breach says why a file of package pkg (a path below the module, such as
// "analysis/loop") may not import imp; "" if it may.
func breach(pkg, imp string) string {
	if own, ok := strings.CutPrefix(imp, "yardheat/"); ok {
		if strings.HasPrefix(pkg, "ingest/simfarm") {
			return "simfarm is a leaf: it imports nothing of ours"
		}
		if strings.HasPrefix(pkg, "ingest/exports") {
			return "exports is a leaf: it imports nothing of ours"
		}
		if strings.HasPrefix(pkg, "ingest/pack") {
			return "pack is a leaf: it imports nothing of ours"
		}
		if strings.HasPrefix(pkg, "ingest/series") {
			return "series is a leaf: it imports nothing of ours"
		}
		if strings.HasPrefix(pkg, "ingest/work") {
			return "work is a leaf: it imports nothing of ours"
		}
		if strings.HasPrefix(pkg, "ingest/align") {
			return "align is a leaf: it knows trains of events only"
		}
		if floorOf(own) > floorOf(pkg) {
			return "imports go down: cmd > reports > analysis > ingest"
		}
		if floorOf(pkg) == floorOf("analysis") && strings.HasPrefix(own, "ingest/simfarm") {
			return "the simulator is independent of analysis"
		}
		return ""
	}
	switch floorOf(pkg) {
	case floorOf("ingest"):
		if strings.HasPrefix(imp, "gonum.org/v1/gonum/stat") || strings.HasPrefix(imp, "gonum.org/v1/gonum/optimize") {
			return "ingest knows no statistics"
		}
	case floorOf("analysis"):
		if imp == "os" || imp == "io/ioutil" || imp == "path/filepath" || strings.HasPrefix(imp, "net") {
			return "analysis opens no file"
		}
	case floorOf("reports"):
		if strings.HasPrefix(imp, "gonum.org/v1/gonum") {
			return "reports computes nothing"
		}
	case floorOf("cmd"):
		if strings.HasPrefix(imp, "gonum.org") {
			return "cmd holds no physics"
		}
	}
	return ""
}

func floorOf(pkg string) int {
	top, _, _ := strings.Cut(pkg, "/")
	for i, f := range floors {
		if f == top {
			return i
		}
	}
	return -1
}

func TestHouseImportsGoDown(t *testing.T) {
	root := filepath.Join("..", "..")
	files := 0
	for _, floor := range floors {
		err := filepath.WalkDir(filepath.Join(root, floor), func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
				return err
			}
			files++
			rel, err := filepath.Rel(root, name)
			if err != nil {
				return err
			}
			return checkFile(t, name, path.Dir(filepath.ToSlash(rel)))
		})
		require.NoError(t, err)
	}
	require.Greater(t, files, 20, "the walk must see the house")
}

func checkFile(t *testing.T, name, pkg string) error {
	f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
	if err != nil {
		return fmt.Errorf("read imports: %w", err)
	}
	for _, spec := range f.Imports {
		imp, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return err
		}
		if why := breach(pkg, imp); why != "" {
			t.Errorf("%s imports %s: %s", name, imp, why)
		}
	}
	return nil
}

// A gate that has never failed proves nothing: these must be refused.
func TestHouseGateFails(t *testing.T) {
	for _, c := range []struct{ pkg, imp string }{
		{"ingest/table", "yardheat/analysis/water"},
		{"ingest", "yardheat/reports"},
		{"analysis/loop", "yardheat/reports/chart"},
		{"analysis/loop", "yardheat/ingest/simfarm"},
		{"analysis/season", "os"},
		{"ingest/simfarm", "yardheat/ingest/series"},
		{"ingest/pack", "yardheat/ingest/table"},
		{"ingest/align", "yardheat/ingest/series"},
		{"ingest/work", "yardheat/ingest/series"},
		{"ingest/exports", "yardheat/ingest/table"},
		{"reports/page", "gonum.org/v1/gonum/stat"},
		{"ingest/clock", "gonum.org/v1/gonum/stat"},
		{"cmd/yardheat", "gonum.org/v1/gonum/mat"},
	} {
		require.NotEmpty(t, breach(c.pkg, c.imp), "%s -> %s", c.pkg, c.imp)
	}
	require.Empty(t, breach("reports/chart", "yardheat/analysis/season"))
	require.Empty(t, breach("analysis/loop", "gonum.org/v1/gonum/mat"))
}

// The top level holds what the developers' guide lists and nothing else.
func TestHouseTopLevel(t *testing.T) {
	allowed := map[string]bool{
		"cmd": true, "analysis": true, "ingest": true, "reports": true, "testdata": true, "notebooks": true,
		"go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true, "LICENSE": true,
	}
	names, err := filepath.Glob(filepath.Join("..", "..", "*"))
	require.NoError(t, err)
	for _, n := range names {
		base := filepath.Base(n)
		if strings.HasPrefix(base, ".") || base == "yardheat" || base == "sample-farm" || base == "dist" {
			continue // dotfiles, and what .gitignore leaves out
		}
		require.True(t, allowed[base], "%s does not belong at the top level", base)
	}
}
