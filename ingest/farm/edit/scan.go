package edit

import (
	"bytes"
	"errors"

	"github.com/pelletier/go-toml/v2"
)

// kind is what a node of the tree is.
type kind uint8

const (
	scalar kind = iota
	list
	table
)

// node is one value with the place in the text where it stands. Offsets count
// bytes of the text.
type node struct {
	kind     kind
	from, to int // of a value written behind "="; 0, 0 for a table of headers
	// braced: a value written behind "=" (scalar, array, inline table).
	braced bool
	keys   []*entry
	items  []*node
	// headed: a list of [[tables]].
	headed bool
	// commas are those of an array or inline table, inner an inline table's
	// statements.
	commas []int
	inner  []*statement
	// block is that of the table's own header.
	block *block
	// through are the statements that pass through a table by a dotted key, and
	// depth the parts of their keys that lead to it.
	through []*statement
	depth   int
}

type entry struct {
	key string
	val *node
	// by is the statement whose last part this key is; nil for tables that
	// headers or dotted keys make.
	by *statement
}

// part is one part of a dotted key.
type part struct {
	key      string
	from, to int
}

// statement is one "key = value".
type statement struct {
	parts []part
	val   *node
	block *block // that it stands in, nil inside braces
	in    *node  // the inline table that it stands in
}

func (s *statement) from() int { return s.parts[0].from }

// block is a header with the statements below it, up to the next header. The
// first block has no header.
type block struct {
	path       []string
	list       bool
	line       int // start of the header's line
	open       int // offset of its bracket
	headEnd    int // start of the line below the header
	end        int // start of the next header's line
	of         *node
	statements []*statement
}

// scanner reads a document that is known to be TOML, for the places of its
// values.
type scanner struct {
	src    []byte
	at     int
	root   *node
	cur    *node
	blocks []*block
}

var errScan = errors.New("no TOML")

func (n *node) find(key string) *entry {
	for _, e := range n.keys {
		if e.key == key {
			return e
		}
	}
	return nil
}

// last gives a table, of a list of tables the last.
func (n *node) last() *node {
	if n.kind == list && len(n.items) > 0 {
		return n.items[len(n.items)-1]
	}
	return n
}

// scan reads the whole text.
func scan(src []byte) (root *node, blocks []*block, err error) {
	s := &scanner{src: src, root: &node{kind: table}}
	s.at = len(src) - len(bytes.TrimPrefix(src, bom))
	first := &block{of: s.root, line: s.at, open: s.at, headEnd: s.at, end: len(src)}
	s.root.block, s.cur, s.blocks = first, s.root, []*block{first}
	for s.skip(true); s.at < len(src); s.skip(true) {
		if src[s.at] == '[' {
			err = s.header()
		} else {
			err = s.statement(s.cur, nil)
		}
		if err != nil {
			return nil, nil, err
		}
	}
	return s.root, s.blocks, nil
}

var bom = []byte("\ufeff")

func isBreak(c byte) bool { return c == '\n' || c == '\r' }

// skip passes blanks, with lines also line ends and comments.
func (s *scanner) skip(lines bool) {
	for s.at < len(s.src) {
		switch c := s.src[s.at]; {
		case c == ' ' || c == '\t':
			s.at++
		case lines && isBreak(c):
			s.at++
		case lines && c == '#':
			s.at = lineEnd(s.src, s.at)
		default:
			return
		}
	}
}

// lineEnd is where the line of an offset ends, before its break.
func lineEnd(src []byte, at int) int {
	for at < len(src) && !isBreak(src[at]) {
		at++
	}
	return at
}

// lineStart is where the line of an offset begins.
func lineStart(src []byte, at int) int {
	for at > 0 && !isBreak(src[at-1]) {
		at--
	}
	if at == 0 && bytes.HasPrefix(src, bom) {
		return len(bom)
	}
	return at
}

// nextLine is where the line below an offset begins, or the end.
func nextLine(src []byte, at int) int {
	at = lineEnd(src, at)
	if at < len(src) && src[at] == '\r' {
		at++
		if at < len(src) && src[at] == '\n' {
			at++
		}
		return at
	}
	return min(at+1, len(src))
}

// header reads [a.b] or [[a.b]].
func (s *scanner) header() error {
	open := s.at
	b := &block{line: lineStart(s.src, open), open: open, end: len(s.src)}
	s.at++
	if b.list = s.at < len(s.src) && s.src[s.at] == '['; b.list {
		s.at++
	}
	parts, err := s.key()
	if err != nil {
		return err
	}
	s.skip(false)
	s.at += 1 // ]
	if b.list {
		s.at++
	}
	b.headEnd = nextLine(s.src, s.at)
	s.at = min(lineEnd(s.src, s.at), len(s.src))
	s.blocks[len(s.blocks)-1].end = b.line
	s.blocks = append(s.blocks, b)
	t := s.root
	for i, p := range parts {
		b.path = append(b.path, p.key)
		e := t.find(p.key)
		final := i == len(parts)-1
		if e == nil {
			e = &entry{key: p.key, val: &node{kind: table}}
			if final && b.list {
				e.val = &node{kind: list, headed: true}
			}
			t.keys = append(t.keys, e)
		}
		if final && b.list {
			if !e.val.headed {
				return errScan
			}
			e.val.items = append(e.val.items, &node{kind: table})
		}
		if t = e.val.last(); t.kind != table {
			return errScan
		}
	}
	t.block, b.of, s.cur = b, t, t
	return nil
}

