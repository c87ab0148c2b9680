package results

import "yardheat/analysis/season"

// exclusions are the readings left out, by probe and test, with the sums as
// reported and with those readings put back.
func (w *writer) exclusions(list []season.Exclusion) {
	w.list("exclusions", len(list), func(i int) {
		e := list[i]
		w.text("quantity", e.Quantity)
		w.text("place", e.Place)
		w.text("column", e.Column)
		w.text("probe", e.Probe)
		w.text("test", e.Test)
		w.text("threshold", e.Threshold)
		w.int("readings", e.Readings)
		w.int("in_period", e.InPeriod)
		w.list("moves", len(e.Moves), func(k int) {
			w.text("figure", e.Moves[k].Key)
			w.number("reported_kwh", e.Moves[k].ReportedKWh)
			w.number("put_back_kwh", e.Moves[k].PutBackKWh)
		})
		if e.Why != "" {
			w.text("why", e.Why)
		}
	})
}
