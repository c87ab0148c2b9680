package match

import (
	"context"
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/doubt"
)

// Options of the search for stretches in which probes must read the same. All
// thresholds are common practice, without a source.
type Options struct {
	// AfterS: so long no water has moved before a stretch begins. WindowS: its
	// length; of each stillness the last one counts in which both stand steady.
	AfterS, WindowS float64
	// LevelKPerH: both probes may drift by so much within a window, and
	// DifferenceKPerH: their difference by so much.
	LevelKPerH, DifferenceKPerH float64
	// Fewest stretches, on FewestDays days.
	Fewest, FewestDays int
	// SpreadK: stretches that scatter by more (standard deviation) do not show the
	// same surroundings. SlopeT: nor do those that go with the bed's or the tank's
	// distance from the probes (Student's t).
	SpreadK, SlopeT float64
	// FloorK: half-width of what all stretches may have in common that is not the
	// probes' (95 %).
	FloorK float64
	// BathS: length of the stretch looked for on the day of a bath; BathKPerH: its
	// drift at most; BathFloorK: half-width of what stirring leaves (95 %).
	// BathWithinS: with a time of day stated it is looked for so long after it.
	BathS, BathKPerH, BathFloorK, BathWithinS float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{AfterS: 3 * 3600, WindowS: 5400, LevelKPerH: 0.5, DifferenceKPerH: 0.1, Fewest: 8, FewestDays: 4,
		SpreadK: 0.2, SlopeT: 3, FloorK: 0.1, BathS: 900, BathKPerH: 2, BathFloorK: 0.05, BathWithinS: 7200}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"AfterS", o.AfterS, 0, 48 * 3600}, {"WindowS", o.WindowS, 600, 24 * 3600}, {"LevelKPerH", o.LevelKPerH, 0.001, 10},
		{"DifferenceKPerH", o.DifferenceKPerH, 0.001, 10}, {"Fewest", float64(o.Fewest), 3, 1000}, {"FewestDays", float64(o.FewestDays), 1, 1000},
		{"SpreadK", o.SpreadK, 0.001, 10}, {"SlopeT", o.SlopeT, 1, 100}, {"FloorK", o.FloorK, 0, 5},
		{"BathS", o.BathS, 60, 6 * 3600}, {"BathKPerH", o.BathKPerH, 0.01, 100}, {"BathFloorK", o.BathFloorK, 0, 5}, {"BathWithinS", o.BathWithinS, 60, 86400},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("match: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Pair is two probes on one grid of cells.
type Pair struct {
	StepS float64
	// A and B: readings by cell, degC; NaN = not covered.
	A, B []float64
	// Flows that must stand still, L/min by cell; NaN is not known, and so not
	// still.
	Flows [][]float64
	// Drivers are temperatures that might reach one of the two while the water
	// stands, by name: bed, tank.
	Drivers []Driver
	// Day is the local day of a cell.
	Day func(cell int) int
	// SDK is the standard deviation of the difference by the probes' stated errors.
	SDK float64
}

// Driver is a temperature that heat may come from.
type Driver struct {
	Name   string
	Values []float64
}

// Found is what a record says of a pair: A reads OffsetK more than B, give or
// take HalfK. Why, if not empty, says why it says nothing; OffsetK may then still
// be what was read.
type Found struct {
	OffsetK, HalfK float64
	Stretches      int
	SpreadK        float64
	Why            string
}

// stretch is the last good window of one stillness.
type stretch struct {
	differenceK, levelC float64
	from, to            int
}

// Still finds the stretches in which no water had moved for long and both
// probes stood steady, and takes the difference that they show: its mean without
// outliers, uncertain by the scatter from stretch to stretch (Student's t, for
// as many as are worth counting where neighbours are alike) and by Options.FloorK
// for what all stretches share. Where the difference is larger than the probes'
// errors allow, scatters, or goes with the bed or the tank, the two did not stand
// in the same surroundings, and nothing is said.
func Still(p Pair, o Options) Found {
	list := p.stretches(o)
	f := Found{OffsetK: math.NaN(), HalfK: math.NaN(), Stretches: len(list), SpreadK: math.NaN()}
	days := map[int]bool{}
	for _, s := range list {
		days[p.Day(s.from)] = true
	}
	if len(list) < o.Fewest || len(days) < o.FewestDays {
		f.Why = fmt.Sprintf("%d stretches on %d days in which no water had moved for %.0f h and both stood steady; want %d on %d",
			len(list), len(days), o.AfterS/3600, o.Fewest, o.FewestDays)
		return f
	}
	kept := inliers(list)
	d := make([]float64, len(kept))
	for i, s := range kept {
		d[i] = s.differenceK
	}
	mean, sd := moments(d)
	n := max(2, doubt.EffectiveN(len(d), max(0, min(0.9, doubt.Lag1(d)))))
	f.OffsetK, f.SpreadK = mean, sd
	f.HalfK = math.Hypot(doubt.StudentT(0.975, max(1, n-1))*sd/math.Sqrt(n), o.FloorK)
	switch {
	case math.Abs(mean) > 3*math.Hypot(p.SDK, o.FloorK/z95):
		f.Why = fmt.Sprintf("they stood %.2f K apart while no water moved, more than their errors allow: they were not in the same surroundings, or one errs by more than is stated", math.Abs(mean))
	case sd > o.SpreadK:
		f.Why = fmt.Sprintf("from one stillness to the next their difference scatters by %.2f K: they were not in the same surroundings", sd)
	default:
		f.Why = p.driven(kept, o)
	}
	return f
}

// stretches are the stillnesses with at least one good window.
func (p Pair) stretches(o Options) []stretch {
	var out []stretch
	wait, window := int(math.Ceil(o.AfterS/p.StepS)), max(4, int(math.Round(o.WindowS/p.StepS)))
	for from := 0; from < len(p.A); {
		if !p.still(from) {
			from++
			continue
		}
		to := from
		for to < len(p.A) && p.still(to) {
			to++
		}
		// The last good window: what still cools has cooled the furthest there.
		for a := to - window; a >= from+wait; a -= max(1, window/4) {
			if d, level, ok := p.window(a, a+window, o.LevelKPerH, o.DifferenceKPerH); ok {
				out = append(out, stretch{d, level, a, a + window})
				break
			}
		}
		from = to
	}
	return out
}

func (p Pair) still(cell int) bool {
	for _, f := range p.Flows {
		if f[cell] != 0 {
			return false
		}
	}
	return len(p.Flows) > 0
}

// window judges cells [a, b): both covered but for a tenth, and steady.
func (p Pair) window(a, b int, levelKPerH, differenceKPerH float64) (differenceK, levelC float64, ok bool) {
	var n, st, stt, sa, sta, sb, stb float64
	for i := a; i < b; i++ {
		va, vb := p.A[i], p.B[i]
		if va != va || vb != vb {
			continue
		}
		t := float64(i-a) * p.StepS / 3600
		n++
		st, stt = st+t, stt+t*t
		sa, sta = sa+va, sta+t*va
		sb, stb = sb+vb, stb+t*vb
	}
	if n < 0.9*float64(b-a) || n < 3 {
		return 0, 0, false
	}
	den := stt - st*st/n
	slopeA, slopeB := (sta-st*sa/n)/den, (stb-st*sb/n)/den
	ok = math.Abs(slopeA) <= levelKPerH && math.Abs(slopeB) <= levelKPerH && math.Abs(slopeA-slopeB) <= differenceKPerH
	return (sa - sb) / n, (sa + sb) / n / 2, ok
}

// inliers leaves out stretches that stand more than three robust standard
// deviations (1.4826 MAD) from the median, such as one with a door open.
func inliers(list []stretch) []stretch {
	d := make([]float64, len(list))
	for i, s := range list {
		d[i] = s.differenceK
	}
	mid := median(d)
	for i := range d {
		d[i] = math.Abs(d[i] - mid)
	}
	limit := max(3*1.4826*median(d), 0.02)
	var out []stretch
	for _, s := range list {
		if math.Abs(s.differenceK-mid) <= limit {
			out = append(out, s)
		}
	}
	return out
}

func median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

func moments(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(max(1, len(x)-1)))
}

