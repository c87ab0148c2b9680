package pack

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"github.com/klauspost/compress/flate"
	"hash/crc32"
	"io"
)

// limitB is how far a part of so many packed bytes may unpack.
func limitB(packedB int) int64 { return max(smallB, int64(packedB)*maxRatio) }

// Stream reads one part and checks it on the way: io.EOF comes behind a whole
// part only, io.ErrUnexpectedEOF where the file was cut within it; anything
// else is damage or a bound.
func (a *Archive) Stream(name string) io.Reader {
	e := a.parts[name]
	if e == nil {
		return &stream{err: fmt.Errorf("%w: part %q is missing", ErrDamaged, name)}
	}
	s := &stream{a: a, e: e, left: limitB(len(e.raw)), partial: a.Partial == name}
	s.in = bytes.NewReader(e.raw)
	if e.method == zip.Deflate {
		s.in = flate.NewReader(bytes.NewReader(e.raw))
	}
	return s
}

type stream struct {
	a       *Archive
	e       *entry
	in      io.Reader
	crc     uint32
	n       uint64
	left    int64
	partial bool
	err     error
}

// Read reads and keeps count of length and checksum.
func (s *stream) Read(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	if s.a.Check != nil {
		s.a.Check()
	}
	n, err := s.in.Read(p)
	s.crc = crc32.Update(s.crc, crc32.IEEETable, p[:n])
	s.n += uint64(n)
	s.left -= int64(n)
	switch total := s.a.left.Add(-int64(n)); {
	case s.left < 0 || total < 0:
		s.err = tooBig(int64(s.n))
	case !s.partial && s.n > s.e.sizeB:
		s.err = fmt.Errorf("%w: more bytes than the %d that its directory says", ErrDamaged, s.e.sizeB)
	case err != nil:
		s.err = s.end(err)
	}
	if s.err != nil && !errors.Is(s.err, io.EOF) && !errors.Is(s.err, io.ErrUnexpectedEOF) {
		s.err = fmt.Errorf("part %q: %w", s.e.name, s.err)
	}
	return n, s.err
}

// end settles what the end of the packed bytes means.
func (s *stream) end(err error) error {
	switch {
	case s.partial && (errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF)):
		return io.ErrUnexpectedEOF
	case !errors.Is(err, io.EOF): // its text only: an early end is damage here, and asked for no more
		return fmt.Errorf("%w: %s", ErrDamaged, err.Error())
	case s.n != s.e.sizeB:
		return fmt.Errorf("%w: %d bytes, where its directory says %d", ErrDamaged, s.n, s.e.sizeB)
	case s.crc != s.e.crc:
		return fmt.Errorf("%w: its checksum is wrong", ErrDamaged)
	}
	s.e.seen = true
	return io.EOF
}
