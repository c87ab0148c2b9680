package ooxml

import (
	"bytes"
	"encoding/xml"
	"strconv"
	"unicode/utf8"
)

// attr gives an attribute without prefix, "" where it is not there.
func attr(attrs []xml.Attr, name string) string { return string(value(attrs, name)) }

// value gives an attribute without prefix, nil where it is not there.
func value(attrs []xml.Attr, name string) []byte {
	for i := range attrs {
		if attrs[i].Name.Local == name && attrs[i].Name.Space == "" {
			return append([]byte{}, attrs[i].Value...)
		}
	}
	return nil
}

// doubled tells whether an attribute stands twice, which XML forbids and the
// decoder lets pass.
func doubled(attrs []xml.Attr) bool {
	for i := range attrs {
		for j := range i {
			if attrs[i].Name == attrs[j].Name {
				return true
			}
		}
	}
	return false
}

// trim takes off the blanks of XML.
func trim(b []byte) []byte {
	if len(b) > 0 && (b[0] <= ' ' || b[len(b)-1] <= ' ') {
		return bytes.Trim(b, " \t\r\n")
	}
	return b
}

// CellRef reads "BC12".
func CellRef(s string) (col, row int, ok bool) {
	i := 0
	for i < len(s) && i < 4 && s[i]|0x20 >= 'a' && s[i]|0x20 <= 'z' {
		col = col*26 + int(s[i]|0x20-'a') + 1
		i++
	}
	for j := i; j < len(s); j++ {
		if s[j]-'0' > 9 || row > MaxRows {
			return 0, 0, false
		}
		row = row*10 + int(s[j]-'0')
	}
	return col, row, i > 0 && row > 0
}

// CellName is the inverse of CellRef.
func CellName(col, row int) string {
	name := ""
	for ; col > 0; col = (col - 1) / 26 {
		name = string(rune('A'+(col-1)%26)) + name
	}
	return name + strconv.Itoa(row)
}

// hasEscape tells whether a text may hold an escape "_x000D_" (ECMA-376 part 1,
// 22.9.2.19 ST_Xstring, from memory).
func hasEscape(b []byte) bool { return len(b) >= 7 && bytes.Contains(b, []byte("_x")) }

// appendUnescaped resolves the escapes of a text; half a surrogate pair, which
// is no character, becomes U+FFFD.
func appendUnescaped(dst, b []byte) []byte {
	for i := 0; i < len(b); {
		if c, ok := escapeAt(b[i:]); ok {
			dst = utf8.AppendRune(dst, c)
			i += 7
			continue
		}
		dst = append(dst, b[i])
		i++
	}
	return dst
}

func escapeAt(b []byte) (rune, bool) {
	if len(b) < 7 || b[0] != '_' || b[1] != 'x' || b[6] != '_' {
		return 0, false
	}
	n, err := strconv.ParseUint(string(b[2:6]), 16, 32)
	return rune(n), err == nil
}
