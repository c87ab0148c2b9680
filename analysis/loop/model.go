package loop

import (
	"context"
	"math"

	"yardheat/analysis/solve"
)

// The columns of a row: derivatives of the model with respect to …
const (
	colLnK     = iota // ln k
	colOffset         // b (and, with the other sign, an error of the bed probe)
	colLnR            // ln r
	colFront          // front width, L
	colStill          // s
	colDeplete        // depletion, K
	colBedLag         // lag of the bed behind its probe, h
	colLead           // share of its warmth lost in the lead pipe
	colLag            // outlet lag, s
	colIn             // the inlet temperature, all of it
	colOut            // the outlet reading: 1
	colSkew           // skewness of the front
	columns
)

// parameters is the number of columns that a fit may free together; the lag is
// fitted apart.
const parameters = colLag

// Params are the loop's parameters.
type Params struct {
	// KPerH is k in flowing water.
	KPerH   float64
	OffsetK float64
	// VolumeRatio r: thermal volume over that built.
	VolumeRatio float64
	// FrontL is the front's standard deviation in litres.
	FrontL float64
	// Still is s: k in still over k in flowing water.
	Still float64
	// DepletionK: how much colder the bed at the pipe is after an average draw
	// than its probe shows (negative where it is), fading with RecoverH.
	DepletionK, RecoverH float64
	// BedLagH: by how much the bed at the pipe follows its probe later.
	BedLagH float64
	// LeadLoss: of its warmth above the air, the share that the water loses in
	// the lead pipe at the mean flow.
	LeadLoss float64
	// LagS of the outlet probe.
	LagS float64
}

func (q Params) vector() [parameters]float64 {
	return [...]float64{math.Log(q.KPerH), q.OffsetK, math.Log(q.VolumeRatio), q.FrontL, q.Still, q.DepletionK, q.BedLagH, q.LeadLoss}
}

func (q Params) with(v [parameters]float64) Params {
	return Params{KPerH: math.Exp(v[colLnK]), OffsetK: v[colOffset], VolumeRatio: math.Exp(v[colLnR]), FrontL: v[colFront],
		Still: v[colStill], DepletionK: v[colDeplete], BedLagH: v[colBedLag], LeadLoss: v[colLead], RecoverH: q.RecoverH, LagS: q.LagS}
}

// point is the model at one instant with its derivatives.
type point struct {
	v float64
	d [columns]float64
	// step is the height of the fronts near by, K, by how near they are.
	step float64
	// u is how far past the nearest of them the water is, in its widths.
	u float64
}

// model holds F's deviation from the bed along a path for one set of
// parameters.
//
// With D = F - T_b - b, so that dD/dt = -k D - dT_b/dt, an interval of length h
// in which the bed moves by dB and x = k h has
//
//	D1 = D0 e^-x - dB phi(x),  phi(x) = (1 - e^-x)/x,
//
// whatever b: D starts each segment at 0, which no parcel that entered later
// can tell.
type model struct {
	p   *path
	ctx context.Context
	q   Params
	k   float64 // per second
	v   float64 // thermal volume, L
	// d, and its derivatives with respect to ln k and s, at the nodes.
	d, dk, ds []float64
	// shape are the two ways in which the bed at the pipe may differ from its
	// probe beside the offset: how depleted it is, in average draws, and how far
	// it has yet to follow the probe, K per hour of lag. bed is the probe's plus
	// both; dl the answers D to each shape alone.
	shape, dl [2][]float64
	bed       []float64
	// leadL is the lead pipe's thermal volume, its wall like the buried one's.
	leadL float64
	// rel is k in flowing interval i over k at the mean flow; flow the seconds of
	// flow so far, each counted by it.
	rel, flow []float64
	// fronts is what the wall's exchange makes of fronts, form that at q.
	fronts fronts
	form   form
	lead   leadFront
	// meanLPS is the draws' mean flow by litres.
	meanLPS float64
	// rough is, by node, the error of the model near fronts, K, as it was when
	// the scale was last set: fixed while the parameters move.
	rough []float64
	// rowSD is, by node, what a residual is measured by: the scale and rough
	// together.
	rowSD []float64
	// steady: as if water followed a moving bed at once (D = 0), so that k
	// shows in nothing but how near water came to the bed.
	steady bool
}

