package plant

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
)

// LineResult is the line of heat caught against heat rejected, as rates over
// windows of several days.
type LineResult struct {
	Line // kW against kW
	// Windows behind it, and the scatter of a window about the line in kW that
	// the store's carry-over does not explain.
	Windows   int
	ScatterKW float64
	// GainKW = Intercept/Slope, and the half-width of its 95 % interval with
	// the sensors' shared errors.
	GainKW, GainHalfKW float64
	// SlopeHalf, InterceptHalfKW: half-widths of the 95 % intervals likewise.
	SlopeHalf, InterceptHalfKW float64
	// HoursPerCycle turns the intercept into kWh a cycle.
	HoursPerCycle float64

	randomHalfKW float64
	effects      []gainEffect
}

// Distinct tells whether the interval of the slope leaves out 0: else the line
// says nothing of how the heat caught goes with the heat rejected.
func (l LineResult) Distinct() bool { return l.Slope > l.SlopeHalf }

// SlopeFigure is the line's slope: heat caught per heat rejected.
func (l LineResult) SlopeFigure(coverage float64) doubt.Figure {
	return doubt.Make(l.Slope, l.Slope-l.SlopeHalf, l.Slope+l.SlopeHalf, "1", doubt.Fitted, l.Windows, coverage, "")
}

// InterceptFigure is the line's intercept in kWh a cycle.
func (l LineResult) InterceptFigure(coverage float64) doubt.Figure {
	v, u := l.Intercept*l.HoursPerCycle, l.InterceptHalfKW*l.HoursPerCycle
	return doubt.Make(v, v-u, v+u, "kWh", doubt.Fitted, l.Windows, coverage, "")
}

// window is a stretch of whole days.
type window struct{ from, to int } // rows from … to−1

// fitLine draws the line through windows of several days, so that what the
// store carries from one cycle to the next weighs little, and adds the shared
// errors of the sensors by refitting under each.
func fitLine(terms Terms, carryKWh float64, sources []doubt.Source) (LineResult, error) {
	windows := lineWindows(terms, carryKWh)
	if len(windows) < doubt.MinBlocks {
		return LineResult{}, fmt.Errorf("only %d stretches of days; want %d", len(windows), doubt.MinBlocks)
	}
	none := make([]float64, len(sources))
	points := pointsOf(terms, windows, carryKWh, none)
	line, scatter, err := fitScatter(points)
	if err != nil {
		return LineResult{}, err
	}
	if !(line.Slope > 0) {
		return LineResult{}, fmt.Errorf("more heat rejected did not go with more heat caught")
	}
	l := LineResult{Line: line, Windows: len(windows), ScatterKW: scatter, GainKW: line.Intercept / line.Slope,
		HoursPerCycle: sumsOf(terms).hours / float64(len(terms.Rows))}
	wider := related(line, points)
	l.InterceptSD, l.SlopeSD, l.Cov = wider*l.InterceptSD, wider*l.SlopeSD, wider*wider*l.Cov
	l.spread(terms, windows, carryKWh, sources)
	return l, nil
}

// spread fills in the half-widths: the line's own standard errors by
// Student's t, and each sensor's error by a refit at ± its standard
// uncertainty.
func (l *LineResult) spread(terms Terms, windows []window, carryKWh float64, sources []doubt.Source) {
	t := doubt.StudentT(0.975, float64(l.Windows-2))
	l.randomHalfKW = t * l.ownGainSD()
	gain, slope, intercept := sq(l.randomHalfKW), sq(t*l.SlopeSD), sq(t*l.InterceptSD)
	byGain, bySlope, byIntercept := make([]float64, len(sources)), make([]float64, len(sources)), make([]float64, len(sources))
	for _, i := range responding(terms.Caught, terms.Milk, terms.Compressor) {
		u := sources[i].U()
		if u == 0 {
			continue
		}
		up, upOK := l.refit(terms, windows, carryKWh, i, u, len(sources))
		down, downOK := l.refit(terms, windows, carryKWh, i, -u, len(sources))
		if !upOK || !downOK {
			continue
		}
		d := (up.Intercept/up.Slope - down.Intercept/down.Slope) / 2
		l.effects = append(l.effects, gainEffect{source: i, kwPer: d / u})
		byGain[i], bySlope[i], byIntercept[i] = d/u, (up.Slope-down.Slope)/2/u, (up.Intercept-down.Intercept)/2/u
	}
	gain += sq(1.96) * doubt.VarianceOf(sources, byGain)
	slope += sq(1.96) * doubt.VarianceOf(sources, bySlope)
	intercept += sq(1.96) * doubt.VarianceOf(sources, byIntercept)
	l.GainHalfKW, l.SlopeHalf, l.InterceptHalfKW = math.Sqrt(gain), math.Sqrt(slope), math.Sqrt(intercept)
}

