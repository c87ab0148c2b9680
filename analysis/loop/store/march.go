package store

import "math"

// feed is what drives the cells: a compact record, the inlet without holes.
type feed struct {
	t, bed, in, w []float64
	q0, q1        []float64
	// rel is UA_1 over that at the mean flow, by interval; stands: times Still.
	rel    []float64
	stands []bool
}

// segment is nodes from..to, and when to note the slab's mean.
type segment struct {
	from, to int
	slabAt   []int // nodes, ascending
	// first of the record; goesOn: after a gap so short that the slab knows of
	// the time before it, which ended at node before.
	first, goesOn bool
	before        int
}

// rates per second of one trial.
type rates struct {
	k, supply, slab float64 // UA_1/C, UA_2/C; C_s/C
	still           float64
	offsetK         float64
	volumeL         float64
	inK             float64 // added to the inlet
	startK          float64 // the slab at the record's start, above what its first hours say
}

// step is what an interval does to (water, slab), both as differences to T_b +
// b: x1 = e x0 + v.
type step struct{ ee, es, se, ss, ve, vs float64 }

var unit = step{ee: 1, ss: 1}

// then is s followed by n.
func (s *step) then(n *step) {
	*s = step{
		ee: n.ee*s.ee + n.es*s.se, es: n.ee*s.es + n.es*s.ss,
		se: n.se*s.ee + n.ss*s.se, ss: n.se*s.es + n.ss*s.ss,
		ve: n.ee*s.ve + n.es*s.vs + n.ve, vs: n.se*s.ve + n.ss*s.vs + n.vs,
	}
}

// relax is the exact solution over h of
//
//	x' = a (y - x) - B',  y' = q (x - y) - p y - B'
//
// x, y water and slab less the bed, a = UA_1/C, q = UA_1/C_s, p = UA_2/C_s per
// second, B' the bed's slope. With A = [[-a, a], [q, -(p+q)]], mean m =
// -(a+p+q)/2 and root = sqrt(m² - a p),
//
//	e^(A h) = c0 + c1 (A - m),  c0 = cosh, c1 = sinh(root h)/root, times e^(m h),
//
// and a moving bed leaves water and slab behind by B' (1/a + (1+q/a)/p) and B'
// (1+q/a)/p in the long run.
type relax struct {
	a, p, q    float64
	m, root    float64
	lagE, lagS float64 // per unit of B'
}

func newRelax(a, p, q float64) relax {
	r := relax{a: a, p: p, q: q, m: -(a + p + q) / 2}
	if d := r.m*r.m - a*p; d > 0 {
		r.root = math.Sqrt(d)
	}
	if p > 0 {
		r.lagS = -(1 + q/a) / p
		r.lagE = r.lagS - 1/a
	}
	return r
}

// decay is e^x for x <= 0; near 0, where a parcel's minute in a cell lies, by its
// series (error below 0.1^9/9! = 3e-15).
func decay(x float64) float64 {
	if x < -0.1 {
		return math.Exp(x)
	}
	return 1 + x*(1+x/2*(1+x*(1.0/3)*(1+x/4*(1+x*(1.0/5)*(1+x*(1.0/6)*(1+x*(1.0/7)*(1+x/8)))))))
}

func (r *relax) over(h float64, s *step) {
	e1, e2 := decay((r.m+r.root)*h), decay((r.m-r.root)*h)
	c0, c1 := (e1+e2)/2, h*e1
	if r.root > 0 {
		c1 = (e1 - e2) / (2 * r.root)
	}
	s.ee, s.es = c0+c1*(-r.a-r.m), c1*r.a
	s.se, s.ss = c1*r.q, c0+c1*(-r.p-r.q-r.m)
}

// drift sets the part of the moving bed, K/s. Without a supply the slab does
// not know the bed, and the bed's moves are no heat: seen from the bed both fall
// by what it rises.
func (r *relax) drift(slope, h float64, s *step) {
	if r.p == 0 {
		s.ve, s.vs = -slope*h, -slope*h
		return
	}
	ce, cs := r.lagE*slope, r.lagS*slope
	s.ve = (1-s.ee)*ce - s.es*cs
	s.vs = -s.se*ce + (1-s.ss)*cs
}

// sample is the water that leaves the bed as a litre label passes.
type sample struct{ w, c float64 }

// pipe is the row of cells. Parcels as long as cells move past them; a parcel
// changes cells when its middle does, and faces each for as long as its middle
// is in it, so that what enters and leaves is right to the second order in the
// cell's length.
type pipe struct {
	n     int
	buf   []float64 // water, newest first, from head on
	head  int
	slab  []float64
	owed  step // what has happened since cells were last brought up to date
	dirty bool
	phi   float64 // cells moved since parcels last lay on whole cells
	moved int     // whole moves since then
	gone  float64 // the parcel that left last, less the bed
}

