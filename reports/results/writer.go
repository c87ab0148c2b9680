package results

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
)

// significant digits of every number: more than any figure of a farm carries,
// and few enough that the last bits of two processors do not show.
const significant = 12

// writer appends JSON with the keys in the order in which they are written,
// one member a line, so that two reports can be compared line by line. A
// figure stands on one line.
type writer struct {
	b     []byte
	depth int
	// empty: nothing stands yet between the brackets last opened.
	empty bool
	// inline: brackets opened on one line.
	inline int
}

func (w *writer) open(bracket byte) {
	w.b = append(w.b, bracket)
	w.depth++
	w.empty = true
}

func (w *writer) close(bracket byte) {
	w.depth--
	if !w.empty && w.inline == 0 {
		w.newLine()
	}
	w.b = append(w.b, bracket)
	w.empty = false
}

func (w *writer) newLine() {
	w.b = append(w.b, '\n')
	for range w.depth {
		w.b = append(w.b, ' ', ' ')
	}
}

// next makes room for the next member or element.
func (w *writer) next() {
	if !w.empty {
		w.b = append(w.b, ',')
	}
	switch {
	case w.inline == 0:
		w.newLine()
	case !w.empty:
		w.b = append(w.b, ' ')
	}
	w.empty = false
}

func (w *writer) key(k string) {
	w.next()
	w.quote(k)
	w.b = append(w.b, ':', ' ')
}

func (w *writer) object(k string, body func()) {
	w.key(k)
	w.open('{')
	body()
	w.close('}')
}

// list writes n elements, each an object filled in by body.
func (w *writer) list(k string, n int, body func(i int)) {
	w.key(k)
	w.open('[')
	for i := range n {
		w.next()
		w.open('{')
		body(i)
		w.close('}')
	}
	w.close(']')
}

func (w *writer) quote(s string) {
	q, err := json.Marshal(s)
	if err != nil { // a string always marshals: bad UTF-8 becomes U+FFFD
		q = []byte(`""`)
	}
	w.b = append(w.b, q...)
}

func (w *writer) text(k, v string) {
	w.key(k)
	w.quote(v)
}

func (w *writer) int(k string, v int) {
	w.key(k)
	w.b = strconv.AppendInt(w.b, int64(v), 10)
}

func (w *writer) bool(k string, v bool) {
	w.key(k)
	w.b = strconv.AppendBool(w.b, v)
}

func (w *writer) number(k string, v float64) {
	w.key(k)
	w.b = appendNumber(w.b, v)
}

// appendNumber writes v with 12 significant digits; what is not known is null.
func appendNumber(b []byte, v float64) []byte {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return append(b, "null"...)
	case v == 0: // never -0
		return append(b, '0')
	}
	return strconv.AppendFloat(b, v, 'g', significant, 64)
}

// at writes a time as RFC 3339 UTC, to the second, or to the millisecond where
// it has any.
func (w *writer) at(k string, ms int64) {
	w.key(k)
	w.b = append(w.b, '"')
	w.b = time.UnixMilli(ms).UTC().AppendFormat(w.b, "2006-01-02T15:04:05.999Z07:00")
	w.b = append(w.b, '"')
}

func (w *writer) figure(k string, f season.Figure) {
	if f.Basis == "" { // never filled in: its zeros are no measurement
		f = absent()
	}
	w.key(k)
	w.inline++
	w.open('{')
	w.number("value", f.Value)
	w.number("low", f.Low)
	w.number("high", f.High)
	w.text("unit", f.Unit)
	w.number("confidence", f.Confidence)
	w.text("basis", string(f.Basis))
	w.int("n", f.N)
	w.number("coverage", f.Coverage)
	w.text("shown", f.Shown)
	if f.Why != "" {
		w.text("why", f.Why)
	}
	w.close('}')
	w.inline--
}

// figures writes those of keys in that order, then any others in theirs. One
// that the season does not hold is written as not known: a reader of the file
// finds every key, whatever the farm has.
func (w *writer) figures(of []season.Named, keys ...string) {
	written := map[string]bool{}
	for _, k := range keys {
		w.figure(k, find(of, k))
		written[k] = true
	}
	for _, n := range of {
		if !written[n.Key] {
			w.figure(n.Key, n.Figure)
			written[n.Key] = true
		}
	}
}

func find(of []season.Named, key string) season.Figure {
	for _, n := range of {
		if n.Key == key {
			return n.Figure
		}
	}
	return absent()
}

// absent stands for a figure that the season does not hold.
func absent() season.Figure {
	nan := math.NaN()
	return doubt.Make(nan, nan, nan, "", doubt.Estimated, 0, 0, "the farm folder has no logs for it")
}
