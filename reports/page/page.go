// Package page renders a Season as one HTML file: no network, no script, made
// to be read on a phone, on a wide screen and on A4. It prints figures as they
// were shown by the analysis and computes none.
//
// The order is that of a reader's questions: the answer in one sentence and its
// headline figures, what to look at, the charts with the tables behind them, and
// last the part for an auditor (audit.tmpl, by the items of reports/CHECKLIST.md).
// All text from logs and farm file is escaped by html/template; the page loads
// nothing from anywhere.
package page

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"
	"unicode"

	"yardheat/analysis/season"
	"yardheat/reports/chart"
)

// Options of the page.
type Options struct {
	Version string
}

//go:embed page.tmpl
var source string

//go:embed audit.tmpl
var auditSource string

// longTable: tables of more rows are folded away, and stay so on paper.
const longTable = 24

// HTML is the page as one file.
func HTML(s *season.Season, charts []chart.Chart, opt Options) ([]byte, error) {
	v := &view{S: s, zone: zoneOf(s), charts: map[string]chart.Chart{}, Version: opt.Version}
	for _, c := range charts {
		v.charts[c.Name] = c
		if strings.HasPrefix(c.Name, chart.TypicalDraw) {
			v.Draws = append(v.Draws, c)
		}
	}
	t, err := template.New("page").Funcs(v.words()).Parse(source + auditSource + baselineSource + bedSource)
	if err != nil {
		return nil, fmt.Errorf("page template: %w", err)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, v); err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	return out.Bytes(), nil
}

func zoneOf(s *season.Season) *time.Location {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		return time.UTC
	}
	return zone
}

// view is what the template sees.
type view struct {
	S       *season.Season
	Draws   []chart.Chart
	Version string
	zone    *time.Location
	charts  map[string]chart.Chart
}

func (v *view) words() template.FuncMap {
	return template.FuncMap{
		"shown": shown, "known": known, "clean": clean, "has": has, "lacking": noneKnown,
		"num": chart.Number, "pct": chart.Percent, "count": func(n int) string { return chart.Number(float64(n), 0) },
		"day":  func(ms int64) string { return v.format(ms, "2 January 2006") },
		"when": func(ms int64) string { return v.format(ms, "2 Jan 2006, 15:04") },
		"utc":  func(ms int64) string { return time.UnixMilli(ms).UTC().Format("2006-01-02 15:04") + " UTC" },
		"svg":  inline, "chart": func(name string) chart.Chart { return v.charts[name] },
		"folded": func(c chart.Chart) bool {
			return len(c.Rows) > longTable || strings.HasPrefix(c.Name, chart.TypicalDraw)
		},
		"seen": chart.Percent, "label": v.label, "figures": figures, "twice": twice, "month": monthText,
		"megabytes": func(b int64) string { return chart.Number(float64(b)/1e6, 2) }, "hours": hours,
		"nan": func(f float64) bool { return math.IsNaN(f) || math.IsInf(f, 0) }, "stage": stage, "sign": func(code string) string { return signs[code] }, "signValue": signValue, "inc": func(i int) int { return i + 1 },
		"monthTable": func() monthTable { return monthTableOf(v.S.Months) }, "carrier": carrier, "capital": capital, "eventDay": v.eventDay,
		"amount": amount, "unit": shownUnit, "every": every, "share": share, "percent": percent, "baselineName": baselineName, "effect": effect, "signed": signed, "sensitivity": sensitivity, "week": weekFigure, "brief": brief,
		"bytes":   func(b int64) string { return chart.Number(float64(b), 0) },
		"sharein": shareIn, "pairfrom": pairFrom, "headline": func(key string) string { n, _ := find(v.S.Headline, key); return clean(n.Figure.Shown) },
	}
}

func (v *view) format(ms int64, layout string) string {
	return time.UnixMilli(ms).In(v.zone).Format(layout)
}

