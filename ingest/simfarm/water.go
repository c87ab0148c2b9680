package simfarm

import "math"

// if97 are the 34 terms of IAPWS-IF97 region 1 (R7-97(2012), Table 2), typed
// from memory and confirmed by Table 5 of the same release in the tests.
var if97 = [34]struct {
	i, j int
	n    float64
}{
	{0, -2, 0.14632971213167}, {0, -1, -0.84548187169114}, {0, 0, -3.7563603672040}, {0, 1, 3.3855169168385},
	{0, 2, -0.95791963387872}, {0, 3, 0.15772038513228}, {0, 4, -0.016616417199501}, {0, 5, 8.1214629983568e-4},
	{1, -9, 2.8319080123804e-4}, {1, -7, -6.0706301565874e-4}, {1, -1, -0.018990068218419}, {1, 0, -0.032529748770505},
	{1, 1, -0.021841717175414}, {1, 3, -5.2838357969930e-5}, {2, -3, -4.7184321073267e-4}, {2, 0, -3.0001780793026e-4},
	{2, 1, 4.7661393906987e-5}, {2, 3, -4.4141845330846e-6}, {2, 17, -7.2694996297594e-16}, {3, -4, -3.1679644845054e-5},
	{3, 0, -2.8270797985312e-6}, {3, 6, -8.5205128120103e-10}, {4, -5, -2.2425281908000e-6}, {4, -2, -6.5171222895601e-7},
	{4, 10, -1.4341729937924e-13}, {5, -8, -4.0516996860117e-7}, {8, -11, -1.2734301741641e-9}, {8, -6, -1.7424871230634e-10},
	{21, -29, -6.8762131295531e-19}, {23, -31, 1.4478307828521e-20}, {29, -38, 2.6335781662795e-23}, {30, -39, -1.1947622640071e-23},
	{31, -40, 1.8228094581404e-24}, {32, -41, -9.3537087292458e-26},
}

// liquid gives density (kg/m3) and enthalpy (kJ/kg) of water at tempK and
// pMPa by IF97 region 1:
//
//	v = R T pi gamma_pi / p,  h = R T tau gamma_tau,
//
// pi = p/16.53 MPa, tau = 1386 K/T, R = 0.461526 kJ/(kg K).
func liquid(tempK, pMPa float64) (rhoKgM3, hKJKg float64) {
	const gasR = 0.461526
	pi, tau := pMPa/16.53, 1386/tempK
	gPi, gTau := 0.0, 0.0
	for _, t := range if97 {
		i, j := float64(t.i), float64(t.j)
		gPi -= t.n * i * math.Pow(7.1-pi, i-1) * math.Pow(tau-1.222, j)
		gTau += t.n * math.Pow(7.1-pi, i) * j * math.Pow(tau-1.222, j-1)
	}
	v := gasR * tempK * pi * gPi / (pMPa * 1000)
	return 1 / v, gasR * tempK * tau * gTau
}

const (
	tableLowC  = -5.0
	tableHighC = 105.0
	tableStep  = 0.25
	// pipeMPa is the absolute pressure at which the tables hold.
	pipeMPa = 0.3
	// cpKJPerKgK is the specific heat of warm water, (h(40) - h(8))/32 by IF97.
	cpKJPerKgK = 4.184
)

// waterTable holds rho and h by temperature, and temperature by h.
type waterTable struct{ rho, h, tempByH []float64 }

var water = newWaterTable()

func newWaterTable() waterTable {
	n := int((tableHighC-tableLowC)/tableStep) + 1
	w := waterTable{rho: make([]float64, n), h: make([]float64, n)}
	for i := range w.rho {
		w.rho[i], w.h[i] = liquid(273.15+tableLowC+tableStep*float64(i), pipeMPa)
	}
	j := 0
	for h := math.Ceil(w.h[0]); h < w.h[n-1]; h++ {
		for w.h[j+1] < h {
			j++
		}
		w.tempByH = append(w.tempByH, tableLowC+tableStep*(float64(j)+(h-w.h[j])/(w.h[j+1]-w.h[j])))
	}
	return w
}

func lookup(t []float64, x float64) float64 {
	i := min(max(int(x), 0), len(t)-2)
	return t[i] + (x-float64(i))*(t[i+1]-t[i])
}

// rhoAt is density in kg/m3, hAt enthalpy in kJ/kg at 0.3 MPa.
func rhoAt(tempC float64) float64 { return lookup(water.rho, (tempC-tableLowC)/tableStep) }
func hAt(tempC float64) float64   { return lookup(water.h, (tempC-tableLowC)/tableStep) }

// tempAt is the temperature of water with enthalpy hKJKg.
func tempAt(hKJKg float64) float64 {
	return lookup(water.tempByH, hKJKg-math.Ceil(water.h[0]))
}

// Film properties of water at about 25 degC: kinematic viscosity, Prandtl
// number, conductivity (IAPWS R12-08 and R15-11: 0.893e-6 m2/s, 6.13, 0.607
// W/(m K)).
const (
	viscosityM2S    = 0.893e-6
	prandtl         = 6.13
	conductivityWMK = 0.607
	laminarReynolds = 2300
	laminarNusselt  = 3.66 // constant wall temperature
	turbulentFromRe = 3000
)

// gnielinski is the Nusselt number of turbulent flow in a smooth pipe,
//
//	Nu = (f/8)(Re - 1000) Pr / (1 + 12.7 sqrt(f/8) (Pr^(2/3) - 1)),
//	f = (0.790 ln Re - 1.64)^-2,
//
// valid from Re 3000 to 5e6 and Pr 0.5 to 2000 (Incropera, 6th edition,
// equations 8.62 and 8.21).
func gnielinski(re, pr float64) float64 {
	f := math.Pow(0.790*math.Log(re)-1.64, -2)
	return f / 8 * (re - 1000) * pr / (1 + 12.7*math.Sqrt(f/8)*(math.Pow(pr, 2.0/3)-1))
}

// filmWPerM2K is the film coefficient in a pipe: laminar below Re 2300,
// Gnielinski above 3000, straight in between.
func filmWPerM2K(flowLMin, boreMM float64) float64 {
	d := boreMM / 1000
	re := 4 * flowLMin / 60000 / (math.Pi * d * viscosityM2S)
	nu := laminarNusselt
	switch {
	case re >= turbulentFromRe:
		nu = gnielinski(re, prandtl)
	case re > laminarReynolds:
		nu += (re - laminarReynolds) / (turbulentFromRe - laminarReynolds) * (gnielinski(turbulentFromRe, prandtl) - laminarNusselt)
	}
	return nu * conductivityWMK / d
}
