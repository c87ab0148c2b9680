package pack

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
)

type file struct{ name, text string }

// zipOf packs files with the standard library's writer.
func zipOf(t testing.TB, files ...file) []byte {
	t.Helper()
	var buf bytes.Buffer
	zw := zip.NewWriter(&buf)
	for _, f := range files {
		w, err := zw.Create(f.name)
		must(t, err)
		_, err = io.WriteString(w, f.text)
		must(t, err)
	}
	must(t, zw.Close())
	return buf.Bytes()
}

func gzipOf(t testing.TB, text string) []byte {
	t.Helper()
	var buf bytes.Buffer
	w := gzip.NewWriter(&buf)
	_, err := io.WriteString(w, text)
	must(t, err)
	must(t, w.Close())
	return buf.Bytes()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// log is an invented export.
func log(rows int) string {
	rng := rand.New(rand.NewPCG(uint64(rows), 1))
	var b strings.Builder
	b.WriteString("time,T\n")
	for i := range rows {
		fmt.Fprintf(&b, "2026-01-05 10:%02d,%.2f\n", i%60, rng.Float64()*50)
	}
	return b.String()
}

func TestOpen(t *testing.T) {
	yard, tank := log(30), log(40)
	book := zipOf(t, file{"[Content_Types].xml", "x"}, file{"xl/workbook.xml", "x"})
	for name, c := range map[string]struct {
		file string
		data []byte
		want []Member
	}{
		"plain":        {"yard.csv", []byte(yard), []Member{{"yard.csv", []byte(yard)}}},
		"empty":        {"yard.csv", nil, []Member{{"yard.csv", nil}}},
		"gz":           {"yard.csv.gz", gzipOf(t, yard), []Member{{"yard.csv.gz", []byte(yard)}}},
		"gz by name":   {"yard.csv", gzipOf(t, yard), []Member{{"yard.csv", []byte(yard)}}},
		"two gz":       {"y.gz", append(gzipOf(t, yard), gzipOf(t, tank)...), []Member{{"y.gz", []byte(yard + tank)}}},
		"empty gz":     {"y.gz", gzipOf(t, ""), []Member{{"y.gz", nil}}},
		"one":          {"a.zip", zipOf(t, file{"yard.csv", yard}), []Member{{"a.zip/yard.csv", []byte(yard)}}},
		"several":      {"a.zip", zipOf(t, file{"d/", ""}, file{"d/yard.csv", yard}, file{"tank.csv", tank}), []Member{{"a.zip/d/yard.csv", []byte(yard)}, {"a.zip/tank.csv", []byte(tank)}}},
		"notes":        {"a.zip", zipOf(t, file{"__MACOSX/._y.csv", "x"}, file{".DS_Store", "x"}, file{"y.csv", yard}), []Member{{"a.zip/y.csv", []byte(yard)}}},
		"workbook":     {"w.xlsx", book, []Member{{"w.xlsx", book}}},
		"cut workbook": {"w.xlsx", book[:len(book)-30], []Member{{"w.xlsx", book[:len(book)-30]}}},
		"book in a gz": {"w.gz", gzipOf(t, string(book)), []Member{{"w.gz", book}}},
		"book in zip":  {"a.zip", zipOf(t, file{"w.xlsx", string(book)}), []Member{{"a.zip/w.xlsx", book}}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Open(c.file, c.data)
			must(t, err)
			if len(got) != len(c.want) {
				t.Fatalf("want %d members, got %d", len(c.want), len(got))
			}
			for i, w := range c.want {
				if got[i].Name != w.Name || !bytes.Equal(got[i].Data, w.Data) {
					t.Errorf("want %s with %d bytes, got %s with %d", w.Name, len(w.Data), got[i].Name, len(got[i].Data))
				}
			}
		})
	}
}

// change returns a copy with one place changed.
func change(b []byte, at int, put ...byte) []byte {
	b = bytes.Clone(b)
	copy(b[at:], put)
	return b
}

// stored packs one file without compression, sizes in front.
func stored(t testing.TB, name, text string) []byte {
	t.Helper()
	var buf bytes.Buffer
	zw := zip.NewWriter(&buf)
	w, err := zw.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Store, CRC32: crc32.ChecksumIEEE([]byte(text)),
		CompressedSize64: uint64(len(text)), UncompressedSize64: uint64(len(text))})
	must(t, err)
	_, err = io.WriteString(w, text)
	must(t, err)
	must(t, zw.Close())
	return buf.Bytes()
}

// deflated packs one file whose sizes stand in front.
func deflated(t testing.TB, name string, text []byte) []byte {
	t.Helper()
	var packed, buf bytes.Buffer
	fw, err := flate.NewWriter(&packed, 9)
	must(t, err)
	_, err = fw.Write(text)
	must(t, err)
	must(t, fw.Close())
	zw := zip.NewWriter(&buf)
	w, err := zw.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Deflate, CRC32: crc32.ChecksumIEEE(text),
		CompressedSize64: uint64(packed.Len()), UncompressedSize64: uint64(len(text))})
	must(t, err)
	_, err = w.Write(packed.Bytes())
	must(t, err)
	must(t, zw.Close())
	return buf.Bytes()
}

