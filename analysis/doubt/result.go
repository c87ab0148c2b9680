package doubt

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat"

	"yardheat/analysis/rank"
)

// Result of Run.
type Result struct {
	Outputs []Output
	Sources []Source
	// Trials is the number made; an output that stood earlier has fewer.
	Trials int

	columns   [][]float64 // by output, ascending
	variances [][]float64 // by source, by output: of that source alone
	slopes    [][]float64 // by source, by output: per unit of the error; nil for days
	run       *runner
}

// Output is what the trials say of one output.
type Output struct {
	// Nominal is the output without any error: the figure's value.
	Nominal float64
	// Mean and SD of the trials; Low and High the interval's ends.
	Mean, SD, Low, High float64
	// AloneSD is the root of the sum of the variances that each source makes
	// alone. Where it differs much from SD, errors work together.
	AloneSD float64
	// Trials behind it, and those in which the model gave no number. With
	// more than one in a hundred Low and High are NaN.
	Trials, Missing int
	// Settled: the digits that Show prints stand.
	Settled bool
}

// BudgetRow is one source's share of an output's variance.
type BudgetRow struct {
	Source int // index into the sources
	Share  float64
}

// order sorts a column of which the first part is sorted already: the new
// trials by themselves, then both into one. NaN come first.
func order(column []float64, sorted int, by *rank.Sorter) {
	fresh := column[sorted:]
	by.Sort(fresh)
	if sorted == 0 {
		return
	}
	old := slices.Clone(column[:sorted])
	i, j := 0, 0
	for k := range column {
		if j == len(fresh) || i < len(old) && cmp.Compare(old[i], fresh[j]) <= 0 {
			column[k] = old[i]
			i++
		} else {
			column[k] = fresh[j]
			j++
		}
	}
}

// settle takes mean, spread and interval of a sorted column, and whether the
// printed digits stand.
func (o *Output) settle(column []float64, opt Options) {
	o.Trials = len(column)
	o.Missing = sort.Search(len(column), func(i int) bool { return !math.IsNaN(column[i]) })
	x := column[o.Missing:]
	o.Mean, o.SD, o.Low, o.High = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if len(x) < 2 || o.Missing > len(column)/100 {
		o.Settled = o.Missing == len(column) // nothing will ever come
		return
	}
	o.Mean, o.SD = stat.MeanStdDev(x, nil)
	low, high := ends(x, opt)
	o.Low, o.High = x[low], x[high]
	error2 := 2 * math.Max(rankSE(x, low), rankSE(x, high))
	o.Settled = error2 <= tolerance(o.Nominal, o.Low, o.High)
}

// ends are the ranks of the interval's ends in the ordered trials (JCGM
// 101:2008, 7.7): q = pM of them lie between; r starts so that as many lie
// below as above, or so that the interval is shortest.
func ends(x []float64, opt Options) (low, high int) {
	m := len(x)
	q := min(int(math.Floor(opt.Confidence*float64(m)+0.5)), m-1)
	if !opt.Shortest {
		r := (m - q) / 2
		return r, r + q
	}
	best := 0
	for r := range m - q {
		if x[r+q]-x[r] < x[best+q]-x[best] {
			best = r
		}
	}
	return best, best + q
}

// rankSE is the standard error of the value at a rank: half the step between
// the values one binomial standard deviation of the rank below and above.
func rankSE(x []float64, rank int) float64 {
	m := float64(len(x))
	p := (float64(rank) + 0.5) / m
	k := max(1, int(math.Ceil(math.Sqrt(m*p*(1-p)))))
	low, high := max(0, rank-k), min(len(x)-1, rank+k)
	return (x[high] - x[low]) / 2
}

// tolerance is half the last digit that Show prints of the interval.
func tolerance(value, low, high float64) float64 {
	_, place := roundUp(math.Max(high-value, value-low))
	return math.Pow10(place) / 2
}

// Three-point rules that are exact for the mean and the variance of a
// quadratic: nodes at 0 and ± node standard deviations, outer weights each.
var rules = [...]struct{ node, weight float64 }{
	Normal:      {math.Sqrt(3), 1.0 / 6},        // Gauss-Hermite
	Rectangular: {math.Sqrt(9.0 / 5), 5.0 / 18}, // Gauss-Legendre
}

