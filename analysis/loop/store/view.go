package store

import (
	"math"

	"yardheat/analysis/loop"
)

// view turns what leaves the bed into readings of the outlet probe, as package
// loop does: the front spread by its width, the lead pipe's litres and loss,
// the probe's lag.
type view struct {
	rec   *loop.Record
	lagS  float64
	front float64 // L, standard deviation
	loss  float64
	cellL float64
	w     []sample // the run's, smoothed
}

// spread smooths samples a cell apart so that a front gets its width: a step
// that enters between two parcels already has cell/sqrt(12) of it. Each pass
// gives neighbours part f and adds 2 f cell² to the variance.
func (v *view) spread(run []sample) {
	v.w = append(v.w[:0], run...)
	variance := v.front*v.front/(v.cellL*v.cellL) - 1.0/12
	if variance <= 0 || len(run) < 3 {
		return
	}
	passes := math.Ceil(variance / 0.5)
	f := variance / (2 * passes)
	for range int(passes) {
		before := v.w[0].c
		for i := 1; i < len(v.w)-1; i++ {
			here := v.w[i].c
			v.w[i].c = here + f*(before-2*here+v.w[i+1].c)
			before = here
		}
	}
}

// at is the water that leaves the bed at label w; i keeps its place. Beyond the
// last sample, by half a cell at most, the last two go on straight.
func (v *view) at(w float64, i *int) float64 {
	s := v.w
	switch {
	case len(s) == 0:
		return math.NaN()
	case len(s) == 1 || w <= s[0].w:
		return s[0].c
	}
	for *i < len(s)-2 && s[*i+1].w < w {
		*i++
	}
	a, b := s[*i], s[*i+1]
	return a.c + (b.c-a.c)*math.Min((w-a.w)/(b.w-a.w), 1.5)
}

// follow gives the probe at the nodes of a run after its first.
func (v *view) follow(r loop.Flow, visit func(node int, c float64)) {
	x := v.rec
	still := x.OutC[r.From]
	probe, have := still, !math.IsNaN(still)
	before, place := still, 0
	var g gain
	for i := r.From + 1; i <= r.To; i++ {
		h, now := x.T[i]-x.T[i-1], still
		if r.Arrives > 0 && i >= r.Arrives {
			now = v.cool(v.at(x.W[i]-x.LeadL, &place), still, i)
		}
		switch {
		case v.lagS > 0 && have && i == r.Arrives && r.ArrivesS > 0:
			a, b := newGain(r.ArrivesS, v.lagS), newGain(h-r.ArrivesS, v.lagS)
			probe = b.step(a.step(probe, still, still), now, now)
		case v.lagS > 0 && have && !math.IsNaN(before):
			if g.h != h {
				g = newGain(h, v.lagS)
			}
			probe = g.step(probe, before, now)
		default:
			probe, have = now, !math.IsNaN(now)
		}
		before = now
		visit(i, probe)
	}
}

// cool takes off what the water loses to the air in the lead pipe (see
// loop.Params.LeadLoss).
func (v *view) cool(c, airC float64, i int) float64 {
	x := v.rec
	if v.loss == 0 || math.IsNaN(airC) || i+1 >= len(x.Q0LPS) {
		return c
	}
	q := max((x.Q1LPS[i-1]+x.Q0LPS[i])/2, x.Q1LPS[i-1]/2, x.MeanLPS/slowestShare)
	return c - v.loss*x.MeanLPS/q*(c-airC)
}

// slowestShare: below this part of the mean flow the loss grows no more (as in
// loop).
const slowestShare = 5

// gain is a first-order probe's answer to a straight piece of length h:
//
//	P1 = e P0 + (phi - e) u0 + (1 - phi) u1,  phi = (1 - e)/(h/lag)
type gain struct{ h, e, phi float64 }

func newGain(h, lagS float64) gain {
	x := h / lagS
	if x <= 0 {
		return gain{h, 1, 1}
	}
	return gain{h, math.Exp(-x), -math.Expm1(-x) / x}
}

func (g gain) step(probe, u0, u1 float64) float64 {
	return g.e*probe + (g.phi-g.e)*u0 + (1-g.phi)*u1
}
