package loop

import (
	"math"
	"testing"
)

func near(t testing.TB, want, got, abs float64, what ...any) {
	t.Helper()
	if !(math.Abs(got-want) <= abs) {
		t.Errorf("%v: got %.10g, want %.10g within %g", what, got, want, abs)
	}
}

// smallYard is a fortnight: enough for rows of every kind.
func smallYard() yard {
	y := defaultYard(5)
	y.days, y.longEvery = 14, 3
	return y
}

// collect walks all runs and returns the model at each known node.
func collect(f *fitter, q Params) map[int]reading {
	f.m.set(q, f.built.ThermalL)
	out := map[int]reading{}
	for _, r := range f.p.runs {
		f.m.follow(r, f.w, func(x *reading) {
			if x.known {
				out[x.node] = *x
			}
		})
	}
	return out
}

// Every derivative against central differences, away from any symmetric point:
// bed moving, offset, still factor, lag, lead and front all on.
func TestDerivatives(t *testing.T) {
	in := smallYard().record()
	o := DefaultOptions()
	p := newPath(&in, o)
	f := newFitter(&in, p, o)
	q := Params{KPerH: 0.27, OffsetK: -1.3, VolumeRatio: 1.06, FrontL: 11, Still: 0.83, DepletionK: -0.8, RecoverH: 7, BedLagH: 0.4, LeadLoss: 0.03, LagS: 37}
	f.m.setLoad(0.3, 7)
	f.m.setFilm(&in, 150, 7)
	base := collect(f, q)
	moved := func(col int, by float64) map[int]reading {
		v := q.vector()
		r := q
		switch col {
		case colLag:
			r.LagS += by
		case colIn:
			for i := range p.in {
				p.in[i] += by
			}
			defer func() {
				for i := range p.in {
					p.in[i] -= by
				}
			}()
		default:
			v[col] += by
			r = q.with(v)
		}
		return collect(f, r)
	}
	names := append(parameterNames[:], "lag", "in")
	for col, name := range names {
		const d = 1e-5
		hi, lo := moved(col, d), moved(col, -d)
		worst, largest, n, drops := 0.0, 0.0, 0, 0
		for i, b := range base {
			h, okH := hi[i]
			l, okL := lo[i]
			if !okH || !okL {
				continue
			}
			n++
			num := (h.model.v - l.model.v) / (2 * d)
			if diff := math.Abs(num - b.model.d[col]); col == colLnR && diff > 1e-4 {
				drops++
			} else {
				worst, largest = max(worst, diff), max(largest, math.Abs(num))
			}
		}
		t.Logf("%-7s %4d nodes, largest %.4g, worst difference %.2g, %d in first drops", name, n, largest, worst, drops)
		// The first drops of a run (see state.lps) and labels that cross a node
		// between the two differences: a few nodes in a hundred.
		if n < 500 || largest == 0 || !(worst <= 1e-4*max(largest, 1)) || drops > n/25 {
			t.Errorf("%s: worst %g of %g over %d nodes, %d in first drops", name, worst, largest, n, drops)
		}
	}
}

// decay's series and its closed form meet; both against math.Expm1.
func TestDecay(t *testing.T) {
	for _, x := range []float64{1e-12, 1e-5, 3e-3, 0.0199999, 0.02, 0.7, 9} {
		e, phi, xd := decay(x)
		near(t, math.Exp(-x), e, 1e-15, "e", x)
		near(t, -math.Expm1(-x)/x, phi, 1e-13, "phi", x)
		near(t, math.Exp(-x)+math.Expm1(-x)/x, xd, 1e-12, "x phi'", x)
	}
}

// A probe of first order after a step, and after a ramp, by the textbook:
// u(1 - e^-t/lag) and a (t - lag (1 - e^-t/lag)).
func TestLagged(t *testing.T) {
	const lag, dt = 40.0, 25.0
	step, ramp := point{}, point{}
	one := point{v: 1}
	g := newGain(dt, lag)
	for i := 1; i <= 6; i++ {
		tS := dt * float64(i)
		step.lag(&one, &one, &g, columns)
		u0, u1 := point{v: tS - dt}, point{v: tS}
		ramp.lag(&u0, &u1, &g, columns)
		near(t, 1-math.Exp(-tS/lag), step.v, 1e-12, "step", tS)
		near(t, tS-lag*(1-math.Exp(-tS/lag)), ramp.v, 1e-10, "ramp", tS)
		// d/dlag of the step: -t/lag² e^-t/lag.
		near(t, -tS/(lag*lag)*math.Exp(-tS/lag), step.d[colLag], 1e-12, "slope", tS)
	}
}

