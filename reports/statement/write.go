package statement

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// mark tells a statement of ours.
const mark = `<meta name="generator" content="yardheat claim"/>`

// markWithin: it stands in the first bytes of the file.
const markWithin = 512

// NotOurs: a file stands where the statement was to go, and it is none.
type NotOurs struct{ Path string }

func (e *NotOurs) Error() string {
	return fmt.Sprintf("%s is not a statement of ours and is left alone; name another file", e.Path)
}

// CheckOut says whether a statement may be written to path: where nothing stands,
// or an earlier statement.
func CheckOut(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look at %s: %w", path, err)
	}
	if !info.Mode().IsRegular() {
		return &NotOurs{path}
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("look at %s: %w", path, err)
	}
	head := make([]byte, markWithin)
	n, _ := f.Read(head)
	if err := f.Close(); err != nil {
		return fmt.Errorf("look at %s: %w", path, err)
	}
	if !bytes.Contains(head[:n], []byte(mark)) {
		return &NotOurs{path}
	}
	return nil
}

// Write puts a statement at path, whole or not at all: it is written beside it,
// synced and renamed.
func Write(path string, html []byte) (err error) {
	if err := CheckOut(path); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".yardheat-statement-*")
	if err != nil {
		return fmt.Errorf("write the statement: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("write the statement: %w", err), os.Remove(f.Name()))
		}
	}()
	_, err = f.Write(html)
	if err = errors.Join(err, f.Sync(), f.Chmod(0o644), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