func newPipe(n int) *pipe {
	p := &pipe{n: n, buf: make([]float64, 8*n), slab: make([]float64, n), owed: unit}
	p.head = len(p.buf) - n
	return p
}

func (p *pipe) water() []float64 { return p.buf[p.head : p.head+p.n] }

// owe adds a step for all cells.
func (p *pipe) owe(s *step) { p.owed.then(s); p.dirty = true }

// settle brings the cells up to date.
func (p *pipe) settle() {
	if !p.dirty {
		return
	}
	o := p.owed
	w, s := p.water(), p.slab
	w = w[:len(s)]
	for i, y := range s {
		x := w[i]
		w[i] = o.ee*x + o.es*y + o.ve
		s[i] = o.se*x + o.ss*y + o.vs
	}
	p.owed, p.dirty = unit, false
}

// shift moves all parcels on by a cell; enters is the new one, less the bed.
func (p *pipe) shift(enters float64) (leaves float64) {
	p.settle()
	leaves = p.buf[p.head+p.n-1]
	if p.head == 0 {
		to := len(p.buf) - p.n
		copy(p.buf[to:], p.buf[:p.n])
		p.head = to
	}
	p.head--
	p.buf[p.head] = enters
	p.gone = leaves
	p.moved++
	return leaves
}

// align lays the parcels on whole cells again when water comes to rest, each
// cell taking its share of two: results then follow the parameters smoothly. A
// front that stops within the pipe spreads by half a cell at most, and soaks
// away.
func (p *pipe) align(enters float64) {
	p.settle()
	w := p.water()
	switch f := p.phi - float64(p.moved); {
	case f > 0:
		for i := p.n - 1; i > 0; i-- {
			w[i] = (1-f)*w[i] + f*w[i-1]
		}
		w[0] = (1-f)*w[0] + f*enters
	case f < 0:
		for i := range p.n - 1 {
			w[i] = (1+f)*w[i] - f*w[i+1]
		}
		w[p.n-1] = (1+f)*w[p.n-1] - f*p.gone
	}
	p.phi, p.moved = 0, 0
}

// march runs a segment and returns what leaves the bed, with labels in the
// litres of the record, and the slab's mean less the bed at the wanted nodes.
type march struct {
	*feed
	r rates
	p *pipe
	// due: time that has passed and is yet to be owed, while the water stood or
	// while it flowed.
	due pending
	// restS: how long the water has stood.
	restS float64
	// out, slabC receive the results.
	out   []sample
	slabC []float64
	once  []float64 // the slab after a first warm-up
}

// pending is a stretch of alike intervals: its length, UA_1's factor by it, what
// the bed rose. The factor's mean stands for it: film and flow hardly change from
// one minute to the next.
type pending struct {
	stands       bool
	s, factor, b float64
}

// longestS: a still stretch is taken in pieces in which the bed runs straight.
const longestS = 1800

// pauseS: after a shorter pause the parcels go on where they were; aligned at
// every pulse of a pump, fronts would blur.
const pauseS = 1200

func newMarch(f *feed, cells int) *march { return &march{feed: f, p: newPipe(cells)} }

// set readies the rates.
func (m *march) set(r rates) {
	m.r = r
	m.out, m.slabC = m.out[:0], m.slabC[:0]
}

// wait adds h of interval i, the bed rising by slope.
func (m *march) wait(i int, h, slope float64) {
	d := &m.due
	stands := m.stands[i]
	if d.stands != stands || d.s+h > longestS {
		m.pay()
		d.stands = stands
	}
	factor := m.r.still
	if !stands {
		factor = m.rel[i]
	}
	d.s, d.factor, d.b = d.s+h, d.factor+factor*h, d.b+slope*h
}

// pay owes the cells what is pending.
func (m *march) pay() {
	d := &m.due
	if d.s <= 0 {
		return
	}
	k := m.r.k * d.factor / d.s
	r := newRelax(k, m.r.supply/m.r.slab, k/m.r.slab)
	var s step
	r.over(d.s, &s)
	r.drift(d.b/d.s, d.s, &s)
	m.p.owe(&s)
	d.s, d.factor, d.b = 0, 0, 0
}

// settle brings the cells up to date.
func (m *march) settle() {
	m.pay()
	m.p.settle()
}

