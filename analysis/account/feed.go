package account

import (
	"math"
	"sort"

	"yardheat/analysis/grid"
)

// Feed is the cold feed of one cycle.
type Feed struct {
	TempC float64
	// From: "draws" of the cycle, "nearest draws", "mains" (the farm file's
	// figure), "standing" (no flow past the probe is logged: the second
	// percentile of the probe's readings), "refill past the loop" (its reading when a
	// refill is due), "" = not known.
	From string
}

const fromPast = "refill past the loop"

// feed finds the feed of every cycle: the flow-weighted reading of mains_temp
// over the cycle's draws, else of the nearest draws within FeedWithinS, else
// the farm file's figure. Where mains_temp is not logged, the inlet of an open
// loop is the feed. Where no logged flow goes past the probe, the second
// percentile of its readings in the cycle stands for the feed.
func (m *maker) feed() {
	a := m.acc
	a.Feed = make([]Feed, len(a.Cycles))
	probe := m.feedProbe()
	for i := range a.Feed {
		a.Feed[i].TempC = math.NaN()
	}
	if probe != nil {
		if r := m.feedFlow(); r != nil && (r == m.loop || m.passes(r, probe)) {
			m.feedByDraws(r, probe)
			m.feedPast(r, probe)
		} else {
			m.feedStands = true
			m.feedStanding(probe)
		}
	}
	known := false
	for i := range a.Feed {
		if f := &a.Feed[i]; f.TempC != f.TempC && len(m.farm.MainsC) > 0 {
			f.TempC, f.From = m.mainsC(a.Cycles[i].Start), "mains"
		}
		known = known || a.Feed[i].TempC == a.Feed[i].TempC
	}
	if known {
		m.feedC = m.feedAt
		a.feedSources = m.feedSources()
	}
}

func (m *maker) feedAt(ms int64) float64 {
	c := m.acc.Cycles
	i := sort.Search(len(c), func(i int) bool { return c[i].End > ms })
	if i == len(c) || ms < c[i].Start {
		return math.NaN()
	}
	return m.acc.Feed[i].TempC
}

func (m *maker) feedProbe() *grid.Stream {
	if s := m.g.Stream("mains_temp"); s != nil {
		return s
	}
	if l := m.farm.Loop; l == nil || l.Circuit != "closed" {
		return m.g.Stream("loop_in_temp")
	}
	return nil
}

func (m *maker) feedSources() []grid.Source {
	if s := m.feedProbe(); s != nil {
		return s.Sources
	}
	return mainsSources()
}

// feedFlow is the flow that draws cold feed past its probe.
func (m *maker) feedFlow() *grid.Runs {
	if m.loop != nil {
		return m.loop
	}
	return m.wash
}

func (m *maker) feedByDraws(r *grid.Runs, probe *grid.Stream) {
	a := m.acc
	booked := r.Book(probe, m.book(probe, 0))
	j := 0
	for i, c := range a.Cycles {
		var sum, litres float64
		for ; j < len(r.Cells) && r.Cells[j] < c.B; j++ {
			t := booked.TempC[j]
			if r.Cells[j] < c.A || t != t || r.Trickle[j] {
				continue
			}
			sum, litres = sum+t*r.L[j], litres+r.L[j]
		}
		if litres > 0 {
			a.Feed[i] = Feed{sum / litres, "draws"}
		}
	}
	m.nearest()
}

// nearest gives cycles without draws the feed of the nearest with them.
func (m *maker) nearest() {
	a := m.acc
	within := int64(m.opt.FeedWithinS * 1000)
	for i := range a.Feed {
		if a.Feed[i].From != "" {
			continue
		}
		best := within + 1
		for _, step := range []int{-1, 1} {
			for k := i + step; k >= 0 && k < len(a.Feed); k += step {
				away := a.Cycles[i].Start - a.Cycles[k].End
				if step > 0 {
					away = a.Cycles[k].Start - a.Cycles[i].End
				}
				if away > within {
					break
				}
				if f := a.Feed[k].From; f == "draws" || f == fromPast {
					if away < best {
						best = away
						a.Feed[i].TempC = a.Feed[k].TempC
					}
					break
				}
			}
		}
	}
	for i := range a.Feed {
		if f := &a.Feed[i]; f.From == "" && f.TempC == f.TempC {
			f.From = "nearest draws"
		}
	}
}

// passes says whether the water of r, metered somewhere else, goes by the
// feed's probe. A tank that is refilled later, by a pipe without a meter, leaves
// the probe in standing water during the wash: it then reads warmer than at
// other times of the cycle and hardly moves.
//
//	mean |T_late − T_cold| > FeedColderK  and  Σ |T_late − T_start| < FeedMovesShare · Σ |T_late − T_cold|
//
// over the runs of r: T_start at their beginning, T_late at three quarters (a
// refill may begin before a wash ends), T_cold the coldest of the cycle.
func (m *maker) passes(r *grid.Runs, probe *grid.Stream) bool {
	var moved, away, n float64
	cycles := m.acc.Cycles
	at, of, cold := 0, -1, math.NaN()
	for from := 0; from < len(r.Cells); {
		to := from
		for to+1 < len(r.Cells) && r.Cells[to+1] == r.Cells[to]+1 {
			to++
		}
		start, late := probe.Values[r.Cells[from]], probe.Values[r.Cells[from+3*(to-from)/4]]
		for at < len(cycles) && cycles[at].B <= r.Cells[from] {
			at++
		}
		if at == len(cycles) {
			break
		}
		if at != of {
			of, cold = at, coldest(probe.Values[cycles[at].A:cycles[at].B])
		}
		if d := math.Abs(late-start) + math.Abs(late-cold); d == d {
			moved, away, n = moved+math.Abs(late-start), away+math.Abs(late-cold), n+1
		}
		from = to + 1
	}
	return n == 0 || away/n <= m.opt.FeedColderK || moved >= m.opt.FeedMovesShare*away
}

// feedStanding: no flow past the probe is logged; of its readings the second
// percentile is nearest to flowing feed.
func (m *maker) feedStanding(probe *grid.Stream) {
	for i, c := range m.acc.Cycles {
		if t := coldest(probe.Values[c.A:c.B]); t == t {
			m.acc.Feed[i] = Feed{t, "standing"}
		}
	}
}

// without: the farm file says that nothing was recovered then.
func (m *maker) without(ms int64) bool {
	for _, s := range m.farm.Seasons {
		if s.Kind != "normal" && (s.From.IsZero() || ms >= s.From.UnixMilli()) && (s.To.IsZero() || ms < s.To.UnixMilli()) {
			return true
		}
	}
	return false
}

// coldest is the second percentile, NaN without readings: a refill takes a
// quarter of an hour or more of a cycle of half a day.
func coldest(values []float64) float64 {
	var q []float64
	for _, v := range values {
		if v == v {
			q = append(q, v)
		}
	}
	if len(q) == 0 {
		return math.NaN()
	}
	sort.Float64s(q)
	return q[len(q)/50]
}
