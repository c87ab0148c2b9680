package farms

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
)

// keeping is the journal of a Keep: written before anything is moved, removed when
// all is done. A journal that is found was left by a stop in mid-work, and says
// all that is needed to go on, or back.
type keeping struct {
	Moves         []move
	HadTOML       bool
	Before, After []byte // of farm.toml
}

// move is a file that becomes a log.
type move struct {
	ID, Name string
	SizeB    int64
	SHA256   string
}

func (m move) from() string { return path.Join(newDir, m.ID, content) }

func (f *folder) Keep(names map[string]string, before, after []byte) error {
	return f.change(func(r *os.Root) error {
		k, err := f.planKeep(r, names, before, after)
		if err != nil {
			return err
		}
		b, err := json.Marshal(k)
		if err != nil {
			return err
		}
		if err := writeSynced(r, keepFile, b); err != nil {
			return err
		}
		if err := f.forward(r, k); err != nil {
			return errors.Join(err, f.back(r, k))
		}
		for _, m := range k.Moves {
			f.st.forget(1, m.SizeB)
		}
		return nil
	})
}

// planKeep refuses what cannot be done, before anything is touched.
func (f *folder) planKeep(r *os.Root, names map[string]string, before, after []byte) (*keeping, error) {
	now, err := f.unchanged(r, before)
	if err != nil {
		return nil, err
	}
	taken, err := takenNames(r)
	if err != nil {
		return nil, err
	}
	k := &keeping{HadTOML: now != nil, Before: now, After: after}
	for id, name := range names {
		if _, err := waitingDir(r, id); err != nil {
			return nil, err
		}
		if err := checkLogName(name, f.home.limits.NameRune); err != nil {
			return nil, err
		}
		if taken[foldName(name)] {
			return nil, fmt.Errorf("%w: %s", ErrExists, name)
		}
		taken[foldName(name)] = true
		w, _ := waitingOne(r, id)
		k.Moves = append(k.Moves, move{ID: id, Name: name, SizeB: w.SizeB, SHA256: w.SHA256})
	}
	slices.SortFunc(k.Moves, func(a, b move) int { return strings.Compare(a.ID, b.ID) })
	return k, nil
}

// forward does what the journal says, from wherever it was left.
func (f *folder) forward(r *os.Root, k *keeping) error {
	for _, m := range k.Moves {
		if _, err := r.Lstat(m.from()); errors.Is(err, fs.ErrNotExist) {
			continue // moved before the stop; possible has looked
		}
		if sameFile(r, m.from(), m.Name) {
			if err := r.Remove(m.from()); err != nil {
				return err
			}
			continue
		}
		if err := moveNew(r, m.from(), m.Name); err != nil {
			return err
		}
	}
	if err := syncDir(r, "."); err != nil {
		return err
	}
	if now, err := tomlOf(r); err != nil || !bytes.Equal(now, k.After) {
		if err := f.setTOML(r, k.before(), k.After); err != nil {
			return err
		}
	}
	return f.settleKeep(r, k)
}

// before is farm.toml as it was; nil where there was none.
func (k *keeping) before() []byte {
	if k.HadTOML && k.Before == nil {
		return []byte{}
	}
	return k.Before
}

// settleKeep removes the empty folders of what waited, and then the journal.
// From here on an error changes nothing any more: the next start repeats it.
func (f *folder) settleKeep(r *os.Root, k *keeping) error {
	for _, m := range k.Moves {
		if _, err := r.Lstat(path.Join(newDir, m.ID)); err == nil {
			_ = remove(r, path.Join(newDir, m.ID))
		}
	}
	_ = syncDir(r, newDir)
	_ = r.Remove(keepFile)
	_ = syncDir(r, ownDir)
	return nil
}

// back undoes what was moved. farm.toml comes last in forward, and need not be.
func (f *folder) back(r *os.Root, k *keeping) error {
	for _, m := range k.Moves {
		_, err := r.Lstat(m.from())
		switch {
		case err == nil && sameFile(r, m.from(), m.Name):
			if err := r.Remove(m.Name); err != nil {
				return err
			}
		case errors.Is(err, fs.ErrNotExist) && m.standsAt(r, m.Name):
			if err := r.Rename(m.Name, m.from()); err != nil {
				return err
			}
		}
	}
	if err := errors.Join(syncDir(r, "."), syncDir(r, newDir), r.Remove(keepFile)); err != nil {
		return err
	}
	return syncDir(r, ownDir)
}

// finishKeep takes up a journal that was left: it goes on where that is still
// possible, and back where somebody has meanwhile changed farm.toml or taken one of
// the names.
func (f *folder) finishKeep(r *os.Root) error {
	b, err := readFile(r, keepFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var k keeping
	if err := json.Unmarshal(b, &k); err != nil {
		return fmt.Errorf("%s: %w", keepFile, err)
	}
	for _, m := range k.Moves {
		if !isID(m.ID) || checkLogName(m.Name, nameB) != nil {
			return fmt.Errorf("%s: %w: %q", keepFile, ErrName, m.Name)
		}
	}
	if k.possible(r) {
		return f.forward(r, &k)
	}
	return f.back(r, &k)
}

// possible: farm.toml is as before or as after, and each file is where it was or
// where it is to go.
func (k *keeping) possible(r *os.Root) bool {
	now, err := tomlOf(r)
	absent := errors.Is(err, ErrNotFound)
	if err != nil && !absent {
		return false
	}
	if !bytes.Equal(now, k.After) && (!bytes.Equal(now, k.Before) || absent == k.HadTOML) {
		return false
	}
	for _, m := range k.Moves {
		_, there := r.Lstat(m.Name)
		_, here := r.Lstat(m.from())
		switch {
		case here == nil && errors.Is(there, fs.ErrNotExist):
		case here == nil && sameFile(r, m.from(), m.Name):
		case errors.Is(here, fs.ErrNotExist) && m.standsAt(r, m.Name):
		default:
			return false
		}
	}
	return true
}

func sameFile(r *os.Root, a, b string) bool {
	x, errA := r.Lstat(a)
	y, errB := r.Lstat(b)
	return errA == nil && errB == nil && os.SameFile(x, y)
}

// standsAt: the file there is the one that was received, byte for byte.
func (m move) standsAt(r *os.Root, name string) bool {
	info, err := r.Lstat(name)
	if err != nil || !info.Mode().IsRegular() || info.Size() != m.SizeB {
		return false
	}
	file, err := r.Open(name)
	if err != nil {
		return false
	}
	hash := sha256.New()
	_, err = io.Copy(hash, file)
	return errors.Join(err, file.Close()) == nil && hex.EncodeToString(hash.Sum(nil)) == m.SHA256
}
