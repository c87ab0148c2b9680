package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"yardheat/analysis/season"
	"yardheat/reports/chart"
)

// Answer is the season in one or two sentences, from the headline figures.
func (v *view) Answer() template.HTML {
	s := v.S
	get := func(key string) season.Figure {
		n, _ := find(s.Headline, key)
		return n.Figure
	}
	var got []string
	for _, part := range []struct{ key, text string }{{"loop_kwh", "the yard"}, {"plant_kwh", "the milk"}, {"element_kwh", "the socket"}} {
		if f := get(part.key); known(f) {
			got = append(got, part.text+" ("+unbroken(f)+")")
		}
	}
	var parts []string
	if len(got) > 0 {
		parts = append(parts, "Heat came from "+list(got)+seenShare(get("loop_kwh"), get("plant_kwh"), get("element_kwh"))+".")
	}
	if f := get("wash_kwh"); known(f) {
		parts = append(parts, "The wash water took "+unbroken(f)+".")
	}
	if f := get("saved_kwh"); known(f) {
		text := "Against " + template.HTMLEscapeString(carrier(s.Saving.Carrier)) + ", the saving in final energy across carriers is " + unbroken(f) + "."
		if !v.AgainstAlternative() {
			text = "Against the days without recovery, the electricity avoided is " + unbroken(f) + "."
		}
		parts = append(parts, text)
	}
	if n, _ := find(s.Saving.Figures, "money"); known(n.Figure) {
		text := "In money: " + unbroken(n.Figure) + "."
		if n.Figure.High < 0 {
			text = "In money it was a loss: " + unbroken(n.Figure) + ", as the electricity cost more than the " + template.HTMLEscapeString(carrier(s.Saving.Carrier)) + " that was not bought."
		}
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		return "The readings of this period give none of the headline figures; the reasons stand below."
	}
	return template.HTML(strings.Join(parts, " "))
}

// seenShare says how much of the period the totals stand for, where some of it
// was not logged.
func seenShare(figures ...season.Figure) string {
	least := 1.0
	for _, f := range figures {
		if known(f) {
			least = min(least, f.Coverage)
		}
	}
	if least > 0.95 {
		return ""
	}
	return ", over the " + chart.Percent(least) + " of the time that was logged"
}

// unbroken keeps a figure on one line.
func unbroken(f season.Figure) string {
	return `<span class="fig">` + template.HTMLEscapeString(f.Shown) + "</span>"
}

