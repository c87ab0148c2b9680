package loop

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// groups are blocks of whole days.
type groups struct {
	days  int     // length of a block
	of    []int   // block of each run, -1 if it has no rows
	first []int   // first day of each block
	size  []int   // draws in each block
	rho   float64 // lag-one correlation of draw means
}

// group lays blocks of whole days over the runs. Their length follows from the
// lag-one correlation rho of the draws' mean residuals: three correlation times
// -1/ln rho, at least MinBlockDays, but never so long that a record which has
// enough days would fall below FewestBlocks.
func (f *fitter) group(in *Input) groups {
	f.eval(f.q, true)
	day := func(r run) int { return int(math.Floor((f.p.t[r.from] - in.DayZeroS) / 86400)) }
	var means []float64
	days := map[int]bool{}
	for i, r := range f.p.runs {
		if res := f.residuals[i]; len(res) > 0 && r.draw >= 0 {
			sum := 0.0
			for _, v := range res {
				sum += v
			}
			means = append(means, sum/float64(len(res)))
			days[day(r)] = true
		}
	}
	g := groups{days: f.o.MinBlockDays, rho: lagOne(means), of: make([]int, len(f.p.runs))}
	if perDay := float64(len(means)) / float64(max(len(days), 1)); g.rho > 0 {
		g.days = max(g.days, int(math.Ceil(3*-1/math.Log(g.rho)/perDay)))
	}
	g.days = max(f.o.MinBlockDays, min(g.days, len(days)/f.o.FewestBlocks))
	g.assign(f.p.runs, f.residuals, day)
	return g
}

func (g *groups) assign(runs []run, residuals [][]float64, day func(run) int) {
	last := math.MinInt
	for i, r := range runs {
		g.of[i] = -1
		if r.draw < 0 || len(residuals[i]) == 0 {
			continue
		}
		if d := day(r); len(g.first) == 0 || d >= last+g.days {
			g.first, g.size = append(g.first, d), append(g.size, 0)
			last = d
		}
		g.of[i] = len(g.first) - 1
		g.size[g.of[i]]++
	}
}

// lagOne is the lag-one autocorrelation, 0 for fewer than 4 values.
func lagOne(x []float64) float64 {
	if len(x) < 4 {
		return 0
	}
	mean := 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	num, den := 0.0, 0.0
	for i, v := range x {
		den += (v - mean) * (v - mean)
		if i > 0 {
			num += (v - mean) * (x[i-1] - mean)
		}
	}
	if den == 0 {
		return 0
	}
	return math.Min(num/den, 0.99)
}

// blocks sums the runs of each block, in units of variance.
func (f *fitter) blocks(g groups) []Block {
	n := len(f.free)
	out := make([]Block, len(g.first))
	for i := range out {
		out[i] = Block{FirstDay: g.first[i], Draws: g.size[i], JTJ: mat.NewSymDense(n, nil), JTr: make([]float64, n)}
	}
	a, v := mat.NewSymDense(n, nil), make([]float64, n)
	for i := range f.p.runs {
		if k := g.of[i]; k >= 0 {
			f.pick(&f.perRun[i], f.free, a, v)
			out[k].JTJ.AddSym(out[k].JTJ, a)
			for j := range v {
				out[k].JTr[j] += v[j]
			}
		}
	}
	return out
}

// precision is the priors' precision of the free parameters.
func (f *fitter) precision() []float64 {
	out := make([]float64, len(f.free))
	for _, q := range f.priors() {
		out[q.Index] = 1 / (q.SD * q.SD)
	}
	return out
}

// atBound: parameters that ended at a bound are held in the spread.
func (f *fitter) atBound() []bool {
	low, high := f.bounds()
	out := make([]bool, len(f.free))
	for i, v := range f.theta(f.free) {
		span := high[i] - low[i]
		out[i] = f.free[i] != colLnK && (v-low[i] < 1e-9*span || high[i]-v < 1e-9*span)
	}
	return out
}

