package season

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/simfarm"
)

// errorKeys are the figures of this farm whose errors a sum takes, with their
// value.
func errorKeys(f *farm.Farm) map[string]float64 {
	return map[string]float64{
		"pumps.plate_kw": f.Pumps.PlateKW, "tank.volume_l": f.Tanks[0].VolumeL, "instead.efficiency": f.Instead.Efficiency,
		"instead.price_per_kwh": f.Instead.PricePerKWh, "instead.co2_kg_per_kwh": f.Instead.CO2KgPerKWh,
		"electricity.price_per_kwh": f.Electricity.PricePerKWh, "electricity.co2_kg_per_kwh": f.Electricity.CO2KgPerKWh,
		"milk.specific_heat_kj_per_kg_k": f.Milk.SpecificHeatKJPerKgK, "milk.density_kg_per_l": f.Milk.DensityKgPerL,
		"plant.standing_gain_kw": f.Plant.StandingGainKW, "cost.capital": f.Cost.Capital, "cost.upkeep_per_year": f.Cost.UpkeepPerYear,
	}
}

// withErrors is a record whose farm file states these errors beside the others.
func withErrors(rec *ingest.Record, list ...farm.StatedError) *ingest.Record {
	return altered(rec, func(f *farm.Farm) {
		var kept []farm.StatedError
		for _, s := range f.Errors {
			stated := false
			for _, e := range list {
				stated = stated || e.Key == s.Key
			}
			if !stated {
				kept = append(kept, s)
			}
		}
		f.Errors = append(kept, list...)
		f.Electricity.HasCO2, f.Electricity.CO2KgPerKWh = true, 0.3
		f.Instead.HasCO2, f.Instead.CO2KgPerKWh = true, 0.25
		f.Cost = &farm.Cost{Capital: 20000, UpkeepPerYear: 300, Years: 15}
	})
}

// figuresOf are all figures that money, heat and recovery have.
func figuresOf(s *Season) []Figure {
	var out []Figure
	for _, list := range [][]Named{s.Heat.Seen, s.Heat.Whole, s.Saving.Figures, s.Saving.Whole, s.Saving.Cost.Figures, s.Plant.Figures, s.Electricity} {
		for _, n := range list {
			out = append(out, n.Figure)
		}
	}
	return out
}

// An error stated as a share and the same one as a figure give the same report.
func TestAbsoluteAndPercentAreTheSame(t *testing.T) {
	rec := recordOf(t, 21)
	plain := withErrors(rec)
	share := 0.08
	var percent, absolute []farm.StatedError
	for _, key := range []string{"pumps.plate_kw", "tank.volume_l", "instead.efficiency", "instead.price_per_kwh", "instead.co2_kg_per_kwh", "electricity.price_per_kwh",
		"electricity.co2_kg_per_kwh", "milk.specific_heat_kj_per_kg_k", "milk.density_kg_per_l", "plant.standing_gain_kw", "cost.capital", "cost.upkeep_per_year"} {
		value := errorKeys(plain.Farm)[key]
		require.Greater(t, value, 0.0, key)
		percent = append(percent, farm.StatedError{Key: key, HalfWidth: share, Relative: true})
		absolute = append(absolute, farm.StatedError{Key: key, HalfWidth: share * value})
	}
	year := func(o *Options) {
		few(o)
		o.Cost.LeastDays = 1
	}
	a, b := figuresOf(compute(t, withErrors(rec, percent...), year)), figuresOf(compute(t, withErrors(rec, absolute...), year))
	require.Len(t, b, len(a))
	for i := range a {
		for _, x := range [][2]float64{{a[i].Value, b[i].Value}, {a[i].Low, b[i].Low}, {a[i].High, b[i].High}} {
			if x[0] == x[0] || x[1] == x[1] {
				require.InEpsilon(t, x[0]+1e5, x[1]+1e5, 1e-9, "figure %d", i)
			}
		}
	}
}

