package web

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"io"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/ingest/look"
)

// TestBombs uploads small files that unpack to gigabytes, and looks at them as the
// page does: refused, with little memory.
func TestBombs(t *testing.T) {
	if testing.Short() {
		t.Skip("packs 1.3 GB")
	}
	g := newRig(t, nil, farms.DefaultLimits())
	for name, bomb := range map[string][]byte{"bomb.csv.gz": gzipBomb(t), "bomb.zip": zipBomb(t, "yard.csv"), "bomb.xlsx": bookBomb(t)} {
		require.Less(t, len(bomb), 4<<20)
		_, a := g.upload(uploadPath, file{name, string(bomb)})
		require.Empty(t, a.Files[0].Error)
		f, err := g.s.opt.Store.Find("Hof")
		require.NoError(t, err)
		path, err := f.Content(a.Files[0].ID)
		require.NoError(t, err)
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		peak := peakHeap()
		start := time.Now()
		_, err = look.Bytes(name, b, look.Options{Now: time.Now()})
		grownB := peak()
		require.Error(t, err, name)
		t.Logf("%s: %v; heap grew by %d MB at most, in %v", name, err, grownB>>20, time.Since(start).Round(time.Millisecond))
		require.Less(t, grownB, int64(256<<20), name)
	}
}

const bombB = 450 << 20 // more than the reader ever unpacks into memory

func pour(t *testing.T, w io.Writer) {
	t.Helper()
	block := make([]byte, 1<<20)
	for range bombB >> 20 {
		_, err := w.Write(block)
		require.NoError(t, err)
	}
}

func gzipBomb(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	require.NoError(t, err)
	pour(t, w)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func zipBomb(t *testing.T, name string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := fastZip(&b)
	w, err := z.Create(name)
	require.NoError(t, err)
	pour(t, w)
	require.NoError(t, z.Close())
	return b.Bytes()
}

func fastZip(b *bytes.Buffer) *zip.Writer {
	z := zip.NewWriter(b)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestSpeed) })
	return z
}

// bookBomb is a workbook as office programs write it, but for its sheet.
func bookBomb(t *testing.T) []byte {
	t.Helper()
	book := excelize.NewFile()
	require.NoError(t, book.SetCellValue("Sheet1", "A1", 1))
	plain, err := book.WriteToBuffer()
	require.NoError(t, err)
	from, err := zip.NewReader(bytes.NewReader(plain.Bytes()), int64(plain.Len()))
	require.NoError(t, err)
	var b bytes.Buffer
	z := fastZip(&b)
	for _, f := range from.File {
		if f.Name != "xl/worksheets/sheet1.xml" {
			require.NoError(t, z.Copy(f))
			continue
		}
		w, err := z.Create(f.Name)
		require.NoError(t, err)
		_, err = io.WriteString(w, `<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`)
		require.NoError(t, err)
		row := bytes.Repeat([]byte(`<row><c><v>1</v></c></row>`), 40_000)
		for n := 0; n < bombB; n += len(row) {
			_, err = w.Write(row)
			require.NoError(t, err)
		}
		_, err = io.WriteString(w, `</sheetData></worksheet>`)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}
