// Package show is what the notebooks share: errors that stop a cell, small plots
// embedded as PNG, tables of checks. It computes nothing of the analysis.
package show

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"os"
	"path/filepath"

	"github.com/janpfeifer/gonb/gonbui"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// Must stops the notebook at the first error.
func Must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// Folder is a folder of this run of the notebook, gone when the kernel is: cells
// are programs of their own and hand files on, not variables.
func Folder(name string) string {
	at := os.Getenv("GONB_TMP_DIR")
	if at == "" {
		at = os.TempDir()
	}
	return filepath.Join(at, name)
}

// Values is a file of the published check values.
func Values(name string) string {
	return filepath.Join(os.Getenv("YARDHEAT_ROOT"), "testdata", "check-values", filepath.FromSlash(name))
}

// Colours of the plots; told apart in grey as well.
var (
	Blue   = color.RGBA{R: 31, G: 90, B: 160, A: 255}
	Orange = color.RGBA{R: 214, G: 110, B: 20, A: 255}
	Green  = color.RGBA{R: 40, G: 130, B: 70, A: 255}
	Grey   = color.RGBA{R: 130, G: 130, B: 130, A: 255}
)

// New is an empty plot with words.
func New(title, x, y string) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	p.Legend.Top = true
	p.Add(plotter.NewGrid())
	return p
}

// XY pairs two rows of one length; pairs with a NaN are left out.
func XY(x, y []float64) plotter.XYs {
	var xy plotter.XYs
	for i := range x {
		if !math.IsNaN(x[i]) && !math.IsNaN(y[i]) {
			xy = append(xy, plotter.XY{X: x[i], Y: y[i]})
		}
	}
	return xy
}

// Line adds a line with its legend ("" = none).
func Line(p *plot.Plot, name string, xy plotter.XYs, c color.Color, dashed bool) {
	l := Must(plotter.NewLine(xy))
	l.Color, l.Width = c, vg.Points(1.2)
	if dashed {
		l.Dashes = []vg.Length{vg.Points(4), vg.Points(3)}
	}
	p.Add(l)
	if name != "" {
		p.Legend.Add(name, l)
	}
}

// Dots adds points with their legend ("" = none).
func Dots(p *plot.Plot, name string, xy plotter.XYs, c color.Color) {
	s := Must(plotter.NewScatter(xy))
	s.GlyphStyle = draw.GlyphStyle{Color: c, Radius: vg.Points(1.6), Shape: draw.CircleGlyph{}}
	p.Add(s)
	if name != "" {
		p.Legend.Add(name, s)
	}
}

// Across adds a level line over from..to.
func Across(p *plot.Plot, name string, y, from, to float64, c color.Color) {
	Line(p, name, plotter.XYs{{X: from, Y: y}, {X: to, Y: y}}, c, true)
}

// Upright adds an upright line over from..to.
func Upright(p *plot.Plot, name string, x, from, to float64, c color.Color) {
	Line(p, name, plotter.XYs{{X: x, Y: from}, {X: x, Y: to}}, c, true)
}

// Image embeds the plot as a PNG of 16 by heightCM centimetres.
func Image(p *plot.Plot, heightCM float64) {
	canvas := vgimg.NewWith(vgimg.UseWH(16*vg.Centimeter, vg.Length(heightCM)*vg.Centimeter), vgimg.UseDPI(96))
	p.Draw(draw.New(canvas))
	var b bytes.Buffer
	Must(vgimg.PngCanvas{Canvas: canvas}.WriteTo(&b))
	gonbui.DisplayPng(b.Bytes())
}

// Checks holds computed values against published ones.
type Checks struct {
	n, breaches int
	first       string
}

// Source prints where the values that follow come from.
func (c *Checks) Source(text string) {
	fmt.Printf("\n%s\n%-46s %20s %20s %9s %9s\n", text, "", "published", "computed", "off by", "allowed")
}

// Near holds got against want: |got − want| at most allowed. It prints both.
func (c *Checks) Near(name string, want, got, allowed float64) {
	off := math.Abs(got - want)
	mark := ""
	if !(off <= allowed) { // NaN is a breach
		mark = "  BREACH"
		if c.breaches++; c.first == "" {
			c.first = name
		}
	}
	c.n++
	fmt.Printf("%-46s %20.12g %20.12g %9.1e %9.1e%s\n", name, want, got, off, allowed, mark)
}

// Rel is Near with a relative allowance.
func (c *Checks) Rel(name string, want, got, allowed float64) {
	c.Near(name, want, got, allowed*math.Abs(want))
}

// Done stops the notebook if any value was too far off, or none was held.
func (c *Checks) Done() {
	if c.breaches > 0 || c.n == 0 {
		panic(fmt.Sprintf("%d of %d values are further off than allowed, the first is %s", c.breaches, c.n, c.first))
	}
	fmt.Printf("\nAll %d values lie within what is allowed.\n", c.n)
}
