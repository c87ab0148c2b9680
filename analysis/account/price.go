package account

import (
	"math"
	"time"

	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
	"yardheat/ingest/series/room"
)

// Prices of electricity, one a cell; nil where the farm file gives none. A cell
// at which no rate holds and that has no price_per_kwh is NaN.
func Prices(g *grid.Grid, e *farm.Electricity, zone *time.Location) []float64 {
	return pricesOf(g, e, Lines(g, e, zone))
}

func pricesOf(g *grid.Grid, e *farm.Electricity, lines []int16) []float64 {
	if e == nil || !e.HasPrice && len(e.Rates) == 0 {
		return nil
	}
	out := room.Make[float64](g.N)
	if len(e.Rates) == 0 {
		for i := range out {
			out[i] = e.PricePerKWh
		}
		return out
	}
	list := PriceLines(e)
	for i, k := range lines {
		out[i] = math.NaN()
		if k >= 0 {
			out[i] = list[k].PerKWh
		}
	}
	return out
}

// PriceLine is one price of electricity as the farm file states it.
type PriceLine struct {
	// Rate is its place among farm.Electricity.Rates; −1: price_per_kwh.
	Rate   int
	PerKWh float64
}

// PriceLines are all prices of electricity: price_per_kwh, if stated, then the
// rates.
func PriceLines(e *farm.Electricity) []PriceLine {
	var out []PriceLine
	if e == nil {
		return nil
	}
	if e.HasPrice {
		out = append(out, PriceLine{Rate: -1, PerKWh: e.PricePerKWh})
	}
	for i, r := range e.Rates {
		out = append(out, PriceLine{Rate: i, PerKWh: r.PricePerKWh})
	}
	return out
}

// Lines says which of the PriceLines holds in each cell; −1: none. nil where
// there are no rates, and so one price at most.
func Lines(g *grid.Grid, e *farm.Electricity, zone *time.Location) []int16 {
	if e == nil || len(e.Rates) == 0 {
		return nil
	}
	out := room.Make[int16](g.N)
	// Zones change and rates begin on whole quarters of an hour or, at worst,
	// minutes: one look-up a minute serves all cells in it.
	minute, line := int64(math.MinInt64), int16(-1)
	var wall wall
	for i := range out {
		at := g.EdgeMS(i)
		if now := floorDiv(at, 60000); now != minute {
			minute = now
			line = int16(lineAt(e, wall.at(now*60000, zone)))
		}
		out[i] = line
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
	if k := lineAt(e, at); k >= 0 {
		return PriceLines(e)[k].PerKWh
	}
	return math.NaN()
}

// lineAt is the place of that price among the PriceLines; −1: none.
func lineAt(e *farm.Electricity, at Moment) int {
	line, first := -1, 0
	if e.HasPrice {
		line, first = 0, 1
	}
	var since time.Time
	found := false
	for i, r := range e.Rates {
		if r.Since.UnixMilli() > at.MS && !r.Since.IsZero() || !holds(r, at) {
			continue
		}
		if !found || !r.Since.Before(since) {
			found, since, line = true, r.Since, first+i
		}
	}
	return line
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
	switch k := InsteadLine(in, ms); {
	case k > 0:
		return in.PriceSince[k-1].PricePerKWh
	case k == 0:
		return in.PricePerKWh
	}
	return math.NaN()
}

// InsteadLine says which price of the carrier holds at a time: 0 price_per_kwh,
// k the k-th of the dated prices, −1 none.
func InsteadLine(in *farm.Instead, ms int64) int {
	line := -1
	if in == nil {
		return line
	}
	if in.HasPrice {
		line = 0
	}
	for i, p := range in.PriceSince {
		if p.Since.UnixMilli() <= ms {
			line = i + 1
		}
	}
	return line
}
