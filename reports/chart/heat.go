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

var (
	yard   = look{colour: green, bar: true, fill: solid}
	milk   = look{colour: blue, bar: true, fill: striped}
	socket = look{colour: vermillion, bar: true, fill: hollow}
	wash   = look{colour: black, bar: true, fill: crossed}
)

// stages are the bars of a month, in their order.
var stages = []struct {
	key, text string
	look      look
}{
	{"loop_kwh", "Yard", yard}, {"plant_kwh", "Milk", milk},
	{"element_kwh", "Socket", socket}, {"wash_kwh", "In the wash", wash},
}

// find is the figure under a key.
func find(list []season.Named, key string) (season.Named, bool) {
	for _, n := range list {
		if n.Key == key {
			return n, true
		}
	}
	return season.Named{}, false
}

func told(f season.Figure) string {
	if math.IsNaN(f.Value) {
		return nothing
	}
	return f.Shown
}

func heatByMonth(s *season.Season) sketch {
	k := sketch{height: 270, Chart: Chart{Name: HeatByMonth, Title: "Heat by month and where it came from"}}
	k.Head = []string{"Month"}
	for _, st := range stages {
		k.Head = append(k.Head, st.text)
	}
	var all []float64
	groups, labels := make([][]bar, len(s.Months)), make([]string, len(s.Months))
	for i, m := range s.Months {
		row := []string{monthText(m.Month)}
		for _, st := range stages {
			n, ok := find(m.Figures, st.key)
			f := n.Figure
			if !ok {
				f.Value, f.Low, f.High = math.NaN(), math.NaN(), math.NaN()
			}
			groups[i] = append(groups[i], bar{f.Value, f.Low, f.High, st.look})
			all = append(all, f.Value, f.Low, f.High)
			row = append(row, told(f))
		}
		labels[i] = monthShort(m.Month, len(s.Months) > 7)
		k.Rows = append(k.Rows, row)
	}
	if !anyKnown(all) {
		k.Why = "no month has heat that was metered"
		return k
	}
	k.Desc = fmt.Sprintf("Bars for %d months, in kWh: heat from the yard, heat from the milk, heat from the socket, "+
		"and the heat that went into the wash water. Thin lines are 95 %% intervals. The numbers stand in the table.", len(s.Months))
	k.draw = func(sh *sheet) { drawMonths(sh, groups, labels, all) }
	return k
}

func anyKnown(values []float64) bool {
	for _, v := range values {
		if !math.IsNaN(v) {
			return true
		}
	}
	return false
}

func drawMonths(sh *sheet, groups [][]bar, labels []string, all []float64) {
	p := newPlot("")
	scale(&p.Y, 0.05, true, all...)
	p.X.Min, p.X.Max = -0.5, float64(len(groups))-0.5
	if len(groups) == 1 {
		p.X.Min, p.X.Max = -1, 1
	}
	named := make([]plot.Tick, len(labels))
	for i, l := range labels {
		named[i] = plot.Tick{Value: float64(i), Label: l}
	}
	p.X.Tick.Marker = plot.ConstantTicks(named)
	p.Add(bars{groups})
	var entries []entry
	for _, st := range stages {
		entries = append(entries, entry{st.look, st.text})
	}
	sh.plotted(p, "Heat, kWh", entries)
}

func monthText(month string) string {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		return month
	}
	return t.Format("January 2006")
}

func monthShort(month string, crowded bool) string {
	t, err := time.Parse("2006-01", month)
	switch {
	case err != nil:
		return plain(month, 7)
	case crowded:
		return t.Format("Jan")
	}
	return t.Format("Jan 06")
}

// caughtHeat is each cycle's heat caught against the heat rejected.
func caughtHeat(s *season.Season) sketch {
	k := sketch{height: 290, Chart: Chart{Name: CaughtHeat, Title: "Heat caught at the plate against heat rejected, by cycle",
		Head: []string{"Heat rejected, kWh", "Heat caught, kWh"}}}
	n := min(len(s.Pictures.Rejected), len(s.Pictures.Caught))
	var xs, ys []float64
	for i := range n {
		x, y := s.Pictures.Rejected[i], s.Pictures.Caught[i]
		if math.IsNaN(x) || math.IsNaN(y) {
			continue
		}
		xs, ys = append(xs, x), append(ys, y)
		k.Rows = append(k.Rows, []string{Number(x, 2), Number(y, 2)})
	}
	if len(xs) == 0 {
		k.Why = "no cycle has both the heat caught and the heat rejected"
		return k
	}
	k.Desc = fmt.Sprintf("A point for each of %d cycles. The grey dashed line is all heat caught.", len(xs))
	slope, start := s.Plant.Slope.Value, s.Plant.InterceptKWh.Value
	line := known(s.Plant.Slope) && known(s.Plant.InterceptKWh)
	if line {
		k.Desc += " The full line is fitted with errors in both directions: slope " + s.Plant.Slope.Shown +
			", start " + s.Plant.InterceptKWh.Shown + "."
	}
	k.draw = func(sh *sheet) { drawCaught(sh, xs, ys, slope, start, line) }
	return k
}

// known also refuses a figure that nobody filled in.
func known(f season.Figure) bool { return f.Shown != "" && !math.IsNaN(f.Value) }

func drawCaught(sh *sheet, xs, ys []float64, slope, start float64, line bool) {
	p := newPlot("Heat rejected, kWh a cycle")
	scale(&p.X, 0.06, false, xs...)
	scale(&p.Y, 0.06, true, ys...)
	p.X.Min = max(0, p.X.Min)
	cloud := look{colour: blue, glyph: draw.CircleGlyph{}}
	entries := []entry{{cloud, "one cycle"}}
	if p.X.Min < p.Y.Max {
		top := min(p.X.Max, p.Y.Max)
		all := look{colour: grey, thick: 1, dash: []vg.Length{4, 3}}
		p.Add(curve{[]float64{p.X.Min, top}, []float64{p.X.Min, top}, all})
		entries = append(entries, entry{all, "all caught"})
	}
	if line {
		fit := look{colour: vermillion, thick: 2}
		x0, x1 := p.X.Min, p.X.Max
		p.Add(curve{[]float64{x0, x1}, []float64{start + slope*x0, start + slope*x1}, fit})
		entries = append(entries, entry{fit, "fitted line"})
	}
	p.Add(dots{x: xs, y: ys, look: cloud, radius: 2})
	sh.plotted(p, "Heat caught, kWh a cycle", entries)
}
