package keyed

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/unicode"

	"yardheat/ingest/series"
)

// maxBytes is far more than any farm file needs.
const maxBytes = 4 << 20

// maxSyntax is how many places that are no TOML are told of in one run.
const maxSyntax = 10

// skipped names the table that stands in for a header that could not be read.
const skipped = "\x01skipped"

// Open parses a file. name is how messages call it. The tree holds all that
// could be read; root is nil where the bytes are no text at all. Faults are
// collected in the Reader.
func Open(name string, src []byte) (r *Reader, root *Tab) {
	r = &Reader{file: name}
	src, ok := r.decode(src)
	if !ok {
		return r, nil
	}
	r.src = src
	return r, &Tab{R: r, Node: r.parse(src)}
}

// Finish holds the file against the library's own reading of it, once every
// table has been read, and gives all faults sorted by line.
func (r *Reader) Finish() []series.Fault {
	if r.src != nil && !r.Broken {
		if line, column, text, ok := check(r.src); !ok && !r.hasLine(line) {
			r.Add(line, "", fmt.Sprintf("column %d: %s", column, Cut(text)), "TOML 1.0", "correct this line")
		}
	}
	return r.sorted()
}

// decode turns the bytes into UTF-8 with plain line ends. An editor's byte
// order mark and UTF-16 are read; anything else than Unicode is a fault.
func (r *Reader) decode(src []byte) ([]byte, bool) {
	if len(src) > maxBytes {
		r.Add(1, "", fmt.Sprintf("%d bytes", len(src)), "a farm file of a few kilobytes", "put the logs in files of their own")
		return nil, false
	}
	if len(src) >= 2 && (src[0] == 0xff && src[1] == 0xfe || src[0] == 0xfe && src[1] == 0xff) {
		out, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder().Bytes(src)
		if err == nil {
			src = out
		}
	}
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	if k := bytes.IndexByte(src, 0); k >= 0 {
		r.Add(1+bytes.Count(src[:k], []byte("\n")), "", "a byte that no text holds", "a text file in UTF-8", "save it as plain text, encoding UTF-8")
		return nil, false
	}
	src = bytes.ReplaceAll(bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
	if !utf8.Valid(src) {
		k := 0
		for k < len(src) {
			c, n := utf8.DecodeRune(src[k:])
			if c == utf8.RuneError && n == 1 {
				break
			}
			k += n
		}
		starts := lineStarts(src)
		line := lineOf(starts, k)
		r.Add(line, "", fmt.Sprintf("%q", Cut(strings.ToValidUTF8(firstLine(src, starts, line), "?"))), "a text file in UTF-8", "save the file again, encoding UTF-8")
		src = bytes.ToValidUTF8(src, []byte("?"))
	}
	return src, true
}

// parse builds the tree. A line that is no TOML is told of and left out, and
// the rest read, so that one run finds every fault.
func (r *Reader) parse(src []byte) *Node {
	src = bytes.Clone(src)
	starts := lineStarts(src)
	// follow is the line at which an expression of several lines broke: what
	// is wrong there once more is most likely the rest of it.
	follow := 0
	for tries := 0; ; tries++ {
		// What the last try said of keys that stand twice is said again.
		double := len(r.faults)
		root, from, at, err := build(src, r.double)
		if err == nil || tries == 50*maxSyntax {
			return root
		}
		r.faults = r.faults[:double]
		r.Broken = true
		line := lineOf(starts, at)
		first := r.blank(src, starts, from, line)
		if first != follow && len(r.faults) < maxSyntax {
			r.syntax(src, starts, first, line, at, err.Error())
			follow = 0
		}
		if first < line {
			follow = line
		} else if follow > 0 {
			follow = line + 1
		}
		src = leaveOut(src, starts, first, line)
		starts = lineStarts(src)
	}
}

// blank gives the first line to leave out: that of the expression which could
// not be read, once blank lines and comments before it are passed.
func (r *Reader) blank(src []byte, starts []int, from, line int) int {
	first := lineOf(starts, from)
	if from > 0 {
		first++
	}
	for first < line {
		s := firstLine(src, starts, first)
		if s != "" && s[0] != '#' {
			break
		}
		first++
	}
	return min(first, line)
}

// leaveOut blanks the lines of an expression: all before the line where the
// error was seen, or that line if it is the only one. A header leaves a table
// behind that takes up the keys below it.
func leaveOut(src []byte, starts []int, first, line int) []byte {
	head := strings.HasPrefix(firstLine(src, starts, first), "[")
	last := line
	if first < line {
		last = line - 1
	}
	end := len(src)
	if last < len(starts) {
		end = starts[last] - 1
	}
	var mid []byte
	if head {
		mid = fmt.Appendf(nil, "[\"\\u0001skipped%d\"]", first)
	}
	mid = append(mid, bytes.Repeat([]byte("\n"), last-first)...)
	return append(append(bytes.Clone(src[:starts[first-1]]), mid...), src[end:]...)
}

// syntax books a line that is no TOML, with the slip that is most often behind
// it.
func (r *Reader) syntax(src []byte, starts []int, first, line, at int, why string) {
	text := firstLine(src, starts, first)
	do := "correct this line"
	key, value, found := strings.Cut(text, "=")
	key, value = strings.TrimSpace(key), strings.TrimSpace(value)
	switch {
	case strings.Contains(why, "escape"):
		do = `write / instead of \ in names of files, or put the text in single quotes`
	case found && isDecimalComma(value):
		do = "write a decimal point, not a comma"
	case found && strings.ContainsAny(key, " @#°µ()/%") && !strings.ContainsAny(key, `"'`), found && key != strings.ToValidUTF8(key, "") || found && !isASCII(key) && !strings.ContainsAny(key, `"'`):
		do = "put the key in quotes: a header with blanks or other signs needs them"
	case found && (value == "" || value[0] == '#'):
		do = "give the key a value, or take the line out"
	case found && bareWord(value):
		do = "put the text in quotes"
	case strings.HasPrefix(text, "[") && !strings.Contains(text, "]"):
		do = "close the bracket"
	}
	r.Add(line, "", fmt.Sprintf("%q (column %d: %s)", Cut(text), at-starts[line-1]+1, why), "TOML 1.0: key = value, or [table]", do)
}

func isASCII(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// isDecimalComma: "26,5".
func isDecimalComma(s string) bool {
	a, b, ok := strings.Cut(s, ",")
	digits := func(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
	return ok && digits(strings.TrimLeft(a, "+-")) && digits(b)
}

// bareWord: a text without quotes.
func bareWord(s string) bool {
	c := s[0] | 0x20
	return c >= 'a' && c <= 'z' && s != "true" && s != "false"
}

// double books a key or table that stands twice.
func (r *Reader) double(path string, line, first int) {
	if !strings.HasPrefix(path, skipped) {
		r.Add(line, path, "a key that stands already", fmt.Sprintf("each key once (first in line %d)", first), "take one of them out")
	}
}