// varianceOf is the variance of each output when source i alone errs, and the
// slope of each with that error. A source made of others has a slope, but no
// variance beside theirs.
func (r *runner) varianceOf(t *Trial, i int, outputs []Output) (v, slope []float64) {
	s := r.sources[i]
	if s.Dist == Resample {
		return r.varianceOfDays(t, i), nil
	}
	if s.Dist == OneSided {
		return r.varianceOfSide(t, i)
	}
	rule := rules[s.Dist]
	v, slope = make([]float64, r.nOut), make([]float64, r.nOut)
	up, down := make([]float64, r.nOut), make([]float64, r.nOut)
	step := rule.node * s.U()
	if step == 0 {
		return v, slope
	}
	r.under(t, i, step, up)
	r.under(t, i, -step, down)
	for k := range v {
		a, b := up[k]-outputs[k].Nominal, down[k]-outputs[k].Nominal
		slope[k] = finite((a - b) / (2 * step))
		if len(s.Of) == 0 {
			mean := rule.weight * (a + b)
			v[k] = known(rule.weight*(a*a+b*b) - mean*mean)
		}
	}
	return v, slope
}

// varianceOfSide takes the slope over the middle of a one-sided error, and the
// variance as slope² a²/12: its effects are small.
func (r *runner) varianceOfSide(t *Trial, i int) (v, slope []float64) {
	s := r.sources[i]
	v, slope = make([]float64, r.nOut), make([]float64, r.nOut)
	up, down := make([]float64, r.nOut), make([]float64, r.nOut)
	if s.HalfWidth == 0 {
		return v, slope
	}
	r.under(t, i, s.HalfWidth, up)
	r.under(t, i, 0, down)
	for k := range v {
		slope[k] = finite((up[k] - down[k]) / s.HalfWidth)
		v[k] = known(slope[k] * slope[k] * s.U() * s.U())
	}
	return v, slope
}

// under computes the outputs where source i alone errs, by e.
func (r *runner) under(t *Trial, i int, e float64, out []float64) {
	clear(t.E)
	t.only = none
	t.E[i] = e
	if len(r.sources[i].Of) == 0 {
		r.made(t.E)
	}
	r.model(t, out)
}

func (r *runner) varianceOfDays(t *Trial, i int) []float64 {
	n := r.opt.ShareTrials
	out, columns := make([]float64, r.nOut), make([]float64, r.nOut*n)
	for j := range n {
		clear(t.E)
		clear(t.drawn)
		t.only, t.number = i, uint64(j)
		r.model(t, out)
		for k, v := range out {
			columns[k*n+j] = v
		}
	}
	v := make([]float64, r.nOut)
	for k := range v {
		v[k] = known(stat.Variance(columns[k*n:(k+1)*n], nil))
	}
	return v
}

// known turns "no number" into no share.
func known(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return 0
	}
	return v
}

// Budget lists the sources by their share of output k's variance, the largest
// first; those without any are left out. The shares add up to 1. Each is the
// variance that the source makes alone, so what two errors make only together
// is spread in proportion.
func (r *Result) Budget(k int) []BudgetRow {
	var rows []BudgetRow
	sum := 0.0
	for i := range r.variances {
		if v := r.variances[i][k]; v > 0 {
			rows = append(rows, BudgetRow{Source: i, Share: v})
			sum += v
		}
	}
	for i := range rows {
		rows[i].Share /= sum
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].Share > rows[j].Share })
	return rows
}

func sortShares(rows []SensorRow) {
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].Share > rows[j].Share })
}

// Chance is the share of the trials in which output k was at least so much;
// NaN without trials.
func (r *Result) Chance(k int, atLeast float64) float64 {
	x := r.columns[k][r.Outputs[k].Missing:]
	if len(x) == 0 {
		return math.NaN()
	}
	return float64(len(x)-sort.SearchFloat64s(x, atLeast)) / float64(len(x))
}

// Ordered are the trials of output k that gave a number, ascending; none where
// more than one in a hundred gave none (its interval is not known then). Not to
// be written to.
func (r *Result) Ordered(k int) []float64 {
	if math.IsNaN(r.Outputs[k].SD) {
		return nil
	}
	return r.columns[k][r.Outputs[k].Missing:]
}

// Quantile of output k at p, 0 to 1; NaN without trials.
func (r *Result) Quantile(k int, p float64) float64 {
	x := r.columns[k][r.Outputs[k].Missing:]
	if len(x) == 0 {
		return math.NaN()
	}
	return stat.Quantile(p, stat.LinInterp, x, nil)
}

// Figure makes a figure of output k. Where a one-sided error outweighs all others
// the trials' interval can leave the value out: it then reaches to it.
func (r *Result) Figure(k int, unit string, basis Basis, n int, coverage float64, why string) Figure {
	o := r.Outputs[k]
	if slices.ContainsFunc(r.Sources, func(s Source) bool { return s.Dist == OneSided }) {
		o.Low, o.High = math.Min(o.Low, o.Nominal), math.Max(o.High, o.Nominal)
	}
	return Make(o.Nominal, o.Low, o.High, unit, basis, n, coverage, why)
}