func newModel(p *path, thermalL, leadL float64) *model {
	n := len(p.t)
	m := &model{p: p, leadL: leadL, v: thermalL}
	buf := make([]float64, 7*n)
	part := func(i int) []float64 { return buf[i*n : (i+1)*n] }
	m.d, m.dk, m.ds, m.bed = part(0), part(1), part(2), part(3)
	m.dl[0], m.dl[1], m.shape[1] = part(4), part(5), part(6)
	m.rough, m.rowSD = make([]float64, n), make([]float64, n)
	m.scale(1)
	m.plain()
	m.meanLPS = p.meanFlowLMin() / 60
	m.setFollowing()
	return m
}

// scale measures the residuals anew.
func (m *model) scale(scaleK float64) {
	for i, r := range m.rough {
		m.rowSD[i] = math.Hypot(scaleK, r)
	}
}

// plain makes k the same at every flow and the bed at the pipe that at its
// probe.
func (m *model) plain() {
	n := len(m.p.t)
	m.shape[0], m.rel, m.flow = make([]float64, n), make([]float64, n), m.p.flow
	for i := range m.rel {
		m.rel[i] = 1
	}
}

// decay returns e^-x, phi(x) and x phi'(x) = e^-x - phi(x).
func decay(x float64) (e, phi, xdphi float64) {
	if x < 0.02 { // series, error below x^6/720 < 1e-13
		phi = 1 - x*0.5*(1-x*(1.0/3)*(1-x*0.25*(1-x*0.2*(1-x*(1.0/6)))))
		e = 1 - x*phi
		xdphi = -x * (0.5 - x*(1.0/3-x*(1.0/8-x*(1.0/30-x*(1.0/144)))))
		return e, phi, xdphi
	}
	e = math.Exp(-x)
	phi = (1 - e) / x
	return e, phi, e - phi
}

// set moves the model to q: the recursion along every segment with a run.
func (m *model) set(q Params, thermalL float64) { m.setSome(q, thermalL, 0) }

// setSome is set along the segments that every so many draws run in (0 = all).
func (m *model) setSome(q Params, thermalL float64, every int) {
	m.q, m.k, m.v = q, q.KPerH/3600, q.VolumeRatio*thermalL
	m.form = m.fronts.at(q.FrontL)
	var segs []int
	for _, r := range m.p.runs {
		if every > 1 && (r.draw < 0 || r.draw%every != 0) || len(segs) > 0 && segs[len(segs)-1] == r.seg {
			continue
		}
		segs = append(segs, r.seg)
	}
	solve.EachUntil(m.ctx, len(segs), func(i int) { m.setSegment(m.p.segs[segs[i]]) })
}

func (m *model) setSegment(s segment) {
	q, p, n := &m.q, m.p, s.to+1
	bed, shape0, shape1 := m.bed[s.from:n], m.shape[0][s.from:n], m.shape[1][s.from:n]
	for i, b := range p.bed[s.from:n] {
		bed[i] = b + q.DepletionK*shape0[i] + q.BedLagH*shape1[i]
	}
	d, dk, ds, dl0, dl1 := m.d[s.from:n], m.dk[s.from:n], m.ds[s.from:n], m.dl[0][s.from:n], m.dl[1][s.from:n]
	if m.steady {
		for _, x := range [][]float64{d, dk, ds, dl0, dl1} {
			clear(x)
		}
		return
	}
	t, stands, rel := p.t[s.from:n], p.stands[s.from:n], m.rel[s.from:n]
	still := m.k * q.Still
	var v, vk, vs, v0, v1 float64 // at the node reached
	var e, phi, xd float64
	lastX := math.NaN()
	for i := range bed {
		d[i], dk[i], ds[i], dl0[i], dl1[i] = v, vk, vs, v0, v1
		if i+1 == len(bed) {
			return
		}
		rate := still
		if !stands[i] {
			rate = m.k * rel[i]
		}
		x := rate * (t[i+1] - t[i])
		if x != lastX {
			e, phi, xd = decay(x)
			lastX = x
		}
		dB := bed[i+1] - bed[i]
		dx := -x*e*v - dB*xd
		v = v*e - dB*phi
		v0 = v0*e - (shape0[i+1]-shape0[i])*phi
		v1 = v1*e - (shape1[i+1]-shape1[i])*phi
		vk = vk*e + dx
		vs *= e
		if stands[i] {
			vs += dx / q.Still
		}
	}
}

