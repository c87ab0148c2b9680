package plant

import (
	"errors"
	"fmt"
	"math"
)

// Point is one point of a line fit with the standard uncertainties of both
// coordinates and their correlation.
type Point struct {
	X, Y, SX, SY, R float64
}

// Line is y = Intercept + Slope x.
type Line struct {
	Intercept, Slope     float64
	InterceptSD, SlopeSD float64
	Cov                  float64 // of intercept and slope
	MSWD                 float64 // Σ W (y − a − b x)²/(n − 2)
	N                    int
	xBar, yBar, weight   float64 // weighted means and sum of weights at Slope
}

// York fits a straight line to points with errors in both coordinates (York,
// Evensen, Martínez López, De Basabe Delgado 2004, Am. J. Phys. 72, 367,
// equations 13):
//
//	W_i = 1/(σ_y² + b² σ_x² − 2 b r σ_x σ_y)
//	β_i = W_i [U_i σ_y² + b V_i σ_x² − (b U_i + V_i) r σ_x σ_y]
//	b   = Σ W β V / Σ W β U,  a = Ȳ − b X̄
//
// U, V the distances from the weighted means X̄, Ȳ. Standard errors are those
// for the adjusted points, not widened by the scatter. An error of 0 is
// allowed in one coordinate; with σ_x = 0 this is the ordinary weighted fit.
func York(points []Point) (Line, error) {
	if len(points) < 3 {
		return Line{}, fmt.Errorf("plant: %d points; a line with its errors needs 3", len(points))
	}
	if !spread(points) {
		return Line{}, errors.New("plant: every point has the same x, or an error of both 0")
	}
	l := Line{N: len(points), Slope: startSlope(points)}
	const most = 1000
	for range most {
		next := l.step(points)
		if math.IsNaN(next) || math.IsInf(next, 0) {
			return Line{}, errors.New("plant: the points give no slope")
		}
		done := math.Abs(next-l.Slope) <= 1e-14*math.Abs(next)
		l.Slope = next
		if done {
			return l.errorsOf(points), nil
		}
	}
	return Line{}, fmt.Errorf("plant: the line did not settle in %d steps", most)
}

// step is one pass of the iteration: weighted means for the present slope,
// then the next slope.
func (l *Line) step(points []Point) float64 {
	var sw, sx, sy float64
	for _, p := range points {
		w := p.weight(l.Slope)
		sw, sx, sy = sw+w, sx+w*p.X, sy+w*p.Y
	}
	l.xBar, l.yBar, l.weight = sx/sw, sy/sw, sw
	var top, bottom float64
	for _, p := range points {
		w, beta := p.weight(l.Slope), l.beta(p)
		top += w * beta * (p.Y - l.yBar)
		bottom += w * beta * (p.X - l.xBar)
	}
	return top / bottom
}

func (p Point) weight(b float64) float64 {
	return 1 / (p.SY*p.SY + b*b*p.SX*p.SX - 2*b*p.R*p.SX*p.SY)
}

func (l *Line) beta(p Point) float64 {
	u, v, b := p.X-l.xBar, p.Y-l.yBar, l.Slope
	return p.weight(b) * (u*p.SY*p.SY + b*v*p.SX*p.SX - (b*u+v)*p.R*p.SX*p.SY)
}

// errorsOf completes a settled line by the adjusted points x_i = X̄ + β_i.
func (l Line) errorsOf(points []Point) Line {
	l.step(points)
	l.Intercept = l.yBar - l.Slope*l.xBar
	mean, rest := 0.0, 0.0
	for _, p := range points {
		w := p.weight(l.Slope)
		mean += w * (l.xBar + l.beta(p)) / l.weight
		d := p.Y - l.Intercept - l.Slope*p.X
		rest += w * d * d
	}
	uu := 0.0
	for _, p := range points {
		u := l.xBar + l.beta(p) - mean
		uu += p.weight(l.Slope) * u * u
	}
	slopeVar := 1 / uu
	l.SlopeSD = math.Sqrt(slopeVar)
	l.InterceptSD = math.Sqrt(1/l.weight + mean*mean*slopeVar)
	l.Cov = -mean * slopeVar
	l.MSWD = rest / float64(l.N-2)
	return l
}

// spread tells whether x varies and every point has an error.
func spread(points []Point) bool {
	varies := false
	for _, p := range points {
		if !(p.SX > 0) && !(p.SY > 0) {
			return false
		}
		varies = varies || p.X != points[0].X
	}
	return varies
}

// startSlope is the ordinary least-squares slope.
func startSlope(points []Point) float64 {
	var mx, my, top, bottom float64
	n := float64(len(points))
	for _, p := range points {
		mx, my = mx+p.X/n, my+p.Y/n
	}
	for _, p := range points {
		top += (p.X - mx) * (p.Y - my)
		bottom += (p.X - mx) * (p.X - mx)
	}
	return top / bottom
}
