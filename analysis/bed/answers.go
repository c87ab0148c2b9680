package bed

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/doubt"
)

// recovered is what one draw's dip shows.
type recovered struct {
	ms    int64
	dipK  float64
	halfH float64 // NaN: not back by the next draw
}

// recoveries reads the bed's probe around each draw: its level in the hour before,
// its lowest within WatchH after, and when it is half way back.
func recoveries(in Input, o Options) []recovered {
	var out []recovered
	for i, d := range in.Draws {
		before, share := in.BedC.mean(d.StartMS-msPerHour, d.StartMS)
		if share < o.DayShare {
			continue
		}
		end := d.EndMS + int64(o.WatchH*msPerHour)
		if i+1 < len(in.Draws) {
			end = min(end, in.Draws[i+1].StartMS)
		}
		lowMS, low := lowest(in.BedC, d.StartMS, end)
		if !(before-low >= o.DipK) {
			continue
		}
		r := recovered{ms: d.StartMS, dipK: before - low, halfH: math.NaN()}
		next := in.ToMS
		if i+1 < len(in.Draws) {
			next = in.Draws[i+1].StartMS
		}
		if back := reached(in.BedC, lowMS, next, before-r.dipK/2); back > 0 {
			r.halfH = float64(back-lowMS) / msPerHour
		}
		out = append(out, r)
	}
	return out
}

func lowest(r Row, fromMS, toMS int64) (ms int64, low float64) {
	low = math.NaN()
	for at := fromMS; at < toMS; at += r.StepMS {
		if i := r.at(at); i >= 0 && r.Values[i] == r.Values[i] && !(r.Values[i] >= low) {
			low, ms = r.Values[i], at
		}
	}
	return ms, low
}

// reached is the first moment at which the row is back at level, 0 = never. A gap
// of more than an hour ends the search.
func reached(r Row, fromMS, toMS int64, level float64) int64 {
	last := fromMS
	for at := fromMS; at < toMS; at += r.StepMS {
		i := r.at(at)
		if i < 0 || r.Values[i] != r.Values[i] {
			if at-last > msPerHour {
				return 0
			}
			continue
		}
		last = at
		if r.Values[i] >= level {
			return at
		}
	}
	return 0
}

// recovery gives the medians over draws, with distribution-free intervals from
// order statistics for so many independent draws as the related ones are worth.
func (b *Bed) recovery(rec []recovered, in Input, o Options) {
	var dips, halves []float64
	censored := 0
	for _, r := range rec {
		dips = append(dips, r.dipK)
		if r.halfH != r.halfH {
			censored++
			halves = append(halves, math.Inf(1)) // later than the next draw: above the median if fewer than half are so
			continue
		}
		halves = append(halves, r.halfH)
	}
	why := ""
	switch {
	case len(in.BedC.Values) == 0:
		why = "no bed_temp is logged"
	case len(rec) < o.MinDraws:
		why = fmt.Sprintf("the bed's probe dips by %.2g K or more after %d draws only; %d are needed", o.DipK, len(rec), o.MinDraws)
	}
	b.DipK = median(dips, "K", why)
	if why == "" && 2*censored >= len(rec) {
		why = "after half of the draws or more the bed is not half way back before the next one"
	}
	b.RecoveryH = median(halves, "h", why)
	// A bed in an even rhythm is back by the next draw however slow it is: a half-time
	// that is no small part of the time between draws is a lower end.
	if f := b.RecoveryH; f.Value > rhythmShare*between(in.Draws) {
		b.RecoveryH = doubt.Make(math.NaN(), f.Low, math.NaN(), "h", doubt.Estimated, f.N, f.Coverage, "draws follow each other too soon to see more of the return")
	}
}

// rhythmShare: up to a fifth of the time between draws the half-time of an
// exponential return reads 7 % low at most,
//
//	t = -tau ln((1 + exp(-T/tau))/2), tau = T/3: 0.93 tau ln 2.
const rhythmShare = 0.2

// between is the median time from a draw's end to the next, h.
func between(draws []Draw) float64 {
	var gaps []float64
	for i := 1; i < len(draws); i++ {
		gaps = append(gaps, float64(draws[i].StartMS-draws[i-1].EndMS)/msPerHour)
	}
	if len(gaps) == 0 {
		return math.Inf(1)
	}
	sort.Float64s(gaps)
	return gaps[len(gaps)/2]
}

