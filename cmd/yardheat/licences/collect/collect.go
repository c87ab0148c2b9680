// Package collect makes the list of what is in the program and under which
// licence: from the packages that the build links on every system, and from the
// licence files that stand in their modules. It is part of no binary.
package collect

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"yardheat/cmd/yardheat/licences"
)

// Program is the package whose build is looked at.
const Program = "yardheat/cmd/yardheat"

// Targets are the systems that a release is built for.
var Targets = []string{"linux/amd64", "linux/arm64", "windows/amd64", "windows/arm64", "darwin/amd64", "darwin/arm64"}

// pkg is a linked package as the go command lists it.
type pkg struct {
	ImportPath string
	Dir        string
	Standard   bool
	Module     *struct {
		Path, Version, Dir string
		Main               bool
		Replace            *struct{ Path, Version, Dir string }
	}
}

// source is a module, or Go's own library, with the folders linked from it.
type source struct {
	name, version, top string
	packages           []string
	dirs               []string
	systems            []string
}

// linked lists the packages that the program is made of on one system.
func linked(root, target string) ([]pkg, error) {
	goos, arch, _ := strings.Cut(target, "/")
	cmd := exec.Command("go", "list", "-deps", "-json=ImportPath,Dir,Standard,Module", Program)
	cmd.Dir = root
	cmd.Env = append(os.Environ(), "GOOS="+goos, "GOARCH="+arch, "CGO_ENABLED=0")
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("list the packages for %s: %w: %s", target, err, errs.String())
	}
	var all []pkg
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, fmt.Errorf("read the list of packages for %s: %w", target, err)
		}
		all = append(all, p)
	}
}

// goroot is where Go's own library stands.
func goroot() (string, error) {
	out, err := exec.Command("go", "env", "GOROOT").Output()
	return strings.TrimSpace(string(out)), err
}

// sources are the modules linked on any of the targets, by name. The program's
// own is not among them.
func sources(root string) (map[string]*source, error) {
	goTop, err := goroot()
	if err != nil {
		return nil, err
	}
	found := map[string]*source{}
	for _, target := range Targets {
		all, err := linked(root, target)
		if err != nil {
			return nil, err
		}
		for _, p := range all {
			name, version, top := licences.GoLibrary, "", goTop
			switch {
			case p.Standard:
			case p.Module == nil:
				return nil, fmt.Errorf("package %s belongs to no module", p.ImportPath)
			case p.Module.Main:
				continue
			case p.Module.Replace != nil:
				name, version, top = p.Module.Replace.Path, p.Module.Replace.Version, p.Module.Replace.Dir
			default:
				name, version, top = p.Module.Path, p.Module.Version, p.Module.Dir
			}
			s := found[name]
			if s == nil {
				s = &source{name: name, version: version, top: top}
				found[name] = s
			}
			s.add(p, target)
		}
	}
	return found, nil
}

func (s *source) add(p pkg, target string) {
	if !slices.Contains(s.packages, p.ImportPath) {
		s.packages = append(s.packages, p.ImportPath)
		s.dirs = append(s.dirs, p.Dir)
	}
	if goos, _, _ := strings.Cut(target, "/"); !slices.Contains(s.systems, goos) {
		s.systems = append(s.systems, goos)
	}
}

// licenceFile are the names under which licences, notices and grants stand.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|copyright|notice|patents|unlicen[cs]e|ofl)([-._].*)?$`)

// files are the licence files that stand over the linked packages: in their
// folders and in every folder above, up to the module's top.
func (s *source) files() ([]string, error) {
	seen := map[string]bool{}
	var out []string
	for _, dir := range s.dirs {
		for ; ; dir = filepath.Dir(dir) {
			if seen[dir] {
				break
			}
			seen[dir] = true
			entries, err := os.ReadDir(dir)
			if err != nil {
				return nil, err
			}
			for _, e := range entries {
				if e.Type().IsRegular() && licenceFile.MatchString(e.Name()) && filepath.Ext(e.Name()) != ".go" {
					rel, err := filepath.Rel(s.top, filepath.Join(dir, e.Name()))
					if err != nil {
						return nil, err
					}
					out = append(out, filepath.ToSlash(rel))
				}
			}
			if dir == s.top || dir == filepath.Dir(dir) {
				break
			}
		}
	}
	slices.Sort(out)
	return out, nil
}

// links says whether one of the packages of a source begins so.
func (s *source) links(prefix string) bool {
	return slices.ContainsFunc(s.packages, func(p string) bool { return strings.HasPrefix(p, prefix) })
}

