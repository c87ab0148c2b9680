package loop

import "math"

// Water at 25 degC: kinematic viscosity, Prandtl number, conductivity by IAPWS
// R12-08 and R15-11 (transport_0.1MPa.csv); the loop's water runs from 8 to
// 45 degC, over which the film changes by a fifth either way, and that by which
// it matters here by a hundredth.
const (
	viscosityM2PerS   = 0.890022551e-3 / 997.047435
	prandtl           = 6.1366665
	conductivityWPerM = 0.606515827
)

// Flow in a pipe is laminar below laminarRe; Gnielinski holds from
// turbulentRe; between them the Nusselt number runs straight.
const (
	laminarRe       = 2300
	turbulentRe     = 3000
	laminarNusselt  = 3.66 // round pipe, even wall temperature (Incropera, 6th ed., eq. 8.55)
	leastWallFollow = 0.3
)

// gnielinski is the Nusselt number of turbulent flow in a smooth pipe,
//
//	Nu = (f/8)(Re - 1000) Pr/(1 + 12.7 sqrt(f/8) (Pr^(2/3) - 1)),
//	f = (0.790 ln Re - 1.64)^-2  (Petukhov),
//
// Re 3000 to 5e6, Pr 0.5 to 2000 (Incropera, 6th ed., eq. 8.62 and 8.21).
func gnielinski(re, pr float64) float64 {
	f := math.Pow(0.790*math.Log(re)-1.64, -2)
	return f / 8 * (re - 1000) * pr / (1 + 12.7*math.Sqrt(f/8)*(math.Cbrt(pr*pr)-1))
}

// filmWPerK is the conductance from the water to the pipe's inside over the
// whole loop at flowLMin in each of its branches together.
func (p Pipe) filmWPerK(flowLMin float64) float64 {
	d := p.BoreMM / 1000
	re := 4 * flowLMin / 60000 / (math.Pi * d * viscosityM2PerS)
	nu := laminarNusselt
	switch {
	case re >= turbulentRe:
		nu = gnielinski(re, prandtl)
	case re > laminarRe:
		nu += (re - laminarRe) / (turbulentRe - laminarRe) * (gnielinski(turbulentRe, prandtl) - laminarNusselt)
	}
	return nu * conductivityWPerM / d * math.Pi * d * p.LengthM
}

// stillFilmWPerM2K is the film coefficient of standing water. Free convection
// about a horizontal cylinder has Nu = 0.53 Ra^(1/4) (McAdams 1954, from
// memory; inside a pipe much the same): bores of 20 to 40 mm and differences of
// 0.1 to 1 K at 30 degC give 160 to 350 W/(m2 K).
const stillFilmWPerM2K = 240

// frontSkewSD is what is not known of a front's skewness beside the wall's part
// of it (0.2 to 0.6 for farms' pipes): that of bends and of mixing itself (our
// choice, no source).
const frontSkewSD = 0.1

// frontFormSD is what else may be other in a front: the first litres of a draw
// have stood in the cold feed's pipe, some 5 L that are 3 K warmer beside a front
// of 15 K and 30 L make 0.01 to 0.03 of it (our estimate, no source).
const frontFormSD = 0.02

// leastStillSD: the prior of s is no narrower, however thick the bed's part.
const leastStillSD = 0.02

// setStill moves the prior of s to what film and bed in series make of it:
//
//	s = UA_still/UA = 1/(1 + UA (1/F_still - 1/F)),  ds/d ln F_still = s² UA/F_still.
//
// A small coefficient is the bed's, whether water stands or flows; a large one
// is partly the film's. Soaked water knows s k only, so a prior that is off
// would be off in UA.
func (f *fitter) setStill(in *Input, uaWPerK, filmWPerK float64) {
	f.stillMean, f.stillSD = f.o.stillAt(in.Pipe, uaWPerK, filmWPerK)
}

func (o Options) stillAt(p Pipe, uaWPerK, filmWPerK float64) (mean, sd float64) {
	still := o.StillFilmWPerM2K * math.Pi * p.BoreMM / 1000 * p.LengthM
	s := 1 / (1 + uaWPerK*(1/still-1/filmWPerK))
	mean = math.Max(o.StillLow, math.Min(s, 1))
	return mean, math.Max(leastStillSD, mean*mean*uaWPerK/still*o.StillFilmSD)
}

// follow corrects a built loop for a wall that does not follow its water all
// the way: film F and bed G lie on either side of it. A wave exp(st) of the
// water's warmth sees
//
//	C_w s + F (C_p s + G)/(C_p s + F + G),  C_w, C_p capacities of water and wall,
//
// which is UA + s (C_w + C_p phi²) while s is small, UA = F G/(F + G),
//
//	phi = F/(F + G) = 1 - UA/F:
//
// as the water warms by one kelvin the wall warms by phi, and of what it then
// holds the bed gave all but phi. So beta phi² of its heat capacity counts, in
// the front's speed and in C alike. (The wall's own resistance is left out: with
// common plastic pipe under 15 % of the whole, half of it acts.)
func (b Built) follow(uaWPerK, filmWPerK float64) Built {
	phi := math.Max(leastWallFollow, 1-uaWPerK/filmWPerK)
	phi *= phi
	scale := (1 + b.Beta*phi) / (1 + b.Beta)
	b.WallFollows = phi
	b.ThermalL *= scale
	b.CapacityKJPerK *= scale
	return b
}

// meanFlowLMin is the flow of the draws by litres.
func (p *path) meanFlowLMin() float64 {
	sum, litres := 0.0, 0.0
	for _, r := range p.runs {
		for i := r.from; i < r.to && r.draw >= 0; i++ {
			l := p.w[i+1] - p.w[i]
			sum, litres = sum+l*60*l/(p.t[i+1]-p.t[i]), litres+l
		}
	}
	if litres == 0 {
		return 0
	}
	return sum / litres
}

// setFilm lets k follow the flow within and between draws. With x = UA/film at
// the mean flow,
//
//	k(q)/k(mean) = 1/(x film(mean)/film(q) + 1 - x):
//
// a float valve that closes slowly lets the last water of a draw pass at half
// the flow and a thinner share of its coefficient.
func (m *model) setFilm(in *Input, uaWPerK, meanLMin float64) {
	p, branches := m.p, float64(max(in.Branches, 1))
	film := in.Pipe.filmWPerK(meanLMin / branches)
	x := math.Min(uaWPerK/film, 1-leastWallFollow)
	flow := make([]float64, len(p.t))
	for _, s := range p.segs {
		for i := s.from; i < s.to; i++ {
			h := p.flow[i+1] - p.flow[i]
			if h > 0 {
				q := (p.q0[i] + p.q1[i]) / 2 * 60
				m.rel[i] = 1 / (x*film/in.Pipe.filmWPerK(q/branches) + 1 - x)
			}
			flow[i+1] = flow[i] + h*m.rel[i]
		}
	}
	m.flow = flow
}
