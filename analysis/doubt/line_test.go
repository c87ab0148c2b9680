package doubt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A line's interval against the trials' of the same sum and ratio; and the
// slopes against small steps.
func TestLineAgainstTrials(t *testing.T) {
	sources := []Source{
		{Name: "meter", HalfWidth: 0.03, Relative: true}, {Name: "hot", HalfWidth: 0.4, Unit: "K"},
		{Name: "cold", Dist: Rectangular, HalfWidth: 0.3, Unit: "K"}, {Name: "lead", Dist: OneSided, HalfWidth: 10, Unit: "L"},
		{Name: "other meter", HalfWidth: 0.02, Relative: true},
	}
	heat := NewPart([]float64{40, 55, 31}, []int{0}, []Effect{{1, []float64{1.1, 1.4, 0.9}}, {2, []float64{-1.1, -1.4, -0.9}}, {3, []float64{-0.01, -0.02, -0.01}}})
	power := NewPart([]float64{12, 14, 9}, []int{4}, nil)
	n := len(sources)
	lines := []Line{heat.Line(n).Plus(power.Line(n), -1), heat.Line(n).Over(power.Line(n))}
	model := func(tr *Trial, out []float64) {
		h, p := heat.Census(tr.E), power.Census(tr.E)
		out[0], out[1] = h-p, h/p
	}
	res, err := Run(sources, model, 2, DefaultOptions())
	require.NoError(t, err)
	for k, l := range lines {
		o := res.Outputs[k]
		low, high := l.Interval(sources)
		require.InDelta(t, o.Nominal, l.Value, 1e-9)
		require.InDelta(t, o.Low, low, 0.03*(o.High-o.Low), "low end of output %d", k)
		require.InDelta(t, o.High, high, 0.03*(o.High-o.Low), "high end of output %d", k)
		for i := range sources {
			e := make([]float64, n)
			const step = 1e-4
			e[i] = step
			up := res.Under(e)[k]
			require.InDelta(t, (up-o.Nominal)/step, l.Per[i], 1e-3*math.Abs(l.Per[i])+1e-9, "%s on output %d", sources[i].Name, k)
		}
	}
	require.True(t, math.IsNaN(heat.Line(n).Over(Line{}).Value))
}
