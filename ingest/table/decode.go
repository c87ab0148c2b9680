package table

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
	"unsafe"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
	"golang.org/x/text/encoding/traditionalchinese"
	"golang.org/x/text/encoding/unicode"
)

// charsets are the encodings that [[log]] encoding may name.
var charsets = map[string]encoding.Encoding{
	"utf-8": nil, "ascii": nil,
	"utf-16le": unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), "utf-16be": unicode.UTF16(unicode.BigEndian, unicode.UseBOM),
	"windows-1252": charmap.Windows1252, "iso-8859-1": charmap.ISO8859_1, "iso-8859-15": charmap.ISO8859_15,
	"windows-1250": charmap.Windows1250, "windows-1251": charmap.Windows1251, "windows-1254": charmap.Windows1254, "iso-8859-2": charmap.ISO8859_2,
	"cp850": charmap.CodePage850, "cp437": charmap.CodePage437, "macintosh": charmap.Macintosh,
	"shift-jis": japanese.ShiftJIS, "euc-jp": japanese.EUCJP, "gbk": simplifiedchinese.GBK, "euc-kr": korean.EUCKR, "big5": traditionalchinese.Big5,
}

// charsetNames are the spellings that messages and results use.
const charsetNames = "UTF-8, UTF-16LE, UTF-16BE, Windows-1252, ISO-8859-1, ISO-8859-2, ISO-8859-15, Windows-1250, Windows-1251, Windows-1254, CP850, CP437, Macintosh, Shift-JIS, EUC-JP, GBK, EUC-KR, Big5"

func charsetKey(name string) string {
	k := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(name)), "_", "-")
	switch k {
	case "utf8", "utf-8-sig", "utf-8-bom":
		return "utf-8"
	case "utf-16", "utf16", "utf16le", "unicode":
		return "utf-16le"
	case "utf16be":
		return "utf-16be"
	case "cp1252", "cp-1252", "ansi", "1252":
		return "windows-1252"
	case "latin1", "latin-1", "iso8859-1":
		return "iso-8859-1"
	case "latin9", "latin-9":
		return "iso-8859-15"
	case "cp1251", "1251":
		return "windows-1251"
	case "sjis", "shiftjis", "cp932", "windows-31j":
		return "shift-jis"
	case "gb2312", "cp936":
		return "gbk"
	case "cp949", "ks-c-5601-1987":
		return "euc-kr"
	}
	return k
}

func charsetName(key string) string {
	for _, n := range strings.Split(charsetNames, ", ") {
		if strings.ToLower(n) == key {
			return n
		}
	}
	return key
}

// decode turns the bytes of a text export into UTF-8.
func decode(b []byte, named string) (text, name string, probs []Problem, err error) {
	return decodeText(b, named, false)
}

// decodeText is decode that, where the bytes are owned, makes no copy of UTF-8.
func decodeText(b []byte, named string, owned bool) (text, name string, probs []Problem, err error) {
	key := charsetKey(named)
	if key == "" {
		key = sniffCharset(b)
	}
	cs, known := charsets[key]
	if !known {
		return "", "", nil, fmt.Errorf("encoding %q", named)
	}
	if cs == nil {
		if b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")); owned {
			text = unsafe.String(unsafe.SliceData(b), len(b))
		} else {
			text = string(b)
		}
		if bad := firstInvalid(text); bad >= 0 {
			probs = append(probs, Problem{Code: "bad-encoding", Line: lineAt(text, bad),
				Text: fmt.Sprintf("byte %#x is not UTF-8; such bytes are kept as written and will not read as numbers or units", text[bad])})
		}
		return text, charsetName("utf-8"), probs, nil
	}
	if len(b)%2 == 1 && strings.HasPrefix(key, "utf-16") {
		probs = append(probs, Problem{Code: "file-cut", Text: "the file ends in the middle of a two-byte character: it was cut, or is not " + charsetName(key)})
	}
	out, err := cs.NewDecoder().Bytes(b)
	if err != nil {
		return "", "", nil, fmt.Errorf("decoding as %s: %w", charsetName(key), err)
	}
	return strings.TrimPrefix(string(out), "\ufeff"), charsetName(key), probs, nil
}

// sniffCharset finds the encoding: byte-order marks, NULs in alternate bytes,
// valid UTF-8, the pairs of Eastern code pages, and else that of Western loggers.
func sniffCharset(b []byte) string {
	switch {
	case bytes.HasPrefix(b, []byte("\xff\xfe")):
		return "utf-16le"
	case bytes.HasPrefix(b, []byte("\xfe\xff")):
		return "utf-16be"
	case bytes.HasPrefix(b, []byte("\xef\xbb\xbf")) || utf8.Valid(b) && bytes.IndexByte(b[:min(len(b), 4096)], 0) < 0:
		return "utf-8"
	}
	if wide := sniffWide(b); wide != "" {
		return wide
	}
	if utf8.Valid(b) || mostlyUTF8(b) {
		return "utf-8"
	}
	return sniffCodePage(b)
}

// sniffCodePage tells code pages by their degree sign (0xB0, 0xF8 or 0xA1: "ø"
// and "¡" in Windows-1252), and those of Central Europe and Turkey by the
// letters of their languages.
func sniffCodePage(b []byte) string {
	if wide := sniffEastern(b); wide != "" {
		return wide
	}
	if isCyrillic(b) {
		return "windows-1251"
	}
	if bytes.IndexByte(b, 0xb0) < 0 {
		for _, unit := range [...]byte{'C', 'F'} {
			switch {
			case bytes.Contains(b, []byte{0xf8, unit}):
				return "cp850"
			case bytes.Contains(b, []byte{0xa1, unit}):
				return "macintosh"
			}
		}
	}
	if page := letterPage(b[:min(len(b), letteredB)]); page != "" {
		return page
	}
	return "windows-1252"
}

