//go:build unix && !solaris && !aix

package farms

import (
	"errors"
	"os"
	"syscall"
)

// lockFile opens a file and locks it. The lock goes with the process, however that
// ends. A file system without locks counts as free.
func lockFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); errors.Is(err, syscall.EWOULDBLOCK) {
		_ = f.Close()
		return nil, ErrBusy
	}
	return f, nil
}
