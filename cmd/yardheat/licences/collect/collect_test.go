package collect

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/licences"
)

const root = "../../../.."

const remake = "the list of licences is not that of the build. Look at what changed, then: go generate ./cmd/yardheat/licences"

// differences names what is missing, surplus or changed in a list.
func differences(want, got []licences.Part) []string {
	key := func(p licences.Part) string { return p.Sort + " " + p.Name }
	have := map[string]licences.Part{}
	for _, p := range got {
		have[key(p)] = p
	}
	var out []string
	for _, w := range want {
		g, ok := have[key(w)]
		delete(have, key(w))
		switch {
		case !ok:
			out = append(out, "missing: "+key(w)+" "+w.Version)
		case g.Version != w.Version:
			out = append(out, "changed: "+key(w)+" is "+w.Version+", the list says "+g.Version)
		case !slices.EqualFunc(g.Texts, w.Texts, func(a, b licences.Text) bool {
			return a.File == b.File && a.Text == b.Text && slices.Equal(a.Kinds, b.Kinds)
		}) || g.Note != w.Note || !slices.Equal(g.Only, w.Only):
			out = append(out, "changed: the licence of "+key(w))
		}
	}
	for _, p := range got {
		if _, ok := have[key(p)]; ok {
			out = append(out, "surplus: "+key(p))
		}
	}
	return out
}

// TestListIsThatOfTheBuild holds the embedded list to the modules that the
// build links on every system, and to their licence files.
func TestListIsThatOfTheBuild(t *testing.T) {
	want, err := List(root)
	require.NoError(t, err)
	got, err := licences.All("")
	require.NoError(t, err)
	require.Empty(t, differences(want, got), remake)
	require.Equal(t, len(want), len(got))
	require.Greater(t, len(got), 25)

	// The gate fails where it should.
	require.Equal(t, []string{"missing: " + want[3].Sort + " " + want[3].Name + " " + want[3].Version}, differences(want, slices.Delete(slices.Clone(got), 3, 4)))
	more := append(slices.Clone(got), licences.Part{Sort: licences.SortModule, Name: "example.org/more", Version: "v1.0.0"})
	require.Equal(t, []string{"surplus: module example.org/more"}, differences(want, more))
	other := slices.Clone(got)
	other[4].Version = "v0.0.1"
	require.Len(t, differences(want, other), 1)
	words := slices.Clone(got)
	words[5].Texts = []licences.Text{{File: "LICENSE", Kinds: []string{"MIT"}, Text: "mine"}}
	require.Equal(t, []string{"changed: the licence of " + want[5].Sort + " " + want[5].Name}, differences(want, words))
}

// TestWhatMustBeInTheList: things that are known to be in the program.
func TestWhatMustBeInTheList(t *testing.T) {
	parts, err := licences.All("go1.99")
	require.NoError(t, err)
	kinds := map[string]string{}
	for _, p := range parts {
		kinds[p.Name] = strings.Join(p.Kinds(), ", ")
		for _, x := range p.Texts {
			require.NotEmpty(t, strings.TrimSpace(x.Text), p.Name)
		}
	}
	for name, want := range map[string]string{
		"Yardheat": "Apache-2.0", "Liberation fonts": "OFL-1.1", "Go fonts": "BSD-3-Clause", "time zone database": "public domain",
		"uPlot": "MIT", "github.com/spf13/cobra": "Apache-2.0", "github.com/inconshreveable/mousetrap": "Apache-2.0",
		"github.com/pelletier/go-toml/v2": "MIT", "github.com/ajstarks/svgo": "CC-BY-4.0",
	} {
		require.Equal(t, want, kinds[name], name)
	}
	require.Contains(t, kinds["github.com/golang/freetype"], "FTL")
	require.Contains(t, kinds["gonum.org/v1/gonum"], "BSD-3-Clause")
	require.Contains(t, kinds[licences.GoLibrary], "BSD-3-Clause")
	require.NotContains(t, kinds, "github.com/stretchr/testify", "what only tests use is not in the program")

	var b bytes.Buffer
	require.NoError(t, licences.Write(&b, parts, true))
	require.Contains(t, b.String(), "go1.99")
	require.Contains(t, b.String(), "Reserved Font Name Liberation")
	require.Contains(t, b.String(), "SIL OPEN FONT LICENSE")
}