// driven says whether the difference goes with the distance of bed or tank from
// the probes, by so much that it matters, and moves with it by more than
// Options.FloorK: then heat reaches one of them. (Less than that may be the time
// of day: two pipes follow the air at different paces.)
func (p Pair) driven(list []stretch, o Options) string {
	for _, v := range p.Drivers {
		var x, y []float64
		for _, s := range list {
			if c := meanOf(v.Values[s.from:s.to]); c == c {
				x, y = append(x, c-s.levelC), append(y, s.differenceK)
			}
		}
		slope, se, mean := line(x, y)
		if span := spanOf(x); math.Abs(slope) > o.SlopeT*se && math.Abs(slope*mean) > o.FloorK && math.Abs(slope)*span > o.FloorK {
			return fmt.Sprintf("their difference while no water moves goes with the %s's temperature (%.3f K a kelvin): heat reaches one of them", v.Name, slope)
		}
	}
	return ""
}

func spanOf(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return slices.Max(x) - slices.Min(x)
}

// line is the slope of y over x, its standard error and the mean of x.
func line(x, y []float64) (slope, se, mean float64) {
	n := len(x)
	if n < 4 {
		return 0, math.Inf(1), 0
	}
	mean, _ = moments(x)
	my, _ := moments(y)
	var xx, xy float64
	for i := range x {
		xx, xy = xx+(x[i]-mean)*(x[i]-mean), xy+(x[i]-mean)*(y[i]-my)
	}
	slope = xy / xx
	rest := 0.0
	for i := range x {
		r := y[i] - my - slope*(x[i]-mean)
		rest += r * r
	}
	return slope, math.Sqrt(rest / float64(n-2) / xx), mean
}

