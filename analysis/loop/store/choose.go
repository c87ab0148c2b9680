package store

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/loop"
)

// model is one of the two as the choice sees it, over the outlet's rows: at its
// own fit, with derivatives.
type model struct {
	r     []float64
	d     func(k, i int) float64 // row, parameter
	n     int
	prior []float64
	pull  []float64 // of the priors at the fit
	deff  float64
}

// choose foretells blocks left out by both models. Folds are whole blocks, every
// so-many-th into one, so that each is spread over the season; what a model says
// of a fold is one Gauss-Newton step from its fit, with that fold's rows out.
func (f *fitter) choose(out *Fit, t *table) Choice {
	slab := model{r: t.r[:len(f.rows)], n: len(f.free), prior: f.precision(), deff: f.deff,
		d: func(k, i int) float64 { return t.d[f.free[i]][k] }}
	plain := model{r: make([]float64, len(f.rows)), n: len(f.base.Theta), prior: f.base.PriorPrecision(), deff: f.base.DesignEffect(),
		d: func(k, i int) float64 { return f.rows[k].D[i] }}
	for k, r := range f.rows {
		plain.r[k] = r.ResidualK
	}
	plain.pull, slab.pull = pullOf(f.base.Blocks, plain.n), pullOf(out.Loop.Blocks, slab.n)
	blocks := len(f.firstDay)
	folds := min(f.s.Folds, blocks)
	a, b := f.foretold(&plain, folds), f.foretold(&slab, folds)
	return f.judgeChoice(a, b)
}

// pullOf the priors at the fit: it balances the sum of all blocks.
func pullOf(blocks []loop.Block, n int) []float64 {
	out := make([]float64, n)
	for _, b := range blocks {
		for i, v := range b.JTr {
			out[i] -= v
		}
	}
	return out
}

// foldSums are one fold's normal equations.
type foldSums struct {
	a *mat.SymDense
	g []float64
}

// byFold sums a model's rows by fold.
func (f *fitter) byFold(m *model, folds int) []foldSums {
	sums := make([]foldSums, folds)
	for i := range sums {
		sums[i] = foldSums{mat.NewSymDense(m.n, nil), make([]float64, m.n)}
	}
	d := make([]float64, m.n)
	for k, r := range f.rows {
		s, w := &sums[r.block%folds], f.weight(m.r[k], k)/m.deff
		for i := range d {
			d[i] = m.d(k, i)
		}
		for i := range d {
			s.g[i] += w * d[i] * m.r[k]
			for j := i; j < m.n; j++ {
				s.a.SetSym(i, j, s.a.At(i, j)+w*d[i]*d[j])
			}
		}
	}
	return sums
}

// without is the step from a model's fit to that of all folds but one; none
// where the others do not settle it.
func (m *model) without(fold int, sums []foldSums) *mat.VecDense {
	h, g := mat.NewSymDense(m.n, nil), mat.NewVecDense(m.n, nil)
	for i := range m.n {
		h.SetSym(i, i, m.prior[i])
		g.SetVec(i, -m.pull[i])
	}
	for other, s := range sums {
		if other != fold {
			h.AddSym(h, s.a)
			g.AddScaledVec(g, -1, mat.NewVecDense(m.n, s.g))
		}
	}
	var c mat.Cholesky
	step := mat.NewVecDense(m.n, nil)
	if !c.Factorize(h) || c.SolveVecTo(step, g) != nil {
		return mat.NewVecDense(m.n, nil)
	}
	return step
}

// foretold is the loss of every row when its fold is left out, in K².
func (f *fitter) foretold(m *model, folds int) []float64 {
	sums := f.byFold(m, folds)
	steps := make([]*mat.VecDense, folds)
	for fold := range steps {
		steps[fold] = m.without(fold, sums)
	}
	loss := make([]float64, len(f.rows))
	for k, r := range f.rows {
		x := m.r[k]
		for i := range m.n {
			x += m.d(k, i) * steps[r.block%folds].AtVec(i)
		}
		// In units of the row's own doubt, so that fronts do not decide.
		loss[k] = huberLoss(x/f.sd[k], f.o.Huber) * f.scaleK * f.scaleK
	}
	return loss
}

// judgeChoice compares the losses by blocks, each draw counting alike.
func (f *fitter) judgeChoice(plain, slab []float64) Choice {
	n := len(f.firstDay)
	type pair struct{ a, b, draws float64 }
	by := make([]pair, n)
	for from := 0; from < len(f.rows); {
		to, run := from, f.rows[from].Run
		var a, b float64
		for ; to < len(f.rows) && f.rows[to].Run == run; to++ {
			a, b = a+plain[to], b+slab[to]
		}
		p, rows := &by[f.rows[from].block], float64(to-from)
		p.a, p.b, p.draws = p.a+a/rows, p.b+b/rows, p.draws+1
		from = to
	}
	var a, b, gain, squares, used float64
	for _, p := range by {
		if p.draws > 0 {
			a, b, used = a+p.a/p.draws, b+p.b/p.draws, used+1
		}
	}
	gain = (a - b) / a
	for _, p := range by {
		if p.draws > 0 {
			e := ((p.a-p.b)/p.draws - (a-b)/used) / (a / used)
			squares += e * e
		}
	}
	c := Choice{UniformK: math.Sqrt(a / used), StoreK: math.Sqrt(b / used), Gain: gain, GainSE: math.Sqrt(squares / (used * (used - 1))), Blocks: int(used)}
	switch {
	case int(used) < f.o.FewestBlocks:
		c.Why = fmt.Sprintf("only %d blocks of days could be left out in turn to choose between a uniform bed and one with a store; %d are needed", int(used), f.o.FewestBlocks)
	case !(gain > f.s.StandardErrors*c.GainSE):
		c.Why = fmt.Sprintf("draws left out are foretold no better by a bed with a store (error %.2f K, uniform bed %.2f K): nothing in these draws shows one", c.StoreK, c.UniformK)
	case gain < f.s.LeastGain:
		c.Why = fmt.Sprintf("draws left out are foretold hardly better by a bed with a store (error %.2f K, uniform bed %.2f K), so the simpler bed stands", c.StoreK, c.UniformK)
	default:
		c.Chosen = true
	}
	return c
}
