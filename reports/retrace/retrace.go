// Package retrace says whether a finished report still follows from its
// originals: it opens a report (a folder, or a bundle), holds every original and
// every file of the report against the hashes of sources.json, and every file
// and figure against those of a report made anew. It names what differs and
// computes no figure.
//
// Flow: Open (a folder or a .zip → where report and farm lie) → the caller makes
// the report again → Compare → Verdict.
//
// What it proves is that the report follows from the originals, not that the
// originals are true: originals and report that were all made anew agree.
package retrace

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"time"

	"yardheat/reports/record"
)

// The kinds of differences.
const (
	KindOriginalChanged = "original changed"
	KindOriginalMissing = "original missing"
	KindOriginalAdded   = "original added"
	KindOriginalRenamed = "original renamed"
	KindSwapped         = "originals swapped"
	KindFileChanged     = "file of the report changed"
	KindFileMissing     = "file of the report missing"
	KindFileAdded       = "file added"
	KindFigure          = "figure"
	KindValue           = "value"
	KindSources         = "sources.json"
	KindVersion         = "version"
	KindDamaged         = "damaged"
	KindNotRemade       = "not made again"
)

// Difference is one thing that differs. Report is what stands in the report (or
// in its sources.json), Originals what stands in, or follows from, the originals.
type Difference struct {
	Kind      string `json:"kind"`
	File      string `json:"file"`
	Where     string `json:"where,omitempty"`
	Report    string `json:"report,omitempty"`
	Originals string `json:"originals,omitempty"`
	Text      string `json:"text"`
}

// Verdict is the result of a comparison.
type Verdict struct {
	// Agrees: nothing differs. Exact: byte for byte; else by numbers, and
	// Because says why.
	Agrees  bool   `json:"agrees"`
	Exact   bool   `json:"exact"`
	Because string `json:"because,omitempty"`
	MadeAt  string `json:"made_at"`
	// MadeBy the program that sources.json names; Now this one.
	MadeBy record.Program `json:"made_by"`
	Now    record.Program `json:"now"`
	// Counts of what was compared.
	Originals   int          `json:"originals"`
	Files       int          `json:"files"`
	Values      int          `json:"values"`
	Differences []Difference `json:"differences"`
	// More differences than are listed.
	More int `json:"more"`
}

// mostListed is how many differences a verdict lists; the rest are counted.
const mostListed = 2000

func (v *Verdict) add(d Difference) {
	if len(v.Differences) >= mostListed {
		v.More++
		return
	}
	v.Differences = append(v.Differences, d)
}

func (v *Verdict) say(kind, file, format string, args ...any) {
	v.add(Difference{Kind: kind, File: file, Text: fmt.Sprintf(format, args...)})
}

// Remade is the report made anew: its folder, or why there is none.
type Remade struct {
	Dir string
	Err error
}

// sourcesName and resultsName as package reports writes them.
const (
	sourcesName = "sources.json"
	resultsName = "results.json"
)

// Original is one original as sources.json has it.
type Original struct {
	Name, SHA256 string
	SizeB        int64
}

// Originals of a report, each file once.
func Originals(s *record.SourcesFile) []Original {
	var out []Original
	seen := map[string]bool{}
	add := func(name, sum string, size int64) {
		if !seen[name] {
			seen[name] = true
			out = append(out, Original{name, sum, size})
		}
	}
	for _, f := range s.Own {
		add(f.Name, f.SHA256, f.SizeB)
	}
	for _, f := range s.Files {
		add(f.Name, f.SHA256, f.SizeB)
	}
	return out
}

// ReadSources reads a report's sources.json.
func ReadSources(dir string) (*record.SourcesFile, error) {
	b, err := os.ReadFile(filepath.Join(dir, sourcesName))
	if err != nil {
		return nil, err
	}
	var s record.SourcesFile
	if err := json.Unmarshal(b, &s); err != nil {
		return nil, fmt.Errorf("%s can't be read: %w", sourcesName, err)
	}
	if s.Schema != record.SourcesSchema {
		return nil, fmt.Errorf("%s is of the form %q; want %q", sourcesName, s.Schema, record.SourcesSchema)
	}
	return &s, nil
}

// MadeAt is when a report says that it was made.
func MadeAt(s *record.SourcesFile) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, s.MadeAt)
	if err != nil {
		return time.Time{}, fmt.Errorf("%s: made_at is %q; want a time such as 2026-05-01T10:00:00Z", sourcesName, s.MadeAt)
	}
	return at, nil
}

