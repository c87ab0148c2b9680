package ooxml

import (
	"bytes"
	"unicode/utf8"
)

// The classes of bytes within a value.
const (
	endsText = 1 << iota // a tag begins
	odd                  // the decoder must look: entity, stray >, control character, CR
	wide                 // a byte of a character beyond ASCII
)

var classOf = func() (t [256]uint8) {
	for c := range t {
		switch {
		case c == '<':
			t[c] = endsText
		case c == '&' || c == '>' || c < ' ' && c != '\t' && c != '\n' || c == 0x7f:
			t[c] = odd
		case c >= 0x80:
			t[c] = wide
		}
	}
	return t
}()

// plainRows takes rows as long as they are written in the plain way. It stops
// in front of what it does not know, at the row's beginning.
func (s *scanner) plainRows() error {
	for s.src.pos < len(s.src.cur) || s.src.more() {
		b, i := s.src.cur, s.src.pos
		if i = skipBlanks(b, i); i == len(b) {
			s.src.pos = i
			continue
		}
		next, ok, err := s.plainRow(b, i)
		if err != nil || !ok {
			return err
		}
		s.src.pos = next
	}
	return nil
}

func skipBlanks(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\n' || b[i] == '\t' || b[i] == '\r') {
		i++
	}
	return i
}

// plainRow takes the row that begins at b[i]. ok is false where it is not
// written in the plain way or does not end in b: nothing of it counts then.
func (s *scanner) plainRow(b []byte, i int) (next int, ok bool, err error) {
	if !bytes.HasPrefix(b[i:], []byte("<row")) {
		return 0, false, nil
	}
	bare := s.Bare
	i, closed, ok := s.attrs.read(b, i+4)
	if !ok {
		return 0, false, nil
	}
	if err := s.startRow(s.attrs.get(b, "r")); err != nil {
		return 0, false, err
	}
	for !closed {
		if i = skipBlanks(b, i); i+2 >= len(b) || b[i] != '<' {
			s.Bare = bare
			return 0, false, nil
		}
		if b[i+1] == 'c' {
			if i, ok, err = s.plainCell(b, i+2); err != nil || !ok {
				s.Bare = bare
				return 0, false, err
			}
			continue
		}
		if !bytes.HasPrefix(b[i:], []byte("</row>")) {
			s.Bare = bare
			return 0, false, nil
		}
		i += len("</row>")
		closed = true
	}
	return i, true, s.endRow()
}

// plainCell takes the cell whose tag's name ends at b[i].
func (s *scanner) plainCell(b []byte, i int) (next int, ok bool, err error) {
	i, closed, ok := s.attrs.read(b, i)
	if !ok {
		return 0, false, nil
	}
	if err := s.startCell(s.attrs.get(b, "r"), s.attrs.get(b, "s"), s.attrs.get(b, "t")); err != nil {
		return 0, false, err
	}
	s.formula, s.result = false, false
	var text []byte
	for !closed {
		if i+3 >= len(b) || b[i] != '<' {
			return 0, false, nil
		}
		switch {
		case b[i+1] == 'v' && b[i+2] == '>' && !s.result:
			text, i, ok = plainText(b, i+3)
			if ok = ok && bytes.HasPrefix(b[i:], []byte("</v>")); ok {
				i += len("</v>")
			}
			s.result = true
		case b[i+1] == 'f' && !s.formula:
			i, ok = s.plainFormula(b, i+2)
			s.formula = true
		case b[i+1] == 'i' && !s.result:
			text, i, ok = plainInline(b, i)
			s.result = true
		case b[i+1] == '/' && b[i+2] == 'c' && b[i+3] == '>':
			i, closed = i+4, true
		default:
			return 0, false, nil
		}
		if !ok {
			return 0, false, nil
		}
	}
	return i, true, s.endCell(text)
}

