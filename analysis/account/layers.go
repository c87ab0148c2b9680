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
//	refill   T ← mean of the V/2 that came in last, and of what stood there before
//	plate    T ← T_plate,in
//	element  T ← T + E/(C V/2)
//	always   T ← T − UA/C (T − T_air) dt,  T ≤ T_upper
//
// A refill pushes up what it finds: once V/2 has come in, nothing that stood
// below is left there. (Stirred into the lower half, as it was reckoned before, a
// sixth of the hot water was still there after a refill of nine tenths of the
// tank, and the loss of tanks read 3 % high.) E is a cell's kWh; UA (W/K) and the air (°C, by cell) of all
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
	low, in := math.NaN(), inflow{roomL: half}
	for k, top := range t.meanC {
		if low != low {
			low = top
		}
		if refill != nil && refill[k] == refill[k] {
			low = in.add(low, refill[k], m.loop.Flow.Values[k]*m.g.StepS/60)
		} else {
			in.stop()
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

// inflow is what has come in below in one run, the last roomL of it.
type inflow struct {
	roomL   float64
	beforeC float64 // what stood there before
	parts   []litres
	sumL    float64
	sumLC   float64 // litres times their temperature
}

type litres struct{ l, tempC float64 }

// add lets litres in and returns the mean of what then stands in the room;
// standsC is the mean before.
func (f *inflow) add(standsC, tempC, l float64) float64 {
	if len(f.parts) == 0 {
		f.beforeC = standsC
	}
	f.parts = append(f.parts, litres{l, tempC})
	f.sumL, f.sumLC = f.sumL+l, f.sumLC+l*tempC
	for f.sumL > f.roomL {
		p := &f.parts[0]
		out := min(p.l, f.sumL-f.roomL)
		f.sumL, f.sumLC, p.l = f.sumL-out, f.sumLC-out*p.tempC, p.l-out
		if p.l > 0 || len(f.parts) == 1 {
			break
		}
		f.parts = f.parts[1:]
	}
	return (f.beforeC*(f.roomL-f.sumL) + f.sumLC) / f.roomL
}

// stop ends a run.
func (f *inflow) stop() { f.parts, f.sumL, f.sumLC = f.parts[:0], 0, 0 }
