package doubt

import "gonum.org/v1/gonum/floats"

// Pool holds the sums of some parts' rows over every block that a plan may
// choose, so that a resample adds up blocks and looks at no row: with w_r =
// 1 + I (n_d/n̄ − 1) the weight of row r on day d, chosen n_d times,
//
//	Σ w_r v_r = (1 − I) Σ v_r + (I/n̄) Σ_blocks Σ_(r in block) v_r
//
// (see Blocks). A row's value and its response to each error are summed alike.
type Pool struct {
	blocks *Blocks
	width  int       // sums a block
	all    []float64 // of all rows
	block  []float64 // from each day on, width a day
}

// Pool sums the rows of parts, which must be those that the plan was made for.
func (b *Blocks) Pool(parts ...Part) *Pool {
	var vectors [][]float64
	for _, p := range parts {
		vectors = append(vectors, p.values)
		for _, x := range p.by {
			vectors = append(vectors, x.Per)
		}
	}
	n := len(vectors)
	p := &Pool{blocks: b, width: n, all: make([]float64, n), block: make([]float64, b.Days*n)}
	day := make([]float64, b.Days)
	for k, v := range vectors {
		p.all[k] = floats.Sum(v)
		clear(day)
		for r, d := range b.dayOf {
			day[d] += v[r]
		}
		for start := range b.Days {
			sum := 0.0
			for j := range b.Length {
				sum += day[(start+j)%b.Days]
			}
			p.block[start*n+k] = sum
		}
	}
	return p
}

// Resampled are the pool's sums with the Resample source i as drawn in this
// trial, to be taken off by Part.Of in the order of the parts. They stand until
// the next call.
func (t *Trial) Resampled(i int, p *Pool) []float64 {
	if t.only != all && t.only != i {
		return p.all
	}
	b := p.blocks
	if cap(t.sums) < p.width {
		t.sums = make([]float64, p.width)
	}
	sums := t.sums[:p.width]
	clear(sums)
	if b.Days == 0 {
		return sums
	}
	t.pcg.Seed(mix(t.r.opt.Seed+uint64(i)+1), mix(t.number))
	n := b.chosen()
	for range n {
		start := t.rng.IntN(b.Days) * p.width
		for k, v := range p.block[start : start+p.width] {
			sums[k] += v
		}
	}
	scale := b.Inflate * float64(b.Days) / float64(n*b.Length)
	for k, v := range p.all {
		sums[k] = (1-b.Inflate)*v + scale*sums[k]
	}
	return sums
}

// Of is the part's value under the errors e by sums that a pool gave for it;
// rest are those of the parts behind it.
func (p Part) Of(e, sums []float64) (value float64, rest []float64) {
	value = sums[0]
	for i, b := range p.by {
		value += sums[1+i] * e[b.Source]
	}
	return p.gain(e) * value, sums[1+len(p.by):]
}
