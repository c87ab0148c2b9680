// Package keyed reads TOML strictly: a tree of values with the line of each
// and the order of the keys, tables in which every key that nobody asked for is
// a fault, and all faults of a file in one run, each with key, line, what stood
// there, what was expected and what to do. It knows TOML and no farm.
package keyed

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// Kind is what a value of farm.toml is, in words that a farmer reads.
type Kind uint8

// The kinds.
const (
	IsTable Kind = iota
	IsList
	IsText
	IsNumber
	isYesNo
	isTime // date, time of day, or both
)

// Node is one value of farm.toml with the line on which it stands.
type Node struct {
	Kind Kind
	Line int
	// Raw is the value as written; Text the string, or the date or time as
	// written.
	Raw, Text string
	num       float64
	whole     bool // a number written without decimals
	yes       bool
	Keys      []Entry // of a table, in the order of the file
	Items     []*Node // of a list
	// stated: a table with a header or braces of its own, not one that a
	// dotted key implied; inline: with braces; headed: a list of [[tables]].
	Stated, Inline, headed bool
}

// Entry is one key of a table.
type Entry struct {
	Key  string
	Line int
	Val  *Node
}

// Find gives a key of a table, nil where it has none.
func (n *Node) Find(key string) *Entry {
	for i := range n.Keys {
		if n.Keys[i].Key == key {
			return &n.Keys[i]
		}
	}
	return nil
}

// builder makes the tree of nodes in one pass of the library's parser.
type builder struct {
	p      *unstable.Parser
	src    []byte
	lines  []int // offset of each line's start
	root   *Node
	cur    *Node // table that the last header named
	path   string
	double func(path string, line, first int)
}

// build reads a whole document. at is the offset of a syntax error, from that
// of the expression that holds it.
func build(src []byte, double func(path string, line, first int)) (root *Node, from, at int, err error) {
	b := builder{p: &unstable.Parser{}, src: src, lines: lineStarts(src), root: &Node{Kind: IsTable, Line: 1, Stated: true}, double: double}
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
		path = Join(path, p.key)
		e := t.Find(p.key)
		if e == nil {
			t.Keys = append(t.Keys, Entry{p.key, p.line, &Node{Kind: IsTable, Line: p.line}})
			e = &t.Keys[len(t.Keys)-1]
		}
		next := e.Val
		last := i == len(parts)-1
		if next.Kind == IsList && next.headed && !last {
			next = next.Items[len(next.Items)-1]
		}
		if next.Kind != IsTable || next.Inline || last && next.Stated {
			b.double(path, p.line, e.Line)
			next = &Node{Kind: IsTable, Line: p.line}
		}
		if last {
			next.Stated = true
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
		path = Join(path, p.key)
		e := t.Find(p.key)
		if e == nil {
			t.Keys = append(t.Keys, Entry{p.key, p.line, &Node{Kind: IsTable, Line: p.line}})
			e = &t.Keys[len(t.Keys)-1]
		}
		t = e.Val
		if t.Kind == IsList && t.headed {
			t = t.Items[len(t.Items)-1]
		}
	}
	path = Join(path, last.key)
	it := &Node{Kind: IsTable, Line: last.line, Stated: true}
	e := t.Find(last.key)
	switch {
	case e == nil:
		t.Keys = append(t.Keys, Entry{last.key, last.line, &Node{Kind: IsList, headed: true, Line: last.line, Items: []*Node{it}}})
	case e.Val.Kind == IsList && e.Val.headed:
		e.Val.Items = append(e.Val.Items, it)
	default:
		b.double(path, last.line, e.Line)
	}
	b.cur, b.path = it, path
}

// keyValue books one key under a table; a dotted key makes the tables between.
func (b *builder) keyValue(t *Node, path string, e *unstable.Node) {
	parts := b.parts(e)
	for _, p := range parts[:len(parts)-1] {
		path = Join(path, p.key)
		found := t.Find(p.key)
		if found == nil {
			t.Keys = append(t.Keys, Entry{p.key, p.line, &Node{Kind: IsTable, Line: p.line}})
			found = &t.Keys[len(t.Keys)-1]
		} else if found.Val.Kind != IsTable || found.Val.Inline {
			b.double(path, p.line, found.Line)
			return
		}
		t = found.Val
	}
	last := parts[len(parts)-1]
	path = Join(path, last.key)
	if old := t.Find(last.key); old != nil {
		b.double(path, last.line, old.Line)
		return
	}
	t.Keys = append(t.Keys, Entry{last.key, last.line, nil})
	k := len(t.Keys) - 1
	t.Keys[k].Val = b.value(e.Value(), path, last.line)
}

// value reads one value; line stands in where the parser gives none.
func (b *builder) value(v *unstable.Node, path string, line int) *Node {
	n := &Node{Line: line, Raw: string(v.Data)}
	if v.Raw.Length > 0 {
		n.Line = b.line(v)
		n.Raw = string(b.p.Raw(v.Raw))
	}
	switch v.Kind {
	case unstable.Array:
		n.Kind, n.Raw = IsList, "a list"
		for it := v.Children(); it.Next(); {
			n.Items = append(n.Items, b.value(it.Node(), path, n.Line))
		}
	case unstable.InlineTable:
		n.Kind, n.Raw, n.Stated, n.Inline = IsTable, "a table { … }", true, true
		for it := v.Children(); it.Next(); {
			b.keyValue(n, path, it.Node())
		}
		for i := range n.Keys {
			seal(n.Keys[i].Val)
		}
	case unstable.String:
		n.Kind, n.Text = IsText, string(v.Data)
	case unstable.Bool:
		n.Kind, n.yes = isYesNo, string(v.Data) == "true"
	case unstable.Integer, unstable.Float:
		n.Kind, n.whole = IsNumber, v.Kind == unstable.Integer
		n.num = number(v.Data)
	default:
		n.Kind, n.Text = isTime, string(v.Data)
	}
	return n
}

// seal closes the tables inside braces: nothing can be added to them later.
func seal(n *Node) {
	if n.Kind == IsTable {
		n.Stated, n.Inline = true, true
		for i := range n.Keys {
			seal(n.Keys[i].Val)
		}
	}
}

// number reads a number as the library does (bases, underscores, inf, nan).
func number(data []byte) float64 {
	var v struct{ V any }
	if err := toml.Unmarshal(append([]byte("V = "), data...), &v); err != nil {
		return math.NaN()
	}
	switch x := v.V.(type) {
	case int64:
		return float64(x)
	case float64:
		return x
	}
	return math.NaN()
}

// Join puts a key behind the path of its table.
func Join(path, key string) string {
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
