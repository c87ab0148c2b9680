package account

import (
	"math"
	"sort"

	"yardheat/analysis/grid"
)

// refillPast tells the feed of a cycle whose refill goes past the loop, and so
// past its meter, from when a refill comes after a wash: that the cycles with
// draws show. The coldest reading will not do: where the air is colder than the
// feed it is the night's air, and where it is warmer it leaves out what stood
// warm in the pipe and went into the tank as well.
//
//	F' = Σ_o p_o T(anchor + o),   F = T_0 + g (F' − T_0),   g = Σ (F − T_0)(F' − T_0) / Σ (F' − T_0)²
//
// p_o is the part of a cycle's litres that is drawn o cells after its wash's
// anchor (the first or the last cell of its washes, whichever serves better), T_0
// the probe in standing water before; g, from the cycles with draws, makes good
// that refills do not all come at the same moment.
type refillPast struct {
	first bool // anchored at the wash's first cell, else its last
	share []float64
	gain  float64
	// rmsK is how far F lies from the flow-weighted feed in the cycles with draws.
	rmsK float64
}

// Of a refill after a wash: it is looked for so long after the anchor, the
// standing water is that of so long before it begins, and so many cycles are
// needed to learn from (our choice, no source).
const (
	refillWithinS = 4 * 3600
	beforeRefillS = 600
	refillLearn   = 6
)

// anchors are the first and last cell of each cycle's washes; −1 without.
func (m *maker) anchors(first bool) []int {
	out := make([]int, len(m.acc.Cycles))
	j := 0
	for i, c := range m.acc.Cycles {
		out[i] = -1
		for ; j < len(m.wash.Cells) && m.wash.Cells[j] < c.B; j++ {
			if k := m.wash.Cells[j]; k >= c.A && !m.wash.Trickle[j] && (out[i] < 0 || !first) {
				out[i] = k
			}
		}
	}
	return out
}

// learnRefill makes it from the cycles with draws; nil if they do not tell.
func (m *maker) learnRefill(r *grid.Runs, probe *grid.Stream) *refillPast {
	if m.wash == nil {
		return nil
	}
	var best *refillPast
	for _, first := range []bool{true, false} {
		x := &refillPast{first: first, gain: 1}
		anchor := m.anchors(first)
		if x.share = m.refillShares(r, anchor); x.share == nil || !m.fitRefill(x, anchor, probe) {
			continue
		}
		if best == nil || x.rmsK < best.rmsK {
			best = x
		}
	}
	if best != nil && best.rmsK > m.opt.FeedColderK/2 {
		return nil
	}
	return best
}

// refillShares are the litres drawn by cells since the anchor, 1 in all.
func (m *maker) refillShares(r *grid.Runs, anchor []int) []float64 {
	share := make([]float64, int(refillWithinS/m.g.StepS))
	sum, cycles, j := 0.0, 0, 0
	for i, c := range m.acc.Cycles {
		any := false
		for ; j < len(r.Cells) && r.Cells[j] < c.B; j++ {
			o := r.Cells[j] - anchor[i]
			if r.Cells[j] < c.A || r.Trickle[j] || anchor[i] < 0 || o < 0 || o >= len(share) {
				continue
			}
			share[o] += r.L[j]
			sum, any = sum+r.L[j], true
		}
		if any {
			cycles++
		}
	}
	if cycles < refillLearn {
		return nil
	}
	for o := range share {
		share[o] /= sum
	}
	return share
}

// fitRefill finds the gain and how well the cycles with draws are met.
func (m *maker) fitRefill(x *refillPast, anchor []int, probe *grid.Stream) bool {
	var top, bottom float64
	var known, moves []float64
	for i := range m.acc.Feed {
		stood, f := m.seenRefill(x, anchor[i], i, probe)
		if m.acc.Feed[i].From != "draws" || f != f {
			continue
		}
		known, moves = append(known, m.acc.Feed[i].TempC-stood), append(moves, f-stood)
		top, bottom = top+known[len(known)-1]*moves[len(moves)-1], bottom+moves[len(moves)-1]*moves[len(moves)-1]
	}
	if len(known) < refillLearn {
		return false
	}
	if x.gain = top / bottom; !(x.gain >= 0.8 && x.gain <= 1.5) {
		return false
	}
	for k := range known {
		x.rmsK += (known[k] - x.gain*moves[k]) * (known[k] - x.gain*moves[k])
	}
	x.rmsK = math.Sqrt(x.rmsK / float64(len(known)))
	return true
}

// seenRefill is the probe in standing water before cycle i's refill, and over it;
// NaN where too little was read.
func (m *maker) seenRefill(x *refillPast, anchor, i int, probe *grid.Stream) (stood, feed float64) {
	if anchor < 0 {
		return math.NaN(), math.NaN()
	}
	c := m.acc.Cycles[i]
	begin := anchor
	for _, p := range x.share {
		if p > 1e-3 {
			break
		}
		begin++
	}
	var before []float64
	for k := max(c.A, begin-int(beforeRefillS/m.g.StepS)); k < min(begin, c.B); k++ {
		if v := probe.Values[k]; v == v {
			before = append(before, v)
		}
	}
	var sum, weight float64
	for o, p := range x.share {
		if k := anchor + o; k < c.B {
			if v := probe.Values[k]; v == v {
				sum, weight = sum+p*v, weight+p
			}
		}
	}
	if len(before) == 0 || weight < 0.5 {
		return math.NaN(), math.NaN()
	}
	sort.Float64s(before)
	return before[len(before)/2], sum / weight
}

// feedPast: in a stretch without recovery no draw goes through the loop, and the
// nearest may lie too far away. A refill past the loop still goes by the feed's
// probe if that moves by more than FeedMovesShare of FeedColderK when a refill is
// due, in half of those cycles or more (where the air is as warm as the feed it
// can't be told): then what it reads meanwhile stands for the feed.
func (m *maker) feedPast(r *grid.Runs, probe *grid.Stream) {
	x := m.learnRefill(r, probe)
	if x == nil {
		return
	}
	anchor := m.anchors(x.first)
	var cycles []int
	var feeds []float64
	moved := 0
	for i, c := range m.acc.Cycles {
		if m.acc.Feed[i].From == "draws" || !m.without(c.Start) {
			continue
		}
		stood, f := m.seenRefill(x, anchor[i], i, probe)
		if f != f {
			continue
		}
		cycles, feeds = append(cycles, i), append(feeds, stood+x.gain*(f-stood))
		if math.Abs(f-stood) > m.opt.FeedMovesShare*m.opt.FeedColderK {
			moved++
		}
	}
	if len(cycles) == 0 || 2*moved < len(cycles) {
		return
	}
	for k, i := range cycles {
		m.acc.Feed[i] = Feed{feeds[k], fromPast}
	}
	m.nearest()
}
