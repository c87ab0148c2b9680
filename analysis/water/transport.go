package water

import "math"

// Reducing quantities of the transport releases: critical temperature and density
// (IAPWS R12-08 section 2.2, R15-11 section 2.1).
const (
	criticalK       = 647.096
	criticalKgPerM3 = 322.0
)

// viscosityH0 and viscosityH are Tables 1 and 2 of IAPWS R12-08: the dilute gas,
// and the powers of (1/T - 1), rows, and of (rho - 1), columns.
var (
	viscosityH0 = [4]float64{1.67752, 2.20462, 0.6366564, -0.241605}
	viscosityH  = [][]float64{
		{5.20094e-1, 2.22531e-1, -2.81378e-1, 1.61913e-1, -3.25372e-2, 0, 0},
		{8.50895e-2, 9.99115e-1, -9.06851e-1, 2.57399e-1, 0, 0, 0},
		{-1.08374, 1.88797, -7.72479e-1, 0, 0, 0, 0},
		{-2.89555e-1, 1.26613, -4.89837e-1, 0, 6.98452e-2, 0, -4.35673e-3},
		{0, 0, -2.57040e-1, 0, 0, 8.72102e-3, 0},
		{0, 1.20573e-1, 0, 0, 0, 0, -5.93264e-4},
	}
)

// conductivityL0 and conductivityL are Tables 1 and 2 of IAPWS R15-11.
var (
	conductivityL0 = [5]float64{2.443221e-3, 1.323095e-2, 6.770357e-3, -3.454586e-3, 4.096266e-4}
	conductivityL  = [][]float64{
		{1.60397357, -0.646013523, 0.111443906, 0.102997357, -0.0504123634, 0.00609859258},
		{2.33771842, -2.78843778, 1.53616167, -0.463045512, 0.0832827019, -0.00719201245},
		{2.19650529, -4.54580785, 3.55777244, -1.40944978, 0.275418278, -0.0205938816},
		{-1.21051378, 1.60812989, -0.621178141, 0.0716373224, 0, 0},
		{-2.7203370, 4.57586331, -3.18369245, 1.1168348, -0.19268305, 0.012913842},
	}
)

// viscosityPaS is the dynamic viscosity without critical enhancement (mu2 = 1),
//
//	mu = 1e-6 Pa s · 100 sqrt(T)/sum H0_i T^-i · exp(rho sum_i sum_j H_ij (1/T - 1)^i (rho - 1)^j),
//
// T = t/647.096 K, rho = density/322 kg/m3. Source: IAPWS R12-08, eq. 10 to 12.
func viscosityPaS(tempK, densityKgPerM3 float64) float64 {
	t, rho := tempK/criticalK, densityKgPerM3/criticalKgPerM3
	return 1e-6 * 100 * math.Sqrt(t) / inverse(viscosityH0[:], t) * math.Exp(rho*double(viscosityH, 1/t-1, rho-1))
}

// conductivityWPerMK is the thermal conductivity without critical enhancement,
// which is below 1e-6 of it in a farm's pipes,
//
//	lambda = 1e-3 W/(m K) · sqrt(T)/sum L0_k T^-k · exp(rho sum_i sum_j L_ij (1/T - 1)^i (rho - 1)^j).
//
// Source: IAPWS R15-11, eq. 15 to 17.
func conductivityWPerMK(tempK, densityKgPerM3 float64) float64 {
	t, rho := tempK/criticalK, densityKgPerM3/criticalKgPerM3
	return 1e-3 * math.Sqrt(t) / inverse(conductivityL0[:], t) * math.Exp(rho*double(conductivityL, 1/t-1, rho-1))
}

// inverse is sum a_i t^-i.
func inverse(a []float64, t float64) float64 {
	sum := 0.0
	for i := len(a) - 1; i >= 0; i-- {
		sum = sum/t + a[i]
	}
	return sum
}

// double is sum_i x^i sum_j a_ij y^j.
func double(a [][]float64, x, y float64) float64 {
	sum := 0.0
	for i := len(a) - 1; i >= 0; i-- {
		row := 0.0
		for j := len(a[i]) - 1; j >= 0; j-- {
			row = row*y + a[i][j]
		}
		sum = sum*x + row
	}
	return sum
}

// Transport are the properties by which water moves in a pipe and takes heat from
// its wall.
type Transport struct {
	DensityKgPerM3     float64
	ViscosityPaS       float64 // dynamic
	ConductivityWPerMK float64
	Prandtl            float64
}

// TransportAt gives them for liquid water at tempC and 0.3 MPa, NaN outside
// LowestC to HighestC. Sources: IAPWS R12-08 (1 % in this range), R15-11, R7-97.
func TransportAt(tempC float64) Transport {
	if !(tempC >= LowestC && tempC <= HighestC) {
		nan := math.NaN()
		return Transport{nan, nan, nan, nan}
	}
	p := Liquid(tempC+zeroCelsiusK, PipePressureMPa)
	tr := Transport{DensityKgPerM3: p.DensityKgPerM3()}
	tr.ViscosityPaS = viscosityPaS(tempC+zeroCelsiusK, tr.DensityKgPerM3)
	tr.ConductivityWPerMK = conductivityWPerMK(tempC+zeroCelsiusK, tr.DensityKgPerM3)
	tr.Prandtl = tr.ViscosityPaS * p.SpecificHeatKJPerKgK * 1000 / tr.ConductivityWPerMK
	return tr
}
