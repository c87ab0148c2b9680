package farm

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// tab reads one table: every key that is asked for is a known one, and what
// was never asked for is a fault.
type tab struct {
	r     *reader
	path  string
	node  *node
	known []string
}

// get gives a key's value, nil where the table has none.
func (t *tab) get(key string) *entry {
	t.known = append(t.known, key)
	return t.node.find(key)
}

func (t *tab) key(key string) string { return join(t.path, key) }

// bad books a fault of a key of this table.
func (t *tab) bad(e *entry, want, do string) {
	t.r.add(e.val.line, t.key(e.key), shown(e.val), want, do)
}

// bounds of a number: from low to high, low itself excluded with open.
type bounds struct {
	low, high float64
	open      bool
	unit      string
}

func above0(high float64, unit string) bounds { return bounds{0, high, true, unit} }

func span(low, high float64, unit string) bounds { return bounds{low, high, false, unit} }

func (b bounds) String() string {
	unit := ""
	if b.unit != "" {
		unit = " " + b.unit
	}
	low, high := strconv.FormatFloat(b.low, 'f', -1, 64), strconv.FormatFloat(b.high, 'f', -1, 64)
	if b.open {
		return fmt.Sprintf("a number above %s, at most %s%s", low, high, unit)
	}
	return fmt.Sprintf("a number from %s to %s%s", low, high, unit)
}

func (b bounds) hold(v float64) bool { return v <= b.high && (v > b.low || !b.open && v == b.low) }

// number reads a number within bounds; false where it is absent or a fault.
func (t *tab) number(key string, dst *float64, b bounds) bool {
	e := t.get(key)
	if e == nil {
		return false
	}
	return t.numberIn(e, e.val, dst, b)
}

func (t *tab) numberIn(e *entry, n *node, dst *float64, b bounds) bool {
	switch {
	case n.kind == isText:
		t.r.add(n.line, t.key(e.key), shown(n), b.String(), "write the number without quotes, with a decimal point and no unit")
	case n.kind != isNumber:
		t.r.add(n.line, t.key(e.key), shown(n), b.String(), "write a number")
	case !b.hold(n.num):
		t.r.add(n.line, t.key(e.key), shown(n), b.String(), "correct the figure or its unit")
	default:
		*dst = n.num
		return true
	}
	return false
}

// integer reads a whole number within bounds.
func (t *tab) integer(key string, dst *int, b bounds) bool {
	e := t.get(key)
	if e == nil {
		return false
	}
	if e.val.kind == isNumber && !e.val.whole {
		t.bad(e, "a whole number", "write it without decimals")
		return false
	}
	var v float64
	if !t.numberIn(e, e.val, &v, b) {
		return false
	}
	*dst = int(v)
	return true
}

// need books a missing key, unless a misspelt one or a line that could not be
// read may have been meant for it.
func (t *tab) need(key, want string) {
	misspelt := slices.ContainsFunc(t.node.keys, func(e entry) bool { return nearest(e.key, []string{key}) != "" })
	if !misspelt && !t.r.broken {
		t.r.add(t.node.line, t.key(key), "nothing", want, fmt.Sprintf("add the key %s to [%s]", key, t.path))
	}
}

// text reads a text.
func (t *tab) text(key string, dst *string) bool {
	e := t.get(key)
	if e == nil {
		return false
	}
	if e.val.kind != isText {
		t.bad(e, "a text in quotes", "put it in quotes")
		return false
	}
	*dst = e.val.text
	return true
}

// choice reads a text that must be one of a few.
func (t *tab) choice(key string, dst *string, of ...string) bool {
	e := t.get(key)
	if e == nil {
		return false
	}
	want := "one of " + strings.Join(quoted(of), ", ")
	if e.val.kind != isText {
		t.bad(e, want, "put it in quotes")
		return false
	}
	if !slices.Contains(of, e.val.text) {
		t.bad(e, want, meant(e.val.text, of))
		return false
	}
	*dst = e.val.text
	return true
}

// meant says what to do about a word that is none of those known.
func meant(word string, of []string) string {
	if n := nearest(word, of); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "use one of them, exactly as written here"
}

func quoted(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = strconv.Quote(w)
	}
	return out
}

// yes reads true or false.
func (t *tab) yes(key string, dst *bool) {
	e := t.get(key)
	if e == nil {
		return
	}
	if e.val.kind != isYesNo {
		t.bad(e, "true or false", "write it without quotes, in small letters")
		return
	}
	*dst = e.val.yes
}

// texts reads a list of texts; one text alone counts as a list of one.
func (t *tab) texts(key, want string) (e *entry, list []*node) {
	if e = t.get(key); e == nil {
		return nil, nil
	}
	items := e.val.items
	if e.val.kind == isText {
		items = []*node{e.val}
	} else if e.val.kind != isList || e.val.headed {
		t.bad(e, want, "write a list in square brackets: [\"…\", \"…\"]")
		return e, nil
	}
	for _, n := range items {
		if n.kind != isText {
			t.r.add(n.line, t.key(key), shown(n), want, "put each in quotes")
			continue
		}
		list = append(list, n)
	}
	return e, list
}

// table reads a table; nil where it is absent or none.
func (t *tab) table(key string) *tab {
	e := t.get(key)
	if e == nil {
		return nil
	}
	if e.val.kind != isTable {
		do := fmt.Sprintf("write a header [%s] and its keys below it", t.key(key))
		if e.val.headed {
			do = "there can be one only: write single brackets, once"
		}
		t.bad(e, "a table of keys", do)
		return nil
	}
	return &tab{r: t.r, path: t.key(key), node: e.val}
}

// tables reads a list of tables: [[key]], or a list of { … }; one [key] counts
// as a list of one.
func (t *tab) tables(key string) []*tab {
	e := t.get(key)
	if e == nil {
		return nil
	}
	if e.val.kind == isTable {
		return []*tab{{r: t.r, path: t.key(key), node: e.val}}
	}
	if e.val.kind != isList {
		t.bad(e, "a table of keys", fmt.Sprintf("write a header [[%s]] and its keys below it", t.key(key)))
		return nil
	}
	var out []*tab
	for _, n := range e.val.items {
		if n.kind != isTable {
			t.r.add(n.line, t.key(key), shown(n), "a table of keys", fmt.Sprintf("write a header [[%s]] and its keys below it", t.key(key)))
			continue
		}
		out = append(out, &tab{r: t.r, path: t.key(key), node: n})
	}
	return out
}

// homes says in which table a key belongs that was found elsewhere.
type homes map[string]string

// close books every key that nobody asked for.
func (t *tab) close(h homes) {
	for i := range t.node.keys {
		e := &t.node.keys[i]
		if slices.Contains(t.known, e.key) || strings.HasPrefix(e.key, skipped) {
			continue
		}
		do := "take it out; known here: " + strings.Join(t.known, ", ")
		if n := nearest(e.key, t.known); n != "" {
			do = fmt.Sprintf("did you mean %s?", n)
		} else if home := h[e.key]; home != "" {
			do = fmt.Sprintf("%s belongs in %s", e.key, home)
		}
		want := "a key that is known here"
		if t.path == "" && e.val.kind == isTable {
			want = "a table that is known"
		}
		t.r.add(e.line, t.key(e.key), "an unknown key", want, do)
	}
}
