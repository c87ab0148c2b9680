package change

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// kind is a way in which steady values scatter.
type kind struct {
	name string
	make func(r *rand.Rand, t []float64) []float64
}

// ar is a first-order autoregression beside scatter of each value's own.
func ar(days, related, own float64) func(*rand.Rand, []float64) []float64 {
	return func(r *rand.Rand, t []float64) []float64 {
		out, s := make([]float64, len(t)), related*r.NormFloat64()
		for i := range t {
			if i > 0 {
				a := math.Exp(-(t[i] - t[i-1]) / days)
				s = a*s + math.Sqrt(1-a*a)*related*r.NormFloat64()
			}
			out[i] = s + own*r.NormFloat64()
		}
		return out
	}
}

var kinds = []kind{
	{"white", ar(1, 0, 1)},
	{"related over 1.5 d", ar(1.5, 0.8, 0.6)},
	{"related over 10 d", ar(10, 0.8, 0.6)},
	{"wandering", func(r *rand.Rand, t []float64) []float64 {
		out, s := make([]float64, len(t)), 0.0
		for i := range t {
			s += 0.2 * r.NormFloat64()
			out[i] = s + r.NormFloat64()
		}
		return out
	}},
	{"slow swing", func(r *rand.Rand, t []float64) []float64 {
		out, phase := ar(1.5, 0.5, 0.8)(r, t), 2*math.Pi*r.Float64()
		for i := range t {
			out[i] += 4 * math.Sin(phase+2*math.Pi*t[i]/120)
		}
		return out
	}},
	{"straight drift", func(r *rand.Rand, t []float64) []float64 {
		out := ar(1.5, 0.5, 0.8)(r, t)
		for i := range t {
			out[i] += 6 * t[i] / t[len(t)-1]
		}
		return out
	}},
	{"outliers", func(r *rand.Rand, t []float64) []float64 {
		out := ar(1.5, 0.5, 0.8)(r, t)
		for i := range out {
			if r.IntN(15) == 0 {
				out[i] += 12 * r.NormFloat64()
			}
		}
		return out
	}},
	{"heavy tails", func(r *rand.Rand, t []float64) []float64 {
		out := make([]float64, len(t))
		for i := range out {
			out[i] = r.NormFloat64() / math.Sqrt((r.ExpFloat64()+r.ExpFloat64())/2) // Student, 4 degrees
		}
		return out
	}},
}

// twiceADay are n times, about two a day.
func twiceADay(r *rand.Rand, n int) []float64 {
	t := make([]float64, n)
	for i := range t {
		t[i] = float64(i/2) + 0.25 + 0.45*float64(i%2) + 0.02*r.Float64()
	}
	return t
}

func find(t testing.TB, s Series, set func(*Options)) Result {
	t.Helper()
	o := DefaultOptions()
	if set != nil {
		set(&o)
	}
	res, err := Find(s, o)
	require.NoError(t, err)
	return res
}

// Steady series of every kind, all together: at FalseAlarms 0.05 a change is
// named in at most that share. Of 96 a true 5 % gives more than 11 once in two
// hundred (binomial); the study of farms counts closer.
func TestSteadySeriesStaySteady(t *testing.T) {
	const seeds = 12
	alarms := 0
	for k, kind := range kinds {
		for seed := range seeds {
			r := rand.New(rand.NewPCG(uint64(seed), uint64(100+k)))
			day := twiceADay(r, 80)
			if res := find(t, Series{Day: day, Value: kind.make(r, day)}, nil); len(res.Changes) > 0 {
				alarms++
				t.Logf("%s, seed %d: %+v", kind.name, seed, res.Changes)
			}
		}
	}
	require.LessOrEqual(t, alarms, 11)
}

// A step of five times the scatter in the middle of 80: found, dated within
// five days, its sign right and its size inside the interval.
func TestStepIsFoundDatedAndSized(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated farms")
	}
	const step, seeds = 5, 8
	found, held, dated := 0, 0, 0
	for k, kind := range kinds {
		for seed := range seeds {
			r := rand.New(rand.NewPCG(uint64(seed), uint64(200+k)))
			day := twiceADay(r, 80)
			v := kind.make(r, day)
			for i := 40; i < len(v); i++ {
				v[i] += step
			}
			for _, c := range find(t, Series{Day: day, Value: v}, nil).Changes {
				if math.Abs(c.Day.Value-20) > 5 || c.Size.Value < 0 {
					continue
				}
				found++
				if c.Size.Low <= step && c.Size.High >= step {
					held++
				}
				if c.Day.Low <= 20.1 && c.Day.High >= 19.9 {
					dated++
				}
			}
		}
	}
	all := seeds * len(kinds)
	t.Logf("found %d, size held %d, date held %d of %d", found, held, dated, all)
	require.GreaterOrEqual(t, found, all*9/10)
	// A true 95 % of 64 gives fewer than 55 once in two hundred.
	require.GreaterOrEqual(t, held, found-9)
	require.GreaterOrEqual(t, dated, found-9)
}

