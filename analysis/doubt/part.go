package doubt

import (
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Part is a sum over rows (cycles, draws, days) with its response to the
// errors of the sources:
//
//	P(e) = Π_g (1 + e_g) · Σ_r w_r (v_r + Σ_j s_rj e_j)
//
// v_r the row's value, e_g the relative errors of the meters that scale the
// sum, e_j the errors that shift it (kelvins of a probe, for instance), s_rj
// the row's sensitivity to e_j, w_r 1 for a census and the resample's weights
// for what is inferred from days. It is exact for metered heat, which is
// linear in each error: Q = (1 + g) ρc Σ V (T_hot + e_hot − T_cold − e_cold),
// but for the fourth digit of ρ and c.
//
// Two meters with errors of their own make two parts. No value may be NaN:
// pick the rows that are covered first.
type Part struct {
	values []float64
	gains  []int
	by     []Effect
	total  float64
	totals []float64
}

// Effect is what one source's error does to each row: Per[r] = ∂v_r/∂e, in
// the rows' unit per unit of the error.
type Effect struct {
	Source int
	Per    []float64
}

// NewPart sums the rows once. gains and Effect.Source are indices into the
// sources of Run; negative ones stand for no error and are dropped.
func NewPart(values []float64, gains []int, by []Effect) Part {
	p := Part{values: values, total: floats.Sum(values)}
	for _, g := range gains {
		if g >= 0 {
			p.gains = append(p.gains, g)
		}
	}
	for _, b := range by {
		if b.Source >= 0 {
			p.by = append(p.by, b)
			p.totals = append(p.totals, floats.Sum(b.Per))
		}
	}
	return p
}

// Census is the sum over all rows under the errors e.
func (p Part) Census(e []float64) float64 {
	sum := p.total
	for i, b := range p.by {
		sum += p.totals[i] * e[b.Source]
	}
	return p.gain(e) * sum
}

// Weighted is the sum with weights, one a row, under the errors e.
func (p Part) Weighted(e, weights []float64) float64 {
	sum := floats.Dot(p.values, weights)
	for _, b := range p.by {
		if err := e[b.Source]; err != 0 {
			sum += floats.Dot(b.Per, weights) * err
		}
	}
	return p.gain(e) * sum
}

// Row is one row's value under the errors e.
func (p Part) Row(r int, e []float64) float64 {
	v := p.values[r]
	for _, b := range p.by {
		v += b.Per[r] * e[b.Source]
	}
	return p.gain(e) * v
}

// Rows is the number of rows.
func (p Part) Rows() int { return len(p.values) }

// Value is a row's value without errors.
func (p Part) Value(r int) float64 { return p.values[r] }

// Sources are the sources that the part responds to, each once.
func (p Part) Sources() []int {
	var list []int
	list = append(list, p.gains...)
	for _, b := range p.by {
		list = append(list, b.Source)
	}
	return list
}

// Pick is the part over some of its rows.
func (p Part) Pick(rows []int) Part {
	by := make([]Effect, len(p.by))
	for i, b := range p.by {
		by[i] = Effect{Source: b.Source, Per: pick(b.Per, rows)}
	}
	return NewPart(pick(p.values, rows), p.gains, by)
}

func (p Part) gain(e []float64) float64 {
	g := 1.0
	for _, i := range p.gains {
		g *= 1 + e[i]
	}
	return g
}

func pick(values []float64, rows []int) []float64 {
	out := make([]float64, len(rows))
	for i, r := range rows {
		out[i] = values[r]
	}
	return out
}

// Times is the part under one more relative error, such as that of the price by
// which it became money; negative: none.
func (p Part) Times(gain int) Part {
	if gain >= 0 {
		p.gains = append(slices.Clone(p.gains), gain)
	}
	return p
}

// Scaled is the part with every row, and its responses, times a weight of its
// own; rows of weight 0 count nothing.
func (p Part) Scaled(weight []float64) Part {
	times := func(v []float64) []float64 {
		out := make([]float64, len(v))
		for i, w := range weight {
			if w != 0 { // what is not known, 0 times, is 0
				out[i] = w * v[i]
			}
		}
		return out
	}
	by := make([]Effect, len(p.by))
	for i, b := range p.by {
		by[i] = Effect{Source: b.Source, Per: times(b.Per)}
	}
	return NewPart(times(p.values), p.gains, by)
}
