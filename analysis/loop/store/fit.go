package store

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/loop"
	"yardheat/analysis/rank"
	"yardheat/analysis/solve"
)

// Input is the loop's with the slab's probe.
type Input struct {
	loop.Input
	// SlabC at the nodes, NaN = not covered; nil: no probe.
	SlabC []float64
}

// row is one reading that is fitted.
type row struct {
	loop.Row
	block int // of days
	place int // tenths of the loop's volume since the run began
}

// slabRow is one of the slab's.
type slabRow struct {
	c          float64
	day, block int
}

// fitter is the state of one Run.
type fitter struct {
	o    loop.Options
	s    Options
	base *loop.Fit
	rec  *loop.Record
	feed feed
	segs []segment
	warm []int // by segment
	// first row of each run; rows are in the order of runs.
	rowOf []int
	rows  []row
	slab  []slabRow
	built loop.Built
	q     Params
	lagS  float64
	// stillMean and stillSD are the prior of the film's share in still water.
	stillMean, stillSD float64
	free               []int
	scaleK             float64
	slabSDK            float64
	sd                 []float64 // of each row, the slab's after the outlet's
	deff               float64
	cells              int
	benches            []*bench
	runRange           [][2]int // runs of each segment
	// blocks of days: their length, the first day of each.
	blockDays int
	firstDay  []int
	dayZeroS  float64
	status    solve.Status
	// scoutDraws are looked at for a start.
	scoutDraws int
}

// bench is what one evaluation works in.
type bench struct {
	m   *march
	v   view
	out []float64
}

// vector and with move between Params and parameters.
func (q Params) vector() [params]float64 {
	return [...]float64{math.Log(q.KPerH), math.Log(q.SupplyPerH), math.Log(q.SlabRatio), q.OffsetK, math.Log(q.VolumeRatio), q.Still, q.LeadLoss, q.SlabOffsetK, q.StartK}
}

func fromVector(v [params]float64) Params {
	return Params{math.Exp(v[pK]), math.Exp(v[pSupply]), math.Exp(v[pSlab]), v[pOffset], math.Exp(v[pRatio]), v[pStill], v[pLead], v[pSlabOffset], v[pStart]}
}

// bounds of the parameters, by index: rates beyond which no log of a farm could
// tell. A slab holds at least as much heat as the water.
var (
	lowest  = [params]float64{math.Log(0.005), math.Log(1e-4), 0, -60, math.Log(0.5), 0.1, 0, -60, -60}
	highest = [params]float64{math.Log(60), math.Log(60), math.Log(1000), 60, math.Log(2), 1, 0.3, 60, 60}
)

// steps by which derivatives are taken; the model is straight in the offset
// and nearly so in the rest.
var derivativeSteps = [columns]float64{0.004, 0.01, 0.01, 0.5, 0.002, 0.01, 0.01, 0.5, 0.5, 0.5, 1}

// newFitter readies the rows: those of the uniform fit after each segment's
// first hours.
func newFitter(in *Input, base *loop.Fit, o loop.Options, s Options) *fitter {
	rec := base.Record()
	f := &fitter{o: o, s: s, base: base, rec: rec, lagS: rec.LagS, deff: base.DesignEffect(), cells: s.Cells, blockDays: o.MinBlockDays, dayZeroS: in.DayZeroS, scoutDraws: scoutDraws}
	f.feed = feed{t: rec.T, bed: rec.BedC, in: whole(rec.InC, rec.BedC), w: rec.W, q0: rec.Q0LPS, q1: rec.Q1LPS, stands: rec.Stands}
	f.setFilm(base.UAWPerK)
	f.q = Params{KPerH: base.KPerH, SupplyPerH: base.KPerH, SlabRatio: 15, OffsetK: base.OffsetK, VolumeRatio: base.VolumeRatio, Still: f.stillMean, LeadLoss: base.LeadLoss}
	if o.HoldLead {
		f.q.LeadLoss = 0
	}
	f.chooseRows()
	f.chooseSlabRows(in)
	f.assign()
	f.chooseFree()
	f.scaleK, f.slabSDK = 1, 1
	f.weigh()
	return f
}

