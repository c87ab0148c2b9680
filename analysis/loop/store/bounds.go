package store

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/loop"
)

// judge says which coefficients these draws tell, and bounds the others: one is
// told when its interval is narrow, or wide but closed by the misfit on both
// sides.
func (f *fitter) judge(out *Fit) {
	l := out.Loop
	within := f.o.IdentifiedWithin
	l.Identified = l.LowWPerK >= l.UAWPerK*(1-within) && l.HighWPerK <= l.UAWPerK*(1+within)
	f.tell(out, &out.Supply, pSupply, "the supply from bed to slab")
	f.tell(out, &out.Slab, pSlab, "the slab's heat capacity")
	if f.tell(out, &out.Steady, -1, "the coefficient in lasting flow"); !out.Steady.Told {
		f.steadyBounds(out)
	}
	if !l.Identified {
		ua := Coefficient{Value: l.UAWPerK, Low: l.LowWPerK, High: l.HighWPerK, RandomSD: l.RandomSD}
		f.bound(&ua, pK)
		if math.IsNaN(ua.UpperBound) {
			l.LowerBoundWPerK = ua.LowerBound
		}
		l.Why = f.whyNot(out, "the water-side coefficient")
	}
}

// tell judges one; col is its parameter, -1 for none.
func (f *fitter) tell(out *Fit, c *Coefficient, col int, what string) {
	c.Told = c.Low >= c.Value/f.s.SuppliedWithin && c.High <= c.Value*f.s.SuppliedWithin
	if c.Told {
		return
	}
	if col >= 0 {
		f.bound(c, col)
		closed := !math.IsNaN(c.LowerBound) && !math.IsNaN(c.UpperBound)
		if c.Told = closed && !math.IsNaN(c.RandomSD); c.Told {
			return
		}
		if closed { // known from both sides, yet no interval: say neither
			c.LowerBound, c.UpperBound = math.NaN(), math.NaN()
		}
	}
	c.Why = f.whyNot(out, what)
	switch {
	case !math.IsNaN(c.LowerBound):
		c.Why = "a lower bound is all that these draws give: " + c.Why
	case !math.IsNaN(c.UpperBound):
		c.Why = "an upper bound is all that these draws give: " + c.Why
	}
}

// steadyBounds: the two in series lie below either of them.
func (f *fitter) steadyBounds(out *Fit) {
	s, l := &out.Steady, out.Loop
	switch {
	case out.Supply.Told && !math.IsNaN(s.RandomSD):
		s.Told, s.Why = true, ""
	case !math.IsNaN(out.Supply.LowerBound):
		s.LowerBound = inSeries(l.LowWPerK, out.Supply.LowerBound)
	case !math.IsNaN(out.Supply.UpperBound):
		s.UpperBound = inSeries(l.HighWPerK, out.Supply.UpperBound)
	}
}

func inSeries(a, b float64) float64 { return 1 / (1/a + 1/b) }

// whyNot names what hides a coefficient and what would show it.
func (f *fitter) whyNot(out *Fit, what string) string {
	hours := out.SlabRatio / out.SupplyPerH
	if math.IsNaN(out.Loop.RandomSD) {
		return what + " cannot be told apart from the other parameters by these draws; log on through days with more and with fewer draws"
	}
	_, name := f.largest(out)
	shared := ""
	if name != "" {
		shared = fmt.Sprintf(", most of it from the error of the %s", map[string]string{loop.SourceIn: "inlet probe", loop.SourceOut: "outlet probe",
			loop.SourceBed: "bed probe", loop.SourceFlow: "flow meter", loop.SourceVolume: "pipe's volume", loop.SourceLag: "outlet probe's lag"}[name])
	}
	return fmt.Sprintf("the interval of %s is too wide%s: the slab recovers over some %s, and only pauses between draws that differ by as much show how; "+
		"leave the loop standing for %s once, or lay a probe into the slab (slab_temp)", what, shared, span(hours), span(3*hours))
}

// span says a time in hours, or in minutes where it is short.
func span(hours float64) string {
	if hours < 2 {
		return fmt.Sprintf("%.0f min", math.Ceil(60*hours))
	}
	return fmt.Sprintf("%.0f h", hours)
}

// largest part of the supply's spread: the days' ("") or a shared error's.
func (f *fitter) largest(out *Fit) (float64, string) {
	worst, name := out.Supply.RandomSD, ""
	for _, s := range out.Loop.Sources {
		if v := math.Abs(out.Supply.Ln(s) * s.SD); v > worst {
			worst, name = v, s.Name
		}
	}
	return worst, name
}

// profileSteps from the fit, in logarithms.
var profileSteps = [...]float64{0.25, 0.6, 1.1, 1.8, 2.8}

// bound sets the ends beyond which the misfit rises too far, the other
// parameters following; no end where it stays flat. Shared errors widen each by
// what they move the logarithm.
func (f *fitter) bound(c *Coefficient, col int) {
	kept, status, cells := f.q, f.status, f.cells
	f.cells = f.startCells() // its shape, not its place
	free := slices.DeleteFunc(slices.Clone(f.free), func(k int) bool { return k == col })
	cost := func(q Params) float64 {
		f.q = q
		res := f.minimise(free, 4)
		return res.Cost + res.Penalty
	}
	f.minimise(f.free, 6)
	best := f.q
	lowestCost := cost(best)
	z := normal(1 - 2*(1-f.o.Confidence)) // one-sided
	limit := z * z
	end := func(dir float64) float64 {
		q, lastStep, lastRise := best, 0.0, 0.0
		for _, step := range profileSteps {
			v := q.vector()
			v[col] = best.vector()[col] + dir*step
			if v[col] < lowest[col] || v[col] > highest[col] {
				break
			}
			rise := cost(fromVector(v)) - lowestCost
			q = f.q
			if rise >= limit {
				at := lastStep + (step-lastStep)*(limit-lastRise)/(rise-lastRise)
				return c.Value * math.Exp(dir*at)
			}
			lastStep, lastRise = step, rise
		}
		return math.NaN()
	}
	shared := 0.0
	c.LowerBound, c.UpperBound = end(-1), end(1)
	if !math.IsNaN(c.RandomSD) {
		half := math.Log(c.High / c.Value)
		shared = math.Sqrt(math.Max(0, half*half-math.Pow(c.RandomSD*normal(f.o.Confidence), 2)))
	}
	c.LowerBound *= math.Exp(-shared)
	c.UpperBound *= math.Exp(shared)
	f.q, f.status, f.cells = kept, status, cells
}
