package simfarm

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// exactFit refits the simulator's own pipe to a stretch of draws as a logger
// with errors, but without noise or lag, would have seen them.
type exactFit struct {
	f *Farm
	// from, to: rows of f.loop; rows before scored only fill the pipe.
	from, to, scored int
	ratioSD, weight  float64
	// beside is what UABound leaves open beyond theta.
	beside beside
}

// theta are what is free: scale of the bed conductance (ln), bed offset,
// ratio of thermal volume (ln), front width (share of the volume).
type theta [4]float64

const (
	// fitDraws is how many draws are fitted, after fitWarm that fill the pipe.
	fitDraws = 22
	fitWarm  = 2
	// offsetSD: +-8 K at 95 % on the bed's offset; residualK weighs readings
	// against the priors.
	offsetSD  = 8 / z95
	residualK = 0.1
	frontSD   = 0.02
)

func (f *Farm) newFit() exactFit {
	x := exactFit{f: f}
	var starts []int
	for i, s := range f.loop.step {
		if i == 0 || s-f.loop.step[i-1] > 600/stepS {
			starts = append(starts, i)
		}
	}
	starts = append(starts, len(f.loop.step))
	n := len(starts) - 1
	a := max(0, (n-fitDraws-fitWarm)/2)
	b := min(n, a+fitDraws+fitWarm)
	x.from, x.to, x.scored = starts[a], starts[b], starts[min(a+fitWarm, n)]
	volume, flow := math.Hypot(f.sd[xWall], f.sd[xLength]), f.sd[gLoop]
	x.ratioSD = math.Hypot(volume, flow)
	if x.ratioSD > 0 {
		x.weight = volume * volume / (x.ratioSD * x.ratioSD)
	}
	return x
}

// model is the outlet for each row from scored on, the pipe driven by readings
// with errors e and built as the farm file states it.
func (x exactFit) model(p theta, e errorsOf, out []float64) []float64 {
	f := x.f
	// Stated over true thermal volume, and the fit's ratio on top.
	built := builtOverTrue(e)
	thermal := built * math.Exp(p[2])
	// newChain scales conductances with thermal: k = UA/C depends on p[0] alone.
	c := f.newChain(thermal, f.bedG*math.Exp(p[0]), p[3])
	c.stillFilm *= math.Exp(x.beside.lnStill)
	out = out[:0]
	bed, air := f.signal[BedAtPipe], f.signal[Air]
	offset := e[eBed] - p[1]
	c.fill(x.bedAt(bed, int(f.loop.step[x.from])/sampleEvery) + offset)
	last := f.loop.step[x.from] - 1
	for i := x.from; i < x.to; i++ {
		for last+1 < f.loop.step[i] { // stands
			d := min(f.loop.step[i]-last-1, 30)
			k := int(last+1+d/2) / sampleEvery
			c.still(float64(d)*stepS, x.bedAt(bed, k)+offset, air[k])
			last += d
		}
		last = f.loop.step[i]
		k := int(last) / sampleEvery
		litres := f.loop.litres[i]
		f.setFilm(c, litres*60/stepS, thermal)
		t := c.flow(stepS, litres*(1+e[gLoop])*rhoAt(f.loop.coldC[i])/1000, f.loop.coldC[i]+e[eMains], x.bedAt(bed, k)+offset, air[k])
		if i >= x.scored {
			out = append(out, t)
		}
	}
	return out
}

// residuals: readings minus model, weighted, then the priors.
func (x exactFit) residuals(p theta, e errorsOf) []float64 {
	r := x.model(p, e, make([]float64, 0, x.to-x.scored+3))
	// A reading a minute counts: six steps share one weight.
	w := 1 / (residualK * math.Sqrt(sampleEvery))
	for i := range r {
		r[i] = (x.f.loop.hotC[x.scored+i] + e[eLoopOut] - r[i]) * w
	}
	ratio := 0.0
	if x.ratioSD > 0 {
		ratio = -p[2] / x.ratioSD
	}
	return append(r, -p[1]/offsetSD, ratio, -(p[3]-x.f.s.Loop.FrontShare)/frontSD)
}

