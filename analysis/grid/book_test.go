package grid

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// rise is Σ V (T_hot − T_cold), L K, over what both sides cover.
func rise(r *Runs, hot, cold *Booked) float64 {
	sum := 0.0
	for j, l := range r.L {
		if d := hot.TempC[j] - cold.TempC[j]; d == d {
			sum += l * d
		}
	}
	return sum
}

// tenMinuteDraw is the worked statement of the method, section 1: a 10-minute
// log, a draw of 60 minutes at 15 L/min from minute 60 to 120, 32 K between
// outlet and inlet while it flows, 10 K while it stands (invented).
func tenMinuteDraw() (flow, in, out *series.Series) {
	var l, i, o []float64
	for k := 0; k <= 24; k++ {
		hot := 20.0
		if k > 6 && k <= 12 {
			hot = 42
		}
		i, o = append(i, 10), append(o, hot)
		if k > 0 {
			q := 0.0
			if k > 6 && k <= 12 {
				q = 150
			}
			l = append(l, q)
		}
	}
	return amounts("loop_volume", 10*minute, t0, l...), instants("loop_in_temp", 10*minute, t0, i...), instants("loop_out_temp", 10*minute, t0, o...)
}

func TestSlowLogHeldBackLosesNothing(t *testing.T) {
	flow, in, out := tenMinuteDraw()
	g := build(t, t0, t0+240*minute, flow, in, out)
	s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
	require.Equal(t, 1, r.Len())
	opt := DefaultBookOptions()
	opt.TauS = 45
	cold := r.Book(g.Stream("loop_in_temp"), opt)
	truth := 900.0 * 32
	// (the first reading, after 10 min of flow, still lags by exp(−600/45) of its
	// step; the booking takes that off)
	within(t, truth, rise(r, r.Book(g.Stream("loop_out_temp"), opt), cold), 0.02, "held back")

	// The two other ways that the method warns of, on the same record, by the
	// figures it prints: averaging the still reading in loses 5.7 %, dropping
	// the interval 17 %.
	averaged, dropped := 0.0, 0.0
	hot := g.Stream("loop_out_temp").Values
	for j, i := range r.Cells {
		averaged += r.L[j] * (hot[i] - 10)
		if i >= 70 {
			dropped += r.L[j] * 32
		}
	}
	within(t, 5.7, 100*(1-averaged/truth), 0.05)
	within(t, 17, 100*(1-dropped/truth), 0.5)
}

func TestSlowLogTrueStartInsideTheInterval(t *testing.T) {
	// The draw starts 6 min into an interval: 60 L of 150. The reading at its
	// end was made after 4 min of flow and is flushed (3 × 45 s); with 1 min of
	// flow it is not, and the next one is held back. What the reading still lags
	// of its step from 20, exp(−t/45), is taken off.
	for _, c := range []struct{ litres, read, flowedS float64 }{{60, 40, 240}, {15, 42, 660}} {
		flow, in, out := tenMinuteDraw()
		flow.V[6] = c.litres
		out.V[7] = 40
		g := build(t, t0, t0+240*minute, flow, in, out)
		s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
		r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
		require.Equal(t, 1, r.Len())
		opt := DefaultBookOptions()
		opt.TauS = 45
		b := r.Book(g.Stream("loop_out_temp"), opt)
		left := math.Exp(-c.flowedS / 45)
		within(t, (c.read-left*20)/(1-left), b.TempC[0], 1e-9, c.litres)
		require.True(t, b.Held[0])
	}
}

// lagged is a first-order probe's reading, exact for an input that is constant
// between stamps: τ dT/dt = u − T.
func lagged(u []float64, stepS, tauS, first float64) []float64 {
	out := []float64{first}
	a := math.Exp(-stepS / tauS)
	for _, x := range u {
		first = x + (first-x)*a
		out = append(out, first)
	}
	return out
}

