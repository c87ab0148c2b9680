package account

import (
	"yardheat/analysis/cycle"
)

// byLine sums a power (kW a cell) by cycle and price of electricity: kWh, the
// price first; line, one a cell, as Lines gives it. Every kWh at a price times
// that price is the cost; what has no price stands nowhere.
func (m *maker) byLine(kw []float64, cycles []cycle.Cycle) [][]float64 {
	if m.lines == nil {
		return nil
	}
	out := m.perLine()
	hours := m.g.Hours()
	for i, c := range cycles {
		for k := c.A; k < c.B; k++ {
			if v, line := kw[k], m.lines[k]; v == v && line >= 0 {
				out[line][i] += v * hours
			}
		}
	}
	return out
}

// perLine is a column of zeros by cycle for each price.
func (m *maker) perLine() [][]float64 {
	out := make([][]float64, len(PriceLines(m.farm.Electricity)))
	for k := range out {
		out[k] = make([]float64, len(m.acc.Cycles))
	}
	return out
}

// usualShares is how a kWh of one use falls on the prices in each cycle if it is
// used at the hours at which this use usually runs: usualPrices is the sum of
// share times price.
func (m *maker) usualShares(kw []float64, cycles []cycle.Cycle) [][]float64 {
	if m.lines == nil {
		return nil
	}
	byHour, hourOf := m.usualHours(kw)
	out := m.perLine()
	plain := make([]float64, len(out))
	for i, c := range cycles {
		w, n := 0.0, 0.0
		clear(plain)
		for k := c.A; k < c.B; k++ {
			line := m.lines[k]
			if line < 0 {
				continue
			}
			plain[line]++
			n++
			if v := byHour[hourOf[k]]; v > 0 {
				out[line][i] += v
				w += v
			}
		}
		for line := range out {
			if w == 0 {
				out[line][i] = plain[line] / n
				continue
			}
			out[line][i] /= w
		}
	}
	return out
}
