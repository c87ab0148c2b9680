package ooxml

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"yardheat/ingest/pack"
	"yardheat/ingest/work"
)

const (
	firstB     = 32 << 10 // the first block: most parts are small
	blockB     = 256 << 10
	blocks     = 4
	maxTokenB  = 4 << 20 // one text or tag; the format allows 32,767 characters a cell
	maxNesting = 64
)

// source hands out the bytes of one part as they unpack: unpacking runs ahead
// in a goroutine of its own, in a few blocks that are used again and again. A
// block ends behind the last closing tag of its kind, so that whole rows can be
// scanned where they lie; where none is found, it ends anywhere.
type source struct {
	cur   []byte
	pos   int
	prev  byte // the last two bytes that ReadByte gave
	last  byte
	token int // bytes that the token now read may yet have
	err   error

	full chan block
	free chan []byte
	stop chan struct{}
	done chan struct{}
}

type block struct {
	b   []byte
	err error // behind the block
	// fault is a panic of the unpacking, which goes on where the block is asked
	// for.
	fault any
}

func newSource(in io.Reader, closing string) *source {
	s := &source{full: make(chan block, blocks), free: make(chan []byte, blocks), stop: make(chan struct{}), done: make(chan struct{}), token: maxTokenB}
	go s.unpack(in, []byte(closing))
	return s
}

// unpack fills blocks until the part ends or nobody wants more.
func (s *source) unpack(in io.Reader, closing []byte) {
	defer close(s.done)
	defer func() {
		if p := recover(); p != nil {
			select {
			case s.full <- block{fault: work.Carried(p)}:
			case <-s.stop:
			}
		}
	}()
	buf, n, made := make([]byte, firstB), 0, 0
	for {
		got, err := io.ReadAtLeast(in, buf[n:], len(buf)-n)
		n += got
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			// ReadAtLeast says so of any early end: ask the part itself.
			_, err = in.Read(make([]byte, 1))
		}
		end := n
		if err == nil {
			if i := bytes.LastIndex(buf[:n], closing); i >= 0 {
				end = i + len(closing)
			}
		}
		var next []byte
		if err == nil {
			if made < blocks {
				next = make([]byte, blockB)
				made++
			} else {
				select {
				case next = <-s.free:
				case <-s.stop:
					return
				}
			}
			copy(next, buf[end:n])
		}
		select {
		case s.full <- block{b: buf[:end], err: err}:
		case <-s.stop:
			return
		}
		if err != nil {
			return
		}
		buf, n = next, n-end
	}
}

// close ends the unpacking and waits for it.
func (s *source) close() {
	close(s.stop)
	<-s.done
}

// more brings the next block when this one is used up; false at the end.
func (s *source) more() bool {
	for s.pos == len(s.cur) {
		if s.err != nil {
			return false
		}
		if cap(s.cur) >= blockB { // the first is too small to be used again
			s.free <- s.cur[:cap(s.cur)]
		}
		next := <-s.full
		if next.fault != nil {
			panic(next.fault)
		}
		s.cur, s.pos, s.err = next.b, 0, next.err
	}
	return true
}

// ReadByte gives the bytes to the token decoder, which asks for no more than
// its token needs.
func (s *source) ReadByte() (byte, error) {
	if s.pos == len(s.cur) && !s.more() {
		return 0, s.err
	}
	if s.token--; s.token < 0 {
		return 0, fmt.Errorf("%w: a text or tag of more than %d MB", pack.ErrTooBig, maxTokenB>>20)
	}
	c := s.cur[s.pos]
	s.pos++
	s.prev, s.last = s.last, c
	return c, nil
}

// Read makes a source an io.Reader, as the decoder's constructor wants; the
// decoder uses ReadByte.
func (s *source) Read(p []byte) (int, error) {
	for i := range p {
		c, err := s.ReadByte()
		if err != nil {
			return i, err
		}
		p[i] = c
	}
	return len(p), nil
}

// broken is the error that ended the part, nil where it ended whole or was cut.
func (s *source) broken() error {
	if s.err == nil || errors.Is(s.err, io.EOF) || errors.Is(s.err, io.ErrUnexpectedEOF) {
		return nil
	}
	return s.err
}
