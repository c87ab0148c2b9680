package farms

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"

	"yardheat/ingest/farm"
)

// folder is one farm.
type folder struct {
	home      *Home
	st        *state
	name, dir string
}

func (f *folder) Name() string { return f.name }
func (f *folder) Dir() string  { return f.dir }

// open is the farm's folder, which must be a real one.
func (f *folder) open() (*os.Root, error) {
	if f.home.one {
		return os.OpenRoot(f.dir)
	}
	h, err := os.OpenRoot(f.home.dir)
	if err != nil {
		return nil, err
	}
	defer func() { _ = h.Close() }() // read only
	if err := noLinks(h, f.name); err != nil {
		return nil, err
	}
	r, err := h.OpenRoot(f.name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotFound
	}
	return r, err
}

// read and change do something in the folder, alone where it changes something.
func (f *folder) read(do func(*os.Root) error) error {
	f.st.mu.RLock()
	defer f.st.mu.RUnlock()
	return f.in(do)
}

func (f *folder) change(do func(*os.Root) error) error {
	f.st.mu.Lock()
	defer f.st.mu.Unlock()
	return f.in(do)
}

func (f *folder) in(do func(*os.Root) error) error {
	r, err := f.open()
	if err != nil {
		return err
	}
	return errors.Join(do(r), r.Close())
}

// prepare takes the farm for this program, and repairs what a program that was
// stopped in mid-work left.
func (f *folder) prepare() error {
	return f.change(func(r *os.Root) error {
		if f.st.ready {
			return nil
		}
		for _, dir := range []string{ownDir, newDir, beforeDir} {
			if err := noLinks(r, dir); err != nil {
				return err
			}
			if err := r.MkdirAll(dir, 0o755); err != nil {
				return plainError(err)
			}
		}
		if err := noLinks(r, lockName); err != nil {
			return err
		}
		lock, err := lockFile(filepath.Join(f.dir, filepath.FromSlash(lockName)))
		if err != nil {
			return err
		}
		if err := errors.Join(f.finishKeep(r), clearParts(r), syncDir(r, ownDir), syncDir(r, ".")); err != nil {
			return errors.Join(err, lock.Close())
		}
		f.st.lock, f.st.ready = lock, true
		return nil
	})
}

// unfinishedReport is where a report is written before it has its place; see
// package reports.
var unfinishedReport = regexp.MustCompile(`^\.\d{4}-\d\d-\d\d-\d{6}\.yardheat-new$`)

// clearParts removes what was never acknowledged, or was being removed.
func clearParts(r *os.Root) error {
	var errs []error
	own, err := readDir(r, ownDir)
	errs = append(errs, err)
	for _, e := range own {
		if strings.HasPrefix(e.Name(), partPrefix) || strings.HasPrefix(e.Name(), dropPrefix) {
			errs = append(errs, r.RemoveAll(path.Join(ownDir, e.Name())))
		}
	}
	if isReal(r, bundleDir, true) {
		packed, err := readDir(r, bundleDir)
		errs = append(errs, err)
		for _, e := range packed {
			if strings.HasPrefix(e.Name(), partPrefix) || strings.HasSuffix(e.Name(), ".yardheat-new") {
				errs = append(errs, r.RemoveAll(path.Join(bundleDir, e.Name())))
			}
		}
	}
	if !isReal(r, reportDir, true) {
		return errors.Join(errs...)
	}
	made, err := readDir(r, reportDir)
	errs = append(errs, err)
	for _, e := range made {
		if unfinishedReport.MatchString(e.Name()) {
			errs = append(errs, r.RemoveAll(path.Join(reportDir, e.Name())))
		}
	}
	return errors.Join(errs...)
}

func (f *folder) Title() string {
	if b, err := f.TOML(); err == nil {
		if farm, faults := farm.Read(farmFile, b); len(faults) == 0 && farm.Name != "" {
			return farm.Name
		}
	}
	title := f.name
	_ = f.read(func(r *os.Root) error { // without it the folder's name stands in
		b, err := readFile(r, titleFile)
		if err == nil && len(b) > 0 {
			title = string(b)
		}
		return err
	})
	return title
}

func (f *folder) TOML() (b []byte, err error) {
	err = f.read(func(r *os.Root) error {
		b, err = tomlOf(r)
		return err
	})
	return b, err
}

func tomlOf(r *os.Root) ([]byte, error) {
	b, err := readFile(r, farmFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotFound
	}
	if err == nil && b == nil {
		b = []byte{}
	}
	return b, err
}

func (f *folder) SetTOML(before, after []byte) error {
	return f.change(func(r *os.Root) error { return f.setTOML(r, before, after) })
}

func (f *folder) setTOML(r *os.Root, before, after []byte) error {
	now, err := f.unchanged(r, before)
	if err != nil || now != nil && bytes.Equal(now, after) {
		return err
	}
	if now != nil {
		if err := f.keepForm(r, now); err != nil {
			return err
		}
	}
	return writeSynced(r, farmFile, after)
}

// unchanged gives farm.toml (nil: there is none) where it is what the caller read.
func (f *folder) unchanged(r *os.Root, before []byte) ([]byte, error) {
	now, err := tomlOf(r)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return nil, err
	}
	if !bytes.Equal(now, before) || (now == nil) != (before == nil) {
		return nil, ErrChanged
	}
	return now, nil
}

// keepForm keeps an earlier form of farm.toml under a name that is free.
func (f *folder) keepForm(r *os.Root, b []byte) error {
	stem := beforeDir + "/farm-" + f.home.now().UTC().Format("20060102-150405")
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s-%02d.toml", stem, n)
		if _, err := r.Lstat(name); err == nil {
			continue
		}
		return writeSynced(r, name, b)
	}
}

