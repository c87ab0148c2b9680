package simfarm

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The meters' clock is off by what is asked for, all flows stand in its log and
// nothing but flows, and the farm is otherwise the short one of that seed.
func TestApart(t *testing.T) {
	sum, worst, n := 0.0, 0.0, 400.0
	for seed := uint64(1); seed <= uint64(n); seed++ {
		s, short := Apart(seed, 10, 30, 120, 0.5), Short(seed)
		meters := s.Loggers[len(s.Loggers)-1]
		require.Equal(t, len(short.Loggers)+1, len(s.Loggers))
		require.Len(t, meters.Columns, 2)
		columns := 0
		for _, l := range s.Loggers {
			require.Equal(t, 10, l.IntervalS)
			for _, c := range l.Columns {
				columns++
				require.Equal(t, l.Name == "meters", c.Quantity == "loop_flow" || c.Quantity == "plate_flow", c.Quantity)
			}
		}
		for _, l := range short.Loggers {
			columns -= len(l.Columns)
		}
		require.Zero(t, columns)
		require.Equal(t, short.Loop, s.Loop)
		sum += meters.AheadS * meters.AheadS / n
		worst = math.Max(worst, math.Abs(meters.AheadS))
	}
	require.InDelta(t, 30, math.Sqrt(sum), 4)
	require.LessOrEqual(t, worst, 120.0)
}

// A fine farm's readings by a clock that is off by part of a minute are those
// of the moment, not between two minutes: the flow's total by the meters' own
// stamps is the true one at stamp − ahead.
func TestFineSignals(t *testing.T) {
	s := Apart(3, 60, 30, 120, 0)
	s.Days = 4
	f, err := Run(s)
	require.NoError(t, err)
	require.NotNil(t, f.quick[PlateOut])
	li := len(s.Loggers) - 1
	r := f.readings(li)
	for i, at := range r.trueS {
		require.InDelta(t, float64(r.stamp[i]-f.start)-s.Loggers[li].AheadS, at, 1e-6)
	}
	whole := f.answers(f.errs)
	require.Equal(t, whole.LoopKWh, f.SeenSums().LoopKWh)
}
