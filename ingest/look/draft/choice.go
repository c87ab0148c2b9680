package draft

import (
	"maps"
	"slices"
	"strings"

	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
)

// At names a table of a file; what is empty or 0 stands for any.
type At struct {
	File, Sheet string
	Number      int
}

func (a At) is(t *look.Table) bool {
	return (a.File == "" || a.File == t.File) && (a.Sheet == "" || a.Sheet == t.Sheet) && (a.Number == 0 || a.Number == t.Number)
}

// Choice is what the farmer says of a column.
type Choice struct {
	At
	// Column is its key in [log.columns]: see Key.
	Column string
	// Quantity with Place; "" or "ignore": the column is not read.
	Quantity, Place string
	Unit            string
	Counter         bool
	// Scale and Offset: 0 = not stated.
	Scale, Offset float64
	Fit           string // "pocket", "pipe" or ""
	// Of a current; 0 = not stated.
	Volts       float64
	Phases      int
	PowerFactor float64
}

// Setting is a key of [[log]] with its value.
type Setting struct {
	At
	Key   string
	Value edit.Value
}

// Value is the choice as [log.columns] writes it.
func (c Choice) Value() edit.Value {
	if c.Quantity == "" || c.Quantity == "ignore" {
		return edit.Text("ignore")
	}
	q := edit.Text(c.Quantity)
	if c.Place != "" {
		q = edit.Text(c.Quantity + "@" + c.Place)
	}
	pairs := []edit.Pair{{Key: "quantity", Value: q}}
	add := func(key string, yes bool, v edit.Value) {
		if yes {
			pairs = append(pairs, edit.Pair{Key: key, Value: v})
		}
	}
	add("unit", c.Unit != "", edit.Text(c.Unit))
	add("counter", c.Counter, edit.Yes(true))
	add("scale", c.Scale != 0, edit.Number(c.Scale))
	add("offset", c.Offset != 0, edit.Number(c.Offset))
	add("fit", c.Fit != "", edit.Text(c.Fit))
	add("volts", c.Volts != 0, edit.Number(c.Volts))
	add("phases", c.Phases != 0, edit.Number(float64(c.Phases)))
	add("power_factor", c.PowerFactor != 0, edit.Number(c.PowerFactor))
	if len(pairs) == 1 {
		return q
	}
	return edit.Table(pairs...)
}

// Key is how [log.columns] calls the at-th of a table's columns: by its header or
// tag, or by number where the header is missing or stands twice.
func Key(t *look.Table, at int) string { return keyOf(t, at, t.Columns[at]) }

// Guess is what look makes of a column, as a choice to start from; ok is false
// where nothing is guessed, or the guess lacks a figure (volts, litres a pulse,
// which gallon) without which it cannot stand.
func Guess(t *look.Table, at int) (Choice, bool) {
	c := t.Columns[at]
	out := Choice{At: At{t.File, t.Sheet, t.Number}, Column: Key(t, at), Quantity: c.Quantity, Place: c.Place}
	if c.Quantity == "" || c.Readings == 0 || c.Kind == look.Index || c.Kind == look.Event || c.Kind == look.Text {
		return out, false
	}
	value, missing := valueOf(c, c.Quantity)
	out.Counter = strings.Contains(value, "counter = true")
	if strings.Contains(value, "unit = ") && missing == "" {
		out.Unit = c.UnitAssumed
	}
	return out, missing == ""
}

// Logs drafts [[log]] tables alone, for a farm that stands: see edit.AppendLog.
// What it writes has no [farm]. A milkings list is drafted like a log.
func Logs(files []File, opt Options) Draft {
	w := newWriter(opt)
	w.groups, _ = groupAll(files, false)
	w.draft.TOML = []byte(strings.TrimLeft(w.logs(), "\n"))
	return w.draft
}

func newWriter(opt Options) *writer {
	w := &writer{opt: opt, used: map[string]string{}}
	maps.Copy(w.used, opt.Used)
	return w
}

// own are the keys of [[log]] that the files settle: no setting takes their place.
var own = []string{"files", "sheet", "table", "tags", "columns"}

// states tells whether the farmer states a key of a log.
func (w *writer) states(t *look.Table, key string) bool {
	return slices.ContainsFunc(w.opt.Settings, func(s Setting) bool { return s.Key == key && s.is(t) })
}

// settings writes what the farmer states of a log, each key once, and says which.
func (w *writer) settings(t *look.Table) []string {
	var keys []string
	for _, s := range w.opt.Settings {
		if s.is(t) && !slices.Contains(own, s.Key) && !slices.Contains(keys, s.Key) {
			w.line("%s = %s", edit.Key(s.Key), s.Value)
			keys = append(keys, s.Key)
		}
	}
	return keys
}

// choice is what the farmer says of a column.
func (w *writer) choice(t *look.Table, key string) (Choice, bool) {
	for _, c := range w.opt.Choices {
		if c.is(t) && c.Column == key {
			return c, true
		}
	}
	return Choice{}, false
}

// chosen writes a column as the farmer says.
func (w *writer) chosen(key string, choice Choice, c look.Column) {
	w.line("%s = %s", key, choice.Value())
	if choice.Quantity == "" || choice.Quantity == "ignore" {
		return
	}
	q := choice.Quantity
	if choice.Place != "" {
		q += "@" + choice.Place
	}
	w.used[q] = c.Name
	w.draft.Mapped++
}
