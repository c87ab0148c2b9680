package loop

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// fronts is how the temperature's fronts spread on their way: the second to
// fourth cumulant of the litres that pass until a bit of heat comes out, L²,
// L³, L⁴, as far as the exchange of water and wall makes them.
type fronts struct{ second, third, fourth float64 }

// wallFronts is the front behind waterL litres of pipe whose wall holds beta
// times the water's heat and is met ntu = film/(m c_p) times. A bit of heat
// leaves the water for the wall ntu times on its way (Poisson), and stays there
// for beta waterL/ntu litres in the mean each time (exponential), so that the
// m-th cumulant is
//
//	m! ntu (beta waterL/ntu)^m:
//
// mean beta waterL, variance 2 beta² waterL²/ntu, third 6 beta³ waterL³/ntu².
// This is the solution of Anzelius and Schumann, J(x, y), by its cumulants. A
// wall that gives to the bed G beside the film F keeps phi = F/(F + G) of what it
// takes and that for phi as long: beta phi² and ntu phi in their place.
func wallFronts(waterL, beta, ntu float64) fronts {
	if !(ntu > 0) || !(beta > 0) {
		return fronts{}
	}
	stayL := beta * waterL / ntu
	second := 2 * ntu * stayL * stayL
	return fronts{second, 3 * stayL * second, 12 * stayL * stayL * second}
}

func (a fronts) plus(b fronts) fronts {
	return fronts{a.second + b.second, a.third + b.third, a.fourth + b.fourth}
}

// mostSkew: Edgeworth's series says nothing of fronts more skewed.
const mostSkew = 0.8

// form is a front's step response beside that of Gauss: skewness and excess
// of the fourth cumulant.
type form struct{ skew, excess float64 }

// at is the form of a front of standard deviation frontL in all.
func (a fronts) at(frontL float64) form {
	if frontL <= 0 || a.third <= 0 {
		return form{}
	}
	v := frontL * frontL
	x := form{a.third / (v * frontL), a.fourth / (v * v)}
	if x.skew > mostSkew {
		x.excess *= (mostSkew / x.skew) * (mostSkew / x.skew)
		x.skew = mostSkew
	}
	return x
}

// response is the share of a front's step that has arrived u standard
// deviations after its mean; ramp is its integral. With its derivatives: with respect to u (density),
// to the logarithm of the standard deviation, the other cumulants fixed
// (widen), and to the skewness (skew). Edgeworth's series to the fourth
// cumulant with Hermite polynomials He,
//
//	Phi(u) - phi(u) (g He2/6 + e He3/24 + g² He5/72)
//
// (Abramowitz and Stegun 26.2.47, from memory).
func (x form) response(u float64) (share, ramp, density, widen, skew float64) {
	phi := math.Exp(-u*u/2) / math.Sqrt(2*math.Pi)
	share = 0.5 * math.Erfc(-u/math.Sqrt2)
	if x.skew == 0 {
		return share, u*share + phi, phi, -u * phi, -phi * (u*u - 1) / 6
	}
	v := u * u
	he2, he3, he4 := v-1, u*(v-3), (v-6)*v+3
	he5 := u*he4 - 4*he3
	he6 := u*he5 - 5*he4
	he7 := u*he6 - 6*he5
	g, e, gg := x.skew/6, x.excess/24, x.skew*x.skew/72
	ramp = u*share + phi*(1+g*u+e*he2+gg*he4)
	share -= phi * (g*he2 + e*he3 + gg*he5)
	density = phi * (1 + g*he3 + e*he4 + gg*he6)
	widen = -phi * (u + g*he4 + e*he5 + gg*he7)
	skew = -phi * (he2/6 + x.skew*he5/36)
	return share, ramp, density, widen, skew
}