// plainText gives the text from b[i] to the next tag.
func plainText(b []byte, i int) (text []byte, next int, ok bool) {
	from, seen := i, uint8(0)
	for i < len(b) && classOf[b[i]]&endsText == 0 {
		seen |= classOf[b[i]]
		i++
	}
	text = b[from:i]
	if seen&odd != 0 || seen&wide != 0 && !plainRunes(text) {
		return nil, i, false
	}
	return text, i, i < len(b)
}

// plainRunes tells whether all is UTF-8 and none of it the two characters that
// XML leaves out.
func plainRunes(b []byte) bool {
	return utf8.Valid(b) && !bytes.Contains(b, []byte("\uFFFE")) && !bytes.Contains(b, []byte("\uFFFF"))
}

// plainFormula passes over a formula, whose text is not used.
func (s *scanner) plainFormula(b []byte, i int) (next int, ok bool) {
	i, closed, ok := s.attrs.read(b, i)
	if !ok || closed {
		return i, ok
	}
	if _, i, ok = plainText(b, i); !ok || !bytes.HasPrefix(b[i:], []byte("</f>")) {
		return 0, false
	}
	return i + len("</f>"), true
}

// plainInline takes an inline text of one run.
func plainInline(b []byte, i int) (text []byte, next int, ok bool) {
	for _, open := range [...]string{"<is><t>", `<is><t xml:space="preserve">`} {
		if !bytes.HasPrefix(b[i:], []byte(open)) {
			continue
		}
		text, i, ok = plainText(b, i+len(open))
		if !ok || !bytes.HasPrefix(b[i:], []byte("</t></is>")) {
			return nil, 0, false
		}
		return text, i + len("</t></is>"), true
	}
	return nil, 0, false
}

// attrList is where the attributes of one tag stand.
type attrList struct {
	n    int
	list [8]struct{ name, nameEnd, val, valEnd int }
}

// read takes the attributes from behind a tag's name up to the tag's end;
// closed tells that the tag closes itself. ok is false for anything that is
// not written the plain way, or that stands twice.
func (a *attrList) read(b []byte, i int) (next int, closed, ok bool) {
	a.n = 0
	for i < len(b) {
		switch b[i] {
		case '>':
			return i + 1, false, true
		case '/':
			return i + 2, true, i+1 < len(b) && b[i+1] == '>'
		case ' ', '\n', '\t', '\r':
			i++
			continue
		}
		if c := b[i-1]; c != ' ' && c != '\n' && c != '\t' && c != '\r' || a.n == len(a.list) {
			return 0, false, false
		}
		at := &a.list[a.n]
		at.name = i
		for i < len(b) && nameByte(b[i]) {
			i++
		}
		at.nameEnd = i
		if i == at.name || b[at.name]-'0' < 10 || i+2 >= len(b) || b[i] != '=' || b[i+1] != '"' {
			return 0, false, false
		}
		i += 2
		at.val = i
		for i < len(b) && b[i] != '"' {
			if c := b[i]; classOf[c] != 0 || c < ' ' {
				return 0, false, false
			}
			i++
		}
		at.valEnd = i
		i++
		if a.twice(b) {
			return 0, false, false
		}
		a.n++
	}
	return 0, false, false
}

// twice tells whether the attribute just read stands in the tag already.
func (a *attrList) twice(b []byte) bool {
	at := &a.list[a.n]
	for j := range a.n {
		if o := &a.list[j]; o.nameEnd-o.name == at.nameEnd-at.name && b[o.name] == b[at.name] && bytes.Equal(b[o.name:o.nameEnd], b[at.name:at.nameEnd]) {
			return true
		}
	}
	return false
}

func nameByte(c byte) bool {
	return c|0x20-'a' < 26 || c-'0' < 10 || c == ':' || c == '_'
}

// get gives the value of an attribute, nil where it is not there.
func (a *attrList) get(b []byte, name string) []byte {
	for j := range a.n {
		at := &a.list[j]
		if string(b[at.name:at.nameEnd]) == name {
			return b[at.val:at.valEnd:at.valEnd]
		}
	}
	return nil
}
