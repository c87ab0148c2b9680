package season

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/farm"
)

// The money's variance grows by what the errors stated for prices make of its two
// lines, whatever else errs; the CO2's by those of its factors.
func TestPricesWidenMoney(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	rec := recordOf(t, 21)
	exact := func(key string) farm.StatedError { return farm.StatedError{Key: key, Relative: true} }
	share := func(key string, v float64) farm.StatedError {
		return farm.StatedError{Key: key, HalfWidth: v, Relative: true}
	}
	none := withErrors(rec, exact("instead.co2_kg_per_kwh"), exact("electricity.co2_kg_per_kwh"))
	some := withErrors(rec, share("instead.price_per_kwh", 0.2), share("electricity.price_per_kwh", 0.15), share("instead.co2_kg_per_kwh", 0.1), share("electricity.co2_kg_per_kwh", 0.3))
	more := func(o *Options) { o.Doubt.MinTrials, o.Doubt.MaxTrials = 40_000, 40_000 }
	a, b := compute(t, none, more), compute(t, some, more)
	sd := func(f Figure) float64 { return (f.High - f.Low) / 2 / z95 }
	for _, whole := range []bool{false, true} {
		x, y := a.Saving.Figures, b.Saving.Figures
		if whole {
			x, y = a.Saving.Whole, b.Saving.Whole
		}
		var fuelKWh, usedKWh float64
		fuelKWh, usedKWh = find(t, a.Saving.Figures, "baseline_kwh").Value, find(t, a.Saving.Figures, "used_kwh").Value
		if whole { // nothing is missing in this record: the same
			require.InEpsilon(t, find(t, a.Saving.Figures, "saved_kwh").Value, find(t, x, "saved_kwh").Value, 0.02)
		}
		require.InEpsilon(t, sd(find(t, x, "saved_kwh")), sd(find(t, y, "saved_kwh")), 0.03, "energy knows no price")
		for key, per := range map[string][2]float64{
			"money":  {fuelKWh * rec.Farm.Instead.PricePerKWh * 0.2, usedKWh * rec.Farm.Electricity.PricePerKWh * 0.15},
			"co2_kg": {fuelKWh * 0.25 * 0.1, usedKWh * 0.3 * 0.3},
		} {
			u, v := sd(find(t, x, key)), sd(find(t, y, key))
			added := math.Hypot(per[0], per[1]) / z95
			require.InEpsilon(t, math.Hypot(u, added), v, 0.03, "%s whole %v: %g, %g more", key, whole, u, added)
		}
	}
	sum := 0.0
	for _, p := range b.Claims.Spreads {
		if p.Key == "money" && !p.Whole {
			for _, x := range p.Parts {
				if x.Sensor == "instead.price_per_kwh" || x.Sensor == "electricity.price_per_kwh" {
					require.False(t, x.Assumed)
					sum += x.Share
				}
			}
		}
	}
	require.Greater(t, sum, 0.3, "the claim's spread names them")
	require.Equal(t, "20 %", statedError(t, b, "instead.price_per_kwh"))
	require.Equal(t, "15 %", statedError(t, b, "electricity.price_per_kwh"))
	require.Empty(t, statedError(t, a, "instead.price_per_kwh"), "a price is known where nobody states an error")
}

func statedError(t *testing.T, s *Season, key string) string {
	t.Helper()
	for _, x := range s.Claims.Assumptions {
		if x.Key == key {
			return x.Error
		}
	}
	t.Fatal(key)
	return ""
}

// Nobody states how far CO2 factors are off: 10 % is assumed, and said.
func TestFactorsErrByDefault(t *testing.T) {
	s := compute(t, withErrors(recordOf(t, 21)), few)
	for _, x := range s.Claims.Assumptions {
		if x.Key == "instead.co2_kg_per_kwh" || x.Key == "electricity.co2_kg_per_kwh" {
			require.Equal(t, "10 %", x.Error)
			require.True(t, x.Assumed)
		}
	}
	co2 := find(t, s.Saving.Figures, "co2_kg")
	require.Greater(t, (co2.High-co2.Low)/2, 0.06*co2.Value)
}

// Where money comes from one price of electricity with rates, one error is all
// rates'; a source is whoever states it.
func TestRatesAndSourceOfElectricity(t *testing.T) {
	rec := withErrors(recordOf(t, 21), farm.StatedError{Key: "electricity.price_per_kwh", HalfWidth: 0.1, Relative: true})
	rec.Farm.Electricity.Source = "bill of March"
	rec.Farm.Electricity.Rates = []farm.Rate{{FromMin: 1320, ToMin: 360, PricePerKWh: 0.1}}
	s := compute(t, rec, few)
	rates := 0
	for _, x := range s.Claims.Assumptions {
		if x.Key == "electricity.rate" || x.Key == "electricity.price_per_kwh" {
			rates++
			require.Equal(t, "10 %", x.Error)
			require.Equal(t, "bill of March", x.Source)
		}
	}
	require.Equal(t, 2, rates)
	f := s.Saving.PowerMoney
	require.Greater(t, (f.High-f.Low)/2, 0.09*f.Value)
	named := 0
	for _, x := range s.Audit.Prices {
		if x.Source == "bill of March" {
			named++
		}
	}
	require.Equal(t, 3, named, "price, rate and factor")
}