// setFronts is the front that loop and lead pipe make at flowLMin through all
// branches together, the buried wall following by phi (1 = all the way). A bit
// of heat that mixing holds back in the water meets the wall the oftener:
// dispersion of share of the volume adds share² ntu/beta of the third cumulant.
func (f *fitter) setFronts(in *Input, flowLMin, phi float64) {
	f.m.fronts, f.m.lead = fronts{}, leadFront{}
	film := in.Pipe.filmWPerK(flowLMin / float64(max(in.Branches, 1)))
	if f.o.StiffWall || f.o.FrontShare == 0 || !(flowLMin > 0) {
		return
	}
	ntu := film / (flowLMin / 60 * 1000 * f.built.CapacityKJPerK / f.built.ThermalL)
	water, beta := f.built.VolumeL, f.built.Beta
	a := wallFronts(water, beta*phi*phi, ntu*phi).plus(wallFronts(in.LeadL, beta, ntu*in.LeadL/water))
	a.third *= 1 + f.o.FrontShare*f.o.FrontShare*ntu/beta
	f.m.fronts = a
	if in.LeadL > 0 {
		f.m.lead = leadFront{ntu * in.LeadL / water, beta * water / ntu, f.o.FrontShare * math.Sqrt(in.LeadL*water) * (1 + beta)}
	}
	f.moved()
}

// frontPrior is the prior of the front's standard deviation in litres: that of
// the wall's exchange, as much in doubt as the wall, and dispersion.
func (f *fitter) frontPrior() (meanL, sdL float64) {
	v, wall := f.built.ThermalL, f.m.fronts.second
	meanL = math.Sqrt(wall + f.o.FrontShare*f.o.FrontShare*v*v)
	return meanL, math.Hypot(f.o.FrontShareSD*v, math.Sqrt(wall)*f.built.betaDoubt())
}

// filmDoubt is Gnielinski's relative standard deviation (10 % half-width or a
// little more, Incropera).
const filmDoubt = 0.06

// betaDoubt is the relative standard deviation of the wall's share.
func (b Built) betaDoubt() float64 {
	if b.Beta == 0 {
		return 0
	}
	return b.BetaSD / b.Beta
}

// skewSD is how much more or less skewed than reckoned a front may be: the
// width is fitted, so a wall thicker by a part d makes the third cumulant 3 d
// larger, a better film 2 d smaller.
func (f *fitter) skewSD() float64 {
	g := f.m.fronts.at(f.q.FrontL).skew
	return math.Hypot(f.o.FrontSkewSD, g*math.Hypot(3*f.built.betaDoubt(), 2*filmDoubt))
}

// kink is the slope of H along the water column at one side of a wait, K/L,
// with its derivatives; that with respect to the inlet is -offset.
type kink struct{ v, lnK, offset, still, deplete, bedLag float64 }

// kinkAt is the slope at node i of the wait in state a, seen from the interval
// next to it or the one beyond, whichever has the larger flow: in the first and
// the last drops of a run a litre is a long time.
//
//	dH/dW = (T_in' + k (T_in - T_b - b)) exp(-(K(t) - K(a)))/flow
func (m *model) kinkAt(i int, after bool, t, a *state, e float64) kink {
	p := m.p
	j, beyond := i-1, i-2
	if after {
		j, beyond = i, i+1
	}
	if j < 0 || j+1 >= len(p.t) {
		return kink{}
	}
	lps := max(p.q0[j], p.q1[j])
	if beyond >= 0 && beyond+1 < len(p.t) && max(p.q0[beyond], p.q1[beyond]) > lps {
		lps, j = max(p.q0[beyond], p.q1[beyond]), beyond
	}
	if lps <= 0 {
		return kink{}
	}
	per := e / lps
	take := m.rate(j) * per
	dStill := t.still - a.still
	dK := m.k * (t.flow - a.flow + m.q.Still*dStill)
	gap := a.in - a.bed - m.q.OffsetK
	x := kink{v: take * gap, offset: -take, deplete: -take * m.shape[0][i], bedLag: -take * m.shape[1][i]}
	x.lnK, x.still = x.v*(1-dK), -x.v*m.k*dStill
	if p.stands[j] {
		x.still += x.v / m.q.Still
	}
	return x
}

