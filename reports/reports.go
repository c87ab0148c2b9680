// Package reports writes a Season as a folder of files: the page, the
// workbook, results.json, the tables, the charts. It renders and computes
// nothing; the forms stand in its sub-packages.
//
// A report is whole or absent. It is written to a folder beside OUT, every
// file synced, and takes OUT's place by two renames, undone on failure; what a
// killed run left behind the next one repairs. OUT is only ever replaced where
// it is empty or holds a report of ours and nothing else.
//
//	err := reports.Write("my-farm/report", s, reports.Options{Now: time.Now()})
//
// What it holds: report.html (package page), season.xlsx (workbook), results.json
// (results), charts/ (chart), the tables record, milkings, draws and washes, each
// as CSV, as Parquet and with the description of its columns (record), and
// sources.json (record), which comes last, has the hash of every other file, and is
// all that retrace needs to make the report again. On one system the same season
// gives the same bytes in every file but sources.json, the only one that says when
// and by what it was made (Options). Files lists what a report holds; bundle packs
// it with the originals; statement prints a judgement on a claim.
//
// Errors: *NotOurs for a place that holds something else, and nothing was touched;
// else what the system said, with the file's name and what to do. In every case
// what stood in OUT still stands.
package reports

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"yardheat/analysis/season"
	"yardheat/ingest/work"
	"yardheat/reports/record"
	"yardheat/reports/results"
	"yardheat/reports/workbook"
)

// Options of a report. What Now and Version say appears on the page and in
// sources.json only; the rest but PNG in sources.json only.
type Options struct {
	PNG     bool // the charts as PNG too
	Now     time.Time
	Version string
	// Program that makes it; its Version is the one above.
	Program record.Program
	// From, To as given on the command line; "" = none.
	From, To string
	// Farm is where the farm folder lies, seen from the report's; "" = not known.
	Farm string
	// Context ends the writing: Write then gives its error and leaves what stood
	// in out; nil = it never ends. Once the new report takes the old one's place
	// it is no longer asked.
	Context context.Context
	// Progress is told what is being done: the stages StageWrite, files by name,
	// and StagePlace of package work; nil = nobody asks. It is never called twice
	// at once.
	Progress func(work.Progress)
}

// The names of a report's files.
const (
	pageName     = "report.html"
	workbookName = "season.xlsx"
	resultsName  = "results.json"
	sourcesName  = "sources.json"
	chartsDir    = "charts"
)

func fileNames() []string {
	names := []string{pageName, workbookName, resultsName, sourcesName}
	for _, table := range record.TableNames() {
		names = append(names, table+record.CSVTail, table+record.ParquetTail, table+record.CSVWTail)
	}
	return names
}

// Write makes the report of a season in out. On failure what stood in out
// still stands.
func Write(out string, s *season.Season, opt Options) error {
	return write(out, s, opt, realDisk())
}

func write(out string, s *season.Season, opt Options, d disk) error {
	if err := work.Err(opt.Context); err != nil {
		return err
	}
	if err := d.repairChecked(out); err != nil {
		return err
	}
	p, err := placesOf(out)
	if err != nil {
		return err
	}
	told := work.NewTeller(opt.Progress)
	err = writeFresh(p.fresh, s, opt, told)
	if err == nil {
		err = work.Err(opt.Context)
	}
	if err != nil {
		return errors.Join(err, os.RemoveAll(p.fresh))
	}
	told.Tell(work.Progress{Stage: work.StagePlace})
	if err := d.swap(p); err != nil {
		return errors.Join(err, os.RemoveAll(p.fresh))
	}
	return nil
}

// writeFresh writes every file into a new folder and syncs it; sources.json,
// which lists the others, last.
func writeFresh(dir string, s *season.Season, opt Options, told *work.Teller) (err error) {
	defer work.Catch(&err)
	d := &fresh{dir: dir, ctx: opt.Context, told: told, total: len(fileNames())}
	charts := filepath.Join(dir, chartsDir)
	if err := os.MkdirAll(charts, 0o755); err != nil {
		return fmt.Errorf("make the folder of the report: %w", err)
	}
	tables, err := record.Tables(s)
	if err != nil {
		return err
	}
	if err := together(append(jobs(d, s, opt), tableJobs(d, tables)...)); err != nil {
		return err
	}
	if err := d.whole(sourcesName, func() ([]byte, error) { return record.Sources(s, opt.made(d.hashes())) })(); err != nil {
		return err
	}
	return errors.Join(syncDir(charts), syncDir(dir))
}

