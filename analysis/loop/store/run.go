package store

import (
	"fmt"
	"math"

	"yardheat/analysis/loop"
)

// Run fits the store to the rows of the uniform fit base, made of the same
// Input and Options, and chooses between the two. An error means that the
// options are malformed. Without a choice the Fit's Why says the reason and its
// Loop is nil.
func Run(in Input, base *loop.Fit, o loop.Options, s Options) (*Fit, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	if err := s.Validate(); err != nil {
		return nil, err
	}
	if in.SlabC != nil && len(in.SlabC) != len(in.T) {
		return nil, fmt.Errorf("store: %d nodes but %d slab temperatures", len(in.T), len(in.SlabC))
	}
	none := func(why string) (*Fit, error) { return &Fit{Choice: Choice{Why: why}}, nil }
	switch {
	case s.Skip:
		return none("a bed with a store was not tried (option store.Skip)")
	case base == nil || base.Rows == 0:
		return none("no draw could be followed through the loop")
	case len(base.Blocks) < o.FewestBlocks:
		return none(fmt.Sprintf("only %d blocks of days hold draws; to choose between a uniform bed and one with a store takes %d", len(base.Blocks), o.FewestBlocks))
	}
	f := newFitter(&in, base, o, s)
	if f.drawsUsed() < 2*len(f.free) {
		return none(fmt.Sprintf("only %d draws come later than %g h after a start or a gap of the record; a bed with a store needs %d", f.drawsUsed(), s.WarmUpH, 2*len(f.free)))
	}
	if !f.solve() {
		return none("a bed with a store meets these draws worse than a uniform bed: nothing in them shows one")
	}
	f.deff = f.designEffect()
	f.minimise(f.free, 8)
	t := f.derivatives(f.q.vector(), f.all())
	out := f.result(t)
	out.Choice = f.choose(out, t)
	if out.Chosen {
		f.judge(out)
	}
	return out, nil
}

// Predictor gives the outlet temperature by the store's fit.
type Predictor struct {
	f *fitter
	b *bench
}

// Predictor readies one: the whole record is run once.
func (f *Fit) Predictor() *Predictor {
	return &Predictor{f: f.f, b: &bench{m: newMarch(&f.f.feed, f.f.cells)}}
}

// Between are the values at the nodes of the Input from..to, to not among them.
func (p *Predictor) Between(from, to int) []float64 {
	out := make([]float64, to-from)
	for i := range out {
		out[i] = math.NaN()
	}
	f, b := p.f, p.b
	b.ready(f, f.q, 0, f.lagS)
	node := f.rec.Node
	for k, s := range f.segs {
		if node[s.to] < from || node[s.from] >= to {
			continue
		}
		b.m.out = b.m.out[:0]
		b.m.begin(s, f.warm[k])
		b.m.over(segment{from: s.from, to: s.to}, s.to, false)
		at := 0
		for run := f.runRange[k][0]; run < f.runRange[k][1]; run++ {
			r := f.rec.Runs[run]
			if node[r.To] < from || node[r.From] >= to || r.From < f.warm[k] {
				continue
			}
			b.look(r, &at)
			b.v.follow(r, func(i int, c float64) {
				if n := node[i] - from; n >= 0 && n < len(out) && r.Arrives > 0 && i >= r.Arrives {
					out[n] = c
				}
			})
		}
	}
	return out
}