func TestLagCostsWhatTheMethodSaysAndIsCorrected(t *testing.T) {
	// 60 s at 15 L/min on a draw of 30 kWh: 15 L K per K of its rise. At 30 K,
	// 15 L/min and 4.15 kJ/(L K), 30 kWh are 867 L: about 58 min. Uncorrected
	// loses 15/867 = 1.7 % (method, section 1).
	for _, stepS := range []int64{10, 60} {
		perMin := 60 / int(stepS)
		n, start, end := 180*perMin, 60*perMin, 118*perMin
		u, litres, in := make([]float64, n), make([]float64, n), make([]float64, n+1)
		for i := range u {
			u[i], in[i] = 12, 12
			if i >= start && i < end {
				u[i], litres[i] = 42, 15*float64(stepS)/60
			}
		}
		in[n] = 12
		every := stepS * 1000
		g := build(t, t0, t0+int64(n)*every, amounts("loop_volume", every, t0, litres...),
			instants("loop_in_temp", every, t0, in...), instants("loop_out_temp", every, t0, lagged(u, float64(stepS), 60, 12)...))
		s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
		r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
		truth := 15.0 * 58 * 30
		opt := DefaultBookOptions()
		cold := r.Book(g.Stream("loop_in_temp"), opt)
		uncorrected := rise(r, &Booked{TempC: atMid(r, g.Stream("loop_out_temp"))}, cold)
		if stepS == 10 { // a minute's straight lines cost another 5 s
			within(t, 1.7, 100*(1-uncorrected/truth), 0.05, "uncorrected")
		}
		opt.TauS = 60
		sum := func(tau float64) float64 {
			o := opt
			o.TauS, o.FlushTaus = tau, 180/tau // the same cells are flushed
			return rise(r, r.Book(g.Stream("loop_out_temp"), o), cold)
		}
		within(t, 0, 100*(1-sum(60)/truth), 0.2, "corrected")
		// With a wrong time constant the derivative foretells the sum.
		o, perS := opt, 0.0
		o.TauS, o.FlushTaus = 50, 180.0/50
		b := r.Book(g.Stream("loop_out_temp"), o)
		for j, d := range b.PerS {
			perS += r.L[j] * d
		}
		within(t, (sum(50.5) - sum(49.5)), perS, 1e-3*math.Abs(perS)+1e-6)
	}
}

// atMid reads a probe as it stands, without flush or lag.
func atMid(r *Runs, s *Stream) []float64 {
	var out []float64
	for _, i := range r.Cells {
		out = append(out, s.Values[i])
	}
	return out
}

func TestUnlagIsExactForAStep(t *testing.T) {
	// From 20 towards 50, τ 40 s, cells of 10 s: the reading after each is
	// 50 − 30 e^{−t/40}; the mean at the probe is 50 throughout.
	u := []float64{50, 50, 50, 50}
	s := &Stream{Edges: lagged(u, 10, 40, 20), Values: make([]float64, 4)}
	within(t, 50-30*math.Exp(-1), s.Edges[4], 1e-12)
	for i := range u {
		got, _ := s.Unlag(i, 10, 40)
		within(t, 50, got, 1e-9, i)
	}
	s.Edges[1] = math.NaN()
	got, _ := s.Unlag(0, 10, 40)
	within(t, s.Values[0], got, 0, "no edge: the value as it stands")
}

func TestCooledLeadPipe(t *testing.T) {
	// 30 L stand at 15 degC in the lead; the draw then runs at 40 for 20 min at
	// 15 L/min. Heat at the probe above 10: 300·30 − 30·25 L K.
	const n = 60
	litres, out := make([]float64, n), make([]float64, n+1)
	for i := range out {
		out[i] = 15
		if i > 22 && i <= 40 {
			out[i] = 40 // the reading at minute 22 is the first after 2 min, still cold
		}
		if i > 20 && i <= 40 {
			litres[i-1] = 15
		}
	}
	in := make([]float64, n+1)
	for i := range in {
		in[i] = 10
	}
	g := build(t, t0, t0+n*minute, amounts("loop_volume", minute, t0, litres...),
		instants("loop_in_temp", minute, t0, in...), instants("loop_out_temp", minute, t0, out...))
	s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
	opt := DefaultBookOptions()
	opt.LeadL, opt.TauS = 30, 5
	hot := r.Book(g.Stream("loop_out_temp"), opt)
	opt.LeadL = 0
	within(t, 300*30-30*25, rise(r, hot, r.Book(g.Stream("loop_in_temp"), opt)), 60, "within the rest of the lag")
	within(t, 15, hot.TempC[0], 1e-9)
	within(t, 15, hot.TempC[1], 1e-9)
	within(t, 40, hot.TempC[2], 0.1)
	// Litres at the still reading don't depend on the lag.
	within(t, 0, hot.PerS[0], 0)
}

