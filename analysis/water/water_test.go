package water

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

const checks = "../../testdata/check-values/water/"

// rows reads a check file: comment lines start with #, the first other line is
// the header; each row comes back by column name.
func rows(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(checks + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	isTrue(t, len(all) > 1, name)
	var out []map[string]string
	for _, cells := range all[1:] {
		m := map[string]string{}
		for i, c := range cells {
			m[all[0][i]] = c
		}
		out = append(out, m)
	}
	return out
}

func num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// within fails unless got is a number and |got-want| <= rel*|want| + abs.
func within(t testing.TB, want, got, rel, abs float64, what ...any) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)+abs) {
		t.Errorf("%v: got %.12g, want %.12g (rel %g, abs %g)", what, got, want, rel, abs)
	}
}

func isTrue(t testing.TB, ok bool, what ...any) {
	t.Helper()
	if !ok {
		t.Fatal(what...)
	}
}

func failsWithin(want, got, rel, abs float64) bool {
	sub := new(recorder)
	within(sub, want, got, rel, abs)
	return sub.failed
}

// recorder is a testing.TB that only remembers failure.
type recorder struct {
	testing.TB
	failed bool
}

func (r *recorder) Helper()               {}
func (r *recorder) Errorf(string, ...any) { r.failed = true }

func TestWithin(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	isTrue(t, !failsWithin(0, 0, 0, 0), "not expected")
	isTrue(t, !failsWithin(2, 2.0001, 1e-4, 0), "not expected")
	isTrue(t, failsWithin(2, 2.0003, 1e-4, 0), "expected")
	isTrue(t, failsWithin(0, 1e-9, 1e-4, 0), "expected")
	isTrue(t, failsWithin(1, nan, 1, 1), "expected")
	isTrue(t, failsWithin(1, inf, 1, 1), "expected")
}

// IAPWS R7-97(2012), Table 5: nine digits are printed.
func TestRegion1Verification(t *testing.T) {
	n := 0
	for _, r := range rows(t, "if97_region1_table5.csv") {
		p := Liquid(num(t, r["T_K"]), num(t, r["p_MPa"]))
		got := map[string]float64{"v": p.VolumeM3PerKg, "h": p.EnthalpyKJPerKg, "u": p.EnergyKJPerKg,
			"s": p.EntropyKJPerKgK, "cp": p.SpecificHeatKJPerKgK, "w": p.SoundMPerS}[r["quantity"]]
		within(t, num(t, r["printed"]), got, 5e-9, 0, r["T_K"], r["quantity"])
		n++
	}
	isTrue(t, n == 18, "rows", n)
}

// The grid of a public IF97 library; tolerances as its header states.
func TestLiquidGrid(t *testing.T) {
	n := 0
	for _, r := range rows(t, "if97_liquid_grid.csv") {
		if r["rho_kg_m3"] == "" {
			continue // steam
		}
		n++
		tC, pMPa := num(t, r["t_degC"]), num(t, r["p_MPa"])
		p := Liquid(tC+zeroCelsiusK, pMPa)
		within(t, num(t, r["rho_kg_m3"]), p.DensityKgPerM3(), 1e-9, 0, "rho", tC, pMPa)
		within(t, num(t, r["v_m3_kg"]), p.VolumeM3PerKg, 1e-9, 0, "v", tC, pMPa)
		within(t, num(t, r["cp_kJ_kgK"]), p.SpecificHeatKJPerKgK, 1e-8, 0, "cp", tC, pMPa)
		within(t, num(t, r["h_kJ_kg"]), p.EnthalpyKJPerKg, 0, 1e-6, "h", tC, pMPa)
		if pMPa == PipePressureMPa {
			within(t, num(t, r["rho_kg_m3"]), DensityKgPerM3(tC), 1e-9, 0, "table rho", tC)
			within(t, num(t, r["h_kJ_kg"]), EnthalpyKJPerKg(tC), 0, 1e-6, "table h", tC)
			within(t, num(t, r["cp_kJ_kgK"]), SpecificHeatKJPerKgK(tC), 1e-8, 0, "table cp", tC)
		}
	}
	isTrue(t, n > 390, "rows", n)
}

// IAPWS-95 and SR6-08 differ from IF97 by no more than the file states.
func TestOtherFormulations(t *testing.T) {
	for _, r := range rows(t, "if97_vs_other_formulations.csv") {
		if r["rho95_kg_m3"] == "" {
			continue
		}
		p := Liquid(num(t, r["t_degC"])+zeroCelsiusK, num(t, r["p_MPa"]))
		within(t, num(t, r["rho95_kg_m3"]), p.DensityKgPerM3(), 2e-5, 0, "rho", r)
		within(t, num(t, r["cp95_kJ_kgK"]), p.SpecificHeatKJPerKgK, 6e-4, 0, "cp", r)
		within(t, num(t, r["h95_kJ_kg"]), p.EnthalpyKJPerKg, 0, 0.1, "h", r)
	}
}

