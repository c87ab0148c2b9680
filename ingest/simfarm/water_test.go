package simfarm

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// checkValues reads a CSV of testdata/check-values: rows by column name.
func checkValues(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "check-values", filepath.FromSlash(name)))
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment, r.FieldsPerRecord = '#', -1
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, k := range rows[0] {
			m[k] = row[i]
		}
		out = append(out, m)
	}
	require.NotEmpty(t, out)
	return out
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// IAPWS R7-97(2012), Table 5 as printed: nine digits.
func TestLiquidAgainstTable5(t *testing.T) {
	n := 0
	for _, row := range checkValues(t, "water/if97_region1_table5.csv") {
		rho, h := liquid(num(t, row["T_K"]), num(t, row["p_MPa"]))
		want := num(t, row["printed"])
		switch row["quantity"] {
		case "v":
			require.InEpsilon(t, want, 1/rho, 5e-9)
			n++
		case "h":
			require.InEpsilon(t, want, h, 5e-9)
			n++
		}
	}
	require.Equal(t, 6, n)
}

// IF97 at 0.3 MPa (testdata/check-values/water): the tables are linear between
// quarter degrees, worth rho” h²/8 = 1.2e-4 kg/m3 and h” h²/8 = 4e-5 kJ/kg.
func TestTablesAgainstGrid(t *testing.T) {
	n := 0
	for _, row := range checkValues(t, "water/if97_liquid_grid.csv") {
		if row["p_MPa"] != "0.3" || row["rho_kg_m3"] == "" {
			continue
		}
		n++
		c := num(t, row["t_degC"])
		require.InDelta(t, num(t, row["rho_kg_m3"]), rhoAt(c), 2e-6)
		require.InDelta(t, num(t, row["h_kJ_kg"]), hAt(c), 2e-6)
		for _, off := range []float64{0.1, 0.125} {
			rho, h := liquid(273.15+c+off, pipeMPa)
			require.InDelta(t, rho, rhoAt(c+off), 2e-4)
			require.InDelta(t, h, hAt(c+off), 1e-4)
			require.InDelta(t, c+off, tempAt(h), 1e-3)
		}
	}
	require.Equal(t, 101, n)
}

func TestCellsSpecificHeat(t *testing.T) {
	_, cold := liquid(273.15+8, pipeMPa)
	_, hot := liquid(273.15+40, pipeMPa)
	require.InDelta(t, (hot-cold)/32, cpKJPerKgK, 0.0015)
}

// Gnielinski's correlation as tabled in testdata/check-values/heat.
func TestGnielinski(t *testing.T) {
	for _, row := range checkValues(t, "heat/gnielinski.csv") {
		want := num(t, row["Nu"])
		require.InEpsilon(t, want, gnielinski(num(t, row["Re"]), num(t, row["Pr"])), 1e-10)
	}
	require.InDelta(t, laminarNusselt*conductivityWMK/0.026, filmWPerM2K(0.5, 26), 1e-9)
	require.Less(t, filmWPerM2K(2.5, 26), filmWPerM2K(9, 26))
}
