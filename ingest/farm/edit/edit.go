// Package edit changes single keys in the text of a farm.toml and leaves every
// other byte as it stands: comments, blank lines, the order of keys, the form of
// numbers and the line ends.
//
// Every change is held against the library's own reading of the text before and
// after: a change that would alter the meaning of any other key is refused and
// nothing is done. Whether the whole is a farm file says Doc.Farm.
//
// A table is named by its path: "loop", "log[1].columns", "electricity.rate[0]",
// "" for the keys above the first header. Numbers count from 0 in the order of
// the file.
package edit

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/unicode"

	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// FarmFile is the name under which faults speak of the file.
const FarmFile = "farm.toml"

// Broken is the error of a text that is no TOML.
type Broken struct{ Faults []series.Fault }

// Error names the first fault.
func (e *Broken) Error() string {
	if len(e.Faults) == 0 {
		return "no TOML"
	}
	f := e.Faults[0]
	return fmt.Sprintf("%s: %s: got %s; want %s; %s", f.File, f.Where, f.Got, f.Want, f.Do)
}

// Doc is the text of a farm file.
type Doc struct {
	src    []byte
	root   *node
	blocks []*block
	tree   map[string]any
	// wide: the file is UTF-16 and goes back so.
	wide bool
}

// New reads a text; an empty one will do. The error is a *Broken where it is no
// TOML.
func New(src []byte) (*Doc, error) {
	d := &Doc{}
	if len(src) >= 2 && (src[0] == 0xff && src[1] == 0xfe || src[0] == 0xfe && src[1] == 0xff) {
		out, err := utf16le.NewDecoder().Bytes(src)
		again, errBack := utf16le.NewEncoder().Bytes(out)
		if err != nil || errBack != nil || !bytes.Equal(again, src) {
			return nil, fmt.Errorf("%s is UTF-16 of a kind that cannot be written back as it is: save it as UTF-8", FarmFile)
		}
		src, d.wide = out, true
	}
	_, faults := farm.Read(FarmFile, src)
	if !utf8.Valid(src) || bytes.IndexByte(src, 0) >= 0 {
		return nil, &Broken{faults}
	}
	if err := d.take(bytes.Clone(src)); err != nil {
		return nil, &Broken{faults}
	}
	return d, nil
}

var utf16le = unicode.UTF16(unicode.LittleEndian, unicode.UseBOM)

// take makes a text the document's.
func (d *Doc) take(src []byte) error {
	tree, err := decode(src)
	if err != nil {
		return err
	}
	root, blocks, err := scan(src)
	if err != nil {
		return err
	}
	d.src, d.tree, d.root, d.blocks = src, tree, root, blocks
	return nil
}

// Bytes is the text as it stands now.
func (d *Doc) Bytes() []byte {
	if d.wide {
		if out, err := utf16le.NewEncoder().Bytes(d.src); err == nil {
			return out
		}
	}
	return bytes.Clone(d.src)
}

// Farm reads the text as the loader does: the farm, or every fault that still
// stands in it.
func (d *Doc) Farm() (*farm.Farm, []series.Fault) { return farm.Read(FarmFile, d.src) }

// Copy is a document of its own with the same text.
func (d *Doc) Copy() *Doc {
	c := *d // nothing of it is altered in place: every change makes all anew
	return &c
}

// cut replaces a piece of the text.
type cut struct {
	from, to int
	with     string
}

// apply makes the cuts and holds the result against the tree that is wanted.
// path leads to tables that the change may leave empty or make.
func (d *Doc) apply(cuts []cut, want map[string]any, path []step) error {
	slices.SortStableFunc(cuts, func(a, b cut) int { return cmp.Compare(a.from, b.from) })
	var out []byte
	at := 0
	for _, c := range cuts {
		if c.from < at {
			return errors.New("the key cannot be changed where it stands")
		}
		out = append(append(out, d.src[at:c.from]...), c.with...)
		at = c.to
	}
	out = append(out, d.src[at:]...)
	next := &Doc{wide: d.wide}
	if err := next.take(out); err != nil {
		return fmt.Errorf("the key cannot be written there: %w", err)
	}
	got := clone(next.tree).(map[string]any)
	want = clone(want).(map[string]any)
	grow(got, path)
	grow(want, path)
	if !same(got, want) {
		return errors.New("the change would alter other keys: nothing was done")
	}
	*d = *next
	return nil
}

