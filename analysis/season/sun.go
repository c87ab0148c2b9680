package season

import (
	"math"

	"yardheat/analysis/doubt"
)

// ownSun asks for the element's kWh that came from the farm's own sun: both
// ends from grid import and export, the high end alone from solar power.
func (b *builder) ownSun(dst *[]Named) {
	own, solar := b.solar(), &b.acc.Solar
	if !own.known {
		*dst = append(*dst, unknown("element_solar_kwh", "kWh", doubt.Estimated, solar.Why))
		return
	}
	var mid, half, seen, hours float64
	for i := range own.midKWh {
		mid, half = mid+own.midKWh[i], half+own.halfKWh[i]
		seen, hours = seen+solar.Rows[i].CoveredS/3600, hours+b.acc.Cycles[i].Hours()
	}
	coverage := math.Min(1, seen/math.Max(hours, 1e-9))
	b.later(dst, "element_solar_kwh", func() Figure {
		if solar.OnlyHigh {
			return doubt.Make(nan, nan, mid+half, "kWh", doubt.Estimated, len(own.midKWh), coverage,
				"only solar power is logged: what element and sun had in common is the high end; other uses may have taken it first")
		}
		return doubt.Make(mid, mid-half, mid+half, "kWh", doubt.Estimated, len(own.midKWh), coverage,
			"low end: the element last in line for the sun; high end: first")
	})
}

// movableSun asks for the element's kWh from the grid that the sun could have
// given in the same cycle of the tank.
func (b *builder) movableSun(dst *[]Named) {
	const key = "element_movable_kwh"
	v := b.acc.Movable
	if v.Why != "" {
		*dst = append(*dst, unknown(key, "kWh", doubt.Estimated, v.Why))
		return
	}
	coverage := float64(v.Stretches) / float64(max(1, v.All))
	b.later(dst, key, func() Figure {
		const how = "from wash to wash: no more than the sun left over, than the element's power takes and than the tank had room for; the longer loss of a hot tank is not taken off"
		if v.OnlyHigh {
			return doubt.Make(nan, nan, v.HighKWh, "kWh", doubt.Estimated, v.Stretches, coverage, how+". No export is logged: other uses may have taken the sun")
		}
		return doubt.Make((v.LowKWh+v.HighKWh)/2, v.LowKWh, v.HighKWh, "kWh", doubt.Estimated, v.Stretches, coverage, how)
	})
}