// Half of the values hardly tell anything, and are known to: the step shows in
// the others.
func TestVagueValuesDoNotHideAStep(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	day := twiceADay(r, 90)
	s := Series{Day: day, Value: make([]float64, 90), SD: make([]float64, 90)}
	for i := range s.Value {
		s.SD[i] = 0.02
		if i%2 == 0 || i%5 == 0 {
			s.SD[i] = 0.6
		}
		s.Value[i] = s.SD[i] * r.NormFloat64()
		if i >= 45 {
			s.Value[i] += 0.25
		}
	}
	got := find(t, s, nil).Changes
	require.Len(t, got, 1)
	require.InDelta(t, 0.25, got[0].Size.Value, 0.05)
}

// Values of two kinds in no order, each kind all but exact, as where a pump that
// runs for seconds is logged by the minute: no normal scatter, and no step.
func TestTwoKindsOfValuesAreNoStep(t *testing.T) {
	alarms := 0
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 12))
		day, v := twiceADay(r, 100), make([]float64, 100)
		for i := range v {
			v[i] = 0.005 * r.NormFloat64()
			if r.IntN(20) < 7 {
				v[i] -= 1.77
			}
		}
		for _, c := range find(t, Series{Day: day, Value: v}, func(o *Options) { o.FloorSD, o.FalseAlarms = 0.02, 0.01 }).Changes {
			alarms++
			t.Logf("seed %d: %+v", seed, c)
		}
	}
	require.LessOrEqual(t, alarms, 4) // a true 2.5 % gives more once in three hundred
}

// Two changes, there and back: both are named.
func TestThereAndBack(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	day := twiceADay(r, 120)
	v := kinds[1].make(r, day)
	for i := 45; i < 75; i++ {
		v[i] += 6
	}
	got := find(t, Series{Day: day, Value: v}, nil).Changes
	require.Len(t, got, 2)
	require.InDelta(t, day[45], got[0].Day.Value, 1)
	require.InDelta(t, day[75], got[1].Day.Value, 1)
	require.True(t, got[0].Size.Value > 4 && got[1].Size.Value < -4)
}

// What moves the value although nothing changed stands beside it: the value
// follows the column, and the column itself makes the jump.
func TestWhatStandsBesideIsNoChange(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	day := twiceADay(r, 100)
	v, x := kinds[1].make(r, day), make([]float64, 100)
	for i := range v {
		x[i] = 10 + r.NormFloat64()
		if i >= 50 {
			x[i] += 4
		}
		v[i] += 1.5 * x[i]
	}
	require.NotEmpty(t, find(t, Series{Day: day, Value: v}, nil).Changes)
	require.Empty(t, find(t, Series{Day: day, Value: v, Beside: [][]float64{x}}, nil).Changes)
}

// Annual flow of the Nile at Aswan, 1871 to 1970, in 1e8 m3 (Cobb 1978; values
// from memory): the standard example of a change, dated by Cobb between 1898 and
// 1899, from about 1098 to about 850.
var nile = []float64{1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
	1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
	831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
	781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
	744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740}

func TestNile(t *testing.T) {
	require.Len(t, nile, 100)
	year := make([]float64, len(nile))
	for i := range year {
		year[i] = 1871 + float64(i)
	}
	got := find(t, Series{Day: year, Value: nile}, func(o *Options) { o.NoDrift = true }).Changes
	require.Len(t, got, 1)
	c := got[0]
	t.Logf("%+v", c)
	require.Equal(t, 1898.5, c.Day.Value)
	require.InDelta(t, 1098, c.Before.Value, 5)
	require.InDelta(t, 850, c.After.Value, 5)
	require.True(t, c.Size.Low < -248 && c.Size.High > -248)
}