// hessian is J'J over all blocks plus the priors.
func hessian(blocks []Block, prior []float64, skip int) *mat.SymDense {
	h := mat.NewSymDense(len(prior), nil)
	for i, v := range prior {
		h.SetSym(i, i, v)
	}
	for i, b := range blocks {
		if i != skip {
			h.AddSym(h, b.JTJ)
		}
	}
	return h
}

// jackknife is the covariance from leaving out one block at a time,
//
//	V = (G-1)/G sum_g d_g d_g',  d_g = (H - H_g)^-1 u_g less their mean,
//
// one Gauss-Newton step each: a sandwich with the blocks' leverage taken out
// (the cluster-robust CR3), a little wide where blocks are few.
// Source: Bell and McCaffrey 2002; MacKinnon, Nielsen, Webb 2023 (from memory).
func jackknife(blocks []Block, prior []float64, held []bool) *mat.SymDense {
	n, g := len(prior), len(blocks)
	d := mat.NewDense(g, n, nil)
	for i := range blocks {
		h := hold(hessian(blocks, prior, i), held)
		var c mat.Cholesky
		x := mat.NewVecDense(n, nil)
		if !c.Factorize(h) {
			return nil
		}
		u := mat.NewVecDense(n, nil)
		for j := range n {
			if !held[j] {
				u.SetVec(j, blocks[i].JTr[j])
			}
		}
		if err := c.SolveVecTo(x, u); err != nil && math.IsNaN(x.AtVec(0)) {
			return nil
		}
		d.SetRow(i, x.RawVector().Data)
	}
	for j := range n {
		mean := 0.0
		for i := range g {
			mean += d.At(i, j) / float64(g)
		}
		for i := range g {
			d.Set(i, j, d.At(i, j)-mean)
		}
	}
	v := mat.NewSymDense(n, nil)
	v.SymOuterK(float64(g-1)/float64(g), d.T())
	return v
}

// hold makes the rows of held parameters those of the unit matrix.
func hold(h *mat.SymDense, held []bool) *mat.SymDense {
	for i, x := range held {
		if !x {
			continue
		}
		for j := range held {
			h.SetSym(i, j, 0)
		}
		h.SetSym(i, i, 1)
	}
	return h
}

// invert of a matrix that hold may have touched; nil if singular.
func invert(h *mat.SymDense, held []bool) *mat.SymDense {
	n := h.SymmetricDim()
	var c mat.Cholesky
	if !c.Factorize(hold(h, held)) || c.Cond() > 1e14 {
		return nil
	}
	inv := mat.NewSymDense(n, nil)
	if c.InverseTo(inv) != nil && math.IsNaN(inv.At(0, 0)) {
		return nil
	}
	for i, x := range held {
		if x {
			inv.SetSym(i, i, 0)
		}
	}
	return inv
}

// designEffect is by how much the rows' relatedness widens the spread: the
// variance from blocks over that of independent rows, averaged over the free
// parameters. It is never less than the rows of a draw: what the model misses
// is the same through a draw and from draw to draw, which blocks cannot see and
// priors must be able to outweigh.
func (f *fitter) designEffect(g groups) float64 {
	f.deff = 1
	total := f.eval(f.q, false)
	blocks, prior, held := f.blocks(g), f.precision(), f.atBound()
	perDraw := max(1, float64(total.n)/float64(max(f.drawsUsed(), 1)))
	if len(blocks) < f.o.FewestBlocks {
		return perDraw
	}
	inv, v := invert(hessian(blocks, prior, -1), held), jackknife(blocks, prior, held)
	if inv == nil || v == nil {
		return perDraw
	}
	sum, n := 0.0, 0.0
	for i := range held {
		if !held[i] {
			sum, n = sum+math.Log(max(v.At(i, i)/inv.At(i, i), 1e-6)), n+1
		}
	}
	return max(perDraw, min(math.Exp(sum/n), float64(total.n)))
}

