package store

import (
	"math"

	"yardheat/analysis/loop"
)

// lastDay is before any.
const lastDay = math.MinInt

// group lays blocks of whole days over the rows, as loop does, by what this
// model's residuals say of how long draws are related: a uniform bed in place of
// a slab misses for days on end.
func (f *fitter) group() {
	t := f.residuals(f.q.vector())
	var means []float64
	days := map[int]bool{}
	for from := 0; from < len(f.rows); {
		to, sum := from, 0.0
		for ; to < len(f.rows) && f.rows[to].Run == f.rows[from].Run; to++ {
			sum += t.r[to]
		}
		means = append(means, sum/float64(to-from))
		days[f.day(f.rows[from].Node)] = true
		from = to
	}
	f.blockDays = f.o.MinBlockDays
	if rho := loop.LagOne(means); rho > 0 {
		perDay := float64(len(means)) / float64(max(len(days), 1))
		f.blockDays = max(f.blockDays, int(math.Ceil(3*-1/math.Log(rho)/perDay)))
	}
	f.blockDays = max(f.o.MinBlockDays, min(f.blockDays, len(days)/f.o.FewestBlocks))
	f.assign()
}

// assign gives every row its block; a slab's reading between blocks belongs to
// the one before.
func (f *fitter) assign() {
	f.firstDay = f.firstDay[:0]
	start := lastDay
	slab := 0
	until := func(day int) {
		for ; slab < len(f.slab) && f.slab[slab].day < day; slab++ {
			f.slab[slab].block = max(0, len(f.firstDay)-1)
		}
	}
	for i := range f.rows {
		r := &f.rows[i]
		if d := f.day(f.rec.Runs[r.Run].From); start == lastDay || d >= start+f.blockDays {
			until(d)
			f.firstDay, start = append(f.firstDay, d), d
		}
		r.block = len(f.firstDay) - 1
	}
	until(math.MaxInt)
}

// day is the local day of a node.
func (f *fitter) day(node int) int {
	return int(math.Floor((f.rec.T[node] - f.dayZeroS) / 86400))
}