func TestKindsOf(t *testing.T) {
	apache, err := os.ReadFile(filepath.Join(root, "LICENSE"))
	require.NoError(t, err)
	kinds, binds := kindsOf(string(apache))
	require.Equal(t, []string{"Apache-2.0"}, kinds)
	require.Empty(t, binds)

	_, err = known("LICENSE", "You may do with this what you like on Sundays.")
	require.ErrorContains(t, err, "no licence that")
	_, err = known("LICENSE", "GNU GENERAL PUBLIC LICENSE\nVersion 3, 29 June 2007\n")
	require.ErrorContains(t, err, "may bind the whole program")
	_, err = known("COPYING", "GNU GENERAL PUBLIC LICENSE\n Version 2, June 1991 ... TERMS AND CONDITIONS FOR COPYING, DISTRIBUTION AND MODIFICATION")
	require.Error(t, err)
	_, err = known("LICENSE", "Mozilla Public License, version 2.0")
	require.Error(t, err)
}

// TestFilesOverLinkedPackages: the licence of a folder counts for what is
// linked from it, and not for what is not.
func TestFilesOverLinkedPackages(t *testing.T) {
	top := t.TempDir()
	for _, f := range []string{"LICENSE", "COPYING.md", "NOTICE", "a/LICENSE.txt", "a/b/patents", "c/LICENSE", "licence.go"} {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(top, f)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(top, f), []byte("x"), 0o644))
	}
	s := &source{name: "m", top: top, dirs: []string{filepath.Join(top, "a", "b"), filepath.Join(top, "a")}}
	got, err := s.files()
	require.NoError(t, err)
	require.Equal(t, []string{"COPYING.md", "LICENSE", "NOTICE", "a/LICENSE.txt", "a/b/patents"}, got)
}

func TestUnlisted(t *testing.T) {
	parts, err := licences.All("")
	require.NoError(t, err)
	var b debug.BuildInfo
	for _, p := range parts {
		if p.Sort == licences.SortModule {
			b.Deps = append(b.Deps, &debug.Module{Path: p.Name, Version: p.Version})
		}
	}
	require.Empty(t, licences.Unlisted(parts, &b))
	b.Deps[0].Version = "v99.0.0"
	b.Deps = append(b.Deps, &debug.Module{Path: "a/b", Version: "v1.0.0", Replace: &debug.Module{Path: "c/d", Version: "v2.0.0"}})
	require.Equal(t, []string{b.Deps[0].Path + " v99.0.0", "c/d v2.0.0"}, licences.Unlisted(parts, &b))
}

// TestForeignFilesAreAsTaken: every foreign file of the page has the hash that
// stands in ABOUT.txt beside it, and there is none without.
func TestForeignFilesAreAsTaken(t *testing.T) {
	assets := filepath.Join(root, "cmd", "yardheat", "web", "assets")
	folders := 0
	entries, err := os.ReadDir(assets)
	require.NoError(t, err)
	for _, e := range entries {
		if !e.IsDir() {
			require.NotContains(t, e.Name(), ".min.", "a foreign file stands in a folder of its own, with its licence")
			continue
		}
		folders++
		dir := filepath.Join(assets, e.Name())
		about, err := os.ReadFile(filepath.Join(dir, "ABOUT.txt"))
		require.NoError(t, err)
		require.NoError(t, filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || d.Name() == "ABOUT.txt" {
				return err
			}
			b, err := os.ReadFile(name)
			if err != nil {
				return err
			}
			rel, err := filepath.Rel(dir, name)
			sum := sha256.Sum256(b)
			require.Contains(t, string(about), hex.EncodeToString(sum[:])+"  "+filepath.ToSlash(rel)+"\n", "%s is not the file whose hash stands in ABOUT.txt", name)
			return err
		}))
	}
	require.Equal(t, 1, folders)
}