func (f *fitter) drawsUsed() int {
	used := map[int]bool{}
	for i, r := range f.p.runs {
		if r.draw >= 0 && f.perRun[i].n > 0 {
			used[r.draw] = true
		}
	}
	return len(used)
}

// studentQuantile: the two-sided quantile at confidence.
func studentQuantile(confidence, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.5 + confidence/2)
}

func normalQuantile(confidence float64) float64 {
	return distuv.UnitNormal.Quantile(0.5 + confidence/2)
}

// result fills the Fit from the last evaluation.
func (f *fitter) result(g groups, lagSD float64) *Fit {
	total := f.eval(f.q, true)
	out := none("")
	out.Params, out.Built, out.free, out.deff = f.q, f.built, f.free, f.deff
	out.Status, out.Rows, out.DrawsUsed = f.status.String(), total.n, f.drawsUsed()
	out.LitresLeftOut = f.p.leftOutL + total.unknownL
	for _, c := range f.free {
		out.Free = append(out.Free, parameterNames[c])
	}
	out.Theta, out.prior = f.theta(f.free), f.precision()
	out.RMSEK = f.rmse()
	out.RatioFree = slices.Contains(f.free, colLnR)
	f.uaFrom(out)
	out.BlockDays, out.Blocks = g.days, f.blocks(g)
	f.spread(out, &total, lagSD)
	return out
}

func (f *fitter) rmse() float64 {
	sum, n := 0.0, 0.0
	for _, r := range f.residuals {
		for _, v := range r {
			sum, n = sum+v*v, n+1
		}
	}
	return math.Sqrt(sum / n)
}

// uaFrom sets UA = k C with C = C_built (1 + w (r - 1)), w the volume's share
// of the doubt of r = gain times volume: r tells their product only.
func (f *fitter) uaFrom(out *Fit) {
	v, g := f.built.VolumeSD*f.built.VolumeSD, f.o.FlowSD*f.o.FlowSD
	if v+g > 0 {
		out.VolumeWeight = v / (v + g)
	}
	factor := 1 + out.VolumeWeight*(f.q.VolumeRatio-1)
	out.UAWPerK = f.q.KPerH / 3600 * f.built.CapacityKJPerK * 1000 * factor
	out.TimeConstantH = 1 / f.q.KPerH
	out.lnUA = make([]float64, len(f.free))
	for i, c := range f.free {
		switch c {
		case colLnK:
			out.lnUA[i] = 1
		case colLnR:
			out.lnUA[i] = out.VolumeWeight * f.q.VolumeRatio / factor
		}
	}
}

// spread sets covariance, sensitivities and the interval.
func (f *fitter) spread(out *Fit, total *sums, lagSD float64) {
	held := f.atBound()
	out.inverse = invert(hessian(out.Blocks, out.prior, -1), held)
	if out.inverse == nil {
		return
	}
	f.sources(out, total, lagSD)
	if len(out.Blocks) < f.o.FewestBlocks {
		return
	}
	v := jackknife(out.Blocks, out.prior, held)
	if v == nil {
		return
	}
	n := len(out.Theta)
	var hp, prior mat.Dense
	hp.Mul(out.inverse, mat.NewDiagDense(n, out.prior))
	prior.Mul(&hp, out.inverse)
	for i := range n {
		for j := i; j < n; j++ {
			v.SetSym(i, j, v.At(i, j)+prior.At(i, j))
		}
	}
	out.Covariance = v
	v.AddSym(v, f.missed(out.inverse))
	v.AddSym(v, f.formDoubt(out.inverse))
	c := mat.NewVecDense(n, out.lnUA)
	out.RandomSD = math.Sqrt(mat.Inner(c, v, c))
	out.DF = max(float64(len(out.Blocks))-toldByDays(out.inverse, out.prior, held), 1)
	f.interval(out)
}

