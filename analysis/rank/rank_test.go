package rank

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The standard library's sort is the referee.
func TestSort(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, 1, math.SmallestNonzeroFloat64, -math.SmallestNonzeroFloat64, math.MaxFloat64, -math.MaxFloat64}
	for range 30 {
		x := make([]float64, rng.IntN(3000))
		scale := math.Pow(10, float64(rng.IntN(12)-6))
		for i := range x {
			x[i] = scale * rng.NormFloat64()
			if rng.IntN(40) == 0 {
				x[i] = odd[rng.IntN(len(odd))]
			}
		}
		want := slices.Sorted(slices.Values(x))
		Sort(x)
		for i := range x {
			if x[i] != want[i] && !(math.IsNaN(x[i]) && math.IsNaN(want[i])) {
				t.Fatalf("place %d of %d: %g; want %g", i, len(x), x[i], want[i])
			}
		}
	}
}

func BenchmarkSort(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 2))
	x, y := make([]float64, 20000), make([]float64, 20000)
	for i := range x {
		x[i] = 1000 + 30*rng.NormFloat64()
	}
	for name, sort := range map[string]func([]float64){"radix": Sort, "slices": slices.Sort[[]float64]} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				copy(y, x)
				sort(y)
			}
		})
	}
}

func TestNth(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for range 200 {
		x := make([]float64, 1+rng.IntN(400))
		for i := range x {
			x[i] = float64(rng.IntN(1 + rng.IntN(300))) // many alike
		}
		want := slices.Sorted(slices.Values(x))
		for range 5 {
			k := rng.IntN(len(x))
			if got := Nth(x, k); got != want[k] {
				t.Fatalf("rank %d of %d: %g; want %g", k, len(x), got, want[k])
			}
		}
		if slices.Sort(x); !slices.Equal(x, want) {
			t.Fatal("values were lost")
		}
	}
}
