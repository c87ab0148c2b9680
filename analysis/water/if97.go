// Package water gives the properties of liquid water that turn litres and
// degrees into heat: density, enthalpy, specific heat. It stands at the bottom
// of the analysis and imports nothing of ours.
//
// The physics is IAPWS-IF97 region 1 (liquid). Liquid evaluates the formulation
// itself at any temperature and pressure; the functions that take degrees
// Celsius alone hold at 0.3 MPa, the pressure of a farm's pipes, and read a
// table of it, fast enough for sums over a season.
//
// Conventions. Temperatures in degC (ITS-90) or K as the name says, pressures
// absolute in MPa, litres where the meter stands. Heat gained by the water is
// positive. NaN in, NaN out; outside the valid range NaN as well, never a
// clamped number.
package water

import "math"

// Reducing quantities and the specific gas constant of IF97 region 1.
// Source: IAPWS R7-97(2012), section 5.1 and equation (1).
const (
	gasConstantKJPerKgK = 0.461526
	reducingMPa         = 16.53
	reducingK           = 1386.0
	zeroCelsiusK        = 273.15
)

// The range in which Liquid gives a number. IF97 region 1 holds from 273.15 K
// to 623.15 K up to 100 MPa, above the saturation pressure. Water a little
// below 0 degC is let through down to -10 degC: a probe with an error of
// half a kelvin reads -0.3 on melting water, its litres still count, and the
// polynomial runs on smoothly (supercooled water; the release does not vouch
// for it). The caller answers for staying above the saturation pressure.
const (
	lowestK    = zeroCelsiusK - 10
	highestK   = 623.15
	highestMPa = 100.0
)

// term is one row of IF97 region 1, Table 2.
type term struct {
	i, j int
	n    float64
}

// region1 is Table 2 of IAPWS R7-97(2012), from memory; all 18 verification
// values of Table 5 agree to the printed digit (see the test).
var region1 = [34]term{
	{0, -2, 0.14632971213167}, {0, -1, -0.84548187169114}, {0, 0, -0.37563603672040e1},
	{0, 1, 0.33855169168385e1}, {0, 2, -0.95791963387872}, {0, 3, 0.15772038513228},
	{0, 4, -0.16616417199501e-1}, {0, 5, 0.81214629983568e-3},
	{1, -9, 0.28319080123804e-3}, {1, -7, -0.60706301565874e-3}, {1, -1, -0.18990068218419e-1},
	{1, 0, -0.32529748770505e-1}, {1, 1, -0.21841717175414e-1}, {1, 3, -0.52838357969930e-4},
	{2, -3, -0.47184321073267e-3}, {2, 0, -0.30001780793026e-3}, {2, 1, 0.47661393906987e-4},
	{2, 3, -0.44141845330846e-5}, {2, 17, -0.72694996297594e-15},
	{3, -4, -0.31679644845054e-4}, {3, 0, -0.28270797985312e-5}, {3, 6, -0.85205128120103e-9},
	{4, -5, -0.22425281908000e-5}, {4, -2, -0.65171222895601e-6}, {4, 10, -0.14341729937924e-12},
	{5, -8, -0.40516996860117e-6}, {8, -11, -0.12734301741641e-8}, {8, -6, -0.17424871230634e-9},
	{21, -29, -0.68762131295531e-18}, {23, -31, 0.14478307828521e-19}, {29, -38, 0.26335781662795e-22},
	{30, -39, -0.11947622640071e-22}, {31, -40, 0.18228094581404e-23}, {32, -41, -0.93537087292458e-25},
}

// Properties of liquid water at one state.
type Properties struct {
	VolumeM3PerKg        float64 // v
	EnthalpyKJPerKg      float64 // h
	EnergyKJPerKg        float64 // u
	EntropyKJPerKgK      float64 // s
	SpecificHeatKJPerKgK float64 // cp
	SoundMPerS           float64 // w
	// ExpansionM3PerKgK is (dv/dT) at constant pressure.
	ExpansionM3PerKgK float64
}

// DensityKgPerM3 is 1/v.
func (p Properties) DensityKgPerM3() float64 { return 1 / p.VolumeM3PerKg }

// gibbs holds the dimensionless Gibbs energy and its derivatives with respect
// to reduced pressure (P) and inverse reduced temperature (T).
type gibbs struct{ g, p, pp, t, tt, pt float64 }

// region1Gibbs evaluates
//
//	gamma = sum n_i (7.1 - pi)^I_i (tau - 1.222)^J_i,  pi = p/16.53 MPa, tau = 1386 K/T
//
// and its derivatives (IAPWS R7-97(2012), equation (7) and Table 4).
func region1Gibbs(pi, tau float64) gibbs {
	a, b := 7.1-pi, tau-1.222
	var g gibbs
	for _, t := range region1 {
		i, j := float64(t.i), float64(t.j)
		v := t.n * math.Pow(a, i) * math.Pow(b, j)
		g.g += v
		g.p -= v * i / a
		g.pp += v * i * (i - 1) / (a * a)
		g.t += v * j / b
		g.tt += v * j * (j - 1) / (b * b)
		g.pt -= v * i * j / (a * b)
	}
	return g
}

// Liquid gives the properties of liquid water by IF97 region 1 (Table 3 of
// IAPWS R7-97(2012)) at tempK and absolute pressureMPa. All fields are NaN
// outside 263.15..623.15 K or 0..100 MPa (see the constants above).
func Liquid(tempK, pressureMPa float64) Properties {
	if !(tempK >= lowestK && tempK <= highestK && pressureMPa > 0 && pressureMPa <= highestMPa) {
		nan := math.NaN()
		return Properties{nan, nan, nan, nan, nan, nan, nan}
	}
	pi, tau := pressureMPa/reducingMPa, reducingK/tempK
	g := region1Gibbs(pi, tau)
	rt := gasConstantKJPerKgK * tempK
	d := g.p - tau*g.pt
	// kJ/(kg MPa) = 1e-3 m3/kg; (kJ/kg) = 1000 m2/s2.
	return Properties{
		VolumeM3PerKg:        pi * g.p * rt / pressureMPa * 1e-3,
		EnthalpyKJPerKg:      tau * g.t * rt,
		EnergyKJPerKg:        (tau*g.t - pi*g.p) * rt,
		EntropyKJPerKgK:      (tau*g.t - g.g) * gasConstantKJPerKgK,
		SpecificHeatKJPerKgK: -tau * tau * g.tt * gasConstantKJPerKgK,
		SoundMPerS:           math.Sqrt(1000 * rt * g.p * g.p / (d*d/(tau*tau*g.tt) - g.pp)),
		ExpansionM3PerKgK:    pi * d * gasConstantKJPerKgK / pressureMPa * 1e-3,
	}
}
