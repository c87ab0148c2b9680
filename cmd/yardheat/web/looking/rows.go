package looking

import (
	"bufio"
	"bytes"
	"io"
)

// rows reads lines that end in LF, CR LF or CR; of a line that is longer than
// longestRow the rest is passed over.
type rows struct{ r *bufio.Reader }

func newRows(r io.Reader) *rows { return &rows{bufio.NewReaderSize(r, 64<<10)} }

func (s *rows) next() ([]byte, bool) {
	var out []byte
	any := false
	for {
		chunk, err := s.r.Peek(1)
		if err != nil || len(chunk) == 0 {
			return out, any
		}
		any = true
		chunk, _ = s.r.Peek(s.r.Buffered())
		end := bytes.IndexAny(chunk, "\r\n")
		take := chunk
		if end >= 0 {
			take = chunk[:end]
		}
		if len(out) < longestRow {
			out = append(out, take...)
		}
		if end < 0 {
			_, _ = s.r.Discard(len(chunk)) // they are buffered
			continue
		}
		cr := chunk[end] == '\r'
		_, _ = s.r.Discard(end + 1)
		if cr {
			if next, err := s.r.Peek(1); err == nil && next[0] == '\n' {
				_, _ = s.r.Discard(1)
			}
		}
		return out, true
	}
}