// whole is the inlet where it is not known held from before: parcels unknown are
// fitted by nothing, but the slab remembers their heat.
func whole(in, bed []float64) []float64 {
	out := slices.Clone(in)
	first := slices.IndexFunc(in, func(v float64) bool { return !math.IsNaN(v) })
	last := math.NaN()
	if first >= 0 {
		last = in[first]
	}
	for i, v := range out {
		if !math.IsNaN(v) {
			last = v
		} else if out[i] = last; math.IsNaN(last) {
			out[i] = bed[i]
		}
	}
	return out
}

// setFilm takes the wall's share and the film by the coefficient.
func (f *fitter) setFilm(uaWPerK float64) {
	f.built, f.feed.rel = f.base.AtUA(uaWPerK)
	f.stillMean, f.stillSD = f.base.StillAt(uaWPerK)
}

func (f *fitter) chooseRows() {
	rec := f.rec
	fitted := f.base.FittedRows()
	f.segs, f.warm = nil, nil
	f.rowOf = make([]int, len(rec.Runs)+1)
	f.runRange = make([][2]int, len(rec.Segments))
	next, run := 0, 0
	for k, s := range rec.Segments {
		until := rec.T[s.From] + f.s.WarmUpH*3600
		warm := s.From
		for warm < s.To && rec.T[warm] < until {
			warm++
		}
		f.segs, f.warm = append(f.segs, f.segment(k, s)), append(f.warm, warm)
		f.runRange[k][0] = run
		for ; run < len(rec.Runs) && rec.Runs[run].Segment == k; run++ {
			f.rowOf[run] = len(f.rows)
			r := rec.Runs[run]
			for ; next < len(fitted) && fitted[next].Run == run; next++ {
				if x := fitted[next]; r.From >= warm && r.Draw >= 0 && f.flushed(r, x.Node) {
					place := int((rec.W[x.Node] - rec.W[r.From]) / f.built.ThermalL * placesPerLoop)
					f.rows = append(f.rows, row{Row: x, place: place})
				}
			}
		}
		f.runRange[k][1] = run
	}
	f.rowOf[len(rec.Runs)] = len(f.rows)
}

// segment k: the slab goes on over gaps no longer than a warm-up.
func (f *fitter) segment(k int, s loop.Stretch) segment {
	x := segment{from: s.From, to: s.To, first: k == 0}
	if k > 0 {
		x.before = f.rec.Segments[k-1].To
		x.goesOn = f.rec.T[s.From]-f.rec.T[x.before] <= f.s.WarmUpH*3600
	}
	return x
}

// flushed: what stood in the lead pipe has left the probe.
func (f *fitter) flushed(r loop.Flow, node int) bool {
	return r.Arrives > 0 && f.rec.T[node]-f.rec.T[r.Arrives-1]-r.ArrivesS >= f.s.FlushLags*f.lagS
}

// placesPerLoop: readings at one place of a draw share what the model misses
// there (as in loop).
const placesPerLoop = 10

// slabEveryS: a slab is read once an hour.
const slabEveryS = 3600

func (f *fitter) chooseSlabRows(in *Input) {
	if len(in.SlabC) != len(in.T) || len(in.T) == 0 || len(f.rows) == 0 {
		return
	}
	rec := f.rec
	for k := range f.segs {
		s, next := &f.segs[k], math.Inf(-1)
		for i := f.warm[k]; i <= s.to; i++ {
			if v := in.SlabC[rec.Node[i]]; rec.T[i] >= next && !math.IsNaN(v) {
				s.slabAt, f.slab = append(s.slabAt, i), append(f.slab, slabRow{c: v, day: f.day(i)})
				next = rec.T[i] + slabEveryS
			}
		}
	}
}

func (f *fitter) chooseFree() {
	hold := [params]bool{pOffset: f.o.HoldOffset, pRatio: !f.base.RatioFree, pStill: f.o.HoldStill,
		pLead: f.o.HoldLead || f.rec.LeadLoss == 0, pSlabOffset: len(f.slab) == 0, pStart: true}
	for i, h := range hold {
		if !h {
			f.free = append(f.free, i)
		}
	}
}

