package loop

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/rank"
	"yardheat/analysis/solve"
	"yardheat/analysis/water"
)

// parameterNames by column.
var parameterNames = [parameters]string{"ln_k", "offset", "ln_r", "front", "still", "depletion", "bed_lag", "lead_loss"}

// Bounds of k in 1/h: outside them no log of a farm could tell.
const (
	lowestKPerH  = 0.005
	highestKPerH = 30
)

// fitter is the state of one Run.
type fitter struct {
	o         Options
	p         *path
	built     Built
	m         *model
	q         Params
	free      []int
	w         weights
	perRun    []sums
	residuals [][]float64
	// leadLoss is the prior mean of the lead pipe's loss; stillMean and stillSD
	// are the prior of s.
	leadLoss, stillMean, stillSD float64
	// runBlock is the block of days of each run, -1 if none.
	runBlock []int
	deff     float64
	status   solve.Status
	last     *seen // nil: the model was moved since
}

// Run fits the loop. An error means that the Input or Options are malformed; a
// record that cannot tell gives a Fit that says why.
func Run(in Input, o Options) (*Fit, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	if err := in.validate(); err != nil {
		return nil, err
	}
	p := newPath(&in, o)
	f := newFitter(&in, p, o)
	out := f.solve(&in)
	f.describe(&in, out)
	out.input, out.fitter = &in, f
	return out, nil
}

// Predict is the outlet temperature at the nodes by the model alone, NaN where
// the water entered before the record or a gap, or no draw ran.
func Predict(in Input, q Params, o Options) ([]float64, error) {
	if err := in.validate(); err != nil {
		return nil, err
	}
	f := newFitter(&in, newPath(&in, o), o)
	f.m.set(q, f.built.ThermalL)
	p := Predictor{m: f.m, w: f.w}
	return p.Between(0, len(in.T)), nil
}

// Predictor gives the outlet temperature by a fit's parameters, as Predict
// does. The fit is done with when there is one: it works in its memory.
type Predictor struct {
	m *model
	w weights
}

// Predictor readies one.
func (f *Fit) Predictor() *Predictor {
	m := *f.fitter.m
	m.plain()
	m.set(f.Params, f.Built.ThermalL)
	return &Predictor{m: &m, w: firstWeights(f.input, m.p, f.fitter.o)}
}

// Between are the values at the nodes of the Input from..to, to not among them.
func (p *Predictor) Between(from, to int) []float64 {
	out := make([]float64, to-from)
	for i := range out {
		out[i] = math.NaN()
	}
	node := p.m.p.node
	for _, r := range p.m.p.runs {
		if node[r.to] < from || node[r.from] >= to {
			continue
		}
		p.m.follow(r, p.w, func(x *reading) {
			if i := node[x.node] - from; x.known && i >= 0 && i < len(out) {
				out[i] = x.model.v
			}
		})
	}
	return out
}

func newFitter(in *Input, p *path, o Options) *fitter {
	f := &fitter{o: o, p: p, deff: 1, stillMean: o.StillMean, stillSD: o.StillSD, built: in.built(p)}
	f.m = newModel(p, f.built.ThermalL, in.LeadL*(1+f.built.Beta))
	f.m.ctx = f.o.Context
	f.q = Params{KPerH: 0.3, VolumeRatio: 1, FrontL: o.FrontShare * f.built.ThermalL, Still: o.StillMean, LagS: o.LagS}
	f.setFronts(in, p.meanFlowLMin(), 1)
	f.q.FrontL, _ = f.frontPrior()
	f.w = firstWeights(in, p, o)
	f.leadLoss = in.leadLoss(o, f.m.meanLPS)
	if !o.HoldLead {
		f.q.LeadLoss = f.leadLoss
	}
	f.perRun, f.residuals = make([]sums, len(p.runs)), make([][]float64, len(p.runs))
	return f
}

func firstWeights(in *Input, p *path, o Options) weights {
	return weights{scaleK: 1, huber: o.Huber, bridgedShare: o.BridgedShare, flushS: 3 * o.LagS, edgeS: in.EdgeS, thresholdLPS: p.thresholdLMin / 60}
}

// leadLoss is the share of its warmth that water loses in the lead pipe: W/K
// over the flow's rho c q. A bare plastic pipe in a shed loses some 0.6 W/(m K),
// an insulated one 0.15 (common practice, no source).
func (in *Input) leadLoss(o Options, meanLPS float64) float64 {
	if in.LeadL == 0 || meanLPS == 0 {
		return 0
	}
	lengthM := in.LeadL / in.Pipe.VolumeL() * in.Pipe.LengthM
	return min(0.2, o.LeadWPerMK*lengthM/(4180*meanLPS))
}