func TestFirstCellIsHeldBetweenStillAndFlowing(t *testing.T) {
	// Water starts 3 s before the end of a minute and the reading there jumps by
	// 2 K (noise): taken by itself that would be 20 + 2/(1−e^{−3/20}) = 34.4; a
	// jump of 8 K would be 77 and is held at the next cell's 50.
	for _, c := range []struct{ jump, want float64 }{{2, 20 + 2/(1-math.Exp(-0.15))}, {8, 50}} {
		litres, temps := []float64{0, 0, 0.5, 10, 10, 10, 10, 10, 0}, []float64{20, 20, 20, 20 + c.jump, 0, 0, 0, 0, 0, 0}
		for i, u := range lagged([]float64{50, 50, 50, 50, 50, 50}, 60, 20, 20+c.jump)[1:] {
			temps[4+i] = u
		}
		g := build(t, t0, t0+9*minute, amounts("wash_volume", minute, t0, litres...), instants("wash_temp", minute, t0, temps...))
		s, _ := g.Flow(nil, "wash_flow", DefaultOptions())
		r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.3, JoinS: 120})
		opt := DefaultBookOptions()
		opt.TauS, opt.Resolve = 20, true
		b := r.Book(g.Stream("wash_temp"), opt)
		within(t, c.want, b.TempC[0], 1e-6, c.jump)
		require.True(t, b.Early[0])
		require.False(t, b.Held[0])
		opt.Resolve = false
		b = r.Book(g.Stream("wash_temp"), opt)
		within(t, 50, b.TempC[0], 1e-6, "held back")
		require.True(t, b.Held[0])
	}
}