// made is how the report is made, for sources.json.
func (o Options) made(files []record.Hash) record.Made {
	p := o.Program
	p.Version = o.Version
	return record.Made{At: o.Now, Program: p, Options: record.Options{From: o.From, To: o.To, PNG: o.PNG}, Farm: o.Farm, Report: files}
}

// jobs are the parts of a report that do not need each other.
func jobs(d *fresh, s *season.Season, opt Options) []func() error {
	return []func() error{
		func() error { return writePage(d, s, opt) },
		d.whole(workbookName, func() ([]byte, error) { return workbook.XLSXUntil(opt.Context, s) }),
		d.whole(resultsName, func() ([]byte, error) { return results.JSON(s) }),
	}
}

// tableJobs write each table as CSV, as Parquet, and what its columns are.
func tableJobs(d *fresh, tables []*record.Table) []func() error {
	var out []func() error
	for _, t := range tables {
		out = append(out,
			func() error { return d.file(t.Name+record.CSVTail, t.CSV) },
			func() error { return d.file(t.Name+record.ParquetTail, t.Parquet) },
			d.whole(t.Name+record.CSVWTail, t.CSVW))
	}
	return out
}

// together runs all of them at once and gives every error, in their order.
func together(jobs []func() error) error {
	errs := make([]error, len(jobs))
	var all work.Group
	for i, job := range jobs {
		all.Go(func() { errs[i] = job() })
	}
	all.Wait()
	return errors.Join(errs...)
}

// fresh is the new folder of a report and what was written there.
type fresh struct {
	dir   string
	ctx   context.Context
	told  *work.Teller
	total int // files that there will be, charts not counted
	mu    sync.Mutex
	made  []record.Hash
	done  int // of total
}

// hashes are the files written, by name.
func (d *fresh) hashes() []record.Hash {
	d.mu.Lock()
	defer d.mu.Unlock()
	slices.SortFunc(d.made, func(a, b record.Hash) int { return strings.Compare(a.Name, b.Name) })
	return d.made
}

// whole is the job that makes a file in memory and writes it.
func (d *fresh) whole(name string, make func() ([]byte, error)) func() error {
	return func() error {
		b, err := make()
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		return d.bytes(name, b)
	}
}

func (d *fresh) bytes(name string, b []byte) error {
	return d.file(name, func(w io.Writer) error {
		_, err := w.Write(b)
		return err
	})
}

// file makes a file, has it filled in, and syncs it to the disk; name is below
// the folder, with slashes.
func (d *fresh) file(name string, fill func(io.Writer) error) (err error) {
	work.Check(d.ctx)
	path := filepath.Join(d.dir, filepath.FromSlash(name))
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	defer func() {
		if closing := f.Close(); err == nil && closing != nil {
			err = fmt.Errorf("write the report: %w", closing)
		}
	}()
	sum := &counted{w: f, sync: f.Sync, sum: sha256.New(), ctx: d.ctx}
	buffered := bufio.NewWriterSize(sum, 1<<16)
	if err := fill(buffered); err != nil {
		return fmt.Errorf("write the report: %s: %w", filepath.Base(path), err)
	}
	if err := errors.Join(buffered.Flush(), f.Sync()); err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.made = append(d.made, record.Hash{Name: name, SizeB: sum.n, SHA256: fmt.Sprintf("%x", sum.sum.Sum(nil))})
	if slices.Contains(fileNames(), name) {
		d.done++
	}
	d.told.Tell(work.Progress{Stage: work.StageWrite, Done: d.done, Total: d.total, File: name, FileDone: max(1, sum.n), FileTotal: max(1, sum.n)})
	return nil
}

// syncB is how much of a file is written before it is synced: a sync of it all
// at the end could not be stopped, and takes long on a slow disk.
const syncB = 8 << 20

// counted counts and hashes what passes, and leaves once the work has ended.
type counted struct {
	w      io.Writer
	sync   func() error
	sum    hash.Hash
	ctx    context.Context
	n      int64
	synced int64
}

func (c *counted) Write(b []byte) (n int, err error) {
	for part := range slices.Chunk(b, syncB/8) {
		work.Check(c.ctx)
		k, err := c.w.Write(part)
		c.sum.Write(part[:k])
		c.n += int64(k)
		if n += k; err != nil {
			return n, err
		}
		if c.n-c.synced >= syncB {
			c.synced = c.n
			if err := c.sync(); err != nil {
				return n, err
			}
		}
	}
	return n, nil
}
