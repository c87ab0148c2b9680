package chart

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"math"
	"regexp"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

const (
	width    = 420 // points; a phone shows it at four fifths of its size
	textSize = 13.5
	small    = 12
	pngDPI   = 192
	// widerType: a reader's own sans type may be wider than the one measured.
	widerType = 1.12
)

// Colours that stand at least 3:1 against white, told apart by the colour-blind
// (Okabe and Ito, Color Universal Design, 2002; its green darkened from 009E73,
// which has 3.4:1).
var (
	blue       = color.NRGBA{0x00, 0x72, 0xB2, 0xff}
	vermillion = color.NRGBA{0xD5, 0x5E, 0x00, 0xff}
	green      = color.NRGBA{0x00, 0x7A, 0x5A, 0xff}
	purple     = color.NRGBA{0x9C, 0x4F, 0x7E, 0xff} // CC79A7 darkened from 3.06:1
	black      = color.NRGBA{0x1c, 0x1c, 0x1c, 0xff}
	grey       = color.NRGBA{0x5a, 0x5f, 0x5c, 0xff}
	paleGrey   = color.NRGBA{0xdd, 0xdf, 0xdc, 0xff}
	white      = color.NRGBA{0xff, 0xff, 0xff, 0xff}
)

// fill is how a bar is filled, so that bars differ without colour.
type fill uint8

const (
	solid fill = iota
	striped
	hollow
	crossed
)

// look is how one series is drawn.
type look struct {
	colour color.NRGBA
	dash   []vg.Length
	thick  float64 // points
	glyph  draw.GlyphDrawer
	fill   fill
	bar    bool
}

// entry is one line of the key.
type entry struct {
	look look
	text string
}

// sheet is the paper that a chart is drawn on.
type sheet struct{ draw.Canvas }

func (s *sheet) style(size float64, colour color.Color) draw.TextStyle {
	return draw.TextStyle{Color: colour, Font: face(size), Handler: handler(),
		XAlign: draw.XLeft, YAlign: draw.YCenter}
}

func handler() text.Handler { return text.Plain{Fonts: font.DefaultCache} }

func face(size float64) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Length(size)}
}

func (s *sheet) box(x0, y0, x1, y1 vg.Length, f fill, colour color.NRGBA) {
	if x1-x0 < 0.2 || y1-y0 < 0.05 {
		return
	}
	corners := []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
	if f == solid || f == striped {
		s.FillPolygon(colour, corners)
	} else {
		s.FillPolygon(white, corners)
	}
	if f == solid {
		return
	}
	s.StrokeLines(draw.LineStyle{Color: colour, Width: 1.4}, append(corners, corners[0]))
	if f == hollow {
		return
	}
	ink, gap := white, vg.Length(4)
	if f == crossed {
		ink = colour
	}
	for y := y0 + gap; y < y1-0.8; y += gap {
		s.StrokeLine2(draw.LineStyle{Color: ink, Width: 1}, x0, y, x1, y)
	}
}

// key writes the key across the top and gives the height it took.
func (s *sheet) key(entries []entry) vg.Length {
	const swatch, gap, row = 22, 16, 17
	x, y := s.Min.X+2, s.Max.Y-row/2
	style := s.style(textSize, black)
	for _, e := range entries {
		w := swatch + 5 + style.Width(e.text)*widerType
		if x > s.Min.X+2 && x+w > s.Max.X {
			x, y = s.Min.X+2, y-row
		}
		s.swatch(e.look, x, y, swatch)
		s.FillText(style, vg.Point{X: x + swatch + 5, Y: y}, e.text)
		x += w + gap
	}
	return s.Max.Y - y + row/2
}

func (s *sheet) swatch(l look, x, y, w vg.Length) {
	if l.bar {
		s.box(x+3, y-5.5, x+w-3, y+5.5, l.fill, l.colour)
		return
	}
	if l.thick > 0 {
		s.StrokeLine2(draw.LineStyle{Color: l.colour, Width: vg.Length(l.thick), Dashes: l.dash}, x, y, x+w, y)
	}
	if l.glyph != nil {
		s.DrawGlyph(draw.GlyphStyle{Color: l.colour, Radius: 3, Shape: l.glyph}, vg.Point{X: x + w/2, Y: y})
	}
}