// bend adds to h what a change of H's slope by b - a at a front makes of it:
// times the integral r of response less step, in widths.
func (b *kink) bend(a *kink, frontL, r, share, density float64, h *point, dy *float64) {
	w, d := frontL*r, &h.d
	h.v += (b.v - a.v) * w
	d[colLnK] += (b.lnK - a.lnK) * w
	d[colOffset] += (b.offset - a.offset) * w
	d[colIn] -= (b.offset - a.offset) * w
	d[colStill] += (b.still - a.still) * w
	d[colDeplete] += (b.deplete - a.deplete) * w
	d[colBedLag] += (b.bedLag - a.bedLag) * w
	d[colFront] += (b.v - a.v) * density
	*dy += (b.v - a.v) * share
}

// leadFront is the front between the cold water of the lead pipe and the
// bed's, as it comes to the outlet probe: met ntu times by the wall, stayL the
// mean stay in it, mixL the standard deviation that mixing makes.
type leadFront struct{ ntu, stayL, mixL float64 }

// mostStay: the longest mean stay, in lags of the probe, that is reckoned with.
const mostStay = 0.6

// lateness is by what the probe's way to the bed's water, once all of the front
// has passed, is the longer for it: E exp(delay/lag) about the mean delay,
//
//	ln M = N (1/(1 - r) - 1 - r) + (mix/(q lag))²/2,  r = stay/(q lag),
//
// and its derivative with respect to the lag. widthS is the front's standard
// deviation.
func (l leadFront) lateness(lagS, lps float64) (m, slope, widthS float64) {
	if lagS <= 0 || lps <= 0 {
		return 1, 0, 0
	}
	r, x := min(l.stayL/(lps*lagS), mostStay), min(l.mixL/(lps*lagS), mostStay)
	m = math.Exp(l.ntu*(1/(1-r)-1-r) + x*x/2)
	slope = -m * x * x / lagS
	if r < mostStay {
		slope -= m * l.ntu * (1/((1-r)*(1-r)) - 1) * r / lagS
	}
	return m, slope, math.Sqrt(2*l.ntu*l.stayL*l.stayL+l.mixL*l.mixL) / lps
}

// formDoubt is the part of the covariance that a front's form leaves open beside
// its skewness: water that was not as cold as the rest when it entered, bends,
// flow that falters. It is one for the season, so that no number of draws
// averages it away: in each stretch of one width of the front the response is
// off by FrontFormSD of the step, on its own,
//
//	V = sum_j d_j d_j',  d_j = H^-1 sum J'W FrontFormSD step.
func (f *fitter) formDoubt(inverse *mat.SymDense) *mat.SymDense {
	v := mat.NewSymDense(len(f.free), nil)
	if f.o.FrontFormSD == 0 || !(f.q.FrontL > 0) {
		return v
	}
	var moved [2*frontReach + 1][]float64
	p := f.p
	for _, r := range p.runs {
		if r.draw < 0 {
			continue
		}
		f.m.follow(r, f.w, func(x *reading) {
			j := int(math.Round(x.model.u)) + frontReach
			if !x.fitted || x.model.step == 0 || j < 0 || j >= len(moved) {
				return
			}
			if moved[j] == nil {
				moved[j] = make([]float64, len(f.free))
			}
			sd := f.m.rowSD[x.node]
			for i, c := range f.free {
				moved[j][i] += f.o.FrontFormSD * x.model.step / (sd * sd * f.deff) * x.model.d[c]
			}
		})
	}
	for _, u := range moved {
		if u != nil {
			var d mat.VecDense
			d.MulVec(inverse, mat.NewVecDense(len(u), u))
			v.SymRankOne(v, 1, &d)
		}
	}
	return v
}
