package match

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Two probes with sd a and b that read d apart, give or take s: by hand, the
// difference has the variance 1/(1/(a²+b²) + 1/s²), and is d shrunk by
// (a²+b²)/(a²+b²+s²), parted by a² to b².
func TestPairByHand(t *testing.T) {
	const a, b, d, half = 0.5, 0.25, 0.3, 0.1
	s := half / z95
	j, err := Join([]float64{a, b}, []Comparison{Stated([]int{0, 1}, d, half)})
	require.NoError(t, err)
	all := a*a + b*b
	require.InDelta(t, math.Sqrt(1/(1/all+1/(s*s))), j.DifferenceSD(0, 1), 1e-12)
	require.InDelta(t, d*all/(all+s*s), j.MeanK[0]-j.MeanK[1], 1e-12)
	require.InDelta(t, -a*a/(b*b), j.MeanK[0]/j.MeanK[1], 1e-12)
	// As s goes to 0 both have the error that two measurements of one would: the
	// harmonic sum of the variances.
	j, err = Join([]float64{a, b}, []Comparison{Stated([]int{0, 1}, 0, 1e-9)})
	require.NoError(t, err)
	require.InDelta(t, math.Sqrt(1/(1/(a*a)+1/(b*b))), j.SD(0), 1e-9)
	require.InDelta(t, j.SD(0), j.SD(1), 1e-9)
}

// All errors drawn, and the comparison made: what is left after the correction
// has the covariance that Join says, and no mean.
func TestJoinAgainstDraws(t *testing.T) {
	sd := []float64{0.4, 0.2, 0.3, 0.5}
	within := 0.15
	rng := rand.New(rand.NewPCG(7, 11))
	const n = 40_000
	rest := mat.NewDense(n, len(sd), nil)
	var j Joint
	for r := range n {
		e := make([]float64, len(sd))
		for i := range e {
			e[i] = sd[i] * rng.NormFloat64()
		}
		// Three in one bucket, each read with a noise of its own.
		read := [3]float64{}
		for i := range read {
			read[i] = e[i] + within/z95/math.Sqrt2*rng.NormFloat64()
		}
		c := Comparison{Probes: []int{0, 1, 2}, OffsetK: []float64{0, read[0] - read[1], read[0] - read[2]}, HalfK: []float64{0, within, within}}
		// And later the third and the fourth.
		d := Stated([]int{2, 3}, e[2]-e[3]+0.05*rng.NormFloat64(), 0.05*z95)
		var err error
		j, err = Join(sd, []Comparison{c, d})
		require.NoError(t, err)
		for i := range e {
			rest.Set(r, i, e[i]-j.MeanK[i])
		}
	}
	var got mat.SymDense
	stat.CovarianceMatrix(&got, rest, nil)
	for i := range sd {
		require.InDelta(t, 0, stat.Mean(mat.Col(nil, i, rest), nil), 4*j.SD(i)/math.Sqrt(n))
		for k := range sd {
			// The standard error of a covariance is about √(v_i v_k + c²)/√n.
			require.InDelta(t, j.Cov.At(i, k), got.At(i, k), 6*j.SD(i)*j.SD(k)/math.Sqrt(n), "%d %d", i, k)
		}
	}
	require.Less(t, j.DifferenceSD(0, 1), 0.6*math.Hypot(sd[0], sd[1]))
}

func TestFactorsMakeTheCovariance(t *testing.T) {
	for _, c := range [][]Comparison{
		{Stated([]int{0, 1}, 0.1, 0.05)},
		{Stated([]int{0, 1, 2, 3}, 0, 0.1)},
		{Stated([]int{0, 2}, 0, 0), Stated([]int{2, 1}, 0.2, 0.3)},
	} {
		j, err := Join([]float64{0.4, 0.2, 0.3, 0.5}, c)
		require.NoError(t, err)
		sum := mat.NewDense(4, 4, nil)
		for _, f := range j.Factors() {
			w := mat.NewVecDense(4, f.Weights)
			var o mat.Dense
			o.Outer(f.SDK*f.SDK, w, w)
			sum.Add(sum, &o)
		}
		for i := range 4 {
			for k := range 4 {
				require.InDelta(t, j.Cov.At(i, k), sum.At(i, k), 1e-5)
			}
		}
	}
	j, err := Join([]float64{0.4, 0.4}, []Comparison{Stated([]int{0, 1}, 0, 0.1)})
	require.NoError(t, err)
	f := j.Factors()
	require.Len(t, f, 2)
	require.InDeltaSlice(t, []float64{1, 1}, f[0].Weights, 1e-12)
	require.InDeltaSlice(t, []float64{0.5, -0.5}, f[1].Weights, 1e-12)
	require.InDelta(t, j.DifferenceSD(0, 1), f[1].SDK, 1e-12)
}