// priors of the free parameters, as in the uniform fit; precision are theirs.
func (f *fitter) priors(free []int) []solve.Prior {
	all := [params]solve.Prior{
		pOffset: {SD: f.o.OffsetSDK}, pRatio: {SD: f.rec.RatioSD}, pStill: {Mean: f.stillMean, SD: f.stillSD},
		pLead: {Mean: f.rec.LeadLoss, SD: math.Max(f.rec.LeadLoss, 1e-6)}, pSlabOffset: {SD: f.s.SlabOffsetSDK}, pStart: {SD: f.s.StartSDK},
	}
	var out []solve.Prior
	for i, c := range free {
		if q := all[c]; q.SD > 0 {
			q.Index = i
			out = append(out, q)
		}
	}
	return out
}

func (f *fitter) precision() []float64 {
	out := make([]float64, len(f.free))
	for _, q := range f.priors(f.free) {
		out[q.Index] = 1 / (q.SD * q.SD)
	}
	return out
}

// bench i, made for the present number of cells.
func (f *fitter) bench(i int) *bench {
	for len(f.benches) <= i {
		f.benches = append(f.benches, &bench{})
	}
	b := f.benches[i]
	if b.m == nil || b.m.p.n != f.cells {
		b.m = newMarch(&f.feed, f.cells)
		b.out = make([]float64, len(f.rows)+len(f.slab))
	}
	return b
}

// trial is a set of parameters with what shared errors add.
type trial struct {
	v        [params]float64
	inK, lag float64
}

// predict fills b.out with the model's readings at the rows.
func (f *fitter) predict(b *bench, t trial) {
	q := fromVector(t.v)
	b.ready(f, q, t.inK, f.lagS+t.lag)
	slab := len(f.rows)
	for k, s := range f.segs {
		from, to := f.runRange[k][0], f.runRange[k][1]
		b.m.out, b.m.slabC = b.m.out[:0], b.m.slabC[:0]
		b.m.begin(s, f.warm[k])
		b.m.over(s, s.to, false)
		f.read(b, from, to)
		for _, c := range b.m.slabC {
			b.out[slab] = c + q.SlabOffsetK
			slab++
		}
	}
}

// ready sets the bench to q.
func (b *bench) ready(f *fitter, q Params, inK, lagS float64) {
	volume := q.VolumeRatio * f.built.ThermalL
	b.m.set(rates{k: q.KPerH / 3600, supply: q.SupplyPerH / 3600, slab: q.SlabRatio, startK: q.StartK, still: q.Still, offsetK: q.OffsetK, volumeL: volume, inK: inK})
	b.v.rec, b.v.lagS, b.v.front, b.v.loss, b.v.cellL = f.rec, lagS, f.rec.FrontL, q.LeadLoss, volume/float64(f.cells)
}

// read takes the outlet probe at the rows of runs from..to out of one segment's
// samples.
func (f *fitter) read(b *bench, from, to int) {
	at := 0
	for run := from; run < to; run++ {
		next, end := f.rowOf[run], f.rowOf[run+1]
		if next == end {
			continue
		}
		b.look(f.rec.Runs[run], &at)
		b.v.follow(f.rec.Runs[run], func(node int, c float64) {
			if next < end && f.rows[next].Node == node {
				b.out[next] = c
				next++
			}
		})
	}
}

// look readies the view for a run; at keeps its place among the samples.
func (b *bench) look(r loop.Flow, at *int) {
	out, w := b.m.out, b.v.rec.W
	for *at < len(out) && out[*at].w < w[r.From] {
		*at++
	}
	end := *at
	for end < len(out) && out[end].w <= w[r.To] {
		end++
	}
	from := *at
	if from == end { // no parcel left within it: the next that does, or the last
		from = max(0, min(end, len(out)-1))
		end = min(from+1, len(out))
	}
	b.v.spread(out[from:end])
}

// table is the model at one point: residuals and derivatives by column.
type table struct {
	r    []float64
	d    [columns][]float64
	cost float64
}

// residuals at v, model minus reading.
func (f *fitter) residuals(v [params]float64) *table {
	b := f.bench(0)
	f.predict(b, trial{v: v})
	return f.tabled(slices.Clone(b.out))
}

func (f *fitter) tabled(model []float64) *table {
	t := &table{r: model}
	for i := range model {
		if i < len(f.rows) {
			model[i] -= f.rec.OutC[f.rows[i].Node]
		} else {
			model[i] -= f.slab[i-len(f.rows)].c
		}
		t.cost += huberLoss(model[i]/f.sd[i], f.o.Huber)
	}
	return t
}

func huberLoss(z, huber float64) float64 {
	if a := math.Abs(z); a > huber {
		return huber * (2*a - huber)
	}
	return z * z
}