// built is the loop at the mean of its water, its thermal volume in litres of the
// meter: the flow's are counted where the water is denser, or thinner.
func (in *Input) built(p *path) Built {
	b := in.Pipe.At(meanWaterC(p))
	meterC := b.MeanC
	switch in.Meter {
	case MeterIn:
		meterC = p.meanC(p.in)
	case MeterOut:
		meterC = p.meanC(p.out)
	}
	if !math.IsNaN(meterC) {
		b.ThermalL *= water.DensityKgPerM3(b.MeanC) / water.DensityKgPerM3(meterC)
	}
	return b
}

// meanC is the mean of a temperature over the litres of all runs.
func (p *path) meanC(tempC []float64) float64 {
	sum, litres := 0.0, 0.0
	for _, r := range p.runs {
		for i := r.from; i < r.to; i++ {
			if l := p.w[i+1] - p.w[i]; !math.IsNaN(tempC[i+1]) {
				sum, litres = sum+tempC[i+1]*l, litres+l
			}
		}
	}
	return sum / litres
}

// meanWaterC is the mean of inlet and bed while water flows: where rho and c
// of the loop's water are taken.
func meanWaterC(p *path) float64 {
	sum, litres := 0.0, 0.0
	for _, r := range p.runs {
		for i := r.from; i < r.to; i++ {
			if v, l := (p.in[i]+p.bed[i])/2, p.w[i+1]-p.w[i]; !math.IsNaN(v) {
				sum, litres = sum+v*l, litres+l
			}
		}
	}
	if litres == 0 {
		return 30
	}
	return sum / litres
}

// chooseFree lists the parameters that the record may know something of.
func (f *fitter) chooseFree() {
	hold := [parameters]bool{false, f.o.HoldOffset, f.o.HoldRatio || !f.ratioKnown(), f.o.HoldFront || f.o.FrontShare == 0, f.o.HoldStill, f.o.HoldDepletion, f.o.HoldBedLag, f.o.HoldLead || f.leadLoss == 0}
	f.free = nil
	for i, h := range hold {
		if !h {
			f.free = append(f.free, i)
		}
	}
}

// ratioKnown: a draw passes the loop's volume, as far as that and the meter are
// known, or the front comes into sight; or draws run at rates that differ by
// half. Were r held where a front just shows, it would be taken for water that
// had not come to rest: another coefficient.
func (f *fitter) ratioKnown() bool {
	if f.o.FreeRatio {
		return true
	}
	slow, fast := math.Inf(1), 0.0
	shows := f.built.ThermalL*(1-z95*f.ratioSD()) - frontShows*f.q.FrontL
	for _, r := range f.p.runs {
		if r.draw < 0 {
			continue
		}
		litres := f.p.w[r.to] - f.p.w[r.from]
		if litres-f.m.leadL > shows {
			return true
		}
		rate := litres / (f.p.t[r.to] - f.p.t[r.from])
		slow, fast = min(slow, rate), max(fast, rate)
	}
	return fast > 1.5*slow
}

// frontShows: so many widths before it a front begins to show (its response is
// 0.02 there).
const frontShows = 2

// ratioSD is the prior of ln r: meter, length, bore and wall.
func (f *fitter) ratioSD() float64 {
	return math.Max(1e-6, math.Hypot(f.built.VolumeSD, f.o.FlowSD))
}

// priors of the free parameters, in the order of free.
func (f *fitter) priors() []solve.Prior {
	front, frontSD := f.frontPrior()
	all := [parameters]solve.Prior{
		colOffset:  {Mean: 0, SD: f.o.OffsetSDK},
		colLnR:     {Mean: 0, SD: f.ratioSD()},
		colFront:   {Mean: front, SD: frontSD},
		colStill:   {Mean: f.stillMean, SD: f.stillSD},
		colDeplete: {Mean: 0, SD: f.o.DepletionSDK},
		colBedLag:  {Mean: 0, SD: f.o.BedLagSDH},
		colLead:    {Mean: f.leadLoss, SD: math.Max(f.leadLoss, 1e-6)},
	}
	var out []solve.Prior
	for i, c := range f.free {
		if c != colLnK {
			q := all[c]
			q.Index = i
			out = append(out, q)
		}
	}
	return out
}

// leastFront: no front is narrower than so much of what the wall makes of it.
const leastFront = 0.8

// bounds of the free parameters.
func (f *fitter) bounds() (low, high []float64) {
	v := f.built.ThermalL
	lo := [parameters]float64{math.Log(lowestKPerH), -60, math.Log(0.5), max(0.002*v, leastFront*math.Sqrt(f.m.fronts.second)), f.o.StillLow, -20, -12, 0}
	hi := [parameters]float64{math.Log(highestKPerH), 60, math.Log(2), 0.15 * v, 1, 20, 12, 0.3}
	for _, c := range f.free {
		low, high = append(low, lo[c]), append(high, hi[c])
	}
	return low, high
}

