package loop

import (
	"math"
	"slices"
)

// DrawUA is what one draw says of UA by itself.
type DrawUA struct {
	// LnUA is the natural logarithm of UA in W/K; NaN where the draw has no
	// rows, or cannot tell UA from the bed's offset.
	LnUA float64
	// SD is its standard deviation by the scatter of the readings, shared
	// errors (probes, meter, volume) left out: they move all draws alike.
	SD float64
}

// drawOffsetSDK is how far the bed offset of one draw may stray from the
// season's: so far that a change of the offset is not taken for one of UA (our
// choice, no source).
const drawOffsetSDK = 3

// drawSteps are the places in ln k from which each draw is stepped to: one step
// from the season's fit falls short where a draw's own UA is far from it.
var drawSteps = [...]float64{0, -0.15, 0.15, -0.35, 0.35, -0.6, 0.6}

// LnUAByDraw fits ln k and the bed offset anew to every draw, all else held at
// the season's fit: Gauss-Newton from the nearest of a few places. The result
// has one entry a draw of Fit.Draws. Where nothing was fitted it is nil.
//
// It is done before a Predictor is made, which works in the same memory.
func (f *Fit) LnUAByDraw() []DrawUA {
	g := f.fitter
	if g == nil || f.Rows == 0 || !slices.Contains(g.free, colLnK) {
		return nil
	}
	out := make([]DrawUA, len(f.Draws))
	for i := range out {
		out[i] = DrawUA{math.NaN(), math.NaN()}
	}
	least := make([]float64, len(out)) // size of the step taken
	for _, d := range drawSteps {
		q := g.q
		q.KPerH *= math.Exp(d)
		g.eval(q, false)
		for i, s := range g.byDraw(len(out)) {
			step, sd, ok := g.drawStep(&s)
			if !ok || !math.IsNaN(out[i].SD) && math.Abs(step) >= least[i] {
				continue
			}
			least[i] = math.Abs(step)
			out[i] = DrawUA{math.Log(f.UAWPerK) + d + step, sd}
		}
	}
	g.eval(g.q, true)
	return out
}

// byDraw adds up the runs of every draw.
func (f *fitter) byDraw(n int) []sums {
	out := make([]sums, n)
	for i, r := range f.p.runs {
		if r.draw >= 0 {
			out[r.draw].plus(&f.perRun[i])
		}
	}
	return out
}

// drawStep solves the 2 by 2 normal equations of ln k and offset.
func (f *fitter) drawStep(s *sums) (step, sd float64, ok bool) {
	a, b, c := s.at(colLnK, colLnK), s.at(colLnK, colOffset), s.at(colOffset, colOffset)
	c += 1 / (drawOffsetSDK * drawOffsetSDK)
	if f.o.HoldOffset {
		b = 0
	}
	det := a*c - b*b
	if s.n < 3 || !(det > 1e-9*a*c) {
		return 0, 0, false
	}
	step = -(c*s.g[colLnK] - b*s.g[colOffset]) / det
	sd = math.Sqrt(c / det)
	// Beyond these a draw is no evidence: one step is no answer so far away.
	return step, sd, math.Abs(step) < 0.5 && sd < 0.5
}
