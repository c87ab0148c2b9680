package beside

import (
	"math"
	"slices"
	"strings"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
)

// kind is one figure that is compared.
type kind struct {
	of   string // its key in results.json
	from func(*season.Season) []season.Named
	// perDay: a total, taken a day. ratio: zero means none of it. log: its
	// errors multiply it.
	perDay, ratio, log bool
}

func heat(s *season.Season) []season.Named { return s.Heat.Seen }
func whole(s *season.Season, key string) (season.Named, bool) {
	if n, ok := find(s.Heat.Whole, key); ok {
		return n, true
	}
	return find(s.Saving.Whole, key)
}
func saving(s *season.Season) []season.Named { return s.Saving.Figures }
func loop(s *season.Season) []season.Named   { return s.Loop.Figures }
func plant(s *season.Season) []season.Named  { return s.Plant.Figures }
func bed(s *season.Season) []season.Named    { return s.Bed }

// kinds are those of the first screen, and of the bed. Kilowatt-hours a tonne of
// bedding are left out: they go with how long ago it was bedded.
var kinds = []kind{
	{of: "loop_kwh", from: heat, perDay: true, ratio: true},
	{of: "plant_kwh", from: heat, perDay: true, ratio: true},
	{of: "element_kwh", from: heat, perDay: true, ratio: true},
	{of: "wash_kwh", from: heat, perDay: true, ratio: true},
	{of: "saved_kwh", from: saving, perDay: true, ratio: true},
	{of: "ua_w_per_k", from: loop, ratio: true, log: true},
	{of: "supply_w_per_k", from: loop, ratio: true, log: true},
	{of: "recovery_fraction", from: plant, ratio: true},
	{of: "approach_k", from: loop},
	{of: "effectiveness", from: loop, ratio: true},
	{of: "mean_c", from: bed},
	{of: "heat_w_per_m2", from: bed, ratio: true},
	{of: "dip_k", from: bed},
	{of: "recovery_h", from: bed, ratio: true},
	{of: "response_k_per_kwh", from: bed},
	{of: "trend_k_per_week", from: bed},
}

func (k kind) key() string {
	switch {
	case k.of == "mean_c":
		return "bed_c"
	case k.perDay:
		return k.of + "_per_day"
	}
	return k.of
}

func (k kind) label(both ...*season.Season) string {
	text := k.of
	for _, s := range both {
		if n, ok := find(k.from(s), k.of); ok && n.Label != "" {
			text = n.Label
			break
		}
	}
	if k.perDay {
		text += ", a day"
	}
	return text
}

func find(list []season.Named, key string) (season.Named, bool) {
	for _, n := range list {
		if n.Key == key {
			return n, true
		}
	}
	return season.Named{}, false
}

// side is a figure of one season as it is compared.
type side struct {
	figure doubt.Figure
	logged bool // the season has a number for it, or an end of one
	// doubts are what is behind it, in the figure's unit.
	doubts []season.Doubt
}

// take takes a figure; a total a day, by the estimate for the whole period where there
// is one, else by the days that it was seen. Where all was seen both are the same.
func take(s *season.Season, k kind, least float64) side {
	n, ok := find(k.from(s), k.of)
	if !ok {
		return side{figure: missing("", "it is not logged")}
	}
	f := n.Figure
	out := side{figure: f, logged: !math.IsNaN(f.Value), doubts: s.Doubts(k.of)}
	if k.of == "heat_w_per_m2" {
		var extra float64
		out.figure, extra = overWhole(s, f)
		out.doubts = append(slices.Clone(out.doubts), season.Doubt{Source: "time not seen: " + k.of, Moves: extra / z95})
		return out
	}
	if !k.perDay {
		return out
	}
	days, key := cycleDays(s)*f.Coverage, k.of
	coverage := f.Coverage
	if w, ok := whole(s, k.of); ok && known(w.Figure) {
		// With what the time that nobody saw may have held in its interval.
		f, days, key = w.Figure, cycleDays(s), season.WholeDoubts+k.of
	}
	unit := f.Unit + "/d"
	switch {
	case !out.logged:
		out.figure = missing(unit, f.Why)
		return out
	case !(days > 0) || coverage < least:
		out.figure = missing(unit, "too little of the period was seen")
		return out
	}
	out.figure = doubt.Make(f.Value/days, f.Low/days, f.High/days, unit, out.figure.Basis, f.N, coverage, f.Why)
	list := s.Doubts(key)
	out.doubts = make([]season.Doubt, len(list))
	for i, d := range list {
		d.Moves /= days
		out.doubts[i] = d
	}
	return out
}

