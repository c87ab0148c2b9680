package stream

import (
	"bytes"
	"fmt"
	"io"
)

// Sizes of a sample: a head long enough for any preamble and some hours of
// readings, and pieces of the rest, so that dates and marks that come later
// have their say.
const (
	headBytes  = 192 << 10
	pieceBytes = 4 << 10
	pieces     = 5
)

// Sample is text that stands for a file.
type Sample struct {
	// Text is the head, then pieces of whole lines from further on; HeadLines
	// are the lines that stand where they stand in the file.
	Text      []byte
	HeadLines int
}

// TakeSample reads a sample of a file of size bytes.
func TakeSample(r io.ReaderAt, size int64) (*Sample, error) {
	head, err := readAt(r, 0, min(size, headBytes))
	if err != nil {
		return nil, err
	}
	if bytes.IndexByte(head, 0) >= 0 {
		return nil, irregular(1, "NULs stand in it")
	}
	end := bytes.LastIndexByte(head, '\n') + 1
	s := &Sample{Text: head[:end:end], HeadLines: bytes.Count(head[:end], []byte{'\n'})}
	for k := range int64(pieces) {
		at := int64(end) + (size-int64(end)-pieceBytes)*(k+1)/pieces
		if at <= int64(end) {
			continue
		}
		text, err := readAt(r, at, min(pieceBytes, size-at))
		if err != nil {
			return nil, err
		}
		from, to := bytes.IndexByte(text, '\n')+1, bytes.LastIndexByte(text, '\n')+1
		if from < to {
			s.Text = append(s.Text, text[from:to]...)
		}
	}
	if bytes.Count(s.Text, []byte{'\r'}) != bytes.Count(s.Text, []byte("\r\n")) {
		return nil, irregular(1, "its lines do not all end alike")
	}
	return s, nil
}

func readAt(r io.ReaderAt, at, n int64) ([]byte, error) {
	b := make([]byte, n)
	k, err := r.ReadAt(b, at)
	if int64(k) < n {
		return nil, fmt.Errorf("file shorter than its size: %w", err)
	}
	return b, nil
}

// LineAt gives where a line of the head begins.
func (s *Sample) LineAt(line int) (int64, bool) {
	at := 0
	for ; line > 1; line-- {
		n := bytes.IndexByte(s.Text[at:], '\n')
		if n < 0 {
			return 0, false
		}
		at += n + 1
	}
	return int64(at), true
}

// Cells counts the cells of a line of the head.
func (s *Sample) Cells(at int64, separator byte) int {
	line, _, _ := bytes.Cut(s.Text[at:], []byte{'\n'})
	n, quoted := 1, false
	for _, c := range line {
		if c == '"' {
			quoted = !quoted
		} else if c == separator && !quoted {
			n++
		}
	}
	return n
}

// Skeleton is a file without most of its regular lines: what stands above the
// readings and the first of them, each line that did not fit the plan with
// two lines on either side, and the last lines. Package table judges by it.
type Skeleton struct {
	Text []byte
	// Lines gives the number in the file of each line of Text.
	Lines []int
}

// Lines of a skeleton.
const (
	headRows  = 300
	lastLines = 40
	around    = 2
	window    = 4 << 10
)

// TakeSkeleton reads the skeleton of a file that Read has read.
func TakeSkeleton(r io.ReaderAt, size int64, s *Sample, rows *Rows) (*Skeleton, error) {
	k := &Skeleton{}
	k.add(s.Text, 1, min(s.HeadLines, rows.FirstLine+headRows))
	for _, o := range rows.Odd {
		if err := k.odd(r, size, o); err != nil {
			return nil, err
		}
	}
	return k, k.last(r, size, rows)
}

// add adds the lines of a text whose first is line first, up to line last; a
// line that stands there already is passed over.
func (k *Skeleton) add(text []byte, first, last int) {
	for line := first; line <= last && len(text) > 0; line++ {
		end := bytes.IndexByte(text, '\n') + 1
		if end == 0 {
			end = len(text)
		}
		if n := len(k.Lines); n == 0 || line > k.Lines[n-1] {
			k.Text = append(k.Text, text[:end]...)
			k.Lines = append(k.Lines, line)
		}
		text = text[end:]
	}
}

// odd adds a line that did not fit and those about it.
func (k *Skeleton) odd(r io.ReaderAt, size int64, o OddLine) error {
	from := max(0, o.At-window)
	to := min(size, o.At+int64(len(o.Text))+window)
	text, err := readAt(r, from, to-from)
	if err != nil {
		return err
	}
	first := o.Line
	at := int(o.At - from)
	for range around {
		if at < 2 {
			break
		}
		n := bytes.LastIndexByte(text[:at-1], '\n')
		if n < 0 {
			break
		}
		at, first = n+1, first-1
	}
	k.add(text[at:], first, min(o.Line+around, o.Line-1+bytes.Count(text[o.At-from:], []byte{'\n'})))
	return nil
}

// last adds the file's last lines.
func (k *Skeleton) last(r io.ReaderAt, size int64, rows *Rows) error {
	n := min(size, 16<<10)
	text, err := readAt(r, size-n, n)
	if err != nil {
		return err
	}
	whole := rows.Lines
	at := bytes.LastIndexByte(text, '\n') + 1
	if at < len(text) {
		whole++ // a last line without an end
	}
	first := whole + 1
	if at < len(text) {
		first--
	}
	for i := 0; i < lastLines && at > 0; i++ {
		n := bytes.LastIndexByte(text[:at-1], '\n')
		if n < 0 {
			break // the piece's first line is not whole
		}
		at, first = n+1, first-1
	}
	k.add(text[at:], first, whole)
	return nil
}
