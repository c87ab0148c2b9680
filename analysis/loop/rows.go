package loop

import (
	"math"

	"yardheat/analysis/solve"
)

// sums are the normal equations over the rows of one run: a = J'WJ over all
// columns (shared errors too), g = J'Wr, W the robust weights over the
// residuals' variance.
type sums struct {
	n    int
	cost float64
	a    [columns][columns]float64 // upper triangle
	g    [columns]float64
	// lagA and lagG: the same for the lag, from the rows at the start of the
	// run that nothing else is fitted to.
	lagA, lagG float64
	// litres that no row can stand for: the water entered before the record or
	// a gap.
	unknownL float64
}

// add takes a row in, its first n columns.
func (s *sums) add(r float64, d *[columns]float64, n int, scale, huber float64) {
	z := r / scale
	w := 1 / (scale * scale)
	if az := math.Abs(z); az > huber {
		s.cost += huber * (2*az - huber)
		w *= huber / az
	} else {
		s.cost += z * z
	}
	s.n++
	for i := range d[:n] {
		wi := w * d[i]
		s.g[i] += wi * r
		row := s.a[i][i:n]
		for j, x := range d[i:][:len(row)] {
			row[j] += wi * x
		}
	}
}

func (s *sums) plus(o *sums) {
	s.n += o.n
	s.cost += o.cost
	s.lagA, s.lagG, s.unknownL = s.lagA+o.lagA, s.lagG+o.lagG, s.unknownL+o.unknownL
	for i := range columns {
		s.g[i] += o.g[i]
		for j := i; j < columns; j++ {
			s.a[i][j] += o.a[i][j]
		}
	}
}

// at is a[i][j] of the symmetric matrix.
func (s *sums) at(i, j int) float64 {
	if i > j {
		i, j = j, i
	}
	return s.a[i][j]
}

// weights are what turns residuals into a sum of squares.
type weights struct {
	scaleK, huber, bridgedShare float64
	flushS, edgeS               float64
	thresholdLPS                float64
	// every so many draws only, to find a start in a long record (0 = all).
	every int
	// learn the error near fronts from this pass.
	learn bool
	// lean: what the fit may free and the lag, without the shared errors.
	lean bool
}

// followed and summed are how many columns a pass needs.
func (w *weights) followed() int {
	if w.lean {
		return colLag + 1
	}
	return columns
}

func (w *weights) summed() int {
	if w.lean {
		return parameters
	}
	return columns
}

// frontMiss is by what part of its step one front may differ from its form:
// what the wall makes is known, what faltering flow and the cold feed's first
// litres make is not. Without it the flank of a front, many rows of it, would
// pass for knowledge of k.
const frontMiss = 0.03

// reading is the probe at one node: the model there and what it can be used
// for.
type reading struct {
	node  int
	model point
	water bool // the water at the probe is known
	known bool // the water is known and the probe has followed it
	// late: the lead pipe's water has passed, and the probe had time to follow.
	late bool
	// fitted: a row of the fit; start: a row for the lag only.
	fitted, start bool
}

