package plant

import (
	"math"

	"yardheat/analysis/doubt"
)

// Week is how the plate did over seven days: where scale, a weak pump or the
// refrigerant side show first.
type Week struct {
	FromMS, ToMS int64
	Cycles       int
	// Effectiveness is (T_out − T_in)/(T_gas,in − T_in) of the plate, weighted
	// by flow.
	Effectiveness Weekly
	// CaughtPerKWh is heat caught per kWh of compressor electricity.
	CaughtPerKWh Weekly
	// FlowLMin is the flow while water flows, the mean over the litres: the part
	// of an interval in which the water stood weighs little.
	FlowLMin Weekly
	// InC is the water's temperature into the plate, weighted by flow.
	InC Weekly
	// Recovery is caught over rejected, the gain included.
	Recovery Weekly
}

// Weekly is one value of a week. NaN = not known.
type Weekly struct {
	Value float64
	// Half is the half-width of the 95 % interval by the errors of sensors and
	// stated figures (and, for the recovery fraction, what the store may carry
	// over). Most of it is shared by all weeks.
	Half float64
	// Own is the half-width of the 95 % interval of the scatter by days within
	// the week: by how much the value may differ from its neighbours without a
	// change. NaN with fewer than three days.
	Own float64
}

// Figure makes the week's figure.
func (w Weekly) Figure(unit string, basis doubt.Basis, cycles int, why string) doubt.Figure {
	if math.IsNaN(w.Value) {
		return doubt.Make(w.Value, w.Value, w.Value, unit, basis, cycles, 1, why)
	}
	return doubt.Make(w.Value, w.Value-w.Half, w.Value+w.Half, unit, basis, cycles, 1, "")
}

// OwnFigure is the same value with the interval of what is the week's own.
func (w Weekly) OwnFigure(unit string, cycles int, why string) doubt.Figure {
	if math.IsNaN(w.Own) && why == "" {
		why = "fewer than three days"
	}
	return doubt.Make(w.Value, w.Value-w.Own, w.Value+w.Own, unit, doubt.Fitted, cycles, 1, why)
}

// Weeks are the values by seven local days from the first cycle's day on. The
// errors of sensors are shared by all weeks, so they move all alike and a
// change is seen better than the level. sources are those that the terms
// respond to; carryKWh is what the store may carry over (Storage.CarryKWh).
//
// Intervals are by linear propagation (JCGM 100:2008, 5.1.2), each source's
// effect by a difference at ± its standard uncertainty.
func Weeks(terms Terms, gain Gain, carryKWh float64, sources []doubt.Source) []Week {
	var list []Week
	w := weekly{terms: terms, gain: gain, carryKWh: orZero(carryKWh), sources: sources,
		by: responding(terms.Caught, terms.Milk, terms.Compressor, terms.Rise, terms.Drive, terms.Litres, terms.FlowL, terms.InLK)}
	var cut [][]int
	for from := 0; from < len(terms.Rows); {
		last, to := terms.Rows[from].Day-mod(terms.Rows[from].Day-terms.Rows[0].Day, 7)+7, from
		var rows []int
		for ; to < len(terms.Rows) && terms.Rows[to].Day < last; to++ {
			rows = append(rows, to)
		}
		cut = append(cut, rows)
		from = to
	}
	w.relate(cut)
	for _, rows := range cut {
		list = append(list, w.week(rows))
	}
	return list
}

// weekly carries what the weeks share.
type weekly struct {
	terms    Terms
	gain     Gain
	carryKWh float64
	sources  []doubt.Source
	by       []int
	of       [ofAll]fraction
	// lag is how much neighbouring days of one week are alike, by value.
	lag [ofAll]float64
}

// The values of a week, in this order.
const (
	ofEffectiveness = iota
	ofCaught
	ofFlow
	ofIn
	ofRecovery
	ofAll
)

// fraction is a ratio of two sums over rows under errors.
type fraction struct {
	over, under func(r int, e []float64) float64
}

func (w *weekly) fractions() [ofAll]fraction {
	t := w.terms
	sum := func(parts []doubt.Part) func(int, []float64) float64 {
		return func(r int, e []float64) float64 {
			return total(parts, func(p doubt.Part) float64 { return p.Row(r, e) })
		}
	}
	caught, milk, compressor, litres := sum(t.Caught), sum(t.Milk), sum(t.Compressor), sum(t.Litres)
	rejected := func(r int, e []float64) float64 {
		return milk(r, e) + compressor(r, e) + w.gain.KW*t.Rows[r].Hours
	}
	return [ofAll]fraction{ofEffectiveness: {sum(t.Rise), sum(t.Drive)}, ofCaught: {caught, compressor},
		ofFlow: {sum(t.FlowL), litres}, ofIn: {sum(t.InLK), litres}, ofRecovery: {caught, rejected}}
}

