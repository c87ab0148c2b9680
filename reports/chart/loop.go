package chart

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"yardheat/analysis/season"
)

// tableRows is about how many rows of a long trace its table shows.
const tableRows = 16

// typicalDraws gives a chart for each draw read closely, or one that says why
// there is none.
func typicalDraws(s *season.Season, zone *time.Location) []sketch {
	var out []sketch
	for _, d := range s.Pictures.TypicalDraws {
		k := drawTrace(d, len(out)+1, zone)
		if k.draw != nil {
			out = append(out, k)
		}
	}
	if len(out) == 0 {
		out = append(out, sketch{Chart: Chart{Name: TypicalDraw + "-1", Title: "Typical draws through the loop",
			Why: "no draw through the loop was read closely enough"}})
	}
	return out
}

func drawTrace(d season.DrawTrace, n int, zone *time.Location) sketch {
	title := plain(d.Title, 60)
	if title == "" {
		title = "Draw " + stamp(d.At, zone, "2 Jan 2006 15:04")
	}
	k := sketch{height: 270, Chart: Chart{Name: fmt.Sprintf("%s-%d", TypicalDraw, n), Title: title,
		Head: []string{"Minutes from the start", "Bed, °C", "Outlet, °C", "Model, °C", "Inlet, °C", "Flow, L/min"}}}
	cells := max(len(d.InC), len(d.OutC), len(d.BedC), len(d.ModelC))
	if !(d.StepS > 0) || cells == 0 {
		return k
	}
	at := func(list []float64, i int) float64 {
		if i >= len(list) {
			return math.NaN()
		}
		return list[i]
	}
	minutes := make([]float64, cells)
	step := max(1, cells/tableRows)
	for i := range minutes {
		minutes[i] = (float64(i)*d.StepS - d.StartS) / 60
		if i%step != 0 {
			continue
		}
		k.Rows = append(k.Rows, []string{Number(minutes[i], 1), Number(at(d.BedC, i), 1), Number(at(d.OutC, i), 1),
			Number(at(d.ModelC, i), 1), Number(at(d.InC, i), 1), Number(at(d.LMin, i), 1)})
	}
	k.Desc = "Temperatures of the bed, of the loop's outlet and inlet, and of the outlet as the fitted model has it, " +
		"over " + Number(float64(cells)*d.StepS/60, 0) + " minutes from " + stamp(d.At, zone, "2 January 2006, 15:04") + "."
	k.draw = func(sh *sheet) { drawTemps(sh, minutes, d) }
	return k
}

func drawTemps(sh *sheet, minutes []float64, d season.DrawTrace) {
	p := newPlot("Minutes from the start of the draw")
	lines := []struct {
		text string
		y    []float64
		look look
	}{
		{"Bed", d.BedC, look{colour: green, thick: 2, dash: []vg.Length{9, 3}}},
		{"Outlet", d.OutC, look{colour: vermillion, thick: 2.4}},
		{"Model", d.ModelC, look{colour: black, thick: 1.6, dash: []vg.Length{2, 2}}},
		{"Inlet", d.InC, look{colour: blue, thick: 2, dash: []vg.Length{7, 2, 2, 2}}},
	}
	var all []float64
	var entries []entry
	for _, l := range lines {
		if !anyKnown(l.y) {
			continue
		}
		all = append(all, l.y...)
		entries = append(entries, entry{l.look, l.text})
		p.Add(curve{minutes[:len(l.y)], l.y, l.look})
	}
	p.X.Min, p.X.Max = minutes[0], max(minutes[len(minutes)-1], minutes[0]+d.StepS/60)
	scale(&p.Y, 0.05, false, all...)
	sh.plotted(p, "Temperature, °C", entries)
}

// uaOverTime is the loop's coefficient by stretch of days, with what happened
// on the farm.
func uaOverTime(s *season.Season, zone *time.Location) sketch {
	k := sketch{height: 250, Chart: Chart{Name: UAOverTime, Title: "The loop's coefficient UA over time",
		Head: []string{"From", "To", "UA"}}}
	d := dots{look: look{colour: green, glyph: draw.CircleGlyph{}}, radius: 3.2}
	for _, u := range s.Pictures.UA {
		if !known(u.UA) {
			continue
		}
		d.x = append(d.x, float64(u.From+u.To)/2000)
		d.y, d.low, d.high = append(d.y, u.UA.Value), append(d.low, u.UA.Low), append(d.high, u.UA.High)
		k.Rows = append(k.Rows, []string{stamp(u.From, zone, "2 Jan 2006"), stamp(u.To, zone, "2 Jan 2006"), u.UA.Shown})
	}
	if len(d.x) == 0 {
		k.Why = "no stretch of days gives the loop's coefficient"
		return k
	}
	k.Desc = fmt.Sprintf("%d values in W/K, each from a stretch of days, with 95 %% intervals.", len(d.x))
	var m marks
	for i, e := range s.Events {
		m.x, m.texts = append(m.x, float64(e.At)/1000), append(m.texts, fmt.Sprint(i+1))
		k.Desc += fmt.Sprintf(" Event %d, %s: %s.", i+1, stamp(e.At, zone, "2 Jan"), plain(e.What, 80))
	}
	k.draw = func(sh *sheet) { drawUA(sh, s, zone, d, m) }
	return k
}

func drawUA(sh *sheet, s *season.Season, zone *time.Location, d dots, m marks) {
	p := newPlot("")
	all := append(append(append([]float64{}, d.y...), d.low...), d.high...)
	scale(&p.Y, 0.12, false, all...)
	timeAxis(&p.X, s, zone, d.x)
	entries := []entry{{d.look, "UA, with interval"}}
	var inside marks
	for i, x := range m.x {
		if x >= p.X.Min && x <= p.X.Max {
			inside.x, inside.texts = append(inside.x, x), append(inside.texts, m.texts[i])
		}
	}
	if len(inside.x) > 0 {
		entries = append(entries, entry{look{colour: grey, thick: 1, dash: []vg.Length{2, 3}}, "event on the farm"})
	}
	p.Add(inside, d)
	sh.plotted(p, "UA, W/K", entries)
}
