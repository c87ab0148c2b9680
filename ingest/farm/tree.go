package farm

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is what a value of farm.toml is, in words that a farmer reads.
type kind uint8

const (
	isTable kind = iota
	isList
	isText
	isNumber
	isYesNo
	isTime // date, time of day, or both
)

// node is one value of farm.toml with the line on which it stands.
type node struct {
	kind kind
	line int
	// raw is the value as written; text the string, or the date or time as
	// written.
	raw, text string
	num       float64
	whole     bool // a number written without decimals
	yes       bool
	keys      []entry // of a table, in the order of the file
	items     []*node // of a list
	// stated: a table with a header or braces of its own, not one that a
	// dotted key implied; inline: with braces; headed: a list of [[tables]].
	stated, inline, headed bool
}

// entry is one key of a table.
type entry struct {
	key  string
	line int
	val  *node
}

func (n *node) find(key string) *entry {
	for i := range n.keys {
		if n.keys[i].key == key {
			return &n.keys[i]
		}
	}
	return nil
}

// builder makes the tree of nodes in one pass of the library's parser.
type builder struct {
	p      *unstable.Parser
	src    []byte
	lines  []int // offset of each line's start
	root   *node
	cur    *node // table that the last header named
	path   string
	double func(path string, line, first int)
}

// build reads a whole document. at is the offset of a syntax error, from that
// of the expression that holds it.
func build(src []byte, double func(path string, line, first int)) (root *node, from, at int, err error) {
	b := builder{p: &unstable.Parser{}, src: src, lines: lineStarts(src), root: &node{kind: isTable, line: 1, stated: true}, double: double}
	b.cur = b.root
	b.p.Reset(src)
	end := 0
	for b.p.NextExpression() {
		e := b.p.Expression()
		b.expression(e)
		if it := e.Key(); it.Next() {
			end = int(it.Node().Raw.Offset)
		}
		end = max(end, int(e.Raw.Offset+e.Raw.Length))
	}
	if err := b.p.Error(); err != nil {
		return b.root, end, b.offsetOf(err), err
	}
	return b.root, 0, 0, nil
}

// offsetOf finds where a syntax error stands: the parser marks it by a piece
// of the source.
func (b *builder) offsetOf(err error) int {
	var pe *unstable.ParserError
	if !errors.As(err, &pe) {
		return 0
	}
	off := cap(b.src) - cap(pe.Highlight)
	if cap(pe.Highlight) == 0 || off < 0 || off > len(b.src) {
		return len(b.src)
	}
	return off
}

func lineStarts(src []byte) []int {
	out := []int{0}
	for i, c := range src {
		if c == '\n' {
			out = append(out, i+1)
		}
	}
	return out
}

// lineOf is the 1-based line of an offset.
func lineOf(starts []int, off int) int {
	low, high := 0, len(starts)
	for high-low > 1 {
		if mid := (low + high) / 2; starts[mid] <= off {
			low = mid
		} else {
			high = mid
		}
	}
	return low + 1
}

func (b *builder) line(n *unstable.Node) int { return lineOf(b.lines, int(n.Raw.Offset)) }

// part is one part of a dotted key.
type part struct {
	key  string
	line int
}

func (b *builder) parts(n *unstable.Node) []part {
	var out []part
	for it := n.Key(); it.Next(); {
		k := it.Node()
		out = append(out, part{string(k.Data), b.line(k)})
	}
	return out
}

func (b *builder) expression(e *unstable.Node) {
	switch e.Kind {
	case unstable.Table:
		b.header(b.parts(e))
	case unstable.ArrayTable:
		b.item(b.parts(e))
	case unstable.KeyValue:
		b.keyValue(b.cur, b.path, e)
	}
}

// header enters [a.b.c].
func (b *builder) header(parts []part) {
	t, path := b.root, ""
	for i, p := range parts {
		path = join(path, p.key)
		e := t.find(p.key)
		if e == nil {
			t.keys = append(t.keys, entry{p.key, p.line, &node{kind: isTable, line: p.line}})
			e = &t.keys[len(t.keys)-1]
		}
		next := e.val
		last := i == len(parts)-1
		if next.kind == isList && next.headed && !last {
			next = next.items[len(next.items)-1]
		}
		if next.kind != isTable || next.inline || last && next.stated {
			b.double(path, p.line, e.line)
			next = &node{kind: isTable, line: p.line}
		}
		if last {
			next.stated = true
		}
		t = next
	}
	b.cur, b.path = t, path
}

