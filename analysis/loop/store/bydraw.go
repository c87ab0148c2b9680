package store

import (
	"math"

	"yardheat/analysis/loop"
)

// supplySteps are the places in the supply's logarithm from which each draw is
// stepped to: one step from the season's fit falls short where a draw's own
// supply is far from it.
var supplySteps = [...]float64{0, -0.2, 0.2, -0.45, 0.45}

// mostStep: one step is no answer so far away.
const mostStep = 0.6

// LnSupplyByDraw fits the supply anew to every draw, all else held at the
// season's fit: Gauss-Newton from the nearest of a few places. What is taken is
// the supply that would have stood all along, so draws shortly after a change
// lie between both. One entry a draw of Loop.Draws, its SD by the scatter of the
// readings, a draw counting as one; NaN where the draw has no rows. Shared
// errors move all alike.
func (f *Fit) LnSupplyByDraw() []loop.DrawUA {
	g := f.f
	if g == nil {
		return nil
	}
	out, least := make([]loop.DrawUA, len(f.Loop.Draws)), make([]float64, len(f.Loop.Draws))
	for i := range out {
		out[i] = loop.DrawUA{LnUA: math.NaN(), SD: math.NaN()}
	}
	a, r := make([]float64, len(out)), make([]float64, len(out))
	for _, d := range supplySteps {
		v := g.q.vector()
		v[pSupply] += d
		t := g.derivatives(v, []int{pSupply})
		clear(a)
		clear(r)
		for k, row := range g.rows {
			i, w := g.rec.Runs[row.Run].Draw, g.weight(t.r[k], k)/g.deff
			x := t.d[pSupply][k]
			a[i], r[i] = a[i]+w*x*x, r[i]+w*x*t.r[k]
		}
		for i := range out {
			step := -r[i] / a[i]
			if math.IsNaN(step) || math.Abs(step) > mostStep || !math.IsNaN(out[i].SD) && math.Abs(step) >= least[i] {
				continue
			}
			least[i] = math.Abs(step)
			out[i] = loop.DrawUA{LnUA: math.Log(f.Supply.Value) + d + step, SD: 1 / math.Sqrt(a[i])}
		}
	}
	return out
}
