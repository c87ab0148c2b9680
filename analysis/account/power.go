package account

import (
	"math"
	"strings"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/work"
)

// Power is one use of electricity, a row a cycle.
type Power struct {
	Name string // "element", "pumps", "compressor"
	// Absent: neither the farm file nor the logs know of one.
	Absent bool
	// Why, if not empty: not logged; Rows is nil.
	Why     string
	WayName string // the way it is logged, in words
	Sources []grid.Source
	Rows    []PowerRow
	// UsualPrice by cycle: of a kWh at the hours at which this use usually runs;
	// nil without prices, NaN where none of them has one.
	UsualPrice []float64
	// ByLine: kWh by price of electricity (see PriceLines) and cycle; UsualShare:
	// how a kWh of the usual hours falls on the prices, NaN where none has one. nil
	// without rates.
	ByLine, UsualShare [][]float64
}

// PowerRow is one cycle's electricity. Its derivative with respect to the
// meter's relative error is KWh (and Cost) itself.
type PowerRow struct {
	KWh float64
	// Cost at the price of the hour; NaN where the farm file gives no price.
	Cost float64
	// CoveredS of the cycle's seconds.
	CoveredS float64
	// LateKWh: compressor only, later than Options.LateMilkingS after the end
	// of the last milking; NaN without milkings.
	LateKWh float64
}

// Covered: known for at least share of the cycle.
func (r PowerRow) Covered(c cycle.Cycle, share float64) bool {
	return r.CoveredS >= share*float64(c.End-c.Start)/1000-1e-6
}

// SeenShare is the part of the cycle that was seen, 0 to 1.
func (r PowerRow) SeenShare(c cycle.Cycle) float64 {
	return min(1, r.CoveredS*1000/float64(max(1, c.End-c.Start)))
}

// Column takes one sum of every row.
func (p *Power) Column(of func(PowerRow) float64) []float64 {
	out := make([]float64, len(p.Rows))
	for i, r := range p.Rows {
		out[i] = of(r)
	}
	return out
}

// powers finds element and compressor, which washes and milkings are judged by.
func (m *maker) powers() {
	m.compressor = m.flow("compressor_power")
	m.element = m.flow("element_power")
}

// cold (and electricity) sums what is bought and what the milk gives.
func (m *maker) cold() {
	m.lines = Lines(m.g, m.farm.Electricity, m.zone)
	prices := pricesOf(m.g, m.farm.Electricity, m.lines)
	a := m.acc
	pumps := m.flow("pump_power")
	var side work.Group
	defer side.Settle()
	side.Go(func() { a.Element = m.power("element", m.element, prices) })
	side.Go(func() { a.Compressor = m.power("compressor", m.compressor, prices) })
	a.Pumps = m.power("pumps", pumps, prices)
	side.Wait()
	m.lateCompressor()
	m.solar(prices)
	m.milk()
}

func (m *maker) power(name string, s *grid.Stream, prices []float64) Power {
	p := Power{Name: name}
	if s == nil {
		p.Why = "no " + strings.TrimSuffix(name, "s") + " power, energy, or state with a rated power is logged"
		p.Absent = m.absent(name)
		return p
	}
	p.WayName, p.Sources = s.Name, s.Sources
	p.Rows = SumPower(m.g, s.Values, prices, m.acc.Cycles)
	p.UsualPrice = m.usualPrices(s.Values, prices, m.acc.Cycles)
	p.ByLine, p.UsualShare = m.byLine(s.Values, m.acc.Cycles), m.usualShares(s.Values, m.acc.Cycles)
	return p
}

// absent: nothing speaks of this use of electricity.
func (m *maker) absent(name string) bool {
	switch name {
	case "element":
		return m.farm.Element == nil && !m.has("element_on")
	case "pumps":
		return m.farm.Pumps == nil && !m.has("loop_pump", "plate_pump")
	}
	return m.farm.Plant == nil && !m.has("compressor_on")
}

// SumPower adds up power (kW a cell) and its cost by cycle. prices, one a cell,
// may be nil.
func SumPower(g *grid.Grid, kw, prices []float64, cycles []cycle.Cycle) []PowerRow {
	rows := make([]PowerRow, len(cycles))
	hours := g.Hours()
	for i, c := range cycles {
		r := &rows[i]
		r.LateKWh = math.NaN()
		n := 0
		for k := c.A; k < c.B; k++ {
			v := kw[k]
			if v != v {
				continue
			}
			n++
			r.KWh += v
			if prices != nil && v != 0 {
				r.Cost += v * prices[k]
			}
		}
		r.KWh *= hours
		r.Cost *= hours
		if prices == nil {
			r.Cost = math.NaN()
		}
		r.CoveredS = float64(n) * g.StepS
	}
	return rows
}

