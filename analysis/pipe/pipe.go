// Package pipe says what a buried pipe should pass, from its geometry and
// materials alone: film inside, wall, litter or slab around it, one after the
// other, and what it costs the pump. The loop's fit says what it does pass; the
// difference is a finding about bedding, contact, length or meter, never a
// correction of the fit. It stands on water and knows no record.
//
// Conventions. Resistances are per metre of pipe, K m/W; conductances per metre
// W/(m K), or of the whole loop W/K. Diameters in mm, lengths and depths in m,
// flow in L/min of one branch. NaN in, NaN out; outside a formula's range NaN.
package pipe

import (
	"math"

	"yardheat/analysis/water"
)

// Flow in a pipe is laminar below LaminarRe; Gnielinski holds from TurbulentRe;
// between them Nusselt number and friction run straight.
const (
	LaminarRe   = 2300
	TurbulentRe = 3000
	// LaminarNusselt is that of a round pipe whose wall is of even temperature.
	// Source: Incropera, 6th ed., eq. 8.55.
	LaminarNusselt = 3.66
)

// Friction is the Darcy friction factor of a smooth pipe,
//
//	f = 64/Re (laminar),  f = (0.790 ln Re - 1.64)^-2 (Petukhov, Re 3000 to 5e6).
//
// Source: Incropera, 6th ed., eq. 8.19 and 8.21.
func Friction(re float64) float64 {
	turbulent := func(re float64) float64 { return math.Pow(0.790*math.Log(re)-1.64, -2) }
	switch {
	case !(re > 0) || re > 5e6:
		return math.NaN()
	case re <= LaminarRe:
		return 64 / re
	case re < TurbulentRe:
		return between(re, 64.0/LaminarRe, turbulent(TurbulentRe))
	}
	return turbulent(re)
}

// Nusselt is that of water flowing in a smooth round pipe,
//
//	Nu = (f/8)(Re - 1000) Pr/(1 + 12.7 sqrt(f/8) (Pr^(2/3) - 1))  (Gnielinski),
//
// Re 3000 to 5e6, Pr 0.5 to 2000. Source: Incropera, 6th ed., eq. 8.62.
func Nusselt(re, pr float64) float64 {
	turbulent := func(re float64) float64 {
		f := Friction(re) / 8
		return f * (re - 1000) * pr / (1 + 12.7*math.Sqrt(f)*(math.Cbrt(pr*pr)-1))
	}
	switch {
	case !(re >= 0) || re > 5e6 || !(pr >= 0.5 && pr <= 2000):
		return math.NaN()
	case re <= LaminarRe:
		return LaminarNusselt
	case re < TurbulentRe:
		return between(re, LaminarNusselt, turbulent(TurbulentRe))
	}
	return turbulent(re)
}

func between(re, low, high float64) float64 {
	return low + (re-LaminarRe)/(TurbulentRe-LaminarRe)*(high-low)
}

// Reynolds number of flowLMin of water at tempC in a bore,
//
//	Re = 4 V rho/(pi D mu).
func Reynolds(flowLMin, boreMM, tempC float64) float64 {
	p := water.TransportAt(tempC)
	return 4 * flowLMin / 60000 * p.DensityKgPerM3 / (math.Pi * boreMM / 1000 * p.ViscosityPaS)
}

// FilmMKPerW is the resistance of the water's film, R = 1/(pi Nu lambda).
func FilmMKPerW(flowLMin, boreMM, tempC float64) float64 {
	p := water.TransportAt(tempC)
	return 1 / (math.Pi * Nusselt(Reynolds(flowLMin, boreMM, tempC), p.Prandtl) * p.ConductivityWPerMK)
}

// WallMKPerW is the resistance of a pipe's wall, R = ln(d2/d1)/(2 pi lambda), of a
// bore d1 and a wall between them. Source: Incropera, 6th ed., eq. 3.28.
func WallMKPerW(boreMM, wallMM, wallWPerMK float64) float64 {
	if !(boreMM > 0 && wallMM >= 0 && wallWPerMK > 0) {
		return math.NaN()
	}
	return math.Log(1+2*wallMM/boreMM) / (2 * math.Pi * wallWPerMK)
}

// ShapePerM is the conduction shape factor of one pipe of outside diameter D
// whose axis lies z below a surface of even temperature, per metre of length,
//
//	S/L = 2 pi/arccosh(2 z/D),  z > D/2.
//
// Source: Incropera, 6th ed., Table 4.1, case 2; Holman, 10th ed., Table 3-1. A
// form with 2 z/r that goes round is wrong: tests hold this against Holman's
// example 3-1.
func ShapePerM(outsideMM, depthM float64) float64 {
	ratio := 2 * depthM / (outsideMM / 1000)
	if !(ratio > 1) {
		return math.NaN()
	}
	return 2 * math.Pi / math.Acosh(ratio)
}

// RowShapePerM is that of each of many parallel pipes, spacing s apart,
//
//	S/L = 2 pi/ln((2 s/(pi D)) sinh(2 pi z/s)),  z > D, s > 1.5 D.
//
// Source: Holman, 10th ed., Table 3-1 (row of cylinders; formula from memory).
// For pipes far apart it becomes that of one pipe.
func RowShapePerM(outsideMM, depthM, spacingM float64) float64 {
	d := outsideMM / 1000
	if !(depthM > d && spacingM > 1.5*d) {
		return math.NaN()
	}
	x := 2 * math.Pi * depthM / spacingM
	// ln sinh x without overflow.
	lnSinh := x + math.Log1p(-math.Exp(-2*x)) - math.Ln2
	return 2 * math.Pi / (math.Log(2*spacingM/(math.Pi*d)) + lnSinh)
}

// CylinderMKPerW is the resistance of bedding around a pipe out to the radius at
// which the bed is as warm as its probe says, R = ln(2 r/D)/(2 pi lambda). With
// pipes spacing s apart that radius is s/2 at most.
func CylinderMKPerW(outsideMM, radiusM, mediumWPerMK float64) float64 {
	ratio := 2 * radiusM / (outsideMM / 1000)
	if !(ratio > 1 && mediumWPerMK > 0) {
		return math.NaN()
	}
	return math.Log(ratio) / (2 * math.Pi * mediumWPerMK)
}

// DropBar is the pressure that a smooth straight pipe takes at a flow,
//
//	dp = f (L/D) rho v²/2.
//
// Bends, fittings and what grows inside come on top. Source: Incropera, 6th ed.,
// eq. 8.22.
func DropBar(flowLMin, boreMM, lengthM, tempC float64) float64 {
	d := boreMM / 1000
	v := SpeedMPerS(flowLMin, boreMM)
	if v == 0 {
		return 0
	}
	return Friction(Reynolds(flowLMin, boreMM, tempC)) * lengthM / d * water.DensityKgPerM3(tempC) * v * v / 2 / 1e5
}

// SpeedMPerS is the mean speed of the water.
func SpeedMPerS(flowLMin, boreMM float64) float64 {
	d := boreMM / 1000
	return flowLMin / 60000 / (math.Pi * d * d / 4)
}