// A front that a Gaussian of known width spreads: water at 10 behind water at
// 40, no exchange with the bed, is 40 - 30 Phi(z/front) at the outlet. (Phi
// from a normal table: Phi(1) = 0.841345, Phi(-0.5) = 0.308538.)
func TestFrontShape(t *testing.T) {
	const rate, volume, front = 6.0, 120.0, 10.0
	in := Input{Pipe: pipeOf(volume)}
	// 40 L/min.. first fill with 40 degC for 60 min, stand 30 min, then 10 degC.
	for m := range 181 {
		c, q := 40.0, rate
		if m >= 60 {
			q = 0
		}
		if m >= 90 {
			c, q = 10, rate
		}
		in.T, in.InC = append(in.T, float64(m)*60), append(in.InC, c)
		in.OutC, in.BedC = append(in.OutC, 20), append(in.BedC, 20)
		if m < 180 {
			in.Flow0, in.Flow1 = append(in.Flow0, q), append(in.Flow1, q)
		}
	}
	in.InC[89] = 40 // still probe
	o := bare()
	got, err := Predict(in, Params{KPerH: 1e-9, VolumeRatio: 1, FrontL: front, Still: 1}, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ z, phi float64 }{{0, 0.5}, {1.2, 0.884930}, {-0.6, 0.274253}, {-1.8, 0.035930}, {6, 1}} {
		i := 90 + int(math.Round((volume+c.z*front)/rate))
		near(t, 40-30*c.phi, got[i], 1e-4, "z", c.z)
	}
}

// Litres are kept: mid-cell nodes carry what the cells held.
func TestFromCellsKeepsLitres(t *testing.T) {
	q := []float64{0, 0, 4, 9, 9, 2, 0, 0}
	in := FromCells(60, q, make([]float64, 8), make([]float64, 8), make([]float64, 8))
	sum := 0.0
	for i := range in.Flow0 {
		sum += (in.Flow0[i] + in.Flow1[i]) / 2
	}
	near(t, 24, sum, 1e-12, "litres")
}

// The label of a node under rising flow: W = q0 t + (q1 - q0)/(2 h) t².
func TestSeeker(t *testing.T) {
	p := &path{t: []float64{0, 10, 30}, w: []float64{0, 15, 15 + 50}, q0: []float64{1, 2, 0}, q1: []float64{2, 3, 0}}
	s := seeker{p, 0, 2}
	for _, c := range []struct{ w, at float64 }{{0, 0}, {1*4 + 0.05*16, 4}, {15, 10}, {15 + 2*7 + 0.025*49, 17}, {65, 30}} {
		i, dt, ok := s.find(c.w)
		if !ok {
			t.Fatal(c)
		}
		near(t, c.at, p.t[i]+dt, 1e-9, "label", c.w)
	}
	if _, _, ok := (&seeker{p, 0, 2}).find(-1); ok {
		t.Error("a label before the start was found")
	}
}

// Holes in the bed: bridged up to the limit, left beyond.
func TestBridge(t *testing.T) {
	nan := math.NaN()
	ts := []float64{0, 60, 120, 180, 240, 300}
	got, made := bridge(ts, []float64{10, nan, nan, 16, nan, nan}, 200)
	near(t, 12, got[1], 1e-12, "inside")
	near(t, 14, got[2], 1e-12, "inside")
	if !made[0] || !made[2] || made[3] || !math.IsNaN(got[4]) {
		t.Errorf("%v %v", got, made)
	}
	if got, _ := bridge(ts, []float64{10, nan, nan, 16, nan, nan}, 100); !math.IsNaN(got[1]) {
		t.Error("a hole longer than the limit was bridged")
	}
}
