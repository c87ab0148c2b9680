package reports

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"yardheat/reports/results"
)

// NotOurs is the error for an OUT that holds something which is no report of
// ours. Nothing was touched.
type NotOurs struct {
	Out   string // the folder asked for
	Found string // what stands there, by name
	Why   string
}

func (e *NotOurs) Error() string {
	return fmt.Sprintf("%s: %s %s; nothing was touched. Name an empty or a new folder with --out, or an earlier report",
		e.Out, e.Found, e.Why)
}

// CheckOut says whether a report may go to out: absent, empty, or a report of
// ours and nothing else. It touches nothing.
func CheckOut(out string) error {
	places, err := placesOf(out)
	if err != nil {
		return err
	}
	if err := checkOurs(places.out); err != nil {
		return err
	}
	for _, beside := range []string{places.fresh, places.old} {
		if err := checkUnfinished(beside); err != nil {
			return err
		}
	}
	return nil
}

// places are OUT and the two folders beside it that a swap uses.
type places struct{ out, fresh, old string }

func placesOf(out string) (places, error) {
	abs, err := filepath.Abs(out)
	if err != nil {
		return places{}, fmt.Errorf("folder of the report: %w", err)
	}
	parent, name := filepath.Split(abs)
	if name == "" {
		return places{}, &NotOurs{Out: out, Found: "the top of a disk", Why: "is no folder for a report"}
	}
	// A linked folder is swapped where it really stands, on its own disk.
	if target, err := filepath.EvalSymlinks(abs); err == nil {
		abs = target
		parent, name = filepath.Split(abs)
	}
	beside := func(tail string) string { return filepath.Join(parent, "."+name+".yardheat-"+tail) }
	return places{out: abs, fresh: beside("new"), old: beside("old")}, nil
}

// checkOurs: absent, empty, or a finished report and nothing else.
func checkOurs(dir string) error {
	names, err := checkNames(dir)
	if err != nil || len(names) == 0 {
		return err
	}
	f, err := os.Open(filepath.Join(dir, resultsName))
	if errors.Is(err, fs.ErrNotExist) {
		return &NotOurs{Out: dir, Found: names[0], Why: "stands there without a " + resultsName + ", so it is no report of ours"}
	}
	if err != nil {
		return fmt.Errorf("look at the earlier report: %w", err)
	}
	defer func() { _ = f.Close() }() // read only
	want := []byte("{\n  \"schema\": \"" + results.Schema + "\"")
	head := make([]byte, len(want))
	n, _ := f.Read(head)
	if !bytes.Equal(head[:n], want) {
		return &NotOurs{Out: dir, Found: resultsName, Why: "is not of the form " + results.Schema}
	}
	return nil
}

// checkUnfinished: a folder that a killed run left behind, half written or half
// removed, holds some of our file names and no others.
func checkUnfinished(dir string) error {
	_, err := checkNames(dir)
	return err
}

// checkNames lists the files below dir, and refuses a name that no report has.
func checkNames(dir string) ([]string, error) {
	info, err := os.Lstat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("folder of the report: %w", err)
	}
	if !info.IsDir() {
		return nil, &NotOurs{Out: dir, Found: filepath.Base(dir), Why: "is a file, not a folder"}
	}
	var names []string
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == dir {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		if !ours(rel, d) {
			return &NotOurs{Out: dir, Found: rel, Why: foreignBecause(d.Name())}
		}
		names = append(names, rel)
		return nil
	})
	return names, err
}

// foreignBecause knows the marks that office programs leave beside a file that
// they hold open (common practice, no source).
func foreignBecause(name string) string {
	if strings.HasPrefix(name, ".~lock.") || strings.HasPrefix(name, "~$") {
		return "shows that the workbook is open in another program: close it and run again"
	}
	return "is no file of a report"
}

// ours tells whether a report can hold a file of that name.
func ours(rel string, d fs.DirEntry) bool {
	if rel == chartsDir {
		return d.IsDir()
	}
	if !d.Type().IsRegular() {
		return false
	}
	if in, ok := strings.CutPrefix(rel, chartsDir+"/"); ok {
		stem, isSVG := strings.CutSuffix(in, ".svg")
		if !isSVG {
			stem, ok = strings.CutSuffix(in, ".png")
		}
		return ok && plainName(stem)
	}
	for _, n := range fileNames() {
		if rel == n {
			return true
		}
	}
	return litter[rel]
}

// litter is what desktops leave in a folder that somebody looked into: nobody's
// work, and no reason to refuse the next report.
var litter = map[string]bool{".DS_Store": true, "Thumbs.db": true, "desktop.ini": true}

// plainName: what we name charts by: a-z, 0-9 and hyphens.
func plainName(stem string) bool {
	return stem != "" && strings.Trim(stem, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

// disk is the part of the file system that a test can make fail or stop.
type disk struct {
	rename func(from, to string) error
}

func realDisk() disk { return disk{rename: os.Rename} }

// repairChecked repairs only where all that it would touch is ours.
func (d disk) repairChecked(out string) error {
	if err := CheckOut(out); err != nil {
		return err
	}
	p, err := placesOf(out)
	if err != nil {
		return err
	}
	return d.repair(p)
}

// repair brings OUT back to a whole report after a run that was killed: an old
// one set aside while none stands in its place is put back, and what else was
// left is removed. All that it removes has been checked to be ours.
func (d disk) repair(p places) error {
	if _, err := os.Lstat(p.old); err == nil {
		if _, err := os.Lstat(p.out); errors.Is(err, fs.ErrNotExist) {
			if err := d.rename(p.old, p.out); err != nil {
				return heldOpen(p.old, err)
			}
		} else if err := os.RemoveAll(p.old); err != nil {
			return heldOpen(p.old, err)
		}
	}
	if err := os.RemoveAll(p.fresh); err != nil {
		return heldOpen(p.fresh, err)
	}
	return nil
}

// swap puts the finished folder in OUT's place by two renames; if the second
// fails the first is undone.
func (d disk) swap(p places) error {
	had := false
	if _, err := os.Lstat(p.out); err == nil {
		had = true
		if err := d.rename(p.out, p.old); err != nil {
			return heldOpen(p.out, err)
		}
	}
	if err := d.rename(p.fresh, p.out); err != nil {
		failed := heldOpen(p.fresh, err)
		if had {
			if err := d.rename(p.old, p.out); err != nil {
				return fmt.Errorf("%w; the earlier report now stands in %s and the next run puts it back (%w)", failed, p.old, err)
			}
		}
		return failed
	}
	if err := syncDir(filepath.Dir(p.out)); err != nil {
		return err
	}
	// The new report stands. What can't be removed now the next run removes.
	if checkUnfinished(p.old) == nil {
		_ = os.RemoveAll(p.old)
	}
	return nil
}

// heldOpen says what to do where a folder can't be moved or removed, which on
// Windows is what an open file does.
func heldOpen(dir string, err error) error {
	return fmt.Errorf("put the report in place: a file in %s may be open elsewhere; close the page and the workbook and run it again: %w", dir, err)
}

// syncDir makes the names in a folder last through a power cut. Windows has no
// such call, and does it by itself.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync the folder of the report: %w", err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("sync the folder of the report: %w", err)
	}
	return nil
}