func meanOf(v []float64) float64 {
	sum, n := 0.0, 0.0
	for _, x := range v {
		if x == x {
			sum, n = sum+x, n+1
		}
	}
	return sum / n
}

// Bath finds the steadiest stretch of cells [from, to), the local day on which
// both probes lay in one bucket while they were logging, and takes its
// difference. Water that moves in the pipes does not matter there. Of all
// stretches in which both hold still it is that whose difference moves least;
// what lies further apart than the errors allow is none.
func Bath(p Pair, from, to int, o Options) Found {
	f := Found{OffsetK: math.NaN(), HalfK: math.NaN(), SpreadK: math.NaN()}
	window := max(4, int(math.Round(o.BathS/p.StepS)))
	limit := 3 * math.Hypot(p.SDK, o.BathFloorK/z95)
	best := math.Inf(1)
	for a := max(0, from); a+window <= min(to, len(p.A)); a++ {
		d, _, ok := p.window(a, a+window, o.BathKPerH, o.BathKPerH)
		if !ok || math.Abs(d) > limit {
			continue
		}
		if s := p.scatter(a, a+window); s < best {
			best = s
			f.OffsetK, f.SpreadK, f.Stretches = d, s, 1
		}
	}
	if f.Stretches == 0 {
		f.Why = fmt.Sprintf("on that day both probes never held still together for %.0f min", o.BathS/60)
		return f
	}
	f.HalfK = math.Hypot(z95*best/math.Sqrt(float64(window)/4), o.BathFloorK)
	return f
}

// scatter of the difference within a window, by its standard deviation.
func (p Pair) scatter(a, b int) float64 {
	var d []float64
	for i := a; i < b; i++ {
		if v := p.A[i] - p.B[i]; v == v {
			d = append(d, v)
		}
	}
	_, sd := moments(d)
	return sd
}
