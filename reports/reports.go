// Package reports writes a Season as a folder of files: the page, the
// workbook, results.json, the tables, the charts. It renders and computes
// nothing; the forms stand in its sub-packages.
//
// A report is whole or absent. It is written to a folder beside OUT, every
// file synced, and takes OUT's place by two renames, undone on failure; what a
// killed run left behind the next one repairs. OUT is only ever replaced where
// it is empty or holds a report of ours and nothing else.
package reports

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"yardheat/analysis/season"
	"yardheat/reports/record"
	"yardheat/reports/results"
	"yardheat/reports/workbook"
)

// Options of a report. What Now and Version say appears on the page and in
// sources.json only.
type Options struct {
	PNG     bool // the charts as PNG too
	Now     time.Time
	Version string
}

// The names of a report's files.
const (
	pageName     = "report.html"
	workbookName = "season.xlsx"
	resultsName  = "results.json"
	milkingsName = "milkings.csv"
	recordName   = "record.csv"
	parquetName  = "record.parquet"
	sourcesName  = "sources.json"
	chartsDir    = "charts"
)

func fileNames() []string {
	return []string{pageName, workbookName, resultsName, milkingsName, recordName, parquetName, sourcesName}
}

// Write makes the report of a season in out. On failure what stood in out
// still stands.
func Write(out string, s *season.Season, opt Options) error {
	return write(out, s, opt, realDisk())
}

func write(out string, s *season.Season, opt Options, d disk) error {
	if err := d.repairChecked(out); err != nil {
		return err
	}
	p, err := placesOf(out)
	if err != nil {
		return err
	}
	if err := writeFresh(p.fresh, s, opt); err != nil {
		return errors.Join(err, os.RemoveAll(p.fresh))
	}
	if err := d.swap(p); err != nil {
		return errors.Join(err, os.RemoveAll(p.fresh))
	}
	return nil
}

// writeFresh writes every file into a new folder and syncs it.
func writeFresh(dir string, s *season.Season, opt Options) error {
	charts := filepath.Join(dir, chartsDir)
	if err := os.MkdirAll(charts, 0o755); err != nil {
		return fmt.Errorf("make the folder of the report: %w", err)
	}
	if err := together(jobs(dir, s, opt)); err != nil {
		return err
	}
	return errors.Join(syncDir(charts), syncDir(dir))
}

// jobs are the parts of a report that do not need each other.
func jobs(dir string, s *season.Season, opt Options) []func() error {
	whole := func(name string, make func() ([]byte, error)) func() error {
		return func() error {
			b, err := make()
			if err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			return writeBytes(filepath.Join(dir, name), b)
		}
	}
	return []func() error{
		func() error { return writePage(dir, s, opt) },
		whole(workbookName, func() ([]byte, error) { return workbook.XLSX(s) }),
		func() error {
			return writeFile(filepath.Join(dir, recordName), func(w io.Writer) error { return record.Record(w, s) })
		},
		whole(resultsName, func() ([]byte, error) { return results.JSON(s) }),
		whole(milkingsName, func() ([]byte, error) { return record.Milkings(s) }),
		whole(sourcesName, func() ([]byte, error) { return record.Sources(s, opt.Now, opt.Version) }),
	}
}

// together runs all of them at once and gives every error, in their order.
func together(jobs []func() error) error {
	errs := make([]error, len(jobs))
	var wg sync.WaitGroup
	for i, job := range jobs {
		wg.Go(func() { errs[i] = job() })
	}
	wg.Wait()
	return errors.Join(errs...)
}

func writeBytes(path string, b []byte) error {
	return writeFile(path, func(w io.Writer) error {
		_, err := w.Write(b)
		return err
	})
}

// writeFile makes a file, has it filled in, and syncs it to the disk.
func writeFile(path string, fill func(io.Writer) error) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	defer func() {
		if closing := f.Close(); err == nil && closing != nil {
			err = fmt.Errorf("write the report: %w", closing)
		}
	}()
	buffered := bufio.NewWriterSize(f, 1<<16)
	if err := fill(buffered); err != nil {
		return fmt.Errorf("write the report: %s: %w", filepath.Base(path), err)
	}
	if err := errors.Join(buffered.Flush(), f.Sync()); err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	return nil
}