// Ratings that stand for meters, and meters themselves, likewise.
func TestAbsoluteErrorsOfRatingsAndMeters(t *testing.T) {
	f := &farm.Farm{
		Loop: &farm.Loop{DrawL: 180, FlowLMin: 9, BedAreaM2: 300}, Plate: &farm.Plate{FlowLMin: 11}, Plant: &farm.Plant{CompressorKW: 4.5, StandingGainKW: 0.2},
		Element: &farm.Element{PowerKW: 12}, Pumps: &farm.Pumps{LoopKW: 0.2, PlateKW: 0.11}, Tanks: []farm.Tank{{VolumeL: 300}, {VolumeL: 500}},
		Milk: farm.Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03},
	}
	for key, v := range map[string]float64{"loop.draw_l": 180, "loop.flow_l_min": 9, "plate.flow_l_min": 11, "plant.compressor_kw": 4.5, "element.power_kw": 12,
		"pumps.loop_kw": 0.2, "pumps.plate_kw": 0.11, "tank.volume_l": 400, "milk.density_kg_per_l": 1.03, "loop.bed_area_m2": 300, "plant.standing_gain_kw": 0.2} {
		f.Errors = []farm.StatedError{{Key: key, HalfWidth: 0.1 * v}}
		r := newRegistry(f, &grid.Grid{})
		s := r.sources[r.rated(grid.Source{Channel: -1, Key: key})]
		require.True(t, s.Relative, key)
		require.InDelta(t, 0.1, s.HalfWidth, 1e-12, key)
		f.Errors[0] = farm.StatedError{Key: key, HalfWidth: 0.1, Relative: true}
		r = newRegistry(f, &grid.Grid{})
		require.InDelta(t, s.HalfWidth, r.sources[r.key(key)].HalfWidth, 1e-12, key)
	}
	nan := nan
	for _, x := range []struct {
		c    grid.Channel
		half float64
		want float64
	}{
		{grid.Channel{Quantity: "loop_flow", From: "rate", Values: []float64{0, 8, 12, nan, 0}, UsualS: 60}, 0.5, 0.05},
		{grid.Channel{Quantity: "element_power", From: "rate", Values: []float64{0, 10, 10, 0}, UsualS: 60}, 0.2, 0.02},
		{grid.Channel{Quantity: "wash_volume", From: "amount", Values: []float64{0, 6, 6, 0}, UsualS: 600}, 3, 0.05},
		{grid.Channel{Quantity: "wash_volume", From: "counter", Values: []float64{0, 6, 6, 0}, UsualS: 600}, 3, 0.25},
		{grid.Channel{Quantity: "element_energy", From: "counter", Values: []float64{0, 12, 12}, UsualS: 60}, 0.1, 0.25},
		{grid.Channel{Quantity: "element_energy", From: "counter", Values: []float64{0, 0}, UsualS: 60}, 0.1, 0},
	} {
		e := ofMeter(&x.c, 60, farm.StatedError{HalfWidth: x.half})
		require.True(t, e.Relative)
		require.InDelta(t, x.want, e.HalfWidth, 1e-12, "%+v", x.c)
	}
	temp := ofMeter(&grid.Channel{Quantity: "wash_temp"}, 60, farm.StatedError{HalfWidth: 0.5})
	require.False(t, temp.Relative)
}

// A farm without a meter at its loop: litres of a refill stated to 9 L in 180 are
// stated to 5 %.
func TestAbsoluteDrawLitres(t *testing.T) {
	_, rec, _ := simulated(t, simfarm.Meterless(11, 300), few)
	at := func(e farm.StatedError) Figure {
		f := *rec.Farm
		f.Errors = []farm.StatedError{e}
		r := *rec
		r.Farm = &f
		return find(t, compute(t, &r, few).Heat.Seen, "loop_kwh")
	}
	percent := at(farm.StatedError{Key: "loop.draw_l", HalfWidth: 0.05, Relative: true})
	absolute := at(farm.StatedError{Key: "loop.draw_l", HalfWidth: 0.05 * rec.Farm.Loop.DrawL})
	require.InDelta(t, percent.Low, absolute.Low, 1e-6)
	require.InDelta(t, percent.High, absolute.High, 1e-6)
	require.Less(t, percent.High-percent.Low, 0.25*percent.Value)
}