// grow makes the tables of a path where they are absent.
func grow(tree map[string]any, path []step) {
	for _, s := range path {
		next, ok := child(tree, s, true)
		if !ok {
			return
		}
		tree = next
	}
}

// wanted is the tree with one table changed.
func (d *Doc) wanted(path []step, change func(t map[string]any)) (map[string]any, error) {
	want := clone(d.tree).(map[string]any)
	t := want
	for _, s := range path {
		next, ok := child(t, s, true)
		if !ok {
			return nil, fmt.Errorf("there is no %s[%d]", s.name, max(s.n, 0))
		}
		t = next
	}
	change(t)
	return want, nil
}

// Get gives a key's value as the library reads it: string, int64, float64, bool,
// a toml.LocalDate and its kin, []any, map[string]any.
func (d *Doc) Get(table, key string) (v any, ok bool) {
	path, err := parsePath(table)
	if err != nil {
		return nil, false
	}
	t := d.tree
	for _, s := range path {
		if t, ok = child(t, s, false); !ok {
			return nil, false
		}
	}
	v, ok = t[key]
	return clone(v), ok
}

// Len is how many tables a list has ("log", "event", "electricity.rate"); a
// single [table] counts as one.
func (d *Doc) Len(list string) int {
	path, err := parsePath(list)
	if err != nil || len(path) == 0 {
		return 0
	}
	t := d.tree
	for _, s := range path[:len(path)-1] {
		var ok bool
		if t, ok = child(t, s, false); !ok {
			return 0
		}
	}
	switch v := t[path[len(path)-1].name].(type) {
	case map[string]any:
		return 1
	case []any:
		return len(v)
	}
	return 0
}

// Set gives a key its value: in place where it stands, else as a new line in its
// table, which is made where it is absent. What means the same already stays as
// it is written; only a mark "# check" behind it is taken off.
func (d *Doc) Set(table, key string, v Value) error {
	if err := d.set(table, key, v); err != nil {
		return fmt.Errorf("set %s: %w", where(table, key), err)
	}
	return nil
}

func where(table, key string) string {
	if table == "" {
		return Key(key)
	}
	return table + "." + Key(key)
}

func (d *Doc) set(table, key string, v Value) error {
	to, err := v.usable()
	if err != nil {
		return err
	}
	if !utf8.ValidString(key) {
		return errors.New("a key that is not Unicode")
	}
	path, err := parsePath(table)
	if err != nil {
		return err
	}
	want, err := d.wanted(path, func(t map[string]any) { t[key] = to })
	if err != nil {
		return err
	}
	at, left, err := d.reach(path)
	if err != nil {
		return err
	}
	if len(left) > 0 {
		return d.apply(d.newTable(at, path, left, Key(key)+" = "+v.text), want, path)
	}
	e := at.find(key)
	if e == nil {
		return d.apply(d.insert(at, path, key, v.text), want, path)
	}
	if e.by == nil { // a table of headers or dotted keys: a value cannot stand beside it
		c := d.Copy()
		if err := c.unset(table, key); err != nil {
			return err
		}
		if err := c.set(table, key, v); err != nil {
			return err
		}
		*d = *c
		return nil
	}
	cuts := d.unmark(e.by)
	if now, _ := d.Get(table, key); !same(now, to) {
		cuts = append(cuts, cut{e.by.val.from, e.by.val.to, v.text})
	}
	if len(cuts) == 0 {
		return nil
	}
	return d.apply(cuts, want, path)
}

// Unset takes a key out, with its line and the comment behind it. An absent key
// is no error. A key that is a table of its own goes with all in it; the comment
// above its header stays.
func (d *Doc) Unset(table, key string) error {
	if err := d.unset(table, key); err != nil {
		return fmt.Errorf("unset %s: %w", where(table, key), err)
	}
	return nil
}

func (d *Doc) unset(table, key string) error {
	path, err := parsePath(table)
	if err != nil {
		return err
	}
	at, left, err := d.reach(path)
	if err != nil || len(left) > 0 {
		return err
	}
	e := at.find(key)
	if e == nil {
		return nil
	}
	want, err := d.wanted(path, func(t map[string]any) { delete(t, key) })
	if err != nil {
		return err
	}
	return d.apply(d.without(e), want, path)
}

// Add adds one more table to a list, such as "event" or "electricity.rate", as
// the last, and says which it is.
func (d *Doc) Add(list string, pairs ...Pair) (n int, err error) {
	if n, err = d.add(list, pairs); err != nil {
		return 0, fmt.Errorf("add to %s: %w", list, err)
	}
	return n, nil
}