// Compare holds a report against its originals and against the report made anew.
func Compare(g *Given, s *record.SourcesFile, remade Remade, now record.Program) (*Verdict, error) {
	v := &Verdict{MadeAt: s.MadeAt, MadeBy: s.Program, Now: now}
	v.MadeBy.Version = s.Version
	for _, d := range g.Damaged {
		v.say(KindDamaged, d.Name, "%s", d.Why)
	}
	c := &comparer{v: v, g: g, s: s, mode: modeOf(s, now)}
	if err := c.originals(remade); err != nil {
		return nil, err
	}
	if err := c.files(); err != nil {
		return nil, err
	}
	if err := c.crate(); err != nil {
		return nil, err
	}
	if remade.Err != nil {
		v.say(KindNotRemade, "", "the report can't be made again: %s", remade.Err)
	} else if err := c.remade(remade.Dir); err != nil {
		return nil, err
	}
	v.Exact, v.Because = c.mode == exact || c.allEqual, c.because()
	if v.Exact {
		v.Because = ""
	}
	v.Agrees = len(v.Differences) == 0
	return v, nil
}

// mode is how closely files must agree.
type mode int

const (
	exact        mode = iota // byte for byte: the same program on the same kind of machine
	rounding                 // numbers: the same program, another compiler or processor
	otherVersion             // numbers that both know: another program
)

// modeOf tells how a report can be held against one made by this program. One
// that does not say by what it was made is an earlier version's.
func modeOf(s *record.SourcesFile, now record.Program) mode {
	p := s.Program
	switch {
	case p.Go == "" || s.Version != now.Version || p.Revision != now.Revision || p.Modified != now.Modified:
		return otherVersion
	case p.Go != now.Go || p.Arch != now.Arch || p.OS != now.OS:
		return rounding
	}
	return exact
}

type comparer struct {
	v    *Verdict
	g    *Given
	s    *record.SourcesFile
	mode mode
	// changed originals, by name: what follows from them need not be told twice.
	changed map[string]bool
	// sums are the files of the report as they stand, by name.
	sums map[string]record.Hash
	// allEqual: every file is the same byte for byte.
	allEqual bool
}

// because says why numbers were compared instead of bytes.
func (c *comparer) because() string {
	p, now := c.s.Program, c.v.Now
	switch c.mode {
	case otherVersion:
		if p.Go == "" {
			return "made by an earlier version, compared by version " + named(now.Version, now) + ": the figures that both know"
		}
		return fmt.Sprintf("made by version %s, compared by version %s: the figures that both know", named(c.s.Version, p), named(now.Version, now))
	case rounding:
		return fmt.Sprintf("made by %s on %s/%s, compared by %s on %s/%s: figures to 1e-9, ends of intervals to 1e-6", p.Go, p.OS, p.Arch, now.Go, now.OS, now.Arch)
	}
	return ""
}

func named(version string, p record.Program) string {
	text := version
	if p.Revision != "" {
		text += " (" + p.Revision[:min(10, len(p.Revision))]
		if p.Modified {
			text += ", modified"
		}
		text += ")"
	}
	return text
}

// originals holds the farm's files against sources.json.
func (c *comparer) originals(remade Remade) error {
	root, err := os.OpenRoot(c.g.Farm)
	if err != nil {
		return fmt.Errorf("farm folder: %w", err)
	}
	defer func() { _ = root.Close() }() // read only
	c.changed = map[string]bool{}
	list := Originals(c.s)
	c.v.Originals = len(list)
	now := map[string]record.Hash{}
	for _, o := range list {
		h, err := hashIn(root, o.Name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			c.changed[o.Name] = true
		case err != nil:
			c.changed[o.Name] = true
			c.v.say(KindOriginalChanged, o.Name, "can't be read: %s", err)
		default:
			now[o.Name] = h
			c.changed[o.Name] = h.SHA256 != o.SHA256 || h.SizeB != o.SizeB
		}
	}
	added, err := c.added(root, remade)
	if err != nil {
		return err
	}
	c.tellOriginals(list, now, added)
	return nil
}

// tellOriginals names what became of each original.
func (c *comparer) tellOriginals(list []Original, now, added map[string]record.Hash) {
	for _, o := range list {
		h, here := now[o.Name]
		switch {
		case !c.changed[o.Name]:
			continue
		case !here:
			if to := nameOf(added, o.SHA256); to != "" {
				delete(added, to)
				c.v.add(Difference{Kind: KindOriginalRenamed, File: o.Name, Originals: to, Text: "is now called " + to})
				continue
			}
			c.v.say(KindOriginalMissing, o.Name, "is not in the farm folder")
		default:
			if with := swappedWith(list, now, o); with != "" {
				c.v.add(Difference{Kind: KindSwapped, File: o.Name, Originals: with, Text: "holds the bytes of " + with})
				continue
			}
			text := fmt.Sprintf("changed: SHA-256 %s… (%d bytes) when the report was made, %s… (%d bytes) now", o.SHA256[:min(12, len(o.SHA256))], o.SizeB, h.SHA256[:12], h.SizeB)
			c.v.add(Difference{Kind: KindOriginalChanged, File: o.Name, Report: o.SHA256, Originals: h.SHA256, Text: text})
		}
	}
	for _, name := range sortedKeys(added) {
		c.v.add(Difference{Kind: KindOriginalAdded, File: name, Originals: added[name].SHA256, Text: "was not there when the report was made"})
	}
}