// over runs nodes s.from..to; quiet: nothing is noted.
func (m *march) over(s segment, to int, quiet bool) {
	next := 0
	for i := s.from; i <= to; i++ {
		if !quiet && next < len(s.slabAt) && s.slabAt[next] == i {
			m.settle()
			m.slabC = append(m.slabC, mean(m.p.slab)+m.bed[i]+m.r.offsetK)
			next++
		}
		if i == to {
			break
		}
		if m.w[i+1] > m.w[i] {
			m.restS = 0
			m.flow(i, quiet)
			continue
		}
		h := m.t[i+1] - m.t[i]
		if m.restS += h; m.p.phi != 0 && m.restS > pauseS {
			m.settle()
			m.p.align(m.enters(i, 0))
		}
		m.wait(i, h, (m.bed[i+1]-m.bed[i])/h)
	}
	m.settle()
}

// flow moves interval i's litres, stopping wherever a parcel changes cells.
func (m *march) flow(i int, quiet bool) {
	h, litres := m.t[i+1]-m.t[i], m.w[i+1]-m.w[i]
	cell := m.r.volumeL / float64(m.p.n)
	slope := (m.bed[i+1] - m.bed[i]) / h
	done, at := 0.0, 0.0 // litres, seconds
	for {
		due := (float64(m.p.moved) + 0.5 - m.p.phi) * cell
		if due > litres-done {
			break
		}
		done += due
		now := m.when(i, done)
		m.wait(i, now-at, slope)
		at = now
		m.p.phi = float64(m.p.moved) + 0.5
		m.settle()
		leaves := m.p.shift(m.enters(i, at))
		if !quiet {
			m.out = append(m.out, sample{m.w[i] + done, leaves + m.bed[i] + slope*at + m.r.offsetK})
		}
	}
	m.p.phi += (litres - done) / cell
	m.wait(i, h-at, slope)
}

// when is the seconds into interval i at which so many litres have passed: W =
// q0 dt + (q1 - q0)/(2 h) dt².
func (m *march) when(i int, litres float64) float64 {
	h := m.t[i+1] - m.t[i]
	q0, q1 := m.q0[i], m.q1[i]
	if q0 == q1 {
		return min(litres/q0, h)
	}
	root := math.Sqrt(math.Max(q0*q0+2*(q1-q0)/h*litres, 0))
	return min(2*litres/(q0+root), h)
}

// enters is the inlet less the bed, dt into interval i.
func (m *march) enters(i int, dt float64) float64 {
	x := 0.0
	if h := m.t[i+1] - m.t[i]; h > 0 {
		x = dt / h
	}
	in := m.in[i] + x*(m.in[i+1]-m.in[i])
	return in + m.r.inK - (m.bed[i] + x*(m.bed[i+1]-m.bed[i])) - m.r.offsetK
}

// begin fills the pipe as it would be if the segment's first hours had always
// been before. They are run twice from bed temperature; where the slab would end
// follows from how much less it fell the second time, by a geometric series.
//
// After a short gap the slab goes on from where it was instead.
func (m *march) begin(s segment, warmTo int) {
	p := m.p
	if s.goesOn {
		m.goOn(s)
		return
	}
	p.head, p.phi, p.moved, p.gone, p.owed, p.dirty = len(p.buf)-p.n, 0, 0, 0, unit, false
	m.due, m.restS = pending{}, 0
	clear(p.water())
	clear(p.slab)
	if warmTo == s.from {
		return
	}
	m.warm(s, warmTo)
	m.once = append(m.once[:0], p.slab...)
	m.warm(s, warmTo)
	first, second := mean(m.once), mean(p.slab)
	if first == 0 {
		return
	}
	ratio := math.Max(0, math.Min((second-first)/first, mostKept))
	for i, v := range m.once {
		p.slab[i] += (p.slab[i] - v) * ratio / (1 - ratio)
		if s.first {
			p.slab[i] += m.r.startK
		}
	}
}

// goOn takes the slab over from the segment before; its temperature stays, not
// its distance from the bed.
func (m *march) goOn(s segment) {
	p := m.p
	m.settle()
	m.restS = 0
	by := m.bed[s.before] - m.bed[s.from]
	for i := range p.slab {
		p.slab[i] += by
	}
	copy(p.water(), p.slab)
	p.phi, p.moved, p.gone = 0, 0, 0
}

// mostKept: a slab that keeps more than this part of its fall over the first
// hours would have to have stood for months.
const mostKept = 0.97

// warm runs the first hours, unseen.
func (m *march) warm(s segment, to int) {
	m.over(s, to, true)
	if m.p.phi != 0 {
		m.p.align(m.enters(to-1, m.t[to]-m.t[to-1]))
	}
	m.p.settle()
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
