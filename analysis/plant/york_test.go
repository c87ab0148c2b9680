package plant

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const values = "../../testdata/check-values"

func requireNear(t *testing.T, want, got, tol float64, what string) {
	t.Helper()
	require.Falsef(t, math.IsNaN(got) || !(math.Abs(got-want) <= tol), "%s: got %.17g, want %.17g ± %g", what, got, want, tol)
}

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(values, name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, into))
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

func pearson(t *testing.T) []Point {
	f, err := os.Open(filepath.Join(values, "stats/pearson_york.csv"))
	require.NoError(t, err)
	defer f.Close()
	var points []Point
	for s := bufio.NewScanner(f); s.Scan(); {
		cells := strings.Split(s.Text(), ",")
		if len(cells) != 4 || cells[0] == "x" {
			continue
		}
		points = append(points, Point{X: number(t, cells[0]), Y: number(t, cells[1]),
			SX: 1 / math.Sqrt(number(t, cells[2])), SY: 1 / math.Sqrt(number(t, cells[3]))})
	}
	require.Len(t, points, 10)
	return points
}

// Pearson's data with York's weights (York and others 2004, Table II, values
// with 50 digits in check-values): 1e-9.
func TestYorkPearson(t *testing.T) {
	var want struct{ Exact map[string]string }
	readJSON(t, "stats/pearson_york_expected.json", &want)
	l, err := York(pearson(t))
	require.NoError(t, err)
	for name, got := range map[string]float64{"a": l.Intercept, "b": l.Slope, "sa": l.InterceptSD, "sb": l.SlopeSD, "mswd": l.MSWD, "cov": l.Cov} {
		requireNear(t, number(t, want.Exact[name]), got, 1e-9, name)
	}
}

// The line does not depend on which axis is called x.
func TestYorkSwapped(t *testing.T) {
	points := pearson(t)
	l, err := York(points)
	require.NoError(t, err)
	for i, p := range points {
		points[i] = Point{X: p.Y, Y: p.X, SX: p.SY, SY: p.SX}
	}
	s, err := York(points)
	require.NoError(t, err)
	requireNear(t, 1/l.Slope, s.Slope, 1e-9, "slope")
	requireNear(t, -l.Intercept/l.Slope, s.Intercept, 1e-8, "intercept")
}

type deming struct {
	X, Y  []string
	VarX  string `json:"var_error_x"`
	VarY  string `json:"var_error_y"`
	Exact map[string]string
}

func (d deming) points(t *testing.T, varX, varY float64) []Point {
	points := make([]Point, len(d.X))
	for i := range points {
		points[i] = Point{X: number(t, d.X[i]), Y: number(t, d.Y[i]), SX: math.Sqrt(varX), SY: math.Sqrt(varY)}
	}
	return points
}

// Deming regression (NCSS documentation, chapter 303, example 1) is York's
// line with constant errors; its jackknife standard error too: 1e-10.
func TestYorkIsDeming(t *testing.T) {
	var d deming
	readJSON(t, "stats/deming.json", &d)
	points := d.points(t, number(t, d.VarX), number(t, d.VarY))
	l, err := York(points)
	require.NoError(t, err)
	requireNear(t, number(t, d.Exact["slope"]), l.Slope, 1e-10, "slope")
	requireNear(t, number(t, d.Exact["intercept"]), l.Intercept, 1e-10, "intercept")

	n, mean, rest := float64(len(points)), 0.0, 0.0
	var slopes []float64
	for i := range points {
		left, err := York(append(append([]Point(nil), points[:i]...), points[i+1:]...))
		require.NoError(t, err)
		slopes = append(slopes, n*l.Slope-(n-1)*left.Slope)
		mean += slopes[i] / n
	}
	for _, s := range slopes {
		rest += (s - mean) * (s - mean)
	}
	requireNear(t, number(t, d.Exact["jackknife_se_slope"]), math.Sqrt(rest/(n-1)/n), 1e-10, "jackknife")

	l, err = York(d.points(t, 1, 1))
	require.NoError(t, err)
	requireNear(t, number(t, d.Exact["delta_1_slope"]), l.Slope, 1e-10, "orthogonal slope")
	// Limits: no error in x is the ordinary line, no error in y the inverse.
	l, err = York(d.points(t, 0, 1))
	require.NoError(t, err)
	requireNear(t, 0.86162338477, l.Slope, 1e-11, "ordinary slope")
	l, err = York(d.points(t, 1, 0))
	require.NoError(t, err)
	requireNear(t, 1.04164239953, l.Slope, 1e-11, "inverse slope")
}

// GUM H.3, thermometer calibration, the ordinary line: no error in x, errors
// in y all alike and scaled by the scatter. Check-values: 1e-9.
func TestYorkThermometer(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corr := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	points := make([]Point, len(temp))
	for i := range points {
		points[i] = Point{X: temp[i] - 20, Y: corr[i], SY: 1}
	}
	l, err := York(points)
	require.NoError(t, err)
	s := math.Sqrt(l.MSWD)
	requireNear(t, -0.17120379013135, l.Intercept, 1e-9, "y1")
	requireNear(t, 0.00287759783515995, s*l.InterceptSD, 1e-9, "s(y1)")
	requireNear(t, 0.00218269773988728, l.Slope, 1e-9, "y2")
	requireNear(t, 0.000667938773227832, s*l.SlopeSD, 1e-9, "s(y2)")
	requireNear(t, 0.00349756396350528, s, 1e-9, "s")
	requireNear(t, -0.930429603093446, l.Cov/(l.InterceptSD*l.SlopeSD), 1e-9, "r")
	requireNear(t, -0.149376812732477, l.Intercept+10*l.Slope, 1e-9, "b(30 degC)")
	u := s * math.Sqrt(l.InterceptSD*l.InterceptSD+100*l.SlopeSD*l.SlopeSD+20*l.Cov)
	requireNear(t, 0.00413859575285495, u, 1e-9, "u(b(30 degC))")
}

func TestYorkRefuses(t *testing.T) {
	for name, points := range map[string][]Point{
		"two points":  {{X: 1, Y: 1, SY: 1}, {X: 2, Y: 2, SY: 1}},
		"one x":       {{X: 1, Y: 1, SY: 1}, {X: 1, Y: 2, SY: 1}, {X: 1, Y: 3, SY: 1}},
		"no errors":   {{X: 1, Y: 1}, {X: 2, Y: 2}, {X: 3, Y: 3}},
		"not numbers": {{X: 1, Y: math.NaN(), SY: 1}, {X: 2, Y: 2, SY: 1}, {X: 3, Y: 3, SY: 1}},
	} {
		_, err := York(points)
		require.Error(t, err, name)
	}
}