// Densities by CIPM (Tanaka et al. 2001, Metrologia 38, 301), at 101.325 kPa.
func TestPublishedDensity(t *testing.T) {
	for tC, want := range map[float64]float64{20: 998.2067, 25: 997.0470, 3.983: 999.97495} {
		within(t, want, Liquid(tC+zeroCelsiusK, 0.101325).DensityKgPerM3(), 2e-5, 0, tC)
	}
}

// The heat coefficient of EN 1434-1 and OIML R 75-1 at 1.6 MPa:
// k = rho(meter) (h_f - h_r)/(theta_f - theta_r).
func TestHeatCoefficient(t *testing.T) {
	n := 0
	for _, r := range rows(t, "heat_coefficient_k.csv") {
		f, c := num(t, r["theta_f_degC"]), num(t, r["theta_r_degC"])
		for col, meter := range map[string]float64{"k_meter_in_flow_kWh_m3K": f, "k_meter_in_return_kWh_m3K": c} {
			within(t, num(t, r[col]), HeatKWhAt(1000, meter, c, f, 1.6)/(f-c), 1e-7, 0, col, f, c)
			n++
		}
	}
	isTrue(t, n == 240, "rows", n)
}

func TestHeatFromVolume(t *testing.T) {
	for _, r := range rows(t, "heat_from_volume_examples.csv") {
		in, out, meter := num(t, r["t_in_degC"]), num(t, r["t_out_degC"]), 0.0
		switch r["meter_at"] {
		case "return":
			meter = in
		case "flow":
			meter = out
		default:
			t.Fatalf("meter_at %q", r["meter_at"])
		}
		litres, pMPa, want := 1000*num(t, r["V_m3"]), num(t, r["p_MPa"]), num(t, r["Q_kWh"])
		within(t, want, HeatKWhAt(litres, meter, in, out, pMPa), 1e-7, 0, r)
		if pMPa == PipePressureMPa {
			within(t, want, HeatKWh(litres, meter, in, out), 1e-7, 0, "table", r)
		}
	}
}

// Between the knots the table follows the formulation.
func TestTableBetweenKnots(t *testing.T) {
	for tC := LowestC; tC <= HighestC; tC += 0.0917 {
		p := Liquid(tC+zeroCelsiusK, PipePressureMPa)
		within(t, p.DensityKgPerM3(), DensityKgPerM3(tC), 1e-8, 0, "rho", tC)
		within(t, p.EnthalpyKJPerKg, EnthalpyKJPerKg(tC), 0, 1e-6, "h", tC)
		within(t, p.SpecificHeatKJPerKgK, SpecificHeatKJPerKgK(tC), 1e-5, 0, "cp", tC)
	}
}

// The slopes in the table against central differences (asymmetric points).
func TestSlopes(t *testing.T) {
	for _, tK := range []float64{274.6, 291.3, 333.9, 371.7} {
		const d = 0.01
		a, b, p := Liquid(tK-d, 0.3), Liquid(tK+d, 0.3), Liquid(tK, 0.3)
		within(t, (b.VolumeM3PerKg-a.VolumeM3PerKg)/(2*d), p.ExpansionM3PerKgK, 1e-5, 1e-12, "dv/dT", tK)
		within(t, (b.EnthalpyKJPerKg-a.EnthalpyKJPerKg)/(2*d), p.SpecificHeatKJPerKgK, 1e-8, 0, "cp", tK)
	}
}

func TestEdges(t *testing.T) {
	for _, tC := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -10.01, 133.01, 85000} {
		for _, f := range []func(float64) float64{DensityKgPerM3, EnthalpyKJPerKg, SpecificHeatKJPerKgK, HeatCapacityKJPerLK} {
			isTrue(t, math.IsNaN(f(tC)), tC)
		}
		isTrue(t, math.IsNaN(HeatKWh(1, tC, 10, 20)), "expected")
		isTrue(t, math.IsNaN(HeatKWh(1, 10, tC, 20)), "expected")
		isTrue(t, math.IsNaN(HeatKWh(1, 10, 20, tC)), "expected")
	}
	isTrue(t, math.IsNaN(HeatKWh(math.NaN(), 10, 10, 20)), "expected")
	isTrue(t, math.IsNaN(Liquid(300, 101).VolumeM3PerKg), "expected")
	isTrue(t, math.IsNaN(Liquid(300, 0).EnthalpyKJPerKg), "expected")
	isTrue(t, !math.IsNaN(DensityKgPerM3(LowestC)), "not expected")
	isTrue(t, !math.IsNaN(DensityKgPerM3(HighestC)), "not expected")
	// The same water both ways round: opposite heat.
	isTrue(t, HeatKWh(100, 10, 10, 40) == -HeatKWh(100, 10, 40, 10), "sign")
}

func BenchmarkHeatKWh(b *testing.B) {
	within(b, 17.433003190, HeatKWh(500, 8, 8, 38), 1e-7, 0)
	sum := 0.0
	for i := 0; b.Loop(); i++ {
		sum += HeatKWh(10, 8, 8, 30+float64(i%20))
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "cells/s")
	_ = sum
}
