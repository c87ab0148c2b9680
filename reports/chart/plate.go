package chart

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/plot/vg/draw"

	"yardheat/analysis/season"
)

// plateByWeek is the plate's effectiveness and the heat caught per compressor
// kWh by week, each with what is the week's own as a bar: the errors of the
// sensors would move all weeks alike.
func plateByWeek(s *season.Season, zone *time.Location) sketch {
	k := sketch{height: 260, Chart: Chart{Name: PlateByWeek, Title: "The plate by week",
		Head: []string{"From", "To", "Effectiveness", "Heat per compressor kWh", "Flow", "Water in", "Share caught"}}}
	lines := []plateLine{
		{key: "plate_effectiveness", text: "effectiveness of the plate", dots: dots{look: look{colour: blue, glyph: draw.CircleGlyph{}}, radius: 3.2}},
		{key: "caught_per_kwh", text: "heat caught per compressor kWh", dots: dots{look: look{colour: vermillion, glyph: draw.TriangleGlyph{}}, radius: 3.6}},
	}
	seen := 0
	for _, w := range s.Plant.Weeks {
		row := []string{stamp(w.From, zone, "2 Jan 2006"), stamp(w.To, zone, "2 Jan 2006")}
		for _, key := range []string{"plate_effectiveness", "caught_per_kwh", "plate_flow_l_min", "plate_in_c", "recovery_fraction"} {
			row = append(row, weekCell(w, key))
		}
		k.Rows = append(k.Rows, row)
		for i := range lines {
			seen += lines[i].add(w)
		}
	}
	if seen == 0 {
		k.Why = "no week has the plate's effectiveness or heat per compressor kWh"
		return k
	}
	k.Desc = fmt.Sprintf("%d weeks. Bars: 95 %% intervals of the scatter of each week's own days; the errors of the sensors would move all weeks alike and are in the table.", len(s.Plant.Weeks))
	k.draw = func(sh *sheet) { drawPlate(sh, s, zone, lines) }
	return k
}

// weekCell is a figure of a week as shown.
func weekCell(w season.PlantWeek, key string) string {
	for _, n := range w.Figures {
		if n.Key == key && known(n.Figure) {
			return n.Figure.Shown
		}
	}
	return nothing
}

type plateLine struct {
	key, text string
	dots      dots
}

// add puts a week's value on the line; 0 where it has none.
func (l *plateLine) add(w season.PlantWeek) int {
	for _, n := range w.Own {
		if n.Key != l.key || !known(n.Figure) {
			continue
		}
		f, d := n.Figure, &l.dots
		if math.IsNaN(f.Low) || math.IsNaN(f.High) { // too few days for a bar
			f.Low, f.High = f.Value, f.Value
		}
		d.x = append(d.x, float64(w.From+w.To)/2000)
		d.y, d.low, d.high = append(d.y, f.Value), append(d.low, f.Low), append(d.high, f.High)
		return 1
	}
	return 0
}

func drawPlate(sh *sheet, s *season.Season, zone *time.Location, lines []plateLine) {
	p := newPlot("")
	var x, y []float64
	var entries []entry
	for _, l := range lines {
		if len(l.dots.x) == 0 {
			continue
		}
		x = append(x, l.dots.x...)
		y = append(append(append(y, l.dots.y...), l.dots.low...), l.dots.high...)
		entries = append(entries, entry{l.dots.look, l.text})
		p.Add(l.dots)
	}
	scale(&p.Y, 0.1, true, y...)
	timeAxis(&p.X, s, zone, x)
	sh.plotted(p, "no unit", entries)
}
