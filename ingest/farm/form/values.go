package form

import (
	"fmt"
	"strings"

	"yardheat/ingest/farm/edit"
)

// Standing is what a field holds now.
type Standing struct {
	// Text is the entry, a number with a point; the default where nothing is
	// stated, "" where there is none.
	Text   string
	Stated bool
	// Check: the line is marked "# check", a guess or a placeholder.
	Check bool
	// Other: what stands cannot be shown on the form (a table, dated prices) and
	// is left alone.
	Other bool
}

// Value reads what stands in a farm file, whether or not it is complete. n counts
// the tables of a field that repeats.
func (f Field) Value(d *edit.Doc, n int) Standing {
	v, ok := d.Get(f.At(n), f.Key)
	if !ok {
		return Standing{Text: f.Default}
	}
	out := Standing{Stated: true}
	for _, m := range d.Marks() {
		if m.Key == f.Key && (m.Table == f.At(n) || n == 0 && m.Table == f.Table) {
			out.Check = true
		}
	}
	out.Text, ok = f.show(v)
	out.Other = !ok
	return out
}

// Values are all fields' by name; of those that repeat by "tank[1].volume_l".
func Values(d *edit.Doc) map[string]Standing {
	out := map[string]Standing{}
	for _, f := range Fields {
		if !f.Repeats {
			out[f.Name()] = f.Value(d, 0)
			continue
		}
		for n := range max(1, min(d.Len(f.Table), mostTables)) {
			out[fmt.Sprintf("%s[%d].%s", f.Table, n, f.Key)] = f.Value(d, n)
		}
	}
	return out
}

// mostTables is how many tables of a kind the form shows.
const mostTables = 10

// show writes a value as an entry.
func (f Field) show(v any) (string, bool) {
	switch v := v.(type) {
	case string:
		if f.Kind == Glycol {
			return "0", v == "water"
		}
		return v, true
	case bool:
		return fmt.Sprint(v), true
	case int64:
		return fmt.Sprint(v), true
	case float64:
		return plain(v), true
	case map[string]any:
		if pct, ok := v["propylene_glycol_pct"]; ok && f.Kind == Glycol {
			return f.show(pct)
		}
	case []any:
		parts := make([]string, len(v))
		for i, x := range v {
			var ok bool
			if parts[i], ok = f.show(x); !ok {
				return "", false
			}
		}
		if f.Kind == Times {
			return strings.Join(parts, ", "), true
		}
		return strings.Join(parts, " "), f.Kind == Months
	}
	return "", false
}

// Enter checks an entry and writes it; an empty one takes the key out. Nothing
// is written where the entry is refused.
func (f Field) Enter(d *edit.Doc, n int, entry string) (Result, error) {
	r := f.Check(entry)
	switch r.Verdict {
	case Refused:
		return r, nil
	case Empty:
		return r, d.Unset(f.At(n), f.Key)
	}
	if f.Repeats && n == d.Len(f.Table) && n > 0 {
		_, err := d.Add(f.Table, edit.Pair{Key: f.Key, Value: r.Value})
		return r, err
	}
	return r, d.Set(f.At(n), f.Key, r.Value)
}
