package farms

import (
	"errors"
	"os"
	"syscall"
)

// Error of Windows for a file that another program holds so (Microsoft, system
// error codes).
const sharingViolation = syscall.Errno(32)

// lockFile opens a file that no other program may then open for writing. Windows
// lets go of it with the process, however that ends.
func lockFile(path string) (*os.File, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, err
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, syscall.FILE_SHARE_READ, nil,
		syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if errors.Is(err, sharingViolation) {
		return nil, ErrBusy
	}
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	return os.NewFile(uintptr(h), path), nil
}
