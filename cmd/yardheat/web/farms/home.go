package farms

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"yardheat/ingest/farm"
)

const (
	farmFile  = "farm.toml"
	ownDir    = ".yardheat"
	newDir    = ownDir + "/new"
	beforeDir = ownDir + "/before"
	titleFile = ownDir + "/title"
	reportDir = "reports"
	content   = "content"
	aboutFile = "about.json"
	noteFile  = "note"
)

// Home is a folder of farms, or one farm.
type Home struct {
	dir    string
	one    bool
	limits Limits
	now    func() time.Time
}

// Open is the store in dir; where dir holds a farm.toml it is the one farm.
func Open(dir string, limits Limits, now func() time.Time) (*Home, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	h := &Home{dir: abs, limits: limits, now: now}
	if _, err := os.Lstat(filepath.Join(abs, farmFile)); err == nil {
		h.one = true
	}
	return h, nil
}

// Dir is the folder; One says whether it is itself the farm.
func (h *Home) Dir() string { return h.dir }

// One says whether the folder is itself the one farm.
func (h *Home) One() bool { return h.one }

// List names the farms.
func (h *Home) List() ([]string, error) {
	if h.one {
		return []string{filepath.Base(h.dir)}, nil
	}
	entries, err := os.ReadDir(h.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		if e.IsDir() && h.isFarm(e.Name()) {
			names = append(names, e.Name())
		}
	}
	sort.Strings(names)
	return names, nil
}

func (h *Home) isFarm(name string) bool {
	if strings.HasPrefix(name, ".") {
		return false
	}
	for _, mark := range []string{farmFile, titleFile} {
		if info, err := os.Lstat(filepath.Join(h.dir, name, mark)); err == nil && info.Mode().IsRegular() {
			return true
		}
	}
	return false
}

// Find gives one of the farms listed.
func (h *Home) Find(name string) (Farm, error) {
	names, err := h.List()
	if err != nil {
		return nil, err
	}
	if !slices.Contains(names, name) {
		return nil, ErrNotFound
	}
	dir := filepath.Join(h.dir, name)
	if h.one {
		dir = h.dir
	}
	return &folder{home: h, name: name, dir: dir}, nil
}

// New makes a farm's folder.
func (h *Home) New(title string) (Farm, error) {
	name, err := cleanName(title, h.limits.NameRune)
	if err != nil || h.one {
		return nil, ErrName
	}
	dir := filepath.Join(h.dir, name)
	if err := os.MkdirAll(h.dir, 0o755); err != nil {
		return nil, err
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return nil, ErrExists
		}
		return nil, err
	}
	if err := os.Mkdir(filepath.Join(dir, ownDir), 0o755); err != nil {
		return nil, err
	}
	if err := writeSynced(filepath.Join(dir, titleFile), []byte(title)); err != nil {
		return nil, err
	}
	return &folder{home: h, name: name, dir: dir}, nil
}

// folder is one farm.
type folder struct {
	home      *Home
	name, dir string
}

func (f *folder) Name() string { return f.name }
func (f *folder) Dir() string  { return f.dir }

func (f *folder) Title() string {
	if b, err := f.TOML(); err == nil {
		if farm, faults := farm.Read(farmFile, b); len(faults) == 0 && farm.Name != "" {
			return farm.Name
		}
	}
	if b, err := os.ReadFile(filepath.Join(f.dir, titleFile)); err == nil {
		return string(b)
	}
	return f.name
}

func (f *folder) TOML() ([]byte, error) {
	b, err := os.ReadFile(filepath.Join(f.dir, farmFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotFound
	}
	return b, err
}

func (f *folder) SetTOML(before, after []byte) error {
	now, err := f.TOML()
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	if !bytes.Equal(now, before) {
		return ErrChanged
	}
	if now != nil {
		if err := os.MkdirAll(filepath.Join(f.dir, beforeDir), 0o755); err != nil {
			return err
		}
		name := "farm-" + f.home.now().Format("20060102-150405.000") + ".toml"
		if err := writeSynced(filepath.Join(f.dir, beforeDir, name), now); err != nil {
			return err
		}
	}
	return writeSynced(filepath.Join(f.dir, farmFile), after)
}

func (f *folder) Receive(name string, r io.Reader) (Waiting, error) {
	clean, err := cleanName(name, f.home.limits.NameRune)
	if err != nil {
		return Waiting{}, err
	}
	id := newID()
	dir := filepath.Join(f.dir, newDir, id)
	tmp := filepath.Join(f.dir, ownDir, "part-"+id)
	if err := os.MkdirAll(tmp, 0o755); err != nil {
		return Waiting{}, err
	}
	defer func() { _ = os.RemoveAll(tmp) }()
	file, err := os.Create(filepath.Join(tmp, content))
	if err != nil {
		return Waiting{}, err
	}
	hash := sha256.New()
	n, err := io.Copy(io.MultiWriter(file, hash), io.LimitReader(r, f.home.limits.FileB+1))
	err = errors.Join(err, file.Sync(), file.Close())
	if err != nil {
		return Waiting{}, err
	}
	if n > f.home.limits.FileB {
		return Waiting{}, ErrTooLarge
	}
	w := Waiting{ID: id, Name: clean, Given: name, SizeB: n, SHA256: hex.EncodeToString(hash.Sum(nil)), At: f.home.now()}
	about, err := json.Marshal(w)
	if err != nil {
		return Waiting{}, err
	}
	if err := writeSynced(filepath.Join(tmp, aboutFile), about); err != nil {
		return Waiting{}, err
	}
	if err := os.MkdirAll(filepath.Join(f.dir, newDir), 0o755); err != nil {
		return Waiting{}, err
	}
	return w, os.Rename(tmp, dir)
}

func (f *folder) Waiting() ([]Waiting, error) {
	entries, err := os.ReadDir(filepath.Join(f.dir, newDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var all []Waiting
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(f.dir, newDir, e.Name(), aboutFile))
		if err != nil {
			return nil, err
		}
		var w Waiting
		if err := json.Unmarshal(b, &w); err != nil {
			return nil, fmt.Errorf("%s: %w", e.Name(), err)
		}
		all = append(all, w)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].At.Before(all[j].At) })
	return all, nil
}