// Offsets within the headers: PKWARE APPNOTE 6.3, sections 4.3.7 and 4.3.12.
const (
	localCRC, localPacked, localSize       = 14, 18, 22
	centralFlags, centralCRC               = 8, 16
	centralPacked, centralSize, centralLoc = 20, 24, 42
)

func TestRefused(t *testing.T) {
	yard := log(50)
	plain := deflated(t, "yard.csv", []byte(yard))
	dir := bytes.LastIndex(plain, []byte("PK\x01\x02"))
	size := binary.LittleEndian.AppendUint32
	n := uint32(len(yard))
	twoGz := gzipOf(t, yard)
	for name, c := range map[string]struct {
		data []byte
		kind error
		word string
	}{
		"checksum 0":           {change(change(plain, dir+centralCRC, 0, 0, 0, 0), localCRC, 0, 0, 0, 0), ErrDamaged, "yard.csv"},
		"checksum":             {change(change(plain, dir+centralCRC, 9), localCRC, 9), ErrDamaged, "yard.csv"},
		"checksum, directory":  {change(plain, dir+centralCRC, 9), ErrDamaged, "yard.csv"},
		"checksum, local":      {change(plain, localCRC, 9), ErrDamaged, "yard.csv"},
		"size too small":       {change(plain, dir+centralSize, size(nil, n-1)...), ErrDamaged, "yard.csv"},
		"size too big":         {change(plain, dir+centralSize, size(nil, n+1)...), ErrDamaged, "yard.csv"},
		"both too small":       {change(change(plain, dir+centralSize, size(nil, n-1)...), localSize, size(nil, n-1)...), ErrDamaged, "yard.csv"},
		"both too big":         {change(change(plain, dir+centralSize, size(nil, n+1)...), localSize, size(nil, n+1)...), ErrDamaged, "yard.csv"},
		"both far too big":     {change(change(plain, dir+centralSize, size(nil, 0xF0000000)...), localSize, size(nil, 0xF0000000)...), ErrTooBig, "yard.csv"},
		"local size":           {change(plain, localSize, size(nil, n-1)...), ErrDamaged, "yard.csv"},
		"packed size":          {change(change(plain, dir+centralPacked, 9), localPacked, 9), ErrDamaged, "yard.csv"},
		"packed too big":       {change(plain, dir+centralPacked, 0xff, 0xff, 0xff), ErrDamaged, "yard.csv"},
		"place":                {change(plain, dir+centralLoc, 1), ErrDamaged, ""},
		"locked":               {change(plain, dir+centralFlags, 1), ErrLocked, "password"},
		"method":               {change(change(plain, dir+10, 99), 8, 99), ErrDamaged, "yard.csv"},
		"no directory":         {plain[:dir], ErrDamaged, "yard.csv"},
		"cut within":           {plain[:dir/2], ErrDamaged, "yard.csv"},
		"leads out":            {zipOf(t, file{"../yard.csv", yard}), ErrDamaged, "../yard.csv"},
		"leads out later":      {zipOf(t, file{"a/../../yard.csv", yard}), ErrDamaged, "leads out"},
		"leads out, backslash": {zipOf(t, file{`..\yard.csv`, yard}), ErrDamaged, "leads out"},
		"twice":                {zipOf(t, file{"yard.csv", yard}, file{"yard.csv", log(2)}), ErrDamaged, "twice"},
		"twice by another way": {zipOf(t, file{"yard.csv", yard}, file{"/yard.csv", log(2)}), ErrDamaged, "twice"},
		"no files":             {zipOf(t), nil, "without files"},
		"zip in zip":           {zipOf(t, file{"a.csv", yard}, file{"b.zip", string(zipOf(t, file{"c.csv", yard}))}), ErrNested, "b.zip"},
		"gz in zip":            {zipOf(t, file{"a.csv.gz", string(twoGz)}), ErrNested, "a.csv.gz"},
		"gz in gz":             {gzipOf(t, string(twoGz)), ErrNested, "within"},
		"zip in gz":            {gzipOf(t, string(zipOf(t, file{"c.csv", yard}))), ErrNested, "within"},
		"tar in gz":            {gzipOf(t, strings.Repeat("\x00", 257)+"ustar"+strings.Repeat("\x00", 300)), ErrNested, "within"},
		"gz checksum":          {change(twoGz, len(twoGz)-8, 1, 2), ErrDamaged, "checksum"},
		"gz length":            {change(twoGz, len(twoGz)-4, 1, 2), ErrDamaged, "checksum"},
		"gz header":            {change(twoGz, 2, 99), ErrDamaged, "gzip"},
		"behind gz":            {append(bytes.Clone(twoGz), "rest behind it"...), ErrDamaged, "gzip"},
	} {
		t.Run(name, func(t *testing.T) {
			m, err := Open("exports.zip", c.data)
			var e *Error
			if !errors.As(err, &e) || e.Do == "" || c.kind != nil && !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.word) {
				t.Errorf("want %v with %q, got %d members, %v", c.kind, c.word, len(m), err)
			}
		})
	}
}

