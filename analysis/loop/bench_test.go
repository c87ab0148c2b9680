package loop

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// yearFit is a year by the minute, some 60,000 rows, fitted.
func yearFit(b *testing.B) *Fit {
	y := defaultYard(3)
	y.perDraw, y.longEvery, y.days = 900, 0, 310
	fit := mustRun(b, y.record(), DefaultOptions())
	if fit.Rows < 50000 || !fit.Identified {
		b.Fatal(fit.Rows, fit.Why)
	}
	return fit
}

// drawn counts how often each block is chosen.
func drawn(rng *rand.Rand, blocks int) []int {
	count := make([]int, blocks)
	for range count {
		count[rng.IntN(blocks)]++
	}
	return count
}

// 500 resamples of blocks of days, one Gauss-Newton step each.
func BenchmarkResample500(b *testing.B) {
	fit := yearFit(b)
	var sum float64
	for b.Loop() {
		rng := rand.New(rand.NewPCG(1, 2))
		sum = 0
		for range 500 {
			d := fit.Resample(drawn(rng, len(fit.Blocks)), Errors{})[0] - fit.Theta[0]
			sum += d * d
		}
	}
	own := math.Sqrt(jackknife(fit.Blocks, fit.prior, make([]bool, len(fit.prior))).At(0, 0))
	if boot := math.Sqrt(sum / 500); !(boot/own > 0.5 && boot/own < 1.5) {
		b.Fatalf("bootstrap %g, blocks left out %g", boot, own)
	}
}

// refit is a fit of the rows of blocks chosen so many times each, by passes over
// all rows from the season's parameters.
func (f *fitter) refit(theta, prior []float64, count []int) (out []float64, passes int) {
	n := len(theta)
	out = append(out, theta...)
	a, g, part := mat.NewSymDense(n, nil), make([]float64, n), mat.NewSymDense(n, nil)
	pull := make([]float64, n) // the priors' at the season's fit
	for {
		f.moved()
		f.eval(f.put(f.q, f.free, out), false)
		passes++
		h, u := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for i, p := range prior {
			h.SetSym(i, i, p)
			u.SetVec(i, p*(out[i]-theta[i]))
		}
		for i := range f.p.runs {
			k := f.runBlock[i]
			if k < 0 {
				continue
			}
			f.pick(&f.perRun[i], f.free, a, g)
			part.ScaleSym(float64(count[k]), a)
			h.AddSym(h, part)
			for j := range g {
				u.SetVec(j, u.AtVec(j)+float64(count[k])*g[j])
				if passes == 1 {
					pull[j] += g[j]
				}
			}
		}
		for j, v := range pull {
			u.SetVec(j, u.AtVec(j)-v)
		}
		var c mat.Cholesky
		var x mat.VecDense
		if !c.Factorize(h) || c.SolveVecTo(&x, u) != nil || passes == 20 {
			return nil, passes
		}
		for i := range out {
			out[i] -= x.AtVec(i)
		}
		if math.Abs(x.AtVec(0)) < 1e-5 {
			return out, passes
		}
	}
}

// Full refits of resampled blocks, each by passes over all rows until ln k
// stands; ms/refit times 500 is what a bootstrap of them costs.
func BenchmarkRefit(b *testing.B) {
	fit := yearFit(b)
	f := fit.fitter
	rng := rand.New(rand.NewPCG(1, 2))
	all, passes := 0, 0
	for b.Loop() {
		count := drawn(rng, len(fit.Blocks))
		got, n := f.refit(fit.Theta, fit.prior, count)
		if got == nil {
			b.Fatal("no refit")
		}
		if one := fit.Resample(count, Errors{}); math.Abs(got[0]-one[0]) > 0.02 {
			b.Fatalf("ln k %g by a full refit, %g by one step", got[0], one[0])
		}
		all, passes = all+1, passes+n
	}
	b.ReportMetric(float64(passes)/float64(all), "passes")
	b.ReportMetric(1000*b.Elapsed().Seconds()/float64(all), "ms/refit")
}
