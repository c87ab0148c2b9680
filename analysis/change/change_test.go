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

// Steady series of every kind: at FalseAlarms 0.05 a change is named in at most
// that share. Of 60 series a true 5 % gives more than 9 once in a thousand
// (binomial).
func TestSteadySeriesStaySteady(t *testing.T) {
	seeds := 60
	if testing.Short() {
		seeds = 20
	}
	for k, kind := range kinds {
		alarms := 0
		for seed := range seeds {
			r := rand.New(rand.NewPCG(uint64(seed), uint64(100+k)))
			day := twiceADay(r, 100)
			if len(find(t, Series{Day: day, Value: kind.make(r, day)}, nil).Changes) > 0 {
				alarms++
			}
		}
		t.Logf("%-20s %d of %d", kind.name, alarms, seeds)
		require.LessOrEqual(t, alarms, 9, kind.name)
	}
}

// A step of five times the scatter in the middle of 80: found, dated within
// five days, its sign right and its size inside the interval.
func TestStepIsFoundDatedAndSized(t *testing.T) {
	const step = 5
	seeds := 40
	for k, kind := range kinds {
		found, held, dated := 0, 0, 0
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
		t.Logf("%-20s found %d, size held %d, date held %d of %d", kind.name, found, held, dated, seeds)
		require.GreaterOrEqual(t, found, 36, kind.name)
		require.GreaterOrEqual(t, held, found-6, kind.name)
		require.GreaterOrEqual(t, dated, found-6, kind.name)
	}
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