// median with its 95 % interval by order statistics (binomial, exact for
// independent values; David and Nagaraja, Order Statistics, section 7.1, from
// memory).
func median(x []float64, unit, why string) doubt.Figure {
	nan := math.NaN()
	if why != "" {
		return doubt.Make(nan, nan, nan, unit, doubt.Estimated, len(x), 0, why)
	}
	finite := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsInf(v, 0) {
			finite = append(finite, v)
		}
	}
	n := doubt.EffectiveN(len(x), math.Max(0, doubt.Lag1(finite)))
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	half := 1.959963984540054 * math.Sqrt(n) / 2 / n // as a share of the ranks
	at := func(p float64) float64 {
		i := int(math.Round(p*float64(len(s)) - 0.5))
		return s[max(0, min(len(s)-1, i))]
	}
	return doubt.Make(at(0.5), at(0.5-half), at(0.5+half), unit, doubt.Estimated, len(x), 1, "")
}

// response is the regression of a day's bed temperature on what was taken that
// day, the air where it is logged, and time; b.TrendKPerWeek its drift. Intervals
// by resampling blocks of days.
func (b *Bed) response(o Options) {
	nan := math.NaN()
	var rows [][]float64
	var y []float64
	air := 0
	for _, d := range b.Days {
		if d.AirC == d.AirC {
			air++
		}
	}
	withAir := air >= o.MinDays
	for i, d := range b.Days {
		if d.BedC != d.BedC || d.KWh != d.KWh || withAir && d.AirC != d.AirC {
			continue
		}
		row := []float64{1, float64(i) / 7, d.KWh}
		if withAir {
			row = append(row, d.AirC)
		}
		rows, y = append(rows, row), append(y, d.BedC)
	}
	why := ""
	if len(rows) < o.MinDays {
		why = fmt.Sprintf("%d days have both the bed's temperature and the heat taken; %d are needed", len(rows), o.MinDays)
	}
	p := projector(rows)
	if why == "" && p == nil {
		why = "the days are too much alike to tell extraction from drift and air"
	}
	if why != "" {
		b.ResponseKPerKWh = doubt.Make(nan, nan, nan, "K/kWh", doubt.Estimated, len(rows), 0, why)
		b.TrendKPerWeek = doubt.Make(nan, nan, nan, "K/week", doubt.Estimated, len(rows), 0, why)
		return
	}
	beta := times(p, y)
	take, trend := resampled(p, rows, y, o)
	cover := float64(len(rows)) / float64(len(b.Days))
	b.ResponseKPerKWh = doubt.Make(beta[2], take[0], take[1], "K/kWh", doubt.Estimated, len(rows), cover, "")
	b.TrendKPerWeek = doubt.Make(beta[1], trend[0], trend[1], "K/week", doubt.Estimated, len(rows), cover, "")
}

// projector turns values into least-squares coefficients, beta = P y, by QR; nil
// where the columns do not part.
func projector(rows [][]float64) [][]float64 {
	if len(rows) <= 4 {
		return nil
	}
	n, p := len(rows), len(rows[0])
	x, eye := mat.NewDense(n, p, nil), mat.NewDense(n, n, nil)
	for i, r := range rows {
		x.SetRow(i, r)
		eye.Set(i, i, 1)
	}
	var qr mat.QR
	qr.Factorize(x)
	if c := qr.Cond(); math.IsNaN(c) || c > 1e8 {
		return nil
	}
	var inv mat.Dense
	if err := qr.SolveTo(&inv, false, eye); err != nil {
		return nil
	}
	out := make([][]float64, p)
	for j := range out {
		out[j] = append([]float64(nil), inv.RawRowView(j)...)
	}
	return out
}

