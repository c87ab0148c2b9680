package series

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Expected values: exact definitions (inch 25.4 mm, pound 0.45359237 kg, US
// gallon 231 in³, imperial gallon 4.54609 L, 0 °C = 273.15 K, 1 kWh = 3.6 MJ)
// worked by hand.
func TestParseUnitConverts(t *testing.T) {
	for _, c := range []struct {
		text    string
		class   Class
		written float64
		base    float64
		digits  float64
	}{
		{"C", Temperature, 21.5, 21.5, 0}, {"°C", Temperature, 21.5, 21.5, 0}, {"degC", Temperature, 21.5, 21.5, 0}, {"deg C", Temperature, 21.5, 21.5, 0},
		{"℃", Temperature, 21.5, 21.5, 0}, {"° C", Temperature, 21.5, 21.5, 0}, {"Celsius", Temperature, 21.5, 21.5, 0}, {"ºC", Temperature, 21.5, 21.5, 0},
		{"F", Temperature, 212, 100, 1e-12}, {"°F", Temperature, -40, -40, 1e-12}, {"deg F", Temperature, 32, 0, 0}, {"K", Temperature, 273.15, 0, 0},
		{"L/min", Flow, 15, 15, 0}, {"l/min", Flow, 15, 15, 0}, {"lpm", Flow, 15, 15, 0}, {"L per min", Flow, 15, 15, 0}, {"l·min⁻¹", Flow, 15, 15, 0},
		{"L/h", Flow, 900, 15, 1e-12}, {"m3/h", Flow, 0.9, 15, 1e-12}, {"m³/h", Flow, 0.9, 15, 1e-12}, {"m^3/h", Flow, 0.9, 15, 1e-12}, {"L/s", Flow, 0.25, 15, 1e-12},
		{"gal_us/min", Flow, 1, 3.785411784, 0}, {"gal_imp/h", Flow, 60, 4.54609, 1e-12},
		{"L", Volume, 7, 7, 0}, {"ltr", Volume, 7, 7, 0}, {"Litres", Volume, 7, 7, 0}, {"m³", Volume, 0.007, 7, 1e-12}, {"gal_us", Volume, 1, 3.785411784, 0},
		{"US gal", Volume, 1, 3.785411784, 0}, {"gal (imp)", Volume, 1, 4.54609, 0},
		{"W", Power, 1500, 1.5, 1e-12}, {"kW", Power, 1.5, 1.5, 0}, {"MW", Power, 1, 1000, 0},
		{"Wh", Energy, 1500, 1.5, 1e-12}, {"kWh", Energy, 1.5, 1.5, 0}, {"MWh", Energy, 1, 1000, 0}, {"MJ", Energy, 3.6, 1, 1e-12}, {"GJ", Energy, 3.6, 1000, 1e-9},
		{"bar", Pressure, 2, 2, 0}, {"kPa", Pressure, 250, 2.5, 1e-12}, {"psi", Pressure, 14.503773773, 1, 1e-10}, {"bara", Pressure, 1.01325, 0, 0},
		{"%", Level, 40, 40, 0}, {"on/off", OnOff, 1, 1, 0},
	} {
		u, ok := ParseUnit(c.text)
		require.True(t, ok, c.text)
		require.Equal(t, c.class, u.Class, c.text)
		require.InDelta(t, c.base, u.Base(c.written), c.digits, c.text)
		require.InDelta(t, c.written, u.Written(c.base), 1e-9*math.Max(1, math.Abs(c.written)), c.text)
	}
}

func TestParseUnitRefuses(t *testing.T) {
	for _, s := range []string{"", "rpm", "m/s", "l/m2", "mWh", "mW", "V", "°", "parrots", "/min", "l/", "kWh/d", "kVA"} {
		_, ok := ParseUnit(s)
		require.False(t, ok, s)
	}
	for _, s := range []string{"gal", "Gallons", "gal/min", "gpm", "gal/h"} {
		u, ok := ParseUnit(s)
		require.True(t, ok && u.Gallon, s)
	}
	for _, s := range []string{"pulses", "imp"} {
		u, ok := ParseUnit(s)
		require.True(t, ok && u.Pulses, s)
	}
}

// Three-phase power by hand: √3 · 400 V · 10 A · 0.85 = 5.8890 kW.
func TestCurrent(t *testing.T) {
	u, ok := ParseUnit("A")
	require.True(t, ok && u.Ampere)
	_, err := u.Current(0, 1, 1)
	require.Error(t, err)
	three, err := u.Current(400, 3, 0.85)
	require.NoError(t, err)
	require.InDelta(t, 5.8890, three.Base(10), 5e-5)
	one, err := u.Current(230, 1, 0)
	require.NoError(t, err)
	require.InDelta(t, 2.3, one.Base(10), 1e-12)
}

func TestLookupKnowsEveryName(t *testing.T) {
	require.Len(t, Names(), 20+3+5+6+6+3+2+5) // counted in the table of quantities
	for _, q := range Names() {
		info, ok := Lookup(q)
		require.True(t, ok)
		require.Less(t, info.Low, info.High, q)
		require.NotEmpty(t, info.Class.BaseUnit(), q)
	}
	_, ok := Lookup("loop_out")
	require.False(t, ok)
}
