package season

import (
	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
)

// priceErrors are the places of what prices and CO2 factors may be off, as
// shares; −1: taken as exact, as prices are where [errors] states none. One error
// is that of all rates, and of all dated prices, for it is the same bill that
// they were read from.
type priceErrors struct{ fuel, fuelCO2, power, export, powerCO2 int }

// prices registers the errors of the prices and factors that the farm file gives.
func (r *registry) prices() priceErrors {
	p := priceErrors{-1, -1, r.powerPrice(), -1, -1}
	if in := r.farm.Instead; in != nil {
		if in.HasPrice || len(in.PriceSince) > 0 {
			p.fuel = r.key("instead.price_per_kwh")
		}
		if in.HasCO2 {
			p.fuelCO2 = r.key("instead.co2_kg_per_kwh")
		}
	}
	if e := r.farm.Electricity; e != nil {
		if e.HasExport {
			p.export = r.key("electricity.export_price_per_kwh")
		}
		if e.HasCO2 {
			p.powerCO2 = r.key("electricity.co2_kg_per_kwh")
		}
	}
	return p
}

// powerPrice is the place of the error of what electricity costs.
func (r *registry) powerPrice() int {
	if e := r.farm.Electricity; e != nil && (e.HasPrice || len(e.Rates) > 0) {
		return r.key("electricity.price_per_kwh")
	}
	return -1
}

// costPart is what a use of electricity costs, with the errors of its meters and
// of the price.
func (r *registry) costPart(p *account.Power) doubt.Part {
	return r.powerPart(p, powerCost).Times(r.powerPrice())
}

// errFactor is 1 and a source's error as a share.
func errFactor(e []float64, source int) float64 {
	if source < 0 {
		return 1
	}
	return 1 + e[source]
}
