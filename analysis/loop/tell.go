package loop

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// describe fills what is said of a fit beside the numbers: draws, windows,
// whether the logs can tell UA, and where they can't the profile over it.
func (f *fitter) describe(in *Input, out *Fit) {
	f.draws(out)
	if out.Rows == 0 {
		return
	}
	f.windows(in, out)
	f.judge(out)
}

// noRows says why nothing can be fitted.
func noRows(in *Input, p *path, b Built) string {
	switch {
	case len(in.T) < 2:
		return "the record is empty"
	case len(p.segs) == 0 && allNaN(in.Flow0):
		return "no flow through the loop was recorded: a water meter, or the state of valve or pump with a fixed flow, would settle it"
	case len(p.segs) == 0 && allNaN(in.BedC):
		return "no bed temperature was recorded: a probe in the bed near the pipe would settle it"
	case len(p.segs) == 0:
		return "flow and bed temperature were never recorded at the same time"
	case len(p.draws) == 0:
		return "no draw ran through the loop while flow and bed temperature were recorded"
	case allNaN(in.InC):
		return "no inlet temperature was recorded: a probe on the pipe into the bed would settle it"
	case allNaN(in.OutC):
		return "no outlet temperature was recorded: a probe on the pipe out of the bed would settle it"
	}
	return fmt.Sprintf("no water that entered while everything was recorded came out again: the loop holds %.0f L (with its wall), and the recorded draws do not pass that much without a gap; "+
		"log on through several draws", b.ThermalL)
}

func allNaN(x []float64) bool {
	return !slices.ContainsFunc(x, func(v float64) bool { return !math.IsNaN(v) })
}

// profile is the least sum of squares for each of a row of values of UA, the
// other parameters following.
func (f *fitter) profile(out *Fit) {
	best, deff := f.q, f.deff
	free := slices.DeleteFunc(slices.Clone(f.free), func(c int) bool { return c == colLnK })
	if !f.o.HoldRatio && !slices.Contains(free, colLnR) {
		free = append(free, colLnR) // held at 1 in the fit, but no less in doubt
	}
	lowest := f.eval(best, false).cost/deff + f.penalty(best)
	rise := func(q Params) (Params, float64) {
		f.q = q
		if len(free) > 0 {
			res := f.minimise(free, 6)
			return f.q, res.Cost + res.Penalty - lowest
		}
		return q, f.eval(q, false).cost/deff - lowest
	}
	var below, above []ProfilePoint
	for _, dir := range []float64{-1, 1} {
		q := best
		for _, step := range profileSteps {
			k := best.KPerH * math.Exp(dir*step)
			if k < lowestKPerH || k > highestKPerH {
				break
			}
			q.KPerH = k
			var r float64
			q, r = rise(q)
			q.KPerH = k
			pt := ProfilePoint{out.UAWPerK * k / best.KPerH, math.Max(r, 0)}
			if dir < 0 {
				below = append(below, pt)
			} else {
				above = append(above, pt)
			}
			if r > 20 {
				break
			}
		}
	}
	slices.Reverse(below)
	out.Profile = append(append(below, ProfilePoint{out.UAWPerK, 0}), above...)
	f.q = best
	f.eval(best, true)
}

// profileSteps from the fit in ln UA.
var profileSteps = [...]float64{0.02, 0.05, 0.1, 0.2, 0.35, 0.55, 0.8, 1.1, 1.5, 2, 2.6, 3.3}

func (f *fitter) penalty(q Params) float64 {
	sum, v := 0.0, q.vector()
	for _, p := range f.priors() {
		z := (v[f.free[p.Index]] - p.Mean) / p.SD
		sum += z * z
	}
	return sum
}

// lowerEnd is the lower bound that is stated: the lesser of the steady bed's and
// the fit's own one-sided end, each z standard deviations of the shared errors
// further down. The steady bed's is a few per cent off where water is not far
// from the bed's temperature, the fit's own wide where it is near.
func (f *fitter) lowerEnd(out *Fit, z float64) float64 {
	shared := 0.0
	for _, s := range out.Sources {
		shared += s.LnUA * s.LnUA * s.SD * s.SD
	}
	steady := f.lowerBound(out, z*z) * math.Exp(-z*math.Hypot(f.built.VolumeSD, f.o.FlowSD*out.VolumeWeight))
	if math.IsNaN(out.RandomSD) {
		return steady
	}
	t := studentQuantile(1-2*(1-f.o.Confidence), out.DF)
	own := out.UAWPerK * math.Exp(-math.Hypot(t*out.RandomSD, z*math.Sqrt(shared)))
	return math.Min(steady, own) // NaN where there is no steady bound
}

// lowerBound is the UA below which water would have come out colder than it
// did, limit being the rise of the sum of squares that is too much. It takes
// the bed as steady: how water lags behind a bed that moves would bound UA more
// sharply, but a probe that is not at the pipe sees other moves.
func (f *fitter) lowerBound(out *Fit, limit float64) float64 {
	best := f.q
	f.m.steady = true
	f.moved()
	defer func() {
		f.m.steady, f.q = false, best
		f.moved()
		f.eval(best, true)
	}()
	free := slices.DeleteFunc(slices.Clone(f.free), func(c int) bool { return c == colLnK })
	var pts []ProfilePoint
	least := math.Inf(1)
	for k := 20.0; k > lowestKPerH; k /= 1.3 {
		f.q.KPerH = k
		s := 0.0
		if len(free) > 0 {
			res := f.minimise(free, 6)
			s = res.Cost + res.Penalty
		} else {
			s = f.eval(f.q, false).cost / f.deff
		}
		least = min(least, s)
		pts = append(pts, ProfilePoint{out.UAWPerK * k / best.KPerH, s})
		if s > least+10*limit {
			break
		}
	}
	slices.Reverse(pts)
	for i := range pts {
		pts[i].Rise -= least
	}
	return crossing(pts, limit)
}

