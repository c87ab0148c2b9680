package farms

import (
	"errors"
	"io"
	"os"
	"path/filepath"
)

// Hold is the right of one program to open the page for a folder.
type Hold struct{ file *os.File }

const holdFile = ownDir + "/page"

// Take takes the folder, which is made where it is absent. Where another program
// has it the error is ErrBusy, and said is what that one wrote.
func Take(dir string) (h *Hold, said string, err error) {
	if err := os.MkdirAll(filepath.Join(dir, ownDir), 0o755); err != nil {
		return nil, "", err
	}
	place := filepath.Join(dir, filepath.FromSlash(holdFile))
	if err := NoLinks(dir, place); err != nil {
		return nil, "", err
	}
	f, err := lockFile(place)
	if errors.Is(err, ErrBusy) {
		b, readErr := os.ReadFile(place)
		if readErr != nil {
			b = nil // it will then be said without
		}
		return nil, string(b), ErrBusy
	}
	if err != nil {
		return nil, "", err
	}
	return &Hold{file: f}, "", nil
}

// Say writes what the next one that asks is told.
func (h *Hold) Say(text string) error {
	if err := h.file.Truncate(0); err != nil {
		return err
	}
	if _, err := h.file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	_, err := h.file.WriteString(text)
	return err
}

// Leave gives the folder free.
func (h *Hold) Leave() error { return errors.Join(h.file.Truncate(0), h.file.Close()) }
