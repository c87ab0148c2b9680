package pipe

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// table reads a check file; its comment lines name the source.
func table(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("../../testdata/check-values/heat/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	cells, err := r.ReadAll()
	require.NoError(t, err)
	var out [][]float64
	for _, row := range cells[1:] {
		var v []float64
		for _, c := range row {
			x, err := strconv.ParseFloat(c, 64)
			require.NoError(t, err)
			v = append(v, x)
		}
		out = append(out, v)
	}
	require.NotEmpty(t, out)
	return out
}

// Gnielinski with Petukhov's friction factor, by mpmath and the library ht 1.0.7.
func TestGnielinski(t *testing.T) {
	for _, r := range table(t, "gnielinski.csv") {
		assert.InEpsilon(t, r[2], Friction(r[0]), 1e-10)
		assert.InEpsilon(t, r[3], Nusselt(r[0], r[1]), 1e-10)
	}
}

// Incropera eq. 8.55; Shah and London 1978. 64/Re is exact for laminar flow.
func TestLaminar(t *testing.T) {
	assert.Equal(t, 3.66, Nusselt(1200, 7))
	assert.InEpsilon(t, 0.032, Friction(2000), 1e-12)
	for _, re := range []float64{LaminarRe, TurbulentRe} {
		assert.InEpsilon(t, Nusselt(re-1e-6, 7), Nusselt(re+1e-6, 7), 1e-6, "no step")
		assert.InEpsilon(t, Friction(re-1e-6), Friction(re+1e-6), 1e-6, "no step")
	}
}

// One pipe below a surface, by mpmath and ht 1.0.7.
func TestShapeOfOnePipe(t *testing.T) {
	for _, r := range table(t, "shape_factor_buried_pipe.csv") {
		assert.InEpsilon(t, r[2], ShapePerM(r[0]*1000, r[1]), 1e-12)
	}
	// Holman, 10th ed., example 3-1: D 0.15 m, L 4 m, z 0.2 m, 75 and 5 degC, k 0.8.
	assert.InDelta(t, 15.35, 4*ShapePerM(150, 0.2), 0.01)
	assert.InDelta(t, 859.6, 0.8*4*ShapePerM(150, 0.2)*70, 0.4)
	// Cengel, 2nd ed., example 3-13 (from memory), by its form for deep pipes.
	assert.InDelta(t, 3963, 0.9*30*ShapePerM(100, 0.5)*70, 6)
	assert.True(t, math.IsNaN(ShapePerM(32, 0.016)), "a pipe that breaks the surface")
}

// A row of pipes far apart is so many single pipes, and one close together a plate
// of thickness z, of which each pipe has a breadth s: S/L = s/(z - (s/2 pi) ln(pi D/s)).
func TestShapeOfARow(t *testing.T) {
	assert.InEpsilon(t, ShapePerM(32, 0.2), RowShapePerM(32, 0.2, 50), 3e-3)
	s, z, d := 0.1, 2.0, 0.03
	assert.InEpsilon(t, s/(z-s/(2*math.Pi)*math.Log(math.Pi*d/s)), RowShapePerM(d*1000, z, s), 1e-9)
	assert.False(t, math.IsInf(RowShapePerM(30, 500, 0.1), 0))
}

// The series of film, wall and concrete in worked_examples.json
// (series_resistance_example), computed there with mpmath.
func TestSeries(t *testing.T) {
	assert.InDelta(t, 0.0531304529853, WallMKPerW(28, 2, 0.4), 1e-10)
	assert.InDelta(t, 0.177176817428, 1/(2.0*ShapePerM(32, 0.075)), 1e-10)
}

// Domain figures for a 20 x 2 pipe in litter out to 0.15 m (own arithmetic): 0.27,
// 0.66, 1.05, 1.61 W/(m K) for 0.12, 0.3, 0.5, 0.81 W/(m K).
func TestOrderOfMagnitude(t *testing.T) {
	for _, c := range []struct{ lambda, want float64 }{{0.12, 0.27}, {0.3, 0.66}, {0.5, 1.05}, {0.81, 1.61}} {
		l := Loop{LengthM: 1, BoreMM: 16, WallMM: 2, Wall: Range{0.4, 0.4}, SpacingM: 0.3, FlowLMin: 10, WaterC: 25}
		got := l.Expect(Range{c.lambda, c.lambda}).UAWPerK.Low
		assert.InDelta(t, c.want, got, 0.04, "%v", c.lambda)
		assert.InEpsilon(t, c.lambda, l.MediumWPerMK(got), 1e-9, "turned round")
	}
}

// More litter conductivity, more length, less wall: more passes. And nothing that
// is not known becomes a number.
func TestDirections(t *testing.T) {
	l := Loop{LengthM: 400, BoreMM: 26, WallMM: 3, Wall: Range{0.33, 0.5}, BedAreaM2: 300, Branches: 1, FlowLMin: 15, WaterC: 25}
	e := l.Expect(LitterWPerMK())
	assert.Less(t, e.UAWPerK.Low, e.UAWPerK.High)
	assert.Less(t, e.UAWPerK.High, e.BareUAWPerK)
	assert.True(t, math.IsInf(l.MediumWPerMK(e.BareUAWPerK*1.01), 1))
	thin := l
	thin.WallMM = 2
	assert.Greater(t, thin.Expect(LitterWPerMK()).BareUAWPerK, e.BareUAWPerK)
	l.BedAreaM2 = 0
	assert.True(t, math.IsNaN(l.Expect(LitterWPerMK()).UAWPerK.Low))
	_, ok := WallWPerMK("lead")
	assert.False(t, ok)
}

// Hagen-Poiseuille, dp = 128 mu L V/(pi D^4), is exact for laminar flow.
func TestDropOfLaminarFlow(t *testing.T) {
	mu, d, v := 1001.6e-6, 0.026, 1.0/60000
	assert.InEpsilon(t, 128*mu*100*v/(math.Pi*math.Pow(d, 4))/1e5, DropBar(1, 26, 100, 20), 1e-3)
	assert.Zero(t, DropBar(0, 26, 100, 20))
	assert.InEpsilon(t, 2*DropBar(20, 26, 100, 20), DropBar(20, 26, 200, 20), 1e-12)
}
