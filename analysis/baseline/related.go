package baseline

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"yardheat/analysis/solve"
)

// related finds how alike neighbouring days are, and what follows for σ and the
// coefficients. With cov(y_i, y_k) = σ² ρ^|d_i − d_k| = σ² Ω, few days know ρ
// poorly, and a single value of it makes totals look too sure: every ρ from 0 to
// MostRho keeps its weight, by the likelihood freed of the coefficients (REML;
// Patterson and Thompson 1971, from memory),
//
//	w(ρ) ∝ (1 − ρ) |Ω|^-½ |X'Ω^-1 X|^-½ S(ρ)^-(n−p)/2,   s²(ρ) = S(ρ)/(n − p)
//
// S the generalised sum of squares; (1 − ρ) says beforehand that days are rather
// a little alike than nearly the same (our choice; it hardly weighs from 60 days
// on; below 20 the intervals still hold the truth oftener than they say). Below 0 none is taken: days that balance each
// other out do not make a total surer. The coefficients are those of ordinary
// least squares, their covariance at each ρ σ² (X'X)^-1 X'ΩX (X'X)^-1.
func (m *Model) related(x *mat.Dense, rss float64, opt Options) {
	m.Lag1 = m.lag1(m.Residuals())
	exact := rss <= 1e-20*float64(m.N)*m.MeanY*m.MeanY // rounding is not related
	if exact {
		m.Lag1 = 0
	}
	m.at = []alike{{weight: 1, sigma: m.RMSE, v: m.inverse}}
	if opt.MostRho > 0 && !exact {
		m.grid(x, opt)
	}
	for _, a := range m.at {
		m.Rho += a.weight * a.rho
	}
	m.NEffective = float64(m.N) * (1 - m.Rho) / (1 + m.Rho)
	m.SD = make([]float64, len(m.Coef))
	for j := range m.SD {
		for _, a := range m.at {
			m.SD[j] += a.weight * a.sigma * a.sigma * a.v.At(j, j)
		}
		m.SD[j] = math.Sqrt(m.SD[j])
	}
}

// alike is one ρ with its weight, a day's standard deviation, and the
// coefficients' covariance over its square.
type alike struct {
	rho, weight, sigma float64
	v                  *mat.SymDense
}

// steps of ρ.
const steps = 25

// leastWeight: a ρ with less than this share of the best one's weight is left out.
const leastWeight = 1e-4

func (m *Model) grid(x *mat.Dense, opt Options) {
	free := float64(m.N - len(m.Coef))
	logs, best := make([]float64, steps), math.Inf(-1)
	all := make([]alike, steps)
	for g := range all {
		rho := opt.MostRho * float64(g) / (steps - 1)
		s, logDet, ok := m.generalised(x, rho)
		if !ok {
			logs[g] = math.Inf(-1)
			continue
		}
		all[g] = alike{rho: rho, sigma: math.Sqrt(s / free)}
		logs[g] = math.Log(1-rho) - logDet/2 - free/2*math.Log(s)
		best = math.Max(best, logs[g])
	}
	m.at = m.at[:0]
	sum := 0.0
	for g, a := range all {
		if a.weight = math.Exp(logs[g] - best); a.weight > leastWeight {
			a.v = m.sandwich(x, a.rho)
			m.at = append(m.at, a)
			sum += a.weight
		}
	}
	for g := range m.at {
		m.at[g].weight /= sum
	}
}

// generalised is S(ρ) and ln(|Ω| |X'Ω^-1 X|): the rows are made independent one
// after another, (y_i − a y_{i−1})/√(1 − a²) with a = ρ^(d_i − d_{i−1}).
func (m *Model) generalised(x *mat.Dense, rho float64) (s, logDet float64, ok bool) {
	n, p := x.Dims()
	z, y := mat.NewDense(n, p, nil), make([]float64, n)
	for i := range n {
		a := 0.0
		if i > 0 {
			a = math.Pow(rho, float64(m.Day[i]-m.Day[i-1]))
		}
		scale := 1 / math.Sqrt(1-a*a)
		logDet += math.Log(1 - a*a)
		y[i] = m.Y[i]
		if i > 0 {
			y[i] = scale * (y[i] - a*m.Y[i-1])
		}
		for j := range p {
			v := x.At(i, j)
			if i > 0 {
				v = scale * (v - a*x.At(i-1, j))
			}
			z.Set(i, j, v)
		}
	}
	line, err := solve.Linear(z, y)
	if err != nil {
		return 0, 0, false
	}
	inverse, sign := mat.LogDet(line.Inverse)
	return line.RSS, logDet - inverse, sign > 0
}

// lag1 is Σ e_i e_{i−1} over neighbouring days by Σ e², scaled from the pairs
// there are to n − 1; 0 without any.
func (m *Model) lag1(e []float64) float64 {
	var top, bottom float64
	pairs := 0
	for i, v := range e {
		bottom += v * v
		if i > 0 && m.Day[i] == m.Day[i-1]+1 {
			top += v * e[i-1]
			pairs++
		}
	}
	if pairs == 0 || bottom == 0 {
		return 0
	}
	return top / bottom * float64(m.N-1) / float64(pairs)
}

func abs(d int) int { return max(d, -d) }

// sandwich is (X'X)^-1 X'ΩX (X'X)^-1.
func (m *Model) sandwich(x *mat.Dense, rho float64) *mat.SymDense {
	if rho == 0 { // exact, where columns nearly depend on each other
		return m.inverse
	}
	omega := mat.NewDense(m.N, m.N, nil)
	power := make([]float64, m.Day[m.N-1]-m.Day[0]+1)
	for d := range power {
		power[d] = math.Pow(rho, float64(d))
	}
	omega.Apply(func(i, k int, _ float64) float64 { return power[abs(m.Day[i]-m.Day[k])] }, omega)
	var ox, meat, half, full mat.Dense
	ox.Mul(omega, x)
	meat.Mul(x.T(), &ox)
	half.Mul(m.inverse, &meat)
	full.Mul(&half, m.inverse)
	p := len(m.Coef)
	v := mat.NewSymDense(p, nil)
	for i := range p {
		for k := i; k < p; k++ {
			v.SetSym(i, k, (full.At(i, k)+full.At(k, i))/2)
		}
	}
	return v
}

// half is the half-width of an interval over all ρ: Student's t about each one's
// standard error, mixed by their weights.
func (m *Model) half(se func(a alike) float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: m.DF}
	list, most := make([]float64, len(m.at)), 0.0
	for g, a := range m.at {
		list[g] = se(a)
		most = math.Max(most, list[g])
	}
	if most == 0 || len(m.at) == 1 {
		return m.T * most
	}
	low, high := 0.0, m.T*most
	for range 60 {
		mid, inside := (low+high)/2, 0.0
		for g, a := range m.at {
			if list[g] > 0 {
				inside += a.weight * (2*t.CDF(mid/list[g]) - 1)
			} else {
				inside += a.weight
			}
		}
		if inside < m.confidence {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
