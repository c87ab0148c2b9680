package doubt

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// GUM (JCGM 100:2008) 7.2.6: 10.47 may go up to 11, 28.05 down to 28. The rest
// by the rule that Show states.
func TestShow(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		value, low, high float64
		unit, want       string
	}{
		{100, 100 - 10.47, 100 + 10.47, "mΩ", "100 ± 11 mΩ"},
		{100, 100 - 28.05, 100 + 28.05, "kHz", "100 ± 28 kHz"},
		{1240, 1150, 1330, "kWh", "1_240 ± 90 kWh"},
		{1240, 1160, 1350, "kWh", "1_240 (+110/-80) kWh"},
		{0.612, 0.574, 0.650, "1", "0.612 ± 0.038"},
		{0.61234, 0.5523, 0.6723, "1", "0.61 ± 0.06"},
		{-12.34, -13.34, -11.34, "degC", "-12.3 ± 1.0 °C"},
		{0.04, -1.96, 2.04, "K", "0.0 ± 2.0 K"},
		{-0.04, -1.04, 0.96, "K", "0.0 ± 1.0 K"},
		{1234567, 1134567, 1334567, "kWh", "1_230_000 ± 100_000 kWh"},
		{999.6, 989.7, 1009.5, "kWh", "1_000 ± 10 kWh"},
		{1000, 0, 2000, "L", "1_000 ± 1_000 L"},
		{850, 853, nan, "W/K", "at least 850 W/K"},
		{nan, 850, inf, "W/K", "at least 850 W/K"},
		{nan, 859, nan, "W/K", "at least 850 W/K"},
		{nan, nan, 0.412, "kW", "at most 0.42 kW"},
		{nan, 0.85, nan, "1", "at least 0.85"},
		{1243.2, nan, nan, "kWh", "1_240 kWh (interval not known)"},
		{nan, nan, nan, "kWh", "not known"},
		{nan, 1, 2, "kWh", "not known"},
		{inf, 1, 2, "kWh", "not known"},
		{0, 0, 0, "kWh", "0 kWh"},
		{12.5, 12.5, 12.5, "kWh/m2", "12.50 kWh/m²"},
		{0, 0.1, 1.3, "kW", "0.1 to 1.3 kW"},
		{5, 5, 7, "K", "5.0 (+2.0/-0.0) K"},
		{0.00123, 0.00113, 0.00133, "kg", "0.00123 ± 0.00010 kg"},
	} {
		want := strings.NewReplacer("_", "\u202f", "-", "\u2212").Replace(c.want)
		require.Equal(t, want, Show(c.value, c.low, c.high, c.unit))
	}
}

// Whatever the figure, the printed half-width has at most two significant
// digits, is not more than 4 % below the true one nor more than a fifth above
// it, and the value ends at the same digit.
func TestShowKeepsItsPromise(t *testing.T) {
	shape := regexp.MustCompile(`^[\x{2212}0-9.]+ ± ([0-9.]+)$`)
	for u := 1.003e-4; u < 5e6; u *= 1.013 {
		text := strings.ReplaceAll(Show(7.7*u, 6.7*u, 8.7*u, "1"), thin, "")
		m := shape.FindStringSubmatch(text)
		require.NotNil(t, m, text)
		shown := number(t, m[1])
		require.GreaterOrEqual(t, shown, 0.96*u*(1-1e-9), text)
		require.LessOrEqual(t, shown, 1.2*u, text)
		require.LessOrEqual(t, len(strings.Trim(strings.ReplaceAll(m[1], ".", ""), "0")), 2, text)
		value := strings.Fields(text)[0]
		require.Equal(t, decimals(m[1]), decimals(value), text)
		requireNear(t, 7.7*u, number(t, value), 0.5*shown, text)
	}
}

func decimals(text string) int {
	_, fraction, _ := strings.Cut(text, ".")
	return len(fraction)
}

func TestMake(t *testing.T) {
	nan := math.NaN()
	f := Make(1240, 1330, 1150, "kWh", Metered, 412, 0.97, "")
	require.Equal(t, [2]float64{1150, 1330}, [2]float64{f.Low, f.High}, "ends in order")
	require.Equal(t, 0.95, f.Confidence)
	f = Make(900, 850, nan, "W/K", Fitted, 3, 1, "only a lower end")
	require.Equal(t, 850.0, f.Value, "known from one side: the value is the known end")
	require.True(t, math.IsNaN(f.High))
	f = Make(nan, 1, 2, "kWh", Estimated, 0, 0, "")
	require.True(t, math.IsNaN(f.Low) && math.IsNaN(f.High))
	require.NotEmpty(t, f.Why, "a missing figure says why")
}
