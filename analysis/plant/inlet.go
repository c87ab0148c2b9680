package plant

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
)

// Slope is how a ratio goes with the temperature of the water that enters the
// plate: warmer water takes up less.
type Slope struct {
	// PerK is the change per kelvin, Half the half-width of its 95 % interval.
	PerK, Half float64
	// Windows of whole days behind it; FromC, ToC the water in the coolest and
	// the warmest of them.
	Windows    int
	FromC, ToC float64
	// Why it is not known.
	Why string
}

// Figure makes the slope's figure.
func (s Slope) Figure(coverage float64) doubt.Figure {
	return doubt.Make(s.PerK, s.PerK-s.Half, s.PerK+s.Half, "1/K", doubt.Fitted, s.Windows, coverage, s.Why)
}

// RecoveryOnInlet is the slope of the recovery fraction, EffectivenessOnInlet
// that of the plate's effectiveness, against the water's temperature.
//
// Ordinary least squares through windows of whole days (doubt.MinBlockDays, so
// that what the store carries over weighs little), standard errors by the
// scatter, widened by what neighbouring windows have in common, Student's t
// with n − 2. An error of the water's probe shifts all windows alike and leaves
// the slope; other things that go with the season (outdoor air, milk) are in
// it: it says what went together, not what caused it.
func RecoveryOnInlet(terms Terms, gainKW float64) Slope {
	if terms.Milk == nil || terms.Compressor == nil {
		return noSlope(map[bool]string{true: WhyNoMilk, false: WhyNoCompressor}[terms.Milk == nil])
	}
	return onInlet(terms, func(rows window) float64 {
		hours := 0.0
		for r := rows.from; r < rows.to; r++ {
			hours += terms.Rows[r].Hours
		}
		return ratio(sumIn(terms.Caught, rows), sumIn(terms.Milk, rows)+sumIn(terms.Compressor, rows)+gainKW*hours)
	})
}

// EffectivenessOnInlet: see RecoveryOnInlet.
func EffectivenessOnInlet(terms Terms) Slope {
	if terms.Drive == nil {
		return noSlope(WhyNoGas)
	}
	return onInlet(terms, func(rows window) float64 { return ratio(sumIn(terms.Rise, rows), sumIn(terms.Drive, rows)) })
}

func noSlope(why string) Slope {
	nan := math.NaN()
	return Slope{PerK: nan, Half: nan, FromC: nan, ToC: nan, Why: why}
}

func sumIn(parts []doubt.Part, w window) float64 {
	return total(parts, func(p doubt.Part) float64 {
		s := 0.0
		for r := w.from; r < w.to; r++ {
			s += p.Value(r)
		}
		return s
	})
}

func onInlet(terms Terms, value func(window) float64) Slope {
	var points []Point
	for _, w := range windowsOf(terms.Rows, doubt.MinBlockDays) {
		x, y := ratio(sumIn(terms.InLK, w), sumIn(terms.Litres, w)), value(w)
		if s := x + y; s == s {
			points = append(points, Point{X: x, Y: y, SY: 1})
		}
	}
	n := len(points)
	if n < doubt.MinBlocks {
		return noSlope(fmt.Sprintf("only %d stretches of %d days with water at the plate; want %d", n, doubt.MinBlockDays, doubt.MinBlocks))
	}
	line, err := York(points)
	if err != nil {
		return noSlope("the water's temperature did not vary")
	}
	s := Slope{PerK: line.Slope, Windows: n, FromC: math.Inf(1), ToC: math.Inf(-1)}
	for _, p := range points {
		s.FromC, s.ToC = math.Min(s.FromC, p.X), math.Max(s.ToC, p.X)
	}
	s.Half = doubt.StudentT(0.975, float64(n-2)) * line.SlopeSD * math.Sqrt(line.MSWD) * related(line, points)
	return s
}