func (m *model) shapes(i int) [2]float64 {
	return [2]float64{m.shape[0][i] + m.dl[0][i], m.shape[1][i] + m.dl[1][i]}
}

// setFollowing fills the second shape: what a bed that follows its probe with a
// time constant of one hour has yet to follow. Water that has soaked lags the
// bed by 1/k: were the bed's own lag not left open, a probe a hand's breadth
// from the pipe would pass for another coefficient.
func (m *model) setFollowing() {
	p, x := m.p, m.shape[1]
	for _, s := range p.segs {
		for i := s.from; i < s.to; i++ {
			e, phi, _ := decay((p.t[i+1] - p.t[i]) / 3600)
			x[i+1] = x[i]*e - (p.bed[i+1]-p.bed[i])*phi
		}
	}
}

// setLoad fills the first shape for a bed that recovers with recoverH, the water taking
// up heat at kPerH. What the litres that enter have yet to take is s (K L),
//
//	ds/dt = q (T_bed - T_in) - k s,  dX/dt = k s - X/recover,
//
// and the shape is X over the mean draw's q (T_bed - T_in).
func (m *model) setLoad(kPerH, recoverH float64) {
	p, total, gap := m.p, 0.0, 0.0
	load := m.shape[0]
	clear(load)
	for _, s := range p.segs {
		owed := 0.0
		for i := s.from; i < s.to; i++ {
			h := (p.t[i+1] - p.t[i]) / 3600
			if g := p.bed[i] - p.in[i]; p.w[i+1] > p.w[i] && !math.IsNaN(g) {
				gap = g
			}
			entered := gap * (p.w[i+1] - p.w[i])
			total += entered
			left := (owed + entered) * math.Exp(-kPerH*h)
			load[i+1] = load[i]*math.Exp(-h/recoverH) + owed + entered - left
			owed = left
		}
	}
	if total <= 0 {
		clear(load)
		return
	}
	mean := total / float64(max(len(p.draws), 1))
	for i := range load {
		load[i] /= mean
	}
}

// rate is k in interval i, per second.
func (m *model) rate(i int) float64 {
	if m.p.stands[i] {
		return m.k * m.q.Still
	}
	return m.k * m.rel[i]
}

// state is all that the model needs to know of an instant.
type state struct {
	bed, d, dk, ds float64
	shape          [2]float64 // each shape and the answer D to it
	flow, still    float64
	in             float64
	slope          float64 // d(in)/dt + k (in - bed - b): see behind
	// lps is the flow in L/s for the derivative along the water column, never
	// less than half the interval's mean: in the first drops of a run the true
	// derivative is huge over a fraction of a litre and says nothing.
	lps float64
}

// at gives the state dt seconds after node i.
func (m *model) at(i int, dt float64, s *state) {
	p := m.p
	if dt == 0 && i+1 < len(p.t) {
		m.at2(i, s)
		s.in, s.lps, s.slope = p.in[i], max(p.q0[i], (p.q0[i]+p.q1[i])/4), 0
		if h := p.t[i+1] - p.t[i]; h > 0 {
			s.slope = (p.in[i+1] - p.in[i]) / h
		}
		s.slope += m.rate(i) * (s.in - s.bed - m.q.OffsetK)
		return
	}
	h := p.t[i+1] - p.t[i]
	f, k := dt/h, m.rate(i)
	x := k * dt
	e, phi, xd := decay(x)
	dB := f * (m.bed[i+1] - m.bed[i])
	if m.steady {
		phi, xd = 0, 0
	}
	dx := -x*e*m.d[i] - dB*xd
	s.bed, s.d, s.dk, s.ds = m.bed[i]+dB, m.d[i]*e-dB*phi, m.dk[i]*e+dx, m.ds[i]*e
	s.flow, s.still = m.flow[i], p.still[i]
	s.in = p.in[i] + f*(p.in[i+1]-p.in[i])
	s.lps = max(p.q0[i]+f*(p.q1[i]-p.q0[i]), (p.q0[i]+p.q1[i])/4)
	for j := range s.shape {
		dL := f * (m.shape[j][i+1] - m.shape[j][i])
		s.shape[j] = m.shape[j][i] + dL + m.dl[j][i]*e - dL*phi
	}
	if p.stands[i] {
		s.still += dt
		s.ds += dx / m.q.Still
	} else {
		s.flow += dt * m.rel[i]
	}
	s.slope = (p.in[i+1]-p.in[i])/h + k*(s.in-s.bed-m.q.OffsetK)
}