// toldByDays is how many parameters the days determine: the trace of H^-1 J'J,
// H = J'J + priors, so that a parameter which its prior holds costs no degree
// of freedom (the effective number of parameters of a penalised fit; Hastie,
// Tibshirani and Friedman, The Elements of Statistical Learning, 2nd ed. 2009,
// section 7.6, from memory).
func toldByDays(inverse *mat.SymDense, prior []float64, held []bool) float64 {
	n := 0.0
	for i, p := range prior {
		if !held[i] {
			n += 1 - p*inverse.At(i, i)
		}
	}
	return n
}

// interval: days by Student, shared errors normal.
func (f *fitter) interval(out *Fit) {
	half := studentQuantile(f.o.Confidence, out.DF) * out.RandomSD
	shared := f.o.Together(out.Sources, func(s Source) float64 { return s.LnUA })
	half = math.Hypot(half, normalQuantile(f.o.Confidence)*math.Sqrt(shared))
	out.LowWPerK, out.HighWPerK = out.UAWPerK*math.Exp(-half), out.UAWPerK*math.Exp(half)
	sd := func(col int) float64 {
		i := slices.Index(f.free, col)
		if i < 0 {
			return math.NaN()
		}
		return math.Sqrt(out.Covariance.At(i, i) + f.o.Together(out.Sources, func(s Source) float64 { return s.Theta[i] }))
	}
	out.OffsetSDK, out.RatioSD = sd(colOffset), sd(colLnR)*f.q.VolumeRatio
	// Its own interval: what the days leave open, and what meter and pipe do.
	if i := slices.Index(f.free, colLnR); i >= 0 {
		own := studentQuantile(f.o.Confidence, out.DF) * math.Sqrt(out.Covariance.At(i, i))
		out.RatioFinding = math.Abs(out.Theta[i]) > math.Hypot(own, normalQuantile(f.o.Confidence)*f.ratioSD())
	}
}

// Together is the variance that the shared errors make of what responds to them
// by of, with the correlations of probes that were compared.
func (o Options) Together(sources []Source, of func(Source) float64) float64 {
	sum := 0.0
	part := map[string]float64{}
	for _, s := range sources {
		part[s.Name] = of(s) * s.SD
		sum += part[s.Name] * part[s.Name]
	}
	in, outlet, bed := part[SourceIn], part[SourceOut], part[SourceBed]
	return max(0, sum+2*(o.InOutCorr*in*outlet+o.InBedCorr*in*bed+o.OutBedCorr*outlet*bed))
}

// positionBins per thermal volume: readings at one place of a draw share what
// the model misses there.
const positionBins = 10

// missed is the part of the covariance that days cannot show: what the model
// misses in the same way in every draw. Rows are grouped by the litres that had
// passed since the run began, and the groups' scores u make a second sandwich
// beside that of the days,
//
//	V = H^-1 (B/(B-1) sum_b u_b u_b' - N/(N-1) sum_n u_n u_n') H^-1,
//
// b the places, n the places within each block of days: without the second sum
// what differs from row to row would count twice (two-way clusters; Cameron,
// Gelbach and Miller 2011, equation 2.4, from memory). Directions in which it
// comes out negative know of nothing that days miss, and count as 0.
func (f *fitter) missed(inverse *mat.SymDense) *mat.SymDense {
	places, cells := f.scoresByPlace()
	v := mat.NewSymDense(len(f.free), nil)
	if len(places) < 2 || len(cells) < 2 {
		return v
	}
	add := func(scores [][]float64, sign float64) {
		c := sign * float64(len(scores)) / float64(len(scores)-1)
		for _, u := range scores {
			var d mat.VecDense
			d.MulVec(inverse, mat.NewVecDense(len(u), u))
			v.SymRankOne(v, c, &d)
		}
	}
	add(places, 1)
	add(cells, -1)
	return positive(v)
}

