package farms

import (
	"encoding/json"
	"errors"
	"os"
	"path"
	"path/filepath"
	"slices"
	"time"

	"yardheat/reports"
)

const (
	reportStamp = "2006-01-02-150405"
	sourcesFile = "sources.json" // written last: a report with it is whole
)

func (f *folder) Reports() (all []Report, err error) {
	err = f.read(func(r *os.Root) error {
		all, err = f.reports(r)
		return err
	})
	return all, err
}

func (f *folder) reports(r *os.Root) ([]Report, error) {
	entries, err := readDir(r, reportDir)
	if err != nil {
		return nil, err
	}
	var all []Report
	for _, e := range entries {
		rel := path.Join(reportDir, e.Name())
		at, err := time.ParseInLocation(reportStamp, e.Name(), time.Local)
		if err == nil && e.IsDir() && isReal(r, rel+"/"+sourcesFile, false) {
			all = append(all, Report{ID: e.Name(), Dir: filepath.Join(f.dir, filepath.FromSlash(rel)), At: at})
		}
	}
	if isReal(r, startReport, true) && isReal(r, startReport+"/"+sourcesFile, false) {
		all = append(all, Report{ID: startReport, Dir: filepath.Join(f.dir, startReport), At: madeAt(r, startReport+"/"+sourcesFile)})
	}
	slices.SortStableFunc(all, func(a, b Report) int { return b.At.Compare(a.At) })
	return all, nil
}

// madeAt is when the report says it was made; else when its last file was written.
func madeAt(r *os.Root, name string) time.Time {
	var made struct {
		MadeAt time.Time `json:"made_at"`
	}
	b, err := readFile(r, name)
	if err == nil && json.Unmarshal(b, &made) == nil && !made.MadeAt.IsZero() {
		return made.MadeAt
	}
	info, err := r.Lstat(name)
	if err != nil {
		return time.Time{}
	}
	return info.ModTime()
}

func (f *folder) Report(id string) (Report, error) {
	all, err := f.Reports()
	if err != nil {
		return Report{}, err
	}
	for _, r := range all {
		if r.ID == id {
			return r, nil
		}
	}
	return Report{}, ErrNotFound
}

func (f *folder) NextReport(now time.Time) Report {
	at := now.Local().Truncate(time.Second)
	for {
		id := at.Format(reportStamp)
		dir := filepath.Join(f.dir, reportDir, id)
		if _, err := os.Lstat(dir); err != nil {
			return Report{ID: id, Dir: dir, At: at}
		}
		at = at.Add(time.Second)
	}
}

// rel is a report's folder within the farm's.
func (r Report) rel() string {
	if r.ID == startReport {
		return startReport
	}
	return path.Join(reportDir, r.ID)
}

func (f *folder) DropReport(id string) error {
	made, err := f.Report(id)
	if err != nil {
		return err
	}
	return f.change(func(r *os.Root) error {
		if err := noLinks(r, made.rel()); err != nil {
			return err
		}
		if err := reports.CheckOut(made.Dir); err != nil {
			return err // what is not ours stands in it
		}
		if err := remove(r, made.rel()); err != nil {
			return err
		}
		return syncDir(r, path.Dir(made.rel()))
	})
}

func (f *folder) ReportFile(id, name string) (file *os.File, err error) {
	made, err := f.Report(id)
	if err != nil {
		return nil, err
	}
	err = f.read(func(r *os.Root) error {
		if err := noLinks(r, made.rel()); err != nil {
			return err
		}
		names, err := reports.Files(made.Dir)
		if err != nil {
			return err
		}
		if !slices.Contains(names, name) {
			return ErrNotFound
		}
		at := path.Join(made.rel(), name)
		if err := noLinks(r, at); err != nil {
			return err
		}
		file, err = r.Open(at)
		return err
	})
	if err != nil && file != nil {
		err = errors.Join(err, file.Close())
		file = nil
	}
	return file, err
}
