// Package ooxml checks a workbook before its cells are read: every part of its
// zip archive to the end, the XML of each sheet to the end, and what a cut file
// still holds. It also turns the date numbers of sheets into wall-clock text.
// The cells themselves are read by excelize, which ends early on a damaged
// sheet without an error; this package is why that cannot pass unseen.
package ooxml

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"strings"
)

// Bounds on what a workbook may unpack to: a season at one reading a minute
// needs a tenth of them.
const (
	MaxUnpackedB   = 512 << 20
	maxUnpackRatio = 400 // a sheet of equal rows reaches about 100
	smallPartB     = 8 << 20
)

// Archive is a workbook's zip archive, every part read to its end and its
// checksum held against its bytes.
type Archive struct {
	Parts map[string][]byte
	Names []string // in file order
	// Cut tells that the file ends before its directory; Partial is then the
	// part that broke off, "" where the cut fell between two.
	Cut     bool
	Partial string
}

// ErrDamaged is an archive that cannot be read or trusted.
var ErrDamaged = errors.New("damaged archive")

// Open reads every part to its end. Damage is an error; an archive
// that ends early is read as far as it goes.
func Open(b []byte) (*Archive, error) {
	zr, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return salvage(b)
	}
	a := &Archive{Parts: map[string][]byte{}}
	left := int64(MaxUnpackedB)
	for _, f := range zr.File {
		if f.Flags&1 != 0 {
			return nil, fmt.Errorf("%w: part %q is locked with a password", ErrDamaged, f.Name)
		}
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		data, err := readPart(f, left, len(b))
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", f.Name, err)
		}
		left -= int64(len(data))
		a.add(f.Name, data)
	}
	return a, nil
}

func (a *Archive) add(name string, data []byte) {
	name = strings.TrimPrefix(strings.ReplaceAll(name, `\`, "/"), "/")
	if _, twice := a.Parts[name]; !twice {
		a.Names = append(a.Names, name)
	}
	a.Parts[name] = data
}

func readPart(f *zip.File, left int64, fileB int) ([]byte, error) {
	if f.UncompressedSize64 > uint64(left) {
		return nil, tooBig(int64(min(f.UncompressedSize64, 1<<62)))
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	defer func() { _ = r.Close() }() // read only
	data, err := readCapped(r, left, int64(f.CompressedSize64), int64(f.UncompressedSize64))
	switch {
	case errors.Is(err, ErrTooBig):
		return nil, err
	case err != nil:
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	case uint64(len(data)) != f.UncompressedSize64:
		return nil, fmt.Errorf("%w: %d bytes, where its directory says %d", ErrDamaged, len(data), f.UncompressedSize64)
	}
	return data, nil
}

// ErrTooBig is a part that unpacks beyond the bounds.
var ErrTooBig = errors.New("unpacks too far")

func tooBig(n int64) error {
	return fmt.Errorf("%w: %d MB and more; at most %d MB and %d times its packed size are read", ErrTooBig, n>>20, MaxUnpackedB>>20, maxUnpackRatio)
}

// readCapped reads r to its end within both bounds. What was read before an
// error is returned with it.
func readCapped(r io.Reader, left, packedB, hintB int64) ([]byte, error) {
	limit := min(left, max(smallPartB, packedB*maxUnpackRatio))
	var buf bytes.Buffer
	if hintB > 0 && hintB <= limit {
		buf.Grow(int(hintB) + bytes.MinRead)
	}
	n, err := buf.ReadFrom(io.LimitReader(r, limit+1))
	if n > limit {
		return nil, tooBig(n)
	}
	return buf.Bytes(), err
}

// salvage walks the local headers of an archive whose directory, at the
// file's end, is missing. Layout: PKWARE APPNOTE 6.3, sections 4.3.7 (local
// header) and 4.3.9 (data descriptor), from memory.
func salvage(b []byte) (*Archive, error) {
	a := &Archive{Parts: map[string][]byte{}, Cut: true}
	left := int64(MaxUnpackedB)
	for pos := 0; pos+30 <= len(b) && binary.LittleEndian.Uint32(b[pos:]) == 0x04034b50; {
		h := localHeader(b[pos:])
		start := pos + 30 + h.nameLen + h.extraLen
		if start > len(b) {
			break
		}
		name := string(b[pos+30 : pos+30+h.nameLen])
		data, used, err := h.unpack(b[start:], left)
		switch {
		case errors.Is(err, io.ErrUnexpectedEOF):
			a.add(name, data)
			a.Partial = name
			return a, nil
		case err != nil:
			return nil, fmt.Errorf("part %q: %w", name, err)
		}
		left -= int64(len(data))
		a.add(name, data)
		pos = start + used
	}
	if len(a.Names) == 0 {
		return nil, fmt.Errorf("%w: no part can be read", ErrDamaged)
	}
	return a, nil
}

// partHeader is what a local header says of its part.
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

// unpack reads one part from b; used is how many bytes of b it took, the data
// descriptor included. io.ErrUnexpectedEOF comes with what could be read.
func (h partHeader) unpack(b []byte, left int64) (data []byte, used int, err error) {
	described := h.flags&8 != 0
	switch {
	case h.flags&1 != 0:
		return nil, 0, fmt.Errorf("%w: locked with a password", ErrDamaged)
	case h.method == zip.Deflate:
		r := bytes.NewReader(b) // a ByteReader: flate takes no byte too many
		data, err = readCapped(flate.NewReader(r), left, int64(len(b)), 0)
		used = len(b) - r.Len()
	case h.method == zip.Store && !described:
		if int64(h.packed) > left {
			return nil, 0, tooBig(int64(h.packed))
		}
		used = min(int(h.packed), len(b))
		data = b[:used]
		if used < int(h.packed) {
			err = io.ErrUnexpectedEOF
		}
	default:
		return nil, 0, fmt.Errorf("%w: packed by method %d", ErrDamaged, h.method)
	}
	if err != nil {
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, ErrTooBig) {
			return data, used, err
		}
		return nil, 0, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	crc := h.crc
	if described {
		d, n := descriptor(b[used:], used)
		if used += n; n == 0 { // cut right behind the part: nothing to hold it against
			return data, used, io.ErrUnexpectedEOF
		}
		crc = d
	}
	if crc32.ChecksumIEEE(data) != crc {
		return nil, 0, fmt.Errorf("%w: checksum", ErrDamaged)
	}
	return data, used, nil
}

// descriptor reads the checksum behind a part; n is the descriptor's length,
// which has an optional signature and sizes of 4 or 8 bytes.
func descriptor(b []byte, packedB int) (crc uint32, n int) {
	le := binary.LittleEndian
	if len(b) >= 4 && le.Uint32(b) == 0x08074b50 {
		n = 4
	}
	switch {
	case len(b) >= n+20 && le.Uint64(b[n+4:]) == uint64(packedB):
		return le.Uint32(b[n:]), n + 20
	case len(b) >= n+12:
		return le.Uint32(b[n:]), n + 12
	}
	return 0, 0
}

// Pack writes the parts as a new archive, for a reader that wants whole files.
func (a *Archive) Pack() ([]byte, error) {
	var buf bytes.Buffer
	zw := zip.NewWriter(&buf)
	for _, name := range a.Names {
		w, err := zw.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			return nil, fmt.Errorf("packing %q: %w", name, err)
		}
		if _, err := w.Write(a.Parts[name]); err != nil {
			return nil, fmt.Errorf("packing %q: %w", name, err)
		}
	}
	if err := zw.Close(); err != nil {
		return nil, fmt.Errorf("packing: %w", err)
	}
	return buf.Bytes(), nil
}
