package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// curve is a line with breaks where the value is not known.
type curve struct {
	x, y []float64
	look look
}

// Plot implements plot.Plotter.
func (l curve) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	xs, ys := decimate(l.x, l.y, p.X.Min, p.X.Max, width)
	style := draw.LineStyle{Color: l.look.colour, Width: vg.Length(l.look.thick), Dashes: l.look.dash}
	var run []vg.Point
	flush := func() {
		if len(run) == 1 {
			c.DrawGlyph(draw.GlyphStyle{Color: l.look.colour, Radius: 1.2, Shape: draw.CircleGlyph{}}, run[0])
		}
		if len(run) > 1 {
			c.StrokeLines(style, run)
		}
		run = nil
	}
	for i, v := range ys {
		if math.IsNaN(v) {
			flush()
			continue
		}
		run = append(run, vg.Point{X: toX(xs[i]), Y: toY(v)})
	}
	flush()
}

// dots are points, each with its interval where low and high are given.
type dots struct {
	x, y, low, high []float64
	look            look
	radius          float64
}

// Plot implements plot.Plotter.
func (d dots) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	for i := range d.x {
		if i < len(d.low) && !math.IsNaN(d.low[i]) && !math.IsNaN(d.high[i]) {
			whisker(c, toX(d.x[i]), toY(d.low[i]), toY(d.high[i]), d.look.colour)
		}
		if math.IsNaN(d.y[i]) || math.IsNaN(d.x[i]) {
			continue
		}
		at := vg.Point{X: toX(d.x[i]), Y: toY(d.y[i])}
		c.DrawGlyph(draw.GlyphStyle{Color: d.look.colour, Radius: vg.Length(d.radius), Shape: d.look.glyph}, at)
	}
}

func whisker(c draw.Canvas, x, y0, y1 vg.Length, colour color.Color) {
	style := draw.LineStyle{Color: colour, Width: 1.1}
	c.StrokeLine2(style, x, y0, x, y1)
	c.StrokeLine2(style, x-2.5, y0, x+2.5, y0)
	c.StrokeLine2(style, x-2.5, y1, x+2.5, y1)
}

// marks are upright lines with a number at their head, told below the chart's
// table by what happened then.
type marks struct {
	x     []float64
	texts []string
}

// Plot implements plot.Plotter.
func (m marks) Plot(c draw.Canvas, p *plot.Plot) {
	toX, _ := p.Transforms(&c)
	s := sheet{c}
	style := s.style(small, black)
	style.XAlign = draw.XCenter
	for i, at := range m.x {
		x := toX(at)
		c.StrokeLine2(draw.LineStyle{Color: grey, Width: 1, Dashes: []vg.Length{2, 3}}, x, c.Min.Y, x, c.Max.Y-10)
		s.FillText(style, vg.Point{X: x, Y: c.Max.Y - 4}, m.texts[i])
	}
}

// bars are groups of bars side by side, one group at each whole number.
type bars struct {
	groups [][]bar
}

type bar struct {
	value, low, high float64
	look             look
}

// Plot implements plot.Plotter.
func (b bars) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	s := sheet{c}
	slot := toX(1) - toX(0)
	for g, group := range b.groups {
		w := min(slot*0.82/vg.Length(len(group)), 26)
		left := toX(float64(g)) - w*vg.Length(len(group))/2
		for i, one := range group {
			if math.IsNaN(one.value) {
				continue
			}
			x0 := left + w*vg.Length(i)
			y0, y1 := min(toY(0), toY(one.value)), max(toY(0), toY(one.value))
			s.box(x0, y0, x0+w*0.88, y1, one.look.fill, one.look.colour)
			if !math.IsNaN(one.low) && !math.IsNaN(one.high) {
				whisker(c, x0+w*0.44, toY(one.low), toY(one.high), black)
			}
		}
	}
}
