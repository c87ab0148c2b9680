package farms

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path"
)

// Receive takes a file in. It streams without holding the farm up; only the last
// step, in which the folder gets its place, is done alone.
func (f *folder) Receive(name string, from io.Reader) (w Waiting, err error) {
	clean, err := cleanName(name, f.home.limits.NameRune)
	if err != nil {
		return Waiting{}, err
	}
	r, err := f.open()
	if err != nil {
		return Waiting{}, err
	}
	defer func() { _ = r.Close() }() // what was written has been synced
	c, err := f.reserve(r)
	if err != nil {
		return Waiting{}, err
	}
	defer func() { c.settle(err == nil) }()
	id := newID()
	part := path.Join(ownDir, partPrefix+id)
	if err := errors.Join(noLinks(r, newDir), r.MkdirAll(part, 0o755)); err != nil {
		return Waiting{}, plainError(err)
	}
	defer func() {
		if err != nil {
			_ = r.RemoveAll(part) // else the next start does
			err = plainError(err)
		}
	}()
	w = Waiting{ID: id, Name: clean, Given: name, At: f.home.now()}
	if w.SizeB, w.SHA256, err = stream(r, path.Join(part, content), from, c); err != nil {
		return Waiting{}, err
	}
	about, err := json.Marshal(w)
	if err != nil {
		return Waiting{}, err
	}
	if err := errors.Join(writeSynced(r, path.Join(part, aboutFile), about), syncDir(r, part)); err != nil {
		return Waiting{}, err
	}
	f.st.mu.Lock()
	err = errors.Join(r.MkdirAll(newDir, 0o755), r.Rename(part, path.Join(newDir, id)))
	f.st.mu.Unlock()
	if err != nil {
		return Waiting{}, err
	}
	if err := errors.Join(syncDir(r, newDir), syncDir(r, ownDir)); err != nil {
		return Waiting{}, errors.Join(err, r.RemoveAll(path.Join(newDir, id)))
	}
	return w, nil
}

// stream writes the content, as long as c lets it.
func stream(r *os.Root, name string, from io.Reader, c *counted) (sizeB int64, sum string, err error) {
	file, err := r.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return 0, "", err
	}
	hash := sha256.New()
	sizeB, err = io.CopyBuffer(io.MultiWriter(c, file, hash), struct{ io.Reader }{from}, make([]byte, 64<<10))
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return 0, "", err
	}
	return sizeB, hex.EncodeToString(hash.Sum(nil)), nil
}

// counted is a file that streams in, held against the limits.
type counted struct {
	st     *state
	limits Limits
	sizeB  int64
}

// reserve counts one more file, if the limits let it in.
func (f *folder) reserve(r *os.Root) (*counted, error) {
	st := f.st
	st.mu.RLock() // not while files become logs
	defer st.mu.RUnlock()
	st.count.Lock()
	defer st.count.Unlock()
	if st.streaming == 0 {
		all, err := waiting(r) // counted anew: somebody may have removed some by hand
		if err != nil {
			return nil, err
		}
		st.files, st.sizeB = len(all), 0
		for _, w := range all {
			st.sizeB += w.SizeB
		}
	}
	if st.files >= f.home.limits.Files {
		return nil, ErrTooMany
	}
	st.files++
	st.streaming++
	return &counted{st: st, limits: f.home.limits}, nil
}

// Write counts what is about to be written, and refuses what is too much.
func (c *counted) Write(b []byte) (int, error) {
	n := int64(len(b))
	if c.sizeB += n; c.sizeB > c.limits.FileB {
		c.sizeB -= n
		return 0, ErrTooLarge
	}
	c.st.count.Lock()
	defer c.st.count.Unlock()
	if c.st.sizeB+n > c.limits.TotalB {
		c.sizeB -= n
		return 0, ErrTooMany
	}
	c.st.sizeB += n
	return len(b), nil
}

// settle ends the counting; what was not kept is taken off.
func (c *counted) settle(kept bool) {
	c.st.count.Lock()
	defer c.st.count.Unlock()
	c.st.streaming--
	if !kept {
		c.st.files--
		c.st.sizeB -= c.sizeB
	}
}

// forget takes files off that wait no more.
func (st *state) forget(files int, sizeB int64) {
	st.count.Lock()
	defer st.count.Unlock()
	st.files -= files
	st.sizeB -= sizeB
}