// jacobian of the residuals by forward differences.
func (x exactFit) jacobian(p theta, e errorsOf, r []float64) *mat.Dense {
	h := theta{0.01, 0.05, 0.004, 0.002}
	j := mat.NewDense(len(r), len(p), nil)
	for k := range p {
		q := p
		q[k] += h[k]
		for i, v := range x.residuals(q, e) {
			j.Set(i, k, (v-r[i])/h[k])
		}
	}
	return j
}

func (x exactFit) start() theta { return theta{0, 0, 0, x.f.s.Loop.FrontShare} }

// solve takes a Gauss-Newton step; the ratio is held where nothing doubts it.
func (x exactFit) solve(j *mat.Dense, r []float64) (theta, bool) {
	var d theta
	n := len(d)
	var jtj mat.Dense
	jtj.Mul(j.T(), j)
	g := mat.NewVecDense(n, nil)
	g.MulVec(j.T(), mat.NewVecDense(len(r), r))
	if x.ratioSD == 0 {
		jtj.Set(2, 2, jtj.At(2, 2)+1e12)
	}
	var s mat.VecDense
	if err := s.SolveVec(&jtj, g); err != nil {
		return d, false
	}
	for k := range d {
		d[k] = -s.AtVec(k)
	}
	return d, true
}

// ua is the water-side UA that parameters mean for the pipe as built: k C_hat,
// C_hat = C_built (1 + w (r - 1)), w the pipe's part of the doubt of r.
func (x exactFit) ua(p theta, e errorsOf) float64 {
	f := x.f
	sum, litres := 0.0, 0.0
	g := f.bedG * math.Exp(p[0])
	for i := x.scored; i < x.to; i++ {
		v := f.loop.litres[i]
		litres += v
		sum += v * 1000 / (1/f.filmKW(v*60/stepS) + 1/g)
	}
	return builtOverTrue(e) * sum / litres * (1 + x.weight*(math.Exp(p[2])-1))
}

// builtOverTrue is the thermal volume as stated over the true one.
func builtOverTrue(e errorsOf) float64 { return (1 + e[xLength]) * (1 + e[xWall]) }

// seenUA is the UA of an exact fit of readings with errors e.
func (f *Farm) seenUA(e errorsOf) float64 {
	x := f.newFit()
	if x.to <= x.scored || f.s.Slab.CapacityKJPerK > 0 {
		return math.NaN() // the stretch does not know what the slab held before
	}
	p := x.start()
	for range 4 {
		r := x.residuals(p, e)
		d, ok := x.solve(x.jacobian(p, e, r), r)
		if !ok {
			return math.NaN()
		}
		// A step beyond what the model is straight for is cut.
		for k, most := range (theta{0.7, 5, 0.15, 0.01}) {
			p[k] += max(-most, min(most, d[k]))
		}
		p[3] = max(p[3], 0.001)
	}
	// The sample's stretch of draws stands for the season's.
	return x.ua(p, e) * f.uaMean / x.ua(theta{}, errorsOf{})
}

// uaVariance is the variance of UA by one Gauss-Newton step from the truth for
// one standard uncertainty of each source.
func (f *Farm) uaVariance() float64 {
	x := f.newFit()
	if x.to <= x.scored || f.s.Slab.CapacityKJPerK > 0 {
		return math.NaN()
	}
	p := x.start()
	none := errorsOf{}
	r0 := x.residuals(p, none)
	j := x.jacobian(p, none, r0)
	sum, ua0 := 0.0, x.ua(p, none)
	for _, s := range [...]role{eMains, eLoopOut, eBed, gLoop, xLength, xWall} {
		if f.sd[s] == 0 {
			continue
		}
		var e errorsOf
		e[s] = f.sd[s]
		r := x.residuals(p, e)
		for i := range r {
			r[i] -= r0[i]
		}
		d, ok := x.solve(j, r)
		if !ok {
			return math.NaN()
		}
		u := x.uaLinear(d)/ua0 + builtOverTrue(e) - 1
		sum += u * u
	}
	return sum * f.uaMean * f.uaMean
}

// uaLinear is the change of UA for a small step of the parameters.
func (x exactFit) uaLinear(d theta) float64 {
	h := 1e-4
	var q theta
	q[0] = h
	slope := (x.ua(q, errorsOf{}) - x.ua(theta{}, errorsOf{})) / h
	return slope*d[0] + x.ua(theta{}, errorsOf{})*x.weight*d[2]
}
