package store

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"yardheat/analysis/loop"
)

// all are the columns of the free parameters and of the shared errors.
func (f *fitter) all() []int {
	cols := slices.Clone(f.free)
	for _, c := range []int{pRatio, cIn, cLag} {
		if !slices.Contains(cols, c) && !(c == cLag && f.lagS == 0) {
			cols = append(cols, c)
		}
	}
	return cols
}

// blockOf row k, the slab's among them.
func (f *fitter) blockOf(k int) int {
	if k < len(f.rows) {
		return f.rows[k].block
	}
	return f.slab[k-len(f.rows)].block
}

// blockSums are the normal equations by block, over the free parameters.
func (f *fitter) blockSums(t *table) []loop.Block {
	n := len(f.free)
	out := make([]loop.Block, len(f.firstDay))
	for i, day := range f.firstDay {
		out[i] = loop.Block{FirstDay: day, JTJ: mat.NewSymDense(n, nil), JTr: make([]float64, n)}
	}
	a, g := mat.NewSymDense(n, nil), make([]float64, n)
	for from := 0; from < len(t.r); {
		to, b := from, f.blockOf(from)
		for to < len(t.r) && f.blockOf(to) == b && (to < len(f.rows)) == (from < len(f.rows)) {
			to++
		}
		f.normal(t, f.free, from, to, a, g)
		out[b].JTJ.AddSym(out[b].JTJ, a)
		for i, v := range g {
			out[b].JTr[i] += v
		}
		from = to
	}
	for k, r := range f.rows {
		if k == 0 || f.rec.Runs[f.rows[k-1].Run].Draw != f.rec.Runs[r.Run].Draw {
			out[r.block].Draws++
		}
	}
	return out
}

// atBound: parameters that ended at a bound are held in the spread.
func (f *fitter) atBound() []bool {
	v := f.q.vector()
	out := make([]bool, len(f.free))
	for i, c := range f.free {
		lo := lowest[c]
		if c == pStill {
			lo = f.o.StillLow
		}
		span := highest[c] - lo
		out[i] = c != pK && (v[c]-lo < 1e-6*span || highest[c]-v[c] < 1e-6*span)
	}
	return out
}

// designEffect as in loop: the blocks' variance over that of independent rows,
// never less than the rows of a draw.
func (f *fitter) designEffect() float64 {
	f.deff = 1
	t := f.derivatives(f.q.vector(), f.free)
	blocks, prior, held := f.blockSums(t), f.precision(), f.atBound()
	perDraw := math.Max(1, float64(len(f.rows))/float64(max(f.drawsUsed(), 1)))
	if len(blocks) < f.o.FewestBlocks {
		return perDraw
	}
	inv, v := loop.InverseOf(blocks, prior, held), loop.Jackknife(blocks, prior, held)
	if inv == nil || v == nil {
		return perDraw
	}
	sum, n := 0.0, 0.0
	for i := range held {
		if !held[i] {
			sum, n = sum+math.Log(math.Max(v.At(i, i)/inv.At(i, i), 1e-6)), n+1
		}
	}
	return math.Max(perDraw, math.Min(math.Exp(sum/n), float64(len(f.rows))))
}

func (f *fitter) drawsUsed() int {
	used := map[int]bool{}
	for _, r := range f.rows {
		used[f.rec.Runs[r.Run].Draw] = true
	}
	return len(used)
}

// result fills the Fit at f.q, t made there with all columns.
func (f *fitter) result(t *table) *Fit {
	out := &Fit{Params: f.q, SlabRows: len(f.slab), f: f}
	l := loop.NoFit("")
	out.Loop = l
	l.Params = loop.Params{KPerH: f.q.KPerH, OffsetK: f.q.OffsetK, VolumeRatio: f.q.VolumeRatio, FrontL: f.rec.FrontL, Still: f.q.Still, LeadLoss: f.q.LeadLoss, LagS: f.lagS}
	l.Built, l.TimeConstantH = f.built, 1/f.q.KPerH
	v := f.q.vector()
	for _, c := range f.free {
		l.Free, l.Theta = append(l.Free, names[c]), append(l.Theta, v[c])
	}
	l.Rows, l.DrawsUsed, l.TellsWithin, l.LitresLeftOut = len(f.rows), f.drawsUsed(), f.base.TellsWithin, f.base.LitresLeftOut
	l.RatioFree, l.BlockDays, l.Status = f.base.RatioFree, f.blockDays, f.status.String()
	l.Blocks = f.blockSums(t)
	l.RMSEK, l.Draws = f.draws(t)
	var weight float64
	_, weight = f.capacityKJPerK(f.q)
	l.VolumeWeight = weight
	ua := f.coefficients(out)
	l.UAWPerK = ua.Value
	f.spread(out, t, &ua)
	f.windows(out, t)
	return out
}

