package water

import "math"

// PipePressureMPa is the absolute pressure at which the functions of degrees
// Celsius hold: about 2 bar above the air, a farm's water main. Between 0.1 and
// 0.6 MPa a litre's heat changes by less than 3e-5 of itself.
const PipePressureMPa = 0.3

// LowestC and HighestC bound the table. Water at 0.3 MPa boils at 133.5 degC
// (IF97); a pipe probe that reads more does not read liquid.
const (
	LowestC  = -10.0
	HighestC = 133.0
)

// knot is one row of the table: value and slope of density and enthalpy.
type knot struct{ rho, dRho, h, cp float64 }

// table at every whole degree, 0.3 MPa. Filled once, only read afterwards.
var table = newTable()

func newTable() []knot {
	n := int(HighestC-LowestC) + 1
	t := make([]knot, n)
	for i := range t {
		p := Liquid(zeroCelsiusK+LowestC+float64(i), PipePressureMPa)
		rho := p.DensityKgPerM3()
		t[i] = knot{rho, -p.ExpansionM3PerKgK * rho * rho, p.EnthalpyKJPerKg, p.SpecificHeatKJPerKgK}
	}
	return t
}

// cell finds the row below tempC and the fraction of a degree above it; ok is
// false outside the table and for NaN.
func cell(tempC float64) (i int, f float64, ok bool) {
	if !(tempC >= LowestC && tempC <= HighestC) {
		return 0, 0, false
	}
	x := tempC - LowestC
	i = min(int(x), len(table)-2)
	return i, x - float64(i), true
}

// hermite is the cubic through two values and slopes one degree apart. With
// exact slopes its error is below max|f””|/384.
func hermite(f, y0, d0, y1, d1 float64) float64 {
	c := 3*(y1-y0) - 2*d0 - d1
	d := d0 + d1 - 2*(y1-y0)
	return y0 + f*(d0+f*(c+f*d))
}

// DensityKgPerM3 is the density of water at 0.3 MPa, -10 to 133 degC, within
// 1e-8 of IF97; NaN outside.
func DensityKgPerM3(tempC float64) float64 {
	i, f, ok := cell(tempC)
	if !ok {
		return math.NaN()
	}
	a, b := &table[i], &table[i+1]
	return hermite(f, a.rho, a.dRho, b.rho, b.dRho)
}

// EnthalpyKJPerKg is the specific enthalpy of water at 0.3 MPa, -10 to
// 133 degC, within 1e-6 kJ/kg of IF97; NaN outside.
func EnthalpyKJPerKg(tempC float64) float64 {
	i, f, ok := cell(tempC)
	if !ok {
		return math.NaN()
	}
	a, b := &table[i], &table[i+1]
	return hermite(f, a.h, a.cp, b.h, b.cp)
}

// SpecificHeatKJPerKgK is cp of water at 0.3 MPa, -10 to 133 degC: the slope of
// EnthalpyKJPerKg, within 1e-5 of IF97; NaN outside.
func SpecificHeatKJPerKgK(tempC float64) float64 {
	i, f, ok := cell(tempC)
	if !ok {
		return math.NaN()
	}
	a, b := &table[i], &table[i+1]
	dh := b.h - a.h
	return a.cp + f*(2*(3*dh-2*a.cp-b.cp)+f*3*(a.cp+b.cp-2*dh))
}

// HeatCapacityKJPerLK is rho cp of one litre at 0.3 MPa; NaN outside -10 to
// 133 degC.
func HeatCapacityKJPerLK(tempC float64) float64 {
	return DensityKgPerM3(tempC) * SpecificHeatKJPerKgK(tempC) / 1000
}

// kJPerKWh is exact by definition.
const kJPerKWh = 3600.0

// HeatKWh is the heat gained by metered water at 0.3 MPa,
//
//	Q = V rho(T_meter) (h(T_hot) - h(T_cold)),
//
// litres counted at meterC, warmed from coldC to hotC; negative where hotC is
// the lower. It is the physics of the heat coefficient in EN 1434-1, which is
// tabled at 1.6 MPa. NaN if any argument is NaN or outside -10 to 133 degC.
func HeatKWh(litres, meterC, coldC, hotC float64) float64 {
	rise := EnthalpyKJPerKg(hotC) - EnthalpyKJPerKg(coldC)
	return litres / 1000 * DensityKgPerM3(meterC) * rise / kJPerKWh
}

// HeatKWhAt is HeatKWh at any absolute pressure, by the formulation itself.
func HeatKWhAt(litres, meterC, coldC, hotC, pressureMPa float64) float64 {
	at := func(tempC float64) Properties { return Liquid(tempC+zeroCelsiusK, pressureMPa) }
	rise := at(hotC).EnthalpyKJPerKg - at(coldC).EnthalpyKJPerKg
	return litres / 1000 * at(meterC).DensityKgPerM3() * rise / kJPerKWh
}