// eventDay leaves out the hour where an event was given by its day.
func (v *view) eventDay(ms int64) string {
	at := time.UnixMilli(ms).In(v.zone)
	if at.Hour() == 0 && at.Minute() == 0 {
		return v.format(ms, "2 Jan 2006")
	}
	return v.format(ms, "2 Jan 2006, 15:04")
}

// shown is all that is ever printed of a figure.
func shown(f season.Figure) string {
	switch {
	case known(f):
		return f.Shown
	case f.Why != "":
		return "not known: " + clean(f.Why)
	}
	return "not known"
}

// known also refuses a figure that nobody filled in.
func known(f season.Figure) bool { return f.Shown != "" && !math.IsNaN(f.Value) }

// clean takes out what no page may hold: control characters.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\ufffe' || r == '\uffff' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
}

// has says whether any of the figures is known.
func has(list []season.Named) bool {
	for _, n := range list {
		if known(n.Figure) {
			return true
		}
	}
	return false
}

// inline is a drawing of package chart inside the page. Its texts were escaped
// there.
func inline(c chart.Chart) template.HTML {
	return template.HTML(bytes.Replace(c.SVG, []byte(` xmlns="http://www.w3.org/2000/svg"`), nil, 1))
}

// table is a list of figures under a caption.
type table struct {
	Caption string
	List    []season.Named
}

func figures(caption string, list []season.Named) table { return table{caption, list} }

// pairs are figures known twice: as seen, and for the whole period.
type pairs struct {
	Caption string
	Rows    []pair
}

type pair struct {
	Seen  season.Named
	Whole season.Figure
}

func twice(caption string, seen, whole []season.Named) pairs {
	out := pairs{Caption: caption}
	for _, n := range seen {
		w, _ := find(whole, n.Key)
		out.Rows = append(out.Rows, pair{n, w.Figure})
	}
	return out
}

func monthText(month string) string {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		return clean(month)
	}
	return t.Format("Jan 2006")
}

func hours(seconds float64) string { return chart.Number(seconds/3600, 1) }

func stage(step string) string {
	switch step {
	case "feed":
		return "Cold feed"
	case "loop":
		return "After the yard's loop"
	case "plate":
		return "After the plate cooler"
	case "element":
		return "After the element"
	case "wash":
		return "Into the wash"
	}
	return clean(step)
}

// carrier is the words for what the alternative burns.
func carrier(name string) string {
	if name == "" {
		return "the alternative"
	}
	if name == "lpg" {
		return "LPG"
	}
	return clean(strings.ReplaceAll(name, "_", " "))
}

// label is the words for a key, or the key.
func (v *view) label(key string) string {
	s := v.S
	for _, list := range [][]season.Named{s.Headline, s.Loop.Figures, s.Plant.Figures, s.Heat.Seen, s.Saving.Figures, s.Bed, s.Electricity} {
		if n, ok := find(list, key); ok {
			return clean(n.Label)
		}
	}
	for _, c := range append(append([]season.Change{}, s.Loop.Changes...), s.Plant.Changes...) {
		if c.Of == key && c.Label != "" {
			return clean(c.Label)
		}
	}
	return clean(key)
}

func find(list []season.Named, key string) (season.Named, bool) {
	for _, n := range list {
		if n.Key == key {
			return n, true
		}
	}
	return season.Named{}, false
}

// monthTable is all monthly figures that any month knows, a column each.
type monthTable struct {
	Head []string
	Rows []monthRow
}

type monthRow struct {
	Month string
	Cells []string
}

func monthTableOf(months []season.Month) monthTable {
	var t monthTable
	var keys []string
	seen := map[string]bool{}
	for _, m := range months {
		for _, n := range m.Figures {
			if known(n.Figure) && !seen[n.Key] {
				seen[n.Key] = true
				keys, t.Head = append(keys, n.Key), append(t.Head, clean(n.Label))
			}
		}
	}
	for _, m := range months {
		row := monthRow{Month: monthText(m.Month)}
		for _, k := range keys {
			n, _ := find(m.Figures, k)
			cell := "not known"
			if known(n.Figure) {
				cell = n.Figure.Shown
			}
			row.Cells = append(row.Cells, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
