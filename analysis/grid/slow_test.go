package grid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// hose is an invented wash pipe second by second: washes and rinses that begin
// at random seconds, water that falls by the litres drawn, a pipe that goes to
// the air while it stands, a first-order probe on it.
type hose struct {
	days                 int
	washL, washLMin      float64
	rinseL, rinseLMin    float64
	washC, rinseC, fallK float64 // fallK over a wash
	airC, coolsS, probeS float64
	everyS               int
	means                bool
}

func usualHose(everyS int, means bool) hose {
	return hose{days: 20, washL: 270, washLMin: 20, rinseL: 55, rinseLMin: 8, washC: 74, rinseC: 48, fallK: 5, airC: 12, coolsS: 1300, probeS: 20, everyS: everyS, means: means}
}

// logs are the hose's two logs and the heat that passed the probe, L K above
// 10 degC.
func (h hose) logs(seed uint64) (volume, temp *series.Series, truthLK float64) {
	rng := rand.New(rand.NewPCG(seed, 0x10))
	n := h.days * 86400
	flow, of := make([]float64, n), make([]byte, n)
	for d := range h.days {
		for _, use := range []struct {
			hour         int
			litres, lMin float64
			kind         byte
		}{{5, h.rinseL, h.rinseLMin, 1}, {8, h.washL, h.washLMin, 2}, {16, h.rinseL, h.rinseLMin, 1}, {19, h.washL, h.washLMin, 2}} {
			at := d*86400 + use.hour*3600 + rng.IntN(3600)
			for i := range int(use.litres * (0.95 + 0.1*rng.Float64()) / use.lMin * 60) {
				flow[at+i], of[at+i] = use.lMin/60, use.kind
			}
		}
	}
	water, probe, counter, sum, passed := h.airC, h.airC, 0.0, 0.0, 0.0
	var reads, totals []float64
	for s := range n {
		if s%h.everyS == 0 {
			v := probe
			if h.means {
				v = sum / float64(h.everyS)
			}
			reads, totals, sum = append(reads, math.Round(v*100)/100), append(totals, math.Floor(counter*10)/10), 0
		}
		if q := flow[s]; q > 0 {
			passed += q
			if water = h.rinseC; of[s] == 2 {
				water = h.washC - h.fallK*passed/h.washL
			}
			counter += q
			truthLK += q * (water - 10)
		} else {
			passed = 0
			water += (h.airC - water) / h.coolsS
		}
		probe += (water - probe) / h.probeS
		sum += probe
	}
	var litres []float64
	for i := 1; i < len(totals); i++ {
		litres = append(litres, totals[i]-totals[i-1])
	}
	every := int64(h.everyS) * 1000
	temp = instants("wash_temp", every, t0, reads...)
	if h.means {
		temp = instants("wash_temp", every, t0+every, reads[1:]...)
		temp.Kind = series.Mean
		for _, at := range temp.T {
			temp.From = append(temp.From, at-every)
		}
	}
	return amounts("wash_volume", every, t0, litres...), temp, truthLK
}