func TestOrderOfComparisonsDoesNotMatter(t *testing.T) {
	a, b := Stated([]int{0, 1}, 0.1, 0.05), Stated([]int{1, 2}, -0.2, 0.1)
	one, err := Join([]float64{0.4, 0.2, 0.3}, []Comparison{a, b})
	require.NoError(t, err)
	two, err := Join([]float64{0.4, 0.2, 0.3}, []Comparison{b, a})
	require.NoError(t, err)
	for i := range 3 {
		require.InDelta(t, one.MeanK[i], two.MeanK[i], 1e-12)
		for k := range 3 {
			require.InDelta(t, one.Cov.At(i, k), two.Cov.At(i, k), 1e-12)
		}
	}
	with, err := one.With(Stated([]int{0, 2}, 0, 1e6))
	require.NoError(t, err)
	require.InDelta(t, one.SD(0), with.SD(0), 1e-9, "a comparison that says nothing changes nothing")
	require.InDelta(t, 0.1*0.4/math.Hypot(0.1, 0.4), Joint{MeanK: make([]float64, 1), Cov: mat.NewSymDense(1, []float64{0.16})}.Known(0, 0.1).SD(0), 1e-12)
}

// nights is a pair over so many days in minutes: flow from 6 to 7 and 16 to 17
// h, at rest both go to the air, which swings; B stands apartK above it, and
// takes leak of the bed's distance.
func nights(days int, offsetK, apartK, leak float64, seed uint64) Pair {
	rng := rand.New(rand.NewPCG(seed, 3))
	n := days * 1440
	p := Pair{StepS: 60, A: make([]float64, n), B: make([]float64, n), SDK: 0.5 / z95, Day: func(c int) int { return c / 1440 }}
	flow, bed := make([]float64, n), make([]float64, n)
	a, b, drift := 10.0, 10.0, 0.0
	for i := range n {
		if i%1440 == 0 {
			drift = 2 * rng.NormFloat64()
		}
		air := 10 + drift/3 + 1.2*math.Sin(2*math.Pi*float64(i)/1440)
		bed[i] = 40 + 2*drift
		if m := i % 1440 / 60; m == 6 || m == 16 {
			flow[i], a, b = 10, 8, 30
		}
		a += (air - a) / 40
		b += (air + apartK + leak*(bed[i]-air) - b) / 45
		p.A[i] = math.Round((a+offsetK+0.02*rng.NormFloat64())*20) / 20
		p.B[i] = math.Round((b+0.02*rng.NormFloat64())*20) / 20
	}
	p.Flows = [][]float64{flow}
	p.Drivers = []Driver{{"bed", bed}}
	return p
}

func TestStillFindsTheOffset(t *testing.T) {
	o := DefaultOptions()
	inside := 0
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 9))
		off := 0.25 * rng.NormFloat64()
		f := Still(nights(14, off, 0.1/z95*rng.NormFloat64(), 0, seed), o)
		require.Empty(t, f.Why)
		require.GreaterOrEqual(t, f.Stretches, 14)
		require.InDelta(t, 0.1, f.HalfK, 0.05)
		if math.Abs(f.OffsetK-off) <= f.HalfK {
			inside++
		}
	}
	require.GreaterOrEqual(t, inside, 35) // of 40 at 95 %: fewer comes once in 400
}

func TestStillSaysWhyNot(t *testing.T) {
	o := DefaultOptions()
	few := Still(nights(3, 0.1, 0, 0, 1), o)
	require.Contains(t, few.Why, "stretches on")
	apart := Still(nights(14, 0.1, 6, 0, 1), o)
	require.Contains(t, apart.Why, "more than their errors allow")
	leak := Still(nights(20, 0, 0, 0.02, 1), o)
	require.Contains(t, leak.Why, "goes with the bed's")
	p := nights(14, 0.1, 0, 0, 1)
	p.Flows = nil
	require.NotEmpty(t, Still(p, o).Why, "without a flow nothing is known to stand still")
	p = nights(14, 0.1, 0, 0, 1)
	for i := range p.Flows[0] {
		if i%180 == 0 {
			p.Flows[0][i] = math.NaN()
		}
	}
	require.NotEmpty(t, Still(p, o).Why, "a flow that is not known is not still")
}

func TestBath(t *testing.T) {
	o := DefaultOptions()
	p := nights(3, 0.2, 3, 0, 5)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := 1440 + 600; i < 1440+640; i++ { // 40 minutes in a bucket that cools
		water := 22 - 0.4*float64(i-2040)/60
		p.A[i], p.B[i] = water+0.2+0.02*rng.NormFloat64(), water+0.02*rng.NormFloat64()
	}
	f := Bath(p, 1440+590, 1440+720, o)
	require.Empty(t, f.Why)
	require.InDelta(t, 0.2, f.OffsetK, f.HalfK)
	require.Less(t, f.HalfK, 0.08)
	require.NotEmpty(t, Bath(p, 1440, 1440+10, o).Why)
}

func TestOptionsNameWhatIsWrong(t *testing.T) {
	o := DefaultOptions()
	require.NoError(t, o.Validate())
	o.Fewest = 0
	require.ErrorContains(t, o.Validate(), "Fewest")
}
