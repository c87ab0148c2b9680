package collect

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"yardheat/cmd/yardheat/licences"
)

// notes are what a module's licence leaves to be said.
var notes = map[string]string{
	"github.com/golang/freetype": "Of the two licences offered, the FreeType License is taken. Portions of this software are copyright © 1996-2006 The FreeType Project (www.freetype.org). All rights reserved.",
	"github.com/ajstarks/svgo":   "SVGo, © Anthony Starks, used unaltered under Creative Commons Attribution 4.0; no warranty is given.",
}

// thirdParty are texts that do not stand over the packages which they are for;
// they apply where a package is linked whose path begins with prefix.
var thirdParty = []struct{ module, file, prefix string }{
	{"github.com/golang/freetype", "licenses/ftl.txt", ""},
	{gonum, "THIRD_PARTY_LICENSES/Boost-LICENSE", gonum + "/mathext"},
	{gonum, "THIRD_PARTY_LICENSES/Cephes-LICENSE", gonum + "/mathext"},
	{gonum, "THIRD_PARTY_LICENSES/Sun-LICENSE", gonum},
	{gonum, "THIRD_PARTY_LICENSES/Go-LICENSE", gonum},
	{gonum, "THIRD_PARTY_LICENSES/Probab-LICENSE", gonum + "/stat"},
	{gonum, "THIRD_PARTY_LICENSES/Oxford-LICENSE", gonum + "/integrate"},
	{gonum, "THIRD_PARTY_LICENSES/Bogaert-LICENSE", gonum + "/integrate"},
	{gonum, "THIRD_PARTY_LICENSES/Fike-LICENSE", gonum + "/num"},
	{gonum, "THIRD_PARTY_LICENSES/MT19937-LICENSE", gonum + "/mathext/prng"},
	{gonum, "THIRD_PARTY_LICENSES/MT19937-64-LICENSE", gonum + "/mathext/prng"},
	{gonum, "THIRD_PARTY_LICENSES/W3C-BSD-LICENSE", gonum + "/graph/formats/rdf"},
	{gonum, "THIRD_PARTY_LICENSES/W3C-TestSuite-LICENSE", gonum + "/graph/formats/rdf"},
}

const gonum = "gonum.org/v1/gonum"

// extra is something in a module with a licence of its own: a font, a table.
type extra struct {
	sort, name string
	module     string
	// prefix of the packages that hold it: it is listed if one is linked.
	prefix string
	file   string
	// line: where the licence is but a sentence in the file, that sentence.
	line string
}

var extras = []extra{
	{licences.SortFont, "Liberation fonts", "codeberg.org/go-fonts/liberation", "codeberg.org/go-fonts/liberation/", "LICENSE-SIL", ""},
	{licences.SortFont, "Go fonts", "golang.org/x/image", "golang.org/x/image/font/gofont/", "font/gofont/ttfs/README", ""},
	{licences.SortFont, "misc-fixed 7x13", "golang.org/x/image", "golang.org/x/image/font/basicfont", "font/basicfont/basicfont.go", "derived from the public domain X11 misc-fixed font files"},
	{licences.SortData, "time zone database", licences.GoLibrary, "time/tzdata", "lib/time/README", ""},
}

func isExtra(module, file string) bool {
	for _, e := range extras {
		if e.module == module && e.file == file {
			return true
		}
	}
	return false
}

// beside are the parts that are no module: fonts, data, scripts.
func beside(root string, found map[string]*source) ([]licences.Part, error) {
	if err := thirdPartyKnown(found[gonum]); err != nil {
		return nil, err
	}
	var out []licences.Part
	for _, e := range extras {
		s := found[e.module]
		if s == nil || !s.links(e.prefix) {
			continue
		}
		t, err := e.text(s.top)
		if err != nil {
			return nil, fmt.Errorf("%s in %s: %w", e.name, e.module, err)
		}
		out = append(out, licences.Part{Sort: e.sort, Name: e.name, Version: s.version, Texts: []licences.Text{t}})
	}
	more, err := scripts(root)
	return append(out, more...), err
}

func (e extra) text(top string) (licences.Text, error) {
	if e.line == "" {
		return text(top, e.file)
	}
	b, err := os.ReadFile(filepath.Join(top, filepath.FromSlash(e.file)))
	if err != nil {
		return licences.Text{}, err
	}
	if !strings.Contains(string(b), e.line) {
		return licences.Text{}, fmt.Errorf("%s no longer says %q", e.file, e.line)
	}
	return known(e.file, "Says of itself: "+e.line+".")
}

// thirdPartyKnown fails if gonum holds a text that the table does not place.
func thirdPartyKnown(s *source) error {
	if s == nil {
		return nil
	}
	entries, err := os.ReadDir(filepath.Join(s.top, "THIRD_PARTY_LICENSES"))
	if err != nil {
		return err
	}
next:
	for _, e := range entries {
		for _, t := range thirdParty {
			if t.module == gonum && t.file == "THIRD_PARTY_LICENSES/"+e.Name() {
				continue next
			}
		}
		return fmt.Errorf("%s %s: THIRD_PARTY_LICENSES/%s is not in the table of cmd/yardheat/licences/collect/extras.go: say there for which packages it is", s.name, s.version, e.Name())
	}
	return nil
}
