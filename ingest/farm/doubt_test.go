package farm

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// TestProbeErrorDefaults: the defaults by kind of the farm file's description,
// [errors].
func TestProbeErrorDefaults(t *testing.T) {
	for _, c := range []struct {
		q         series.Quantity
		fit, from string
		half      float64
		relative  bool
	}{
		{"loop_out_temp", "pocket", "rate", 0.5, false},
		{"loop_out_temp", "pipe", "rate", 1, false},
		{"loop_out_temp", "", "rate", 1, false},
		{"tank_temp", "", "rate", 0.5, false},
		{"bed_temp", "", "", 0.5, false},
		{"milk_in_temp", "", "", 0.5, false},
		{"milk_in_temp", "pipe", "", 1, false},
		{"loop_flow", "", "rate", 0.05, true},
		{"loop_flow", "", "counter", 0.03, true},
		{"loop_volume", "", "counter", 0.03, true},
		{"wash_volume", "", "amount", 0.03, true},
		{"milk_volume", "", "amount", 0.02, true},
		{"compressor_energy", "", "counter", 0.02, true},
		{"element_power", "", "amps", 0.05, true},
		{"element_power", "", "state", 0.15, true},
	} {
		e, assumed := (&Farm{}).ProbeError(c.q, "", c.fit, c.from)
		assert.True(t, assumed)
		assert.Equal(t, c.half, e.HalfWidth, "%s %s %s", c.q, c.fit, c.from)
		assert.Equal(t, c.relative, e.Relative, c.q)
		assert.False(t, e.Rectangular)
	}
}

func TestStatedErrorsAreFound(t *testing.T) {
	f, faults := Read("farm.toml", []byte(small+"[errors]\nbed_temp = \"0.4 K\"\n\"bed_temp@north\" = \"0.2 K limits\"\n\"loop.draw_l\" = \"7 %\"\ninstead.efficiency = 0.02\nloop_flow = \"0.6 m3/h\"\n"))
	require.Empty(t, faults)
	for place, want := range map[string]float64{"": 0.4, "south": 0.4, "north": 0.2} {
		e, assumed := f.ProbeError("bed_temp", place, "", "rate")
		assert.False(t, assumed)
		assert.Equal(t, want, e.HalfWidth, place)
		assert.Equal(t, place == "north", e.Rectangular)
	}
	e, _ := f.ProbeError("loop_flow", "", "", "rate")
	assert.InDelta(t, 10, e.HalfWidth, 1e-12, "0.6 m3/h are 10 L/min")
	e, assumed := f.KeyError("loop.draw_l")
	assert.False(t, assumed)
	assert.Equal(t, StatedError{"loop.draw_l", 0.07, true, false, e.Line}, e)
	e, _ = f.KeyError("instead.efficiency")
	assert.Equal(t, 0.02, e.HalfWidth)
	assert.False(t, e.Relative)
}

// TestKeyErrorDefaults: draw_l 10 %, tank volume 5 %, efficiency 0.05, milk
// constants 1.5 %, on/off times a rated figure 15 % (same source).
func TestKeyErrorDefaults(t *testing.T) {
	for key, want := range map[string]StatedError{
		"loop.draw_l":                    {HalfWidth: 0.10, Relative: true},
		"tank.volume_l":                  {HalfWidth: 0.05, Relative: true},
		"instead.efficiency":             {HalfWidth: 0.05},
		"milk.specific_heat_kj_per_kg_k": {HalfWidth: 0.015, Relative: true},
		"milk.density_kg_per_l":          {HalfWidth: 0.015, Relative: true},
		"element.power_kw":               {HalfWidth: 0.15, Relative: true},
		"instead.price_per_kwh":          {Relative: true},
		"no.such_key":                    {},
	} {
		got, assumed := (*Farm)(nil).KeyError(key)
		want.Key = key
		assert.True(t, assumed)
		assert.Equal(t, want, got)
	}
}
