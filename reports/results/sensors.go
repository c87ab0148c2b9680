package results

import "yardheat/analysis/season"

// sensors is budget_by_sensor: the budget added up by instrument or stated
// figure, its shares by headline figure; those of one figure add up to 1.
func (w *writer) sensors(rows []season.SensorRow) {
	w.list("budget_by_sensor", len(rows), func(i int) {
		w.text("sensor", rows[i].Sensor)
		w.text("kind", rows[i].Kind)
		w.text("error", rows[i].Error)
		w.bool("assumed", rows[i].Assumed)
		w.object("shares", func() {
			for _, s := range rows[i].Shares {
				w.number(s.Figure, s.Share)
			}
		})
	})
}

// improve: by figure, the one measure that narrows it the most, and the figure as
// it would then be; measure is "" where none does.
func (w *writer) improve(list []season.Improve) {
	w.list("improve", len(list), func(i int) {
		w.text("figure", list[i].Figure)
		w.texts("sensors", list[i].Sensors)
		w.text("measure", list[i].Measure)
		w.number("narrower", list[i].Narrower)
		w.figure("then", list[i].Then)
		w.text("text", list[i].Text)
	})
}

// matched: probes held against each other, what was taken off their readings, and
// the headline figures without that.
func (w *writer) matched(m season.Matched) {
	w.object("matched", func() {
		w.list("pairs", len(m.Pairs), func(i int) {
			p := m.Pairs[i]
			w.texts("probes", p.Probes[:])
			w.text("from", p.From)
			w.bool("applied", p.Applied)
			w.figure("offset_k", p.Offset)
			w.int("stretches", p.Stretches)
			w.text("why", p.Why)
		})
		w.list("taken_off", len(m.Taken), func(i int) {
			w.text("probe", m.Taken[i].Probe)
			w.number("k", m.Taken[i].K)
		})
		w.object("before", func() { w.figures(m.Before) })
	})
}

// texts writes a list of strings on one line.
func (w *writer) texts(k string, list []string) {
	w.key(k)
	w.inline++
	w.open('[')
	for _, s := range list {
		w.next()
		w.quote(s)
	}
	w.close(']')
	w.inline--
}