// derivatives are those of the columns asked for, by one-sided differences.
func (f *fitter) derivatives(v [params]float64, cols []int) *table {
	for i := range len(cols) + 1 { // all made beforehand
		f.bench(i)
	}
	solve.EachUntil(f.o.Context, len(cols)+1, func(i int) {
		t := trial{v: v}
		if i > 0 {
			h := derivativeSteps[cols[i-1]]
			switch c := cols[i-1]; c {
			case cIn:
				t.inK = h
			case cLag:
				t.lag = h
			case pStill:
				t.v[c] -= h // never above 1
			default:
				t.v[c] += h
			}
		}
		f.predict(f.benches[i], t)
	})
	base := slices.Clone(f.benches[0].out)
	t := &table{}
	for i, c := range cols {
		h := derivativeSteps[c]
		if c == pStill {
			h = -h
		}
		d := slices.Clone(f.benches[i+1].out)
		for j := range d {
			d[j] = (d[j] - base[j]) / h
		}
		t.d[c] = d
	}
	u := f.tabled(base)
	t.r, t.cost = u.r, u.cost
	return t
}

// weight is the robust weight of residual i over its variance.
func (f *fitter) weight(r float64, i int) float64 {
	w := 1 / (f.sd[i] * f.sd[i])
	if z := math.Abs(r / f.sd[i]); z > f.o.Huber {
		w *= f.o.Huber / z
	}
	return w
}

// weigh sets each row's standard deviation.
func (f *fitter) weigh() {
	f.sd = f.sd[:0]
	for i := range f.rows {
		f.sd = append(f.sd, math.Hypot(f.scaleK, f.s.FrontMiss*f.rows[i].StepK))
	}
	for range f.slab {
		f.sd = append(f.sd, f.slabSDK)
	}
}

// rescale sets the scales from the residuals' median size, as in loop.
func (f *fitter) rescale() {
	t := f.residuals(f.q.vector())
	n := len(f.rows)
	f.scaleK, f.slabSDK = f.scaleOf(t.r[:n]), f.scaleOf(t.r[n:])
	f.weigh()
}

func (f *fitter) scaleOf(r []float64) float64 {
	if len(r) == 0 {
		return 1
	}
	a := make([]float64, len(r))
	for i, v := range r {
		a[i] = math.Abs(v)
	}
	return math.Max(f.o.FloorK, 1.4826*rank.Nth(a, len(a)/2))
}

// minimise runs Levenberg-Marquardt over free from f.q.
func (f *fitter) minimise(free []int, rounds int) solve.Result {
	var low, high, start []float64
	v := f.q.vector()
	for _, c := range free {
		lo := lowest[c]
		if c == pStill {
			lo = f.o.StillLow
		}
		low, high, start = append(low, lo), append(high, highest[c]), append(start, v[c])
	}
	at := func(theta []float64) [params]float64 {
		x := v
		for i, c := range free {
			x[c] = theta[i]
		}
		return x
	}
	p := solve.Problem{Start: start, Low: low, High: high, Priors: f.priors(free),
		Normal: func(theta []float64, a *mat.SymDense, g []float64) float64 {
			if a == nil {
				return f.residuals(at(theta)).cost / f.deff
			}
			t := f.derivatives(at(theta), free)
			f.normal(t, free, 0, len(t.r), a, g)
			return t.cost / f.deff
		}}
	o := solve.DefaultOptions()
	o.MaxIterations, o.StepTol, o.FallTol, o.Context = rounds, 1e-5, 1e-5, f.o.Context
	res, err := solve.Minimise(p, o)
	if err == nil {
		f.q, f.status = fromVector(at(res.Theta)), res.Status
	}
	return res
}

// normal sets a and g to the sums over rows from..to.
func (f *fitter) normal(t *table, free []int, from, to int, a *mat.SymDense, g []float64) {
	n := len(free)
	var sum [columns][columns]float64
	clear(g)
	var d [columns]float64
	for k := from; k < to; k++ {
		w := f.weight(t.r[k], k) / f.deff
		for i, c := range free {
			d[i] = t.d[c][k]
		}
		for i := range n {
			wi := w * d[i]
			g[i] += wi * t.r[k]
			for j := i; j < n; j++ {
				sum[i][j] += wi * d[j]
			}
		}
	}
	for i := range n {
		for j := i; j < n; j++ {
			a.SetSym(i, j, sum[i][j])
		}
	}
}

