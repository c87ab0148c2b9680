package page

import (
	"math"
	"runtime"
	"runtime/debug"
	"strings"

	"yardheat/analysis/season"
	"yardheat/ingest/series"
	"yardheat/reports/chart"
)

// Items of the checklist.
func (v *view) Items() []Item { return Checklist() }

// Revision of the source that this program was built from, as the build stamped
// it; "" = not stamped.
func (v *view) Revision() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	text := ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			text = s.Value
		case s.Key == "vcs.modified" && s.Value == "true" && text != "":
			text += ", with changes"
		}
	}
	return text
}

// Environment that the report was made in.
func (v *view) Environment() string {
	return runtime.Version() + ", " + runtime.GOOS + "/" + runtime.GOARCH
}

// Command is the command line that makes the figures of this report.
func (v *view) Command() string {
	text, a := "yardheat report DIR", v.S.Audit
	if a.AskedFrom != 0 {
		text += " --from " + v.format(a.AskedFrom, "2006-01-02")
	}
	if a.AskedTo != 0 {
		text += " --to " + v.format(a.AskedTo-1, "2006-01-02")
	}
	return text
}

// MeterFlags are a meter's flagged readings in words.
func (v *view) MeterFlags(m season.Meter) string {
	var parts []string
	for i, n := range m.Flags {
		if n > 0 {
			parts = append(parts, chart.Number(float64(n), 0)+" "+series.FlagNames[i])
		}
	}
	if parts == nil {
		return "none"
	}
	return strings.Join(parts, ", ")
}

// amount prints a number with three significant digits, and its unit.
func amount(x float64, unit string) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "not known"
	}
	text := "0"
	if x != 0 {
		text = chart.Number(x, min(6, max(0, 2-int(math.Floor(math.Log10(math.Abs(x)))))))
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
	}
	return strings.TrimSpace(text + " " + shownUnit(unit))
}

func shownUnit(unit string) string {
	if unit == "1" {
		return ""
	}
	return strings.NewReplacer("degC", "°C", "m2", "m²", "m3", "m³").Replace(clean(unit))
}

// every is an interval in words.
func every(s float64) string {
	switch {
	case math.IsNaN(s):
		return "as it changes"
	case s < 90:
		return chart.Number(s, 0) + " s"
	case s < 5400:
		return chart.Number(s/60, 0) + " min"
	}
	return chart.Number(s/3600, 0) + " h"
}

// share is a part of a whole, a dash where it has no meaning.
func share(x float64) string {
	if math.IsNaN(x) {
		return "–"
	}
	return chart.Percent(x)
}

// effect is what a figure does with an assumption a fifth less, and a fifth
// more.
func effect(e season.Effect, decimals int, unit string) string {
	if math.IsNaN(e.Less) || math.IsNaN(e.More) {
		return "not known"
	}
	least := math.Pow10(-decimals) / 2
	if math.Abs(e.Less) < least && math.Abs(e.More) < least {
		return "none"
	}
	return strings.TrimSpace(signed(e.Less, decimals) + " / " + signed(e.More, decimals) + " " + clean(unit))
}

func signed(x float64, decimals int) string {
	if x > 0 {
		return "+" + chart.Number(x, decimals)
	}
	return chart.Number(x, decimals)
}

// BudgetTerms are the rows of the saving's budget, or of the first headline
// figure that has one.
func (v *view) BudgetTerms() []season.BudgetRow {
	keys := []string{"saved_kwh"}
	for _, h := range v.S.Headline {
		keys = append(keys, h.Key)
	}
	for _, key := range keys {
		var out []season.BudgetRow
		for _, r := range v.S.Budget {
			if r.Figure == key {
				out = append(out, r)
			}
		}
		if out != nil {
			return out
		}
	}
	return nil
}

// sensitivity is what the figure moves by, per unit of the source's error.
func sensitivity(r season.BudgetRow, unit string) string {
	if math.IsNaN(r.Slope) {
		return "days drawn again"
	}
	switch r.SlopeUnit {
	case "1":
		return amount(r.Slope/100, unit) + " per %"
	case "":
		return amount(r.Slope/100, unit) + " per 0.01"
	}
	return amount(r.Slope, unit) + " per " + shownUnit(r.SlopeUnit)
}

// UnitOf is the unit of a headline figure.
func (v *view) UnitOf(key string) string {
	n, _ := find(v.S.Headline, key)
	return n.Figure.Unit
}

// weekFigure is one figure of a week.
func weekFigure(w season.BalanceWeek, key string) season.Figure {
	n, _ := find(w.Figures, key)
	return n.Figure
}

// Setting is a setting's value, for a sentence.
func (v *view) Setting(key string) string {
	for _, s := range v.S.Settings {
		if s.Key == key {
			return clean(s.Value)
		}
	}
	return "not told"
}

// HourProblems are the hours that stand twice or not at all, as resolved.
func (v *view) HourProblems() []series.Problem {
	var out []series.Problem
	for _, p := range v.S.Problems {
		switch p.Code {
		case "hour-repeated", "hour-skipped", "clock-found", "clock-not-found", "clock-off", "clocks-apart", "clocks-open", "stamp-assumed":
			out = append(out, p)
		}
	}
	return out
}

// LeftOutProblems are what the reader left out.
func (v *view) LeftOutProblems() []series.Problem {
	var out []series.Problem
	for _, p := range v.S.Problems {
		if p.Severity == series.LeftOut {
			out = append(out, p)
		}
	}
	return out
}

// WithAndWithout are the figures of the saving, as seen and for the whole
// period.
func (v *view) WithAndWithout() []pair {
	var out []pair
	for _, n := range v.S.Saving.Whole {
		seen, _ := find(v.S.Saving.Figures, n.Key)
		if seen.Label == "" {
			seen.Label = n.Label
		}
		out = append(out, pair{seen, n.Figure})
	}
	return out
}

// MoneyAndCO2 are those two figures.
func (v *view) MoneyAndCO2() []season.Named {
	var out []season.Named
	for _, key := range []string{"money", "co2_kg"} {
		if n, ok := find(v.S.Saving.Figures, key); ok {
			out = append(out, n)
		}
	}
	return out
}

// brief is a figure of a table whose heading says the rest; a dash where it is
// not known.
func brief(f season.Figure) string {
	if !known(f) {
		return "–"
	}
	return f.Shown
}

// followed is a headline figure and the path by which retrace follows it; ""
// where it does not.
type followed struct {
	season.Named
	Path string
}

// Follow lists the headline figures with the way down from each.
func (v *view) Follow() []followed {
	var out []followed
	for _, n := range v.S.Headline {
		out = append(out, followed{n, v.S.FigurePath(n.Key)})
	}
	return out
}

// LeftOutByRule is what was left out beside single readings, which have a table
// of their own with what they move.
func (v *view) LeftOutByRule() []season.LeftOut {
	var out []season.LeftOut
	for _, x := range v.S.Audit.LeftOut {
		if x.What != season.LeftOutReadings || len(v.S.Exclusions.List) == 0 {
			out = append(out, x)
		}
	}
	return out
}
