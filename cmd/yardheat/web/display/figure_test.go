package display

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"yardheat/analysis/doubt"
)

func TestFigureInTheReadersUnits(t *testing.T) {
	f := doubt.Make(50.53, 50.23, 50.83, "degC", doubt.Metered, 14, 1, "")
	metric, us := Choice{Temp: "C", Volume: "L"}, Choice{Comma: true, Temp: "F", Volume: "gal_us"}
	assert.Equal(t, "50.53\u00a0±\u00a00.30\u00a0°C", metric.FigureText(f))
	// 50.53 × 1.8 + 32 = 122.954; 0.30 K are 0.54 °F, which shows one digit, as 0.5
	// and above does.
	assert.Equal(t, "123,0\u00a0±\u00a00,6\u00a0°F", us.FigureText(f))
	assert.Equal(t, "3.96\u00a0±\u00a00.48\u00a0°F", Choice{Temp: "F"}.FigureText(doubt.Make(2.2, 1.9335, 2.4665, "K", doubt.Metered, 14, 1, "")), "a difference has no 32 in it")
	// 10.15 L/min in US gallons of 3.785411784 L: 2.681; 0.30: 0.0793
	assert.Equal(t, "2,68\u00a0±\u00a00,08\u00a0gal/min", us.FigureText(doubt.Make(10.15, 9.85, 10.45, "L/min", doubt.Metered, 14, 1, "")))
	assert.Equal(t, "1\u202f240\u00a0±\u00a090\u00a0kWh", us.FigureText(doubt.Make(1240, 1150, 1330, "kWh", doubt.Metered, 14, 1, "")))
	nan := math.NaN()
	assert.Equal(t, "", us.FigureText(doubt.Make(nan, nan, nan, "degC", doubt.Metered, 0, 0, "no probe")))
	assert.Equal(t, "at least 120\u00a0°F", Choice{Temp: "F"}.FigureText(doubt.Make(nan, 50, nan, "degC", doubt.Metered, 0, 0, "one side")), "the weaker claim")
}
