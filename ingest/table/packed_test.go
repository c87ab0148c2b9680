package table

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"
	"testing"
)

// zipped packs files, each a name and its bytes.
func zipped(t testing.TB, files ...string) []byte {
	t.Helper()
	var buf bytes.Buffer
	zw := zip.NewWriter(&buf)
	for i := 0; i < len(files); i += 2 {
		w, err := zw.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(files[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// Exports read the same packed and plain; their hash is the outer file's.
func TestPackedExports(t *testing.T) {
	text := seasonText(40, ";", ",")
	book := string(seasonBook(t, 40))
	var gz bytes.Buffer
	w := gzip.NewWriter(&gz)
	if _, err := w.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	several := zipped(t, "yard.csv", text, "notes/readme.txt", "made by nobody\n", "tank.xlsx", book, "empty.csv", "")
	for name, c := range map[string]struct {
		data  []byte
		files string
		codes string
	}{
		"yard.csv.gz":  {gz.Bytes(), "yard.csv.gz", ""},
		"exports.zip":  {several, "exports.zip/yard.csv | exports.zip/tank.xlsx", "member-passed-over member-passed-over"},
		"one.zip":      {zipped(t, "yard.csv", text), "one.zip/yard.csv", ""},
		"tank.xlsx.gz": {[]byte(book), "tank.xlsx.gz", ""},
	} {
		t.Run(name, func(t *testing.T) {
			tables := mustRead(t, name, c.data, Options{})
			var files []string
			sum := sha256.Sum256(c.data)
			for _, tb := range tables {
				files = append(files, tb.File)
				checkSeason(t, []*Table{tb}, 40)
				same(t, "hash", hex.EncodeToString(sum[:]), tb.SHA256)
				same(t, "size", int64(len(c.data)), tb.SizeB)
			}
			same(t, "files", c.files, joined(files))
			same(t, "problems", c.codes, codesOf(tables[0].Problems))
		})
	}
}

// A damaged member is an error that names it, never passed over.
func TestPackedDamage(t *testing.T) {
	text, book := seasonText(40, ";", ","), string(seasonBook(t, 40))
	for word, data := range map[string][]byte{
		"exports.zip/tank.xlsx": zipped(t, "yard.csv", text, "tank.xlsx", book[:len(book)/3]),
		"exports.zip/in.zip":    zipped(t, "yard.csv", text, "in.zip", string(zipped(t, "a.csv", text))),
		"exports.zip/tank.csv":  zipped(t, "tank.csv", text)[:200],
		"no readings":           zipped(t, "a.txt", "", "b.txt", ""),
	} {
		_, err := ReadBytes("exports.zip", data, Options{})
		var e *Error
		if !errors.As(err, &e) || e.Do == "" || word != "no readings" && !strings.Contains(err.Error(), word) {
			t.Errorf("want an error with %q that says what to do, got %v", word, err)
		}
	}
}

func FuzzPacked(f *testing.F) {
	f.Add(zipped(f, "yard.csv", seasonText(3, ";", ","), "tank.xlsx", string(seasonBook(f, 3))))
	f.Add([]byte("\x1f\x8b"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tables, err := ReadBytes("fuzz.zip", data, Options{})
		checkWhole(t, tables, err)
	})
}