func list(parts []string) string {
	if len(parts) == 1 {
		return parts[0]
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// capital begins a text from the analysis as a sentence.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + text[size:]
}

// mostDoubts on the first screen; the others stand in the table of problems.
const mostDoubts = 5

// mostImprove lines on the first screen; the others stand in the workbook.
const mostImprove = 3

// Improve says, of the saving and the heats first, what one thing at the farm
// would narrow the figure the most.
func (v *view) Improve() []string {
	var out []string
	for _, x := range v.S.Improve {
		if len(out) < mostImprove {
			out = append(out, clean(x.Text))
		}
	}
	return out
}

// shareIn is an instrument's share of one figure's variance.
func shareIn(r season.SensorRow, figure string) string {
	for _, s := range r.Shares {
		if s.Figure == figure {
			return chart.Percent(s.Share)
		}
	}
	return ""
}

// pairFrom says where a pair's difference comes from.
func pairFrom(p season.Pair) string {
	switch p.From {
	case "stated":
		return "stated in farm.toml"
	case "bath":
		return "in one bucket, as logged"
	}
	return fmt.Sprintf("still water, %d stretches", p.Stretches)
}

// Changed are the changes of loop and plant that have a sentence.
func (v *view) Changed() []season.Change {
	var out []season.Change
	for _, list := range [][]season.Change{v.S.Loop.Changes, v.S.Plant.Changes} {
		for _, c := range list {
			if c.Text != "" {
				out = append(out, c)
			}
		}
	}
	return out
}

// Doubts are the first problems of severity doubt.
func (v *view) Doubts() []string {
	var out []string
	more := 0
	for _, p := range v.S.Problems {
		if string(p.Severity) != "doubt" {
			continue
		}
		if len(out) == mostDoubts {
			more++
			continue
		}
		out = append(out, joined(clean(p.File), clean(p.Where))+": "+clean(p.Text))
	}
	if more > 0 {
		out = append(out, fmt.Sprintf("and %d more, in the table of problems", more))
	}
	return out
}

func joined(parts ...string) string {
	var out []string
	for _, p := range parts {
		if strings.TrimSpace(p) != "" {
			out = append(out, p)
		}
	}
	if len(out) == 0 {
		return "The input"
	}
	return strings.Join(out, ", ")
}

// Cool is one sentence on washes too cool, "" where there was none.
func (v *view) Cool() string {
	w := v.S.Washes
	if w.TooCool == 0 {
		return ""
	}
	text := fmt.Sprintf("%s of %s washes were too cool", chart.Number(float64(w.TooCool), 0), chart.Number(float64(w.Count), 0))
	if !math.IsNaN(w.TargetC) {
		text += ", below " + chart.Number(w.TargetC, 1) + " °C"
	}
	if !math.IsNaN(w.CoolestC) {
		text += "; the coolest was " + chart.Number(w.CoolestC, 1) + " °C on average"
	}
	return text + "."
}

// CoolWashes are the washes judged too cool.
func (v *view) CoolWashes() []season.Wash {
	var out []season.Wash
	for _, w := range v.S.Washes.List {
		if w.TooCool {
			out = append(out, w)
		}
	}
	return out
}

// HasLoop, HasPlant, HasWashes: whether the farm has the stage at all.
func (v *view) HasLoop() bool {
	l := v.S.Loop
	if len(v.S.Draws) == 0 && noneKnown(l.Figures) == season.WhyNoLoop {
		return false
	}
	return l.Model != "" || len(l.Figures) > 0 || len(v.S.Draws) > 0
}

// HasPlant: see HasLoop.
func (v *view) HasPlant() bool {
	p := v.S.Plant
	if p.CyclesUsed == 0 && p.MilkCold.Why != "" && noneKnown(p.Figures) == season.WhyStage {
		return false
	}
	return len(p.Figures) > 0 || p.CyclesUsed > 0
}

// HasWashes: see HasLoop.
func (v *view) HasWashes() bool { return v.S.Washes.Count > 0 || len(v.S.Washes.List) > 0 }

// HasSaving: see HasLoop.
func (v *view) HasSaving() bool { return len(v.S.Saving.Figures) > 0 || v.S.Saving.Basis != "" }

// AgainstAlternative: the saving is that of heat delivered, through the alternative.
func (v *view) AgainstAlternative() bool {
	return v.S.Saving.Kind == "" || v.S.Saving.Kind == "alternative"
}

// gap is something that the data do not give.
type gap struct{ Label, Why string }

// Gaps are all figures that are not known, or known in part, once each; those
// of one reason share a row.
func (v *view) Gaps() []gap {
	s := v.S
	var out []gap
	seen, at := map[string]bool{}, map[string]int{}
	for _, part := range []struct {
		list []season.Named
		tail string
	}{{s.Headline, ""}, {s.Loop.Figures, ""}, {s.Plant.Figures, ""}, {s.Heat.Seen, ""}, {s.Heat.Whole, ", for the whole period"},
		{s.Electricity, ""}, {s.Saving.Figures, ""}, {s.Saving.Whole, ", for the whole period"}, {s.Bed, ""}} {
		for _, n := range part.list {
			if seen[n.Key] || !lacking(n.Figure) {
				continue
			}
			seen[n.Key] = true
			g := gap{clean(n.Label) + part.tail, reason(n.Figure)}
			if i, ok := at[g.Why]; ok {
				out[i].Label += "; " + g.Label
				continue
			}
			at[g.Why] = len(out)
			out = append(out, g)
		}
	}
	return out
}

// noneKnown is the reason that all figures of a list share for not being known;
// "" where one is known, reasons differ or a list is short enough to be read.
func noneKnown(list []season.Named) string {
	if len(list) < 3 {
		return ""
	}
	why := reason(list[0].Figure)
	for _, n := range list {
		if known(n.Figure) || reason(n.Figure) != why {
			return ""
		}
	}
	return why
}

func lacking(f season.Figure) bool { return !known(f) || math.IsNaN(f.Low) || math.IsNaN(f.High) }

func reason(f season.Figure) string {
	why := clean(f.Why)
	if why == "" {
		why = "the readings do not give it"
	}
	if known(f) {
		return f.Shown + "; not more closely: " + why
	}
	return why
}

// LastDay is the last day of the period, whose end is not in it.
func (v *view) LastDay() string {
	return v.format(max(v.S.Period.Start, v.S.Period.End-1), "2 January 2006")
}