// List makes the list. root is the top of this repository.
func List(root string) ([]licences.Part, error) {
	found, err := sources(root)
	if err != nil {
		return nil, err
	}
	own, err := text(root, "LICENSE")
	if err != nil {
		return nil, err
	}
	parts := []licences.Part{{Sort: licences.SortProgram, Name: "Yardheat", Texts: []licences.Text{own}}}
	for _, s := range found {
		p, err := s.part()
		if err != nil {
			return nil, err
		}
		parts = append(parts, p)
	}
	others, err := beside(root, found)
	if err != nil {
		return nil, err
	}
	parts = append(parts, others...)
	order := []string{licences.SortProgram, licences.SortLanguage, licences.SortModule, licences.SortFont, licences.SortData, licences.SortScript}
	slices.SortFunc(parts, func(a, b licences.Part) int {
		if d := slices.Index(order, a.Sort) - slices.Index(order, b.Sort); d != 0 {
			return d
		}
		return strings.Compare(a.Name, b.Name)
	})
	return parts, nil
}

// part is a module with its licences, without those told apart in extras.
func (s *source) part() (licences.Part, error) {
	p := licences.Part{Sort: licences.SortModule, Name: s.name, Version: s.version, Note: notes[s.name]}
	if s.name == licences.GoLibrary {
		p.Sort = licences.SortLanguage
	}
	if len(s.systems) < 3 {
		p.Only = slices.Sorted(slices.Values(s.systems))
	}
	names, err := s.files()
	if err != nil {
		return p, err
	}
	for _, t := range thirdParty {
		if t.module == s.name && s.links(t.prefix) {
			names = append(names, t.file)
		}
	}
	for _, name := range names {
		if isExtra(s.name, name) {
			continue
		}
		t, err := text(s.top, name)
		if err != nil {
			return p, fmt.Errorf("%s %s: %w", s.name, s.version, err)
		}
		p.Texts = append(p.Texts, t)
	}
	if len(p.Texts) == 0 {
		return p, fmt.Errorf("%s %s: no licence file in it", s.name, s.version)
	}
	return p, nil
}

// text reads one licence file and says which licences stand in it.
func text(top, name string) (licences.Text, error) {
	b, err := os.ReadFile(filepath.Join(top, filepath.FromSlash(name)))
	if err != nil {
		return licences.Text{}, err
	}
	return known(name, readable(b))
}

// readable is a file's text; an old one that is not UTF-8 is Latin-1.
func readable(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	runes := make([]rune, len(b))
	for i, c := range b {
		runes[i] = rune(c)
	}
	return string(runes)
}

// known is a text with its kinds; one of an unknown or a binding kind is an
// error, to be looked at by a person.
func known(name, words string) (licences.Text, error) {
	words = strings.ReplaceAll(words, "\r\n", "\n")
	kinds, binds := kindsOf(words)
	if len(binds) > 0 {
		return licences.Text{}, fmt.Errorf("%s: a licence that may bind the whole program (%s): it must not be linked", name, strings.Join(binds, ", "))
	}
	if len(kinds) == 0 {
		return licences.Text{}, fmt.Errorf("%s: no licence that cmd/yardheat/licences/collect/kinds.go knows: read it, and if it may be linked add it there", name)
	}
	return licences.Text{File: name, Kinds: kinds, Text: words}, nil
}

// scripts are the foreign files of the page: every folder in its assets.
func scripts(root string) ([]licences.Part, error) {
	const folder = "cmd/yardheat/web/assets"
	entries, err := os.ReadDir(filepath.Join(root, folder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []licences.Part
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		p, err := script(root, path.Join(folder, e.Name()))
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// script is one folder of foreign files: ABOUT.txt begins with name and
// version, and LICENSE stands beside it.
func script(root, dir string) (licences.Part, error) {
	p := licences.Part{Sort: licences.SortScript}
	b, err := os.ReadFile(filepath.Join(root, dir, "ABOUT.txt"))
	if err != nil {
		return p, fmt.Errorf("%s: a folder of foreign files needs ABOUT.txt with name and version: %w", dir, err)
	}
	head := strings.Fields(strings.ReplaceAll(string(b), ",", " "))
	if len(head) < 2 {
		return p, fmt.Errorf("%s/ABOUT.txt: want it to begin with name and version", dir)
	}
	p.Name, p.Version = head[0], head[1]
	t, err := text(filepath.Join(root, dir), "LICENSE")
	if err != nil {
		return p, fmt.Errorf("%s: %w", dir, err)
	}
	p.Texts = []licences.Text{t}
	return p, nil
}
