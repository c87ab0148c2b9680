package table

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// LineOf decodes the n-th line (from 1) of a text export, as its reader counts
// them, without its break. encoding is that of the table; ok is false where the
// text has no such line or is in an encoding that is not known. No more than
// mostLineB bytes of a line are decoded.
func LineOf(b []byte, encoding string, n int) (line string, ok bool) {
	key := charsetKey(encoding)
	if _, known := charsets[key]; n < 1 || encoding != "" && !known {
		return "", false
	}
	if key == "" {
		key = sniffCharset(b[:min(len(b), 1<<20)])
	}
	if strings.HasPrefix(key, "utf-16") || strings.HasPrefix(key, "utf-32") {
		text, _, _, err := decode(b, key)
		if err != nil {
			return "", false
		}
		b, key = []byte(text), "utf-8"
	}
	// In all other encodings a break is a byte of its own.
	raw, ok := rawLine(b, n)
	if !ok {
		return "", false
	}
	cut := len(raw) > mostLineB
	text, _, _, err := decode(raw[:min(len(raw), mostLineB)], key)
	if cut {
		text = strings.TrimRightFunc(text, func(r rune) bool { return r == utf8.RuneError })
	}
	return strings.ToValidUTF8(text, "\ufffd"), err == nil
}

// mostLineB bounds a line that is shown.
const mostLineB = 64 << 10

func rawLine(b []byte, n int) ([]byte, bool) {
	for at := 0; at < len(b); n-- {
		end := bytes.IndexAny(b[at:], "\r\n")
		if end < 0 {
			return b[at:], n == 1
		}
		end += at
		if n == 1 {
			return b[at:end], true
		}
		next := end
		for next < len(b) && b[next] == '\r' {
			next++
		}
		if next < len(b) && b[next] == '\n' {
			at = next + 1
		} else {
			at = end + 1
		}
	}
	return nil, false
}

// CellSpan is where the n-th cell (from 1) of a line of a text export stands, in
// bytes; ok is false where the line has no such cell. A quoted cell is told with
// its quotes.
func CellSpan(line, separator string, n int) (from, to int, ok bool) {
	sep, known := separatorByte(separator)
	if !known || n < 1 {
		return 0, 0, false
	}
	at := 0
	for cell := 1; ; cell++ {
		if sep == ' ' {
			for at < len(line) && (line[at] == ' ' || line[at] == '\t') {
				at++
			}
		}
		end := cellEnd(line, at, sep)
		if cell == n {
			return at, end, at < len(line) || sep != ' '
		}
		if end >= len(line) {
			return 0, 0, false
		}
		at = end + 1
	}
}

// cellEnd is where the cell that begins at at is over.
func cellEnd(line string, at int, sep byte) int {
	if at < len(line) && line[at] == '"' {
		for i := at + 1; i < len(line); i++ {
			switch {
			case line[i] != '"':
			case i+1 < len(line) && line[i+1] == '"':
				i++
			case i+1 == len(line) || line[i+1] == sep:
				return i + 1
			}
		}
	}
	if k := strings.IndexByte(line[at:], sep); k >= 0 {
		return at + k
	}
	return len(line)
}

// RowOf gives the cells of one row of a workbook's sheet, or of an export whose
// rows are no lines; ok is false where it holds no such row.
func RowOf(name string, b []byte, opt Options, n int) (cells []string, ok bool, err error) {
	tables, err := ReadBytes(name, b, opt)
	if err != nil {
		return nil, false, fmt.Errorf("show row %d: %w", n, err)
	}
	for _, t := range tables {
		for _, rows := range [...][]Row{t.Rows, t.Preamble} {
			for i := range rows {
				if rows[i].Line == n {
					return rows[i].Cells, true, nil
				}
			}
		}
		if t.HeaderLine == n {
			return t.Header, true, nil
		}
	}
	return nil, false, nil
}
