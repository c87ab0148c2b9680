// Package bundle packs a finished report with all it was made from into one
// zip archive: the originals byte for byte, the report as written, a data
// dictionary, the JSON Schema of results.json, and the provenance of it all as
// an RO-Crate 1.1. It computes nothing but sizes and hashes.
//
// The layout is fixed: farm/ and report/ hold the folders, README.txt,
// dictionary.csv, dictionary.md, results.schema.json and ro-crate-metadata.json
// stand at the top. The same report gives the same bytes, whenever it is
// packed, but for report/sources.json and ro-crate-metadata.json, which say
// when. A bundle is whole or absent, and every original is held against the
// hash of the bytes that the report was made of.
package bundle

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/klauspost/compress/flate"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/work"
	"yardheat/reports/record"
	"yardheat/reports/results"
)

// The names in a bundle.
const (
	farmDir    = "farm/"
	reportDir  = "report/"
	readmeName = "README.txt"
	dictCSV    = "dictionary.csv"
	dictMD     = "dictionary.md"
	schemaName = "results.schema.json"
)

// Options say where the parts of a bundle lie and what made them.
type Options struct {
	// Farm is the farm folder, Report the folder of its finished report.
	Farm, Report string
	// Files of the report, relative to it, with '/'.
	Files []string
	// Started and Made: begin and end of the run. Version of the program.
	Started, Made time.Time
	Version       string
	// Context ends the packing: Write then gives its error and leaves what stood
	// at path; nil = it never ends.
	Context context.Context
	// Progress is told under StageBundle of package work which file is packed;
	// nil = nobody asks. It is never called twice at once.
	Progress func(work.Progress)
}

// Refused is the error for a place where a bundle may not go. Nothing was
// touched.
type Refused struct{ Path, Why string }

func (e *Refused) Error() string {
	return fmt.Sprintf("%s %s; nothing was touched. Name another file: --bundle=FILE", e.Path, e.Why)
}

// CheckPlace says whether a bundle may go to path: nothing stands there, or an
// earlier bundle. In the report's own folder it may not stand.
func CheckPlace(path, report string) error {
	abs, err := filepath.Abs(path)
	if err != nil {
		return fmt.Errorf("place of the bundle: %w", err)
	}
	out, err := filepath.Abs(report)
	if err != nil {
		return fmt.Errorf("place of the bundle: %w", err)
	}
	if rel, err := filepath.Rel(linked(out), filepath.Join(linked(filepath.Dir(abs)), filepath.Base(abs))); err == nil && filepath.IsLocal(rel) {
		return &Refused{path, "lies in the report's folder, which holds a report and nothing else"}
	}
	info, err := os.Lstat(abs)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("place of the bundle: %w", err)
	case !info.Mode().IsRegular():
		return &Refused{path, "is a folder or a link, not a file"}
	}
	z, err := zip.OpenReader(abs)
	if err != nil {
		return &Refused{path, "is a file that is no bundle, or a damaged one"}
	}
	defer func() { _ = z.Close() }() // read only
	if z.Comment != ingest.BundleMark {
		return &Refused{path, "is a zip archive that is no bundle"}
	}
	return nil
}

// linked is a folder where its links lead; as given where it is not there yet.
func linked(dir string) string {
	if to, err := filepath.EvalSymlinks(dir); err == nil {
		return to
	}
	return dir
}

