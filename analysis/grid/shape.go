package grid

import (
	"cmp"
	"math"
	"slices"
)

// A slow log reads a run's water two or three times, and between them it may
// fall steeply: a draw that passes the whole loop, a tank that runs empty. But
// the readings of many runs fall on other litres of theirs. Together they give
// the temperature by the litres passed, and each run's own readings how far it
// lies from that.

const (
	// kindApart: stretches in order of their litres are of another kind where the
	// next has so many times more.
	kindApart = 1.2
	// shapeNear readings, by litres, give the shape at a point; with less than
	// shapeLeast of them there is none.
	shapeNear, shapeLeast = 9, 24
	// shapeRounds of taking the runs' own distances out of the shape.
	shapeRounds = 4
)

// point is a reading in flushed, flowing water, by the litres of its run that
// had passed.
type point struct {
	litres, tempC float64
	run           int
}

// shape is a temperature by litres passed: sorted points, each run's own
// distance taken off. Empty: level.
type shape []point

// at is the straight line through the nearest points in order of litres, level
// beyond the first and the last.
func (s shape) at(litres float64) float64 {
	if len(s) == 0 {
		return 0
	}
	i, _ := slices.BinarySearchFunc(s, litres, func(p point, l float64) int {
		if p.litres < l {
			return -1
		}
		return 1
	})
	lo := min(max(0, i-shapeNear/2), len(s)-shapeNear)
	near := s[lo : lo+shapeNear]
	var x, y, xx, xy float64
	for _, p := range near {
		x, y = x+p.litres/shapeNear, y+p.tempC/shapeNear
	}
	for _, p := range near {
		xx, xy = xx+(p.litres-x)*(p.litres-x), xy+(p.litres-x)*(p.tempC-y)
	}
	if xx < 1e-6*(1+x*x) {
		return y
	}
	return y + xy/xx*(min(max(litres, near[0].litres), near[shapeNear-1].litres)-x)
}

// newShape finds the shape that the points of many runs have in common.
func newShape(all []point) shape {
	if len(all) < shapeLeast {
		return nil
	}
	slices.SortStableFunc(all, func(a, b point) int { return cmp.Or(cmp.Compare(a.litres, b.litres), cmp.Compare(a.run, b.run)) })
	s := shape(slices.Clone(all))
	for range shapeRounds {
		off, n := map[int]float64{}, map[int]float64{}
		for _, p := range all {
			off[p.run] += p.tempC - s.at(p.litres)
			n[p.run]++
		}
		next := shape(slices.Clone(all))
		for i, p := range all {
			next[i].tempC -= off[p.run] / n[p.run]
		}
		s = next
	}
	return s
}

// shapes are each run's points, and by run the shape that its kind, runs of
// like litres, has in common: a rinse says nothing of a wash.
func (k *booker) shapes() (common []shape, own [][]point) {
	common, own = make([]shape, len(k.runs)), make([][]point, len(k.runs))
	litres := make([]float64, len(k.runs))
	var order []int
	for i, x := range k.runs {
		if own[i] = k.points(i); x.trickle {
			continue
		}
		for _, l := range k.r.L[x.lo:x.hi] {
			litres[i] += l
		}
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(litres[a], litres[b]) })
	for lo := 0; lo < len(order); {
		hi := lo + 1
		for hi < len(order) && litres[order[hi]] < kindApart*litres[order[hi-1]] {
			hi++
		}
		var all []point
		for _, i := range order[lo:hi] {
			all = append(all, own[i]...)
		}
		s := newShape(all)
		for _, i := range order[lo:hi] {
			common[i] = s
		}
		lo = hi
	}
	return common, own
}

// points are a run's readings in flushed, flowing water, each at the litres that
// had passed when the water was there that the lagging probe shows, and what it
// showed when the water stopped.
func (k *booker) points(ri int) []point {
	x, r := k.runs[ri], &k.p.Readings
	flush := k.flushed(x)
	slack := int64(max(60, 0.1*k.p.UsualS) * 1000)
	if flush > x.end || x.guessed && x.hi-x.lo <= k.r.interval() {
		return nil // no reading is known to have been made while water moved
	}
	w, stood := k.standing(ri)
	var out []point
	stamps := false
	for i := r.from(flush); i < r.hi && r.at(i) <= x.end+slack; i = r.next(i + 1) {
		if v := k.read(i); v == v {
			at := r.at(i)
			if a := math.Exp(-float64(at-flush)/1000/k.o.TauS - k.o.FlushTaus); stood && k.o.TauS > 0 && at <= x.end {
				v = (v - a*w.stillC) / (1 - a) // the rest of the step's lag
			}
			out = append(out, point{k.passed(x, at-int64(1000*k.o.TauS)), v, ri})
			stamps = stamps || at >= x.end
		}
	}
	if v, told := k.stoppedC(ri); told && !stamps {
		out = append(out, point{k.passed(x, x.end), v, ri})
	}
	return out
}

// passed are the litres of a run by a time: exact where the log was read, and
// spread evenly between.
func (k *booker) passed(x run, ms int64) float64 {
	g, sum := k.r.Grid, 0.0
	if ms >= x.end {
		ms = math.MaxInt64 / 4
	}
	for j := x.lo; j < x.hi; j++ {
		from := g.EdgeMS(k.r.Cells[j])
		if ms <= from {
			break
		}
		sum += k.r.L[j] * min(1, float64(ms-from)/float64(g.StepMS()))
	}
	return sum
}

// bookShape books a run by its own readings and the common shape between and
// beyond them; false where none of its readings was in flushed, flowing water.
func (k *booker) bookShape(ri int) bool {
	x, own, s := k.runs[ri], k.own[ri], k.common[ri]
	if len(own) == 0 {
		return false
	}
	off := make([]float64, len(own))
	for i, p := range own {
		off[i] = p.tempC - s.at(p.litres)
	}
	sum, at := 0.0, 0
	flush := k.flushed(x)
	for j := x.lo; j < x.hi; j++ {
		litres := sum + k.r.L[j]/2
		sum += k.r.L[j]
		for at+1 < len(own) && own[at+1].litres <= litres {
			at++
		}
		d := off[at]
		if a := own[at]; litres > a.litres && at+1 < len(own) {
			d += (off[at+1] - d) * (litres - a.litres) / (own[at+1].litres - a.litres)
		}
		k.b.TempC[j] = s.at(litres) + d
		k.b.Held[j] = litres < own[0].litres || litres > own[len(own)-1].litres
		k.b.Early[j] = k.r.Grid.EdgeMS(k.r.Cells[j]) < flush
	}
	return true
}