// letteredB of a file tell its language: header and remarks stand in front.
const letteredB = 64 << 10

// sniffWide knows UTF-16 without a mark: in Western text every other byte is
// NUL.
func sniffWide(b []byte) string {
	head := b[:min(len(b), 4096)&^1]
	var even, odd int
	for i := 0; i < len(head); i += 2 {
		if head[i] == 0 {
			even++
		}
		if head[i+1] == 0 {
			odd++
		}
	}
	pairs := len(head) / 2
	switch {
	case pairs > 1 && odd*10 > pairs*8 && even*10 < pairs:
		return "utf-16le"
	case pairs > 1 && even*10 > pairs*8 && odd*10 < pairs:
		return "utf-16be"
	}
	return ""
}

// mostlyUTF8 tells a UTF-8 file with a few damaged bytes from one in a code
// page: whole multi-byte characters outnumber the bytes that are none.
func mostlyUTF8(b []byte) bool {
	good, bad := 0, 0
	for i := 0; i < len(b); {
		if b[i] < utf8.RuneSelf {
			i++
			continue
		}
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 {
			bad++
		} else {
			good++
		}
		i += n
	}
	return good > bad
}

func firstInvalid(text string) int {
	if utf8.ValidString(text) {
		return -1
	}
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

// lineAt gives the 1-based line of a byte offset.
func lineAt(text string, at int) int {
	line := 1
	for i := 0; i < at; {
		end, next := lineEnd(text, i)
		if next > at || next == i || end == len(text) {
			break
		}
		line, i = line+1, next
	}
	return line
}

// foreign are files that are no text table, by their first bytes.
var foreign = []struct{ magic, what, do string }{
	{"%PDF", "a PDF document", "export the readings as CSV or as an .xlsx workbook instead of printing them"},
	{"\x89PNG", "a picture (PNG)", "export the readings as CSV or .xlsx instead of the chart"},
	{"\xff\xd8\xff", "a picture (JPEG)", "export the readings as CSV or .xlsx instead of the chart"},
	{"GIF8", "a picture (GIF)", "export the readings as CSV or .xlsx instead of the chart"},
	{"BM\x36", "a picture (BMP)", "export the readings as CSV or .xlsx instead of the chart"},
	{"\xd0\xcf\x11\xe0", "an old binary workbook (.xls) or another OLE file, or a workbook locked with a password",
		"open it in a spreadsheet program and save it as .xlsx without a password, or as CSV"},
	{"\x1f\x8b", "a gzip archive", "unpack it first"},
	{"7z\xbc\xaf", "a 7z archive", "unpack it first"},
	{"Rar!", "a RAR archive", "unpack it first"},
	{"BZh", "a bzip2 archive", "unpack it first"},
	{"SQLite format 3", "a database file (SQLite)", "export the table of readings as CSV"},
	{"PAR1", "a Parquet file", "export the readings as CSV or .xlsx"},
}

// refuseForeign is an error for what is clearly no text export.
func refuseForeign(name string, b []byte) error {
	const want = "a text export (CSV) or a workbook (.xlsx)"
	if len(bytes.Trim(b, " \t\r\n\x00\x1a\xef\xbb\xbf\xff\xfe")) == 0 {
		got := "an empty file"
		if len(b) > 0 {
			got = fmt.Sprintf("a file of %d bytes, all of them blank", len(b))
		}
		return &Error{File: name, Got: got, Want: want, Do: "export the log again and look whether the logger holds readings", Err: ErrEmpty}
	}
	for _, f := range foreign {
		if bytes.HasPrefix(b, []byte(f.magic)) {
			return &Error{File: name, Got: f.what, Want: want, Do: f.do}
		}
	}
	head := bytes.ToLower(bytes.TrimLeft(b[:min(len(b), 1024)], "\xef\xbb\xbf \t\r\n"))
	switch {
	case bytes.HasPrefix(head, []byte("<!doctype html")) || bytes.HasPrefix(head, []byte("<html")):
		return &Error{File: name, Got: "a web page (HTML)", Want: want, Do: "download the data file itself; a log-in page is often saved in its place"}
	case bytes.HasPrefix(head, []byte("<?xml")):
		return &Error{File: name, Got: "an XML document", Want: want, Do: "open it in a spreadsheet program and save it as .xlsx or CSV"}
	}
	if wide := sniffCharset(b[:min(len(b), 8192)]); strings.HasPrefix(wide, "utf-16") {
		return nil
	}
	if binaryShare(b[:min(len(b), 65536)]) > 0.02 {
		return &Error{File: name, Got: fmt.Sprintf("binary content (it begins %q)", b[:min(len(b), 12)]), Want: want,
			Do: "export the readings with the logger's own program as CSV or .xlsx"}
	}
	return nil
}

// binaryShare is the share of control characters that no text holds. NULs are
// left out: a logger that lost power leaves runs of them.
func binaryShare(b []byte) float64 {
	n, all := 0, 1
	for _, c := range b {
		if c == 0 {
			continue
		}
		all++
		if c < 0x20 && (c < '\t' || c > '\r') && c != 0x1a && c != 0x1b {
			n++
		}
	}
	return float64(n) / float64(all)
}

// nulProblem lists NUL characters: what holds one inside will not read as a
// number.
func nulProblem(text string) []Problem {
	i := strings.IndexByte(text, 0)
	if i < 0 {
		return nil
	}
	return []Problem{{Code: "nul-bytes", Line: lineAt(text, i), Text: fmt.Sprintf(
		"%d NUL characters, as a logger leaves them that lost power while writing; cells broken by one are not read", strings.Count(text, "\x00"))}}
}

var errNoTable = errors.New("no table")