// follow walks a run and calls visit at every node after its first. The probe
// is of first order,
//
//	dP/dt = (u - P)/lag,
//
// so over a step h with the water u straight between nodes, x = h/lag:
//
//	P1 = e^-x P0 + (phi - e^-x) u0 + (1 - phi) u1,  phi = (1 - e^-x)/x.
//
// It starts at the last still reading; until the lead pipe has passed, the
// water at the probe is taken to be as warm as that reading.
func (m *model) follow(r run, w weights, visit func(*reading)) {
	p := m.p
	rd := m.newReader(r)
	var x reading // one for all nodes: visit must not keep it
	probe := &x.model
	probe.v = p.out[r.from]
	haveProbe := !math.IsNaN(probe.v)
	var waters [2]point
	now, before := &waters[0], &waters[1]
	haveBefore := rd.water(r.from, w.bridgedShare, before)
	if m.leadL > 0 {
		*before, haveBefore = *probe, haveProbe
	}
	leadAt, leadS := math.NaN(), 0.0
	var g gain
	cols := w.followed()
	for i := r.from + 1; i <= r.to; i++ {
		ok := rd.water(i, w.bridgedShare, now)
		if m.leadL > 0 {
			m.cool(now, p.out[r.from], i, cols)
		}
		h, arrives := p.t[i]-p.t[i-1], 0.0
		if p.w[i]-p.w[r.from] < m.leadL {
			*now, ok = point{v: p.out[r.from]}, haveProbe
		} else if math.IsNaN(leadAt) {
			arrives = m.arrival(r, i)
			leadAt = p.t[i-1] + arrives
		}
		switch {
		case !ok:
			haveProbe = false
		case arrives > 0 && haveProbe && m.q.LagS > 0:
			still := point{v: p.out[r.from]}
			wait, rest := newGain(arrives, m.q.LagS), newGain(h-arrives, m.q.LagS)
			probe.lag(&still, &still, &wait, cols)
			probe.lag(now, now, &rest, cols)
			leadS = m.late(probe, now, p.q1[i-1])
		case haveProbe && haveBefore && m.q.LagS > 0:
			if g.x != h/m.q.LagS {
				g = newGain(h, m.q.LagS)
			}
			probe.lag(before, now, &g, cols)
		default:
			*probe, haveProbe = *now, true
		}
		probe.step, probe.u = now.step, now.u
		x.node, x.water, x.known = i, ok, ok && haveProbe && !math.IsNaN(leadAt)
		x.late = p.t[i]-leadAt >= w.flushS && p.t[i]-p.t[r.from] >= w.edgeS
		x.fitted, x.start = false, false
		if x.known && !math.IsNaN(p.out[i]) && p.q1[i-1] > w.thresholdLPS && !p.stopped(r, i) {
			late := x.late && p.t[r.to]-p.t[i] >= w.edgeS
			x.fitted, x.start = late, !late && w.edgeS == 0 && p.t[i]-leadAt >= 2*leadS
		}
		visit(&x)
		now, before, haveBefore = before, now, ok
	}
}

// late holds the probe back by what the lead pipe's front is spread, and
// returns that in seconds.
func (m *model) late(probe, now *point, lps float64) (widthS float64) {
	held, slope, widthS := m.lead.lateness(m.q.LagS, lps)
	lag := held*(probe.d[colLag]-now.d[colLag]) + slope*(probe.v-now.v)
	probe.v = now.v + held*(probe.v-now.v)
	for c := range probe.d {
		probe.d[c] = now.d[c] + held*(probe.d[c]-now.d[c])
	}
	probe.d[colLag] = now.d[colLag] + lag
	return widthS
}

// cool takes off what the water loses to the air in the lead pipe,
//
//	T - loss (T - T_air) q_mean/q,
//
// the air as the probe read it while the water stood.
func (m *model) cool(x *point, airC float64, i, cols int) {
	q := max((m.p.q1[i-1]+m.p.q0[i])/2, m.p.q1[i-1]/2, m.meanLPS/slowestShare)
	slow := m.meanLPS / q
	if gap := x.v - airC; !math.IsNaN(gap) {
		kept := 1 - m.q.LeadLoss*slow
		x.v = airC + gap*kept
		for c := range x.d[:cols] {
			x.d[c] *= kept
		}
		x.d[colLead] = -gap * slow
	}
}

// slowestShare: below this part of the mean flow the loss grows no more.
const slowestShare = 5

// stopped: node i ends a run whose last cell has clearly less flow than the one
// before: it stopped within the cell, and the reading is of still water.
func (p *path) stopped(r run, i int) bool {
	return i == r.to && i-2 >= r.from && p.q0[i-1]+p.q1[i-1] < 0.8*(p.q0[i-2]+p.q1[i-2])
}

