package cycle

import (
	"math"
	"slices"

	"yardheat/analysis/grid"
)

// Wash is one wash or rinse.
type Wash struct {
	Span
	Start, End int64
	// TempC: flow-weighted mean once flushed; StartC the first of it, EndC the
	// last, PeakC the highest. NaN where the probe does not cover it.
	TempC, StartC, EndC, PeakC float64
	Litres                     float64
	// CoolC, where no wash is metered: the lowest that the hot tank's upper probe
	// read since the refill before; NaN else.
	CoolC float64
	// Rinse: its water did not pass Options.JudgedC. Unknown: no temperature.
	Rinse, Unknown bool
	// TooCool against the farm's target; Reason then says why: "cold tank",
	// "short heat", "not known".
	TooCool bool
	Reason  string
	// Estimated: no wash meter; found in a refill that follows a fall of the
	// tank.
	Estimated bool
}

// Washes are the stretches of wash flow, told apart by WashApartS, with their
// temperatures once flushed. booked are the wash probe's temperatures for
// runs' cells (nil: no probe). targetC is NaN where the farm states none.
func Washes(runs *grid.Runs, booked *grid.Booked, targetC float64, opt Options) []Wash {
	g, flow := runs.Grid, runs.Flow.Values
	limit := Threshold(flow, opt.ThresholdShare, opt.ThresholdLMin)
	join := int(math.Ceil(opt.WashApartS/g.StepS)) - 1
	var out []Wash
	for _, s := range Spans(flow, join, func(v float64) bool { return v > limit }) {
		w := Wash{Span: s, Start: g.EdgeMS(s.A), End: g.EdgeMS(s.B), Litres: integral(flow, s, g.StepS/60), CoolC: math.NaN()}
		if w.Litres < opt.WashLeastL {
			continue
		}
		w.read(runs, booked)
		w.judge(targetC, opt.JudgedC)
		out = append(out, w)
	}
	return out
}

// read takes the temperatures of the wash from the booked cells, those before
// the probe was flushed only where there are no others.
func (w *Wash) read(runs *grid.Runs, booked *grid.Booked) {
	w.TempC, w.StartC, w.EndC, w.PeakC = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if booked == nil {
		return
	}
	lo, _ := slices.BinarySearch(runs.Cells, w.A)
	hi, _ := slices.BinarySearch(runs.Cells, w.B)
	for _, early := range []bool{false, true} {
		var sum, litres float64
		for j := lo; j < hi; j++ {
			t := booked.TempC[j]
			if t != t || booked.Early[j] && !early || runs.Trickle[j] {
				continue
			}
			sum, litres = sum+t*runs.L[j], litres+runs.L[j]
			w.EndC = t
			if w.StartC != w.StartC {
				w.StartC = t
			}
			if !(w.PeakC >= t) {
				w.PeakC = t
			}
		}
		if litres > 0 {
			w.TempC = sum / litres
			return
		}
	}
}

func (w *Wash) judge(targetC, judgedC float64) {
	switch {
	case w.TempC != w.TempC:
		w.Unknown = true
	case !(w.PeakC > judgedC):
		w.Rinse = true
	default:
		w.TooCool = w.TempC < targetC
	}
}