// ownGainSD is the standard error of G = a/b from the line's own,
//
//	u²(G) = (σ_a² + G² σ_b² − 2 G cov(a, b))/b²
func (l *LineResult) ownGainSD() float64 {
	v := sq(l.InterceptSD) + sq(l.GainKW*l.SlopeSD) - 2*l.GainKW*l.Cov
	return math.Sqrt(math.Max(0, v)) / l.Slope
}

func (l *LineResult) refit(terms Terms, windows []window, carryKWh float64, source int, value float64, n int) (Line, bool) {
	e := make([]float64, n)
	e[source] = value
	points := pointsOf(terms, windows, carryKWh, e)
	line, err := York(withScatter(points, l.ScatterKW))
	return line, err == nil && line.Slope > 0
}

// fitScatter fits the line with so much scatter added to every y that the
// points lie about it as far as they should: MSWD = 1. What the days differ
// by beside the carry-over of the store is not known beforehand.
func fitScatter(points []Point) (Line, float64, error) {
	low, high := 0.0, 0.0
	for _, p := range points {
		high = math.Max(high, math.Abs(p.Y))
		low = math.Max(low, 1e-6*math.Abs(p.Y))
	}
	line, err := York(withScatter(points, low))
	if err != nil || line.MSWD <= 1 {
		return line, low, err
	}
	for range 60 {
		middle := math.Sqrt(low * high)
		if line, err = York(withScatter(points, middle)); err != nil {
			return line, middle, err
		}
		if line.MSWD > 1 {
			low = middle
		} else {
			high = middle
		}
	}
	return line, high, nil
}

func withScatter(points []Point, scatterKW float64) []Point {
	out := make([]Point, len(points))
	for i, p := range points {
		p.SY = math.Hypot(p.SY, scatterKW)
		out[i] = p
	}
	return out
}

// lineWindows are the stretches that the line is drawn through: whole weeks
// where a store may carry over much and the season is long enough for a dozen.
// How much it carries is known from above only, and an error of x that is taken
// as larger than it is makes the line too steep, by the square of its share.
func lineWindows(terms Terms, carryKWh float64) []window {
	const muchOfACycle, dozen, week = 0.2, 12, 7
	milkKWh := sumsOf(terms).milkKWh / math.Max(1, float64(len(terms.Rows)))
	if carryKWh > muchOfACycle*milkKWh {
		if weeks := windowsOf(terms.Rows, week); len(weeks) >= dozen {
			return weeks
		}
	}
	return windowsOf(terms.Rows, doubt.MinBlockDays)
}

// windowsOf cuts the rows into stretches of so many days that have any. A rest
// of fewer days at the end is left out.
func windowsOf(rows []Row, days int) []window {
	var list []window
	from, seen := 0, 1
	for i := 1; i <= len(rows); i++ {
		if i < len(rows) && rows[i].Day == rows[i-1].Day {
			continue
		}
		if seen++; seen > days {
			list = append(list, window{from, i})
			from, seen = i, 1
		}
	}
	return list
}

// related is by how much neighbouring windows that lie on the same side of the
// line widen its standard errors: √(n/n′) with n′ the effective number.
func related(line Line, points []Point) float64 {
	rest := make([]float64, len(points))
	for i, p := range points {
		rest[i] = p.Y - line.Intercept - line.Slope*p.X
	}
	n := len(points)
	return math.Sqrt(float64(n) / doubt.EffectiveN(n, math.Max(0, doubt.Lag1(rest))))
}

// pointsOf are the windows' rates in kW under the errors e. The store's change
// over a window is triangular between ± carryKWh, u = carryKWh/√6.
func pointsOf(terms Terms, windows []window, carryKWh float64, e []float64) []Point {
	points := make([]Point, len(windows))
	for i, w := range windows {
		var hours float64
		p := &points[i]
		for r := w.from; r < w.to; r++ {
			row := func(p doubt.Part) float64 { return p.Row(r, e) }
			p.X += total(terms.Milk, row) + total(terms.Compressor, row)
			p.Y += total(terms.Caught, row)
			hours += terms.Rows[r].Hours
		}
		p.X, p.Y, p.SX = p.X/hours, p.Y/hours, carryKWh/math.Sqrt(6)/hours
	}
	return points
}

// responding are the sources that any of the terms responds to, each once.
func responding(terms ...[]doubt.Part) []int {
	var list []int
	seen := map[int]bool{}
	for _, parts := range terms {
		for _, p := range parts {
			for _, i := range p.Sources() {
				if !seen[i] {
					seen[i] = true
					list = append(list, i)
				}
			}
		}
	}
	return list
}

func sq(x float64) float64 { return x * x }
