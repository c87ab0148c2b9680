package solve

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

const nist = "../../testdata/check-values/stats/nist/"

// certified is one data set of the NIST StRD files.
type certified struct {
	Name        string
	Start1      []string
	Start2      []string
	Certified   []string
	CertifiedSD []string `json:"certified_sd"`
	RSS         string
	ResidualSD  string `json:"residual_sd"`
}

func readCertified(t testing.TB, file string) map[string]certified {
	t.Helper()
	raw, err := os.ReadFile(nist + file)
	if err != nil {
		t.Fatal(err)
	}
	var all struct{ Datasets []certified }
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	out := map[string]certified{}
	for _, c := range all.Datasets {
		out[c.Name] = c
	}
	return out
}

func readData(t testing.TB, name string) (y []float64, x [][]float64) {
	t.Helper()
	f, err := os.Open(nist + name + ".csv")
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
	for _, cells := range all[1:] {
		v := numbers(t, cells)
		y, x = append(y, v[0]), append(x, v[1:])
	}
	return y, x
}

func numbers(t testing.TB, s []string) []float64 {
	t.Helper()
	out := make([]float64, len(s))
	for i := range s {
		v, err := strconv.ParseFloat(strings.TrimSpace(s[i]), 64)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// digits is the LRE: -log10 of the largest relative error, at most 11 for the
// 11 certified digits.
func digits(got, want []float64) float64 {
	worst := 1e-11
	for i := range want {
		if e := math.Abs(got[i]-want[i]) / math.Abs(want[i]); !(e <= worst) {
			worst = e
		}
	}
	if math.IsNaN(worst) || math.IsInf(worst, 0) {
		return math.Inf(-1)
	}
	return -math.Log10(worst)
}

func TestDigits(t *testing.T) {
	for _, c := range []struct{ got, want, lre float64 }{
		{1, 1, 11}, {1.001, 1, 3}, {-1, 1, math.Log10(0.5)}, {math.NaN(), 1, math.Inf(-1)}, {math.Inf(1), 1, math.Inf(-1)},
	} {
		if d := digits([]float64{2, c.got}, []float64{2, c.want}); !(math.Abs(d-c.lre) < 1e-9 || d == c.lre) {
			t.Errorf("%v: %g", c, d)
		}
	}
}

// model is value and derivatives at x.
type model func(b []float64, x float64, d []float64) float64

func rise(b []float64, x float64, d []float64) float64 { // b1*(1-exp(-b2*x))
	e := math.Exp(-b[1] * x)
	d[0], d[1] = 1-e, b[0]*x*e
	return b[0] * (1 - e)
}

func chwirut(b []float64, x float64, d []float64) float64 { // exp(-b1*x)/(b2+b3*x)
	q := b[1] + b[2]*x
	v := math.Exp(-b[0]*x) / q
	d[0], d[1], d[2] = -x*v, -v/q, -x*v/q
	return v
}

func lanczos(b []float64, x float64, d []float64) float64 { // sum of three b*exp(-b'*x)
	v := 0.0
	for i := 0; i < 6; i += 2 {
		e := math.Exp(-b[i+1] * x)
		d[i], d[i+1] = e, -b[i]*x*e
		v += b[i] * e
	}
	return v
}

func mgh17(b []float64, x float64, d []float64) float64 { // b1+b2*exp(-x*b4)+b3*exp(-x*b5)
	e, f := math.Exp(-x*b[3]), math.Exp(-x*b[4])
	d[0], d[1], d[2], d[3], d[4] = 1, e, f, -b[1]*x*e, -b[2]*x*f
	return b[0] + b[1]*e + b[2]*f
}

func thurber(b []float64, x float64, d []float64) float64 { // cubic over cubic
	p := b[0] + x*(b[1]+x*(b[2]+x*b[3]))
	q := 1 + x*(b[4]+x*(b[5]+x*b[6]))
	for i, z := 0, 1.0; i < 4; i, z = i+1, z*x {
		d[i] = z / q
		if i > 0 {
			d[3+i] = -p * z / (q * q)
		}
	}
	return p / q
}

func danwood(b []float64, x float64, d []float64) float64 { // b1*x**b2
	p := math.Pow(x, b[1])
	d[0], d[1] = p, b[0]*p*math.Log(x)
	return b[0] * p
}

func rat42(b []float64, x float64, d []float64) float64 { // b1/(1+exp(b2-b3*x))
	e := math.Exp(b[1] - b[2]*x)
	q := 1 + e
	d[0], d[1], d[2] = 1/q, -b[0]*e/(q*q), b[0]*x*e/(q*q)
	return b[0] / q
}

func mgh10(b []float64, x float64, d []float64) float64 { // b1*exp(b2/(x+b3))
	z := x + b[2]
	e := math.Exp(b[1] / z)
	d[0], d[1], d[2] = e, b[0]*e/z, -b[0]*e*b[1]/(z*z)
	return b[0] * e
}

// nistSets: wanted digits of the parameters from start 1 and start 2; 0 = for
// information.
var nistSets = []struct {
	name   string
	f      model
	w1, w2 float64
}{
	{"Misra1a", rise, 6, 6}, {"Chwirut1", chwirut, 6, 6}, {"Chwirut2", chwirut, 6, 6}, {"DanWood", danwood, 6, 6},
	{"Lanczos3", lanczos, 4, 4}, {"MGH17", mgh17, 0, 4},
	{"BoxBOD", rise, 0, 0}, {"Thurber", thurber, 0, 0}, {"Rat42", rat42, 0, 0}, {"MGH10", mgh10, 0, 0},
}

func nistProblem(f model, y []float64, x [][]float64, start []float64) Problem {
	row := make([]float64, len(start))
	return Problem{Start: start, N: len(y), Rows: func(b, r []float64, jac *mat.Dense) {
		for i := range y {
			r[i] = f(b, x[i][0], row) - y[i]
			if jac != nil {
				jac.SetRow(i, row)
			}
		}
	}}
}

// byNormal is the same problem handed over as normal equations.
func byNormal(p Problem) Problem {
	q := Problem{Start: p.Start, Low: p.Low, High: p.High, Priors: p.Priors}
	r, jac := make([]float64, p.N), mat.NewDense(p.N, len(p.Start), nil)
	q.Normal = func(b []float64, a *mat.SymDense, g []float64) float64 {
		p.Rows(b, r, jac)
		if a != nil {
			a.SymOuterK(1, jac.T())
			mat.NewVecDense(len(g), g).MulVec(jac.T(), mat.NewVecDense(p.N, r))
		}
		return mat.Dot(mat.NewVecDense(p.N, r), mat.NewVecDense(p.N, r))
	}
	return q
}

// NIST StRD nonlinear regression, certified to 11 digits.
func TestNISTNonlinear(t *testing.T) {
	cert := readCertified(t, "nist_nonlinear_certified.json")
	t.Logf("%-9s %-7s %7s %7s %7s %5s %s", "set", "", "digits", "sd", "rss", "evals", "ended")
	for _, s := range nistSets {
		c := cert[s.name]
		y, x := readData(t, s.name)
		for k, start := range [][]string{c.Start1, c.Start2} {
			for form, p := range map[string]Problem{"rows": nistProblem(s.f, y, x, numbers(t, start)),
				"normal": byNormal(nistProblem(s.f, y, x, numbers(t, start)))} {
				res, err := Minimise(p, DefaultOptions())
				if err != nil {
					t.Fatal(err)
				}
				want := []float64{s.w1, s.w2}[k]
				d := digits(res.Theta, numbers(t, c.Certified))
				sd := digits(res.SD(len(y)), numbers(t, c.CertifiedSD))
				rss := digits([]float64{res.Cost}, numbers(t, []string{c.RSS}))
				t.Logf("%-9s %d %-6s %6.1f %6.1f %6.1f %5d %s", s.name, k+1, form, d, sd, rss, res.Evaluations, res.Status)
				if form == "normal" && s.name == "Lanczos3" {
					continue // condition 1e10 of J'J: for information
				}
				if want > 0 && (!(d >= want) || !(sd >= want-1) || !res.Status.Converged()) {
					t.Errorf("%s from start %d by %s: %.1f digits, sd %.1f, %s; want %g", s.name, k+1, form, d, sd, res.Status, want)
				}
			}
		}
	}
}

// NIST StRD linear regression, certified to 15 digits; tolerances as the file
// states (Longley 1e-9 by QR).
func TestNISTLinear(t *testing.T) {
	cert := readCertified(t, "nist_linear_certified.json")
	for name, tol := range map[string]float64{"Norris": 1e-10, "NoInt1": 1e-10, "Longley": 1e-9} {
		c := cert[name]
		y, x := readData(t, name)
		var a *mat.Dense
		for i := range x {
			row := x[i]
			if name != "NoInt1" {
				row = append([]float64{1}, row...)
			}
			if a == nil {
				a = mat.NewDense(len(y), len(row), nil)
			}
			a.SetRow(i, row)
		}
		l, err := Linear(a, y)
		if err != nil {
			t.Fatal(err)
		}
		for what, v := range map[string][2][]float64{"coef": {l.Coef, numbers(t, c.Certified)},
			"sd": {l.SD, numbers(t, c.CertifiedSD)}, "residual sd": {{l.ResidualSD}, numbers(t, []string{c.ResidualSD})}} {
			d := digits(v[0], v[1])
			t.Logf("%s %s: %.1f digits", name, what, d)
			if !(d >= -math.Log10(tol)) {
				t.Errorf("%s %s: %.2f digits, want %g", name, what, d, tol)
			}
		}
	}
}