// WashesByRefill finds washes where none is metered: a refill through the loop
// that makes up for hot water taken shows as a fall of the hot tank. The wash's
// temperature is the tank's highest in the minutes before the refill begins to
// follow it, its litres are the refill's. tankC is the hot tank's upper probe, read every everyS: in a slow
// log the line from the last reading before the refill already leads to the
// cooled tank, so that reading stands.
func WashesByRefill(g *grid.Grid, draws []Draw, tankC []float64, everyS, targetC float64, opt Options) []Wash {
	within := int(opt.FallWithinS / g.StepS)
	every := int(math.Max(everyS, startWithinS)/g.StepS + 0.5)
	var out []Wash
	for _, d := range draws {
		a, since := max(0, d.A-within), 0
		if n := len(out); n > 0 {
			a, since = max(a, out[n-1].B), out[n-1].B
		}
		before := math.Inf(-1)
		for _, v := range tankC[a:min(d.A+1, g.N)] {
			if v > before {
				before = v
			}
		}
		low := math.Inf(1)
		for _, v := range tankC[d.A:min(g.N, d.B+within/2)] {
			if v < low {
				low = v
			}
		}
		if math.IsInf(before, 0) || !(before-low >= opt.FallK) {
			continue
		}
		at := math.Inf(-1)
		for _, v := range tankC[max(a, d.A-every) : d.A+1] {
			if v > at {
				at = v
			}
		}
		if math.IsInf(at, 0) {
			at = before
		}
		w := Wash{Span: d.Span, Start: d.Start, End: d.End, TempC: at, StartC: at, EndC: at, PeakC: at, Litres: d.Litres, Estimated: true, CoolC: at}
		for _, v := range tankC[min(since, d.A):d.A] {
			if v < w.CoolC {
				w.CoolC = v
			}
		}
		w.judge(targetC, opt.JudgedC)
		out = append(out, w)
	}
	return out
}

// startWithinS: a refill may have begun so long before the pipe's probes show it.
const startWithinS = 300

// Explain gives each wash that was too cool its reason, from the tank before
// it and the element's run since the wash before:
//
//   - "short heat": the element ran for less than ShortShare of the median
//     energy before washes that were hot enough, or it was still at work when
//     the wash began;
//   - "cold tank": it had its usual run (or none is logged) and the tank stood
//     below the target all the same;
//   - "not known": neither is logged, or the tank was hot enough.
//
// tankC (upper probe of the hot tank) and elementKW may be nil.
func Explain(g *grid.Grid, washes []Wash, tankC, elementKW []float64, targetC float64, opt Options) {
	heats := make([]float64, len(washes))
	var usual []float64
	for i := range washes {
		heats[i] = heatBefore(g, washes, i, elementKW, opt)
		if w := washes[i]; !w.Rinse && !w.Unknown && !w.TooCool && heats[i] == heats[i] {
			usual = append(usual, heats[i])
		}
	}
	median := math.NaN()
	if len(usual) >= 3 {
		slices.Sort(usual)
		median = usual[len(usual)/2]
	}
	before := int(opt.TankBeforeS / g.StepS)
	full := math.NaN() // what the element draws at work, once a wash asks
	for i := range washes {
		w := &washes[i]
		if !w.TooCool {
			continue
		}
		if full != full && elementKW != nil {
			full = quantile(elementKW, 0.99)
		}
		tank := math.NaN()
		if tankC != nil {
			tank = mean(tankC, w.A-before, w.A)
		}
		atWork := elementKW != nil && mean(elementKW, w.A-before, w.A) > 0.5*full
		w.Reason = reason(tank, targetC, heats[i], median, atWork, opt)
	}
}

func reason(tankC, targetC, heatKWh, usualKWh float64, atWork bool, opt Options) string {
	switch {
	case tankC >= targetC:
		return "not known"
	case heatKWh < opt.ShortShare*usualKWh || atWork && tankC == tankC:
		return "short heat"
	case tankC < targetC:
		return "cold tank"
	}
	return "not known"
}

// heatBefore is the element's energy between the last wash that was none of the
// rinses beside this one and this one, within HeatWithinS; NaN where the record
// does not cover it.
func heatBefore(g *grid.Grid, washes []Wash, i int, elementKW []float64, opt Options) float64 {
	if elementKW == nil {
		return math.NaN()
	}
	a := max(0, washes[i].A-int(opt.HeatWithinS/g.StepS))
	for j := i - 1; j >= 0; j-- {
		if !washes[j].Rinse && washes[i].A-washes[j].B > int(7200/g.StepS) {
			a = max(a, washes[j].B)
			break
		}
	}
	sum, n := 0.0, 0
	for _, v := range elementKW[a:washes[i].A] {
		if v == v {
			sum += v
			n++
		}
	}
	if n == 0 || float64(n) < opt.CoveredShare*float64(washes[i].A-a) {
		return math.NaN()
	}
	return sum * g.Hours()
}
