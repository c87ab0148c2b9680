package simfarm

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Sharpness is how well a farm's record can tell UA, by UABound.Draws.
type Sharpness int

// Sharp: a half-width of ln UA under 12 %; Poor: up to 40 %; Flat: above.
const (
	Sharp Sharpness = iota
	Poor
	Flat
)

// Sharpness of a bound.
func (b UABound) Sharpness() Sharpness {
	switch {
	case b.Draws < 0.12:
		return Sharp
	case b.Draws <= 0.40:
		return Poor
	}
	return Flat
}

// studyTries: so many farms are drawn at most until one is as sharp as wanted.
const studyTries = 30

// RunStudy simulates farm n of the study of coverage, from 1: by turns sharp,
// poor and flat, chosen by the truth alone. The first of up to studyTries
// random farms (Study) that is as wanted is taken, else the last.
func RunStudy(n uint64) (f *Farm, b UABound, err error) {
	wanted := Sharpness(n % 3)
	for try := range uint64(studyTries) {
		if f, err = Run(Study(n*studyTries+try, wanted)); err != nil {
			return nil, b, err
		}
		if b = f.UABound(); b.Sharpness() == wanted {
			break
		}
	}
	return f, b, nil
}

// Study is a random farm for the study of coverage, drawn by the seed: 40 to 60
// days, one to three draws a day of 0.5 to 2.2 loops, UA from 300 to 4000 W/K,
// bores, walls, plant, tank, errors and the loggers' faults. Draws pass the
// loop by far, just, or stay below it, where a large loop with a small
// coefficient has not quite come to rest or one has, so mixed that many are as
// sharp as wanted.
func Study(seed uint64, wanted Sharpness) Scenario {
	r := rand.New(rand.NewPCG(seed, 0x57d7))
	s := Scenario{
		Name: fmt.Sprintf("Study farm %d", seed), Zone: pick(r, "Europe/Dublin", "America/New_York", "Pacific/Auckland", "UTC"),
		Start: pick(r, "2025-02-03", "2025-10-13", "2025-11-17", "2026-01-05"), Days: 40 + r.IntN(21), Seed: seed,
	}
	times := [][]string{{"06:30"}, {"05:20", "16:05"}, {"05:20", "16:05"}, {"04:40", "12:30", "20:20"}}[r.IntN(4)]
	drawL := between(r, 260, 620)
	s.Loop = studyLoop(r, drawL, pickF(r, studyKinds[wanted]...), len(times))
	perDay := drawL * float64(len(times)) / 800
	s.Bed = Bed{
		MeanC: between(r, 38, 52), DriftKPerDay: between(r, -0.06, 0.06), DailyK: between(r, 0.1, 0.8),
		CapacityKWhPerK: between(r, 15, 60) * max(perDay, 0.7), RecoverH: between(r, 5, 14), ProbeOffsetK: between(r, -2.5, 2.5), ProbeShare: between(r, 0.4, 0.9),
	}
	s.Climate = Climate{MainsC: between(r, 7, 13), MainsDipK: between(r, -1, 2), OutdoorC: between(r, 2, 12), OutdoorDipK: between(r, -3, 3), OutdoorDailyK: between(r, 2, 5)}
	s.Wash = Wash{TargetC: 70, HeatToC: math.Round(between(r, 74, 82)), FlowLMin: between(r, 15, 28), AfterMin: between(r, 45, 75)}
	if r.IntN(2) == 0 {
		s.Wash.RinseL, s.Wash.RinseFlowLMin = math.Round(between(r, 40, 90)), 8
	}
	shortPlant(r, &s, drawL)
	s.Milk.Times = times
	s.Milk.DurationMin = min(s.Milk.DurationMin, 100)
	s.Money = Money{
		Carrier: pick(r, "heating oil", "LPG", "natural gas"), Currency: pick(r, "EUR", "USD", "NZD"), Source: inventedPrices,
		Efficiency: round2(between(r, 0.8, 0.93)), PricePerKWh: round2(between(r, 0.07, 0.14)), CO2KgPerKWh: round2(between(r, 0.2, 0.28)),
		PowerPricePerKWh: round2(between(r, 0.18, 0.34)), PowerCO2KgKWh: round2(between(r, 0.1, 0.4)),
	}
	shortLogs(r, &s)
	studyMeter(r, &s)
	studyFaults(r, &s)
	return s
}