// positive is the part of a symmetric matrix with eigenvalues above 0, each
// parameter measured by its own size in it.
func positive(v *mat.SymDense) *mat.SymDense {
	n := v.SymmetricDim()
	size := make([]float64, n)
	for i := range size {
		if size[i] = math.Sqrt(math.Abs(v.At(i, i))); size[i] == 0 {
			size[i] = 1
		}
	}
	scaled := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			scaled.SetSym(i, j, v.At(i, j)/(size[i]*size[j]))
		}
	}
	out := mat.NewSymDense(n, nil)
	var e mat.EigenSym
	if !e.Factorize(scaled, true) {
		return out
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	for k, value := range e.Values(nil) {
		if value > 0 {
			column := mat.NewVecDense(n, nil)
			for i := range n {
				column.SetVec(i, vectors.At(i, k)*size[i])
			}
			out.SymRankOne(out, value, column)
		}
	}
	return out
}

// scoresByPlace are the sums of J'Wr by place in the draw, and by place and
// block of days; those with rows, in order.
func (f *fitter) scoresByPlace() (places, cells [][]float64) {
	type cell struct{ bin, block int }
	sums := map[cell][]float64{}
	p, width := f.p, f.built.ThermalL/positionBins
	for k, r := range p.runs {
		if r.draw < 0 {
			continue
		}
		f.m.follow(r, f.w, func(x *reading) {
			if !x.fitted {
				return
			}
			at := cell{int((p.w[x.node] - p.w[r.from]) / width), f.runBlock[k]}
			if sums[at] == nil {
				sums[at] = make([]float64, len(f.free))
			}
			weighted := f.score(x.model.v-p.out[x.node], f.m.rowSD[x.node])
			for i, c := range f.free {
				sums[at][i] += weighted * x.model.d[c]
			}
		})
	}
	keys := slices.SortedFunc(maps.Keys(sums), func(a, b cell) int { return cmp.Or(a.bin-b.bin, a.block-b.block) })
	for i, k := range keys {
		if i == 0 || keys[i-1].bin != k.bin {
			places = append(places, make([]float64, len(f.free)))
		}
		for j, u := range sums[k] {
			places[len(places)-1][j] += u
		}
		cells = append(cells, sums[k])
	}
	return places, cells
}

// score is a residual over its variance and the design effect, held back where
// it is an outlier.
func (f *fitter) score(residualK, sdK float64) float64 {
	w := residualK / (sdK * sdK * f.deff)
	if z := math.Abs(residualK / sdK); z > f.w.huber {
		w *= f.w.huber / z
	}
	return w
}

// sources: a shared error e moves the residuals by col e times the sign of its
// correction, and the fit by -H^-1 J'W of that. (A reading too high by e is
// corrected by taking e off; a meter that shows too much makes the pipe look
// larger.)
func (f *fitter) sources(out *Fit, total *sums, lagSD float64) {
	for _, s := range []struct {
		name     string
		sd, sign float64
		col      int
		direct   float64 // of ln UA, beside what the fit does
	}{
		{SourceIn, f.o.InSDK, -1, colIn, 0},
		{SourceOut, f.o.OutSDK, 1, colOut, 0},
		{SourceBed, f.o.BedSDK, -1, colOffset, 0},
		{SourceFlow, f.o.FlowSD, 1, colLnR, 0},
		{SourceVolume, f.built.VolumeSD, 1, colLnR, 1},
		{SourceLag, lagSD, 1, colLag, 0},
		{SourceFront, f.skewSD(), 1, colSkew, 0},
	} {
		n := len(f.free)
		c := mat.NewVecDense(n, nil)
		for i, k := range f.free {
			c.SetVec(i, -s.sign*total.at(k, s.col)/f.deff)
		}
		var d mat.VecDense
		d.MulVec(out.inverse, c)
		src := Source{Name: s.name, SD: s.sd, LnUA: s.direct, Theta: d.RawVector().Data}
		for i := range n {
			src.LnUA += out.lnUA[i] * src.Theta[i]
		}
		out.Sources = append(out.Sources, src)
	}
}
