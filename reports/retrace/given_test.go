package retrace

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/pack"
)

// archive makes a zip of entries with a mode each.
func archive(t *testing.T, fill func(z *zip.Writer)) string {
	t.Helper()
	at := filepath.Join(t.TempDir(), "in.zip")
	f, err := os.Create(at)
	require.NoError(t, err)
	z := zip.NewWriter(f)
	fill(z)
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
	return at
}

func entry(t *testing.T, z *zip.Writer, name string, mode fs.FileMode, b []byte) {
	t.Helper()
	h := &zip.FileHeader{Name: name, Method: zip.Deflate}
	h.SetMode(mode)
	w, err := z.CreateHeader(h)
	require.NoError(t, err)
	_, err = w.Write(b)
	require.NoError(t, err)
}

func TestOpenRefusesWhatMustNotBeUnpacked(t *testing.T) {
	for _, c := range []struct {
		name string
		mode fs.FileMode
		b    []byte
		why  string
	}{
		{"../x", 0o644, nil, "inside the bundle"}, {"/x", 0o644, nil, "inside the bundle"}, {"farm/../../x", 0o644, nil, "inside the bundle"},
		{"farm/../x", 0o644, nil, "inside the bundle"}, {`farm\x`, 0o644, nil, "inside the bundle"}, {"C:x", 0o644, nil, "inside the bundle"},
		{"farm//x", 0o644, nil, "inside the bundle"}, {"farm/./x", 0o644, nil, "inside the bundle"}, {"a\x00b", 0o644, nil, "inside the bundle"},
		{"farm/link", 0o777 | fs.ModeSymlink, []byte("/etc/passwd"), "no plain file"}, {"farm/pipe", 0o644 | fs.ModeNamedPipe, nil, "no plain file"},
		{"farm/bomb", 0o644, make([]byte, smallB+1), "times its size"},
	} {
		at := archive(t, func(z *zip.Writer) {
			entry(t, z, "farm/farm.toml", 0o644, []byte("x"))
			entry(t, z, c.name, c.mode, c.b)
		})
		g, err := Open(at)
		require.Nil(t, g, c.name)
		var bad *BadBundle
		require.ErrorAs(t, err, &bad, c.name)
		require.Equal(t, c.name, bad.Name)
		require.ErrorContains(t, err, c.why, c.name)
	}
	many := archive(t, func(z *zip.Writer) {
		for i := range pack.MaxParts + 1 {
			_, err := z.Create(fmt.Sprintf("farm/%d", i))
			require.NoError(t, err)
		}
	})
	_, err := Open(many)
	require.ErrorContains(t, err, "at most 10000 are unpacked")
}

func TestOpenUnpacksAndRemoves(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	at := archive(t, func(z *zip.Writer) {
		_, err := z.Create("farm/")
		require.NoError(t, err)
		entry(t, z, "farm/deep/log.csv", 0o644, bytes.Repeat([]byte("a,b\n"), 1000))
		entry(t, z, "report/results.json", 0o644, []byte("{}"))
	})
	g, err := Open(at)
	require.NoError(t, err)
	require.True(t, g.Bundle)
	require.Empty(t, g.Damaged)
	require.FileExists(t, filepath.Join(g.Farm, "deep", "log.csv"))
	require.FileExists(t, filepath.Join(g.Report, "results.json"))
	require.NoError(t, g.Close())
	left, err := os.ReadDir(temp)
	require.NoError(t, err)
	require.Empty(t, left)
}
