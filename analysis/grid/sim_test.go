package grid

import (
	"math"
	"math/rand/v2"
	"testing"
)

// pipe is an invented loop second by second: the bed's outlet, a lead pipe of
// separate litres that cool in the air while they stand, and a first-order
// probe behind it. Readings are instants rounded to 0.1 K, the meter a counter
// of whole litres.
type pipe struct {
	everyS         int
	leadL, tauS    float64
	flowLMin       float64
	minutes, draws int
	// shortS: draws of this to twice this many seconds; 0 = 20 to 60 min.
	shortS float64
}

// simulate returns the three logs and the true heat (L K above the inlet) that
// passed the probe.
func (p pipe) simulate(seed uint64) (litres, in, out []float64, truthLK float64) {
	rng := rand.New(rand.NewPCG(seed, 1))
	n := p.minutes * 60
	flow := make([]float64, n)
	for d := range p.draws {
		at := (d*p.minutes/p.draws)*60 + 3600 + rng.IntN(3600)
		lasts := (20 + 40*rng.Float64()) * 60
		if p.shortS > 0 {
			lasts = p.shortS * (1 + rng.Float64())
		}
		for i := range int(lasts) {
			flow[at+i] = p.flowLMin * (0.9 + 0.2*rng.Float64())
		}
	}
	const parts = 40
	lead := make([]float64, parts)
	for i := range lead {
		lead[i] = 16
	}
	probe, passed, counter, logged := 16.0, 0.0, 0.0, 0.0
	const inC, air, bed = 10.0, 14.0, 45.0
	sinceStill := 0.0
	for s := range n {
		if s%p.everyS == 0 {
			in, out = append(in, inC), append(out, math.Round(probe*10)/10)
			if s > 0 {
				litres = append(litres, math.Floor(counter)-logged)
				logged = math.Floor(counter)
			}
		}
		q := flow[s] / 60
		if q > 0 {
			// Soaked water first, then what the bed warms in passing.
			leaving := inC + (bed-inC)*(0.55+0.45/(1+math.Exp((sinceStill-220)/12)))
			passed += q / (p.leadL / parts)
			for passed >= 1 {
				copy(lead[1:], lead[:parts-1])
				lead[0] = leaving
				passed--
			}
			sinceStill += q
			truthLK += q * (lead[parts-1] - inC)
			counter += q
		} else {
			sinceStill = 0
		}
		for i := range lead {
			lead[i] += (air - lead[i]) / 5400
		}
		probe += (lead[parts-1] - probe) / p.tauS
	}
	return litres, in, out, truthLK
}

// booked sums a simulated log's heat, L K.
func (p pipe) booked(t testing.TB, seed uint64, opt BookOptions) float64 {
	litres, in, out, truth := p.simulate(seed)
	every := int64(p.everyS) * 1000
	g := build(t, t0, t0+int64(len(litres))*every, amounts("loop_volume", every, t0, litres...),
		instants("loop_in_temp", every, t0, in...), instants("loop_out_temp", every, t0, out...))
	s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
	cold := opt
	cold.LeadL, cold.TauS = 0, 45
	return rise(r, r.Book(g.Stream("loop_out_temp"), opt), r.Book(g.Stream("loop_in_temp"), cold)) / truth
}

// What is booked against what passed the probe, over draws of random length
// that start at random seconds (mean of three farms). The issue asks for every
// heat within 1 %; the booking alone gets a third of that where lag or lead is
// known in a log of a minute or faster, half of it in slow logs.
func TestBookedHeatAgainstSimulatedTruth(t *testing.T) {
	for _, c := range []struct {
		what         string
		everyS       int
		leadL        float64
		known        bool
		tauS, within float64
	}{
		{"lead known", 10, 3, true, 45, 0.35}, {"lead known", 60, 3, true, 45, 0.35}, {"lead known, lag wrong", 60, 8, true, 20, 0.35},
		{"lag known", 10, 3, false, 45, 0.35}, {"lag known", 60, 8, false, 45, 0.35}, {"lag known", 60, 0.5, false, 45, 0.35},
		{"slow log, lead known", 300, 3, true, 45, 0.5}, {"slow log, lead known", 600, 3, true, 45, 0.5},
	} {
		p := pipe{everyS: c.everyS, leadL: c.leadL, tauS: 45, flowLMin: 12, minutes: 4 * 1440, draws: 16}
		o := DefaultBookOptions()
		o.TauS, o.Resolve = c.tauS, !c.known
		if c.known {
			o.LeadL = c.leadL
		}
		sum := 0.0
		for seed := range uint64(3) {
			sum += p.booked(t, seed, o)
		}
		t.Logf("%+v: %+.3f %%", c, 100*(sum/3-1))
		within(t, 0, 100*(sum/3-1), c.within, c)
	}
}

// Short hot washes behind a cold pipe: three to six minutes.
func TestBookedWashAgainstSimulatedTruth(t *testing.T) {
	for _, everyS := range []int{10, 60} {
		p := pipe{everyS: everyS, leadL: 2, tauS: 20, flowLMin: 20, minutes: 6 * 1440, draws: 48, shortS: 180}
		o := DefaultBookOptions()
		o.TauS, o.Resolve = 20, true
		t.Logf("%d s: %+.3f %%", everyS, 100*(p.booked(t, 7, o)-1))
		within(t, 0, 100*(p.booked(t, 7, o)-1), 1.0, everyS)
	}
}