// lateCompressor sums the compressor's work long after the last milking: where
// it is much, ice was made.
func (m *maker) lateCompressor() {
	a := m.acc
	if m.compressor == nil || len(a.Milkings) == 0 || !m.timed(cycle.Cycle{}) {
		return
	}
	k, late := 0, int64(m.opt.LateMilkingS*1000)
	for i, c := range a.Cycles {
		sum := 0.0
		for cell := c.A; cell < c.B; cell++ {
			at := m.g.EdgeMS(cell)
			for k+1 < len(a.Milkings) && a.Milkings[k+1].Start <= at {
				k++
			}
			v := m.compressor.Values[cell]
			if v == v && at-milkingEnd(a.Milkings[k]) > late {
				sum += v
			}
		}
		a.Compressor.Rows[i].LateKWh = sum * m.g.Hours()
	}
}

// usualMilkingMS stands for a milking whose end is not known: two hours
// (common practice, no source).
const usualMilkingMS = 2 * 3600 * 1000

// milkingEnd is a milking's end, or two hours after its start where none is
// known.
func milkingEnd(m ingest.Milking) int64 {
	if m.End > m.Start {
		return m.End
	}
	return m.Start + usualMilkingMS
}

// Solar is what of the element's electricity came from the farm's own sun, a
// row a cycle.
type Solar struct {
	// Why, if not empty: neither grid nor solar is logged; Rows is nil.
	Why string
	// OnlyHigh: solar power alone is logged; the low end is not known.
	OnlyHigh bool
	Sources  []grid.Source
	Rows     []SolarRow
	// MidByLine: kWh midway between both ends by price of electricity and cycle;
	// nil without rates.
	MidByLine [][]float64
}

// SolarRow holds both ends: the element last in line for the sun (low) and
// first (high), with what that electricity would have cost at the hour's
// price.
type SolarRow struct {
	LowKWh, HighKWh, LowCost, HighCost float64
	// CoveredS: all the channels it takes.
	CoveredS float64
}

// valueAt is a stream's value in a cell; NaN without the stream.
func valueAt(x *grid.Stream, k int) float64 {
	if x == nil {
		return math.NaN()
	}
	return x.Values[k]
}

// SolarShare is the part of the element's power that may have come from the
// sun, in kW, from the powers of one cell; NaN for those not logged:
//
//	low  = max(0, element − import)            the element last in line
//	high = min(element, solar − export)        the element first in line
//
// With import and export but no solar power: the high end is all of the
// element while electricity is exported, else the low end. With solar power
// alone: high = min(element, solar) and the low end is 0.
func SolarShare(elementKW, importKW, exportKW, solarKW float64) (lowKW, highKW float64) {
	known := importKW == importKW
	if known {
		lowKW = max(0, elementKW-importKW)
	}
	used := solarKW
	if exportKW == exportKW {
		used = max(0, solarKW-exportKW)
	}
	switch {
	case used == used:
		highKW = max(0, min(elementKW, used))
		lowKW = min(lowKW, highKW)
	case exportKW > 0:
		highKW = elementKW
	default:
		highKW = lowKW
	}
	return lowKW, highKW
}

func (m *maker) solar(prices []float64) {
	s := &m.acc.Solar
	imp, exp, sun := m.flow("grid_import_power"), m.flow("grid_export_power"), m.flow("solar_power")
	switch {
	case m.element == nil:
		s.Why = "no element power is logged"
		return
	case imp == nil && sun == nil:
		s.Why = "neither grid import nor solar power is logged"
		return
	}
	s.OnlyHigh = imp == nil
	for _, x := range []*grid.Stream{imp, exp, sun} {
		if x != nil {
			s.Sources = append(s.Sources, x.Sources...)
		}
	}
	at := valueAt
	s.Rows = make([]SolarRow, len(m.acc.Cycles))
	if m.lines != nil {
		s.MidByLine = m.perLine()
	}
	hours := m.g.Hours()
	for i, c := range m.acc.Cycles {
		r := &s.Rows[i]
		for k := c.A; k < c.B; k++ {
			e, in, out, pv := m.element.Values[k], at(imp, k), at(exp, k), at(sun, k)
			if e != e || imp != nil && in != in || exp != nil && out != out || sun != nil && pv != pv {
				continue
			}
			r.CoveredS += m.g.StepS
			if e == 0 {
				continue
			}
			low, high := SolarShare(e, in, out, pv)
			r.LowKWh, r.HighKWh = r.LowKWh+low*hours, r.HighKWh+high*hours
			if m.lines != nil && m.lines[k] >= 0 {
				s.MidByLine[m.lines[k]][i] += (low + high) / 2 * hours
			}
			if prices != nil {
				r.LowCost, r.HighCost = r.LowCost+low*hours*prices[k], r.HighCost+high*hours*prices[k]
			}
		}
		if prices == nil {
			r.LowCost, r.HighCost = math.NaN(), math.NaN()
		}
	}
}
