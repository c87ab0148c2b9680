// Package pack takes exports out of what they were packed in: a .gz, or a .zip
// of one or several. It stands in front of package table and is recognised by
// content, never by name. A zip archive is trusted only as far as it was
// checked: its directory against the headers in front of each part, every part
// read to its end, its length and checksum held against its bytes. Workbooks,
// which are zip archives too, are read through the same checks.
package pack

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
	"sync/atomic"
)

// Archive is a zip archive whose directory was checked. A part is checked as
// it is read: Stream gives io.EOF behind a whole part only.
type Archive struct {
	// Check, if not nil, is called at every read of a part: it may leave by a
	// panic.
	Check func()
	Names []string // in file order, without folders
	// Cut tells that the file ends before its directory; Partial is then the
	// part that broke off, "" where the cut fell between two.
	Cut     bool
	Partial string

	parts map[string]*entry
	left  atomic.Int64 // bytes that may yet be unpacked
}

// entry is one part as its bytes lie in the file.
type entry struct {
	name   string
	raw    []byte
	method uint16
	crc    uint32
	sizeB  uint64
	from   int // offset of the header in front of it
	to     int // offset behind its bytes
	seen   bool
}

// OpenArchive reads the directory and checks it against the parts' own headers.
// An archive that ends early is taken as far as it goes.
func OpenArchive(b []byte) (*Archive, error) {
	if len(b) > 46*MaxParts && bytes.Count(b, []byte("PK\x01\x02")) > MaxParts {
		return nil, fmt.Errorf("%w: it lists more than %d parts", ErrTooBig, MaxParts)
	}
	a := &Archive{parts: map[string]*entry{}}
	a.left.Store(min(MaxUnpackedB, max(smallFileB, int64(len(b))*maxRatio)))
	zr, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return a, a.salvage(b)
	}
	if len(zr.File) > MaxParts {
		return nil, fmt.Errorf("%w: it lists %d parts; at most %d are read", ErrTooBig, len(zr.File), MaxParts)
	}
	var all []*entry
	for _, f := range zr.File {
		e, err := entryOf(b, f)
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", f.Name, err)
		}
		all = append(all, e)
		if err := a.add(e); err != nil {
			return nil, err
		}
	}
	return a, overlap(all)
}

// overlap finds parts that share bytes: what a bomb does to unpack one piece
// many times.
func overlap(all []*entry) error {
	slices.SortFunc(all, func(x, y *entry) int { return x.from - y.from })
	for i := 1; i < len(all); i++ {
		if all[i].from < all[i-1].to {
			return fmt.Errorf("%w: the parts %q and %q share bytes", ErrDamaged, all[i-1].name, all[i].name)
		}
	}
	return nil
}

