package baseline

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/solve"
)

// rate is a variable's value per unit of the constant: of a day's sums the mean
// level.
func (r *Rows) rate(x []float64, j int) float64 {
	if r.Constant < 0 || j == r.Constant {
		return x[j]
	}
	return x[j] / x[r.Constant]
}

// spread takes the variables' ranges; why says which one can't be used.
func (m *Model) spread(opt Options) (why string) {
	m.Ranges = make([]Range, len(m.Names))
	for j := range m.Names {
		r := Range{Low: math.Inf(1), High: math.Inf(-1)}
		for _, x := range m.X {
			v := m.rate(x, j)
			r.Low, r.High, r.Mean = math.Min(r.Low, v), math.Max(r.High, v), r.Mean+v/float64(m.N)
		}
		m.Ranges[j] = r
		if j == m.Constant {
			continue
		}
		if m.Constant >= 0 && r.High-r.Low < opt.LeastSpread*math.Abs(r.Mean) {
			return fmt.Sprintf("%s was between %.4g and %.4g all the time: what the energy does with it can't be told", m.Names[j], r.Low, r.High)
		}
		if s := m.shared(j); s > opt.MostShared {
			return fmt.Sprintf("%s went so closely with the other variables (R² %.3f) that their effects can't be told apart", m.Names[j], s)
		}
	}
	return ""
}

// shared is R² of variable j against the other columns, about its mean where
// there is a constant.
func (m *Model) shared(j int) float64 {
	p := len(m.Names)
	if p == 1 {
		return 0
	}
	y, x := make([]float64, m.N), mat.NewDense(m.N, p-1, nil)
	mean := 0.0
	if m.Constant >= 0 {
		mean = m.Ranges[j].Mean
	}
	about := 0.0
	for i, row := range m.X {
		y[i] = row[j]
		about += (y[i] - mean) * (y[i] - mean)
		for k, c := 0, 0; k < p; k++ {
			if k != j {
				x.Set(i, c, row[k])
				c++
			}
		}
	}
	line, err := solve.Linear(x, y)
	if err != nil || about == 0 {
		return 1
	}
	return 1 - line.RSS/about
}

// Outside is one variable that a stretch leaves the model's range with.
type Outside struct {
	Name              string
	Variable          int
	Low, High         float64 // the model's
	Days, Of          int
	Lowest, Highest   float64 // of the stretch
	MostBeyond, Share float64 // how far in ranges at most; days over all
}

// Outside lists the variables that the days of x leave the range of. within is
// how far beyond, in ranges, still counts as inside.
func (m *Model) Outside(x [][]float64, within float64) []Outside {
	var out []Outside
	for j := range m.Names {
		if j == m.Constant {
			continue
		}
		r := m.Ranges[j]
		o := Outside{Name: m.Names[j], Variable: j, Low: r.Low, High: r.High, Of: len(x), Lowest: math.Inf(1), Highest: math.Inf(-1)}
		for _, row := range x {
			v := m.rate(row, j)
			o.Lowest, o.Highest = math.Min(o.Lowest, v), math.Max(o.Highest, v)
			if beyond := math.Max(r.Low-v, v-r.High) / (r.High - r.Low); beyond > within {
				o.Days++
				o.MostBeyond = math.Max(o.MostBeyond, beyond)
			}
		}
		if o.Days > 0 {
			o.Share = float64(o.Days) / float64(len(x))
			out = append(out, o)
		}
	}
	return out
}

// Span is the lowest and the highest of variable j in the days of x, per unit of
// the constant.
func (m *Model) Span(x [][]float64, j int) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, row := range x {
		v := m.rate(row, j)
		low, high = math.Min(low, v), math.Max(high, v)
	}
	return low, high
}
