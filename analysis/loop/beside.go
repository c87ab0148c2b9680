package loop

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// What another model of the same loop (package store) needs of this fit, so
// that both read the same record, fit the same rows and are judged alike.

// Record is the compact record behind a fit: nodes, still stretches thinned,
// holes in the bed bridged, the inlet held back to the start of each run. Its
// slices belong to the fit.
type Record struct {
	// Node is the node of the Input; T in seconds.
	Node []int
	T    []float64
	// BedC, InC (as parcels see it), OutC at the nodes; W litres since the
	// segment's start.
	BedC, InC, OutC, W []float64
	// Q0LPS, Q1LPS: flow at both ends of interval i; Stands: below the
	// threshold of a draw.
	Q0LPS, Q1LPS []float64
	Stands       []bool
	Segments     []Stretch
	Runs         []Flow
	// LeadL is the lead pipe's thermal volume; MeanLPS the draws' mean flow.
	LeadL, MeanLPS float64
	// FrontL, LagS as fitted.
	FrontL, LagS float64
	// RatioSD is the prior of ln r, VolumeSD the pipe's part of it; LeadLoss
	// the prior mean of the lead's loss.
	RatioSD, VolumeSD, LeadLoss float64
}

// Stretch is nodes From..To, both included.
type Stretch struct{ From, To int }

// Flow is one run of unbroken flow, nodes From..To of a segment; Draw is -1
// where it is too short to be one. The lead pipe has been flushed ArrivesS
// after node Arrives-1 (Arrives 0: never).
type Flow struct {
	From, To, Segment, Draw int
	Arrives                 int
	ArrivesS                float64
}

// Record gives the fit's; nil where nothing was fitted.
func (f *Fit) Record() *Record {
	g := f.fitter
	if g == nil || f.Rows == 0 {
		return nil
	}
	p := g.p
	r := &Record{Node: p.node, T: p.t, BedC: p.bed, InC: p.in, OutC: p.out, W: p.w, Q0LPS: p.q0, Q1LPS: p.q1, Stands: p.stands,
		LeadL: g.m.leadL, MeanLPS: g.m.meanLPS, FrontL: f.FrontL, LagS: f.LagS, RatioSD: g.ratioSD(), VolumeSD: g.built.VolumeSD, LeadLoss: g.leadLoss}
	for _, s := range p.segs {
		r.Segments = append(r.Segments, Stretch{s.from, s.to})
	}
	for _, run := range p.runs {
		x := Flow{From: run.from, To: run.to, Segment: run.seg, Draw: run.draw}
		for k := run.from + 1; k <= run.to; k++ {
			if p.w[k]-p.w[run.from] >= g.m.leadL {
				x.Arrives, x.ArrivesS = k, g.m.arrival(run, k)
				break
			}
		}
		r.Runs = append(r.Runs, x)
	}
	return r
}

// Row is one reading that was fitted.
type Row struct {
	// Node and Run of the Record.
	Node, Run int
	// ResidualK is model minus reading; RoughK what the model is in doubt by
	// near fronts; StepK how high the fronts near by are.
	ResidualK, RoughK, StepK float64
	// D are the derivatives of the residual by Fit.Free.
	D []float64
}

// FittedRows are all readings that the fit rests on, in the order of time.
func (f *Fit) FittedRows() []Row {
	g := f.fitter
	if g == nil || f.Rows == 0 {
		return nil
	}
	g.m.set(f.Params, g.built.ThermalL)
	g.moved()
	n := len(f.free)
	out, d := make([]Row, 0, f.Rows), make([]float64, 0, f.Rows*n)
	for i, r := range g.p.runs {
		if r.draw < 0 {
			continue
		}
		g.m.follow(r, g.w, func(x *reading) {
			if !x.fitted {
				return
			}
			for _, c := range f.free {
				d = append(d, x.model.d[c])
			}
			out = append(out, Row{Node: x.node, Run: i, ResidualK: x.model.v - g.p.out[x.node], RoughK: g.m.rough[x.node],
				StepK: x.model.step, D: d[len(d)-n:]})
		})
	}
	return out
}

// AtUA are the built loop and, for every interval of the Record, k over k at
// the mean flow, if the coefficient is uaWPerK: what the wall follows and how
// the film thins depend on it.
func (f *Fit) AtUA(uaWPerK float64) (Built, []float64) {
	g := f.fitter
	m := *g.m
	m.plain()
	built := f.input.built(g.p)
	mean := g.p.meanFlowLMin()
	film := f.input.Pipe.filmWPerK(mean / float64(max(f.input.Branches, 1)))
	if !g.o.StiffWall && film > 0 {
		built = built.follow(uaWPerK, film)
		m.setFilm(f.input, uaWPerK, mean)
	}
	return built, m.rel
}

// StillAt is the prior of s, k in still over k in flowing water, if the
// coefficient is uaWPerK: its mean and standard deviation by the films.
func (f *Fit) StillAt(uaWPerK float64) (mean, sd float64) {
	g := f.fitter
	film := f.input.Pipe.filmWPerK(g.p.meanFlowLMin() / float64(max(f.input.Branches, 1)))
	if g.o.StiffWall || !(film > 0) {
		return g.o.StillMean, g.o.StillSD
	}
	return g.o.stillAt(f.input.Pipe, uaWPerK, film)
}

// PriorPrecision is that of Fit.Free (0: no prior), in units of variance.
func (f *Fit) PriorPrecision() []float64 { return f.prior }

// DesignEffect is by how much the rows' relatedness widens the spread: rows
// count as one over it.
func (f *Fit) DesignEffect() float64 { return f.deff }

// Jackknife is the covariance of parameters from leaving out one block at a
// time (see jackknife); held parameters have none. Nil where it fails.
func Jackknife(blocks []Block, prior []float64, held []bool) *mat.SymDense {
	return jackknife(blocks, prior, held)
}

// InverseOf is the inverse of the sum of the blocks' J'J and the priors'
// precision, rows of held parameters 0; nil where it is singular.
func InverseOf(blocks []Block, prior []float64, held []bool) *mat.SymDense {
	return invert(hessian(blocks, prior, -1), held)
}

// LagOne is the lag-one autocorrelation, 0 for fewer than 4 values.
func LagOne(x []float64) float64 { return lagOne(x) }

// NoFit is a Fit without numbers that says why.
func NoFit(why string) *Fit { return none(why) }

// WithDraws are the fit's draws, their errors and effectiveness by another
// model: rmseK by draw (NaN: not fitted) and its bed offset.
func (f *Fit) WithDraws(rmseK []float64, offsetK float64) []Draw {
	out := append([]Draw(nil), f.Draws...)
	for i := range out {
		d := &out[i]
		d.RMSEK = rmseK[i]
		d.Effectiveness = math.NaN()
		if gap := d.BedC + offsetK - d.InC; gap > 1 {
			d.Effectiveness = (d.OutC - d.InC) / gap
		}
	}
	return out
}
