package account

import (
	"math"

	"yardheat/analysis/cycle"
	"yardheat/ingest/series/room"
)

// Fill estimates what a total would be over the whole period from the cycles
// seen.
type Fill struct {
	// SeenKWh is the total as seen, WholeKWh the estimate for all the time.
	SeenKWh, WholeKWh float64
	// MissingH of PeriodH were not seen; Coverage = 1 − MissingH/PeriodH.
	MissingH, PeriodH, Coverage float64
	// ExtraVar is the variance, kWh², that the estimate has beyond the total as
	// seen: the missing cycles' own scatter and the mean's.
	ExtraVar float64
	// Cycles behind the mean.
	Cycles int
	// PerH is the covered cycles' mean, kWh an hour seen; 0 where nothing is missing.
	PerH float64
	// Added is what is added to each cycle's seen sum, kWh.
	Added []float64
	// Why, if not empty: too few cycles were covered and WholeKWh is NaN.
	Why string
}

// FillUp fills what was not seen with the covered cycles' mean by time,
//
//	whole = Σ (q + r d (1 − share)) over covered cycles + Σ max(q, r d) over the others,
//	r = Σ q / Σ d share over covered cycles,
//	var = s² (D_miss/d̄) (1 + D_miss/D_cov) (1+ρ)/(1−ρ)
//
// q kWh and d hours of a cycle; D_miss the hours so filled, D_cov those seen of
// covered cycles, d̄ and s² their mean length and the variance of q about r d,
// ρ their lag-one correlation (between 0 and 0.9): n' = n(1−ρ)/(1+ρ), common
// practice. Of a cycle seen in part the heat comes in an hour or so, inside the
// part or not: its share of the time says little, the others' mean more. kWh,
// hours, share (0 to 1 of its heat that was seen) have one value a cycle.
func FillUp(kWh, hours, share []float64, covered []bool) Fill {
	f := Fill{Added: make([]float64, len(kWh))}
	var q, d float64
	for i, v := range kWh {
		f.PeriodH += hours[i]
		f.MissingH += hours[i] * (1 - share[i])
		f.SeenKWh += v
		if covered[i] && share[i] > 0 {
			q, d = q+v, d+hours[i]*share[i]
			f.Cycles++
		}
	}
	f.Coverage = 1 - f.MissingH/math.Max(f.PeriodH, 1e-9)
	f.WholeKWh = f.SeenKWh
	if f.MissingH < 1e-9*math.Max(f.PeriodH, 1) {
		return f
	}
	if f.Cycles < 2 {
		f.WholeKWh, f.ExtraVar, f.Why = math.NaN(), math.NaN(), "fewer than two cycles were covered"
		return f
	}
	r, filledH := q/d, 0.0
	f.PerH = r
	for i, v := range kWh {
		if covered[i] && share[i] > 0 {
			f.Added[i] = r * hours[i] * (1 - share[i])
			filledH += hours[i] * (1 - share[i])
		} else {
			f.Added[i] = math.Max(0, r*hours[i]-v)
			filledH += hours[i]
		}
		f.WholeKWh += f.Added[i]
	}
	s2, rho := scatter(kWh, hours, share, covered, r, f.Cycles)
	f.ExtraVar = s2 * filledH / (d / float64(f.Cycles)) * (1 + filledH/d) * (1 + rho) / (1 - rho)
	return f
}

// scatter is the variance of the covered cycles about r kWh an hour, and the
// correlation of neighbours.
func scatter(kWh, hours, share []float64, covered []bool, r float64, cycles int) (s2, rho float64) {
	var ss, cross, last float64
	have := false
	for i, v := range kWh {
		if !covered[i] || share[i] <= 0 {
			have = false
			continue
		}
		e := v - r*hours[i]*share[i]
		ss += e * e
		if have {
			cross += e * last
		}
		last, have = e, true
	}
	if ss > 0 {
		rho = math.Max(0, math.Min(0.9, cross/ss))
	}
	return ss / float64(cycles-1), rho
}

// FillHeat is FillUp for a stream.
func (a *Account) FillHeat(h *Heat, coveredShare float64) Fill {
	kwh, hours, share, ok := a.columns()
	for i, r := range h.Rows {
		kwh[i], share[i], ok[i] = r.KWh, r.SeenShare(a.Cycles[i]), r.Covered(a.Cycles[i], coveredShare)
	}
	return FillUp(kwh, hours, share, ok)
}

// FillPower is FillUp for electricity.
func (a *Account) FillPower(p *Power, coveredShare float64) Fill {
	kwh, hours, share, ok := a.columns()
	for i, r := range p.Rows {
		kwh[i], share[i], ok[i] = r.KWh, r.SeenShare(a.Cycles[i]), r.Covered(a.Cycles[i], coveredShare)
	}
	return FillUp(kwh, hours, share, ok)
}

// FillBaseline is FillUp for the heat that the alternative would have had to
// give: wash and other use together, without what is above heat_to_c. A cycle
// that lacks one of them counts as not seen.
func (a *Account) FillBaseline(coveredShare float64) Fill {
	kwh, hours, share, ok := a.columns()
	for i := range a.Cycles {
		if v := a.Row(i, coveredShare).BaselineHeatKWh; v == v {
			kwh[i], share[i], ok[i] = v, 1, true
		}
	}
	return FillUp(kwh, hours, share, ok)
}

func (a *Account) columns() (kwh, hours, share []float64, ok []bool) {
	n := len(a.Cycles)
	hours = make([]float64, n)
	for i, c := range a.Cycles {
		hours[i] = c.Hours()
	}
	return make([]float64, n), hours, make([]float64, n), make([]bool, n)
}

// usualPrices is what a kWh of one use would cost in each cycle if it were used
// at the hours at which this use usually runs,
//
//	p_i = Σ w(hour) price / Σ w(hour)   over the cycle's cells,
//
// w the kWh of all cells seen, by hour of the local day: a rate for the night or
// a price that rises shows in a cycle that was not seen. A cycle without any of
// the usual hours (a short one at the end of the record) has the mean of its
// prices. nil without prices; NaN for a cycle without a price.
func (m *maker) usualPrices(kw, prices []float64, cycles []cycle.Cycle) []float64 {
	if prices == nil {
		return nil
	}
	byHour, hourOf := m.usualHours(kw)
	out := make([]float64, len(cycles))
	for i, c := range cycles {
		var sum, w, plain, n float64
		for k := c.A; k < c.B; k++ {
			if prices[k] != prices[k] {
				continue
			}
			plain, n = plain+prices[k], n+1
			if v := byHour[hourOf[k]]; v > 0 {
				sum, w = sum+v*prices[k], w+v
			}
		}
		if w == 0 {
			sum, w = plain, n
		}
		out[i] = sum / w
	}
	return out
}

// usualHours are the kW of all cells seen, by hour of the local day, and the hour
// of each cell.
func (m *maker) usualHours(kw []float64) (byHour [24]float64, hourOf []uint8) {
	m.hourOnce.Do(func() {
		var clock wall
		m.hourOf = room.Make[uint8](m.g.N)
		for k := range m.hourOf {
			m.hourOf[k] = uint8(clock.at(m.g.EdgeMS(k), m.zone).Minute / 60 % 24)
		}
	})
	for k, h := range m.hourOf {
		if v := kw[k]; v == v {
			byHour[h] += v
		}
	}
	return byHour, m.hourOf
}
