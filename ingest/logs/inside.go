package logs

import (
	"errors"
	"io/fs"
	"os"
	"path"
	"strings"

	"yardheat/ingest/table"
)

// Files of the farm folder are opened here: never one outside of it, through
// whatever link, and never what is no plain file. A pipe would hang whoever
// opens it, a device has no end.

// errNotPlain: a pipe, a device, a socket.
var errNotPlain = errors.New("no plain file")

// errFolder is a folder where a file was expected.
var errFolder = errors.New("a folder")

// open opens a plain file of the farm folder.
func open(root *os.Root, name string) (*os.File, error) {
	info, err := root.Stat(name)
	if err == nil {
		err = isPlain(info)
	}
	if err != nil {
		return nil, err
	}
	f, err := root.Open(name)
	if err != nil {
		return nil, err
	}
	if info, err = f.Stat(); err == nil { // it may be another by now
		err = isPlain(info)
	}
	if err != nil {
		_ = f.Close() // read only
		return nil, err
	}
	return f, nil
}

func isPlain(info fs.FileInfo) error {
	switch {
	case info.IsDir():
		return errFolder
	case !info.Mode().IsRegular():
		return errNotPlain
	}
	return nil
}

// linkOut gives the part of a name that is a link which leads out of the farm
// folder, the file itself or a folder above it; "" where none does.
func linkOut(root *os.Root, name string) string {
	parts := strings.Split(path.Clean(name), "/")
	for i := range parts {
		at := path.Join(parts[:i+1]...)
		info, err := root.Lstat(at)
		if err != nil {
			return ""
		}
		if info.Mode()&fs.ModeSymlink == 0 {
			continue
		}
		if _, err := root.Stat(at); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return at
		}
	}
	return ""
}

// cannotOpen says why a file of the farm folder is not read, and what to do.
func cannotOpen(root *os.Root, name string, err error) *table.Error {
	e := &table.Error{File: name, Want: "a file in the farm folder", Err: err}
	link := linkOut(root, name)
	var p *fs.PathError
	switch {
	case link == name:
		e.Got, e.Do = gotLink, doLink
	case link != "":
		e.Got, e.Do = "a file below "+link+", a link that leads out of the farm folder", "copy the folder itself into the farm folder"
	case errors.Is(err, errNotPlain):
		e.Got, e.Do = gotNotPlain, doNotPlain
	case errors.Is(err, errFolder):
		e.Got, e.Do = "a folder", "name a file"
	default:
		if errors.As(err, &p) {
			err = p.Err
		}
		e.Got, e.Want, e.Do = "a file that cannot be opened ("+err.Error()+")", "a readable file", "check its rights and whether another program holds it open"
	}
	return e
}

// The words for what is not read.
const (
	gotLink     = "a link that leads out of the farm folder"
	doLink      = "copy the file itself into the folder"
	gotNotPlain = "no plain file but a pipe, a device or a socket"
	doNotPlain  = "take it out of the farm folder, or name the logs so that it is not among them"
)

// refused is the fault of a file that the patterns name and that is not read.
func refused(root *os.Root, name string) (got, do string, is bool) {
	if link := linkOut(root, name); link != "" {
		e := cannotOpen(root, name, nil)
		return e.Got, e.Do, true
	}
	if info, err := root.Stat(name); err == nil && errors.Is(isPlain(info), errNotPlain) {
		return gotNotPlain, doNotPlain, true
	}
	return "", "", false
}

// folders is a farm folder in which only folders are listed: to list what turns
// out to be a pipe would wait for who writes it.
type folders struct{ root *os.Root }

// Open opens plain files and folders.
func (f folders) Open(name string) (fs.File, error) {
	if info, err := f.root.Stat(name); err != nil || errors.Is(isPlain(info), errNotPlain) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return f.root.FS().Open(name)
}

// Stat opens nothing.
func (f folders) Stat(name string) (fs.FileInfo, error) { return f.root.Stat(name) }

// ReadDir lists a folder.
func (f folders) ReadDir(name string) ([]fs.DirEntry, error) {
	info, err := f.root.Stat(name)
	if err == nil && !info.IsDir() {
		err = fs.ErrNotExist
	}
	if err != nil {
		return nil, &fs.PathError{Op: "list", Path: name, Err: err}
	}
	return fs.ReadDir(f.root.FS(), name)
}