// at2 is the state at node i, seen from the interval before it.
func (m *model) at2(i int, s *state) {
	s.bed, s.d, s.dk, s.ds, s.shape, s.flow, s.still = m.bed[i], m.d[i], m.dk[i], m.ds[i], m.shapes(i), m.flow[i], m.p.still[i]
}

// behind is the part of T_out that the inlet of instant a leaves at instant t:
//
//	H = (T_in(a) - F(a)) exp(-(K(t) - K(a)))
//
// and its derivatives; dy is dH/dW(a), the change along the water column, with
//
//	dH/da = (T_in' + k (T_in - T_b - b)) exp(-(K(t) - K(a)))
func (m *model) behind(t, a *state, h *left) (dy float64) {
	dStill := t.still - a.still
	dK := m.k * (t.flow - a.flow + m.q.Still*dStill)
	e := math.Exp(-dK)
	gap := a.in - a.bed - m.q.OffsetK - a.d
	h.v = gap * e
	h.lnK = -a.dk*e - h.v*dK
	h.still = -a.ds*e - h.v*m.k*dStill
	h.deplete, h.bedLag = -a.shape[0]*e, -a.shape[1]*e
	h.e = e
	if a.lps > 0 {
		dy = a.slope * e / a.lps
	}
	return dy
}

// left is H with its derivatives; that with respect to the offset is -e, to
// the inlet e.
type left struct{ v, lnK, still, deplete, bedLag, e float64 }

// seeker finds the instant at which a litre label passed; labels must not
// fall. It keeps its place between calls.
type seeker struct {
	p    *path
	i    int // interval
	last int // last node of the segment
}

// find returns the interval and the seconds into it at which w litres had
// passed: the earliest such instant (the limit from the left). ok is false
// before the segment's start.
func (s *seeker) find(w float64) (i int, dt float64, ok bool) {
	p := s.p
	for s.i < s.last-1 && p.w[s.i+1] < w {
		s.i++
	}
	c := w - p.w[s.i]
	if c < 0 {
		return 0, 0, false
	}
	h := p.t[s.i+1] - p.t[s.i]
	// W = q0 dt + (q1 - q0)/(2 h) dt²
	q0 := p.q0[s.i]
	if q0 == p.q1[s.i] {
		if q0 > 0 {
			dt = c / q0
		}
		return s.i, min(dt, h), true
	}
	a := (p.q1[s.i] - q0) / h
	root := math.Sqrt(max(q0*q0+2*a*c, 0))
	if den := q0 + root; den > 0 {
		dt = 2 * c / den
	}
	return s.i, min(dt, h), true
}

// reader walks one run and gives the water at the bed's outlet.
type reader struct {
	m      *model
	seg    segment
	entry  seeker
	leave  seeker
	waitLo int
}