// A pack cut at any byte is an error that says so.
func TestCutAnywhere(t *testing.T) {
	z := zipOf(t, file{"yard.csv", log(20)}, file{"tank.csv", log(30)})
	g := gzipOf(t, log(20))
	for cut := 4; cut < len(z); cut++ {
		if _, err := Open("a.zip", z[:cut]); err == nil {
			t.Fatalf("zip cut at %d: want an error", cut)
		}
	}
	for cut := 2; cut < len(g); cut++ {
		if _, err := Open("a.gz", g[:cut]); err == nil {
			t.Fatalf("gz cut at %d: want an error", cut)
		}
	}
}

// A changed bit is an error or changes nothing that is given.
func TestFlippedBits(t *testing.T) {
	want := log(40)
	for what, data := range map[string][]byte{"zip": zipOf(t, file{"yard.csv", want}), "sized": deflated(t, "yard.csv", []byte(want)), "stored": stored(t, "yard.csv", want), "gz": gzipOf(t, want)} {
		rng, silent := rand.New(rand.NewPCG(7, 7)), 0
		for range 1500 {
			bad := bytes.Clone(data)
			bad[rng.IntN(len(bad))] ^= 1 << rng.IntN(8)
			m, err := Open("a.zip", bad)
			switch {
			case err != nil || len(m) == 1 && bytes.Equal(m[0].Data, bad): // not a pack any more
			case len(m) != 1 || string(m[0].Data) != want:
				t.Fatalf("%s: a changed bit changed what is read", what)
			default:
				silent++
			}
		}
		if silent > 1100 {
			t.Errorf("%s: %d of 1500 changed bits passed", what, silent)
		}
	}
}

func TestBombs(t *testing.T) {
	zeros := strings.Repeat("\x00", 32<<20)
	many := make([]file, MaxParts+1)
	for i := range many {
		many[i].name = fmt.Sprint(i)
	}
	var wide []file
	for i := range 9 {
		wide = append(wide, file{fmt.Sprint(i), zeros[:smallB]})
	}
	for name, data := range map[string][]byte{
		"zip": zipOf(t, file{"a.csv", zeros}), "gz": gzipOf(t, zeros), "many": zipOf(t, many...), "wide": zipOf(t, wide...),
	} {
		_, err := Open(name, data)
		if !errors.Is(err, ErrTooBig) {
			t.Errorf("%s: want ErrTooBig, got %v", name, err)
		}
	}
	// Two directory entries that share one part's bytes.
	a := deflated(t, "a.csv", []byte(log(100)))
	dir := bytes.LastIndex(a, []byte("PK\x01\x02"))
	end := bytes.LastIndex(a, []byte("PK\x05\x06"))
	second := change(a[dir:end], 46, 'b')
	both := append(append(bytes.Clone(a[:end]), second...), a[end:]...)
	end += len(second)
	binary.LittleEndian.PutUint16(both[end+8:], 2)
	binary.LittleEndian.PutUint16(both[end+10:], 2)
	binary.LittleEndian.PutUint32(both[end+12:], uint32(2*len(second)))
	if _, err := Open("overlap.zip", both); !errors.Is(err, ErrDamaged) {
		t.Errorf("overlap: want ErrDamaged, got %v", err)
	}
}

func FuzzArchive(f *testing.F) {
	f.Add(zipOf(f, file{"xl/a.xml", log(3)}, file{"xl/b.xml", "b"}))
	f.Add(stored(f, "yard.csv", log(3)))
	cut := zipOf(f, file{"a.csv", log(3)}, file{"b.csv", log(4)})
	f.Add(cut[:len(cut)-40])
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := OpenArchive(data)
		if err != nil {
			return
		}
		total := int64(0)
		for _, n := range a.Names {
			b, err := a.Bytes(n)
			if total += int64(len(b)); err == nil && a.Partial == n {
				t.Fatalf("%q broke off and was read as a whole", n)
			}
			if err == nil && crc32.ChecksumIEEE(b) != a.parts[n].crc {
				t.Fatalf("%q: wrong bytes", n)
			}
		}
		if total > max(smallFileB, int64(len(data))*maxRatio) {
			t.Fatalf("%d bytes unpacked from %d", total, len(data))
		}
	})
}

func FuzzOpen(f *testing.F) {
	f.Add(zipOf(f, file{"yard.csv", log(3)}))
	f.Add(gzipOf(f, log(3)))
	f.Add([]byte("time,T\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		members, err := Open("fuzz", data)
		var e *Error
		switch {
		case err == nil && len(members) == 0:
			t.Fatal("neither members nor an error")
		case err != nil && (!errors.As(err, &e) || e.Do == ""):
			t.Fatalf("an error that does not say what to do: %v", err)
		case err == nil && !IsPacked(data) && !bytes.Equal(members[0].Data, data):
			t.Fatal("what is no pack must come back as it is")
		}
	})
}
