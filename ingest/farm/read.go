package farm

import (
	"bytes"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/text/encoding/unicode"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
)

// maxBytes is far more than any farm file needs.
const maxBytes = 4 << 20

// maxSyntax is how many places that are no TOML are told of in one run.
const maxSyntax = 10

// skipped names the table that stands in for a header that could not be read.
const skipped = "\x01skipped"

// Read reads and checks a farm file. name is how messages call it. All faults
// of one run come back sorted by line; the farm is nil where there are any.
func Read(name string, src []byte) (*Farm, []series.Fault) {
	r := &reader{file: name}
	src, ok := r.decode(src)
	if !ok {
		return nil, r.sorted()
	}
	root := r.parse(src)
	f := r.farm(&tab{r: r, node: root})
	if !r.broken {
		if line, column, text, ok := check(src); !ok && !r.hasLine(line) {
			r.add(line, "", fmt.Sprintf("column %d: %s", column, cut(text)), "TOML 1.0", "correct this line")
		}
	}
	if len(r.faults) > 0 {
		return nil, r.sorted()
	}
	return f, nil
}

// decode turns the bytes into UTF-8 with plain line ends. An editor's byte
// order mark and UTF-16 are read; anything else than Unicode is a fault.
func (r *reader) decode(src []byte) ([]byte, bool) {
	if len(src) > maxBytes {
		r.add(1, "", fmt.Sprintf("%d bytes", len(src)), "a farm file of a few kilobytes", "put the logs in files of their own")
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
		r.add(1+bytes.Count(src[:k], []byte("\n")), "", "a byte that no text holds", "a text file in UTF-8", "save it as plain text, encoding UTF-8")
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
		r.add(line, "", fmt.Sprintf("%q", cut(strings.ToValidUTF8(firstLine(src, starts, line), "?"))), "a text file in UTF-8", "save the file again, encoding UTF-8")
		src = bytes.ToValidUTF8(src, []byte("?"))
	}
	return src, true
}

// parse builds the tree. A line that is no TOML is told of and left out, and
// the rest read, so that one run finds every fault.
func (r *reader) parse(src []byte) *node {
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
		r.broken = true
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
func (r *reader) blank(src []byte, starts []int, from, line int) int {
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
func (r *reader) syntax(src []byte, starts []int, first, line, at int, why string) {
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
	r.add(line, "", fmt.Sprintf("%q (column %d: %s)", cut(text), at-starts[line-1]+1, why), "TOML 1.0: key = value, or [table]", do)
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
func (r *reader) double(path string, line, first int) {
	if !strings.HasPrefix(path, skipped) {
		r.add(line, path, "a key that stands already", fmt.Sprintf("each key once (first in line %d)", first), "take one of them out")
	}
}

// farm reads the whole file, table by table.
func (r *reader) farm(t *tab) *Farm {
	f := &Farm{Zone: time.UTC, StepS: 60}
	r.farmTable(t, f)
	r.heatTables(t, f)
	r.moneyTables(t, f)
	r.dayTables(t, f)
	f.Errors = r.errorsTable(t)
	f.Matched = r.matched(t, f.Zone)
	f.Flags = r.flags(t)
	r.record(t, f)
	for _, l := range t.tables("log") {
		f.Logs = append(f.Logs, r.log(l))
	}
	tellApart(f.Logs)
	if t.node.find("log") == nil && !r.broken {
		r.add(0, "log", "nothing", "at least one [[log]] with files = [\"…\"]", "add a [[log]] table for each logger; `yardheat start` writes them")
	}
	t.close(nil)
	return f
}

// farmTable reads [farm] first: its zone is needed for every date.
func (r *reader) farmTable(t *tab, f *Farm) {
	ft := t.table("farm")
	if ft == nil {
		if t.node.find("farm") == nil && !r.broken {
			r.add(0, "farm.timezone", "nothing", "the farm's time zone, such as \"Europe/Rome\"", "add [farm] with timezone = \"…\"")
		}
		return
	}
	ft.text("name", &f.Name)
	ft.need("timezone", "the farm's time zone, such as \"Europe/Rome\"")
	if ft.text("timezone", &f.ZoneName) {
		zone, err := clock.ParseZone(f.ZoneName)
		if err != nil {
			ft.bad(ft.node.find("timezone"), "an IANA zone such as \"Europe/Rome\"", zoneHint(f.ZoneName))
		} else {
			f.Zone = zone
		}
	}
	ft.close(nil)
}

// record reads [record].
func (r *reader) record(t *tab, f *Farm) {
	rt := t.table("record")
	if rt == nil {
		return
	}
	const want = `a step from "1s" to "24h", or "raw"`
	var step string
	if rt.text("step", &step) {
		e := rt.node.find("step")
		if step == "raw" {
			f.StepS = 0
		} else if s, ok := durationS(step); ok && s >= 1 && s <= 86400 {
			f.StepS = s
		} else {
			rt.bad(e, want, "write for example \"1m\"")
		}
	}
	rt.close(nil)
}