// Write packs a bundle to path. On failure what stood there still stands. An
// original that is not what was read is an *ingest.InputError.
func Write(path string, s *season.Season, opt Options) (err error) {
	if err := errors.Join(CheckPlace(path, opt.Report), CheckNames(s.Originals)); err != nil {
		return err
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	dir := filepath.Dir(abs)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	fresh := filepath.Join(dir, "."+filepath.Base(abs)+".yardheat-new")
	err = writeFresh(fresh, s, opt)
	if err == nil {
		err = work.Err(opt.Context)
	}
	if err != nil {
		return errors.Join(err, removed(fresh))
	}
	if err := os.Rename(fresh, abs); err != nil {
		return errors.Join(fmt.Errorf("put the bundle in place: close it where it is open and run again: %w", err), removed(fresh))
	}
	return nil
}

func removed(name string) error {
	if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// writeFresh writes the archive beside its place and syncs it. What a killed
// run left there is removed.
func writeFresh(name string, s *season.Season, opt Options) (err error) {
	defer work.Catch(&err)
	if err := removed(name); err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	defer func() {
		if closing := f.Close(); err == nil && closing != nil {
			err = fmt.Errorf("write the bundle: %w", closing)
		}
	}()
	if err := pack(&synced{f: f}, s, opt); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	return nil
}

// synced syncs a file as it grows: one sync at its end could not be stopped, and
// takes long on a slow disk.
type synced struct {
	f *os.File
	n int
}

func (s *synced) Write(b []byte) (int, error) {
	n, err := s.f.Write(b)
	if s.n += n; err == nil && s.n >= 8<<20 {
		s.n = 0
		err = s.f.Sync()
	}
	return n, err
}

// part is one file of a bundle before it is packed: bytes, or a file to stream.
type part struct {
	name  string
	bytes []byte
	open  func() (io.ReadCloser, error)
	// sha256 that the bytes must have; "" = not known.
	sha256, about string
}

// pack writes the parts in the order of their names, and last what describes
// them, whose name comes last in that order too.
func pack(w io.Writer, s *season.Season, opt Options) error {
	root, err := os.OpenRoot(opt.Farm)
	if err != nil {
		return fmt.Errorf("write the bundle: open the farm folder: %w", err)
	}
	defer func() { _ = root.Close() }() // read only
	parts, err := partsOfBundle(root, s, opt)
	if err != nil {
		return err
	}
	z := zip.NewWriter(w)
	z.RegisterCompressor(zip.Deflate, func(to io.Writer) (io.WriteCloser, error) { return flate.NewWriter(to, flate.DefaultCompression) })
	if err := z.SetComment(ingest.BundleMark); err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	var files []packed
	told := work.NewTeller(opt.Progress)
	for i, p := range parts {
		told.Tell(work.Progress{Stage: work.StageBundle, Done: i, Total: len(parts), File: p.name, FileTotal: 1})
		f, err := p.pack(z, opt.Context)
		if err != nil {
			return err
		}
		files = append(files, f)
		told.Tell(work.Progress{Stage: work.StageBundle, Done: i + 1, Total: len(parts), File: p.name, FileDone: max(1, f.size), FileTotal: max(1, f.size)})
	}
	meta, err := crate(s, files, opt)
	if err != nil {
		return fmt.Errorf("%s: %w", crateName, err)
	}
	if _, err := (part{name: crateName, bytes: meta}).pack(z, opt.Context); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	return nil
}

// partsOfBundle are all files but the crate, sorted by name.
func partsOfBundle(root *os.Root, s *season.Season, opt Options) ([]part, error) {
	parts, err := described(s)
	if err != nil {
		return nil, err
	}
	for _, o := range s.Originals {
		parts = append(parts, part{name: farmDir + o.Name, sha256: o.SHA256, about: originalAbout(s, o.Name),
			open: func() (io.ReadCloser, error) { return openPlain(root, o.Name) }})
	}
	for _, name := range opt.Files {
		parts = append(parts, part{name: reportDir + name, about: aboutReport(name),
			open: func() (io.ReadCloser, error) { return os.Open(filepath.Join(opt.Report, filepath.FromSlash(name))) }})
	}
	slices.SortFunc(parts, func(a, b part) int { return strings.Compare(a.name, b.name) })
	return parts, nil
}

// openPlain opens an original; what took its place may be a pipe, which would
// wait for who writes it.
func openPlain(root *os.Root, name string) (io.ReadCloser, error) {
	info, err := root.Stat(name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: no plain file", name)
	}
	return root.Open(name)
}

// described are the files that say what the others are.
func described(s *season.Season) ([]part, error) {
	list, err := Dictionary(s)
	if err != nil {
		return nil, fmt.Errorf("data dictionary: %w", err)
	}
	table, err := dictionaryCSV(list)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dictCSV, err)
	}
	schema, err := results.JSONSchema()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", schemaName, err)
	}
	return []part{
		{name: readmeName, bytes: readme(s), about: "What this bundle is and how to check it."},
		{name: dictCSV, bytes: table, about: "Data dictionary: every column and key of the report, for programs."},
		{name: dictMD, bytes: dictionaryMD(list), about: "Data dictionary: every column and key of the report, for people."},
		{name: schemaName, bytes: schema, about: "JSON Schema (2020-12) of report/results.json."},
	}, nil
}