// plotted draws key, name of the upright axis, and the plot below them.
func (s *sheet) plotted(p *plot.Plot, upright string, entries []entry) {
	top := vg.Length(0)
	if len(entries) > 0 {
		top = s.key(entries)
	}
	s.FillText(s.style(small, grey), vg.Point{X: s.Min.X + 2, Y: s.Max.Y - top - 8}, upright)
	p.Draw(draw.Crop(s.Canvas, 0, -6, 0, -top-18))
}

// newPlot is an empty plot in our type.
func newPlot(xLabel string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.TextHandler = handler()
	p.X.Label.Text = xLabel
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font, a.Label.TextStyle.Color = face(small), grey
		a.Tick.Label.Font, a.Tick.Label.Color = face(small), black
		a.Label.TextStyle.Handler, a.Tick.Label.Handler = p.TextHandler, p.TextHandler
		a.LineStyle.Color, a.Tick.LineStyle.Color = grey, grey
		a.Padding = 2
	}
	p.Y.Tick.Marker, p.X.Tick.Marker = ticks{5}, ticks{6}
	p.Y.Tick.LineStyle.Width, p.Y.LineStyle.Width = 0, 0
	p.Y.Tick.Length = 0
	p.Add(rules{})
	return p
}

// rules are the pale lines at the upright axis's numbers.
type rules struct{}

// Plot implements plot.Plotter.
func (rules) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		c.StrokeLine2(draw.LineStyle{Color: paleGrey, Width: 0.7}, c.Min.X, y(t.Value), c.Max.X, y(t.Value))
	}
}

// scale sets an axis to hold the values with some air; NaN are passed over.
func scale(a *plot.Axis, air float64, fromZero bool, values ...float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) {
			low, high = min(low, v), max(high, v)
		}
	}
	if fromZero {
		low, high = min(low, 0), max(high, 0)
	}
	if !(low <= high) {
		low, high = 0, 1
	}
	if high == low {
		low, high = low-1, high+1
	}
	pad := air * (high - low)
	a.Min, a.Max = low-pad, high+pad
	if fromZero && low == 0 {
		a.Min = 0
	}
}

// render draws a sketch on paper of both kinds.
func (k sketch) render(opt Options) (Chart, error) {
	c := k.Chart
	if k.draw == nil {
		return c, nil
	}
	w, h := vg.Length(width), vg.Length(k.height)
	paper := vgsvg.New(w, h)
	k.draw(&sheet{draw.NewCanvas(paper, w, h)})
	var raw bytes.Buffer
	if _, err := paper.WriteTo(&raw); err != nil {
		return c, fmt.Errorf("write the drawing: %w", err)
	}
	c.SVG = finish(raw.Bytes(), c, k.height)
	if !opt.PNG {
		return c, nil
	}
	bitmap := vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(pngDPI))
	k.draw(&sheet{draw.NewCanvas(bitmap, w, h)})
	var png bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: bitmap}).WriteTo(&png); err != nil {
		return c, fmt.Errorf("write the drawing as PNG: %w", err)
	}
	c.PNG = png.Bytes()
	return c, nil
}

var (
	preamble = regexp.MustCompile(`(?s)^.*?<svg[^>]*>`)
	family   = regexp.MustCompile(`font-family:[^;"]*;font-variant:[^;"]*;font-weight:[^;"]*;font-style:[^;"]*;?`)
)

const svgHead = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %g" width="100%%" role="img" aria-labelledby="%s-title %s-desc" ` +
	`font-family="system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif">` +
	`<title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`

// finish gives the drawing a head that scales and says what it shows, and the
// reader's own sans type in place of a font by name.
func finish(raw []byte, c Chart, height float64) []byte {
	head := fmt.Sprintf(svgHead, width, height, c.Name, c.Name, c.Name, html.EscapeString(c.Title),
		c.Name, html.EscapeString(c.Desc))
	body := preamble.ReplaceAllLiteral(raw, []byte(head))
	return family.ReplaceAllLiteral(body, nil)
}
