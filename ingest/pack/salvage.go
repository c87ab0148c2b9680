package pack

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// salvage walks the local headers of an archive whose directory, at the
// file's end, is missing.
func (a *Archive) salvage(b []byte) error {
	a.Cut = true
	left := a.left.Load()
	for pos := 0; pos+30 <= len(b) && binary.LittleEndian.Uint32(b[pos:]) == 0x04034b50; {
		h := localHeader(b[pos:])
		start := pos + 30 + h.nameLen + h.extraLen
		if start > len(b) {
			break
		}
		if len(a.Names) == MaxParts {
			return fmt.Errorf("%w: more than %d parts", ErrTooBig, MaxParts)
		}
		e := &entry{name: string(b[pos+30 : pos+30+h.nameLen]), method: h.method, from: pos}
		used, err := h.measure(e, b[start:], &left)
		cut := errors.Is(err, io.ErrUnexpectedEOF)
		if err != nil && !cut {
			return fmt.Errorf("part %q: %w", e.name, err)
		}
		if err := a.add(e); err != nil {
			return err
		}
		if cut {
			a.Partial = e.name
			return nil
		}
		pos = start + used
	}
	if len(a.Names) == 0 {
		return fmt.Errorf("%w: no part can be read", ErrDamaged)
	}
	return nil
}

// measure unpacks one part from b to find its end and to check it; used is how
// many bytes of b it took, the data descriptor included. io.ErrUnexpectedEOF
// means that the file ends within the part.
func (h partHeader) measure(e *entry, b []byte, left *int64) (used int, err error) {
	if h.flags&1 != 0 {
		return 0, ErrLocked
	}
	described := h.flags&8 != 0
	sum := crc32.NewIEEE()
	switch {
	case h.method == zip.Deflate:
		r := bytes.NewReader(b) // a ByteReader: flate takes no byte too many
		limit := min(*left, limitB(len(b)))
		var n int64
		n, err = io.Copy(sum, io.LimitReader(flate.NewReader(r), limit+1))
		used, e.sizeB = len(b)-r.Len(), uint64(n)
		if n > limit || n > limitB(used) {
			return 0, tooBig(n)
		}
		if *left -= n; err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
			return 0, fmt.Errorf("%w: %w", ErrDamaged, err)
		}
	case h.method == zip.Store && !described:
		used = int(min(int64(h.packed), int64(len(b))))
		sum.Write(b[:used])
		e.sizeB = uint64(used)
		if used < int(h.packed) {
			err = io.ErrUnexpectedEOF
		}
	default:
		return 0, fmt.Errorf("%w: packed by method %d", ErrDamaged, h.method)
	}
	e.raw, e.crc = b[:used], sum.Sum32()
	if err != nil {
		return used, err
	}
	crc := h.crc
	if described {
		d, n := descriptor(b[used:], used)
		if used += n; n == 0 { // cut right behind the part: nothing to hold it against
			return used, io.ErrUnexpectedEOF
		}
		crc = d
	}
	if e.crc != crc {
		return 0, fmt.Errorf("%w: its checksum is wrong", ErrDamaged)
	}
	return used, nil
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
