package change

import (
	"cmp"
	"math"
	"slices"

	"yardheat/analysis/doubt"
	"yardheat/analysis/rank"
)

// finder is one search.
type finder struct {
	o Options
	// t, y: values used; x: columns beside, their means taken off; r: relative
	// variance of each value.
	t, y, r []float64
	// end of the time that each value tells of.
	end []float64
	x   [][]float64
	z   []noise
	// steps are the indices at which the steps found begin.
	steps  []int
	beside int // columns of x that are not the drift
}

func newFinder(s Series, o Options) *finder {
	f := &finder{o: o}
	var keep []int
	for i, v := range s.Value {
		if !math.IsNaN(v) && !math.IsInf(v, 0) && (s.SD == nil || s.SD[i] >= 0 && !math.IsInf(s.SD[i], 0)) {
			keep = append(keep, i)
		}
	}
	f.t, f.y = pick(s.Day, keep), pick(s.Value, keep)
	f.end = f.t
	if s.End != nil {
		f.end = pick(s.End, keep)
	}
	for _, c := range s.Beside {
		if x, ok := centred(pick(c, keep)); ok {
			f.x = append(f.x, x)
		}
	}
	f.beside = len(f.x)
	if x, ok := centred(pick(s.Day, keep)); ok && !o.NoDrift {
		f.x = append(f.x, x)
	}
	var sd []float64
	if s.SD != nil {
		sd = pick(s.SD, keep)
	}
	f.weigh(sd)
	f.z = noises(f.t, f.r)
	return f
}

func pick(x []float64, rows []int) []float64 {
	out := make([]float64, len(rows))
	for k, i := range rows {
		out[k] = x[i]
	}
	return out
}