// What the water of a draw is like when it comes out: fresh, half way to the
// bed's temperature, soaked but for the first of a front, or soaked.
const (
	fresh = iota
	half
	edge
	soaked
)

// studyKinds are drawn from, by the sharpness wanted.
var studyKinds = [...][]float64{Sharp: {fresh, fresh, fresh, half, edge}, Poor: {half, edge}, Flat: {half, edge, soaked}}

// studyLoop draws the pipe for draws of drawL litres, so many a day.
func studyLoop(r *rand.Rand, drawL, kind float64, perDay int) Loop {
	l := Loop{
		BoreMM:   []float64{20.4, 26, 26.2, 32.6, 40.8}[r.IntN(5)],
		FlowLMin: max(between(r, 6, 16), drawL/90), StillFilmWPerM2K: between(r, 200, 320),
		LeadL: between(r, 2, 12), InletL: between(r, 1, 5), FrontShare: between(r, 0.008, 0.025), Cells: 400,
		TaperTo: pickF(r, 1, 0.6, 0.45), BedAreaM2: math.Round(between(r, 150, 500)),
	}
	if r.IntN(3) > 0 {
		l.WallMM, l.WallMJPerM3K = pickF(r, 2.3, 2.9, 3), 2.1
	}
	switch kind {
	case fresh:
		l.DrawLow = between(r, 1.15, 1.9)
		l.DrawHigh = min(2.2, l.DrawLow+between(r, 0.1, 0.5))
	case edge: // the thermal volume is about 1.2 of the water's
		l.DrawLow = between(r, 0.7, 1)
		l.DrawHigh = between(r, 1.08, 1.22)
	default:
		l.DrawLow = between(r, 0.5, 0.8)
		l.DrawHigh = min(0.95, l.DrawLow+between(r, 0.05, 0.3))
	}
	l.LengthM = math.Round(2 * drawL / (l.DrawLow + l.DrawHigh) * 4000 / (math.Pi * l.BoreMM * l.BoreMM))
	wetted := math.Pi * l.BoreMM / 1000 * l.LengthM
	still, flowing := l.StillFilmWPerM2K*wetted, filmWPerM2K(l.FlowLMin, l.BoreMM)*wetted
	low, most := 300.0, min(4000, 0.54/(1/still-1/flowing))
	if kind == half || kind == soaked {
		// How far still water comes towards the bed between two draws:
		// k times the hours, a little less than 24 over the draws a day.
		capacity := 4.9 * l.LengthM * math.Pi / 4000 * l.BoreMM * l.BoreMM // kJ/K, wall included
		atAge := func(age float64) float64 { return age * capacity / 3.6 / (22 / float64(perDay)) }
		if kind == half {
			low, most = max(low, atAge(4.6)), min(most, max(atAge(6.8), 310))
		} else {
			low = max(low, atAge(8.5))
		}
	}
	low = min(low, most)
	l.UAWPerK = max(low*math.Pow(most/low, r.Float64()), min(300, most))
	return l
}

// studyMeter: half of the loops have a counter of litres, not a rate.
func studyMeter(r *rand.Rand, s *Scenario) {
	if r.IntN(2) == 0 {
		return
	}
	c := &s.Loggers[0].Columns[3]
	*c = Column{Header: "Loop litres", Unit: "L", Quantity: "loop_volume", Signal: LoopL, Mode: Counter, Decimals: 1, Step: pickF(r, 0.1, 0.5, 1), StartAt: 4000}
	for i := range s.Errors {
		if s.Errors[i].Key == "loop_flow" {
			s.Errors[i].Key = "loop_volume"
		}
	}
}

// studyFaults gives two farms of three the faults of real loggers.
func studyFaults(r *rand.Rand, s *Scenario) {
	if r.IntN(3) == 0 {
		return
	}
	for i := range s.Loggers {
		l := &s.Loggers[i]
		for range r.IntN(3) {
			l.Gaps = append(l.Gaps, [2]float64{between(r, 2, float64(s.Days)-3), between(r, 0.5, 14)})
		}
		for c := range l.Columns {
			if l.Columns[c].NoiseK == 0 {
				continue
			}
			if r.IntN(3) == 0 {
				l.Columns[c].Sentinels, l.Columns[c].Sentinel = r.IntN(25), pick(r, "-127.00", "85.00", "-999")
				if l.Comma {
					l.Columns[c].Sentinel = pick(r, "-127,00", "-999")
				}
			}
			l.Columns[c].Empty = r.IntN(40)
		}
	}
}
