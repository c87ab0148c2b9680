package farms

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"
)

const (
	farmFile    = "farm.toml"
	ownDir      = ".yardheat"
	newDir      = ownDir + "/new"
	beforeDir   = ownDir + "/before"
	bundleDir   = ownDir + "/bundles" // of reports, where the page has them made
	titleFile   = ownDir + "/title"
	lockName    = ownDir + "/lock"
	keepFile    = ownDir + "/keep.json"
	partPrefix  = "part-" // of what is not whole yet
	dropPrefix  = "drop-" // of what is being removed
	reportDir   = "reports"
	startReport = "report" // where `yardheat report` writes by itself
	content     = "content"
	aboutFile   = "about.json"
	noteFile    = "note"
)

// Home is a folder of farms, or one farm. Its methods, and those of its farms, may
// be called from any goroutine.
type Home struct {
	dir    string
	one    bool
	limits Limits
	now    func() time.Time

	mu     sync.Mutex
	states map[string]*state
}

// state is what one program knows of a farm it works on.
type state struct {
	// mu is held for writing while something changes place, and not while a file
	// streams in.
	mu    sync.RWMutex
	ready bool
	lock  *os.File

	// What waits, and what streams in: counted so that many at once keep the limits.
	count     sync.Mutex
	streaming int
	files     int
	sizeB     int64
}

// Open is the store in dir; where dir holds a farm.toml, or is a farm that the page
// began, it is the one farm. Nothing is made.
func Open(dir string, limits Limits, now func() time.Time) (*Home, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	h := &Home{dir: abs, limits: limits, now: now, states: map[string]*state{}}
	for _, mark := range []string{farmFile, titleFile} {
		if info, err := os.Lstat(filepath.Join(abs, filepath.FromSlash(mark))); err == nil && !info.IsDir() {
			h.one = true
		}
	}
	return h, nil
}

// Close gives the farms free for other programs.
func (h *Home) Close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	var errs []error
	for _, st := range h.states {
		st.mu.Lock()
		if st.lock != nil {
			errs = append(errs, st.lock.Close())
		}
		st.lock, st.ready = nil, false
		st.mu.Unlock()
	}
	return errors.Join(errs...)
}

// Dir is the folder; One says whether it is itself the farm.
func (h *Home) Dir() string { return h.dir }

// One says whether the folder is itself the one farm.
func (h *Home) One() bool { return h.one }

// List names the farms. A link to a folder is none.
func (h *Home) List() ([]string, error) {
	if h.one {
		name := filepath.Base(h.dir)
		if strings.Trim(name, `/\.:`) == "" {
			name = "farm"
		}
		return []string{name}, nil
	}
	r, err := os.OpenRoot(h.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.Close() }() // read only
	entries, err := readDir(r, ".")
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() && !strings.HasPrefix(name, ".") && isFarm(r, name) {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	return names, nil
}

func isFarm(r *os.Root, name string) bool {
	return isReal(r, name+"/"+farmFile, false) || isReal(r, name+"/"+ownDir, true) && isReal(r, name+"/"+titleFile, false)
}

// Find gives one of the farms listed, or ErrNotFound; ErrBusy where another
// program's page works on it.
func (h *Home) Find(name string) (Farm, error) {
	names, err := h.List()
	if err != nil {
		return nil, err
	}
	if !slices.Contains(names, name) {
		return nil, ErrNotFound
	}
	f := h.folder(name)
	if err := f.prepare(); err != nil {
		return nil, err
	}
	return f, nil
}

func (h *Home) folder(name string) *folder {
	h.mu.Lock()
	defer h.mu.Unlock()
	st := h.states[name]
	if st == nil {
		st = &state{}
		h.states[name] = st
	}
	dir := filepath.Join(h.dir, name)
	if h.one {
		dir = h.dir
	}
	return &folder{home: h, st: st, name: name, dir: dir}
}

// New makes a farm's folder.
func (h *Home) New(title string) (Farm, error) {
	title = strings.TrimSpace(strings.ToValidUTF8(title, "_"))
	name, err := cleanName(strings.NewReplacer("/", "_", `\`, "_").Replace(title), h.limits.NameRune)
	if err != nil {
		return nil, err
	}
	if h.one {
		return nil, ErrName
	}
	if err := os.MkdirAll(h.dir, 0o755); err != nil {
		return nil, plainError(err)
	}
	r, err := os.OpenRoot(h.dir)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.Close() }() // what was written has been synced
	h.mu.Lock()
	err = makeFarm(r, name, title)
	h.mu.Unlock()
	if err != nil {
		return nil, err
	}
	f := h.folder(name)
	return f, f.prepare()
}

// makeFarm makes the folder under another name and gives it its own when it is
// whole.
func makeFarm(r *os.Root, name, title string) (err error) {
	entries, err := readDir(r, ".")
	if err != nil {
		return err
	}
	for _, e := range entries {
		if foldName(e.Name()) == foldName(name) {
			return ErrExists
		}
	}
	tmp := ownDir + "-" + newID()
	defer func() {
		if err != nil {
			_ = r.RemoveAll(tmp)
			err = plainError(err)
		}
	}()
	if err := r.MkdirAll(tmp+"/"+ownDir, 0o755); err != nil {
		return err
	}
	in, err := r.OpenRoot(tmp)
	if err != nil {
		return err
	}
	if err := errors.Join(writeSynced(in, titleFile, []byte(title)), syncDir(in, "."), in.Close()); err != nil {
		return err
	}
	if err := r.Rename(tmp, name); err != nil {
		return err
	}
	return syncDir(r, ".")
}

func newID() string {
	b := make([]byte, 8)
	_, _ = rand.Read(b) // never fails (crypto/rand, Go 1.24 on)
	return hex.EncodeToString(b)
}

func isID(id string) bool { return len(id) == 16 && strings.Trim(id, "0123456789abcdef") == "" }