// tells is the half-width of ln UA that the record would leave if a draw were
// but one reading and the model off by MisfitK in it (or by as much as it is):
// the Cramér-Rao bound of this fit's model and priors, the bed taken as steady
// (see lowerBound). Water that soaked until a gap of 40 K had shrunk to some
// hundredths of a kelvin gives a narrow interval when the model happens to fit,
// and a narrow wrong one when front, lead pipe or bed are a little other than
// modelled.
func (f *fitter) tells(out *Fit) float64 {
	f.m.steady = true
	f.moved()
	total := f.eval(f.q, false)
	f.m.steady = false
	f.moved()
	defer f.eval(f.q, true)
	n := len(f.free)
	a, g := mat.NewSymDense(n, nil), make([]float64, n)
	f.pick(&total, f.free, a, g)
	perDraw := math.Max(1, float64(total.n)/float64(max(f.drawsUsed(), 1)))
	less := math.Min(1, f.w.scaleK/f.o.MisfitK)
	a.ScaleSym(f.deff/perDraw*less*less, a)
	for i, p := range f.precision() {
		a.SetSym(i, i, a.At(i, i)+p)
	}
	inverse := invert(a, f.atBound())
	if inverse == nil {
		return math.Inf(1)
	}
	c := mat.NewVecDense(n, out.lnUA)
	return normalQuantile(f.o.Confidence) * math.Sqrt(mat.Inner(c, inverse, c))
}

// judge decides whether the record tells UA, and says what would settle it.
func (f *fitter) judge(out *Fit) {
	within := f.o.IdentifiedWithin
	enough := len(out.Blocks) >= f.o.FewestBlocks && !math.IsNaN(out.LowWPerK)
	out.TellsWithin = f.tells(out)
	soaked := !(out.TellsWithin <= within)
	out.Identified = enough && !soaked && out.LowWPerK >= out.UAWPerK*(1-within) && out.HighWPerK <= out.UAWPerK*(1+within)
	if out.Identified {
		return
	}
	f.profile(out)
	z := normalQuantile(1 - 2*(1-f.o.Confidence)) // one-sided
	flat := soaked || out.Profile[len(out.Profile)-1].Rise < z*z
	if flat {
		out.LowerBoundWPerK = f.lowerEnd(out, z)
	}
	longest := 0.0
	for _, d := range out.Draws {
		longest = max(longest, d.LoopVolumes)
	}
	switch {
	case flat && longest < 1.15:
		out.Why = fmt.Sprintf("no draw passed more than %.1f loop volumes: the water had soaked long enough to reach bed temperature whatever the coefficient, so a lower bound is all that these logs give; "+
			"draw one and a half loops once without a pause", longest)
	case flat:
		out.Why = "the water that came out was as warm as the bed makes it, whatever the coefficient, so a lower bound is all that these logs give; draw one and a half loops once at the fastest flow, without a pause"
	case len(out.Blocks) < f.o.FewestBlocks:
		out.Why = fmt.Sprintf("draws that can be used make only %d of the %d blocks of %d days that an interval needs: log on for %d more days",
			len(out.Blocks), f.o.FewestBlocks, out.BlockDays, (f.o.FewestBlocks-len(out.Blocks))*out.BlockDays)
	case math.IsNaN(out.LowWPerK):
		out.Why = "the draws are so alike that coefficient and bed offset cannot be told apart; draw one and a half loops once"
	default:
		out.Why = f.tooWide(out)
	}
}

// tooWide names the largest part of the spread and what would narrow it.
func (f *fitter) tooWide(out *Fit) string {
	half := math.Log(out.HighWPerK / out.UAWPerK)
	worst, name := out.RandomSD*studentQuantile(f.o.Confidence, out.DF)/z95, ""
	for _, s := range out.Sources {
		if v := math.Abs(s.LnUA * s.SD); v > worst {
			worst, name = v, s.Name
		}
	}
	what := map[string]string{
		"":           "most of it from the draws themselves, which disagree with each other; draw one and a half loops once a week without a pause",
		SourceIn:     "most of it from the inlet probe's error; hold inlet and outlet probe together in one bucket of water and enter the result under [[matched]]",
		SourceOut:    "most of it from the outlet probe's error; hold inlet and outlet probe together in one bucket of water and enter the result under [[matched]]",
		SourceBed:    "most of it from the bed probe's error; hold bed and outlet probe together in one bucket of water and enter the result under [[matched]]",
		SourceFlow:   "most of it from the flow meter's error; fill a vessel of known volume through the meter and enter the result under [errors]",
		SourceVolume: "most of it from the pipe's volume; state wall_mm and pipe, and measure length and bore",
		SourceLag:    "most of it from the outlet probe's lag; put the probe into a pocket, or log faster",
		SourceFront:  "most of it from the form of the front, which is nearly all that the draws show; draw one and a half loops once without a pause",
	}[name]
	return fmt.Sprintf("the interval reaches %.0f %% to the upper side, %s", 100*(math.Exp(half)-1), what)
}

// crossing is the lowest UA at which the profile's rise is still below limit,
// by a straight line in ln UA; NaN if the rise never exceeds it below the fit.
func crossing(pts []ProfilePoint, limit float64) float64 {
	for i := len(pts) - 2; i >= 0; i-- {
		a, b := pts[i], pts[i+1]
		if a.Rise >= limit && b.Rise < limit {
			f := (limit - b.Rise) / (a.Rise - b.Rise)
			return b.UAWPerK * math.Exp(f*math.Log(a.UAWPerK/b.UAWPerK))
		}
	}
	return math.NaN()
}
