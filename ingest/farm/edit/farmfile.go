package edit

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// logPath is the path of the n-th [[log]], from 0.
func logPath(n int) string { return fmt.Sprintf("log[%d]", n) }

// LogTable is the path of the n-th [[log]], from 0, for Set and its like.
func LogTable(n int) string { return logPath(n) }

// Files are the patterns of the n-th [[log]], as they stand.
func (d *Doc) Files(log int) []string {
	v, _ := d.Get(logPath(log), "files")
	switch v := v.(type) {
	case string:
		return []string{v}
	case []any:
		var out []string
		for _, x := range v {
			if s, ok := x.(string); ok {
				out = append(out, s)
			}
		}
		return out
	}
	return nil
}

// AddFile adds a file or pattern to the n-th [[log]]; one that stands there
// already changes nothing.
func (d *Doc) AddFile(log int, glob string) error {
	if slices.Contains(d.Files(log), glob) {
		return nil
	}
	path, _ := parsePath(logPath(log))
	at, left, err := d.reach(path)
	if err != nil || len(left) > 0 {
		return fmt.Errorf("add %q to log %d: %w", glob, log, errors.Join(err, errAbsent))
	}
	e := at.find("files")
	if e == nil || e.val.kind != list || e.val.headed {
		old := d.Files(log)
		return d.Set(logPath(log), "files", Texts(append(old, glob)...))
	}
	text := Text(glob)
	to, err := text.usable()
	if err != nil {
		return fmt.Errorf("add %q to log %d: %w", glob, log, err)
	}
	want, err := d.wanted(path, func(t map[string]any) {
		old, _ := t["files"].([]any)
		t["files"] = append(old, to)
	})
	if err != nil {
		return err
	}
	return d.apply(d.addItem(e.val, text.text), want, path)
}

var errAbsent = errors.New("there is none")

// fold takes out doubled and outer blanks, as the farm file's reader does.
func fold(header string) string { return strings.Join(strings.Fields(header), " ") }