// arrival is when, in seconds after node i-1, the first water from the bed
// reaches the probe, the lead pipe passed. Where flow rises from nothing over
// the interval (nodes at mid-cell) it began half way.
func (m *model) arrival(r run, i int) float64 {
	p := m.p
	h, dt := p.t[i]-p.t[i-1], 0.0
	if m.leadL > 0 {
		s := seeker{p, i - 1, i}
		_, dt, _ = s.find(p.w[r.from] + m.leadL)
	}
	switch next := i; {
	case p.q0[i-1] == 0:
		dt = max(dt, h/2)
	case i-1 == r.from && next < r.to:
		// A first cell with less flow than the next began late by so much.
		if share := p.q0[i-1] / p.q0[next]; share < 1 {
			dt = h*(1-share) + dt*share
		}
	}
	return min(dt, h)
}

// gain is a probe's answer to one step; steps of one length share it.
type gain struct{ x, lagS, e, phi, xd float64 }

func newGain(h, lagS float64) gain {
	g := gain{x: h / lagS, lagS: lagS}
	g.e, g.phi, g.xd = decay(g.x)
	return g
}

// lag moves the probe one step on, the water going from u0 to u1.
func (probe *point) lag(u0, u1 *point, g *gain, cols int) {
	x, lagS, e, phi, xd := g.x, g.lagS, g.e, g.phi, g.xd
	a, b := phi-e, 1-phi
	// dx/dlag = -x/lag
	lag := e*probe.d[colLag] + (x*e*probe.v-(xd+x*e)*u0.v+xd*u1.v)/lagS
	probe.v = e*probe.v + a*u0.v + b*u1.v
	d0, d1 := u0.d[:cols], u1.d[:cols]
	for c, x := range probe.d[:cols] {
		probe.d[c] = e*x + a*d0[c] + b*d1[c]
	}
	probe.d[colLag] = lag
}

// lagScaleK is the least doubt of a reading at the start of a draw: what
// stands in the pipe outside the bed is not known.
const lagScaleK = 0.5

// sum fills s with one run's rows; residuals, if not nil, receives them.
func (m *model) sum(r run, w weights, s *sums, residuals *[]float64) {
	p := m.p
	*s = sums{}
	m.follow(r, w, func(x *reading) {
		i := x.node
		if !x.water {
			s.unknownL += p.w[i] - p.w[i-1]
		}
		if !x.fitted && !x.start {
			return
		}
		d := &x.model.d
		res := x.model.v - p.out[i]
		if x.start {
			l := lagScaleK * lagScaleK
			if math.Abs(res) > 3*lagScaleK {
				l *= math.Abs(res) / (3 * lagScaleK)
			}
			s.lagA += d[colLag] * d[colLag] / l
			s.lagG += d[colLag] * res / l
			return
		}
		if w.learn {
			m.rough[i] = frontMiss * x.model.step
			m.rowSD[i] = math.Hypot(w.scaleK, m.rough[i])
		}
		d[colOut] = 1
		s.add(res, d, w.summed(), m.rowSD[i], w.huber)
		d[colOut] = 0
		if residuals != nil {
			*residuals = append(*residuals, res)
		}
	})
}

// sumRuns fills one sums per run, on all cores; the result does not depend on
// their number, for each run is summed by itself and the runs in order.
func (m *model) sumRuns(w weights, perRun []sums, residuals [][]float64) (total sums) {
	runs := m.p.runs
	solve.EachUntil(m.ctx, len(runs), func(i int) {
		var sink *[]float64
		if residuals != nil {
			residuals[i] = residuals[i][:0]
			sink = &residuals[i]
		}
		if runs[i].draw < 0 || w.every > 1 && runs[i].draw%w.every != 0 {
			perRun[i] = sums{}
			return
		}
		m.sum(runs[i], w, &perRun[i], sink)
	})
	for i := range perRun {
		total.plus(&perRun[i])
	}
	return total
}
