package farms

import (
	"bytes"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("no small disk can be made here: %v", err)
	}
	defer func() { require.NoError(t, syscall.Unmount(dir, 0)) }()
	h, err := Open(filepath.Join(dir, "farms"), DefaultLimits(), clock)
	require.NoError(t, err)
	f, err := h.New("Upper Farm")
	require.NoError(t, err)
	before := files(t, f.Dir())
	_, err = f.Receive("big.csv", bytes.NewReader(make([]byte, 2<<20)))
	require.ErrorIs(t, err, ErrFull)
	require.Equal(t, before, files(t, f.Dir()), "something was left")
	_, err = f.Receive("small.csv", strings.NewReader("x"))
	require.NoError(t, err)
	require.NoError(t, h.Close())
}
