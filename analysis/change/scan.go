package change

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"

	"yardheat/analysis/doubt"
)

// scan is a further step at each of several dates, under each noise.
type scan struct {
	at []int
	// null is the log-likelihood without the step by noise; with by noise and
	// date; marginal likewise, the step's size integrated out.
	null           []float64
	with, marginal [][]float64
	// size and sd of the step by noise and date.
	size, sd [][]float64
	df       float64
}

// frame is what a scan needs of one noise, whatever the values: level, drift,
// columns and steps in place, whitened and made orthonormal, and the square a
// of each further step's column once rid of them.
type frame struct {
	z    *noise
	q    [][]float64
	head float64 // −½ (ln |V| + ln |X′V⁻¹X|)
	a    []float64
}

func (f *finder) frames(at []int) []frame {
	out := make([]frame, len(f.z))
	tail := make([]float64, len(f.y))
	for k := range f.z {
		z := &f.z[k]
		q, logX := f.base(z)
		a := make([]float64, len(at))
		for i, from := range at {
			a[i] = z.raw[from]
		}
		for _, c := range q {
			z.back(c, tail)
			backSums(tail)
			for i, from := range at {
				a[i] -= tail[from] * tail[from]
			}
		}
		for i := range a {
			a[i] = max(a[i], 1e-12)
		}
		out[k] = frame{z, q, -0.5 * (z.logDet + logX), a}
	}
	return out
}

// backSums turns x into sums from each index to the end.
func backSums(x []float64) {
	for i := len(x) - 2; i >= 0; i-- {
		x[i] += x[i+1]
	}
}

// products writes to b[from] the product of the whitened values, rid of q, with
// the step that begins at from, and gives the values' own square. e is memory.
func (r *frame) products(y, e, b []float64) (rss float64) {
	r.z.whiten(y, e)
	for _, c := range r.q {
		add(e, c, -dot(c, e))
	}
	r.z.back(e, b)
	backSums(b)
	return max(dot(e, e), 1e-300)
}

// scan tries a step at each of the dates beside level, columns and the steps
// in place:
//
//	L = −½ (ν ln RSS + ln |V| + ln |X′V⁻¹X|),  ν contrasts,
//
// RSS with the step less b²/a, a the square of the step's column and b its
// product with the values once both are whitened and rid of X.
func (f *finder) scan(frames []frame, at []int) *scan {
	s := &scan{at: at, df: f.freedom() - 1}
	nu := f.freedom()
	e, b := make([]float64, len(f.y)), make([]float64, len(f.y))
	for k := range frames {
		r := &frames[k]
		rss := r.products(f.y, e, b)
		with, marginal := make([]float64, len(at)), make([]float64, len(at))
		size, sd := make([]float64, len(at)), make([]float64, len(at))
		for i, from := range at {
			a, b := r.a[i], b[from]
			left := max(rss-b*b/a, 1e-300)
			with[i] = r.head - 0.5*nu*math.Log(left)
			marginal[i] = r.head - 0.5*(s.df*math.Log(left)+math.Log(a))
			size[i], sd[i] = b/a, math.Sqrt(left/s.df/a)
		}
		s.null = append(s.null, r.head-0.5*nu*math.Log(rss))
		s.with, s.marginal = append(s.with, with), append(s.marginal, marginal)
		s.size, s.sd = append(s.size, size), append(s.sd, sd)
	}
	return s
}

// tailShare: the largest gains of the steady series, from which the chance of a
// still larger one is reckoned (excesses over a high bound are exponential:
// Balkema and de Haan 1974, Pickands 1975, from memory; with no more weight in
// the tail, as for the logarithm of a likelihood).
const tailShare = 0.1

// chance is how often a steady series gains as much at any date: series are
// drawn from the noise without the step, each from one of the grid's by how
// likely it is, so that the doubt about the noise counts.
func (f *finder) chance(c candidate) float64 {
	rng := rand.New(rand.NewPCG(f.o.Seed, uint64(len(f.y))<<8+uint64(len(f.steps))))
	return tailChance(f.steadyGains(c, rng), c.gain)
}

// tailChance is the share of gains above g; far out by their exponential tail.
func tailChance(gains []float64, g float64) float64 {
	slices.Sort(gains)
	k := int(tailShare * float64(len(gains)))
	bound := gains[len(gains)-k-1]
	if g <= bound {
		above := len(gains) - sort.SearchFloat64s(gains, g)
		return float64(above) / float64(len(gains))
	}
	excess := 0.0
	for _, v := range gains[len(gains)-k:] {
		excess += (v - bound) / float64(k)
	}
	return tailShare * math.Exp(-(g-bound)/max(excess, 1e-12))
}