// theta and put move between the free parameters and Params.
func (f *fitter) theta(free []int) []float64 {
	v := f.q.vector()
	out := make([]float64, len(free))
	for i, c := range free {
		out[i] = v[c]
	}
	return out
}

func (f *fitter) put(q Params, free []int, theta []float64) Params {
	v := q.vector()
	for i, c := range free {
		v[c] = theta[i]
	}
	return q.with(v)
}

// seen is what the last pass over the rows was made with, and its sums.
type seen struct {
	q        Params
	w        weights
	thermalL float64
	keep     bool
	sums     sums
}

// eval sums all rows at q; keep, if the residuals are wanted. The same pass is
// not made twice: whatever else moves the model calls moved.
func (f *fitter) eval(q Params, keep bool) sums {
	if l := f.last; l != nil && l.q == q && l.w.serves(f.w) && l.thermalL == f.built.ThermalL && (l.keep || !keep) {
		return l.sums
	}
	f.m.setSome(q, f.built.ThermalL, f.w.every)
	residuals := f.residuals
	if !keep {
		residuals = nil
	}
	f.last = &seen{q, f.w, f.built.ThermalL, keep, f.m.sumRuns(f.w, f.perRun, residuals)}
	return f.last.sums
}

// serves tells whether a pass made with w will do where x is asked for.
func (w weights) serves(x weights) bool {
	if w.lean && !x.lean {
		return false
	}
	w.lean = x.lean
	return w == x
}

// leanly does something that asks for no shared error.
func (f *fitter) leanly(do func()) {
	was := f.w.lean
	f.w.lean = true
	do()
	f.w.lean = was
}

func (f *fitter) moved() { f.last = nil }

// pick copies the free part of s into a and g, over the design effect.
func (f *fitter) pick(s *sums, free []int, a *mat.SymDense, g []float64) {
	for i, ci := range free {
		g[i] = s.g[ci] / f.deff
		for j := i; j < len(free); j++ {
			a.SetSym(i, j, s.at(ci, free[j])/f.deff)
		}
	}
}

// minimise runs Levenberg-Marquardt over free from f.q, with at most rounds
// iterations, and moves f.q there.
func (f *fitter) minimise(free []int, rounds int) solve.Result {
	saved := f.free
	f.free = free
	defer func() { f.free = saved }()
	low, high := f.bounds()
	base := f.q
	// The same point is asked for its cost and then for its derivatives.
	var seen []float64
	var last sums
	p := solve.Problem{Start: f.theta(free), Low: low, High: high, Priors: f.priors(),
		Normal: func(theta []float64, a *mat.SymDense, g []float64) float64 {
			if !slices.Equal(seen, theta) {
				last, seen = f.eval(f.put(base, free, theta), false), append(seen[:0], theta...)
			}
			if a != nil {
				f.pick(&last, free, a, g)
			}
			return last.cost / f.deff
		}}
	o := solve.DefaultOptions()
	o.MaxIterations, o.StepTol, o.FallTol, o.Context = rounds, 1e-8, 1e-9, f.o.Context
	var res solve.Result
	var err error
	f.leanly(func() { res, err = solve.Minimise(p, o) })
	if err == nil {
		f.q, f.status = f.put(base, free, res.Theta), res.Status
	}
	return res
}

// scan looks for a start: k over a wide grid, the offset solved for each.
func (f *fitter) scan() {
	best, bestCost := f.q, math.Inf(1)
	offsetFree := slices.Contains(f.free, colOffset)
	for k := 0.02; k < 10; k *= 1.6 {
		q := f.q
		q.KPerH = k
		s := f.eval(q, false)
		cost := s.cost
		if a := s.at(colOffset, colOffset) + 1/(f.o.OffsetSDK*f.o.OffsetSDK); offsetFree {
			q.OffsetK -= s.g[colOffset] / a
			cost = f.eval(q, false).cost
		}
		if cost < bestCost {
			best, bestCost = q, cost
		}
	}
	f.q = best
}

// rescale sets the residuals' scale from their median size (1.4826 MAD, the
// standard deviation of a normal).
func (f *fitter) rescale() {
	f.w.learn = true
	f.eval(f.q, true)
	f.w.learn = false
	n := 0
	for _, r := range f.residuals {
		n += len(r)
	}
	all := make([]float64, 0, n)
	for _, r := range f.residuals {
		for _, v := range r {
			all = append(all, math.Abs(v))
		}
	}
	if len(all) == 0 {
		return
	}
	f.w.scaleK = max(f.o.FloorK, 1.4826*rank.Nth(all, len(all)/2))
	f.m.scale(f.w.scaleK)
	f.moved()
}

