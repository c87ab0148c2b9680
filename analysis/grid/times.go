package grid

import "slices"

// likeLitres: stretches whose litres differ by less than this factor are taken
// for uses of one kind, and so of one flow.
const likeLitres = 1.33

// times says when water moved in stretches that hold no whole interval of a
// slow log: their mean rates are less than the flow. The flow is taken as the
// largest that the log shows in stretches of like litres (their 90th
// percentile), some of which filled an interval.
func (r *Runs) times(interval int) {
	type peak struct{ litres, lMin float64 }
	peaks := make([]peak, len(r.runs))
	for i, x := range r.runs {
		for j := x.lo; j < x.hi; j++ {
			peaks[i].litres += r.L[j]
			peaks[i].lMin = max(peaks[i].lMin, r.LMin[j])
		}
	}
	for i := range r.runs {
		x := &r.runs[i]
		if x.trickle || x.hi-x.lo >= 3*interval {
			continue
		}
		var like []float64
		for k, p := range peaks {
			if f := p.litres / peaks[i].litres; !r.runs[k].trickle && f < likeLitres && f > 1/likeLitres {
				like = append(like, p.lMin)
			}
		}
		slices.Sort(like)
		r.time(x, interval, max(peaks[i].lMin, like[len(like)*9/10]))
	}
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