// sampler picks an index by log-weights.
func sampler(logs []float64) func(u float64) int {
	most := slices.Max(logs)
	sums := make([]float64, len(logs))
	sum := 0.0
	for i, v := range logs {
		sum += math.Exp(v - most)
		sums[i] = sum
	}
	return func(u float64) int { return min(sort.SearchFloat64s(sums, u*sum), len(sums)-1) }
}

// base is level, columns and steps in place, whitened and made orthonormal, and
// ln |X′V⁻¹X|.
func (f *finder) base(z *noise) (q [][]float64, logDet float64) {
	n := len(f.y)
	put := func(fill func(out []float64)) {
		c := make([]float64, n)
		fill(c)
		size := dot(c, c)
		for range 2 { // twice is enough
			for _, o := range q {
				add(c, o, -dot(o, c))
			}
		}
		left := dot(c, c)
		if left <= 1e-10*size {
			return // explained by the others
		}
		logDet += math.Log(left)
		scale(c, 1/math.Sqrt(left))
		q = append(q, c)
	}
	put(func(out []float64) { z.whitenStep(0, out) })
	for _, from := range f.steps {
		put(func(out []float64) { z.whitenStep(from, out) })
	}
	for _, x := range f.x {
		put(func(out []float64) { z.whiten(x, out) })
	}
	return q, logDet
}

// most is the place in at of the largest likelihood.
func (s *scan) most() int {
	best, most := 0, math.Inf(-1)
	for _, w := range s.with {
		for i, v := range w {
			if v > most {
				best, most = i, v
			}
		}
	}
	return best
}

// gain is twice the gain in log-likelihood of a step at place i.
func (s *scan) gain(i int) float64 {
	null, with := math.Inf(-1), math.Inf(-1)
	for k := range s.null {
		null, with = max(null, s.null[k]), max(with, s.with[k][i])
	}
	return 2 * (with - null)
}

// posterior are the weights of noise and date, dates as likely before as their
// gaps are long.
func (s *scan) posterior(t []float64) [][]float64 {
	most := math.Inf(-1)
	for _, m := range s.marginal {
		for _, v := range m {
			most = max(most, v)
		}
	}
	sum := 0.0
	out := make([][]float64, len(s.marginal))
	for k, m := range s.marginal {
		out[k] = make([]float64, len(m))
		for i, v := range m {
			out[k][i] = math.Exp(v-most) * (t[s.at[i]] - t[s.at[i]-1])
			sum += out[k][i]
		}
	}
	for _, row := range out {
		scale(row, 1/sum)
	}
	return out
}

// dates is the interval of the date: the gaps, taken by their density from the
// likeliest on, that together hold the confidence, and all between them.
func (s *scan) dates(t, end []float64, weights [][]float64, confidence float64) (low, high float64) {
	p := make([]float64, len(s.at))
	for _, row := range weights {
		add(p, row, 1)
	}
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	gap := func(i int) float64 { return t[s.at[i]] - t[s.at[i]-1] }
	sort.SliceStable(order, func(a, b int) bool { return p[order[a]]/gap(order[a]) > p[order[b]]/gap(order[b]) })
	low, high = math.Inf(1), math.Inf(-1)
	held := 0.0
	for _, i := range order {
		low, high = min(low, t[s.at[i]-1]), max(high, end[s.at[i]])
		if held += p[i]; held >= confidence {
			break
		}
	}
	return low, high
}

// sizes is the interval of the step's size: a mixture of Student's
// distributions over noise and date.
func (s *scan) sizes(weights [][]float64, confidence float64) Estimate {
	var w, m, sd []float64
	low, high := math.Inf(1), math.Inf(-1)
	wide := doubt.StudentT(1-(1-confidence)/20, s.df)
	mean, sum := 0.0, 0.0
	for k, row := range weights {
		for i, v := range row {
			if v < 1e-6 {
				continue
			}
			w, m, sd = append(w, v), append(m, s.size[k][i]), append(sd, s.sd[k][i])
			low, high = min(low, s.size[k][i]-wide*s.sd[k][i]), max(high, s.size[k][i]+wide*s.sd[k][i])
			mean, sum = mean+v*s.size[k][i], sum+v
		}
	}
	t := student{s.df}
	below := func(x float64) float64 {
		p := 0.0
		for i := range w {
			p += w[i] * t.below((x-m[i])/sd[i])
		}
		return p / sum
	}
	tail := (1 - confidence) / 2
	return Estimate{mean / sum, bisect(below, low, high, tail), bisect(below, low, high, 1-tail)}
}

func bisect(f func(float64) float64, low, high, p float64) float64 {
	for range 60 {
		mid := (low + high) / 2
		if f(mid) < p {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
