package farms

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
)

// noLinks refuses a path in which a link stands, or a file where a folder belongs.
// What is not there is no link. os.Root keeps every access inside the farm anyway;
// this keeps a link within the farm from standing for one of our own folders.
func noLinks(r *os.Root, name string) error {
	parts := strings.Split(name, "/")
	for i := range parts {
		at := path.Join(parts[:i+1]...)
		info, err := r.Lstat(at)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		if info.IsDir() || info.Mode().IsRegular() && i == len(parts)-1 {
			continue
		}
		return fmt.Errorf("%w: %s in %s", ErrLink, at, r.Name())
	}
	return nil
}

// NoLinks refuses a place below dir that a link leads to.
func NoLinks(dir, place string) error {
	rel, err := filepath.Rel(dir, place)
	if err != nil || !filepath.IsLocal(rel) {
		return fmt.Errorf("%w: %s is not in %s", ErrLink, place, dir)
	}
	r, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }() // read only
	return noLinks(r, filepath.ToSlash(rel))
}

func isReal(r *os.Root, name string, dir bool) bool {
	info, err := r.Lstat(name)
	return err == nil && (dir && info.IsDir() || !dir && info.Mode().IsRegular())
}

// readFile reads a file that no link leads to.
func readFile(r *os.Root, name string) ([]byte, error) {
	if err := noLinks(r, name); err != nil {
		return nil, err
	}
	return r.ReadFile(name)
}

// readDir lists a folder that no link leads to; none where there is none.
func readDir(r *os.Root, name string) ([]fs.DirEntry, error) {
	if err := noLinks(r, name); err != nil {
		return nil, err
	}
	d, err := r.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	entries, err := d.ReadDir(-1)
	return entries, errors.Join(err, d.Close())
}

// syncDir makes the names in a folder last through a power cut. Windows has no
// such call, and does it by itself.
func syncDir(r *os.Root, name string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := r.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// writeSynced writes a file beside the farm's own, syncs it, and puts it in its
// place by a rename; it is there with all of b, or as it was before.
func writeSynced(r *os.Root, name string, b []byte) error {
	if err := noLinks(r, name); err != nil {
		return err
	}
	mode := fs.FileMode(0o644)
	if info, err := r.Lstat(name); err == nil {
		mode = info.Mode().Perm()
	}
	tmp := path.Join(ownDir, partPrefix+newID())
	f, err := r.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return plainError(err)
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = r.Rename(tmp, name)
	}
	if err != nil {
		_ = r.Remove(tmp)
		return plainError(err)
	}
	return syncDir(r, path.Dir(name))
}

// moveNew moves a file to a name that must be free: by a second name where the
// file system knows that, so that nothing is ever written over.
func moveNew(r *os.Root, from, to string) error {
	err := r.Link(from, to)
	switch {
	case err == nil:
		return r.Remove(from)
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%w: %s", ErrExists, to)
	case errors.Is(err, fs.ErrNotExist):
		return err
	}
	if _, err := r.Lstat(to); err == nil {
		return fmt.Errorf("%w: %s", ErrExists, to)
	}
	return r.Rename(from, to)
}

// Errors of Windows for a full disk (Microsoft, system error codes).
const (
	winHandleDiskFull = syscall.Errno(39)
	winDiskFull       = syscall.Errno(112)
)

// plainError says in plain words what a disk says by number.
func plainError(err error) error {
	var no syscall.Errno
	full := errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) ||
		runtime.GOOS == "windows" && errors.As(err, &no) && (no == winDiskFull || no == winHandleDiskFull)
	if full {
		return fmt.Errorf("%w: make room and give the file again (%w)", ErrFull, err)
	}
	return err
}
