package results

import (
	"fmt"

	"yardheat/analysis/today"
)

// TodaySchema is the first thing in the answer of today.
const TodaySchema = "yardheat-today/1"

// Today is the last 48 hours as JSON; analysis/today/README.md describes it.
func Today(t *today.Today) ([]byte, error) {
	if t == nil {
		return nil, fmt.Errorf("results: nothing of today to write")
	}
	w := &writer{b: make([]byte, 0, 1<<13)}
	w.open('{')
	w.text("schema", TodaySchema)
	w.object("farm", func() {
		w.text("name", t.Farm)
		w.text("timezone", t.ZoneName)
	})
	w.object("period", func() {
		w.at("from", t.From)
		w.at("to", t.To)
		w.at("usual_from", t.UsualFrom)
		if t.NowMS > 0 {
			w.at("asked", t.NowMS)
		}
	})
	w.list("lines", len(t.Lines), func(i int) { w.todayLine(&t.Lines[i]) })
	w.object("settings", func() {
		for _, s := range t.Options.Settings() {
			w.number(s.Key, s.Value)
		}
	})
	w.close('}')
	return append(w.b, '\n'), nil
}

func (w *writer) todayLine(l *today.Line) {
	w.text("line", string(l.Code))
	w.text("state", string(l.State))
	w.text("says", string(l.Says))
	w.list("numbers", len(l.Numbers), func(i int) {
		n := &l.Numbers[i]
		w.text("key", n.Key)
		if n.Of != "" {
			w.text("of", n.Of)
		}
		w.number("value", n.Value)
		w.text("unit", n.Unit)
		w.text("shown", n.Shown())
		if u := n.Usual; u != nil {
			w.object("usual", func() {
				w.number("low", u.Low)
				w.number("median", u.Mid)
				w.number("high", u.High)
				w.number("share", u.Share)
				w.int("n", u.N)
				w.text("of", u.Of)
				w.text("side", n.Side())
			})
		}
	})
	w.object("times", func() {
		for _, m := range l.Times {
			w.at(m.Key, m.MS)
		}
	})
	w.object("words", func() {
		for _, x := range l.Words {
			w.text(x.Key, x.Is)
		}
	})
	if l.Code == today.CodeLogs {
		w.list("probes", len(l.Probes), func(i int) { w.todayProbe(&l.Probes[i]) })
	}
	if l.Code == today.CodeCautions {
		w.list("cautions", len(l.Cautions), func(i int) {
			c := &l.Cautions[i]
			w.text("id", c.ID)
			w.text("text", c.Text)
			w.text("because", c.Because)
			w.at("first", c.First)
			w.at("last", c.Last)
		})
	}
}

func (w *writer) todayProbe(p *today.Probe) {
	w.text("name", p.Name)
	w.text("column", p.Column)
	w.text("quantity", p.Quantity)
	w.text("what", p.What)
	w.at("last", p.Last)
	w.number("usual_s", p.UsualS)
	w.number("share", p.Share)
}