// booked is a hose's heat as booked, and by how much the booking says it may be
// off, both over the truth.
func (h hose) booked(t testing.TB, seed uint64) (heat, doubt float64) {
	volume, temp, truth := h.logs(seed)
	g := build(t, t0, t0+int64(h.days)*86400_000, volume, temp)
	s, _ := g.Flow(nil, "wash_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	o := DefaultBookOptions()
	o.TauS, o.Resolve = h.probeS, true
	b := r.Book(g.Stream("wash_temp"), o)
	for j, l := range r.L {
		heat += l * (b.TempC[j] - 10)
		doubt += l * b.DoubtK[j]
		if b.Held[j] {
			doubt += l // a kelvin, as the account has it
		}
	}
	return heat / truth, doubt / truth
}

// The bounds on the median difference at 1, 5, 10 and 15 min, here on
// every one of three farms, and inside what the booking itself says.
func TestSlowLogsOfShortUses(t *testing.T) {
	for _, c := range []struct {
		everyS int
		within float64
	}{{60, 0.5}, {300, 1}, {600, 2}, {900, 3}} {
		for _, means := range []bool{false, true} {
			for seed := range uint64(3) {
				what := fmt.Sprintf("every %d s, means %v, farm %d", c.everyS, means, seed)
				got, doubt := usualHose(c.everyS, means).booked(t, seed)
				t.Logf("%s: %+.2f %% ± %.2f", what, 100*(got-1), 100*doubt)
				within(t, 0, 100*(got-1), c.within, what)
				within(t, 0, 100*(got-1), 100*doubt+0.2, what+", by its own doubt")
			}
		}
	}
}

// A mean over still and flowing water is not a reading: what stands in each part
// of an interval, put together by hand, comes apart again.
func TestAMeanComesApart(t *testing.T) {
	const dt, u, still, air, tau, theta = 0.01, 70.0, 15.0, 11.0, 20.0, 1200.0
	for _, c := range [][3]float64{{300, 600, 0}, {0, 400, 500}, {200, 500, 200}, {20, 40, 0}, {0, 25, 35}, {240, 60, 600}} {
		before, flows, after := c[0], c[1], c[2]
		sum, probe := 0.0, still
		end := math.NaN()
		for i := range int((before + flows + after) / dt) {
			switch at := (float64(i) + 0.5) * dt; {
			case at < before:
			case at < before+flows:
				probe = u + (still-u)*math.Exp(-(at-before)/tau)
			default:
				if end != end {
					end = u + (still-u)*math.Exp(-flows/tau)
				}
				probe = air + (end-air)*math.Exp(-(at-before-flows)/theta)
			}
			sum += probe * dt
		}
		p := part{meanC: sum / (before + flows + after), beforeS: before, flowS: flows, endS: after}
		got, last, weight := standing{still, air, theta, tau, math.NaN()}.flowing(p)
		within(t, u, got, 0.01, c)
		within(t, u+(still-u)*math.Exp(-flows/tau), last, 0.01, c)
		require.Greater(t, weight, 0.05)
		if after > 0 { // where the end is known by itself
			got, _, _ = standing{still, air, theta, tau, end}.flowing(p)
			within(t, u, got, 0.01, c)
		}
	}
}

// How a pipe cools is found from its still readings, of instants and of means.
func TestCoolingIsFound(t *testing.T) {
	for _, means := range []bool{false, true} {
		h := usualHose(300, means)
		volume, temp, _ := h.logs(5)
		g := build(t, t0, t0+int64(h.days)*86400_000, volume, temp)
		s, _ := g.Flow(nil, "wash_flow", DefaultOptions())
		r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
		o := DefaultBookOptions()
		o.TauS = h.probeS
		k := booker{r: r, p: g.Stream("wash_temp"), o: o, b: newBooked(len(r.Cells)), runs: r.runs, share: make([]float64, len(r.runs))}
		k.thetaS = k.cooling()
		within(t, h.coolsS, k.thetaS, 0.03*h.coolsS, means)
		k.airC = k.airs()
		for i := range k.runs {
			within(t, h.airC, k.airC[i], 1.5, means, i)
		}
	}
}

// Washes that fill no interval: the flow is told by the temperatures on either
// side of the interval's end, and with it when each began.
func TestShortUsesAreTimedByTemperature(t *testing.T) {
	h := usualHose(900, true)
	h.fallK = 0
	volume, temp, _ := h.logs(3)
	g := build(t, t0, t0+int64(h.days)*86400_000, volume, temp)
	s, _ := g.Flow(nil, "wash_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	o := DefaultBookOptions()
	o.TauS, o.Resolve = h.probeS, true
	k := booker{r: r, p: g.Stream("wash_temp"), o: o, b: newBooked(len(r.Cells)), runs: append([]run(nil), r.runs...), share: make([]float64, len(r.runs)), means: true}
	k.thetaS = k.cooling()
	k.airC = k.airs()
	k.settle()
	n := 0
	for i, x := range k.runs {
		litres := 0.0
		for _, l := range r.L[x.lo:x.hi] {
			litres += l
		}
		lMin := h.washLMin
		if litres < 100 {
			lMin = h.rinseLMin
		}
		lasts := float64(x.end-x.start) / 60000
		within(t, litres/lMin, lasts, 0.1*litres/lMin, i, litres)
		n++
	}
	require.Equal(t, 4*h.days, n)
}

// A front that passes late in each draw, read every 15 min at other litres each
// time: the draws together show it.
func TestTheShapeOfADrawComesFromAllOfThem(t *testing.T) {
	p := pipe{everyS: 900, leadL: 3, tauS: 45, flowLMin: 12, minutes: 30 * 1440, draws: 120}
	o := DefaultBookOptions()
	o.TauS, o.LeadL = 45, 3
	got := 100 * (p.booked(t, 2, o) - 1)
	t.Logf("%+.2f %%", got)
	within(t, 0, got, 0.7)
}

// A lead pipe is not flushed before the water moves, however the log spreads its
// first interval's litres.
func TestFlushStartsWithTheWater(t *testing.T) {
	flow, in, out := tenMinuteDraw()
	flow.V[6] = 60 // from minute 66 on, 15 L/min
	g := build(t, t0, t0+240*minute, flow, in, out)
	s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
	k := booker{r: r, p: g.Stream("loop_out_temp"), o: DefaultBookOptions()}
	k.o.LeadL = 15
	within(t, 67, float64(k.flushed(r.runs[0])-t0)/60000, 0.01)
	k.o.LeadL = 90
	within(t, 72, float64(k.flushed(r.runs[0])-t0)/60000, 0.01)
}

// Two washes that lie whole between two readings: nothing says how the pipe
// cools, so the reading after each stands, and is marked as far off as it may be.
func TestAWashThatNothingTellsSaysSo(t *testing.T) {
	const n, step = 96, 15 * minute
	litres, temps := make([]float64, n), make([]float64, n+1)
	for i := range temps {
		temps[i] = 12
	}
	for _, at := range []int{20, 60} {
		litres[at] = 120
		temps[at+1] = 52 // of water at 70 that stopped some minutes ago
	}
	g := build(t, t0, t0+n*step, amounts("wash_volume", step, t0, litres...), instants("wash_temp", step, t0, temps...))
	s, _ := g.Flow(nil, "wash_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	o := DefaultBookOptions()
	o.TauS, o.Resolve = 20, true
	b := r.Book(g.Stream("wash_temp"), o)
	require.Len(t, r.Cells, 30)
	for j := range r.Cells {
		within(t, 52, b.TempC[j], 1e-9)
		within(t, blindShare*40, b.DoubtK[j], 1e-9)
		require.True(t, b.Held[j])
	}
}
