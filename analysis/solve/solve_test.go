package solve

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func near(t testing.TB, want, got, abs float64, what string) {
	t.Helper()
	if !(math.Abs(want-got) <= abs) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, abs)
	}
}

// lineProblem is y = b0 + b1 x.
func lineProblem(x, y []float64) Problem {
	return Problem{Start: []float64{0, 0}, N: len(y), Rows: func(b, r []float64, jac *mat.Dense) {
		for i := range y {
			r[i] = b[0] + b[1]*x[i] - y[i]
			if jac != nil {
				jac.SetRow(i, []float64{1, x[i]})
			}
		}
	}}
}

// A prior on a mean of n values of variance 1 pulls by the ratio of weights:
// (sum y + m/s^2)/(n + 1/s^2), textbook normal-normal update.
func TestPrior(t *testing.T) {
	y := []float64{3, 5, 10}
	p := Problem{Start: []float64{0}, N: 3, Priors: []Prior{{0, 2, 0.5}},
		Rows: func(b, r []float64, jac *mat.Dense) {
			for i := range y {
				r[i] = b[0] - y[i]
				if jac != nil {
					jac.Set(i, 0, 1)
				}
			}
		}}
	for _, q := range []Problem{p, byNormal(p)} {
		res, err := Minimise(q, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		near(t, (18+2*4)/7.0, res.Theta[0], 1e-12, "mean")
		near(t, 1/7.0, res.Inverse.At(0, 0), 1e-12, "variance")
		near(t, 4*math.Pow(26.0/7-2, 2), res.Penalty, 1e-10, "penalty")
	}
}

// Bounds: the free minimum of (b0-1)^2 + (b1+2)^2 lies outside b1 >= 0.5.
func TestBounds(t *testing.T) {
	p := Problem{Start: []float64{9, 9}, N: 2, Low: []float64{-100, 0.5}, High: []float64{100, 100},
		Rows: func(b, r []float64, jac *mat.Dense) {
			r[0], r[1] = b[0]-1, b[1]+2
			if jac != nil {
				jac.SetRow(0, []float64{1, 0})
				jac.SetRow(1, []float64{0, 1})
			}
		}}
	for _, q := range []Problem{p, byNormal(p)} {
		res, err := Minimise(q, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		near(t, 1, res.Theta[0], 1e-9, "free")
		near(t, 0.5, res.Theta[1], 0, "bound")
		if res.Fixed[0] || !res.Fixed[1] {
			t.Errorf("fixed: %v", res.Fixed)
		}
		near(t, 1, res.Inverse.At(0, 0), 1e-9, "variance of the free one")
		near(t, 0, res.Inverse.At(1, 1), 0, "variance of the fixed one")
	}
}

// Ten points on a straight line and one far off: squares are pulled away, the
// robust losses are not.
func TestRobust(t *testing.T) {
	var x, y []float64
	for i := range 10 {
		x, y = append(x, float64(i)), append(y, 1+2*float64(i))
	}
	x, y = append(x, 9.5), append(y, 500)
	o := DefaultOptions()
	plain, _ := Minimise(lineProblem(x, y), o)
	if math.Abs(plain.Theta[1]-2) < 5 {
		t.Errorf("squares should be pulled away: %v", plain.Theta)
	}
	for name, loss := range map[string]Loss{"huber": Huber(0.01), "soft": SoftL1(0.01)} {
		o.Loss = loss
		res, err := Minimise(lineProblem(x, y), o)
		if err != nil || !res.Status.Converged() {
			t.Fatal(name, err, res.Status)
		}
		near(t, 1, res.Theta[0], 0.05, name)
		near(t, 2, res.Theta[1], 0.02, name)
	}
}

// The weight of a loss is loss'(r)/(2 r), by central difference.
func TestLossWeight(t *testing.T) {
	for name, loss := range map[string]Loss{"huber": Huber(1.3), "soft": SoftL1(0.7)} {
		for _, r := range []float64{-4.1, -0.3, 0.9, 2.2} {
			const d = 1e-6
			hi, _ := loss(r + d)
			lo, _ := loss(r - d)
			_, w := loss(r)
			near(t, (hi-lo)/(2*d)/(2*r), w, 1e-8, name)
		}
	}
}

func TestBadProblems(t *testing.T) {
	if _, err := Minimise(Problem{}, DefaultOptions()); err == nil {
		t.Error("empty problem")
	}
	if _, err := Minimise(lineProblem([]float64{1}, []float64{math.NaN()}), DefaultOptions()); !errors.Is(err, ErrNotFinite) {
		t.Errorf("NaN data: %v", err)
	}
	o := DefaultOptions()
	o.Damping = 0
	if _, err := Minimise(lineProblem([]float64{1, 2}, []float64{1, 2}), o); err == nil {
		t.Error("damping 0")
	}
	// One point cannot tell slope from intercept: no panic, no covariance.
	for _, q := range []Problem{lineProblem([]float64{2}, []float64{7}), byNormal(lineProblem([]float64{2}, []float64{7}))} {
		res, err := Minimise(q, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		near(t, 7, res.Theta[0]+2*res.Theta[1], 1e-6, "fit through one point")
		if res.Inverse != nil && res.Inverse.At(0, 0) < 1e8 {
			t.Errorf("inverse of a singular system: %v", mat.Formatted(res.Inverse))
		}
	}
	if _, err := Linear(mat.NewDense(3, 2, []float64{1, 2, 2, 4, 3, 6}), []float64{1, 2, 4}); err == nil {
		t.Error("dependent columns should be refused")
	}
}

// A wrong Jacobian must not be called convergence.
func TestWrongJacobianStalls(t *testing.T) {
	p := lineProblem([]float64{1, 2, 3}, []float64{2, 4, 7})
	good := p.Rows
	p.Rows = func(b, r []float64, jac *mat.Dense) {
		good(b, r, jac)
		if jac != nil {
			jac.Scale(-1, jac)
		}
	}
	res, err := Minimise(p, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	if res.Status.Converged() {
		t.Errorf("ended as %q", res.Status)
	}
}
