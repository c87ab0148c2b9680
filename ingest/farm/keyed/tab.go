package keyed

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Tab reads one table: every key that is asked for is a known one, and what
// was never asked for is a fault.
type Tab struct {
	R     *Reader
	Path  string
	Node  *Node
	known []string
}

// Get gives a key's value, nil where the table has none.
func (t *Tab) Get(key string) *Entry {
	t.known = append(t.known, key)
	return t.Node.Find(key)
}

// Key is a key of this table as messages name it.
func (t *Tab) Key(key string) string { return Join(t.Path, key) }

// Bad books a fault of a key of this table.
func (t *Tab) Bad(e *Entry, want, do string) {
	t.R.Add(e.Val.Line, t.Key(e.Key), Shown(e.Val), want, do)
}

// Bounds of a number: from low to high, low itself excluded with open.
type Bounds struct {
	low, high float64
	open      bool
	unit      string
}

// Above0 is a number above 0, at most high.
func Above0(high float64, unit string) Bounds { return Bounds{0, high, true, unit} }

// Span is a number from low to high.
func Span(low, high float64, unit string) Bounds { return Bounds{low, high, false, unit} }

func (b Bounds) String() string {
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

func (b Bounds) hold(v float64) bool { return v <= b.high && (v > b.low || !b.open && v == b.low) }

// Number reads a number within bounds; false where it is absent or a fault.
func (t *Tab) Number(key string, dst *float64, b Bounds) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	return t.NumberIn(e, e.Val, dst, b)
}

// NumberIn reads a number within bounds from a value of the entry, itself or
// one of its items.
func (t *Tab) NumberIn(e *Entry, n *Node, dst *float64, b Bounds) bool {
	switch {
	case n.Kind == IsText:
		t.R.Add(n.Line, t.Key(e.Key), Shown(n), b.String(), "write the number without quotes, with a decimal point and no unit")
	case n.Kind != IsNumber:
		t.R.Add(n.Line, t.Key(e.Key), Shown(n), b.String(), "write a number")
	case !b.hold(n.num):
		t.R.Add(n.Line, t.Key(e.Key), Shown(n), b.String(), "correct the figure or its unit")
	default:
		*dst = n.num
		return true
	}
	return false
}

// Integer reads a whole number within bounds.
func (t *Tab) Integer(key string, dst *int, b Bounds) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	if e.Val.Kind == IsNumber && !e.Val.whole {
		t.Bad(e, "a whole number", "write it without decimals")
		return false
	}
	var v float64
	if !t.NumberIn(e, e.Val, &v, b) {
		return false
	}
	*dst = int(v)
	return true
}

// Need books a missing key, unless a misspelt one or a line that could not be
// read may have been meant for it.
func (t *Tab) Need(key, want string) {
	misspelt := slices.ContainsFunc(t.Node.Keys, func(e Entry) bool { return Nearest(e.Key, []string{key}) != "" })
	if !misspelt && !t.R.Broken {
		t.R.Add(t.Node.Line, t.Key(key), "nothing", want, fmt.Sprintf("add the key %s to [%s]", key, t.Path))
	}
}

// Text reads a text.
func (t *Tab) Text(key string, dst *string) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	if e.Val.Kind != IsText {
		t.Bad(e, "a text in quotes", "put it in quotes")
		return false
	}
	*dst = e.Val.Text
	return true
}

// Choice reads a text that must be one of a few.
func (t *Tab) Choice(key string, dst *string, of ...string) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	want := "one of " + strings.Join(Quoted(of), ", ")
	if e.Val.Kind != IsText {
		t.Bad(e, want, "put it in quotes")
		return false
	}
	if !slices.Contains(of, e.Val.Text) {
		t.Bad(e, want, Meant(e.Val.Text, of))
		return false
	}
	*dst = e.Val.Text
	return true
}

// Meant says what to do about a word that is none of those known.
func Meant(word string, of []string) string {
	if n := Nearest(word, of); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "use one of them, exactly as written here"
}

// Quoted puts words in quotes.
func Quoted(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = strconv.Quote(w)
	}
	return out
}

// Yes reads true or false.
func (t *Tab) Yes(key string, dst *bool) {
	e := t.Get(key)
	if e == nil {
		return
	}
	if e.Val.Kind != isYesNo {
		t.Bad(e, "true or false", "write it without quotes, in small letters")
		return
	}
	*dst = e.Val.yes
}

// Texts reads a list of texts; one text alone counts as a list of one.
func (t *Tab) Texts(key, want string) (e *Entry, list []*Node) {
	if e = t.Get(key); e == nil {
		return nil, nil
	}
	items := e.Val.Items
	if e.Val.Kind == IsText {
		items = []*Node{e.Val}
	} else if e.Val.Kind != IsList || e.Val.headed {
		t.Bad(e, want, "write a list in square brackets: [\"…\", \"…\"]")
		return e, nil
	}
	for _, n := range items {
		if n.Kind != IsText {
			t.R.Add(n.Line, t.Key(key), Shown(n), want, "put each in quotes")
			continue
		}
		list = append(list, n)
	}
	return e, list
}

// Table reads a table; nil where it is absent or none.
func (t *Tab) Table(key string) *Tab {
	e := t.Get(key)
	if e == nil {
		return nil
	}
	if e.Val.Kind != IsTable {
		do := fmt.Sprintf("write a header [%s] and its keys below it", t.Key(key))
		if e.Val.headed {
			do = "there can be one only: write single brackets, once"
		}
		t.Bad(e, "a table of keys", do)
		return nil
	}
	return &Tab{R: t.R, Path: t.Key(key), Node: e.Val}
}

// Tables reads a list of tables: [[key]], or a list of { … }; one [key] counts
// as a list of one.
func (t *Tab) Tables(key string) []*Tab {
	e := t.Get(key)
	if e == nil {
		return nil
	}
	if e.Val.Kind == IsTable {
		return []*Tab{{R: t.R, Path: t.Key(key), Node: e.Val}}
	}
	if e.Val.Kind != IsList {
		t.Bad(e, "a table of keys", fmt.Sprintf("write a header [[%s]] and its keys below it", t.Key(key)))
		return nil
	}
	var out []*Tab
	for _, n := range e.Val.Items {
		if n.Kind != IsTable {
			t.R.Add(n.Line, t.Key(key), Shown(n), "a table of keys", fmt.Sprintf("write a header [[%s]] and its keys below it", t.Key(key)))
			continue
		}
		out = append(out, &Tab{R: t.R, Path: t.Key(key), Node: n})
	}
	return out
}

// Homes says in which table a key belongs that was found elsewhere.
type Homes map[string]string

// Close books every key that nobody asked for.
func (t *Tab) Close(h Homes) {
	for i := range t.Node.Keys {
		e := &t.Node.Keys[i]
		if slices.Contains(t.known, e.Key) || strings.HasPrefix(e.Key, skipped) {
			continue
		}
		do := "take it out; known here: " + strings.Join(t.known, ", ")
		if n := Nearest(e.Key, t.known); n != "" {
			do = fmt.Sprintf("did you mean %s?", n)
		} else if home := h[e.Key]; home != "" {
			do = fmt.Sprintf("%s belongs in %s", e.Key, home)
		}
		want := "a key that is known here"
		if t.Path == "" && e.Val.Kind == IsTable {
			want = "a table that is known"
		}
		t.R.Add(e.Line, t.Key(e.Key), "an unknown key", want, do)
	}
}
