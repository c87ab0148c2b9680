package loop

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// mean is a mean by litres.
type mean struct{ sum, litres float64 }

func (m *mean) add(v, litres float64) {
	if !math.IsNaN(v) {
		m.sum, m.litres = m.sum+v*litres, m.litres+litres
	}
}

func (m *mean) value() float64 {
	if m.litres == 0 {
		return math.NaN()
	}
	return m.sum / m.litres
}

// tally collects one draw.
type tally struct {
	in, out, bed, approach mean
	squares                float64
	rows                   int
	unknown                bool
}

// draws fills Fit.Draws: what every draw says by itself, fit or no fit.
func (f *fitter) draws(out *Fit) {
	out.Draws = slices.Clone(f.p.draws)
	tallies := make([]tally, len(out.Draws))
	fitted := out.Rows > 0
	if fitted {
		f.m.set(f.q, f.built.ThermalL)
		f.moved()
	}
	for _, r := range f.p.runs {
		if r.draw >= 0 {
			f.tally(r, &tallies[r.draw], fitted)
		}
	}
	offset := 0.0
	if fitted {
		offset = f.q.OffsetK
	}
	for i := range out.Draws {
		out.Draws[i].fill(&tallies[i], f.built.ThermalL, offset)
	}
	f.blockOfDraws(out)
}

func (f *fitter) blockOfDraws(out *Fit) {
	for i := range out.Draws {
		out.Draws[i].Block = -1
	}
	for i, r := range f.p.runs {
		if r.draw >= 0 && f.perRun[i].n > 0 && len(out.Blocks) > 0 {
			out.Draws[r.draw].Block = f.runBlock[i]
		}
	}
}

// tally walks one run. Means are over readings once flushed: the probe's time
// counts from when the lead pipe has passed, for before that it reads the air.
// Soaked water is
// what stood in the loop for SoakS before the run and comes out before 0.8 of
// the loop's volume has passed.
func (f *fitter) tally(r run, t *tally, fitted bool) {
	p := f.p
	stood := f.stoodS(r)
	f.m.follow(r, f.w, func(x *reading) {
		i := x.node
		if x.fitted && fitted {
			d := x.model.v - p.out[i]
			t.squares, t.rows = t.squares+d*d, t.rows+1
		}
		t.unknown = t.unknown || !x.known
		passed, litres := p.w[i]-p.w[r.from], p.w[i]-p.w[i-1]
		if !x.late || i == r.to || math.IsNaN(p.out[i]+p.in[i]) {
			return
		}
		t.in.add(p.in[i], litres)
		t.out.add(p.out[i], litres)
		t.bed.add(p.bed[i], litres)
		if stood >= f.o.SoakS && passed < 0.8*f.built.ThermalL {
			t.approach.add(p.bed[i]-p.out[i], litres)
		}
	})
}

// stoodS is how long the water had stood before the run, pauses of less than
// PauseS not counted as an end of standing.
func (f *fitter) stoodS(r run) float64 {
	p := f.p
	i := r.from
	for i > p.segs[r.seg].from && p.stands[i-1] {
		i--
	}
	return p.t[r.from] - p.t[i]
}

func (d *Draw) fill(t *tally, thermalL, offsetK float64) {
	d.LoopVolumes = d.Litres / thermalL
	d.InC, d.OutC, d.BedC, d.ApproachK = t.in.value(), t.out.value(), t.bed.value(), t.approach.value()
	d.Effectiveness = math.NaN()
	if gap := d.BedC + offsetK - d.InC; gap > 1 {
		d.Effectiveness = (d.OutC - d.InC) / gap
	}
	d.Rows, d.Used = t.rows, t.rows > 0
	d.RMSEK = math.NaN()
	switch {
	case d.Used:
		d.RMSEK = math.Sqrt(t.squares / float64(t.rows))
	case d.Litres == 0:
		d.Why = "flow or bed temperature not recorded"
	case math.IsNaN(d.OutC):
		d.Why = "no outlet or inlet reading after the probe was flushed"
	default:
		d.Why = "the water that came out had entered before the record or a gap in it"
	}
}

// windows steps once from the season's fit to each window of WindowDays, with
// ln k and the offset free; the offset of a window stays within a prior of 2 K
// about the season's.
func (f *fitter) windows(in *Input, out *Fit) {
	if !slices.Contains(f.free, colLnK) {
		return
	}
	width := float64(f.o.WindowDays) * 86400
	base := f.p.t[0] - math.Mod(f.p.t[0]-in.DayZeroS, 86400)
	for from := 0; from < len(f.p.runs); {
		k := math.Floor((f.p.t[f.p.runs[from].from] - base) / width)
		to := from
		for to < len(f.p.runs) && f.p.t[f.p.runs[to].from] < base+(k+1)*width {
			to++
		}
		if w, ok := f.window(out, from, to); ok {
			w.FromS, w.ToS = base+k*width, base+(k+1)*width
			out.Windows = append(out.Windows, w)
		}
		from = to
	}
}

// windowOffsetSDK is how far the bed offset of a window may stray from the
// season's (our choice, no source).
const windowOffsetSDK = 1.0

func (f *fitter) window(out *Fit, from, to int) (Window, bool) {
	free := []int{colLnK, colOffset}
	if f.o.HoldOffset {
		free = free[:1]
	}
	var total sums
	w := Window{}
	for i := from; i < to; i++ {
		total.plus(&f.perRun[i])
		if f.perRun[i].n > 0 {
			w.Draws++
		}
	}
	n := len(free)
	a, g := mat.NewSymDense(n, nil), make([]float64, n)
	f.pick(&total, free, a, g)
	if n > 1 {
		a.SetSym(1, 1, a.At(1, 1)+1/(windowOffsetSDK*windowOffsetSDK))
	}
	var c mat.Cholesky
	var x mat.VecDense
	if total.n == 0 || w.Draws < 3 || !c.Factorize(a) {
		return w, false
	}
	inv := mat.NewSymDense(n, nil)
	if c.SolveVecTo(&x, mat.NewVecDense(n, g)) != nil || c.InverseTo(inv) != nil {
		return w, false
	}
	step := -x.AtVec(0)
	if math.Abs(step) > 1 {
		return w, false // one step is no answer so far from the season's fit
	}
	w.UAWPerK = out.UAWPerK * math.Exp(step)
	half := z95 * math.Sqrt(inv.At(0, 0))
	w.LowWPerK, w.HighWPerK = w.UAWPerK*math.Exp(-half), w.UAWPerK*math.Exp(half)
	w.OffsetK = f.q.OffsetK
	if n > 1 {
		w.OffsetK -= x.AtVec(1)
	}
	return w, true
}