// statement reads "key = value" into a table; in is the inline table it stands
// in, nil under a header.
func (s *scanner) statement(t, in *node) error {
	parts, err := s.key()
	if err != nil {
		return err
	}
	st := &statement{parts: parts, in: in}
	if in == nil {
		st.block = s.blocks[len(s.blocks)-1]
		st.block.statements = append(st.block.statements, st)
	} else {
		in.inner = append(in.inner, st)
	}
	s.skip(false)
	s.at++ // =
	s.skip(false)
	if st.val, err = s.value(); err != nil {
		return err
	}
	for i, p := range parts[:len(parts)-1] {
		e := t.find(p.key)
		if e == nil {
			e = &entry{key: p.key, val: &node{kind: table, depth: i + 1}}
			t.keys = append(t.keys, e)
		}
		if t = e.val; t.kind != table {
			return errScan
		}
		t.through = append(t.through, st)
	}
	t.keys = append(t.keys, &entry{key: parts[len(parts)-1].key, val: st.val, by: st})
	return nil
}

// key reads a key, dotted or not.
func (s *scanner) key() ([]part, error) {
	var out []part
	for {
		s.skip(false)
		p := part{from: s.at}
		if s.at >= len(s.src) {
			return nil, errScan
		}
		if c := s.src[s.at]; c == '"' || c == '\'' {
			s.quoted(c)
			text, err := decodeText(s.src[p.from:s.at])
			if err != nil {
				return nil, err
			}
			p.key = text
		} else {
			for s.at < len(s.src) && bare(s.src[s.at]) {
				s.at++
			}
			p.key = string(s.src[p.from:s.at])
			if p.key == "" {
				return nil, errScan
			}
		}
		p.to = s.at
		out = append(out, p)
		s.skip(false)
		if s.at >= len(s.src) || s.src[s.at] != '.' {
			return out, nil
		}
		s.at++
	}
}

func bare(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' || c == '-'
}

// quoted passes a string of one line.
func (s *scanner) quoted(quote byte) {
	for s.at++; s.at < len(s.src) && s.src[s.at] != quote; s.at++ {
		if quote == '"' && s.src[s.at] == '\\' {
			s.at++
		}
	}
	s.at = min(s.at+1, len(s.src))
}

// long passes a string of several lines, which may end in two quotes of its
// own.
func (s *scanner) long(quote byte) {
	run := 0
	for s.at += 3; s.at < len(s.src); s.at++ {
		switch c := s.src[s.at]; {
		case c == quote:
			if run++; run == 3 {
				s.at++
				for n := 0; n < 2 && s.at < len(s.src) && s.src[s.at] == quote; n++ {
					s.at++
				}
				return
			}
			continue
		case c == '\\' && quote == '"':
			s.at++
		}
		run = 0
	}
	s.at = len(s.src)
}

func (s *scanner) value() (*node, error) {
	if s.at >= len(s.src) {
		return nil, errScan
	}
	n := &node{from: s.at, braced: true}
	var err error
	switch c := s.src[s.at]; c {
	case '"', '\'':
		if bytes.HasPrefix(s.src[s.at:], []byte{c, c, c}) {
			s.long(c)
		} else {
			s.quoted(c)
		}
	case '[':
		n.kind = list
		err = s.inside(n, ']', func() error {
			v, err := s.value()
			n.items = append(n.items, v)
			return err
		})
	case '{':
		n.kind = table
		err = s.inside(n, '}', func() error { return s.statement(n, n) })
	default:
		for s.at < len(s.src) && !isBreak(s.src[s.at]) && !bytes.ContainsRune([]byte(",]}#"), rune(s.src[s.at])) {
			s.at++
		}
		s.at = n.from + len(bytes.TrimRight(s.src[n.from:s.at], " \t"))
	}
	n.to = s.at
	return n, err
}

// inside reads what stands between brackets or braces.
func (s *scanner) inside(n *node, end byte, one func() error) error {
	s.at++
	for {
		s.skip(true)
		switch {
		case s.at >= len(s.src):
			return errScan
		case s.src[s.at] == end:
			s.at++
			return nil
		case s.src[s.at] == ',':
			n.commas = append(n.commas, s.at)
			s.at++
		default:
			before := s.at
			if err := one(); err != nil {
				return err
			}
			if s.at == before {
				return errScan
			}
		}
	}
}

func decodeText(raw []byte) (string, error) {
	v, err := decodeValue(raw)
	text, ok := v.(string)
	if err == nil && !ok {
		err = errScan
	}
	return text, err
}

// decodeValue reads one value as the library does.
func decodeValue(raw []byte) (any, error) {
	var v struct{ V any }
	err := toml.Unmarshal(append([]byte("V = "), plain(raw)...), &v)
	return v.V, err
}

// plain turns every line end into the one that the farm file's reader sees.
func plain(src []byte) []byte {
	src = bytes.TrimPrefix(src, bom)
	return bytes.ReplaceAll(bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
}

// decode reads a whole document as the library does.
func decode(src []byte) (map[string]any, error) {
	tree := map[string]any{}
	err := toml.Unmarshal(plain(src), &tree)
	return tree, err
}
