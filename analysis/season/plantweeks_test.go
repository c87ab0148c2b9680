package season

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/plant"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/simfarm"
)

// withGas is a short simulated farm that logs the gas too; its plate loses
// foulPerDay of its effectiveness a day.
func withGas(seed uint64, foulPerDay float64) simfarm.Scenario {
	s := simfarm.Short(seed)
	s.Days, s.Plant.FoulPerDay, s.Plant.NightOnly = 42, foulPerDay, false
	s.Errors = append(s.Errors, simfarm.Stated{Key: "gas_in_temp", Half: 0.5})
	for i := range s.Loggers {
		for _, c := range s.Loggers[i].Columns {
			if c.Quantity == "plate_in_temp" {
				c.Header, c.Quantity, c.Signal = "Gas", "gas_in_temp", simfarm.Gas
				s.Loggers[i].Columns = append(s.Loggers[i].Columns, c)
				break
			}
		}
	}
	return s
}

func weekly(s *Season, key string) (all, own []Figure) {
	for _, w := range s.Plant.Weeks {
		all, own = append(all, named1(w.Figures, key)), append(own, named1(w.Own, key))
	}
	return all, own
}

// The plate of a simulated farm fouls by half a percent of its effectiveness a
// day: the weeks show it by that much, and the flow's weeks do not.
func TestWeeksShowTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated season")
	}
	const foul = 0.005
	sc := withGas(4, foul)
	_, rec := load(t, sc)
	s := compute(t, rec, nil)
	require.GreaterOrEqual(t, len(s.Plant.Weeks), 6)
	eff, own := weekly(s, "plate_effectiveness")
	for i, f := range eff[:6] {
		middle := float64(s.Plant.Weeks[i].From+s.Plant.Weeks[i].To) / 2
		day := (middle - float64(rec.First)) / 86400_000
		truth := sc.Plant.PlateEffectiveness * (1 - foul*day)
		require.True(t, f.Low < truth && truth < f.High, "week %d: %s, truth %.3f", i, f.Shown, truth)
		require.Less(t, own[i].High-own[i].Low, f.High-f.Low+0.02, "own")
	}
	fell := foul * 35 * sc.Plant.PlateEffectiveness // errors of the probes shift all weeks alike
	require.InDelta(t, fell, eff[0].Value-eff[5].Value, 0.1*fell)
	flow, _ := weekly(s, "plate_flow_l_min")
	require.InDelta(t, 1, flow[5].Value/flow[0].Value, 0.01)
	require.InDelta(t, sc.Plant.PlateFlowLMin, flow[0].Value, 0.07*sc.Plant.PlateFlowLMin)
	kWh, _ := weekly(s, "caught_per_kwh")
	total := find(t, s.Plant.Figures, "caught_per_kwh")
	low, high := slices.MinFunc(kWh, byValue).Value, slices.MaxFunc(kWh, byValue).Value
	require.True(t, low < total.Value && total.Value < high, "%v in %v to %v", total.Value, low, high)
}

func byValue(a, b Figure) int {
	switch {
	case a.Value < b.Value:
		return -1
	case a.Value > b.Value:
		return 1
	}
	return 0
}

// Without milk data recovery is judged from compressor and plate alone, and the
// report says what is then unknown.
func TestPlantWithoutMilk(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated season")
	}
	_, rec := load(t, withGas(5, 0))
	rec.Milkings, rec.MilkingsFrom = nil, ""
	rec.Farm.Milkings = farm.Milkings{}
	rec.Series = slices.DeleteFunc(rec.Series, func(x *series.Series) bool { return x.Quantity == "milk_volume" })
	s := compute(t, rec, nil)
	for _, key := range []string{"recovery_fraction", "heat_rejected_kwh", "cop", "rejected_per_kwh", "recovery_per_k"} {
		f := find(t, s.Plant.Figures, key)
		require.True(t, math.IsNaN(f.Value), key)
		require.Equal(t, plant.WhyNoMilk, f.Why, key)
	}
	f := find(t, s.Plant.Figures, "caught_per_kwh")
	require.True(t, f.Low < f.Value && f.Value < f.High)
	require.NotEmpty(t, s.Plant.Weeks)
	require.Equal(t, plant.WhyNoMilk, find(t, s.Plant.Weeks[0].Figures, "recovery_fraction").Why)
	require.False(t, math.IsNaN(find(t, s.Plant.Weeks[0].Figures, "caught_per_kwh").Value))
	require.NotEmpty(t, s.Plant.MilkCold.Why)
}

// Where the tank is soon too warm for the plate, the pump stops while the
// compressor runs on: heat is left behind, about what the plate would have
// caught from water as warm as it was; a farm whose tank is never too warm leaves none.
func TestLeftBehindInTheSeason(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated season")
	}
	sc := withGas(7, 0)
	sc.Plant.StopC = 200
	_, rec := load(t, sc)
	never := compute(t, rec, nil)
	sc.Plant.StopC = 50
	_, rec = load(t, sc)
	early := compute(t, rec, nil)
	f, g := find(t, never.Plant.Figures, "left_kwh"), find(t, early.Plant.Figures, "left_kwh")
	require.Less(t, f.Value, 0.02*find(t, never.Plant.Figures, "heat_caught_kwh").Value)
	require.Greater(t, early.Plant.LeftCycles, 10)
	require.Equal(t, g.Basis, f.Basis)
	require.True(t, g.Low < g.Value && g.Value < g.High)
	// By the simulator's own figures: ε ρ V c (T_gas − T_stop) for the time that
	// the water stood.
	p := sc.Plant
	kW := p.PlateEffectiveness * p.PlateFlowLMin / 60 * 0.988 * 4.18 * (p.GasC + 0.1*(p.StopC-25) + 0.25*(sc.Climate.OutdoorC-10) - p.StopC)
	want := kW * early.Plant.LeftS / 3600
	t.Logf("left %s, by the simulator's figures %.0f", g.Shown, want)
	require.InDelta(t, 1, g.Value/want, 0.25)
	require.True(t, g.Low < want && want < g.High)
}

// Milk is judged with and without water at the plate.
func TestMilkColdByGroup(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated season")
	}
	_, rec := load(t, withGas(7, 0))
	s := compute(t, rec, nil)
	m := s.Plant.MilkCold
	require.Empty(t, m.Why)
	require.Contains(t, m.Basis, "list")
	require.Equal(t, len(s.Cycles), m.With.Cycles+m.Without.Cycles+countUnknownMilk(s))
	require.Equal(t, 0, m.With.TooWarm)
	require.InDelta(t, 4, m.With.MeanC.Value, 1)
	rec.Farm.Milk.LimitC = 1
	require.Equal(t, m.With.Cycles, compute(t, rec, nil).Plant.MilkCold.With.TooWarm)
}

func countUnknownMilk(s *Season) int {
	n := 0
	for _, c := range s.Cycles {
		if math.IsNaN(c.MilkColdAfter2hC) {
			n++
		}
	}
	return n
}

func named1(list []Named, key string) Figure {
	i := slices.IndexFunc(list, func(n Named) bool { return n.Key == key })
	return list[i].Figure
}
