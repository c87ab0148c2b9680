package water

import (
	"math"
	"testing"
)

// IAPWS R12-08, Table 4: the release prints six decimals of uPa s.
func TestViscosityReleasePoints(t *testing.T) {
	points := rows(t, "viscosity_R12_08_table4.csv")
	for _, r := range points {
		within(t, num(t, r["mu_uPas_printed"]), 1e6*viscosityPaS(num(t, r["T_K"]), num(t, r["rho_kg_m3"])), 1e-7, 0, r)
	}
	isTrue(t, len(points) >= 8)
}

// IAPWS R15-11, Table 4, without critical enhancement.
func TestConductivityReleasePoints(t *testing.T) {
	points := rows(t, "conductivity_R15_11_table4.csv")
	for _, r := range points {
		within(t, num(t, r["lambda_mW_mK_printed"]), 1e3*conductivityWPerMK(num(t, r["T_K"]), math.Max(num(t, r["rho_kg_m3"]), 1e-12)), 1e-8, 0, r)
	}
	isTrue(t, len(points) >= 4)
}

// Liquid water from 5 to 90 degC by python3-iapws 1.5.2 at 0.1 MPa; ours stands at
// 0.3 MPa, which moves viscosity and conductivity by less than 1e-4.
func TestTransportOfLiquid(t *testing.T) {
	for _, r := range rows(t, "transport_0.1MPa.csv") {
		rho, c := num(t, r["rho_kg_m3"]), num(t, r["t_degC"])
		within(t, num(t, r["mu_uPas"]), 1e6*viscosityPaS(c+zeroCelsiusK, rho), 1e-6, 0, r)
		within(t, num(t, r["lambda_ind_mW_mK"]), 1e3*conductivityWPerMK(c+zeroCelsiusK, rho), 1e-6, 0, r)
		tr := TransportAt(c)
		within(t, num(t, r["mu_uPas"]), 1e6*tr.ViscosityPaS, 2e-4, 0, r)
		within(t, num(t, r["Pr"]), tr.Prandtl, 1e-3, 0, r) // 0.2 MPa more take 6e-4 of it at 5 degC
	}
	isTrue(t, math.IsNaN(TransportAt(140).Prandtl) && math.IsNaN(TransportAt(math.NaN()).ViscosityPaS))
}
