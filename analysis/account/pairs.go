package account

import (
	"yardheat/analysis/apart"
	"yardheat/analysis/grid"
	"yardheat/ingest/series"
)

// pairs lists each metered pipe with its probes, for the clocks of their logs.
// The loop's outlet is not among them: the water that stood in the lead pipe
// and that pipe's wall delay it by litres that no farm file states closely
// enough.
func (m *maker) pairs() {
	a := m.acc
	a.Pairs = map[string][]apart.Pair{}
	add := func(name string, runs *grid.Runs, deadL float64, q series.Quantity) {
		if runs == nil || runs.Flow.From == "draws" {
			return
		}
		if s := m.g.Stream(q); s != nil {
			a.Pairs[name] = append(a.Pairs[name], apart.Pair{Runs: runs, Probe: s, LagS: m.lagS(s), DeadL: deadL})
		}
	}
	add("plate", m.plate, 0, "plate_in_temp")
	add("plate", m.plate, 0, "plate_out_temp")
	if m.has("loop_in_temp") {
		add("loop", m.loop, 0, "loop_in_temp")
	} else {
		add("loop", m.loop, 0, "mains_temp")
	}
	add("wash", m.wash, 0, "wash_temp")
	add("other use", m.use, 0, "hot_use_temp")
}
