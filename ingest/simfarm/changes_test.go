package simfarm

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Without changes nothing moves (TestSampleTruthOnFile holds the bytes); a
// change acts from its day on, on what it names, by what it says.
func TestChangesAct(t *testing.T) {
	s := Short(3)
	plain := run(t, s)
	day := float64(s.Days) / 2
	at := int(day * 1440)

	s.Changes = []Change{{Day: day, Of: ChangeApproach, By: 1.5}}
	moved := run(t, s)
	require.Equal(t, plain.signal[BedProbe][:at], moved.signal[BedProbe][:at])
	require.InDelta(t, 1.5, moved.signal[BedProbe][at+60]-plain.signal[BedProbe][at+60], 1e-9)
	require.Equal(t, plain.signal[LoopOut], moved.signal[LoopOut], "the probe's place changes no water")

	s.Changes = []Change{{Day: day, Of: ChangeUA, By: 0.75}}
	moved = run(t, s)
	require.Equal(t, plain.signal[LoopOut][:at], moved.signal[LoopOut][:at])
	ratio := moved.Truth().UAWPerK / plain.Truth().UAWPerK
	require.InDelta(t, 0.875, ratio, 0.03, "half the litres at three quarters")

	s.Changes = []Change{{Day: day, Of: ChangePlate, By: 0.8}}
	moved = run(t, s)
	require.Less(t, moved.Truth().PlantKWh, plain.Truth().PlantKWh)
	require.Equal(t, plain.signal[PlateOut][:at], moved.signal[PlateOut][:at])
}

func TestChangesAreValidated(t *testing.T) {
	for _, c := range []Change{{Of: "weather", By: 1}, {Of: ChangeUA, By: 0}, {Of: ChangeUA, By: 1000}, {Of: ChangeApproach, By: math.NaN()}} {
		s := Short(3)
		s.Changes = []Change{c}
		_, err := Run(s)
		require.ErrorContains(t, err, "change of", "%+v", c)
	}
	s := Short(3)
	s.Loop.UAWPerK, s.Changes = 90_000, []Change{{Of: ChangeUA, By: 19}}
	_, err := Run(s)
	require.ErrorContains(t, err, "more than the film's")
}
