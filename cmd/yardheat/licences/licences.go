// Package licences holds what else is in the program: every module, font,
// script and table of data that is linked or embedded, each with its licence.
//
// The list is list.json, made by cmd/yardheat/licences/make from the modules
// that the build links and from the licence files that stand in them. A test
// makes it anew and fails on any difference.
package licences

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"runtime/debug"
	"slices"
	"strings"
)

//go:generate go run yardheat/cmd/yardheat/licences/make

//go:embed list.json
var list []byte

// The sorts of a Part.
const (
	SortProgram  = "program"
	SortLanguage = "language"
	SortModule   = "module"
	SortFont     = "font"
	SortData     = "data"
	SortScript   = "script"
)

// GoLibrary is the name of the part that is Go's own library. Its version is
// that of the Go by which the program was built, so the list has none.
const GoLibrary = "Go standard library and runtime"

// Text is one licence, notice or grant.
type Text struct {
	// File it stands in, from the top of the module.
	File  string   `json:"file"`
	Kinds []string `json:"kinds"`
	Text  string   `json:"text"`
}

// Part is one thing in the program that has a licence of its own.
type Part struct {
	Sort string `json:"sort"`
	Name string `json:"name"`
	// Version, "" for what has none of its own.
	Version string `json:"version,omitempty"`
	// Only: the systems it is in, where not in all.
	Only []string `json:"only,omitempty"`
	// Note says what a licence leaves to be said, such as a choice.
	Note  string `json:"note,omitempty"`
	Texts []Text `json:"texts"`
}

// Kinds are the names of the part's licences, each once.
func (p Part) Kinds() []string {
	var out []string
	for _, t := range p.Texts {
		for _, k := range t.Kinds {
			if !slices.Contains(out, k) {
				out = append(out, k)
			}
		}
	}
	return out
}

// All parts: ours first, then by sort and name. goVersion is that of the Go
// which built the program, as runtime.Version gives it.
func All(goVersion string) ([]Part, error) {
	var parts []Part
	if err := json.Unmarshal(list, &parts); err != nil {
		return nil, fmt.Errorf("read the embedded list of licences: %w", err)
	}
	for i := range parts {
		if parts[i].Name == GoLibrary {
			parts[i].Version = goVersion
		}
	}
	return parts, nil
}

// Unlisted are the modules that a build says it holds and that are not in the
// list, or in another version: "path version".
func Unlisted(parts []Part, build *debug.BuildInfo) []string {
	known := map[string]bool{}
	for _, p := range parts {
		if p.Sort == SortModule {
			known[p.Name+" "+p.Version] = true
		}
	}
	var out []string
	for _, m := range build.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		if name := m.Path + " " + m.Version; !known[name] {
			out = append(out, name)
		}
	}
	return out
}

// Write prints the parts: a line each, and with full every text below.
func Write(w io.Writer, parts []Part, full bool) error {
	var b strings.Builder
	wide := 0
	for _, p := range parts {
		wide = max(wide, len(p.title()))
	}
	for _, p := range parts {
		fmt.Fprintf(&b, "%-9s %-*s  %s", p.Sort, wide, p.title(), strings.Join(p.Kinds(), ", "))
		if len(p.Only) > 0 {
			fmt.Fprintf(&b, " (%s only)", strings.Join(p.Only, ", "))
		}
		b.WriteString("\n")
	}
	if full {
		for _, p := range parts {
			p.write(&b)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (p Part) title() string {
	return strings.TrimSpace(p.Name + " " + p.Version)
}

func (p Part) write(b *strings.Builder) {
	rule := strings.Repeat("=", 78)
	fmt.Fprintf(b, "\n%s\n%s: %s\n", rule, p.title(), strings.Join(p.Kinds(), ", "))
	if p.Note != "" {
		fmt.Fprintln(b, p.Note)
	}
	fmt.Fprintln(b, rule)
	for _, t := range p.Texts {
		fmt.Fprintf(b, "\n--- %s (%s)\n\n%s\n", t.File, strings.Join(t.Kinds, ", "), strings.TrimRight(t.Text, "\n"))
	}
}