func (w *weekly) week(rows []int) Week {
	t := w.terms
	out := Week{FromMS: t.Rows[rows[0]].StartMS, ToMS: t.Rows[rows[len(rows)-1]].EndMS, Cycles: len(rows)}
	for k, v := range [ofAll]*Weekly{ofEffectiveness: &out.Effectiveness, ofCaught: &out.CaughtPerKWh, ofFlow: &out.FlowLMin,
		ofIn: &out.InC, ofRecovery: &out.Recovery} {
		*v = w.value(rows, k)
	}
	out.Recovery.Half = math.Hypot(out.Recovery.Half, w.openHalf(out.Recovery.Value, rows))
	return out
}

// openHalf is what the standing gain and the store at both ends leave open of
// a week's recovery fraction f:
//
//	u(f)/f = √(u²(G) t² + carry²/6)/R
//
// R the heat rejected, t the hours. The store's change is triangular between ±
// carry; a gain that may lie anywhere from 0 to its limit has u = limit/√12.
func (w *weekly) openHalf(f float64, rows []int) float64 {
	rejected := w.of[ofRecovery].under
	none := make([]float64, len(w.sources))
	var sum, hours float64
	for _, r := range rows {
		sum += rejected(r, none)
		hours += w.terms.Rows[r].Hours
	}
	gainKW := w.gain.HalfWidthKW / z95
	if w.gain.From == GainNone {
		gainKW = w.gain.HalfWidthKW / math.Sqrt(12)
	}
	return z95 * math.Abs(f) * math.Hypot(gainKW*hours, w.carryKWh/math.Sqrt(6)) / sum
}

// z95 is the 97.5 % point of the standard normal distribution.
const z95 = 1.959963984540054

func (w *weekly) value(rows []int, k int) Weekly {
	e, f := make([]float64, len(w.sources)), w.of[k]
	at := func() float64 {
		over, under := 0.0, 0.0
		for _, r := range rows {
			over, under = over+f.over(r, e), under+f.under(r, e)
		}
		return ratio(over, under)
	}
	v := Weekly{Value: at(), Half: math.NaN(), Own: math.NaN()}
	if math.IsNaN(v.Value) {
		return v
	}
	variance := 0.0
	for _, i := range w.by {
		u := w.sources[i].U()
		if u == 0 {
			continue
		}
		e[i] = u
		up := at()
		e[i] = -u
		variance += sq((up - at()) / 2)
		e[i] = 0
	}
	v.Half, v.Own = z95*math.Sqrt(variance), w.own(rows, k)
	return v
}

// days are a week's residuals a_d − R b_d by day, R the ratio of the sums, and
// the sum of b.
func (w *weekly) days(rows []int, f fraction) (rest []float64, under float64) {
	none := make([]float64, len(w.sources))
	over := 0.0
	for _, r := range rows {
		over, under = over+f.over(r, none), under+f.under(r, none)
	}
	value, day := ratio(over, under), 0.0
	for i, r := range rows {
		day += f.over(r, none) - value*f.under(r, none)
		if i+1 == len(rows) || w.terms.Rows[rows[i+1]].Day != w.terms.Rows[r].Day {
			rest, day = append(rest, day), 0
		}
	}
	return rest, under
}

// relate finds how much neighbouring days of one week are alike, over all
// weeks together, so that a change between weeks does not count. Of n days
// about their own mean the lag-one correlation comes out at about
// ρ − (1 + 3ρ)/n (Kendall 1954, from memory), which is put right.
func (w *weekly) relate(weeks [][]int) {
	w.of = w.fractions()
	for k := range w.lag {
		var beside, all, days, n float64
		for _, rows := range weeks {
			rest, _ := w.days(rows, w.of[k])
			if len(rest) < 3 || math.IsNaN(rest[0]) {
				continue
			}
			n, days = n+1, days+float64(len(rest))
			for i, r := range rest {
				all += r * r
				if i > 0 {
					beside += r * rest[i-1]
				}
			}
		}
		if length := days / n; all > 0 && length > 3 {
			w.lag[k] = math.Min(0.8, math.Max(0, (beside/all+1/length)/(1-3/length)))
		}
	}
}

// own is the half-width of a ratio's interval by the scatter of its days,
//
//	s² = n/(n − 1) Σ (a_d − R b_d)²/(Σ b_d)²
//
// a, b the sums of a day, R the ratio, n the days (Cochran, Sampling
// Techniques, 3rd edition 1977, 6.4, from memory), widened by what neighbouring
// days have in common, by Student's t with n − 1.
func (w *weekly) own(rows []int, k int) float64 {
	rest, under := w.days(rows, w.of[k])
	if len(rest) < 3 {
		return math.NaN()
	}
	sum, n := 0.0, float64(len(rest))
	for _, r := range rest {
		sum += r * r
	}
	related := n / doubt.EffectiveN(len(rest), w.lag[k])
	related /= math.Max(0.3, 1-(related-1)/(n-1)) // alike, they scatter less about their own mean
	return doubt.StudentT(0.975, n-1) * math.Sqrt(related*n/(n-1)*sum) / under
}

func ratio(a, b float64) float64 {
	if !(b > 0) {
		return math.NaN()
	}
	return a / b
}

func mod(a, n int) int { return ((a % n) + n) % n }