var reportAbout = map[string]string{
	"report.html":  "The report, one page.",
	workbookName:   "The report as a workbook.",
	resultsName:    "Every figure of the report, for programs.",
	milkingsName:   "A row a cycle.",
	recordName:     "The cleaned readings with their flags.",
	drawsName:      "A row a refill through the loop.",
	washesName:     "A row a wash.",
	"sources.json": "Every original, what was corrected in it, and when and by which version the report was made.",
}

// aboutReport says what a file of the report is; "" of the charts.
func aboutReport(name string) string {
	if table, ok := strings.CutSuffix(name, record.ParquetTail); ok {
		return strings.TrimSuffix(reportAbout[table+record.CSVTail], ".") + ", as Parquet."
	}
	if table, ok := strings.CutSuffix(name, record.CSVWTail); ok {
		return "What the columns of " + table + record.CSVTail + " are, in the form of CSV on the Web."
	}
	return reportAbout[name]
}

func originalAbout(s *season.Season, name string) string {
	for i, o := range s.Own {
		if o.Name == name && i == 0 {
			return "What the farm says of itself and its logs."
		}
		if o.Name == name {
			return "The farm's list of milkings."
		}
	}
	if slices.ContainsFunc(s.Files, func(f ingest.File) bool { return f.Name == name }) {
		return "A log as exported."
	}
	return "A log as exported, of which no reading was used."
}

// epoch is the time of every file in the archive: the first that a zip can
// hold, so that the same files give the same bytes.
var epoch = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// pack streams one file into the archive and tells its size and hash.
func (p part) pack(z *zip.Writer, ctx context.Context) (packed, error) {
	in := io.Reader(bytes.NewReader(p.bytes))
	if p.open != nil {
		f, err := p.open()
		if err != nil {
			return packed{}, p.unreadable(err)
		}
		defer func() { _ = f.Close() }() // read only
		in = f
	}
	head := &zip.FileHeader{Name: p.name, Method: zip.Deflate, Modified: epoch}
	head.SetMode(0o644)
	out, err := z.CreateHeader(head)
	if err != nil {
		return packed{}, fmt.Errorf("write the bundle: %s: %w", p.name, err)
	}
	hash := sha256.New()
	from := &reads{r: in, ctx: ctx}
	n, err := io.Copy(io.MultiWriter(out, hash), from)
	if from.err != nil {
		return packed{}, p.unreadable(from.err)
	}
	if err != nil {
		return packed{}, fmt.Errorf("write the bundle: %s: %w", p.name, err)
	}
	sum := hex.EncodeToString(hash.Sum(nil))
	if p.sha256 != "" && sum != p.sha256 {
		return packed{}, changed(p.name, "other bytes than the report was made of (SHA-256 "+sum+", was "+p.sha256+")")
	}
	return packed{name: p.name, size: n, sha256: sum, about: p.about}, nil
}

// reads remembers what went wrong on the reading side of a copy.
type reads struct {
	r   io.Reader
	ctx context.Context
	err error
}

func (r *reads) Read(b []byte) (int, error) {
	work.Check(r.ctx)
	n, err := r.r.Read(b)
	if err != nil && !errors.Is(err, io.EOF) {
		r.err = err
	}
	return n, err
}

// unreadable: an original that is gone, or a file of the report.
func (p part) unreadable(err error) error {
	if strings.HasPrefix(p.name, farmDir) {
		return changed(p.name, "a file that cannot be read any more ("+err.Error()+")")
	}
	return fmt.Errorf("write the bundle: %s: %w", p.name, err)
}

func changed(name, got string) error {
	return &ingest.InputError{Faults: []ingest.Fault{{File: strings.TrimPrefix(name, farmDir), Got: got, Want: "the file as it was when it was read",
		Do: "run again once nothing writes to it"}}}
}
