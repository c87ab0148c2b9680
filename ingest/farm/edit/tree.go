package edit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// step is one part of a table's path: a name, and of a list of tables which one.
type step struct {
	name string
	n    int // -1: not stated
}

// parsePath reads "log[1].columns"; "" is the root. A name may be quoted.
func parsePath(path string) ([]step, error) {
	var out []step
	for rest := path; rest != ""; {
		s := step{n: -1}
		if rest[0] == '"' {
			sc := &scanner{src: []byte(rest)}
			sc.quoted('"')
			text, err := decodeText([]byte(rest[:sc.at]))
			if err != nil {
				return nil, fmt.Errorf("path %q: %w", path, err)
			}
			s.name, rest = text, rest[sc.at:]
		} else {
			k := strings.IndexAny(rest, ".[")
			if k < 0 {
				k = len(rest)
			}
			s.name, rest = rest[:k], rest[k:]
		}
		if strings.HasPrefix(rest, "[") {
			k := strings.IndexByte(rest, ']')
			n, err := strconv.Atoi(rest[1:max(k, 1)])
			if k < 0 || err != nil || n < 0 {
				return nil, fmt.Errorf("path %q: no number in brackets", path)
			}
			s.n, rest = n, rest[k+1:]
		}
		if rest != "" {
			if rest[0] != '.' || len(rest) == 1 {
				return nil, fmt.Errorf("path %q: want names with points between", path)
			}
			rest = rest[1:]
		}
		out = append(out, s)
	}
	return out, nil
}

func names(path []step) []string {
	out := make([]string, len(path))
	for i, s := range path {
		out[i] = s.name
	}
	return out
}

// down gives a step's table: of a list the n-th, the only one where none is
// stated. nil, nil where it is absent.
func (n *node) down(s step) (*node, error) {
	e := n.find(s.name)
	if e == nil {
		if s.n > 0 {
			return nil, fmt.Errorf("there is no %s[%d]", s.name, s.n)
		}
		return nil, nil
	}
	v := e.val
	switch {
	case v.kind == table && s.n <= 0:
		return v, nil
	case v.kind == list && s.n < 0 && len(v.items) == 1:
		v = v.items[0]
	case v.kind == list && s.n >= 0 && s.n < len(v.items):
		v = v.items[s.n]
	case v.kind == list && s.n < 0:
		return nil, fmt.Errorf("there are %d of %s: say which", len(v.items), s.name)
	case v.kind == list || v.kind == table:
		return nil, fmt.Errorf("there is no %s[%d]", s.name, s.n)
	}
	if v.kind != table {
		return nil, fmt.Errorf("%s is no table", s.name)
	}
	return v, nil
}

// reach follows a path as far as it goes; left are the steps that are missing.
func (d *Doc) reach(path []step) (at *node, left []step, err error) {
	at = d.root
	for i, s := range path {
		next, err := at.down(s)
		if err != nil {
			return nil, nil, err
		}
		if next == nil {
			return at, path[i:], nil
		}
		at = next
	}
	return at, nil, nil
}

// child is down on decoded values; with grow an absent table is made.
func child(m map[string]any, s step, grow bool) (map[string]any, bool) {
	switch v := m[s.name].(type) {
	case nil:
		if !grow || s.n > 0 {
			return nil, false
		}
		made := map[string]any{}
		m[s.name] = made
		return made, true
	case map[string]any:
		return v, s.n <= 0
	case []any:
		n := max(s.n, 0)
		if n >= len(v) || s.n < 0 && len(v) != 1 {
			return nil, false
		}
		t, ok := v[n].(map[string]any)
		return t, ok
	}
	return nil, false
}

func clone(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, x := range v {
			out[k] = clone(x)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, x := range v {
			out[i] = clone(x)
		}
		return out
	}
	return v
}

// same tells whether two decoded values mean the same: 26 and 26.0 do.
func same(a, b any) bool {
	switch a := a.(type) {
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for k, x := range a {
			if y, ok := b[k]; !ok || !same(x, y) {
				return false
			}
		}
		return true
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for i, x := range a {
			if !same(x, b[i]) {
				return false
			}
		}
		return true
	}
	x, okX := figure(a)
	y, okY := figure(b)
	if okX && okY {
		return x == y || math.IsNaN(x) && math.IsNaN(y)
	}
	return okX == okY && a == b
}

func figure(v any) (float64, bool) {
	switch v := v.(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, true
	}
	return 0, false
}
