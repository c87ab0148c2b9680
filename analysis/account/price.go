package account

import (
	"math"
	"time"

	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
)

// Prices of electricity, one a cell; nil where the farm file gives none. A cell
// at which no rate holds and that has no price_per_kwh is NaN.
func Prices(g *grid.Grid, e *farm.Electricity, zone *time.Location) []float64 {
	if e == nil || !e.HasPrice && len(e.Rates) == 0 {
		return nil
	}
	out := make([]float64, g.N)
	if len(e.Rates) == 0 {
		for i := range out {
			out[i] = e.PricePerKWh
		}
		return out
	}
	// Zones change and rates begin on whole quarters of an hour or, at worst,
	// minutes: one look-up a minute serves all cells in it.
	minute, price := int64(math.MinInt64), 0.0
	var wall wall
	for i := range out {
		at := g.EdgeMS(i)
		if now := floorDiv(at, 60000); now != minute {
			minute = now
			price = PriceAt(e, wall.at(now*60000, zone))
		}
		out[i] = price
	}
	return out
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// Moment is local time as a tariff sees it.
type Moment struct {
	MS      int64
	Minute  int // of the local day
	Weekday time.Weekday
}

// wall turns instants into local moments, asking the zone once a quarter of an
// hour: local midnights and changes of clock fall on quarters.
type wall struct {
	quarter int64
	base    Moment
	ok      bool
}

func (w *wall) at(ms int64, zone *time.Location) Moment {
	const quarterMS = 15 * 60 * 1000
	if q := floorDiv(ms, quarterMS); !w.ok || q != w.quarter {
		t := time.UnixMilli(q * quarterMS).In(zone)
		w.quarter, w.ok = q, true
		w.base = Moment{q * quarterMS, t.Hour()*60 + t.Minute(), t.Weekday()}
	}
	m := w.base
	m.Minute += int(ms-m.MS) / 60000
	m.MS = ms
	return m
}

// PriceAt is the price of electricity at one moment: of the rates that hold
// then, the one with the latest since, of like ones the last listed; else
// price_per_kwh; else NaN. A rate over midnight belongs to the day on which it
// begins.
func PriceAt(e *farm.Electricity, at Moment) float64 {
	price := math.NaN()
	if e.HasPrice {
		price = e.PricePerKWh
	}
	var since time.Time
	found := false
	for _, r := range e.Rates {
		if r.Since.UnixMilli() > at.MS && !r.Since.IsZero() || !holds(r, at) {
			continue
		}
		if !found || !r.Since.Before(since) {
			found, since, price = true, r.Since, r.PricePerKWh
		}
	}
	return price
}

func holds(r farm.Rate, at Moment) bool {
	day := at.Weekday
	switch {
	case r.FromMin == r.ToMin: // all day
	case r.FromMin < r.ToMin:
		if at.Minute < r.FromMin || at.Minute >= r.ToMin {
			return false
		}
	case at.Minute >= r.FromMin:
	case at.Minute < r.ToMin:
		day = (day + 6) % 7
	default:
		return false
	}
	return r.Days[day] || r.Days == [7]bool{}
}

// InsteadPrice is the price of the alternative's carrier at a time: the latest
// of the dated prices, else price_per_kwh; NaN where the farm file gives none.
func InsteadPrice(in *farm.Instead, ms int64) float64 {
	if in == nil {
		return math.NaN()
	}
	price := math.NaN()
	if in.HasPrice {
		price = in.PricePerKWh
	}
	for _, p := range in.PriceSince {
		if p.Since.UnixMilli() <= ms {
			price = p.PricePerKWh
		}
	}
	return price
}
