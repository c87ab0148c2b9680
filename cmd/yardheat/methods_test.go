package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// testsOf are the names of the tests in a folder, those below it left out.
func testsOf(t *testing.T, dir string) map[string]bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*_test.go"))
	require.NoError(t, err)
	names := map[string]bool{}
	for _, name := range files {
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`(?m)^func (Test\w+|Example\w*)\(`).FindAllStringSubmatch(string(b), -1) {
			names[m[1]] = true
		}
	}
	return names
}

var mdLink = regexp.MustCompile(`\]\(([^)\s]+)\)`)

// missingOf says what a document of methods in dir names and is not there: links,
// files in backticks, anchors, and of every section the tests, which must stand in a
// folder that the section links to.
func missingOf(t *testing.T, dir, doc string) []string {
	t.Helper()
	var missing []string
	anchors := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^## (.*)$`).FindAllStringSubmatch(doc, -1) {
		anchors[anchorOf(m[1])] = true
	}
	for _, section := range strings.Split(doc, "\n## ") {
		tests := map[string]bool{}
		for _, m := range mdLink.FindAllStringSubmatch(section, -1) {
			if name, ok := strings.CutPrefix(m[1], "#"); ok {
				if !anchors[name] {
					missing = append(missing, m[1])
				}
				continue
			}
			at := filepath.Join(dir, filepath.FromSlash(m[1]))
			info, err := os.Stat(at)
			if err != nil {
				missing = append(missing, m[1])
				continue
			}
			if info.IsDir() {
				for name := range testsOf(t, at) {
					tests[name] = true
				}
			}
		}
		for _, m := range regexp.MustCompile("`(Test[A-Z]\\w+)`").FindAllStringSubmatch(section, -1) {
			if !tests[m[1]] {
				missing = append(missing, m[1])
			}
		}
		for _, m := range regexp.MustCompile("`((?:testdata|analysis|ingest|reports)/[\\w/.-]+)`").FindAllStringSubmatch(section, -1) {
			if _, err := os.Stat(filepath.Join(dir, "..", filepath.FromSlash(m[1]))); err != nil {
				missing = append(missing, m[1])
			}
		}
	}
	return missing
}

// anchorOf a heading: small letters, hyphens for blanks, no other marks.
func anchorOf(heading string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ':
			return '-'
		case unicode.IsLetter(r), unicode.IsDigit(r), r == '-':
			return unicode.ToLower(r)
		}
		return -1
	}, heading)
}

// Every test, file and anchor that analysis/METHODS.md names is there, and every
// section says source, check and limits.
func TestMethodsNameWhatThereIs(t *testing.T) {
	dir := filepath.Join("..", "..", "analysis")
	b, err := os.ReadFile(filepath.Join(dir, "METHODS.md"))
	require.NoError(t, err)
	doc := string(b)
	assert.Empty(t, missingOf(t, dir, doc))
	sections := strings.Split(doc, "\n## ")[1:]
	require.Greater(t, len(sections), 25)
	for _, s := range sections {
		title, _, _ := strings.Cut(s, "\n")
		for _, part := range []string{"* Source", "* Check", "* Limits"} {
			assert.Contains(t, s, part, title)
		}
		assert.Contains(t, sections[0]+doc[:strings.Index(doc, "\n## ")], "(#"+anchorOf(title)+")", "the list on top lacks it")
	}
	for _, pkg := range []string{"water", "grid", "cycle", "account", "loop", "loop/store", "plant", "apart", "match", "baseline", "change", "claim", "doubt", "bed", "pipe", "size", "today", "solve", "beside", "caution", "season"} {
		assert.Contains(t, doc, "("+pkg+")", "no section links to the package")
	}
	for _, wrong := range []string{"\n## X\n`TestOfNothing` [a](water)", "\n## X\n[a](nowhere)", "\n## X\n[a](#none)", "\n## X\n`testdata/none.csv`", "\n## X\n`TestRegion1Verification` [a](grid)"} {
		assert.Len(t, missingOf(t, dir, wrong), 1, wrong)
	}
}

// The citation says the licence and the version that a build from source has.
func TestCitation(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "analysis", "CITATION.cff"))
	require.NoError(t, err)
	text := string(b)
	licence, err := os.ReadFile(filepath.Join("..", "..", "LICENSE"))
	require.NoError(t, err)
	require.Contains(t, string(licence), "Apache License")
	require.Contains(t, string(licence), "Version 2.0")
	for _, line := range []string{"cff-version: 1.2.0", "type: software", "license: Apache-2.0", `version: "` + version + `"`, "authors:", "title: ", "message: "} {
		require.Contains(t, text, line)
	}
	require.NotContains(t, text, "http")
}
