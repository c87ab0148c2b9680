package simfarm

import (
	"math"
	"math/rand/v2"
	"time"
)

// Meterless is the farm of Short as most farms log theirs: the loop's inlet and
// outlet, the bed, the tank's upper probe, the compressor on or off, every
// intervalS seconds; no meter. The farm file states the litres of a refill
// within 10 %.
func Meterless(seed uint64, intervalS int) Scenario {
	s := Short(seed)
	r := rand.New(rand.NewPCG(seed, 0x3e7e))
	half := func(key string) Stated {
		for _, e := range s.Errors {
			if e.Key == key {
				return e
			}
		}
		return Stated{}
	}
	in := half("mains_temp")
	in.Key = "loop_in_temp"
	s.Errors = []Stated{
		in, half("loop_out_temp"), half("bed_temp"), half("tank_temp"),
		{Key: "loop.draw_l", Half: 0.10, Relative: true}, {Key: "instead.efficiency", Half: 0.03}, half("loop.length_m"),
	}
	step := pickF(r, 0.01, 0.1)
	temp := func(header, quantity string, at Signal) Column {
		return Column{Header: header, Unit: "°C", Quantity: quantity, Signal: at, Decimals: 2, Step: step, NoiseK: 0.02}
	}
	bed := temp("Bed", "bed_temp", BedProbe)
	bed.Place = "a"
	s.Loop.StateDraw = true
	s.Loggers = []Logger{{Name: "yard", Format: "csv", Separator: ',', Stamp: "iso", IntervalS: intervalS, IdleGaps: 2,
		// Started at four: the simulated pipe begins full of warm water.
		Gaps: [][2]float64{{-1, 28}},
		Columns: []Column{temp("Loop in", "loop_in_temp", Mains), temp("Loop out", "loop_out_temp", LoopOut), bed, temp("Tank", "tank_temp", TankTop),
			{Header: "Compressor", Quantity: "compressor_on", Signal: CompressorOn}}}}
	return s
}

// DrawSpan is one refill as it was: Unix seconds and litres.
type DrawSpan struct {
	Start, End int64
	Litres     float64
}

// DrawSpans are all refills, told apart by ten minutes.
func (f *Farm) DrawSpans() []DrawSpan {
	var out []DrawSpan
	t := &f.loop
	for i, s := range t.step {
		at := f.start + int64(s)*stepS
		if i == 0 || s-t.step[i-1] > 600/stepS {
			out = append(out, DrawSpan{Start: at})
		}
		d := &out[len(out)-1]
		d.End, d.Litres = at+stepS, d.Litres+t.litres[i]
	}
	return out
}

// drawL is the litres of a refill as the farm file states them: the season's
// mean with the drawn error, to the litre.
func (f *Farm) drawL() float64 {
	sum, spans := 0.0, f.DrawSpans()
	for _, d := range spans {
		sum += d.Litres
	}
	return math.Round(sum / math.Max(1, float64(len(spans))) * (1 + f.errs[gLoop]))
}

// Valved is the farm of Meterless with the state of the refill's valve in its log
// and loop.flow_l_min, within 10 %, in the place of loop.draw_l.
func Valved(seed uint64, intervalS int) Scenario {
	s := Meterless(seed, intervalS)
	for i := range s.Errors {
		if s.Errors[i].Key == "loop.draw_l" {
			s.Errors[i].Key = "loop.flow_l_min"
		}
	}
	s.Loop.StateDraw, s.Loop.StateFlow = false, true
	l := &s.Loggers[0]
	l.Columns = append(l.Columns, Column{Header: "Valve", Quantity: "loop_valve", Signal: ValveOn})
	return s
}

// statedFlowLMin is the flow as the farm file states it: the season's mean with
// the drawn error.
func (f *Farm) statedFlowLMin() float64 {
	litres, minutes := 0.0, 0.0
	for _, d := range f.DrawSpans() {
		litres, minutes = litres+d.Litres, minutes+float64(d.End-d.Start)/60
	}
	return math.Round(100*litres/math.Max(1, minutes)*(1+f.errs[gLoop])) / 100
}

// AccountSeen is Seen without the fit of UA: sums through the drawn errors.
func (f *Farm) AccountSeen() Truth { return f.answers(f.errs) }

// DrawError is the relative error with which the litres of a draw are stated or
// metered.
func (f *Farm) DrawError() float64 { return f.errs[gLoop] }

// Holed is the farm of Short with loggers out for days: one to three times a
// single one of its two loggers, or all of them, for 12 hours to 5 days. The
// price of the alternative rises by half in mid-season.
func Holed(seed uint64) Scenario {
	s := Short(seed)
	r := rand.New(rand.NewPCG(seed, 0x401e))
	if len(s.Loggers) == 1 {
		one := s.Loggers[0]
		k := len(one.Columns) - 11 // the plant's columns stand last
		water, plant := one, one
		water.Columns, plant.Columns = one.Columns[:k:k], one.Columns[k:]
		plant.Name = "plant"
		s.Loggers = []Logger{water, plant}
	}
	for range 1 + r.IntN(3) {
		gap := [2]float64{between(r, 1, float64(s.Days)-6), between(r, 12, 120)}
		which := r.IntN(3) // 2: all
		for i := range s.Loggers {
			if which == i || which == 2 {
				s.Loggers[i].Gaps = append(s.Loggers[i].Gaps, gap)
			}
		}
	}
	s.Money.RisesDay, s.Money.RisenPerKWh = s.Days/2, round2(1.5*s.Money.PricePerKWh)
	return s
}

// MoneyTruth is the season's money with the rise of the alternative's price:
// each month's heat is not enough there, so it is summed by milkings.
func (f *Farm) MoneyTruth() float64 {
	p := &f.s.Money
	t := f.Truth()
	if p.RisesDay == 0 {
		return t.Money
	}
	feed, rise := f.feeds(), 0.0
	at := f.risesAt()
	for i, v := range f.wash.litres {
		c := max(f.wash.cycle[i], 0)
		if f.milkings[c].start < at {
			continue
		}
		hot := f.wash.hotC[i]
		rise += v * rhoAt(hot) / 1000 * (hAt(min(hot, f.s.Wash.HeatToC)) - hAt(feed[c])) / 3600
	}
	return t.Money + rise/f.efficiency*(p.RisenPerKWh-p.PricePerKWh)
}

// risesAt is the local midnight at which the alternative's price rises.
func (f *Farm) risesAt() int64 {
	return time.Unix(f.start, 0).In(f.zone).AddDate(0, 0, f.s.Money.RisesDay).Unix()
}

// WithAir is the farm of Short with the air beside the tank logged too, so that
// the tank's loss can be told from still nights, and the tank's volume stated
// within 5 %.
func WithAir(seed uint64) Scenario {
	s := Short(seed)
	s.Errors = append(s.Errors, Stated{Key: "air_temp", Half: 0.5}, Stated{Key: "tank.volume_l", Half: 0.05, Relative: true})
	l := &s.Loggers[len(s.Loggers)-1]
	l.Columns = append(l.Columns, Column{Header: "House air", Unit: "°C", Quantity: "air_temp", Signal: Air, Decimals: 2, Step: 0.1, NoiseK: 0.05})
	return s
}
