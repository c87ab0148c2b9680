package store

import (
	"math"
	"testing"

	"yardheat/analysis/loop"
)

// What is foretold of a fold by a mean is the mean of the others, exactly; and
// the choice weighs draws alike and asks for its standard error.
func TestForetoldByMean(t *testing.T) {
	y := []float64{3, 5, 4, 9, 7, 1}
	f := &fitter{o: loop.DefaultOptions(), s: DefaultOptions(), scaleK: 1}
	f.o.Huber, f.o.FewestBlocks = 1e6, 3
	mean := 29.0 / 6
	m := model{n: 1, prior: []float64{0}, pull: []float64{0}, deff: 1, d: func(int, int) float64 { return 1 }}
	for i, v := range y {
		f.rows = append(f.rows, row{Row: loop.Row{Run: i}, block: i / 2})
		f.sd = append(f.sd, 1)
		m.r = append(m.r, mean-v)
	}
	f.firstDay = []int{0, 3, 6}
	got := f.foretold(&m, 3)
	for i, v := range y {
		others := 0.0
		for j, w := range y {
			if j/2 != i/2 {
				others += w / 4
			}
		}
		near(t, (others-v)*(others-v), got[i], 1e-9, "loss")
	}
	// Blocks with losses 4, 4, 4 against 2, 2, 2: half, without a doubt; against
	// 2, 3, 7: none gained; against 1, 3, 4: a third less, by 0.22.
	plain := []float64{4, 4, 4, 4, 4, 4}
	if c := f.judgeChoice(plain, []float64{1, 3, 2, 2, 3, 1}); !c.Chosen || math.Abs(c.Gain-0.5) > 1e-12 || c.GainSE > 1e-12 {
		t.Errorf("%+v", c)
	}
	if c := f.judgeChoice(plain, []float64{2, 2, 3, 3, 7, 7}); c.Chosen || c.Gain != 0 || c.Why == "" {
		t.Errorf("%+v", c)
	}
	c := f.judgeChoice(plain, []float64{1, 1, 3, 3, 4, 4})
	near(t, 1.0/3, c.Gain, 1e-12, "gain")
	near(t, math.Sqrt((25.0/9+1.0/9+16.0/9)/6)/4, c.GainSE, 1e-12, "its standard error")
	if !c.Chosen {
		t.Errorf("%+v", c)
	}
	f.s.StandardErrors = 2
	if c := f.judgeChoice(plain, []float64{1, 1, 3, 3, 4, 4}); c.Chosen {
		t.Errorf("%+v", c)
	}
}
