package season

import (
	"math"

	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// [errors] takes a share or an absolute figure; a sum over the season takes the
// error of a meter, a rating or a price as a share of it, and that of an
// efficiency as a number. What follows brings the one form to the other.

// asShare is an absolute error as a share of what it is the error of. Where that
// is not known (or is nothing) the error can't be one of any sum: 0.
func asShare(e farm.StatedError, of float64) farm.StatedError {
	if e.Relative {
		return e
	}
	e.Relative = true
	if of = math.Abs(of); of > 0 && !math.IsInf(of, 0) {
		e.HalfWidth /= of
	} else {
		e.HalfWidth = 0
	}
	return e
}

// asUsed brings the error of a farm-file figure to the form in which the sums
// take it.
func (r *registry) asUsed(key string, e farm.StatedError) farm.StatedError {
	switch key {
	case "mains.temp_c", "cost.capital", "cost.upkeep_per_year": // taken as stated
	case "instead.efficiency":
		if e.Relative && r.farm.Instead != nil {
			e.Relative, e.HalfWidth = false, e.HalfWidth*r.farm.Instead.Efficiency
		}
	default:
		return asShare(e, keyValue(r.farm, key))
	}
	return e
}

// keyValue is the figure that the farm file gives for a key whose error is taken
// as a share; NaN where it gives none. Several tanks have a mean volume; where
// only rates or dated prices are stated, the first stands for all.
func keyValue(f *farm.Farm, key string) float64 {
	if f == nil {
		return nan
	}
	of := func(has bool, get func() float64) float64 {
		if !has {
			return nan
		}
		return get()
	}
	switch key {
	case "loop.draw_l":
		return of(f.Loop != nil, func() float64 { return f.Loop.DrawL })
	case "loop.flow_l_min":
		return of(f.Loop != nil, func() float64 { return f.Loop.FlowLMin })
	case "loop.bed_area_m2":
		return of(f.Loop != nil, func() float64 { return f.Loop.BedAreaM2 })
	case "plate.flow_l_min":
		return of(f.Plate != nil, func() float64 { return f.Plate.FlowLMin })
	case "tank.volume_l":
		sum := 0.0
		for _, t := range f.Tanks {
			sum += t.VolumeL / float64(len(f.Tanks))
		}
		return sum
	case "milk.specific_heat_kj_per_kg_k":
		return f.Milk.SpecificHeatKJPerKgK
	case "milk.density_kg_per_l":
		return f.Milk.DensityKgPerL
	case "plant.compressor_kw":
		return of(f.Plant != nil, func() float64 { return f.Plant.CompressorKW })
	case "plant.standing_gain_kw":
		return of(f.Plant != nil, func() float64 { return f.Plant.StandingGainKW })
	case "element.power_kw":
		return of(f.Element != nil, func() float64 { return f.Element.PowerKW })
	case "pumps.loop_kw":
		return of(f.Pumps != nil, func() float64 { return f.Pumps.LoopKW })
	case "pumps.plate_kw":
		return of(f.Pumps != nil, func() float64 { return f.Pumps.PlateKW })
	}
	return priceValue(f, key)
}

// priceValue is keyValue of prices and CO2 factors.
func priceValue(f *farm.Farm, key string) float64 {
	in, e := f.Instead, f.Electricity
	switch {
	case key == "instead.price_per_kwh" && in != nil && (in.HasPrice || len(in.PriceSince) == 0):
		return in.PricePerKWh
	case key == "instead.price_per_kwh" && in != nil:
		return in.PriceSince[0].PricePerKWh
	case key == "instead.co2_kg_per_kwh" && in != nil:
		return in.CO2KgPerKWh
	case key == "electricity.price_per_kwh" && e != nil && (e.HasPrice || len(e.Rates) == 0):
		return e.PricePerKWh
	case key == "electricity.price_per_kwh" && e != nil:
		return e.Rates[0].PricePerKWh
	case key == "electricity.co2_kg_per_kwh" && e != nil:
		return e.CO2KgPerKWh
	case key == "electricity.export_price_per_kwh" && e != nil:
		return e.ExportPerKWh
	}
	return nan
}

// ofMeter is the error of a meter as a share: of its mean reading while
// something passes, and of a running counter, which counts an error once, of all
// that it counted. Other probes' errors stay as stated.
func ofMeter(c *grid.Channel, stepS float64, e farm.StatedError) farm.StatedError {
	info, _ := series.Lookup(c.Quantity)
	hourly := 1.0 // of the channel's unit to that of the error, over an hour
	switch info.Class {
	case series.Flow, series.Power:
	case series.Volume:
		hourly = 60
	case series.Energy:
	default:
		return e
	}
	sum, n := 0.0, 0
	for _, v := range c.Values {
		if v > 0 {
			sum, n = sum+v, n+1
		}
	}
	switch mean := sum / float64(n); {
	case info.Class == series.Flow || info.Class == series.Power:
		return asShare(e, mean)
	case c.From == "counter":
		return asShare(e, sum*stepS/3600*hourly)
	default:
		return asShare(e, mean*c.UsualS/3600*hourly)
	}
}

// meanMilkL is the mean entry of the milkings list, L.
func (b *builder) meanMilkL() float64 {
	sum, n := 0.0, 0
	for _, m := range b.acc.Milk.Rows {
		if m.Litres > 0 {
			sum, n = sum+m.Litres, n+1
		}
	}
	return sum / float64(n)
}
