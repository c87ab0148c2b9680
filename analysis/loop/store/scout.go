package store

import "slices"

// A start, and whether it is worth following up, take no more than a part of a
// season: scoutDraws of its draws, in as many windows spread evenly over it, each
// with a warm-up of its own (our choice, no source). What is found there is a
// place to start from; the season's parameters come from all rows.
const (
	scoutDraws   = 80
	scoutWindows = 4
)

// scout is the fitter of those windows; f itself where the season holds hardly
// more.
func (f *fitter) scout() *fitter {
	draws := f.runsByDraw()
	if len(draws) < 2*f.scoutDraws {
		return f
	}
	g := *f
	g.segs, g.warm, g.runRange, g.rows, g.slab, g.benches, g.sd = nil, nil, nil, nil, nil, nil, nil
	g.rowOf = make([]int, len(f.rowOf))
	each := f.scoutDraws / scoutWindows
	for w := range scoutWindows {
		first := w * (len(draws) - each) / (scoutWindows - 1)
		g.window(f, draws[first][0], draws[first+each-1][1])
	}
	g.weigh()
	return &g
}

// runsByDraw are the first and the last run of every draw with rows.
func (f *fitter) runsByDraw() (out [][2]int) {
	last := -1
	for _, r := range f.rows {
		if d := f.rec.Runs[r.Run].Draw; d != last {
			out, last = append(out, [2]int{r.Run, r.Run}), d
		}
		out[len(out)-1][1] = r.Run
	}
	return out
}

// window adds what f holds of the runs from..to.
func (g *fitter) window(f *fitter, from, to int) {
	slab := 0
	for k, s := range f.segs {
		a, b := max(from, f.runRange[k][0]), min(to+1, f.runRange[k][1])
		if a < b {
			g.stretch(f, k, a, b, slab, a == from, b == to+1)
		}
		slab += len(s.slabAt)
	}
}

// stretch adds the runs a to b (left out) of segment k, whose readings of the
// slab begin at the given one; opens and closes: the window begins and ends in
// it.
func (g *fitter) stretch(f *fitter, k, a, b, slab int, opens, closes bool) {
	s, warm := f.segs[k], f.warm[k]
	s.first, s.slabAt = false, nil
	if opens {
		warm, s.goesOn = f.rec.Runs[a].From, false
		s.from, _ = slices.BinarySearch(f.rec.T[:warm], f.rec.T[warm]-f.s.WarmUpH*3600)
		s.from = max(s.from, f.segs[k].from)
	}
	if closes {
		s.to = f.rec.Runs[b-1].To
	}
	for i, node := range f.segs[k].slabAt {
		if node >= warm && node <= s.to {
			s.slabAt, g.slab = append(s.slabAt, node), append(g.slab, f.slab[slab+i])
		}
	}
	g.segs, g.warm, g.runRange = append(g.segs, s), append(g.warm, warm), append(g.runRange, [2]int{a, b})
	for run := a; run < b; run++ {
		g.rowOf[run] = len(g.rows)
		g.rows = append(g.rows, f.rows[f.rowOf[run]:f.rowOf[run+1]]...)
		g.rowOf[run+1] = len(g.rows)
	}
}