// add takes in a part. Names that lead out of the archive and names that come
// twice are refused: which of them a program reads is anybody's guess.
func (a *Archive) add(e *entry) error {
	e.name = strings.TrimPrefix(strings.ReplaceAll(e.name, `\`, "/"), "/")
	clean := path.Clean(e.name)
	switch {
	case strings.HasSuffix(e.name, "/") && e.sizeB == 0:
		return nil
	case clean == ".." || strings.HasPrefix(clean, "../") || e.name == "":
		return fmt.Errorf("%w: the name %q leads out of it", ErrDamaged, e.name)
	case a.parts[e.name] != nil:
		return fmt.Errorf("%w: it holds %q twice", ErrDamaged, e.name)
	}
	a.Names = append(a.Names, e.name)
	a.parts[e.name] = e
	return nil
}

// entryOf finds the bytes of a part and holds its two headers against each
// other.
func entryOf(b []byte, f *zip.File) (*entry, error) {
	if f.Flags&1 != 0 {
		return nil, ErrLocked
	}
	if f.Method != zip.Deflate && f.Method != zip.Store {
		return nil, fmt.Errorf("%w: packed by method %d", ErrDamaged, f.Method)
	}
	at, err := f.DataOffset()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	from := -1
	if at <= int64(len(b)) {
		from = headerBefore(b, int(at))
	}
	if from < 0 || f.CompressedSize64 > uint64(len(b)-int(at)) {
		return nil, fmt.Errorf("%w: it does not lie where the directory says", ErrDamaged)
	}
	h := localHeader(b[from:])
	e := &entry{name: f.Name, raw: b[at : at+int64(f.CompressedSize64)], method: f.Method, crc: f.CRC32, sizeB: f.UncompressedSize64,
		from: from, to: int(at) + int(f.CompressedSize64)}
	if err := h.agrees(f, b[from+30:]); err != nil {
		return nil, err
	}
	if f.UncompressedSize64 > MaxUnpackedB {
		return nil, tooBig(int64(min(f.UncompressedSize64, 1<<62)))
	}
	if f.Method == zip.Store && f.UncompressedSize64 != f.CompressedSize64 {
		return nil, fmt.Errorf("%w: it is not packed, yet its two sizes differ", ErrDamaged)
	}
	return e, nil
}

// headerBefore finds the header in front of the bytes at dataAt, -1 = none.
func headerBefore(b []byte, dataAt int) int {
	for i := dataAt - 30; i >= 0 && i > dataAt-30-2*(1<<16); {
		i = bytes.LastIndex(b[:i+4], []byte("PK\x03\x04"))
		if i < 0 {
			return -1
		}
		if h := localHeader(b[i:]); i+30+h.nameLen+h.extraLen == dataAt {
			return i
		}
		i--
	}
	return -1
}

// partHeader is what the header in front of a part says. Layout: PKWARE
// APPNOTE 6.3, sections 4.3.7 and 4.3.9 (data descriptor), from memory.
type partHeader struct {
	flags, method     uint16
	crc, packed, size uint32
	nameLen, extraLen int
}

func localHeader(b []byte) partHeader {
	le := binary.LittleEndian
	return partHeader{flags: le.Uint16(b[6:]), method: le.Uint16(b[8:]), crc: le.Uint32(b[14:]), packed: le.Uint32(b[18:]),
		size: le.Uint32(b[22:]), nameLen: int(le.Uint16(b[26:])), extraLen: int(le.Uint16(b[28:]))}
}

// agrees holds the header against the directory. Where the sizes follow the
// part (flag 8) or stand in the long form, the header leaves them open.
func (h partHeader) agrees(f *zip.File, nameOn []byte) error {
	const open = 0xFFFFFFFF
	differs := func(here uint32, there uint64) bool {
		return uint64(here) != there && here != open && (here != 0 || h.flags&8 == 0)
	}
	switch {
	case h.flags&1 != 0:
		return ErrLocked
	case h.method != f.Method || string(nameOn[:h.nameLen]) != f.Name:
		return fmt.Errorf("%w: the directory and the part's own header name it differently", ErrDamaged)
	case differs(h.crc, uint64(f.CRC32)) || differs(h.packed, f.CompressedSize64) || differs(h.size, f.UncompressedSize64):
		return fmt.Errorf("%w: the directory says %d bytes, packed %d, the part's own header %d, packed %d, or their checksums differ",
			ErrDamaged, f.UncompressedSize64, f.CompressedSize64, h.size, h.packed)
	}
	return nil
}

// Has tells whether a part is there, whole or broken off.
func (a *Archive) Has(name string) bool { return a.parts[name] != nil }

// Whole tells whether a part is there and no cut fell into it.
func (a *Archive) Whole(name string) bool { return a.Has(name) && a.Partial != name }

// Bytes reads a whole part.
func (a *Archive) Bytes(name string) ([]byte, error) {
	e := a.parts[name]
	if e == nil {
		return nil, fmt.Errorf("%w: part %q is missing", ErrDamaged, name)
	}
	if e.sizeB > MaxMembersB {
		return nil, TooMuch(MaxMembersB)
	}
	hint := min(e.sizeB, uint64(limitB(len(e.raw))))
	buf := bytes.NewBuffer(make([]byte, 0, hint+bytes.MinRead))
	n, err := buf.ReadFrom(io.LimitReader(a.Stream(name), MaxMembersB+1))
	if err == nil && n > MaxMembersB {
		err = TooMuch(MaxMembersB)
	}
	if err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

// VerifyRest reads every part that was not read yet, except the named ones,
// and checks it: damage anywhere is damage of the file.
func (a *Archive) VerifyRest(except ...string) error {
	for _, name := range a.Names {
		if a.parts[name].seen || name == a.Partial || slices.Contains(except, name) {
			continue
		}
		if _, err := io.Copy(io.Discard, a.Stream(name)); err != nil {
			return err
		}
	}
	return nil
}