func TestRunsEdges(t *testing.T) {
	flow := func(v ...float64) *Runs {
		g := &Grid{StepS: 60, N: len(v)}
		return NewRuns(g, &Stream{Values: v, UsualS: 60}, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	}
	nan := math.NaN()
	for _, c := range []struct {
		what     string
		v        []float64
		runs     int
		trickles int
	}{
		{"nothing", []float64{0, 0, nan, 0}, 0, 0},
		{"one draw with part-filled edges", []float64{0, 0.2, 10, 10, 0.3, 0}, 1, 0},
		{"a pause of two cells is joined", []float64{10, 10, 0, 0, 10, 10}, 1, 0},
		{"a pause of three is not", []float64{10, 10, 0, 0, 0, 10, 10}, 2, 0},
		{"a gap is no pause", []float64{10, 10, nan, 10, 10}, 2, 0},
		{"a lasting trickle is apart", []float64{0.1, 0.1, 0.1, 0.1, 10, 10, 0.1, 0.1, 0.1}, 3, 5},
		{"only a trickle", []float64{0.1, 0.1, 0.1}, 1, 3},
		{"a short dip does not break a draw", []float64{10, 0.1, 10, 10}, 1, 0},
		{"negative flow is none", []float64{-1, 0, 0}, 0, 0},
	} {
		r := flow(c.v...)
		require.Equal(t, c.runs, r.Len(), c.what)
		n, litres, want := 0, 0.0, 0.0
		for j := range r.Cells {
			litres += r.L[j]
			if r.Trickle[j] {
				n++
			}
		}
		for _, v := range c.v {
			if v > 0 {
				want += v
			}
		}
		require.Equal(t, c.trickles, n, c.what)
		within(t, want, litres, 1e-9, c.what)
		last := 0
		for _, x := range r.runs {
			require.Equal(t, last, x.lo, "%s: every cell belongs to one run", c.what)
			last = x.hi
		}
		require.Equal(t, len(r.Cells), last, c.what)
	}
}

func TestBookLeavesGapsOut(t *testing.T) {
	const n = 30
	litres, out := make([]float64, n), make([]float64, n+1)
	for i := range out {
		out[i] = 40
		if i > 5 && i <= 25 {
			litres[i-1] = 10
		}
	}
	o := instants("loop_out_temp", minute, t0, out...)
	for i := 4; i < 12; i++ {
		o.Flags.Or(i, series.Stuck)
	}
	g := build(t, t0, t0+n*minute, amounts("loop_volume", minute, t0, litres...), o)
	s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	opt := DefaultBookOptions()
	opt.TauS = 20
	b := r.Book(g.Stream("loop_out_temp"), opt)
	for j, i := range r.Cells {
		if i < 12 {
			require.True(t, math.IsNaN(b.TempC[j]), "cell %d: nothing is held back into a gap", i)
		} else {
			within(t, 40, b.TempC[j], 1e-9, i)
		}
	}
}

func TestShortRunTakesItsLastReading(t *testing.T) {
	// Two minutes of flow, τ 60 s: never flushed. The lag-corrected reading of
	// its second minute is the water's.
	u := []float64{20, 20, 20, 60, 60, 60, 60, 60}
	litres := []float64{0, 0, 0, 10, 10, 0, 0, 0}
	g := build(t, t0, t0+8*minute, amounts("wash_volume", minute, t0, litres...), instants("wash_temp", minute, t0, lagged(u, 60, 60, 20)...))
	s, _ := g.Flow(nil, "wash_flow", DefaultOptions())
	r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.5, JoinS: 120})
	opt := DefaultBookOptions()
	opt.TauS = 60
	b := r.Book(g.Stream("wash_temp"), opt)
	within(t, 60, b.TempC[0], 1e-9)
	within(t, 60, b.TempC[1], 1e-9)
	// In a log too slow for that, the last reading as it stands.
	opt.FastS = 30
	b = r.Book(g.Stream("wash_temp"), opt)
	within(t, 60-40*math.Exp(-2), b.TempC[0], 1e-9)
}

// season is 120 days at one minute: two draws of an hour a day, 20 channels.
func season() []*series.Series {
	const n = 120 * 1440
	var all []*series.Series
	for c := range 20 {
		v := make([]float64, n+1)
		q := []series.Quantity{"loop_out_temp", "loop_in_temp", "bed_temp", "tank_temp", "wash_temp"}[c%5]
		for i := range v {
			v[i] = 30 + float64(i%97)/10
		}
		s := instants(q, minute, t0, v...)
		s.Probe = string(rune('a' + c))
		if c == 3 {
			for i := range v {
				v[i] = 0
				if m := i % 720; m >= 400 && m < 460 {
					v[i] = 15
				}
			}
			s = amounts("loop_volume", minute, t0, v[:n]...)
		}
		all = append(all, s)
	}
	return all
}

func BenchmarkBuild(b *testing.B) {
	all := season()
	end := t0 + 120*1440*minute
	g := build(b, t0, end, all...)
	within(b, 15, g.Channels[g.Find("loop_volume")[0]].Values[400], 1e-9)
	b.ResetTimer()
	for b.Loop() {
		build(b, t0, end, all...)
	}
	b.ReportMetric(float64(20*g.N)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mcells/s")
}

func BenchmarkBook(b *testing.B) {
	g := build(b, t0, t0+120*1440*minute, season()...)
	s, _ := g.Flow(nil, "loop_flow", DefaultOptions())
	probe := g.Stream("loop_out_temp")
	opt := DefaultBookOptions()
	opt.TauS = 45
	b.ResetTimer()
	for b.Loop() {
		r := NewRuns(g, s, RunOptions{ThresholdLMin: 0.75, JoinS: 120})
		if len(r.Cells) != 240*60 {
			b.Fatal(len(r.Cells))
		}
		r.Book(probe, opt)
	}
}