// columnKey is the key under which a header stands in [log.columns]: as written
// there, whatever its blanks.
func (d *Doc) columnKey(log int, header string) string {
	v, _ := d.Get(logPath(log), "columns")
	columns, _ := v.(map[string]any)
	if _, ok := columns[header]; ok {
		return header
	}
	var keys []string
	for k := range columns {
		if fold(k) == fold(header) {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	if len(keys) > 0 {
		return keys[0]
	}
	return header
}

// SetColumn maps a column of the n-th [[log]]: its header as written, "#n", or a
// tag. The value is a text ("loop_flow@barn") or a table of the column's keys.
func (d *Doc) SetColumn(log int, header string, v Value) error {
	if err := d.hasLog(log); err != nil {
		return err
	}
	return d.Set(logPath(log)+".columns", d.columnKey(log, header), v)
}

// UnsetColumn takes a column out of [log.columns].
func (d *Doc) UnsetColumn(log int, header string) error {
	if err := d.hasLog(log); err != nil {
		return err
	}
	return d.Unset(logPath(log)+".columns", d.columnKey(log, header))
}

// Column is what stands for a column: a string or map[string]any, nil = nothing.
func (d *Doc) Column(log int, header string) any {
	v, _ := d.Get(logPath(log)+".columns", d.columnKey(log, header))
	return v
}

// ColumnValue is the value of a mapped column with what stands for the column
// named of kept (its unit, scale, fit and so on) and another quantity; a plain
// text where nothing but the quantity stands.
func ColumnValue(quantity string, of any) (Value, error) {
	keys, ok := of.(map[string]any)
	if !ok {
		return Text(quantity), nil
	}
	pairs := []Pair{{"quantity", Text(quantity)}}
	var rest []string
	for k := range keys {
		if k != "quantity" {
			rest = append(rest, k)
		}
	}
	slices.Sort(rest)
	for _, k := range rest {
		v, err := Of(keys[k])
		if err != nil {
			return Value{}, err
		}
		pairs = append(pairs, Pair{k, v})
	}
	if len(pairs) == 1 {
		return Text(quantity), nil
	}
	return Table(pairs...), nil
}

func (d *Doc) hasLog(log int) error {
	if log < 0 || log >= d.Len("log") {
		return fmt.Errorf("log %d: %w", log, errAbsent)
	}
	return nil
}

// Of writes a value that Get gave.
func Of(v any) (Value, error) {
	switch v := v.(type) {
	case string:
		return Text(v), nil
	case bool:
		return Yes(v), nil
	case int64:
		return Value{fmt.Sprint(v)}, nil
	case float64:
		if n := Number(v); strings.ContainsAny(n.text, ".en") {
			return n, nil
		}
		return Value{Number(v).text + ".0"}, nil
	case time.Time:
		return Value{v.Format(time.RFC3339Nano)}, nil
	case toml.LocalDate, toml.LocalTime, toml.LocalDateTime:
		return Value{fmt.Sprint(v)}, nil
	case []any:
		items := make([]Value, len(v))
		for i, x := range v {
			var err error
			if items[i], err = Of(x); err != nil {
				return Value{}, err
			}
		}
		return List(items...), nil
	case map[string]any:
		var keys []string
		for k := range v {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		pairs := make([]Pair, len(keys))
		for i, k := range keys {
			x, err := Of(v[k])
			if err != nil {
				return Value{}, err
			}
			pairs[i] = Pair{k, x}
		}
		return Table(pairs...), nil
	}
	return Value{}, fmt.Errorf("a %T is no value of a farm file", v)
}

// AppendLog puts drafted [[log]] tables, comments and all, behind the last one,
// and says which the first of them is. The text may hold nothing else.
func (d *Doc) AppendLog(block []byte) (n int, err error) {
	b, err := New(block)
	if err != nil {
		return 0, fmt.Errorf("append [[log]]: %w", err)
	}
	items, ok := b.tree["log"].([]any)
	if !ok || len(b.tree) != 1 || len(b.blocks) < 2 || !b.blocks[1].list {
		return 0, errors.New("append [[log]]: the text holds something else, or nothing")
	}
	inline := make([]string, len(items))
	for i, it := range items {
		v, err := Of(it)
		if err != nil {
			return 0, fmt.Errorf("append [[log]]: %w", err)
		}
		inline[i] = v.text
	}
	text := strings.Trim(string(plain(bytes.Clone(block))), "\n")
	n = d.Len("log")
	if err := d.append([]step{{name: "log", n: -1}}, items, text, strings.Join(inline, ", ")); err != nil {
		return 0, fmt.Errorf("append [[log]]: %w", err)
	}
	return n, nil
}

// Mark is a key whose line is marked "# check": a guess or a placeholder that
// nobody has looked at. Note is the rest of the comment.
type Mark struct{ Table, Key, Note string }

// Marks lists them in the order of the file.
func (d *Doc) Marks() []Mark {
	var out []Mark
	var walk func(t *node, path string)
	walk = func(t *node, path string) {
		for _, e := range t.keys {
			if e.by != nil {
				if _, _, rest, ok := d.marked(e.by); ok {
					out = append(out, Mark{path, e.key, rest})
				}
				continue
			}
			below := strings.TrimPrefix(path+"."+Key(e.key), ".")
			if e.val.kind == table {
				walk(e.val, below)
			}
			for i, it := range e.val.items {
				walk(it, fmt.Sprintf("%s[%d]", below, i))
			}
		}
	}
	walk(d.root, "")
	return out
}

// Confirm takes the mark "# check" off a key: the farmer has looked at it and
// left it.
func (d *Doc) Confirm(table, key string) error {
	path, err := parsePath(table)
	if err != nil {
		return err
	}
	at, left, err := d.reach(path)
	if err != nil || len(left) > 0 {
		return err
	}
	e := at.find(key)
	if e == nil || e.by == nil {
		return nil
	}
	if cuts := d.unmark(e.by); len(cuts) > 0 {
		return d.apply(cuts, d.tree, path)
	}
	return nil
}