// draws are the uniform fit's, their errors by this model.
func (f *fitter) draws(t *table) (rmseK float64, draws []loop.Draw) {
	sum, n := make([]float64, len(f.base.Draws)), make([]float64, len(f.base.Draws))
	total := 0.0
	for i, r := range f.rows {
		d := f.rec.Runs[r.Run].Draw
		sum[d], n[d] = sum[d]+t.r[i]*t.r[i], n[d]+1
		total += t.r[i] * t.r[i]
	}
	for i := range sum {
		sum[i] = math.Sqrt(sum[i] / n[i]) // NaN where nothing was fitted
	}
	draws = f.base.WithDraws(sum, f.q.OffsetK)
	for i := range draws {
		d := &draws[i]
		d.Block = -1
		if d.Rows = int(n[i]); d.Used && d.Rows == 0 {
			d.Used, d.Why = false, "what the slab held before the record or a gap still showed"
		}
	}
	for _, r := range f.rows {
		draws[f.rec.Runs[r.Run].Draw].Block = r.block
	}
	return math.Sqrt(total / float64(len(f.rows))), draws
}

// coefficients sets the values with their gradients and returns UA_1's.
func (f *fitter) coefficients(out *Fit) (ua Coefficient) {
	c, w := f.capacityKJPerK(f.q)
	nan := math.NaN()
	of := func(value float64, cols map[int]float64) Coefficient {
		x := Coefficient{Value: value, Low: nan, High: nan, LowerBound: nan, UpperBound: nan, RandomSD: nan, DaysSD: nan, direct: 1, grad: make([]float64, len(f.free))}
		for i, k := range f.free {
			x.grad[i] = cols[k]
			if k == pRatio { // C = C_built (1 + w (r - 1))
				x.grad[i] += w * f.q.VolumeRatio / (1 + w*(f.q.VolumeRatio-1))
			}
		}
		return x
	}
	ua1, ua2 := f.q.KPerH/3.6*c, f.q.SupplyPerH/3.6*c
	out.Supply = of(ua2, map[int]float64{pSupply: 1})
	out.Slab = of(f.q.SlabRatio*c, map[int]float64{pSlab: 1})
	share := ua2 / (ua1 + ua2) // d ln steady/d ln UA_1
	out.Steady = of(ua1*ua2/(ua1+ua2), map[int]float64{pK: share, pSupply: 1 - share})
	return of(ua1, map[int]float64{pK: 1})
}

// spread sets covariance, shared errors and intervals.
func (f *fitter) spread(out *Fit, t *table, ua *Coefficient) {
	l := out.Loop
	prior, held := f.precision(), f.atBound()
	inverse := loop.InverseOf(l.Blocks, prior, held)
	if inverse == nil {
		return
	}
	l.Sources = f.sources(t, inverse, ua)
	if len(l.Blocks) < f.o.FewestBlocks {
		return
	}
	v := loop.Jackknife(l.Blocks, prior, held)
	if v == nil {
		return
	}
	l.DF = math.Max(float64(len(l.Blocks))-f.learned(inverse, prior), 1)
	days := mat.NewSymDense(len(f.free), nil)
	days.CopySym(v)
	f.missed(t, inverse, days)
	// What the model misses alike in every draw no block can see, and a slab shows
	// in hundredths of a kelvin: each draw counts as one reading (the design
	// effect is never less), priors included, and the blocks' spread comes on top.
	// Student's factor belongs to the blocks alone.
	rest := mat.NewSymDense(len(f.free), nil)
	rest.CopySym(inverse)
	f.missed(t, inverse, rest)
	z := normal(f.o.Confidence) / student(f.o.Confidence, l.DF)
	rest.ScaleSym(z*z, rest)
	v.AddSym(v, rest)
	l.Covariance = v
	for _, c := range []*Coefficient{ua, &out.Supply, &out.Slab, &out.Steady} {
		f.interval(c, l, held)
		g := mat.NewVecDense(len(c.grad), c.grad)
		c.DaysSD = math.Sqrt(mat.Inner(g, days, g))
	}
	l.RandomSD, l.LowWPerK, l.HighWPerK = ua.RandomSD, ua.Low, ua.High
	sd := func(col int) float64 {
		i := slices.Index(f.free, col)
		if i < 0 {
			return math.NaN()
		}
		return math.Sqrt(v.At(i, i) + f.o.Together(l.Sources, func(s loop.Source) float64 { return s.Theta[i] }))
	}
	l.OffsetSDK, l.RatioSD = sd(pOffset), sd(pRatio)*f.q.VolumeRatio
	if i := slices.Index(f.free, pRatio); i >= 0 {
		own := student(f.o.Confidence, l.DF) * math.Sqrt(v.At(i, i))
		l.RatioFinding = math.Abs(l.Theta[i]) > math.Hypot(own, normal(f.o.Confidence)*f.rec.RatioSD)
	}
}

// learned is how many parameters the draws tell: those that priors do count in
// part, sum of 1 - (H^-1)_ii prior_i.
func (f *fitter) learned(inverse *mat.SymDense, prior []float64) float64 {
	sum := 0.0
	for i, p := range prior {
		if v := inverse.At(i, i); v > 0 { // else held
			sum += 1 - v*p
		}
	}
	return sum
}