func times(p [][]float64, y []float64) []float64 {
	out := make([]float64, len(p))
	for j, row := range p {
		out[j] = dot(row, y)
	}
	return out
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// resampled gives the 95 % ends of the coefficients of extraction and of time.
// Neighbouring days are alike: the residuals are taken as first-order
// autoregressive,
//
//	r_t = rho r_(t-1) + e_t,
//
// rho with its bias for few days taken off, (2 + 4 rho)/n for a line with drift
// (Kendall 1954, from memory); their steps e are drawn anew, and the ends are
// widened to Student's t.
func resampled(p, rows [][]float64, y []float64, o Options) (take, trend [2]float64) {
	beta, n := times(p, y), len(y)
	fit, res := make([]float64, n), make([]float64, n)
	for i, r := range rows {
		fit[i] = dot(beta, r)
		res[i] = y[i] - fit[i]
	}
	rho := doubt.Lag1(res)
	rho = math.Max(0, math.Min(0.95, rho+(2+4*rho)/float64(n)))
	steps := make([]float64, 0, n)
	for i := 1; i < n; i++ {
		steps = append(steps, res[i]-rho*res[i-1])
	}
	df := math.Max(2, doubt.EffectiveN(n, rho)-float64(len(beta)))
	wide := math.Sqrt(float64(n)/float64(n-len(beta))) * doubt.StudentT(0.975, df) / 1.959963984540054
	first := wide / math.Sqrt(1-rho*rho)
	rng := rand.New(rand.NewPCG(o.Seed, 0xbed))
	takes, trends := make([]float64, o.Trials), make([]float64, o.Trials)
	z := make([]float64, n)
	for k := range o.Trials {
		r := first * steps[rng.IntN(len(steps))]
		for i := range z {
			z[i] = fit[i] + r
			r = rho*r + wide*steps[rng.IntN(len(steps))]
		}
		takes[k], trends[k] = dot(p[2], z), dot(p[1], z)
	}
	return ends(takes), ends(trends)
}

func ends(x []float64) [2]float64 {
	if len(x) == 0 {
		return [2]float64{math.NaN(), math.NaN()}
	}
	sort.Float64s(x)
	return [2]float64{x[int(0.025*float64(len(x)-1))], x[int(math.Ceil(0.975*float64(len(x)-1)))]}
}

// signs holds each sign against its limit.
func (b *Bed) signs(in Input, rec []recovered, o Options) {
	nan := math.NaN()
	add := func(code string, value, limit float64, unit string, seen bool, why string) {
		s := Sign{Code: code, State: NotSeen, Value: value, Limit: limit, Unit: unit, Why: why}
		switch {
		case why != "" || value != value:
			s.State, s.Value = NotKnown, nan
		case seen:
			s.State = Seen
		}
		b.Signs = append(b.Signs, s)
	}
	share, why := b.below(in, o)
	add(SignBelow, share, o.BelowShare, "1", share > o.BelowShare, why)
	t := b.TrendKPerWeek
	add(SignFalling, t.Value, -o.FallKPerWeek, "K/week", t.Value < -o.FallKPerWeek && t.High < 0, t.Why)
	slower, why := laterOver(rec, o)
	add(SignSlower, slower, 1+o.SlowerBy, "1", slower > 1+o.SlowerBy, why)
	grows, low, why := approach(in.Draws, o)
	add(SignApproach, grows, o.ApproachKPerWeek, "K/week", low > 0 && grows > o.ApproachKPerWeek, why)
	why = ""
	if !(in.AreaM2 > 0) {
		why = "farm.toml gives no loop.bed_area_m2"
	} else if b.MostWPerM2 != b.MostWPerM2 {
		why = fmt.Sprintf("the record holds no %d whole days in a row", o.FluxDays)
	}
	add(SignFlux, b.MostWPerM2, o.CeilingWPerM2/2, "W/m2", b.MostWPerM2 > o.CeilingWPerM2/2, why)
}

// below is the share of hours below BelowC on days with draws.
func (b *Bed) below(in Input, o Options) (share float64, why string) {
	low, all := 0, 0
	for _, d := range b.Days {
		if d.Draws == 0 || in.BedC.StepMS <= 0 {
			continue
		}
		for ms := d.FromMS; ms < d.ToMS; ms += in.BedC.StepMS {
			if i := in.BedC.at(ms); i >= 0 && in.BedC.Values[i] == in.BedC.Values[i] {
				all++
				if in.BedC.Values[i] < o.BelowC {
					low++
				}
			}
		}
	}
	if all == 0 {
		return math.NaN(), "no bed_temp is logged on days with draws"
	}
	return float64(low) / float64(all), ""
}

// laterOver is the later half's median half-time over the earlier's.
func laterOver(rec []recovered, o Options) (float64, string) {
	var early, late []float64
	for i, r := range rec {
		if r.halfH != r.halfH {
			continue
		}
		if i < len(rec)/2 {
			early = append(early, r.halfH)
		} else {
			late = append(late, r.halfH)
		}
	}
	if len(early) < o.MinDraws || len(late) < o.MinDraws {
		return math.NaN(), fmt.Sprintf("fewer than %d draws in each half of the record show how the bed comes back", o.MinDraws)
	}
	a, c := median(early, "h", ""), median(late, "h", "")
	if a.High >= c.Low && c.High >= a.Low {
		return 1, "" // not told apart
	}
	return c.Value / a.Value, ""
}

// approach is the drift of the approach in K a week, and its 95 % lower end.
func approach(draws []Draw, o Options) (slope, low float64, why string) {
	var rows [][]float64
	var y []float64
	for _, d := range draws {
		if d.ApproachK == d.ApproachK && d.KWh == d.KWh {
			rows, y = append(rows, []float64{1, float64(d.StartMS) / (7 * msPerDay), d.KWh}), append(y, d.ApproachK)
		}
	}
	if len(rows) < o.MinDays {
		return math.NaN(), math.NaN(), fmt.Sprintf("%d draws tell the approach of soaked water; %d are needed", len(rows), o.MinDays)
	}
	first := rows[0][1]
	for _, r := range rows {
		r[1] -= first
	}
	p := projector(rows)
	if p == nil {
		return math.NaN(), math.NaN(), "the draws are too much alike to tell it"
	}
	_, trend := resampled(p, rows, y, o)
	return dot(p[1], y), trend[0], ""
}
