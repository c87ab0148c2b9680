package doubt

import "math"

// Line is a figure as a straight line in the errors of the sources:
//
//	y = Value + Σ Per_i e_i
//
// It serves tables of many figures, for each of which trials would cost more
// than they tell. For metered sums it differs from the trials by products of
// two errors only (JCGM 100:2008, 5.1.2).
type Line struct {
	Value float64
	Per   []float64 // one a source
}

// Line is the part's census as a line over n sources.
func (p Part) Line(n int) Line {
	l := Line{Value: p.total, Per: make([]float64, n)}
	for _, g := range p.gains {
		l.Per[g] += p.total
	}
	for i, b := range p.by {
		l.Per[b.Source] += p.totals[i]
	}
	return l
}

// Plus is l + weight · m.
func (l Line) Plus(m Line, weight float64) Line {
	out := Line{Value: l.Value + weight*m.Value, Per: make([]float64, max(len(l.Per), len(m.Per)))}
	copy(out.Per, l.Per)
	for i, v := range m.Per {
		out.Per[i] += weight * v
	}
	return out
}

// Over is l/m; NaN where m is 0.
//
//	∂(l/m) = ∂l/m − (l/m) ∂m/m
func (l Line) Over(m Line) Line {
	if m.Value == 0 {
		return Line{Value: math.NaN()}
	}
	q := l.Value / m.Value
	out := l.Plus(m, -q)
	for i := range out.Per {
		out.Per[i] /= m.Value
	}
	out.Value = q
	return out
}

// Interval holds y with 95 %, by the variances of the sources and 1.96 standard
// uncertainties. An error that can only have one sign moves its middle; it then
// still reaches to the value.
func (l Line) Interval(sources []Source) (low, high float64) {
	per := make([]float64, len(sources))
	copy(per, l.Per)
	half := z95 * math.Sqrt(VarianceOf(sources, per))
	mid := l.Value
	for i, s := range sources {
		if s.Dist == OneSided {
			mid += per[i] * s.HalfWidth / 2
		}
	}
	return math.Min(l.Value, mid-half), math.Max(l.Value, mid+half)
}

// Dist as words, for the budget.
func (d Dist) String() string {
	switch d {
	case Rectangular:
		return "rectangular"
	case Resample:
		return "days drawn again"
	case OneSided:
		return "rectangular, one-sided"
	}
	return "normal"
}