// fitLag moves the lag to where the starts of draws want it, within its prior
// (ln lag normal about LagS): Gauss-Newton in one variable.
func (f *fitter) fitLag() (sd float64) {
	if f.o.HoldLag || f.o.LagS == 0 || f.o.LagSD == 0 {
		return 0
	}
	for range 4 {
		s := f.eval(f.q, false)
		l := f.q.LagS
		z := math.Log(l / f.o.LagS)
		a := s.lagA*l*l + 1/(f.o.LagSD*f.o.LagSD)
		g := s.lagG*l + z/(f.o.LagSD*f.o.LagSD)
		f.q.LagS = l * math.Exp(math.Max(-0.5, math.Min(0.5, -g/a)))
		sd = f.q.LagS / math.Sqrt(a)
		if math.Abs(g/a) < 1e-3 { // of the lag: far below what the starts can tell
			break
		}
	}
	return sd
}

// followWall counts the wall by what it follows and k by the flow, at the UA
// found so far, and fits again; twice, for UA moves a little with them.
func (f *fitter) followWall(in *Input) {
	mean := f.p.meanFlowLMin()
	film := in.Pipe.filmWPerK(mean / float64(max(in.Branches, 1)))
	if f.o.StiffWall || !(film > 0) {
		return
	}
	whole := f.built
	for range 2 {
		ua := f.q.KPerH / 3.6 * f.built.CapacityKJPerK
		before := f.built.ThermalL
		f.built = whole.follow(ua, film)
		f.setStill(in, ua, film)
		f.m.setFilm(in, ua, mean)
		f.setFronts(in, mean, math.Sqrt(f.built.WallFollows))
		f.moved()
		if slices.Contains(f.free, colLnR) {
			f.q.VolumeRatio *= before / f.built.ThermalL
		}
		f.chooseFree() // a wall that follows little makes the loop smaller
		f.minimise(f.free, rounds)
	}
}

// recoveries are the hours in which a bed may recover, tried in turn: logs tell
// little between them (our choice, no source).
var recoveries = [...]float64{4, 8, 16}

// recover fits all with each recovery and keeps the best.
func (f *fitter) recover() {
	if f.o.HoldDepletion {
		f.minimise(f.free, rounds)
		return
	}
	start := f.q
	best, least := start, math.Inf(1)
	for _, h := range recoveries {
		f.q = start
		f.q.RecoverH = h
		f.m.setLoad(start.KPerH, h)
		f.moved()
		if res := f.minimise(f.free, rounds/3); res.Cost+res.Penalty < least {
			best, least = f.q, res.Cost+res.Penalty
		}
	}
	f.q = best
	f.m.setLoad(best.KPerH, best.RecoverH)
	f.moved()
}

// rounds of one minimisation at most.
const rounds = 60

// A start needs no more than some thousand rows, and what the fit holds fixed
// later (the hours of recovery, the film, the lag) no more than scoutRows and
// scoutDraws: the season's parameters then come from all rows.
const (
	scanRows, scanDraws   = 3000, 20
	scoutRows, scoutDraws = 12000, 120
)

// thin: every so many draws make about that many rows, out of n, and no fewer
// draws (0: all).
func (f *fitter) thin(n, rows, draws int) int {
	if every := min(n/rows, len(f.p.draws)/draws); every > 1 {
		return every
	}
	return 0
}

// solve finds the parameters and their spread.
func (f *fitter) solve(in *Input) *Fit {
	f.chooseFree()
	s := f.eval(f.q, false)
	if s.n == 0 {
		out := none(noRows(in, f.p, f.built))
		out.Built = f.built
		out.LitresLeftOut = f.p.leftOutL + s.unknownL
		return out
	}
	f.w.every = f.thin(s.n, scanRows, scanDraws)
	f.leanly(f.scan)
	f.rescale()
	lead := slices.DeleteFunc(slices.Clone(f.free), func(c int) bool { return c > colLnR }) // the rest at their first values
	f.minimise(lead, rounds)
	f.w.every = f.thin(s.n, scoutRows, scoutDraws)
	f.rescale()
	f.recover()
	f.followWall(in)
	f.fitLag()
	f.w.every = 0
	lagSD := f.fitLag()
	f.rescale()
	f.minimise(f.free, rounds)
	groups := f.group(in)
	f.runBlock = groups.of
	f.deff = f.designEffect(groups)
	if f.deff > 1 {
		f.minimise(f.free, rounds)
	}
	return f.result(groups, lagSD)
}
