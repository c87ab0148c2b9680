package retrace

import (
	"bytes"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"yardheat/reports/record"
)

// remade holds the report's files against those of the report made anew.
func (c *comparer) remade(dir string) error {
	anew, err := ReadSources(dir)
	if err != nil {
		return err
	}
	fresh := map[string]record.Hash{}
	for _, h := range anew.Report {
		fresh[h.Name] = h
	}
	c.allEqual = true
	var differ []string
	for _, name := range sortedKeys(fresh) {
		is, here := c.sums[name]
		switch {
		case !here:
			c.allEqual = false
			if !slices.ContainsFunc(c.s.Report, func(h record.Hash) bool { return h.Name == name }) && c.mode != otherVersion {
				c.v.say(KindFileMissing, name, "follows from the originals, but is not in the report's folder")
			}
		case is.SHA256 != fresh[name].SHA256:
			c.allEqual = false
			differ = append(differ, name)
		}
	}
	// Figures first: all else follows from them.
	slices.SortStableFunc(differ, func(a, b string) int { return place(a) - place(b) })
	for _, name := range differ {
		if err := c.file(dir, name); err != nil {
			return err
		}
	}
	if err := c.countValues(dir); err != nil {
		return err
	}
	return c.sources(dir, anew)
}

func place(name string) int {
	i := slices.Index([]string{resultsName, "milkings.csv", "season.xlsx", "report.html", "record.csv", "record.parquet"}, name)
	if i < 0 {
		return 9
	}
	return i
}

// file says what differs in one file.
func (c *comparer) file(dir, name string) error {
	was, now := filepath.Join(c.g.Report, filepath.FromSlash(name)), filepath.Join(dir, filepath.FromSlash(name))
	before := len(c.v.Differences) + c.v.More
	var err error
	switch ext := path.Ext(name); {
	case name == resultsName:
		err = c.json(was, now)
	case ext == ".csv":
		err = c.table(name, was, now)
	case c.mode == otherVersion:
		return nil // other words, other layout: nothing to hold against each other
	case ext == ".xlsx":
		err = c.workbook(name, was, now)
	case ext == ".parquet":
		err = c.parquet(name, was, now)
	case ext == ".html" || ext == ".svg" || ext == ".json":
		err = c.text(name, was, now)
	case c.mode == rounding:
		return nil // a picture in pixels is not held against one of another machine
	}
	if err != nil {
		return err
	}
	if c.mode == exact && len(c.v.Differences)+c.v.More == before {
		c.v.say(KindFileChanged, name, "holds other bytes than follow from the originals, though no value in it differs")
	}
	return nil
}

// json holds results.json against the one made anew.
func (c *comparer) json(wasPath, nowPath string) error {
	was, err := os.ReadFile(wasPath)
	if err != nil {
		return err
	}
	now, err := os.ReadFile(nowPath)
	if err != nil {
		return err
	}
	a, err := flatten(was)
	if err != nil {
		c.v.say(KindFileChanged, resultsName, "can't be read: %s", err)
		return nil
	}
	b, err := flatten(now)
	if err != nil {
		return fmt.Errorf("%s made anew: %w", resultsName, err)
	}
	figures, told, follows := map[string]bool{}, len(c.v.Differences), ""
	for _, d := range differing(a, b, c.mode) {
		if at, ok := figureOf(d.path, a, b); ok {
			if !figures[at] {
				figures[at] = true
				c.v.add(figureDifference(at, a, b))
			}
			continue
		}
		if file := c.followsFrom(d.path, a); file != "" {
			follows = file // the changed original is named already
			continue
		}
		if d.path == "audit.report_id" && len(c.changed) > 0 {
			continue // made of the originals' hashes, and told with them
		}
		c.v.add(Difference{Kind: KindValue, File: resultsName, Where: d.path, Report: d.was, Originals: d.now, Text: d.text()})
	}
	if follows != "" && len(c.v.Differences) == told {
		c.v.say(KindValue, resultsName, "no figure moves: only the hash of %s differs", follows)
	}
	return nil
}

// followsFrom names the changed original whose hash or count of bytes a path is.
func (c *comparer) followsFrom(at string, a *flat) string {
	list, _, ok := strings.Cut(at, ".sha256")
	if !ok || !strings.HasPrefix(list, "data.files[") {
		return ""
	}
	if name := unquoted(a.at[list+".name"]); c.changed[name] {
		return name
	}
	return ""
}

// countValues counts the values of results.json.
func (c *comparer) countValues(dir string) error {
	b, err := os.ReadFile(filepath.Join(dir, resultsName))
	if err != nil {
		return err
	}
	f, err := flatten(b)
	if err != nil {
		return err
	}
	c.v.Values = len(f.paths)
	return nil
}

// figureOf is the path of the figure that a value belongs to.
func figureOf(at string, a, b *flat) (string, bool) {
	k := strings.LastIndexByte(at, '.')
	if k < 0 {
		return "", false
	}
	of := at[:k]
	if _, ok := a.at[of+".shown"]; !ok {
		return "", false
	}
	_, ok := b.at[of+".shown"]
	return of, ok
}

