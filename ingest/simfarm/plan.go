package simfarm

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// milking is one milking with what follows it, in true Unix seconds.
type milking struct {
	start, end   int64
	litres       float64
	inC, outC    float64
	month        int   // index into Farm.months
	heatFrom, at int64 // the element is allowed from heatFrom until the wash at at
	flowFactor   float64
}

// use is water taken from the tank.
type use struct {
	start    int64
	litres   float64
	flowLMin float64
	refill   bool // the loop's valve opens after it
	of       int  // milking
}

// plan lays the season out: days, milkings, washes, months.
func (f *Farm) plan() error {
	zone, err := time.LoadLocation(f.s.Zone)
	if err != nil {
		return fmt.Errorf("simfarm: %w", err)
	}
	f.zone = zone
	first, err := time.ParseInLocation(dayLayout, f.s.Start, zone)
	if err != nil {
		return fmt.Errorf("simfarm: start: %w", err)
	}
	f.start = first.Unix()
	f.end = first.AddDate(0, 0, f.s.Days).Unix()
	rng := rand.New(rand.NewPCG(f.s.Seed, 0x91a4))
	short := shortDays(rng, f.s.Days, f.s.Tank.ShortHeats)
	for d := range f.s.Days {
		day := first.AddDate(0, 0, d)
		name := day.Format("2006-01")
		if len(f.months) == 0 || f.months[len(f.months)-1] != name {
			f.months = append(f.months, name)
		}
		for i, at := range f.s.Milk.Times {
			if err := f.planMilking(rng, day, at, i == 0 && short[d]); err != nil {
				return err
			}
		}
	}
	return nil
}

// rinseBeforeS: the plant is rinsed so long before a milking, with water that
// plate and element have not warmed yet.
const rinseBeforeS = 900

func shortDays(rng *rand.Rand, days, n int) map[int]bool {
	m := map[int]bool{}
	for range n {
		m[rng.IntN(days)] = true
	}
	return m
}

func (f *Farm) planMilking(rng *rand.Rand, day time.Time, at string, short bool) error {
	clock, err := time.Parse("15:04", at)
	if err != nil {
		return fmt.Errorf("simfarm: milking time: %w", err)
	}
	s := &f.s
	begin := time.Date(day.Year(), day.Month(), day.Day(), clock.Hour(), clock.Minute(), 0, 0, f.zone).Unix()
	m := milking{month: len(f.months) - 1}
	m.start = begin + 60*int64(rng.IntN(13)-6)
	m.end = m.start + 60*int64(s.Milk.DurationMin*(0.93+0.14*rng.Float64()))
	m.litres = s.Milk.Litres * (0.92 + 0.16*rng.Float64())
	m.inC = s.Milk.InC + 0.4*rng.NormFloat64()
	m.outC = s.Milk.OutC + 0.2*rng.NormFloat64()
	m.at = m.end + 60*int64(s.Wash.AfterMin+4*rng.Float64())
	lead := s.Tank.LeadH * 3600
	if short {
		lead /= 10
	}
	m.heatFrom = m.at - int64(lead)
	m.flowFactor = 1 + 0.04*rng.NormFloat64()
	draw := f.builtL * (s.Loop.DrawLow + (s.Loop.DrawHigh-s.Loop.DrawLow)*rng.Float64())
	of := len(f.milkings)
	f.milkings = append(f.milkings, m)
	if s.Wash.RinseL > 0 && s.Wash.RinseFlowLMin > 0 {
		f.uses = append(f.uses, use{start: m.start - rinseBeforeS, litres: s.Wash.RinseL, flowLMin: s.Wash.RinseFlowLMin, of: of})
	}
	f.uses = append(f.uses, use{start: m.at, litres: max(draw-s.Wash.RinseL, 0.3*draw), flowLMin: s.Wash.FlowLMin, refill: true, of: of})
	return nil
}