// overWhole carries a mean of the loop's heat over the hours seen to the whole
// period, by what the loop's total a day is there and there; what the total is known
// less well by widens it by extra (a half-width).
func overWhole(s *season.Season, f doubt.Figure) (of doubt.Figure, extra float64) {
	seen, _ := find(s.Heat.Seen, "loop_kwh")
	w, ok := whole(s, "loop_kwh")
	if !ok || !known(w.Figure) || !known(seen.Figure) || !known(f) || !(seen.Figure.Value > 0 && seen.Figure.Coverage > 0) {
		return f, 0
	}
	perSeen := 1 / seen.Figure.Coverage
	g := w.Figure.Value / (seen.Figure.Value * perSeen)
	more := math.Pow(halfOfFigure(w.Figure), 2) - math.Pow(halfOfFigure(seen.Figure)*perSeen*g, 2)
	extra = math.Sqrt(max(0, more)) * f.Value / (seen.Figure.Value * perSeen)
	wide := func(side float64) float64 { return math.Hypot(g*side, extra) }
	return doubt.Make(g*f.Value, g*f.Value-wide(f.Value-f.Low), g*f.Value+wide(f.High-f.Value), f.Unit, f.Basis, f.N, f.Coverage, f.Why), extra
}

func halfOfFigure(f doubt.Figure) float64 { return (f.High - f.Low) / 2 }

func missing(unit, why string) doubt.Figure {
	nan := math.NaN()
	return doubt.Make(nan, nan, nan, unit, doubt.Estimated, 0, 0, why)
}

const msPerDay = 24 * 3600 * 1000

// cycleDays are the days of the cycles that the account is kept by.
func cycleDays(s *season.Season) float64 {
	ms := 0.0
	for _, c := range s.Cycles {
		ms += float64(c.End - c.Start)
	}
	return ms / msPerDay
}

// besides are what else may differ.
func besides(a, b *season.Season) []Beside {
	var out []Beside
	x, y := aside(a), aside(b)
	for i, row := range x {
		row.Second = y[i].First
		if !math.IsNaN(row.First) || !math.IsNaN(row.Second) {
			out = append(out, row)
		}
	}
	return out
}

// aside are one season's, as First.
func aside(s *season.Season) []Beside {
	days := float64(s.Period.End-s.Period.Start) / msPerDay
	nan := math.NaN()
	seen, feed := nan, nan
	if f, ok := find(s.Heat.Seen, "loop_kwh"); ok && !math.IsNaN(f.Figure.Value) {
		seen = 100 * f.Figure.Coverage
	}
	for _, r := range s.Ladder {
		if r.Step == "feed" {
			feed = r.TempC.Value
		}
	}
	var litres, washL, milkL float64
	for _, d := range s.Draws {
		litres += nought(d.Litres)
	}
	for _, c := range s.Cycles {
		milkL += nought(c.MilkL)
	}
	for _, w := range s.Washes.List {
		washL += nought(w.Litres)
	}
	draws := float64(len(s.Draws))
	return []Beside{
		{"days", "Days", "d", days, nan},
		{"loop_seen_pct", "Loop: share of the time seen", "%", seen, nan},
		{"air_c", "Outdoor air, mean of the days", "degC", airC(s), nan},
		{"feed_c", "Cold feed, as drawn", "degC", feed, nan},
		{"loop_l_per_day", "Water drawn through the loop", "L/d", none(litres / days), nan},
		{"draws_per_day", "Draws", "1/d", none(draws / days), nan},
		{"draw_l", "A draw", "L", none(litres / draws), nan},
		{"milk_l_per_day", "Milk", "L/d", none(milkL / days), nan},
		{"washes_per_day", "Washes", "1/d", none(float64(s.Washes.Count) / days), nan},
		{"wash_l_per_day", "Hot water used in washes and rinses", "L/d", none(washL / days), nan},
	}
}

// airC is the mean of the days on which the air was covered.
func airC(s *season.Season) float64 {
	sum, n := 0.0, 0.0
	for _, d := range s.BedLook.Days {
		if !math.IsNaN(d.AirC) {
			sum, n = sum+d.AirC, n+1
		}
	}
	return sum / n
}

func nought(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// none turns a count that is nothing into "not known": that it is not logged, or
// did not happen, is not told apart here.
func none(x float64) float64 {
	if !(x > 0) || math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}

// unitOf a difference: of temperatures it is kelvins.
func unitOf(unit string) string { return strings.Replace(unit, "degC", "K", 1) }
