package account

import (
	"math"

	"yardheat/analysis/grid"
	"yardheat/ingest/series"
)

// Movable is what the element took from the grid and could have taken from the
// farm's own sun in the same cycle of the tank: from the end of one wash to the
// start of the next, in which the water waits.
type Movable struct {
	// Why, if not empty: not known.
	Why string
	// LowKWh: the element first in line for the sun, so that less is left to
	// move; HighKWh: last.
	LowKWh, HighKWh float64
	// OnlyHigh: no export is logged, and other uses of the sun are not known.
	OnlyHigh bool
	// Stretches counted, of All between washes (the others have gaps).
	Stretches, All int
}

// Why the movable kWh are not known.
const (
	WhyNoSurplus = "neither grid export nor solar power is logged: what was left of the sun is not known"
	WhyNoTank    = "no tank temperature with a tank volume: how much heat the tank could have taken is not known"
	WhyNoCycle   = "no stretch from wash to wash is covered"
)

// movable sums, over the stretches between washes,
//
//	min( Σ grid·dt,  Σ min(surplus, rated − element)·dt,  C (T_to − T_tank) )
//
// grid the element's power that was not the sun's, surplus what was exported
// (without that: solar less element, compressor and pumps), rated the element's
// power, T_to what it heats to, T_tank the tank when surplus first came. The
// loss of a tank that is hot for longer is not taken off.
func (m *maker) movable() {
	v := &m.acc.Movable
	exp, sun := m.again("grid_export_power"), m.again("solar_power")
	switch {
	case m.element == nil:
		v.Why = "no element power is logged"
	case exp == nil && sun == nil:
		v.Why = WhyNoSurplus
	case m.tankTop == nil || len(m.acc.Store.tanks) == 0:
		v.Why = WhyNoTank
	}
	if v.Why != "" {
		return
	}
	v.OnlyHigh = exp == nil
	s := mover{m: m, surplus: m.surplus(), ratedKW: m.ratedElementKW(), heatToC: m.heatToC()}
	s.lowKW, s.highKW = m.sunOfElement()
	for _, t := range m.acc.Store.tanks {
		s.kWhPerK += t.kWh(50.5) - t.kWh(49.5)
	}
	for _, x := range m.betweenWashes() {
		v.All++
		low, ok := s.stretch(x[0], x[1], s.highKW)
		if !ok {
			continue
		}
		high, _ := s.stretch(x[0], x[1], s.lowKW)
		v.Stretches++
		v.LowKWh, v.HighKWh = v.LowKWh+low, v.HighKWh+high
	}
	if v.Stretches == 0 {
		v.Why = WhyNoCycle
	}
}

// mover holds what every stretch asks for, by cell, kW.
type mover struct {
	m                *maker
	surplus          []float64
	lowKW, highKW    []float64
	ratedKW, heatToC float64
	kWhPerK          float64
}

// stretch is what could have moved within the cells [a, b), of the element's
// power ownKW had from the sun as it was; ok is false where more of it is
// missing than an account cycle may lack.
func (s *mover) stretch(a, b int, ownKW []float64) (kWh float64, ok bool) {
	grid, free, room, n := 0.0, 0.0, math.NaN(), 0
	for k := a; k < b; k++ {
		e, left := s.m.element.Values[k], s.surplus[k]
		if e != e || left != left || ownKW[k] != ownKW[k] {
			continue
		}
		n++
		grid += e - ownKW[k]
		f := math.Min(left, math.Max(0, s.ratedKW-e))
		free += f
		if f > 0 && room != room {
			room = s.kWhPerK * math.Max(0, s.heatToC-s.m.tankTop.Values[k])
		}
	}
	if n == 0 || float64(n) < s.m.opt.Cycle.CoveredShare*float64(b-a) {
		return 0, false
	}
	if free == 0 || room != room {
		return 0, true
	}
	h := s.m.g.Hours()
	return math.Max(0, math.Min(math.Min(grid*h, free*h), room)), true
}

// again is a flow whose problems are listed already.
func (m *maker) again(q series.Quantity) *grid.Stream {
	s, _ := m.g.Flow(m.farm, q, m.opt.Grid)
	return s
}

// surplus is what was left of the sun, kW by cell.
func (m *maker) surplus() []float64 {
	if s := m.again("grid_export_power"); s != nil {
		return s.Values
	}
	sun := m.again("solar_power").Values
	out := make([]float64, m.g.N)
	pumps := m.again("pump_power")
	for k, v := range sun {
		v -= m.element.Values[k]
		if m.compressor != nil {
			v -= m.compressor.Values[k]
		}
		if pumps != nil {
			v -= pumps.Values[k]
		}
		out[k] = v
		if v < 0 {
			out[k] = 0
		}
	}
	return out
}

// sunOfElement is the element's power that came from the sun, at both ends.
func (m *maker) sunOfElement() (lowKW, highKW []float64) {
	imp, exp, sun := m.again("grid_import_power"), m.again("grid_export_power"), m.again("solar_power")
	lowKW, highKW = make([]float64, m.g.N), make([]float64, m.g.N)
	for k, e := range m.element.Values {
		if e != e {
			lowKW[k], highKW[k] = math.NaN(), math.NaN()
			continue
		}
		lowKW[k], highKW[k] = SolarShare(e, valueAt(imp, k), valueAt(exp, k), valueAt(sun, k))
	}
	return lowKW, highKW
}

// ratedElementKW is the farm file's figure, else what the element draws at work.
func (m *maker) ratedElementKW() float64 {
	if m.farm.Element != nil && m.farm.Element.PowerKW > 0 {
		return m.farm.Element.PowerKW
	}
	top := 0.0
	for _, v := range m.element.Values {
		top = math.Max(top, seen(v))
	}
	return top
}

// heatToC is the farm file's figure, else the hottest that the tank was.
func (m *maker) heatToC() float64 {
	if m.farm.Wash != nil && m.farm.Wash.HasHeatTo {
		return m.farm.Wash.HeatToC
	}
	top := 0.0
	for _, v := range m.tankTop.Values {
		top = math.Max(top, seen(v))
	}
	return top
}

// seen is 0 for what is not covered.
func seen(v float64) float64 {
	if v != v {
		return 0
	}
	return v
}

// betweenWashes are the cells from the end of each wash (rinses apart) to the
// start of the next; without washes the cycles.
func (m *maker) betweenWashes() [][2]int {
	var out [][2]int
	last := -1
	for _, w := range m.acc.Washes {
		if w.Rinse {
			continue
		}
		if last >= 0 && w.A > last {
			out = append(out, [2]int{last, w.A})
		}
		last = w.B
	}
	if last >= 0 {
		return out
	}
	for _, c := range m.acc.Cycles {
		if c.Whole && c.B > c.A {
			out = append(out, [2]int{c.A, c.B})
		}
	}
	return out
}