// figureDifference says what a figure is in the report and by the originals.
func figureDifference(at string, a, b *flat) Difference {
	show := func(f *flat) string { return unquoted(f.at[at+".shown"]) }
	was, now := show(a), show(b)
	if was == now {
		var fields []string
		for _, part := range []string{"value", "low", "high", "unit", "confidence", "basis", "n", "coverage", "why"} {
			x, y := a.at[at+"."+part], b.at[at+"."+part]
			if x != y {
				fields = append(fields, fmt.Sprintf("%s %s in the report, %s by the originals", part, orNone(x), orNone(y)))
			}
		}
		return Difference{Kind: KindFigure, File: resultsName, Where: at, Report: was, Originals: now, Text: strings.Join(fields, "; ")}
	}
	return Difference{Kind: KindFigure, File: resultsName, Where: at, Report: was, Originals: now,
		Text: fmt.Sprintf("%s in the report, %s by the originals", orNone(was), orNone(now))}
}

func orNone(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

// sources holds sources.json against the one made anew: all but what says when,
// where and by what it was made.
func (c *comparer) sources(dir string, anew *record.SourcesFile) error {
	if c.allEqual && c.s.Version != anew.Version {
		c.v.add(Difference{Kind: KindVersion, File: sourcesName, Where: "version", Report: c.s.Version, Originals: anew.Version,
			Text: fmt.Sprintf("says version %q, but the page was written by %q", c.s.Version, anew.Version)})
	}
	if c.s.Version != c.s.Program.Version && c.s.Program.Go != "" {
		c.v.add(Difference{Kind: KindVersion, File: sourcesName, Where: "program.version", Report: c.s.Version, Originals: c.s.Program.Version,
			Text: fmt.Sprintf("names two versions: %q and %q", c.s.Version, c.s.Program.Version)})
	}
	if c.s.Program.Go == "" || c.mode == otherVersion && !c.allEqual {
		return nil // made before, or by, a version that notes other things
	}
	was, err := os.ReadFile(filepath.Join(c.g.Report, sourcesName))
	if err != nil {
		return err
	}
	now, err := os.ReadFile(filepath.Join(dir, sourcesName))
	if err != nil {
		return err
	}
	a, err := flatten(was)
	if err != nil {
		c.v.say(KindSources, sourcesName, "can't be read: %s", err)
		return nil
	}
	b, err := flatten(now)
	if err != nil {
		return err
	}
	for _, d := range differing(a, b, c.mode) {
		if c.notHeld(d.path, a) {
			continue
		}
		c.v.add(Difference{Kind: KindSources, File: sourcesName, Where: d.path, Report: d.was, Originals: d.now, Text: d.text()})
	}
	return nil
}

// notHeld: what may differ in sources.json, and what was told already.
func (c *comparer) notHeld(at string, a *flat) bool {
	for _, may := range []string{"made_at", "version", "program.", "farm_folder", "report["} {
		if at == may || strings.HasPrefix(at, may) && strings.ContainsAny(may, ".[") {
			return true
		}
	}
	for _, tail := range []string{".sha256", ".size"} {
		if of, ok := strings.CutSuffix(at, tail); ok && c.changed[unquoted(a.at[of+".name"])] {
			return true
		}
	}
	return false
}

// text says where two texts part.
func (c *comparer) text(name, wasPath, nowPath string) error {
	was, err := os.ReadFile(wasPath)
	if err != nil {
		return err
	}
	now, err := os.ReadFile(nowPath)
	if err != nil {
		return err
	}
	a, b := bytes.Split(was, []byte("\n")), bytes.Split(now, []byte("\n"))
	first, n := -1, 0
	for i := range max(len(a), len(b)) {
		if i < len(a) && i < len(b) && (bytes.Equal(a[i], b[i]) || c.mode != exact && alikeText(string(a[i]), string(b[i]))) {
			continue
		}
		if n++; first < 0 {
			first = i
		}
	}
	if first < 0 {
		return nil
	}
	x, y := about(lineOf(a, first), lineOf(b, first))
	c.v.add(Difference{Kind: KindFileChanged, File: name, Where: fmt.Sprintf("line %d", first+1), Report: x, Originals: y,
		Text: fmt.Sprintf("%s from line %d on: %q in the report, %q by the originals", counted(n, "line differs", "lines differ"), first+1, x, y)})
	return nil
}

func counted(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

func lineOf(lines [][]byte, i int) string {
	if i < len(lines) {
		return string(lines[i])
	}
	return ""
}

// about cuts two lines to where they part, with some letters before and after.
func about(a, b string) (x, y string) {
	k := 0
	for k < len(a) && k < len(b) && a[k] == b[k] {
		k++
	}
	cut := func(s string) string {
		lo, hi := max(0, k-24), min(len(s), k+40)
		for lo > 0 && lo < len(s) && s[lo]&0xC0 == 0x80 {
			lo--
		}
		for hi < len(s) && s[hi]&0xC0 == 0x80 {
			hi++
		}
		if lo >= len(s) {
			return ""
		}
		return s[lo:hi]
	}
	return cut(a), cut(b)
}
