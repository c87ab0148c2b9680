package account

import (
	"math"

	"yardheat/analysis/grid"
	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// lowC is the lower half's temperature of a tank of which only the upper part
// has a probe, told by what is known of the water below: a refill enters there,
// the plate draws from there, the element heats there until both halves are
// alike,
//
//	refill   T ← (T V/2 + T_out v)/(V/2 + v)
//	plate    T ← T_plate,in
//	element  T ← T + E/(C V/2)
//	always   T ← T − UA/C (T − T_air) dt,  T ≤ T_upper
//
// v the cell's litres, E its kWh; UA (W/K) and the air (°C, by cell) of all
// tanks. A coarse picture (two mixed halves), good for
// how far the upper probe stands for the whole; ok is false where neither loop
// nor plate shows the water below.
func (m *maker) lowC(t tank, air []float64, wPerK float64) (lowC []float64, ok bool) {
	refill := m.flowing(m.loop, "loop_out_temp")
	plate := m.flowing(m.plate, "plate_in_temp")
	if refill == nil && plate == nil || !(t.VolumeL > 0) {
		return nil, false
	}
	half := t.VolumeL / 2
	kWhPerK := t.kWh(50.5) - t.kWh(49.5)
	lowC = make([]float64, m.g.N)
	cool := wPerK / 1000 * m.g.Hours() / kWhPerK * m.shareOfVolume(t)
	low := math.NaN()
	for k, top := range t.meanC {
		if low != low {
			low = top
		}
		if refill != nil && refill[k] == refill[k] {
			v := m.loop.Flow.Values[k] * m.g.StepS / 60
			low = (low*half + refill[k]*v) / (half + v)
		}
		if plate != nil && plate[k] == plate[k] {
			low = plate[k]
		}
		if m.element != nil && m.element.Values[k] > 0 {
			low += m.element.Values[k] * m.g.Hours() / (kWhPerK / 2)
		}
		if a := air[k]; a == a {
			low -= cool * (low - a)
		}
		if low > top {
			low = top
		}
		lowC[k] = low
	}
	return lowC, true
}

// shareOfVolume is a tank's part of the volume of all.
func (m *maker) shareOfVolume(t tank) float64 {
	volume := 0.0
	for _, x := range m.acc.Store.tanks {
		volume += x.VolumeL
	}
	return t.VolumeL / volume
}

// flowing is a pipe probe's temperature as booked, by cell; NaN where no water
// moves or it is not known. nil without flow or probe.
func (m *maker) flowing(r *grid.Runs, q series.Quantity) []float64 {
	probe := m.g.Stream(q)
	if r == nil || probe == nil {
		return nil
	}
	out := room.Make[float64](m.g.N)
	for k := range out {
		out[k] = math.NaN()
	}
	booked := r.Book(probe, m.book(probe, 0))
	for j, k := range r.Cells {
		if !r.Trickle[j] {
			out[k] = booked.TempC[j]
		}
	}
	return out
}
