package stream

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"yardheat/ingest/work"
)

// A guess at the lines of a file is made from so many pieces, with so much to
// spare.
const (
	guessPieces  = 64
	guessBlocks  = 16 // shorter files are counted
	guessSpare   = 0.01
	guessSpareIs = 64
)

// likelyLines guesses the number of the file's lines from pieces of it.
func (j *job) likelyLines() (int, error) {
	from := j.plan.FirstByte
	if j.size-from < guessBlocks*j.blockB || j.size-from < pieceBytes {
		return j.mostLines()
	}
	buf := make([]byte, pieceBytes)
	n := 0
	for k := range int64(guessPieces) {
		at := from + (j.size-from-pieceBytes)*k/(guessPieces-1)
		piece, err := countLines(j.file, at, at+pieceBytes, buf)
		if err != nil {
			return 0, err
		}
		n += piece
	}
	lines := float64(n) / (guessPieces * pieceBytes) * float64(j.size-from)
	guess := int(lines*(1+guessSpare)) + guessSpareIs
	if j.tooMany(guess) {
		return j.mostLines()
	}
	return guess, nil
}

// mostLines counts the file's lines, a piece on each of two cores.
func (j *job) mostLines() (int, error) {
	const piece = 4 << 20
	pieces := int((j.size - j.plan.FirstByte + piece - 1) / piece)
	counts, errs := make([]int, pieces), make([]error, pieces)
	work.Each(2, pieces, func(i int) {
		work.Check(j.plan.Context)
		buf := make([]byte, 256<<10)
		from := j.plan.FirstByte + int64(i)*piece
		counts[i], errs[i] = countLines(j.file, from, min(j.size, from+piece), buf)
	})
	n := 1
	for i := range counts {
		n += counts[i]
	}
	return n, errors.Join(errs...)
}

func countLines(r io.ReaderAt, from, to int64, buf []byte) (int, error) {
	n := 0
	for from < to {
		k, err := r.ReadAt(buf[:min(int64(len(buf)), to-from)], from)
		n += bytes.Count(buf[:k], []byte{'\n'})
		from += int64(k)
		if k == 0 {
			return n, fmt.Errorf("file shorter than its size: %w", err)
		}
	}
	return n, nil
}