func (d *Doc) add(list string, pairs []Pair) (int, error) {
	item := map[string]any{}
	var lines []string
	for _, p := range pairs {
		v, err := p.Value.usable()
		if err != nil {
			return 0, fmt.Errorf("%s: %w", p.Key, err)
		}
		if _, twice := item[p.Key]; twice || !utf8.ValidString(p.Key) {
			return 0, fmt.Errorf("%q: a key that stands twice or is not Unicode", p.Key)
		}
		item[p.Key] = v
		lines = append(lines, Key(p.Key)+" = "+p.Value.text)
	}
	path, err := parsePath(list)
	if err != nil || len(path) == 0 || path[len(path)-1].n >= 0 {
		return 0, cmp.Or(err, errors.New("no list of tables"))
	}
	n := d.Len(list)
	head := strings.Join(quotedNames(path), ".")
	return n, d.append(path, []any{item}, "[["+head+"]]\n"+strings.Join(lines, "\n"), Table(pairs...).text)
}

func quotedNames(path []step) []string {
	out := names(path)
	for i := range out {
		out[i] = Key(out[i])
	}
	return out
}

// append puts tables behind those of a list: as blocks of their own, or, where
// the list is an array, as an item of it.
func (d *Doc) append(path []step, items []any, block, inline string) error {
	parent, final := path[:len(path)-1], path[len(path)-1]
	want, err := d.wanted(parent, func(t map[string]any) {
		switch v := t[final.name].(type) {
		case nil:
			t[final.name] = items
		case []any:
			t[final.name] = append(v, items...)
		default:
			t[final.name] = append([]any{v}, items...)
		}
	})
	if err != nil {
		return err
	}
	at, left, err := d.reach(parent)
	if err != nil {
		return err
	}
	var e *entry
	if len(left) == 0 {
		e = at.find(final.name)
	}
	grown := at.braced || len(at.through) > 0
	switch {
	case e == nil && grown:
		return d.apply(d.insertText(at, path, Key(final.name), "["+inline+"]"), want, parent)
	case e == nil || e.val.headed:
		return d.apply([]cut{d.place(path, block)}, want, parent)
	case e.val.kind == list:
		return d.apply(d.addItem(e.val, inline), want, parent)
	case e.val.block != nil:
		b := e.val.block
		close := b.open + bytes.LastIndexByte(d.src[b.open:d.headClose(b)], ']')
		return d.apply([]cut{{b.open, b.open, "["}, {close, close, "]"}, d.place(path, block)}, want, parent)
	}
	return fmt.Errorf("%s is written in a way that takes no second one", final.name)
}

// headClose is the offset behind a header's brackets.
func (d *Doc) headClose(b *block) int {
	s := &scanner{src: d.src, at: b.open + 1}
	if b.list {
		s.at++
	}
	if _, err := s.key(); err != nil {
		return b.open
	}
	s.skip(false)
	if s.at++; b.list {
		s.at++
	}
	return s.at
}

// Remove takes one table of a list out: "event[2]". The comment above its header
// stays.
func (d *Doc) Remove(item string) error {
	if err := d.remove(item); err != nil {
		return fmt.Errorf("remove %s: %w", item, err)
	}
	return nil
}

func (d *Doc) remove(item string) error {
	path, err := parsePath(item)
	if err != nil || len(path) == 0 {
		return cmp.Or(err, errors.New("nothing named"))
	}
	parent, final := path[:len(path)-1], path[len(path)-1]
	at, left, err := d.reach(parent)
	if err != nil || len(left) > 0 {
		return cmp.Or(err, errors.New("it is absent"))
	}
	e := at.find(final.name)
	n := max(final.n, 0)
	if e == nil || e.val.kind == scalar || n > 0 && n >= len(e.val.items) || e.val.kind == list && n >= len(e.val.items) {
		return errors.New("it is absent")
	}
	gone := e.val.kind == table || len(e.val.items) == 1
	want, err := d.wanted(parent, func(t map[string]any) {
		if v, ok := t[final.name].([]any); ok && !gone {
			t[final.name] = slices.Delete(v, n, n+1)
			return
		}
		delete(t, final.name)
	})
	if err != nil {
		return err
	}
	if gone {
		return d.apply(d.without(e), want, parent)
	}
	if e.val.headed {
		return d.apply(d.blocksOf(e.val.items[n]), want, parent)
	}
	return d.apply([]cut{d.outOf(e.val, spansOf(e.val.items), n)}, want, parent)
}
