package grid

import (
	"math"
	"slices"
)

// In a slow log a short use of water fills no interval: its mean rates are less
// than the flow, and say neither when it began nor when it stopped.

const (
	// likeLitres: stretches whose litres differ by less than this factor are
	// taken for uses of one kind, and so of one flow.
	likeLitres = 1.33
	// likeLeast: so many of one kind say what their flow was.
	likeLeast = 3
	// mostTimes the mean rate: the largest flow looked for.
	mostTimes = 6
)

// use is a stretch's litres, the largest mean rate in it, and the flow it had,
// as far as the log tells it; NaN where it doesn't.
type use struct{ litres, peakLMin, lMin float64 }

// short: a stretch holds no whole interval of the log.
func (x *run) short(interval int) bool { return !x.trickle && x.hi-x.lo < 3*interval }

func (r *Runs) interval() int { return max(1, int(math.Round(r.Flow.UsualS/r.Grid.StepS))) }

// uses are the stretches of a slow log.
func (r *Runs) uses() []use {
	interval, out := r.interval(), make([]use, len(r.runs))
	for i := range r.runs {
		x := &r.runs[i]
		for j := x.lo; j < x.hi; j++ {
			out[i].litres += r.L[j]
			out[i].peakLMin = max(out[i].peakLMin, r.LMin[j])
		}
		out[i].lMin = math.NaN()
		if !x.trickle && !x.short(interval) {
			out[i].lMin = out[i].peakLMin
		}
	}
	return out
}

// times says when water moved in the short stretches of a slow log. The flow of
// each is that of the uses of its kind (median), else that of all stretches
// whose flow is known, else the largest mean rate in those of its kind.
func (r *Runs) times(runs []run, uses []use) {
	var known []float64
	for _, u := range uses {
		if u.lMin == u.lMin {
			known = append(known, u.lMin)
		}
	}
	interval := r.interval()
	for i := range runs {
		x := &runs[i]
		if !x.short(interval) {
			continue
		}
		var like, peaks []float64
		for k, u := range uses {
			f := u.litres / uses[i].litres
			if runs[k].trickle || f > likeLitres || f < 1/likeLitres {
				continue
			}
			peaks = append(peaks, u.peakLMin)
			if u.lMin == u.lMin {
				like = append(like, u.lMin)
			}
		}
		lMin := quantile(peaks, 0.9)
		x.guessed = len(like) < likeLeast
		switch {
		case len(like) >= likeLeast:
			lMin = quantile(like, 0.5)
		case len(known) >= likeLeast:
			lMin = quantile(known, 0.5)
		}
		r.time(x, interval, max(uses[i].peakLMin, lMin))
	}
}

func quantile(v []float64, q float64) float64 {
	slices.Sort(v)
	return v[int(q*float64(len(v)-1))]
}

// time is when a steady flow passed the litres of a short stretch.
func (r *Runs) time(x *run, interval int, steadyLMin float64) {
	g := r.Grid
	from, to := g.EdgeMS(r.Cells[x.lo]), g.EdgeMS(r.Cells[x.hi-1]+1)
	if x.hi-x.lo <= interval {
		x.looseMS = max(0, to-from-r.lasted(x.lo, x.hi, steadyLMin))
		x.start, x.end = from+x.looseMS/2, to-x.looseMS/2
		return
	}
	// The interval in which it began ends, and that in which it stopped begins,
	// where the rate changes.
	first, last := x.lo+interval, x.hi-interval
	x.start = max(from, g.EdgeMS(r.Cells[first-1]+1)-r.lasted(x.lo, first, steadyLMin))
	x.end = min(to, g.EdgeMS(r.Cells[last])+r.lasted(last, x.hi, steadyLMin))
}

// settle finds by the temperatures when the short stretches began and stopped:
// the flow at which both parts of one that crosses from one interval to the
// next had one temperature, and where in its interval one that lies whole in it
// agrees with the still readings after it.
func (k *booker) settle() {
	interval := k.r.interval()
	if interval == 1 {
		return
	}
	uses := k.r.uses()
	for i := range k.runs {
		if x := &k.runs[i]; x.short(interval) && x.looseMS == 0 && k.o.LeadL == 0 {
			uses[i].lMin = k.steady(i, uses[i].peakLMin)
		}
	}
	k.r.times(k.runs, uses)
	if !k.means {
		return
	}
	for i := range k.runs {
		x := &k.runs[i]
		if w, ok := k.standing(i); ok && x.looseMS > 0 && !x.trickle {
			if start, end, told := k.place(i, w); told {
				x.start, x.end, x.looseMS = start, end, 0
			}
		}
	}
}

// steady is the flow of a stretch that crosses from one interval to the next at
// which the water of both had one temperature; NaN where it can't be told.
func (k *booker) steady(ri int, peakLMin float64) float64 {
	was := k.runs[ri]
	defer func() { k.runs[ri] = was }()
	interval := k.r.interval()
	apart := func(lMin float64) float64 {
		k.runs[ri] = was
		k.r.time(&k.runs[ri], interval, lMin)
		x := &k.runs[ri]
		if !k.means {
			return k.fallen(ri)
		}
		w, ok := k.standing(ri)
		all := k.parts(x.start, x.end)
		if v, have := k.endC(ri, x.end); have {
			w.endC = v
		} else {
			ok = false
		}
		if !ok || len(all) != 2 || all[0].toMS != all[1].fromMS {
			return math.NaN()
		}
		u, _ := w.temps(all)
		// By as much as the second part's mean lies above its end, and in
		// proportion to time, the first part's lay above the second's.
		before := u[1] + (u[1]-w.endC)*(all[0].flowS+all[1].flowS)/all[1].flowS
		return (before - u[0]) * (u[1] - w.stillC)
	}
	lo, hi := peakLMin, mostTimes*peakLMin
	if d := apart(lo); !(d > 0) {
		return math.NaN()
	}
	for hi-lo > 1e-3*lo {
		mid := (lo + hi) / 2
		if apart(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// fallen is by how much less a run's last reading in flushed, flowing water is
// than the still readings after it say of its end, both above what stood
// before; NaN where there is none.
func (k *booker) fallen(ri int) float64 {
	x := k.runs[ri]
	_, last, ok := k.span(x.start+int64(k.o.FlushTaus*k.o.TauS*1000), x.end)
	stop, told := k.stoppedC(ri)
	w, stood := k.standing(ri)
	if !ok || !told || !stood {
		return math.NaN()
	}
	v := k.valueAt(last)
	return (stop - v) * (w.stillC - v)
}

// place is where in the interval that holds all of it a run lay: there what the
// interval's mean and what the still readings after it say of the water agree.
func (k *booker) place(ri int, w standing) (start, end int64, told bool) {
	x := k.runs[ri]
	lasts := x.end - x.start
	lo, hi := x.end-x.looseMS/2, x.end+x.looseMS/2
	for hi-lo > 1000 {
		mid := lo + (hi-lo)/2
		seen, ok := k.endC(ri, mid)
		all, whole := together(k.parts(mid-lasts, mid))
		if !ok || !whole || len(all) == 0 {
			return 0, 0, false
		}
		u, _ := w.temps(all)
		if (u[len(u)-1]-seen)*(seen-w.stillC) > 0 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo - lasts, lo, true
}
