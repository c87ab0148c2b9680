package chart

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"yardheat/analysis/season"
)

// timeAxis spans the period, and the points where they go beyond it.
func timeAxis(a *plot.Axis, s *season.Season, zone *time.Location, points []float64) {
	a.Min, a.Max = float64(s.Period.Start)/1000, float64(s.Period.End)/1000
	for _, x := range points {
		a.Min, a.Max = min(a.Min, x), max(a.Max, x)
	}
	if a.Max <= a.Min {
		a.Max = a.Min + 86400
	}
	a.Tick.Marker = days{zone, 6}
}

// washTemps is each wash's temperature against the target.
func washTemps(s *season.Season, zone *time.Location) sketch {
	k := sketch{height: 260, Chart: Chart{Name: WashTemps, Title: "Temperature of the washes against the target",
		Head: []string{"Wash", "Mean, °C", "Water, L", "Verdict"}}}
	target := s.Washes.TargetC
	warm := dots{look: look{colour: blue, glyph: draw.CircleGlyph{}}, radius: 2.6}
	cool := dots{look: look{colour: vermillion, glyph: draw.PyramidGlyph{}}, radius: 4}
	for _, w := range s.Washes.List {
		if w.Rinse {
			continue
		}
		k.Rows = append(k.Rows, []string{stamp(w.At, zone, "2 Jan 2006 15:04"), Number(w.TempC, 1), Number(w.Litres, 0), verdict(w, target)})
		if math.IsNaN(w.TempC) {
			continue
		}
		d := &warm
		if w.TooCool {
			d = &cool
		}
		d.x, d.y = append(d.x, float64(w.At)/1000), append(d.y, w.TempC)
	}
	if len(warm.x)+len(cool.x) == 0 {
		k.Why = "no wash has a temperature"
		return k
	}
	k.Desc = fmt.Sprintf("%d washes with a temperature, %d of them below the target", len(warm.x)+len(cool.x), len(cool.x))
	if !math.IsNaN(target) {
		k.Desc += " of " + Number(target, 0) + " °C, which is the dashed line"
	}
	k.Desc += "."
	k.draw = func(sh *sheet) { drawWashes(sh, s, zone, warm, cool) }
	return k
}

func verdict(w season.Wash, targetC float64) string {
	switch {
	case w.TooCool && w.Reason != "":
		return "too cool: " + w.Reason
	case w.TooCool:
		return "too cool"
	case math.IsNaN(w.TempC) || math.IsNaN(targetC):
		return nothing
	}
	return "reached the target"
}

func drawWashes(sh *sheet, s *season.Season, zone *time.Location, warm, cool dots) {
	p := newPlot("")
	target := s.Washes.TargetC
	all := append(append([]float64{target}, warm.y...), cool.y...)
	scale(&p.Y, 0.08, false, all...)
	timeAxis(&p.X, s, zone, append(append([]float64{}, warm.x...), cool.x...))
	var entries []entry
	if len(warm.x) > 0 {
		entries = append(entries, entry{warm.look, "wash"})
	}
	if len(cool.x) > 0 {
		entries = append(entries, entry{cool.look, "too cool"})
	}
	if !math.IsNaN(target) {
		line := look{colour: black, thick: 1.4, dash: []vg.Length{6, 3}}
		p.Add(curve{[]float64{p.X.Min, p.X.Max}, []float64{target, target}, line})
		entries = append(entries, entry{line, "target " + Number(target, 0) + " °C"})
	}
	p.Add(warm, cool)
	sh.plotted(p, "Mean temperature of the wash, °C", entries)
}