// newReader starts at the run's first label.
func (m *model) newReader(r run) reader {
	s := m.p.segs[r.seg]
	rd := reader{m: m, seg: s, entry: seeker{m.p, s.from, s.to}, leave: seeker{m.p, r.from, s.to}}
	// Start the pointers near by bisection.
	y := m.p.w[r.from] - m.leadL - m.v - 6*m.q.FrontL
	lo, hi := s.from, r.from
	for lo < hi {
		if mid := (lo + hi) / 2; m.p.w[mid+1] < y {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	rd.entry.i = lo
	for rd.waitLo < len(s.waits) && s.waits[rd.waitLo].w < y {
		rd.waitLo++
	}
	return rd
}

// frontReach: beyond so many widths a front is out of sight.
const frontReach = 5

// water puts into out the temperature of the water that stands at the outlet
// probe when node i is reached, if it entered within the segment and its bed
// was covered.
func (rd *reader) water(i int, bridgedShare float64, out *point) (ok bool) {
	m, p := rd.m, rd.m.p
	*out = point{}
	var t, a state
	bridged, leaves := p.bridged[i], p.t[i]
	label := p.w[i]
	if m.leadL > 0 {
		label -= m.leadL
		j, dt, found := rd.leave.find(label)
		if !found {
			return false
		}
		m.at(j, dt, &t)
		bridged, leaves = p.bridged[j], p.t[j]+dt
	} else {
		m.at2(i, &t)
	}
	y := label - m.v
	j, dt, found := rd.entry.find(y)
	// Within a front's width of the segment's start the unknown water before it
	// still shows.
	if !found || y < 3*m.q.FrontL+1e-6 {
		return false
	}
	m.at(j, dt, &a)
	if stay := leaves - p.t[j] - dt; math.IsNaN(a.in) || bridged-p.bridged[j] > bridgedShare*stay {
		return false
	}
	var h left
	dy := m.behind(&t, &a, &h)
	out.v = h.v
	d := &out.d
	d[colLnK], d[colStill], d[colOffset], d[colIn] = h.lnK, h.still, -h.e, h.e
	d[colDeplete], d[colBedLag] = h.deplete, h.bedLag
	if m.q.FrontL > 0 {
		rd.smear(&t, y, out, &dy)
	}
	out.v += t.bed + m.q.OffsetK + t.d
	d[colLnK] += t.dk
	d[colStill] += t.ds
	d[colOffset]++
	d[colDeplete] += t.shape[0]
	d[colBedLag] += t.shape[1]
	d[colLnR] = -m.v * dy
	return !math.IsNaN(out.v)
}

// frontNear: a front counts as near at u with weight exp(-u²/frontNear).
const frontNear = 8

// smear spreads each front near label y: the step J of H at litre w becomes
// J times the front's response at u = (y - w)/front, which is exact for a step on a straight line
// carried by a dispersion that is the same for every litre, and a change of its
// slope that change times the response's integral: water that a front delays
// has lain the longer in the bed.
func (rd *reader) smear(t *state, y float64, h *point, dy *float64) {
	m, front := rd.m, rd.m.q.FrontL
	waits := rd.seg.waits
	for rd.waitLo < len(waits) && waits[rd.waitLo].w < y-frontReach*front {
		rd.waitLo++
	}
	for _, q := range waits[rd.waitLo:] {
		if q.w > y+frontReach*front {
			return
		}
		var a, b state
		if a.in, b.in = m.p.in[q.a], m.p.in[q.b]; math.IsNaN(a.in + b.in) {
			continue
		}
		m.at2(q.a, &a)
		m.at2(q.b, &b)
		var ha, hb left
		m.behind(t, &a, &ha)
		m.behind(t, &b, &hb)
		u := (y - q.w) / front
		c, ramp, density, widen, skew := m.form.response(u)
		if y > q.w {
			c--
			ramp -= u
		}
		ka, kb := m.kinkAt(q.a, false, t, &a, ha.e), m.kinkAt(q.b, true, t, &b, hb.e)
		kb.bend(&ka, front, ramp, c, density, h, dy)
		jump := hb.v - ha.v
		h.v += jump * c
		near := math.Abs(jump) * math.Exp(-u*u/frontNear)
		if near > h.step {
			h.u = u
		}
		h.step += near
		d := &h.d
		d[colLnK] += (hb.lnK - ha.lnK) * c
		d[colStill] += (hb.still - ha.still) * c
		d[colOffset] += (ha.e - hb.e) * c
		d[colDeplete] += (hb.deplete - ha.deplete) * c
		d[colBedLag] += (hb.bedLag - ha.bedLag) * c
		d[colIn] += (hb.e - ha.e) * c
		d[colFront] += jump * widen / front
		d[colSkew] += jump * skew
		*dy += jump * density / front
	}
}