// missed adds to v what the model misses alike in every draw: two-way clusters,
// as in loop.
func (f *fitter) missed(t *table, inverse, v *mat.SymDense) {
	n := len(f.free)
	var scores [][]float64
	for k, r := range f.rows {
		for len(scores) <= r.place {
			scores = append(scores, make([]float64, n))
		}
		w := f.weight(t.r[k], k) * t.r[k] / f.deff
		for i, c := range f.free {
			scores[r.place][i] += w * t.d[c][k]
		}
	}
	if len(scores) < 2 {
		return
	}
	c := float64(len(scores)) / float64(len(scores)-1)
	for _, u := range scores {
		var d mat.VecDense
		d.MulVec(inverse, mat.NewVecDense(n, u))
		v.SymRankOne(v, c, &d)
	}
}

// interval of one coefficient: days by Student, shared errors normal. One that
// rests on a held parameter has none.
func (f *fitter) interval(c *Coefficient, l *loop.Fit, held []bool) {
	for i, h := range held {
		if h && c.grad[i] != 0 && f.free[i] != pRatio {
			return
		}
	}
	g := mat.NewVecDense(len(c.grad), c.grad)
	c.RandomSD = math.Sqrt(mat.Inner(g, l.Covariance, g))
	shared := f.o.Together(l.Sources, c.Ln)
	half := math.Hypot(student(f.o.Confidence, l.DF)*c.RandomSD, normal(f.o.Confidence)*math.Sqrt(shared))
	c.Low, c.High = c.Value*math.Exp(-half), c.Value*math.Exp(half)
}

func student(confidence, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.5 + confidence/2)
}

func normal(confidence float64) float64 { return distuv.UnitNormal.Quantile(0.5 + confidence/2) }

// sources are the responses to shared errors, as in loop: a reading too high by
// e is corrected by taking e off, and the fit moves by -H^-1 J'W of that.
func (f *fitter) sources(t *table, inverse *mat.SymDense, ua *Coefficient) []loop.Source {
	ones := make([]float64, len(t.r))
	for i := range f.rows {
		ones[i] = 1
	}
	lagSD := 0.0
	for _, s := range f.base.Sources {
		if s.Name == loop.SourceLag {
			lagSD = s.SD
		}
	}
	var out []loop.Source
	for _, s := range []struct {
		name     string
		sd, sign float64
		column   []float64
	}{
		{loop.SourceIn, f.o.InSDK, -1, t.d[cIn]},
		{loop.SourceOut, f.o.OutSDK, 1, ones},
		{loop.SourceBed, f.o.BedSDK, -1, t.d[pOffset]},
		{loop.SourceFlow, f.o.FlowSD, 1, t.d[pRatio]},
		{loop.SourceVolume, f.rec.VolumeSD, 1, t.d[pRatio]},
		{loop.SourceLag, lagSD, 1, t.d[cLag]},
	} {
		n := len(f.free)
		c := mat.NewVecDense(n, nil)
		for k := range s.column {
			w := f.weight(t.r[k], k) / f.deff * s.column[k]
			for i, p := range f.free {
				c.SetVec(i, c.AtVec(i)-s.sign*w*t.d[p][k])
			}
		}
		var d mat.VecDense
		d.MulVec(inverse, c)
		src := loop.Source{Name: s.name, SD: s.sd, Theta: d.RawVector().Data}
		src.LnUA = ua.Ln(src)
		out = append(out, src)
	}
	return out
}

// windowOffsetSDK as in loop: how far the bed offset of a window may stray.
const windowOffsetSDK = 1.0

// windows steps once from the season's fit to each of the uniform fit's windows,
// with UA_1 and the offset free.
func (f *fitter) windows(out *Fit, t *table) {
	free := []int{pK, pOffset}
	for _, w := range f.base.Windows {
		from, to := len(f.rows), 0
		draws := map[int]bool{}
		for k, r := range f.rows {
			if at := f.rec.T[r.Node]; at >= w.FromS && at < w.ToS {
				from, to = min(from, k), k+1
				draws[f.rec.Runs[r.Run].Draw] = true
			}
		}
		if len(draws) < 3 || f.o.HoldOffset {
			continue
		}
		a, g := mat.NewSymDense(2, nil), make([]float64, 2)
		f.normal(t, free, from, to, a, g)
		a.SetSym(1, 1, a.At(1, 1)+1/(windowOffsetSDK*windowOffsetSDK))
		var c mat.Cholesky
		inv := mat.NewSymDense(2, nil)
		if !c.Factorize(a) || c.InverseTo(inv) != nil {
			continue
		}
		step := -(inv.At(0, 0)*g[0] + inv.At(0, 1)*g[1])
		if math.Abs(step) > 1 {
			continue // one step is no answer so far from the season's fit
		}
		half := normal(0.95) * math.Sqrt(inv.At(0, 0))
		ua := out.Loop.UAWPerK * math.Exp(step)
		out.Loop.Windows = append(out.Loop.Windows, loop.Window{FromS: w.FromS, ToS: w.ToS, UAWPerK: ua, LowWPerK: ua * math.Exp(-half), HighWPerK: ua * math.Exp(half),
			OffsetK: f.q.OffsetK - inv.At(1, 0)*g[0] - inv.At(1, 1)*g[1], Draws: len(draws)})
	}
}
