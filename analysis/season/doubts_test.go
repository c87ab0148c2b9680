package season

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The errors behind a metered total make the interval that the trials found: their
// squares add up to its width, and the probes among them last.
func TestDoubtsMakeTheInterval(t *testing.T) {
	if testing.Short() {
		t.Skip("computes a season")
	}
	s := compute(t, recordOf(t, 4), nil)
	for _, key := range []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh"} {
		sum, lasting := 0.0, 0
		for _, d := range s.Doubts(key) {
			sum += d.Moves * d.Moves
			if d.Lasting {
				lasting++
			}
		}
		f := figureOf(s.Headline, key)
		assert.InEpsilon(t, (f.High-f.Low)/2, z95*math.Sqrt(sum), 0.15, key) // limits have shorter tails than their standard uncertainty says
		assert.Positive(t, lasting, key)
	}
	require.Nil(t, s.Doubts("recovery_h"))
	// A warmer outlet reading is more heat, a warmer inlet reading less.
	up, down := 0, 0
	for _, d := range s.Doubts("loop_kwh") {
		if d.Instrument && d.Moves > 0 {
			up++
		}
		if d.Instrument && d.Moves < 0 {
			down++
		}
	}
	assert.Positive(t, up)
	assert.Positive(t, down)
}
