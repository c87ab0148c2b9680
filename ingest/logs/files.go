package logs

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"

	"yardheat/ingest/farm"
	"yardheat/ingest/pack"
	"yardheat/ingest/series"
	"yardheat/ingest/stamps"
	"yardheat/ingest/table"
	"yardheat/ingest/work"
)

// FarmFile is the farm file's name; a wildcard never takes it for a log.
const FarmFile = "farm.toml"

// expand lists the files that a log's patterns name, sorted, each once. The
// folder is never left: neither by "..", nor by a link.
func expand(root *os.Root, log *farm.Log, milkings string, found *series.Found) []string {
	var names []string
	for _, glob := range log.Files {
		some, err := match(root, glob, milkings)
		switch {
		case err != nil:
			found.Fault(FarmFile, fmt.Sprintf("line %d, key log.files", log.Line), series.Quoted(glob), "a pattern with * and ? of files inside the farm folder", err.Error())
		case len(some) == 0 && linkOut(root, path.Dir(glob)) != "":
			found.Fault(FarmFile, fmt.Sprintf("line %d, key log.files", log.Line), series.Quoted(glob)+", below "+linkOut(root, path.Dir(glob))+", a link that leads out of the farm folder",
				"files in the farm folder", "copy the folder itself into the farm folder")
		case len(some) == 0:
			found.Fault(FarmFile, fmt.Sprintf("line %d, key log.files", log.Line), series.Quoted(glob)+", which names no file", "a file in the farm folder", hint(root, glob))
		}
		for _, n := range some {
			if got, do, is := refused(root, n); is {
				found.Fault(n, "", got, "a file in the farm folder", do)
				continue
			}
			names = append(names, n)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// match lists what one pattern names: a file of just that name, else by
// wildcards. Hidden files, the locks of spreadsheet programs, the milkings list
// and our own reports and bundles need naming.
func match(root *os.Root, glob, milkings string) ([]string, error) {
	if !fs.ValidPath(glob) || strings.Contains(glob, `\`) {
		return nil, errors.New("write it relative to the farm folder, with /")
	}
	if info, err := root.Lstat(glob); err == nil && !info.IsDir() {
		return []string{glob}, nil
	}
	all, err := fs.Glob(folders{root}, glob)
	if err != nil {
		return nil, errors.New("close the brackets, or put no [ into it")
	}
	var names []string
	for _, n := range all {
		base := path.Base(n)
		if n == FarmFile || n == milkings || ourReport(root, n) || strings.HasPrefix(base, ".") || strings.HasPrefix(base, "~$") {
			continue
		}
		if info, err := root.Stat(n); err == nil && info.IsDir() || ourBundle(root, n) {
			continue
		}
		names = append(names, n)
	}
	return names, nil
}

// ourReport tells whether a file stands in a folder that holds a report.
func ourReport(root *os.Root, name string) bool {
	dir := path.Dir(name)
	if dir == "." {
		return false
	}
	for _, n := range [...]string{"results.json", "sources.json"} {
		if _, err := root.Stat(path.Join(dir, n)); err != nil {
			return false
		}
	}
	return true
}

// hint says what stands in the folder where nothing matched.
func hint(root *os.Root, glob string) string {
	dir := path.Dir(glob)
	entries, err := fs.ReadDir(folders{root}, dir)
	if err != nil {
		return fmt.Sprintf("there is no folder %q: copy the logs into the farm folder, or correct the pattern", dir)
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() && e.Name() != FarmFile && !strings.HasPrefix(e.Name(), ".") {
			names = append(names, e.Name())
		}
	}
	if near := farm.Nearest(path.Base(glob), names); near != "" {
		return fmt.Sprintf("did you mean %q?", path.Join(dir, near))
	}
	if len(names) == 0 {
		return "copy the logs into the farm folder, or correct the pattern"
	}
	return "correct the pattern: the folder holds " + series.List(names, 5)
}

// shared finds files that two logs read. Different sheets, tables or columns of
// one file may stand in several logs; the same column may not, or it would
// count twice.
func shared(logs []*Log) series.Found {
	var found series.Found
	first := map[string]*Log{}
	for _, l := range logs {
		for _, n := range l.names {
			o, ok := first[n]
			if !ok {
				first[n] = l
				continue
			}
			if o.Farm.Sheet != l.Farm.Sheet || o.Farm.Table != l.Farm.Table {
				continue
			}
			if both := sameColumn(o, l); both != "" {
				found.Fault(n, fmt.Sprintf("farm.toml, lines %d and %d", o.Farm.Line, l.Farm.Line), "a file that two logs read, both its column "+series.Quoted(both),
					"each column in one [[log]]", "take the file or the column out of one of them")
				continue
			}
			found.Problem(series.CodeFileInTwoLogs, series.Note, n, "", "two logs (farm.toml, lines %d and %d) read different columns of this file", o.Farm.Line, l.Farm.Line)
		}
	}
	return found
}

func sameColumn(a, b *Log) string {
	for _, x := range a.Columns {
		for _, y := range b.Columns {
			if x.Farm.Header == y.Farm.Header {
				return x.Farm.Header
			}
		}
	}
	return ""
}

// job is one file of one log.
type job struct {
	log    *Log
	name   string
	tables []*table.Table
	// sources are, by table, what a sampled table is yet to be read from; nil
	// where the table is whole.
	sources []*source
	err     error
}

// readAll reads every file once, a few at a time.
func readAll(root *os.Root, logs []*Log, opt Options) {
	var jobs []*job
	for _, l := range logs {
		for _, n := range l.names {
			jobs = append(jobs, &job{log: l, name: n})
		}
	}
	// Workbooks take longest by far: they are begun first.
	queue := slices.Clone(jobs)
	slices.SortStableFunc(queue, func(a, b *job) int { return workbookFirst(a.name) - workbookFirst(b.name) })
	parallel(opt.Workers, len(queue), func(i int) {
		work.Check(opt.Context)
		j := queue[i]
		opt.files.begin(j.name)
		if j.read(root, opt); !j.isStream() {
			opt.files.done(j.name)
		}
	})
	for _, j := range jobs {
		j.log.take(j)
	}
}

func workbookFirst(name string) int {
	if strings.EqualFold(path.Ext(name), ".xlsx") {
		return 0
	}
	return 1
}

// parallel runs f for 0 … n−1 on some workers (0 = 2) and waits.
func parallel(workers, n int, f func(i int)) {
	if workers <= 0 {
		workers = 2
	}
	work.Each(workers, n, f)
}

// read reads a file: a long text export a sample first, every other whole.
func (j *job) read(root *os.Root, opt Options) {
	log := j.log.Farm
	to := table.Options{Sheet: log.Sheet, Table: log.Table, Encoding: log.Encoding, Separator: log.Separator,
		Decimal: log.Decimal, Thousands: log.Thousands, Header: log.Header, Context: opt.Context}
	if info, err := root.Stat(j.name); err == nil && opt.StreamBytes >= 0 && info.Size() >= max(opt.StreamBytes, 1) {
		if f, err := open(root, j.name); err == nil {
			if t, s := sampled(f, info.Size(), j.name, to); t != nil {
				s.closer = f
				opt.files.opened(s)
				j.tables, j.sources = []*table.Table{t}, []*source{s}
				return
			}
			_ = f.Close() // read only
		}
	}
	b, err := ReadBytes(root, j.name)
	if err != nil {
		j.err = err
		return
	}
	if members := longMembers(j.name, b, opt); members != nil {
		j.readMembers(members, &original{int64(len(b)), fmt.Sprintf("%x", sha256.Sum256(b))}, to, opt)
		return
	}
	j.tables, j.err = table.ReadBytes(j.name, b, to)
	work.Check(opt.Context) // else j.err may be a fault of the file
}

// isStream tells whether rows of the file are yet to be read.
func (j *job) isStream() bool {
	return slices.ContainsFunc(j.sources, func(s *source) bool { return s != nil })
}

// longMembers unpacks a packed file that holds a long export; nil where it is
// none, or cannot be unpacked, which package table puts into words.
func longMembers(name string, b []byte, opt Options) []pack.Member {
	if opt.StreamBytes < 0 || !pack.IsPacked(b) {
		return nil
	}
	members, err := pack.OpenChecked(name, b, func() { work.Check(opt.Context) })
	work.Check(opt.Context)
	if err != nil || !slices.ContainsFunc(members, func(m pack.Member) bool {
		return int64(len(m.Data)) >= opt.StreamBytes && !pack.IsPacked(m.Data)
	}) {
		return nil
	}
	return members
}

// readMembers reads the members of a packed file, long ones as streams. One
// that is no export is passed over where others are.
func (j *job) readMembers(members []pack.Member, from *original, to table.Options, opt Options) {
	var passed []table.Problem
	for i, m := range members {
		members[i].Data = nil // what is read needs no longer be kept
		if int64(len(m.Data)) >= opt.StreamBytes {
			if t, s := sampled(bytes.NewReader(m.Data), int64(len(m.Data)), m.Name, to); t != nil {
				s.packed = from
				j.tables, j.sources = append(j.tables, t), append(j.sources, s)
				continue
			}
		}
		tables, err := table.ReadBytes(m.Name, m.Data, to)
		var e *table.Error
		switch {
		case err == nil:
			for _, t := range tables {
				t.SizeB, t.SHA256 = from.sizeB, from.sha256
				j.tables, j.sources = append(j.tables, t), append(j.sources, nil)
			}
		case table.IsNoTable(err) && errors.As(err, &e):
			passed = append(passed, table.PassedOver(m.Name, e))
		default:
			work.Check(opt.Context)
			j.err = err
			return
		}
	}
	if len(j.tables) > 0 {
		j.tables[0].Problems = append(j.tables[0].Problems, passed...)
	}
}

// ReadBytes reads one file of the farm folder.
func ReadBytes(root *os.Root, name string) ([]byte, error) {
	f, err := open(root, name)
	if err != nil {
		return nil, cannotOpen(root, name, err)
	}
	defer func() { _ = f.Close() }() // read only
	if info, err := f.Stat(); err == nil && info.Size() > table.MaxTextB && !packed(f) || err == nil && info.Size() > mostPacked {
		return nil, &table.Error{File: name, Got: fmt.Sprintf("%d bytes", info.Size()), Want: fmt.Sprintf("lines of one layout, or at most %d bytes", table.MaxTextB),
			Do: "export shorter stretches, one file each, as UTF-8 and without what stands between the rows"}
	} else if err == nil {
		return readSized(f, info.Size())
	}
	return io.ReadAll(f)
}

// mostPacked is how long a packed file or workbook may be.
const mostPacked = 96 << 20

// packed tells whether a file is a packed one or a workbook, by its head.
func packed(f io.ReaderAt) bool {
	head := make([]byte, 4)
	n, _ := f.ReadAt(head, 0)
	return pack.IsPacked(head[:n])
}

// readSized reads a file whose size is known without growing on the way.
func readSized(r io.Reader, size int64) ([]byte, error) {
	b := make([]byte, 0, size+1)
	for {
		n, err := r.Read(b[len(b):cap(b)])
		b = b[:len(b)+n]
		switch {
		case errors.Is(err, io.EOF):
			return b, nil
		case err != nil:
			return nil, err
		case len(b) == cap(b):
			b = append(b, 0)[:len(b)]
		}
	}
}

// take sorts what came of a file into the log.
func (l *Log) take(j *job) {
	if errors.Is(j.err, table.ErrEmpty) && len(l.names) > 1 {
		l.Found.Problem(series.CodeFileEmpty, series.Note, j.name, "", "the file is empty and is passed over")
		return
	}
	if j.err != nil {
		l.Found.Faults = append(l.Found.Faults, AsFault(j.name, j.err))
		return
	}
	for len(j.sources) < len(j.tables) {
		j.sources = append(j.sources, nil)
	}
	for _, t := range l.all {
		if len(j.tables) == 1 && t.SHA256 == j.tables[0].SHA256 && t.Name != j.name && t.source.sameAs(j.sources[0]) {
			j.sources[0].close()
			if l.twins == nil {
				l.twins = map[string]string{}
			}
			l.twins[j.name] = t.Name
			l.Found.Problem(series.CodeFileTwice, series.Note, j.name, "", "holds the same bytes as %s and is read once", series.Quoted(t.Name))
			return
		}
	}
	for i, t := range j.tables {
		nt := &Table{Table: &stamps.Table{Name: j.name, Table: t, Tagged: l.Farm.TagColumn != ""}, log: l, source: j.sources[i]}
		if nt.source == nil {
			nt.passOn()
		}
		l.all = append(l.all, nt)
	}
}

// shownOfAKind is how many problems of one code a table passes on before they
// are only counted.
const shownOfAKind = 5

// passOn lists what the table reader met.
func (t *Table) passOn() {
	seen := map[string]int{}
	var last []string
	for _, p := range t.Problems {
		if seen[p.Code]++; seen[p.Code] == shownOfAKind+1 {
			last = append(last, p.Code)
		}
		if seen[p.Code] <= shownOfAKind {
			t.Found.Problem(p.Code, severityOf(p.Code), t.Name, t.Place(p.Line, p.Column-1), "%s", p.Text)
		}
	}
	for _, code := range last {
		t.Found.Problem(code, severityOf(code), t.Name, t.Place(0, -1), "and %d more like these", seen[code]-shownOfAKind)
	}
}

// severityOf a problem of the table reader.
func severityOf(code string) series.Severity {
	switch code {
	case "file-cut", "file-end", "workbook-cut", "workbook-short", "sheet-hidden", "decimal-mark", "bad-encoding", "formula-without-value", "member-passed-over", table.CodeUnitChanges:
		return series.Doubt
	case "not-a-row", "short-line", "error-words":
		return series.LeftOut
	}
	return series.Note
}