// centred takes the mean off and makes the deviation 1; false: all alike.
func centred(x []float64) (out []float64, ok bool) {
	var known []float64
	for _, v := range x {
		if !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	if len(known) < 3 {
		return nil, false
	}
	mid := median(known)
	mean, square := 0.0, 0.0
	for i, v := range x {
		if math.IsNaN(v) {
			x[i] = mid
		}
		mean += x[i] / float64(len(x))
	}
	for _, v := range x {
		square += (v - mean) * (v - mean) / float64(len(x))
	}
	sd := math.Sqrt(square)
	if !(sd > 1e-9*math.Abs(mean)) || sd == 0 {
		return nil, false
	}
	for i := range x {
		x[i] = (x[i] - mean) / sd
	}
	return x, true
}

func median(x []float64) float64 {
	c := slices.Clone(x)
	n := len(c)
	if n == 0 {
		return math.NaN()
	}
	hi := rank.Nth(c, n/2)
	if n%2 == 1 {
		return hi
	}
	return (hi + rank.Nth(c, n/2-1)) / 2
}

// neighbours on each side whose median a value is held against.
const neighbours = 4

// weigh sets the relative variances: a value's own scatter known beforehand
// beside what all have, and more for one that stands alone. A step is not an
// outlier: half of its neighbours stand with it.
func (f *finder) weigh(sd []float64) {
	n := len(f.y)
	f.r = make([]float64, n)
	if n == 0 {
		return
	}
	if sd == nil {
		sd = make([]float64, n)
	}
	rest, common := f.rest(), 0.0
	for i := range f.r {
		f.r[i] = max(sd[i]*sd[i], 1e-18)
	}
	var off []float64
	for range 3 {
		off = aside(rest, f.r)
		common = max(commonSD(off, sd), f.o.FloorSD, 1e-12)
		for i := range f.r {
			f.r[i] = common*common + sd[i]*sd[i]
		}
	}
	for i := range f.r {
		if z := off[i] / math.Sqrt(f.r[i]) / f.o.OutlierSD; z > 1 {
			f.r[i] *= z * z * f.o.OutlierSD // its pull is bounded, and small
		}
	}
	mid := median(f.r)
	for i := range f.r {
		f.r[i] /= mid
	}
}

// aside is how far each value is from its neighbours' median, these weighed by
// their precision.
func aside(v, variance []float64) []float64 {
	off := make([]float64, len(v))
	for i := range v {
		a, b := max(0, i-neighbours), min(len(v), i+neighbours+1)
		off[i] = math.Abs(v[i] - weightedMedian(v[a:b], variance[a:b]))
	}
	return off
}

// weightedMedian is the least value below which, it included, half of the
// precision lies.
func weightedMedian(v, variance []float64) float64 {
	order, sum := make([]int, len(v)), 0.0
	for i := range v {
		order[i] = i
		sum += 1 / variance[i]
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	below := 0.0
	for _, i := range order {
		if below += 1 / variance[i]; below >= sum/2 {
			return v[i]
		}
	}
	return v[order[len(order)-1]]
}

// commonSD is the scatter s that all values have beside their own: off²/(s² +
// sd²) has the median of the square of a normal variate, 0.4549, or its 80 %
// quantile, 1.6424, whichever s is larger; 0 where their own scatter explains
// both. Where a fifth of the values and more stray they are no outliers: a few
// of them side by side would be taken for exact, and for a step.
func commonSD(off, sd []float64) float64 {
	return max(scatterAt(off, sd, 0.5, 0.4549), scatterAt(off, sd, 0.8, 1.6424))
}

func scatterAt(off, sd []float64, share, want float64) float64 {
	z := make([]float64, len(off))
	at := func(s float64) float64 {
		for i := range z {
			z[i] = off[i] * off[i] / (s*s + sd[i]*sd[i])
		}
		return rank.Nth(z, int(share*float64(len(z)-1)))
	}
	high := slices.Max(off)
	if high == 0 || at(1e-9*high) < want {
		return 0
	}
	return bisect(func(s float64) float64 { return -at(s) }, 0, 10*high, -want)
}

// rest is y less what the columns beside explain of the differences between
// neighbours, where no step shows but at one place.
func (f *finder) rest() []float64 {
	n := len(f.y)
	rest := slices.Clone(f.y)
	if len(f.x) == 0 || n < 4*(len(f.x)+2) {
		return rest
	}
	beta := robustSlopes(f.x, f.y)
	for j, x := range f.x {
		for i := range rest {
			rest[i] -= beta[j] * x[i]
		}
	}
	return rest
}

// robustSlopes fits differences of neighbours by weighted least squares, large
// residuals counting less (Huber, 1.345 deviations, three rounds).
func robustSlopes(x [][]float64, y []float64) []float64 {
	p, n := len(x), len(y)-1
	dx, dy := make([][]float64, p), make([]float64, n)
	for j := range x {
		dx[j] = make([]float64, n)
		for i := range n {
			dx[j][i] = x[j][i+1] - x[j][i]
		}
	}
	for i := range n {
		dy[i] = y[i+1] - y[i]
	}
	w, beta, off := make([]float64, n), make([]float64, p), make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	for range 4 {
		beta = leastSquares(dx, dy, w)
		for i := range n {
			e := dy[i]
			for j := range dx {
				e -= beta[j] * dx[j][i]
			}
			off[i] = math.Abs(e)
		}
		limit := 1.345 * 1.4826 * median(off)
		for i := range w {
			w[i] = 1
			if off[i] > limit && limit > 0 {
				w[i] = limit / off[i]
			}
		}
	}
	return beta
}

// leastSquares by Gram and Schmidt; a column that the former explain gets 0.
func leastSquares(x [][]float64, y, w []float64) []float64 {
	p, n := len(x), len(y)
	q, r := make([][]float64, p), make([][]float64, p)
	qty := make([]float64, p)
	for j := range x {
		q[j], r[j] = make([]float64, n), make([]float64, p)
		size := 0.0
		for i := range n {
			q[j][i] = x[j][i] * math.Sqrt(w[i])
			size += q[j][i] * q[j][i]
		}
		for k := range j {
			if r[k][k] == 0 {
				continue
			}
			r[k][j] = dot(q[k], q[j])
			add(q[j], q[k], -r[k][j])
		}
		if left := dot(q[j], q[j]); left > 1e-10*size && left > 0 {
			r[j][j] = math.Sqrt(left)
			scale(q[j], 1/r[j][j])
			for i := range n {
				qty[j] += q[j][i] * y[i] * math.Sqrt(w[i])
			}
		}
	}
	beta := make([]float64, p)
	for j := p - 1; j >= 0; j-- {
		if r[j][j] == 0 {
			continue
		}
		beta[j] = qty[j]
		for k := j + 1; k < p; k++ {
			beta[j] -= r[j][k] * beta[k]
		}
		beta[j] /= r[j][j]
	}
	return beta
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func add(a, b []float64, k float64) {
	for i, v := range b {
		a[i] += k * v
	}
}

func scale(a []float64, k float64) {
	for i := range a {
		a[i] *= k
	}
}

// first and last are the indices at which a step may begin, so that each side
// keeps SideValues and SideDays; beside the steps in place, within their gap.
func (f *finder) first(from int) int {
	i := from + f.o.SideValues
	for i < len(f.t) && f.t[i] < f.t[from]+f.o.SideDays {
		i++
	}
	return i
}

func (f *finder) last(from int) int {
	to := len(f.t) - 1
	for _, s := range f.steps {
		if s > from {
			to = min(to, s-1)
		}
	}
	i := to + 1 - f.o.SideValues
	for i > 0 && f.t[i] > f.t[to]-f.o.SideDays {
		i--
	}
	return i
}

// candidates are the indices at which a further step may begin.
func (f *finder) candidates() []int {
	var out []int
	for _, from := range append([]int{0}, f.steps...) {
		for i, last := f.first(from), f.last(from); i <= last; i++ {
			if f.t[i] > f.t[i-1] {
				out = append(out, i)
			}
		}
	}
	slices.Sort(out)
	return out
}

// penalty is what twice the gain in log-likelihood must exceed. At one date,
// the noise known, the gain is ν ln(1 + t²/(ν − 1)) with t from Student's
// distribution; two degrees go to the noise, and of m dates each may be at
// fault (Bonferroni: dates are related, so this is on the careful side).
func (f *finder) penalty(dates int) float64 {
	nu := f.freedom()
	t := doubt.StudentT(1-f.o.FalseAlarms/2/float64(max(1, dates)), max(1, nu-3))
	return nu * math.Log1p(t*t/max(1, nu-1))
}

// freedom is the number of contrasts: values less level, columns and steps.
func (f *finder) freedom() float64 { return float64(len(f.t) - 1 - len(f.x) - len(f.steps)) }

// search adds steps while the gain exceeds the penalty; one that does not may
// still stand together with a second.
func (f *finder) search() {
	for len(f.steps) < f.o.Most {
		a := f.best()
		if a.at < 0 {
			return
		}
		before := slices.Clone(f.steps)
		if a.gain > a.penalty && f.chance(a) <= f.o.FalseAlarms {
			f.place(a.at)
			f.settle()
			continue
		}
		f.place(a.at)
		b := f.best()
		if len(f.steps) == f.o.Most || b.at < 0 || a.gain+b.gain <= a.penalty+b.penalty {
			f.steps = before
			return
		}
		f.place(b.at)
		f.settle()
		if !f.stand() {
			f.steps = before
			return
		}
	}
}

// stand says whether every step in place stands beside the others.
func (f *finder) stand() bool {
	all := f.steps
	defer func() { f.steps = all }()
	for j := range all {
		f.steps = slices.Delete(slices.Clone(all), j, j+1)
		if c := f.best(); c.at < 0 || c.gain <= c.penalty || f.chance(c) > f.o.FalseAlarms {
			return false
		}
	}
	return true
}

func (f *finder) place(i int) {
	f.steps = append(f.steps, i)
	slices.Sort(f.steps)
}

// candidate is the date of the largest gain; at is -1 where none may be.
type candidate struct {
	at            int
	gain, penalty float64
	frames        []frame
	scan          *scan
}

func (f *finder) best() candidate {
	c := f.candidates()
	if len(c) == 0 {
		return candidate{at: -1}
	}
	frames := f.frames(c)
	s := f.scan(frames, c)
	k := s.most()
	return candidate{c[k], s.gain(k), f.penalty(len(c)), frames, s}
}

// settle finds every date anew beside the others.
func (f *finder) settle() {
	for range 3 {
		moved := false
		for j := range f.steps {
			own := f.steps[j]
			f.steps = slices.Delete(f.steps, j, j+1)
			c := f.best()
			if c.at < 0 {
				c.at = own
			}
			moved = moved || c.at != own
			f.place(c.at)
		}
		if !moved {
			return
		}
	}
}
