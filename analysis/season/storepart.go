package season

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
	"yardheat/analysis/loop"
	"yardheat/analysis/loop/store"
)

// predictor gives the outlet by a model of the loop, at nodes from..to.
type predictor interface {
	Between(from, to int) []float64
}

func (l *loopFit) chosen() bool { return l.store != nil && l.store.Chosen }

// model by its name in results.json.
func (l *loopFit) model() string {
	if l.chosen() {
		return "store"
	}
	return "uniform"
}

// modelWhy is what speaks for the model, in words.
func (l *loopFit) modelWhy() string {
	if !l.chosen() {
		return "uniform bed: " + l.store.Why
	}
	return fmt.Sprintf("bed with a store: draws left out in turn are foretold within %.2f K, by a uniform bed within %.2f K. "+
		"UA is the water's side of it, from slab to water; the supply is how fast the bed refills the slab; in lasting flow both act in series. "+
		"What the bed itself loses as it is drawn on counts as a smaller supply", l.store.StoreK, l.store.UniformK)
}

func (l *loopFit) predictor() predictor {
	if l.chosen() {
		return l.store.Predictor()
	}
	return l.fit.Predictor()
}

// fitStore fits a bed with a store to the draws that the uniform bed was fitted
// to, and takes it where draws left out say so.
func (b *builder) fitStore(l *loopFit, in loop.Input, o loop.Options) {
	x := store.Input{Input: in}
	if s := b.grid.Stream("slab_temp"); s != nil {
		x.SlabC = s.Values
		if l.edges {
			x.SlabC = loop.FromEdges(b.grid.StepS, b.acc.LoopFlow.Values, in.InC, in.OutC, s.Values).BedC
		}
	}
	fit, err := store.Run(x, l.fit, o, b.opt.Store)
	if err != nil {
		fit = &store.Fit{Choice: store.Choice{Why: err.Error()}}
	}
	l.store = fit
	if fit.Chosen {
		l.fit = fit.Loop
	}
}

// storeEffects ties the store's coefficients to the sources of the trials, as
// loopEffects does UA.
func (b *builder) storeEffects(l *loopFit) {
	if !l.chosen() || l.fit.Covariance == nil {
		return
	}
	t := doubt.StudentT(0.975, l.fit.DF) / z95
	for _, c := range []struct {
		of   *store.Coefficient
		name string
		to   *[]effect
	}{
		{&l.store.Supply, "which days happened (supply to the slab)", &l.supply},
		{&l.store.Slab, "which days happened (heat capacity of the slab)", &l.slab},
		{&l.store.Steady, "which days happened (loop in lasting flow)", &l.steady},
	} {
		if !c.of.Told {
			continue
		}
		random := b.reg.add(doubt.Source{Name: c.name, Kind: doubt.Random, HalfWidth: z95 * t * c.of.RandomSD, Relative: true})
		*c.to = append(b.sharedEffects(l, c.of.Ln), effect{random, 1})
	}
}

// storeFigure gives supply, slab or steady coefficient: by the trials where the
// draws tell it, one end or none where they do not. With a uniform bed there is
// no supply, and what lasts in flow is UA itself.
func (b *builder) storeFigure(dst *[]Named, key, unit string, l *loopFit, ua int) {
	if !l.chosen() {
		if key == "steady_w_per_k" {
			b.uaTimes(dst, key, unit, l, ua, 1)
			return
		}
		*dst = append(*dst, unknown(key, unit, doubt.Fitted, l.store.Why))
		return
	}
	c, list := &l.store.Supply, l.supply
	switch key {
	case "slab_kj_per_k":
		c, list = &l.store.Slab, l.slab
	case "steady_w_per_k":
		c, list = &l.store.Steady, l.steady
	}
	if list != nil {
		m := meta{unit: unit, basis: doubt.Fitted, n: l.fit.DrawsUsed, coverage: b.fitCoverage(l)}
		b.want(dst, key, m, func(t *doubt.Trial) float64 { return c.Value * math.Exp(total(list, t.E)) })
		return
	}
	b.later(dst, key, func() Figure {
		return doubt.Make(nan, c.LowerBound, c.UpperBound, unit, doubt.Fitted, l.fit.DrawsUsed, b.fitCoverage(l), c.Why)
	})
}