// scan looks for a start over a grid, the offset solved for each.
func (f *fitter) scan() {
	first := f.q
	best, least := first, math.Inf(1)
	var points []Params
	for _, k := range [...]float64{1, 1.6, 2.6} {
		for _, slab := range [...]float64{5, 15, 45} {
			for _, hours := range [...]float64{2.5, 8, 25} {
				q := first
				q.KPerH, q.SlabRatio, q.SupplyPerH = min(k*first.KPerH, 50), slab, slab/hours
				points = append(points, q)
			}
		}
	}
	costs := make([]float64, len(points))
	for i := range points {
		f.bench(i)
	}
	solve.EachUntil(f.o.Context, len(points), func(i int) {
		b, q := f.benches[i], &points[i]
		f.predict(b, trial{v: q.vector()})
		base := slices.Clone(b.out)
		v := q.vector()
		v[pOffset]++
		f.predict(b, trial{v: v})
		a, g := 1/(f.o.OffsetSDK*f.o.OffsetSDK), q.OffsetK/(f.o.OffsetSDK*f.o.OffsetSDK)
		for j := range f.rows {
			r := base[j] - f.rec.OutC[f.rows[j].Node]
			d, w := b.out[j]-base[j], f.weight(r, j)/f.deff
			a, g = a+w*d*d, g+w*d*r
		}
		step := -g / a
		if f.o.HoldOffset {
			step = 0
		}
		q.OffsetK += step
		for j := range f.rows {
			r := base[j] + step*(b.out[j]-base[j]) - f.rec.OutC[f.rows[j].Node]
			costs[i] += huberLoss(r/f.sd[j], f.o.Huber)
		}
	})
	for i, c := range costs {
		if c < least {
			best, least = points[i], c
		}
	}
	f.q = best
}

// capacityKJPerK is the water's (with its wall) by the fitted volume: C = C_built
// (1 + w (r - 1)), w the pipe's part of the doubt of r.
func (f *fitter) capacityKJPerK(q Params) (c, weight float64) {
	if r := f.rec.RatioSD; r > 0 {
		weight = f.rec.VolumeSD * f.rec.VolumeSD / (r * r)
	}
	return f.built.CapacityKJPerK * (1 + weight*(q.VolumeRatio-1)), weight
}

func (f *fitter) uaWPerK(q Params) float64 {
	c, _ := f.capacityKJPerK(q)
	return q.KPerH / 3.6 * c
}

// warmUps: a slab that recovers within a part of the warm-up has forgotten how it
// began.
const warmUps = 4

// startCells are enough to find a start.
func (f *fitter) startCells() int { return max(12, f.s.Cells/3) }

// solve finds the parameters: a start among a grid and a first fit with few
// cells over a part of a long season, the rest with all. It gives up, false,
// where that first fit meets the draws clearly worse than the uniform bed does.
func (f *fitter) solve() bool {
	f.scaleK = math.Max(f.base.RMSEK, f.o.FloorK)
	f.weigh()
	g := f.scout()
	g.cells = g.startCells()
	g.scan()
	if g.q.SlabRatio/g.q.SupplyPerH > f.s.WarmUpH/warmUps {
		g.free = append(g.free, pStart)
	}
	g.rescale()
	g.minimise(g.free, 15)
	if plain, slab := g.misfits(); slab > f.s.GiveUp*plain {
		return false
	}
	f.q, f.free, f.scaleK, f.slabSDK = g.q, g.free, g.scaleK, g.slabSDK
	f.setFilm(f.uaWPerK(f.q))
	f.cells = f.s.Cells
	f.rescale()
	f.minimise(f.free, 8)
	f.setFilm(f.uaWPerK(f.q))
	f.rescale()
	f.minimise(f.free, 8)
	f.group()
	return true
}

// misfits are the losses of the uniform fit and of this one over the same rows
// and scale.
func (f *fitter) misfits() (plain, slab float64) {
	t := f.residuals(f.q.vector())
	for k, r := range f.rows {
		plain += huberLoss(r.ResidualK/f.sd[k], f.o.Huber)
		slab += huberLoss(t.r[k]/f.sd[k], f.o.Huber)
	}
	return plain, slab
}