// item enters [[a.b]]: one more table of a list.
func (b *builder) item(parts []part) {
	last := parts[len(parts)-1]
	t, path := b.root, ""
	for _, p := range parts[:len(parts)-1] {
		path = join(path, p.key)
		e := t.find(p.key)
		if e == nil {
			t.keys = append(t.keys, entry{p.key, p.line, &node{kind: isTable, line: p.line}})
			e = &t.keys[len(t.keys)-1]
		}
		t = e.val
		if t.kind == isList && t.headed {
			t = t.items[len(t.items)-1]
		}
	}
	path = join(path, last.key)
	it := &node{kind: isTable, line: last.line, stated: true}
	e := t.find(last.key)
	switch {
	case e == nil:
		t.keys = append(t.keys, entry{last.key, last.line, &node{kind: isList, headed: true, line: last.line, items: []*node{it}}})
	case e.val.kind == isList && e.val.headed:
		e.val.items = append(e.val.items, it)
	default:
		b.double(path, last.line, e.line)
	}
	b.cur, b.path = it, path
}

// keyValue books one key under a table; a dotted key makes the tables between.
func (b *builder) keyValue(t *node, path string, e *unstable.Node) {
	parts := b.parts(e)
	for _, p := range parts[:len(parts)-1] {
		path = join(path, p.key)
		found := t.find(p.key)
		if found == nil {
			t.keys = append(t.keys, entry{p.key, p.line, &node{kind: isTable, line: p.line}})
			found = &t.keys[len(t.keys)-1]
		} else if found.val.kind != isTable || found.val.inline {
			b.double(path, p.line, found.line)
			return
		}
		t = found.val
	}
	last := parts[len(parts)-1]
	path = join(path, last.key)
	if old := t.find(last.key); old != nil {
		b.double(path, last.line, old.line)
		return
	}
	t.keys = append(t.keys, entry{last.key, last.line, nil})
	k := len(t.keys) - 1
	t.keys[k].val = b.value(e.Value(), path, last.line)
}

// value reads one value; line stands in where the parser gives none.
func (b *builder) value(v *unstable.Node, path string, line int) *node {
	n := &node{line: line, raw: string(v.Data)}
	if v.Raw.Length > 0 {
		n.line = b.line(v)
		n.raw = string(b.p.Raw(v.Raw))
	}
	switch v.Kind {
	case unstable.Array:
		n.kind, n.raw = isList, "a list"
		for it := v.Children(); it.Next(); {
			n.items = append(n.items, b.value(it.Node(), path, n.line))
		}
	case unstable.InlineTable:
		n.kind, n.raw, n.stated, n.inline = isTable, "a table { … }", true, true
		for it := v.Children(); it.Next(); {
			b.keyValue(n, path, it.Node())
		}
		for i := range n.keys {
			seal(n.keys[i].val)
		}
	case unstable.String:
		n.kind, n.text = isText, string(v.Data)
	case unstable.Bool:
		n.kind, n.yes = isYesNo, string(v.Data) == "true"
	case unstable.Integer, unstable.Float:
		n.kind, n.whole = isNumber, v.Kind == unstable.Integer
		n.num = number(v.Data)
	default:
		n.kind, n.text = isTime, string(v.Data)
	}
	return n
}

// seal closes the tables inside braces: nothing can be added to them later.
func seal(n *node) {
	if n.kind == isTable {
		n.stated, n.inline = true, true
		for i := range n.keys {
			seal(n.keys[i].val)
		}
	}
}

// number reads a number as the library does (bases, underscores, inf, nan).
func number(data []byte) float64 {
	var v struct{ V any }
	if err := toml.Unmarshal(append([]byte("V = "), data...), &v); err != nil {
		return nan
	}
	switch x := v.V.(type) {
	case int64:
		return float64(x)
	case float64:
		return x
	}
	return nan
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// firstLine is the source line that holds an offset, trimmed.
func firstLine(src []byte, starts []int, line int) string {
	s := src[starts[line-1]:]
	if k := bytes.IndexByte(s, '\n'); k >= 0 {
		s = s[:k]
	}
	return strings.TrimSpace(string(s))
}

// check is the library's own opinion of the whole document: it knows rules
// that the tree does not (a table extended after it was closed, a date that is
// none). ok is true where it has nothing to say.
func check(src []byte) (line, column int, text string, ok bool) {
	var all map[string]any
	err := toml.Unmarshal(src, &all)
	if err == nil {
		return 0, 0, "", true
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, column = de.Position()
		return line, column, strings.TrimPrefix(de.Error(), "toml: "), false
	}
	return 1, 1, fmt.Sprint(err), false
}
