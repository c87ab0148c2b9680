package loop

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
)

// schumann is J(x, y): the share that has come out y mean stays after the water,
// behind a wall met x times. Of a Poisson number of stays, each exponential,
//
//	J = sum_n e^-x x^n/n! P(n, y),  P the regularised gamma function, P(0, y) = 1.
func schumann(x, y float64) float64 {
	p := math.Exp(-x)
	sum := p
	for n := 1; n < 400; n++ {
		p *= x / float64(n)
		sum += p * mathext.GammaIncReg(float64(n), y)
	}
	return sum
}

// The published J(x, y) (method, section 5), then the form of a front behind
// walls met 15 to 80 times: Edgeworth's series within 0.025/N of the step
// everywhere, where the normal is 0.016 to 0.037 off.
func TestFrontOfWall(t *testing.T) {
	for _, c := range [][3]float64{{2, 2, 0.603500961}, {1, 3, 0.906136887}, {5, 3, 0.298193396}} {
		near(t, c[2], schumann(c[0], c[1]), 1e-9, c)
	}
	const beta, waterL = 0.2, 300.0
	for _, ntu := range []float64{15, 25, 40, 80} {
		a := wallFronts(waterL, beta, ntu)
		width := math.Sqrt(a.second)
		near(t, math.Sqrt(2/ntu)*beta*waterL, width, 1e-9*width, "width")
		x := a.at(width)
		near(t, 1.5*math.Sqrt(2/ntu), x.skew, 1e-12, "skewness")
		near(t, 6/ntu, x.excess, 1e-12, "excess")
		worst, normal := 0.0, 0.0
		for u := -4.0; u <= 5; u += 0.01 {
			delayL := beta*waterL + u*width
			if delayL <= 0 {
				continue
			}
			exact := schumann(ntu, delayL*ntu/(beta*waterL))
			got, _, _, _, _ := x.response(u)
			worst = math.Max(worst, math.Abs(got-exact))
			normal = math.Max(normal, math.Abs(0.5*math.Erfc(-u/math.Sqrt2)-exact))
		}
		if limit := 0.025 / ntu; worst > limit || normal < 10*worst {
			t.Errorf("met %g times: off by %g of the step, the normal by %g; want at most %g", ntu, worst, normal, limit)
		}
		t.Logf("met %g times: off by %.5f of the step; the normal by %.5f", ntu, worst, normal)
	}
}

// The response's derivatives against small differences.
func TestFrontDerivatives(t *testing.T) {
	a := wallFronts(300, 0.2, 30)
	const d = 1e-5
	for width := 14.0; width < 25; width += 3.5 {
		for u := -4.5; u < 5; u += 0.3 {
			_, _, density, widen, skew := a.at(width).response(u)
			at := func(x form, u float64) float64 { s, _, _, _, _ := x.response(u); return s }
			x := a.at(width)
			near(t, (at(x, u+d)-at(x, u-d))/(2*d), density, 1e-8, "u", u)
			wide, narrow := width*(1+d), width*(1-d)
			near(t, (at(a.at(wide), u*width/wide)-at(a.at(narrow), u*width/narrow))/(2*d), widen, 1e-8, "width", u)
			more, less := x, x
			more.skew, less.skew = x.skew+d, x.skew-d
			near(t, (at(more, u)-at(less, u))/(2*d), skew, 1e-8, "skewness", u)
		}
	}
}

// What a spread front does to a probe of first order once it has passed: the
// mean of exp(delay/lag) over the stays of Poisson and exponential, summed
// numerically: E exp(x S) of n stays is (1 - x stay)^-n.
func TestLeadFront(t *testing.T) {
	l := leadFront{ntu: 3.5, stayL: 0.74, mixL: 1.2}
	const lagS, lps = 20.0, 0.23
	r, mix := l.stayL/(lps*lagS), l.mixL/(lps*lagS)
	want, p := 0.0, math.Exp(-l.ntu)
	for n := range 80 {
		want += p * math.Pow(1-r, -float64(n))
		p *= l.ntu / float64(n+1)
	}
	want *= math.Exp(mix*mix/2 - l.ntu*r)
	m, slope, width := l.lateness(lagS, lps)
	near(t, want, m, 1e-12, "late")
	near(t, math.Sqrt(2*3.5*0.74*0.74+1.2*1.2)/lps, width, 1e-12, "width")
	const d = 1e-4
	up, _, _ := l.lateness(lagS+d, lps)
	down, _, _ := l.lateness(lagS-d, lps)
	near(t, (up-down)/(2*d), slope, 1e-8, "slope")
	if m, slope, width := l.lateness(0, lps); m != 1 || slope != 0 || width != 0 {
		t.Error("a probe without lag is late")
	}
}

// The ramp is the response's integral, by the midpoint rule.
func TestFrontRamp(t *testing.T) {
	x := wallFronts(300, 0.2, 30).at(16)
	const from, n = -9.0, 5000
	for u := -4.0; u <= 5; u += 0.75 {
		_, ramp, _, _, _ := x.response(u)
		sum, h := 0.0, (u-from)/n
		for i := range n {
			share, _, _, _, _ := x.response(from + (float64(i)+0.5)*h)
			sum += h * share
		}
		near(t, sum, ramp, 1e-6, "u", u)
	}
}