func (f *folder) waitingDir(id string) (string, error) {
	if len(id) != 16 || strings.Trim(id, "0123456789abcdef") != "" {
		return "", ErrNotFound
	}
	dir := filepath.Join(f.dir, newDir, id)
	if _, err := os.Lstat(dir); err != nil {
		return "", ErrNotFound
	}
	return dir, nil
}

func (f *folder) Content(id string) (string, error) {
	dir, err := f.waitingDir(id)
	return filepath.Join(dir, content), err
}

func (f *folder) Note(id string) ([]byte, error) {
	dir, err := f.waitingDir(id)
	if err != nil {
		return nil, err
	}
	b, err := os.ReadFile(filepath.Join(dir, noteFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return b, err
}

func (f *folder) SetNote(id string, note []byte) error {
	dir, err := f.waitingDir(id)
	if err != nil {
		return err
	}
	return writeSynced(filepath.Join(dir, noteFile), note)
}

func (f *folder) Drop(id string) error {
	dir, err := f.waitingDir(id)
	if err != nil {
		return err
	}
	return os.RemoveAll(dir)
}

func (f *folder) Keep(names map[string]string, before, after []byte) error {
	for id, name := range names {
		dir, err := f.waitingDir(id)
		if err != nil {
			return err
		}
		to := filepath.Join(f.dir, name)
		if _, err := os.Lstat(to); err == nil {
			return fmt.Errorf("%w: %s", ErrExists, name)
		}
		if err := os.Rename(filepath.Join(dir, content), to); err != nil {
			return err
		}
	}
	if err := f.SetTOML(before, after); err != nil {
		return err
	}
	for id := range names {
		if err := f.Drop(id); err != nil {
			return err
		}
	}
	return nil
}

func (f *folder) Reports() ([]Report, error) {
	entries, err := os.ReadDir(filepath.Join(f.dir, reportDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var all []Report
	for _, e := range entries {
		at, err := time.ParseInLocation(reportStamp, e.Name(), time.Local)
		if err == nil && e.IsDir() {
			all = append(all, Report{ID: e.Name(), Dir: filepath.Join(f.dir, reportDir, e.Name()), At: at})
		}
	}
	slices.Reverse(all)
	return all, nil
}

const reportStamp = "2006-01-02-150405"

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
	id := now.Local().Format(reportStamp)
	return Report{ID: id, Dir: filepath.Join(f.dir, reportDir, id), At: now}
}

func (f *folder) DropReport(id string) error {
	r, err := f.Report(id)
	if err != nil {
		return err
	}
	return os.RemoveAll(r.Dir)
}

func (f *folder) Logs() ([]Log, error) {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return nil, err
	}
	var all []Log
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || e.Name() == farmFile || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		all = append(all, Log{Name: e.Name(), SizeB: info.Size(), At: info.ModTime()})
	}
	return all, nil
}

func newID() string {
	b := make([]byte, 8)
	_, _ = rand.Read(b) // never fails (crypto/rand, Go 1.24 on)
	return hex.EncodeToString(b)
}

// cleanName makes of what a browser sends the name of a file or folder.
func cleanName(name string, longest int) (string, error) {
	name = strings.TrimSpace(filepath.Base(strings.ReplaceAll(name, `\`, "/")))
	if name == "" || name == "." || name == ".." || strings.HasPrefix(name, ".") || len([]rune(name)) > longest {
		return "", ErrName
	}
	return name, nil
}

// writeSynced writes a file beside its place, syncs it, and renames it.
func writeSynced(name string, b []byte) error {
	tmp, err := os.CreateTemp(filepath.Dir(name), ".part-")
	if err != nil {
		return err
	}
	_, err = tmp.Write(b)
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), name)
	}
	if err != nil {
		_ = os.Remove(tmp.Name())
	}
	return err
}