// The filter and its transpose: u·(W x) = (Wᵀu)·x; and the covariance it takes
// out is the one stated.
func TestFilterAgainstItsCovariance(t *testing.T) {
	day, r := []float64{0, 0.5, 0.9, 3, 3.4}, []float64{1, 2, 0.5, 1, 7}
	z := newNoise(day, r, 0.7, 2.5)
	n := len(day)
	w := make([][]float64, n) // columns of W
	for k := range n {
		e := make([]float64, n)
		e[k] = 1
		w[k] = make([]float64, n)
		z.whiten(e, w[k])
	}
	u, back := []float64{0.3, -1, 2, 0.7, -0.2}, make([]float64, n)
	z.back(u, back)
	for k := range n {
		require.InDelta(t, dot(u, w[k]), back[k], 1e-12)
	}
	step := make([]float64, n)
	for k := range n {
		z.whitenStep(k, step)
		require.InDelta(t, dot(step, step), z.raw[k], 1e-12)
	}
	// W V Wᵀ = 1
	v := func(i, k int) float64 {
		c := 0.7 * math.Exp(-math.Abs(day[i]-day[k])/2.5)
		if i == k {
			c += 0.3 * r[i]
		}
		return c
	}
	for a := range n {
		for b := range n {
			sum := 0.0
			for i := range n {
				for k := range n {
					sum += w[i][a] * v(i, k) * w[k][b]
				}
			}
			want := 0.0
			if a == b {
				want = 1
			}
			require.InDelta(t, want, sum, 1e-12)
		}
	}
}

// Whatever the series: no panic, and what is named has ordered, finite ends.
func TestAnySeries(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 9))
		n := r.IntN(90)
		s := Series{Day: make([]float64, n), Value: make([]float64, n), SD: make([]float64, n), Beside: [][]float64{make([]float64, n)}}
		at, level := 0.0, 0.0
		for i := range n {
			at += []float64{0, 0.1, 0.5, 3, 20}[r.IntN(5)]
			if r.IntN(12) == 0 {
				level = 1e3 * r.NormFloat64()
			}
			s.Day[i], s.Value[i], s.SD[i], s.Beside[0][i] = at, level+r.NormFloat64(), float64(r.IntN(3)), level
			switch r.IntN(20) {
			case 0:
				s.Value[i] = math.NaN()
			case 1:
				s.Value[i] = 1e6
			case 2:
				s.Beside[0][i] = math.NaN()
			case 3:
				s.Value[i] = math.Inf(1)
			}
		}
		for _, c := range find(t, s, func(o *Options) { o.SideValues, o.SideDays, o.Draws = 3, 0, 100 }).Changes {
			for _, e := range []Estimate{c.Day, c.Size, c.Before, c.After} {
				require.True(t, e.Low <= e.Value && e.Value <= e.High && !math.IsInf(e.High-e.Low, 0), "seed %d: %+v", seed, c)
			}
		}
	}
}

func TestMalformed(t *testing.T) {
	_, err := Find(Series{Day: []float64{1, 2}, Value: []float64{1}}, DefaultOptions())
	require.ErrorContains(t, err, "2 times but 1 values")
	_, err = Find(Series{Day: []float64{2, 1}, Value: []float64{1, 1}}, DefaultOptions())
	require.ErrorContains(t, err, "does not follow")
	_, err = Find(Series{Day: []float64{1}, Value: []float64{1}, Beside: [][]float64{{}}}, DefaultOptions())
	require.ErrorContains(t, err, "column 0")
	o := DefaultOptions()
	o.FalseAlarms = 2
	_, err = Find(Series{}, o)
	require.ErrorContains(t, err, "FalseAlarms")
	res, err := Find(Series{Day: []float64{1, 2}, Value: []float64{1, math.NaN()}}, DefaultOptions())
	require.NoError(t, err)
	require.Equal(t, 1, res.Values)
	require.Contains(t, res.Why, "1 values")
	// All alike: no scatter, no change, no NaN.
	flat := Series{Day: make([]float64, 60), Value: make([]float64, 60)}
	for i := range flat.Day {
		flat.Day[i] = float64(i)
	}
	require.Empty(t, find(t, flat, nil).Changes)
}

func BenchmarkFind(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	day := twiceADay(r, 700)
	s := Series{Day: day, Value: kinds[1].make(r, day), Beside: [][]float64{kinds[2].make(r, day)}}
	start := time.Now()
	for b.Loop() {
		if len(find(b, s, nil).Changes) > 0 {
			b.Fatal("a steady series")
		}
	}
	b.ReportMetric(float64(700*b.N)/time.Since(start).Seconds(), "values/s")
}

// A step that a drift makes up for shows in no value next to it.
func TestShows(t *testing.T) {
	f := &finder{o: DefaultOptions(), steps: []int{20}}
	flat, step := make([]float64, 40), make([]float64, 40)
	for i := 20; i < 40; i++ {
		step[i] = -3
	}
	require.False(t, f.shows(0, flat, 2))
	require.True(t, f.shows(0, step, -3.5))
	require.False(t, f.shows(0, step, 3))
}