func (f *folder) Waiting() (all []Waiting, err error) {
	err = f.read(func(r *os.Root) error {
		all, err = waiting(r)
		return err
	})
	return all, err
}

// waiting lists what was acknowledged; a folder without its content has become a
// log, or is none of ours.
func waiting(r *os.Root) ([]Waiting, error) {
	entries, err := readDir(r, newDir)
	if err != nil {
		return nil, err
	}
	var all []Waiting
	for _, e := range entries {
		if w, ok := waitingOne(r, e.Name()); ok {
			all = append(all, w)
		}
	}
	sort.SliceStable(all, func(i, j int) bool {
		if !all[i].At.Equal(all[j].At) {
			return all[i].At.Before(all[j].At)
		}
		return all[i].ID < all[j].ID
	})
	return all, nil
}

func waitingOne(r *os.Root, id string) (Waiting, bool) {
	dir := path.Join(newDir, id)
	if !isID(id) || !isReal(r, dir, true) || !isReal(r, path.Join(dir, content), false) {
		return Waiting{}, false
	}
	b, err := readFile(r, path.Join(dir, aboutFile))
	if err != nil {
		return Waiting{}, false
	}
	var w Waiting
	if err := json.Unmarshal(b, &w); err != nil || w.ID != id {
		return Waiting{}, false
	}
	return w, true
}

// waitingDir is the folder of a waiting file, or ErrNotFound.
func waitingDir(r *os.Root, id string) (string, error) {
	if err := noLinks(r, newDir); err != nil {
		return "", err
	}
	if _, ok := waitingOne(r, id); !ok {
		return "", ErrNotFound
	}
	return path.Join(newDir, id), nil
}

func (f *folder) Content(id string) (string, error) {
	var dir string
	err := f.read(func(r *os.Root) (err error) {
		dir, err = waitingDir(r, id)
		return err
	})
	if err != nil {
		return "", err
	}
	return filepath.Join(f.dir, filepath.FromSlash(dir), content), nil
}

func (f *folder) Note(id string) (b []byte, err error) {
	err = f.read(func(r *os.Root) error {
		dir, err := waitingDir(r, id)
		if err != nil {
			return err
		}
		b, err = readFile(r, path.Join(dir, noteFile))
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	return b, err
}

// mostNoteB is the longest note.
const mostNoteB = 1 << 20

func (f *folder) SetNote(id string, note []byte) error {
	if len(note) > mostNoteB {
		return ErrTooLarge
	}
	return f.change(func(r *os.Root) error {
		dir, err := waitingDir(r, id)
		if err != nil {
			return err
		}
		return writeSynced(r, path.Join(dir, noteFile), note)
	})
}

func (f *folder) Drop(id string) error {
	return f.change(func(r *os.Root) error {
		dir, err := waitingDir(r, id)
		if err != nil {
			return err
		}
		w, _ := waitingOne(r, id)
		if err := remove(r, dir); err != nil {
			return err
		}
		f.st.forget(1, w.SizeB)
		return syncDir(r, newDir)
	})
}

// remove takes a folder out of its place at once, and then away.
func remove(r *os.Root, name string) error {
	gone := path.Join(ownDir, dropPrefix+newID())
	if err := r.Rename(name, gone); err != nil {
		return err
	}
	return r.RemoveAll(gone)
}

// Logs of the folder and three folders deep.
const (
	logsDeep = 3
	mostLogs = 10_000
)

func (f *folder) Logs() (all []Log, err error) {
	err = f.read(func(r *os.Root) error {
		all, err = logsIn(r, ".", logsDeep)
		return err
	})
	slices.SortFunc(all, func(a, b Log) int { return strings.Compare(a.Name, b.Name) })
	return all, err
}

// logsIn passes over links, hidden files, farm.toml and reports.
func logsIn(r *os.Root, dir string, deep int) ([]Log, error) {
	entries, err := readDir(r, dir)
	if err != nil {
		return nil, err
	}
	var all []Log
	for _, e := range entries {
		name := path.Join(dir, e.Name())
		if strings.HasPrefix(e.Name(), ".") || reserved[foldName(name)] || len(all) >= mostLogs {
			continue
		}
		if e.IsDir() && deep > 0 {
			if _, err := r.Lstat(path.Join(name, "sources.json")); err == nil {
				continue // a report elsewhere
			}
			in, err := logsIn(r, name, deep-1)
			if err != nil {
				return nil, err
			}
			all = append(all, in...)
			continue
		}
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() {
			continue
		}
		all = append(all, Log{Name: name, SizeB: info.Size(), At: info.ModTime()})
	}
	return all, nil
}

// FreeName is a name for a new log, made of name, that nothing in the folder has.
func (f *folder) FreeName(name string) (free string, err error) {
	clean, err := cleanName(name, f.home.limits.NameRune)
	if err != nil {
		return "", err
	}
	err = f.read(func(r *os.Root) error {
		taken, err := takenNames(r)
		if err != nil {
			return err
		}
		ext := path.Ext(clean)
		stem := strings.TrimSuffix(clean, ext)
		free = clean
		for n := 2; taken[foldName(free)] || reserved[foldName(free)]; n++ {
			free = fmt.Sprintf("%s (%d)%s", stem, n, ext)
		}
		return nil
	})
	return free, err
}

func takenNames(r *os.Root) (map[string]bool, error) {
	entries, err := readDir(r, ".")
	if err != nil {
		return nil, err
	}
	taken := map[string]bool{}
	for _, e := range entries {
		taken[foldName(e.Name())] = true
	}
	return taken, nil
}
