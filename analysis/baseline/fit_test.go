package baseline

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

const values = "../../testdata/check-values/"

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	raw, err := os.ReadFile(values + name)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, into))
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// nist reads a linear set: y first; constant: a column of ones is put before x.
func nist(t *testing.T, name string, constant bool) Rows {
	t.Helper()
	f, err := os.Open(values + "stats/nist/" + name + ".csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	require.NoError(t, err)
	rows := Rows{Names: all[0][1:], Constant: -1}
	if constant {
		rows.Names, rows.Constant = append([]string{"constant"}, rows.Names...), 0
	}
	for i, cells := range all[1:] {
		var x []float64
		if constant {
			x = append(x, 1)
		}
		for _, c := range cells[1:] {
			x = append(x, number(t, c))
		}
		rows.Day, rows.Y, rows.X = append(rows.Day, i), append(rows.Y, number(t, cells[0])), append(rows.X, x)
	}
	return rows
}

// bare is a fit whose days are not related, whatever the residuals look like: the
// published sets are no series in time.
func bare(t *testing.T, rows Rows) *Model {
	t.Helper()
	opt := DefaultOptions()
	opt.LeastPerTerm, opt.LeastDays, opt.LeastSpread, opt.MostShared, opt.MostRho = 2, 3, 0, 1, 0
	m, why := Fit(rows, opt)
	require.Empty(t, why)
	return m
}

// NIST StRD linear sets Norris, NoInt1, Longley: coefficients, their standard
// deviations, the residuals' and R² to the certified digits; tolerances as
// testdata/check-values states them (1e-10; Longley 1e-9).
func TestNISTLinear(t *testing.T) {
	var file struct {
		Datasets []struct {
			Name       string
			Certified  []string
			SD         []string `json:"certified_sd"`
			ResidualSD string   `json:"residual_sd"`
			R2         string   `json:"r_squared"`
		}
	}
	readJSON(t, "stats/nist/nist_linear_certified.json", &file)
	require.Len(t, file.Datasets, 3)
	for _, d := range file.Datasets {
		tol := 1e-10
		if d.Name == "Longley" {
			tol = 1e-9
		}
		m := bare(t, nist(t, d.Name, d.Name != "NoInt1"))
		for j, want := range d.Certified {
			require.InEpsilon(t, number(t, want), m.Coef[j], tol, "%s b%d", d.Name, j)
			require.InEpsilon(t, number(t, d.SD[j]), m.SD[j], tol, "%s sd of b%d", d.Name, j)
		}
		require.InEpsilon(t, number(t, d.ResidualSD), m.RMSE, tol, d.Name)
		if d.Name != "NoInt1" { // there NIST's R² is about 0
			require.InEpsilon(t, number(t, d.R2), m.R2, tol, d.Name)
		}
	}
}

// The calibration line of a thermometer (JCGM 100:2008, H.3): the standard
// uncertainty of the correction at 30 °C is that of the expectation. The interval
// of a single reading there is worked out by hand from the printed s and u:
// t(9; 97.5 %) = 2.262157 (Student's table), 2.262157 · √(0.0035² + 0.0041²).
func TestPredictionAtAPoint(t *testing.T) {
	readC := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	byK := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	rows := Rows{Names: []string{"constant", "reading"}, Constant: 0}
	for i, c := range readC {
		rows.Day, rows.Y, rows.X = append(rows.Day, i), append(rows.Y, byK[i]), append(rows.X, []float64{1, c - 20})
	}
	m := bare(t, rows)
	require.InDelta(t, -0.1712, m.Coef[0], 5e-5)
	require.InDelta(t, 0.00218, m.Coef[1], 5e-6)
	require.InDelta(t, 0.0029, m.SD[0], 5e-5)
	require.InDelta(t, 0.00067, m.SD[1], 5e-6)
	require.InDelta(t, 0.0035, m.RMSE, 5e-5)
	at := [][]float64{{1, 10}}
	total := m.Total(at, []int{500}, nil)
	require.InDelta(t, -0.1494, total.Value, 5e-5)
	require.InDelta(t, 0.0041, total.ModelHalf/m.T, 5e-5)
	low, value, high := m.Point(at[0])
	require.Equal(t, total.Value, value)
	require.InDelta(t, 2.262157*math.Hypot(0.0035, 0.0041), (high-low)/2, 2.262157*1e-4)
	// The form in the books, with x̄ and S_xx.
	var mean, sxx float64
	for _, x := range rows.X {
		mean += x[1] / 11
	}
	for _, x := range rows.X {
		sxx += (x[1] - mean) * (x[1] - mean)
	}
	want := m.T * m.RMSE * math.Sqrt(1+1.0/11+(10-mean)*(10-mean)/sxx)
	require.InEpsilon(t, want, (high-low)/2, 1e-10)
	require.InEpsilon(t, want, (total.High-total.Low)/2, 1e-10)
}

// CV(RMSE), NMBE and the residuals' lag-one correlation of the first worked
// example of testdata/check-values/trade, the short form of the second.
func TestGuideline14Examples(t *testing.T) {
	var file struct {
		One struct {
			Y, YHat []float64
			Results map[string]float64
		} `json:"worked_example_1"`
		Two struct {
			Inputs, Results map[string]float64
		} `json:"worked_example_2"`
	}
	readJSON(t, "trade/guideline14_formulas_and_example.json", &file)
	one := file.One
	m := &Model{Rows: Rows{Y: one.Y}, N: len(one.Y), Coef: []float64{1, 0}}
	rss := 0.0
	for i, y := range one.YHat {
		m.X, m.Day = append(m.X, []float64{y, 0}), append(m.Day, i)
		rss += (one.Y[i] - y) * (one.Y[i] - y)
	}
	m.quality(rss)
	require.InEpsilon(t, one.Results["rmse"], m.RMSE, 1e-9)
	require.InEpsilon(t, one.Results["cv_rmse_percent"], 100*m.CVRMSE, 1e-9)
	require.InEpsilon(t, one.Results["nmbe_percent"], 100*m.NMBE, 1e-9)
	require.InEpsilon(t, one.Results["residual_lag1_uncentred"], m.lag1(m.Residuals()), 1e-9)
	in, out := file.Two.Inputs, file.Two.Results
	require.InEpsilon(t, out["FSU_correlated"], quick(out["t"], in["CV"], in["n"], out["n_effective"], in["m"])/in["F"], 1e-9)
}

// In an exact line nothing is in doubt, and a day's part in a total is that by
// which the total moves.
func TestExactLine(t *testing.T) {
	rows := Rows{Names: []string{"constant", "milk"}, Constant: 0}
	for i := range 14 {
		milk := 900 + 50*math.Sin(float64(3*i))
		rows.Day, rows.Y, rows.X = append(rows.Day, i), append(rows.Y, 4+0.03*milk), append(rows.X, []float64{1, milk})
	}
	m, why := Fit(rows, DefaultOptions())
	require.Empty(t, why)
	require.InDelta(t, 4, m.Coef[0], 1e-9)
	require.InDelta(t, 0.03, m.Coef[1], 1e-12)
	x, day := [][]float64{{1, 930}, {1, 870}, {1, 955}}, []int{40, 41, 42}
	total := m.Total(x, day, []float64{1, 2, 0.5})
	require.InDelta(t, 4*3.5+0.03*(930+2*870+0.5*955), total.Value, 1e-9)
	require.InDelta(t, 0, total.High-total.Low, 1e-6)
	sum := 0.0
	for i, part := range total.OfDay {
		sum += part * rows.Y[i]
	}
	require.InDelta(t, total.Value, sum, 1e-9)
	rows.Y[5]++
	moved, _ := Fit(rows, DefaultOptions())
	require.InDelta(t, total.OfDay[5], moved.Total(x, day, []float64{1, 2, 0.5}).Value-total.Value, 1e-9)
}

// The covariance of a sum of related days in one pass is the double sum.
func TestScatterIsTheDoubleSum(t *testing.T) {
	w, day := []float64{1, 2, 0.5, 3, 1}, []int{3, 4, 7, 8, 20}
	for _, rho := range []float64{0, 0.4, 0.9} {
		want := 0.0
		for i := range w {
			for k := range w {
				want += w[i] * w[k] * math.Pow(rho, math.Abs(float64(day[i]-day[k])))
			}
		}
		require.InEpsilon(t, want, scatter(w, day, rho), 1e-12)
	}
}

func TestThinData(t *testing.T) {
	make := func(n int, x func(i int) float64) Rows {
		r := Rows{Names: []string{"constant", "milk"}, Constant: 0}
		for i := range n {
			r.Day, r.Y, r.X = append(r.Day, i), append(r.Y, 30+math.Sin(float64(5*i))), append(r.X, []float64{1, x(i)})
		}
		return r
	}
	_, why := Fit(make(7, func(i int) float64 { return float64(i * i) }), DefaultOptions())
	require.Equal(t, "7 days can be used, and 10 are needed for 2 coefficients", why)
	_, why = Fit(make(20, func(i int) float64 { return 800 + 0.1*float64(i%3) }), DefaultOptions())
	require.Contains(t, why, "milk was between 800 and 800.2 all the time")
	two := make(20, func(i int) float64 { return float64(i % 7) })
	two.Names = append(two.Names, "heat")
	for i := range two.X {
		two.X[i] = append(two.X[i], 3*two.X[i][1]+1)
	}
	_, why = Fit(two, DefaultOptions())
	require.Contains(t, why, "can't be told apart")
}

func TestOutside(t *testing.T) {
	rows := Rows{Names: []string{"constant", "feed"}, Constant: 0}
	for i := range 12 {
		rows.Day, rows.Y = append(rows.Day, i), append(rows.Y, 30-float64(i%4))
		rows.X = append(rows.X, []float64{1.1, 1.1 * (8 + float64(i%4))}) // a day of 1.1: the feed is 8 to 11
	}
	m, why := Fit(rows, DefaultOptions())
	require.Empty(t, why)
	require.InDelta(t, 8, m.Ranges[1].Low, 1e-12)
	require.InDelta(t, 11, m.Ranges[1].High, 1e-12)
	require.Empty(t, m.Outside([][]float64{{1, 9}, {1, 11}}, 1e-9))
	out := m.Outside([][]float64{{1, 9}, {1, 14}, {1, 7}, {1, 11.1}}, 0.1)
	require.Len(t, out, 1)
	require.Equal(t, 2, out[0].Days)
	require.InDelta(t, 1, out[0].MostBeyond, 1e-9)
	require.InDelta(t, 0.5, out[0].Share, 1e-12)
	require.InDelta(t, 7, out[0].Lowest, 1e-12)
}

func TestOptions(t *testing.T) {
	require.NoError(t, DefaultOptions().Validate())
	o := DefaultOptions()
	o.LeastSpread = -1
	require.ErrorContains(t, o.Validate(), "LeastSpread")
}
