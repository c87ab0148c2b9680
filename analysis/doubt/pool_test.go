package doubt

import (
	"math/rand/v2"
	"testing"
)

// A pool's sums are those of the rows by the weights that the same trial draws,
// for parts with several errors, days with several rows and days with none.
func TestPoolSumsAsTheRowsDo(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	const rows = 61
	day, a, b, per := make([]int, rows), make([]float64, rows), make([]float64, rows), make([]float64, rows)
	for r := range rows {
		day[r] = 100 + r/2 + r/20
		a[r], b[r], per[r] = 10*rng.Float64(), rng.NormFloat64(), rng.NormFloat64()
	}
	plan := NewBlocks(day, 0.3, 1)
	one, two := NewPart(a, []int{0}, []Effect{{Source: 1, Per: per}}), NewPart(b, nil, []Effect{{Source: 1, Per: a}, {Source: 0, Per: per}})
	pool := plan.Pool(one, two)
	sources := []Source{{Name: "gain", Kind: Shared, HalfWidth: 0.2}, {Name: "offset", Kind: Shared, HalfWidth: 0.4}, {Name: "days", Kind: Random, Dist: Resample, Blocks: plan}}
	moved := 0
	_, err := Run(sources, func(tr *Trial, out []float64) {
		x, rest := one.Of(tr.E, tr.Resampled(2, pool))
		y, rest := two.Of(tr.E, rest)
		if len(rest) != 0 {
			t.Error("sums are left over")
		}
		w := tr.Weights(2)
		requireNear(t, one.Weighted(tr.E, w), x, 1e-9, "first part")
		requireNear(t, two.Weighted(tr.E, w), y, 1e-9, "second part")
		if w[0] != 1 {
			moved++
		}
		out[0] = x
	}, 1, Options{Seed: 9, MinTrials: 200, MaxTrials: 200, Confidence: 0.95, ShareTrials: 50, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	if moved < 100 {
		t.Errorf("days were drawn in %d trials", moved)
	}
}
