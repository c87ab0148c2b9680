package plant

import "yardheat/analysis/doubt"

// MilkHeatKWh is the heat that milk gives up from inC to outC,
//
//	Q = V ρ c (T_in − T_out)/3600
//
// V litres, ρ kg/L, c kJ/(kg K), Q in kWh. Whole milk: c 3.93 kJ/(kg K) (mean
// where no temperature is given; Indian dairy e-course, ICAR-IASRI, Dairy
// Engineering, lesson 3; other tables give 3.85 to 3.93), ρ 1.030 kg/L at
// 20 degC (Goff, Dairy Chemistry and Physics, University of Guelph).
func MilkHeatKWh(litres, inC, outC, specificHeatKJPerKgK, densityKgPerL float64) float64 {
	return litres * densityKgPerL * specificHeatKJPerKgK * (inC - outC) / 3600
}

// MilkSources are the places of the milk's errors among the sources of the
// trials; −1 for none.
type MilkSources struct {
	Volume, SpecificHeat, Density int // relative
	In, Out                       int // kelvins
}

// MilkPart is the milk heat of the cycles, kWh, with its response to the
// errors of volume, constants and both probes. litres, inC and outC have one
// value a cycle (flow-weighted temperatures).
func MilkPart(litres, inC, outC []float64, specificHeatKJPerKgK, densityKgPerL float64, src MilkSources) doubt.Part {
	n := len(litres)
	heat, up, down := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, l := range litres {
		heat[i] = MilkHeatKWh(l, inC[i], outC[i], specificHeatKJPerKgK, densityKgPerL)
		up[i] = MilkHeatKWh(l, 1, 0, specificHeatKJPerKgK, densityKgPerL)
		down[i] = -up[i]
	}
	return doubt.NewPart(heat, []int{src.Volume, src.SpecificHeat, src.Density},
		[]doubt.Effect{{Source: src.In, Per: up}, {Source: src.Out, Per: down}})
}