func nameOf(files map[string]record.Hash, sum string) string {
	for _, name := range sortedKeys(files) {
		if files[name].SHA256 == sum {
			return name
		}
	}
	return ""
}

// swappedWith is the original whose bytes now stand under o's name.
func swappedWith(list []Original, now map[string]record.Hash, o Original) string {
	for _, x := range list {
		if x.Name != o.Name && x.SHA256 == now[o.Name].SHA256 {
			return x.Name
		}
	}
	return ""
}

func sortedKeys[T any](m map[string]T) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// added are files that the report made anew reads and the report did not; where
// an original is gone, also a file that holds its bytes under another name.
func (c *comparer) added(root *os.Root, remade Remade) (map[string]record.Hash, error) {
	list := Originals(c.s)
	known := map[string]bool{}
	for _, o := range list {
		known[o.Name] = true
	}
	out := map[string]record.Hash{}
	if remade.Err == nil {
		s, err := ReadSources(remade.Dir)
		if err != nil {
			return nil, err
		}
		for _, o := range Originals(s) {
			if !known[o.Name] {
				out[o.Name] = record.Hash{Name: o.Name, SizeB: o.SizeB, SHA256: o.SHA256}
			}
		}
	}
	if !c.lost() {
		return out, nil
	}
	return out, fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || known[name] || out[name].Name != "" {
			return err
		}
		h, err := hashIn(root, name)
		if err == nil && slices.ContainsFunc(list, func(o Original) bool { return o.SHA256 == h.SHA256 }) {
			out[name] = h
		}
		return nil // what can't be read is no original under another name
	})
}

// lost: an original is not where it was.
func (c *comparer) lost() bool {
	for _, gone := range c.changed {
		if gone {
			return true
		}
	}
	return false
}

func hashIn(root *os.Root, name string) (record.Hash, error) {
	f, err := root.Open(filepath.FromSlash(name))
	if err != nil {
		return record.Hash{}, err
	}
	defer func() { _ = f.Close() }() // read only
	sum := sha256.New()
	n, err := io.Copy(sum, f)
	return record.Hash{Name: name, SizeB: n, SHA256: fmt.Sprintf("%x", sum.Sum(nil))}, err
}

// files holds the report's files against the hashes in sources.json.
func (c *comparer) files() error {
	root, err := os.OpenRoot(c.g.Report)
	if err != nil {
		return fmt.Errorf("folder of the report: %w", err)
	}
	defer func() { _ = root.Close() }() // read only
	c.sums = map[string]record.Hash{}
	err = fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || litter[path.Base(name)] {
			return err
		}
		if !d.Type().IsRegular() {
			c.v.say(KindFileAdded, name, "is no plain file")
			return nil
		}
		c.sums[name], err = hashIn(root, name)
		return err
	})
	if err != nil {
		return fmt.Errorf("folder of the report: %w", err)
	}
	delete(c.sums, sourcesName)
	c.v.Files = len(c.sums) + 1
	if c.s.Report == nil { // made before hashes were noted
		return nil
	}
	noted := map[string]bool{}
	for _, h := range c.s.Report {
		noted[h.Name] = true
		is, here := c.sums[h.Name]
		switch {
		case !here:
			c.v.say(KindFileMissing, h.Name, "is not in the report's folder")
		case is.SHA256 != h.SHA256 || is.SizeB != h.SizeB:
			c.v.add(Difference{Kind: KindFileChanged, File: h.Name, Report: h.SHA256, Originals: is.SHA256,
				Text: fmt.Sprintf("is not as it was written: %d bytes noted in %s, %d bytes now", h.SizeB, sourcesName, is.SizeB)})
		}
	}
	for _, name := range sortedKeys(c.sums) {
		if !noted[name] {
			c.v.say(KindFileAdded, name, "is no file of this report")
		}
	}
	return nil
}

// litter is what desktops leave in a folder that somebody looked into.
var litter = map[string]bool{".DS_Store": true, "Thumbs.db": true, "desktop.ini": true}
