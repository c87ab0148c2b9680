// Package statement renders a judgement on a claimed saving: a few lines of
// text, and a page to print on A4 and sign, one HTML file without scripts or
// network. It prints what the analysis computed and computes nothing.
package statement

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"
	"unicode"

	"yardheat/analysis/claim"
	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/reports/chart"
)

// Options of the statement.
type Options struct {
	Version string
}

//go:embed statement.tmpl
var source string

const (
	// mostParts of the budget, and mostHashes of files, on the first page; more
	// files go to a second.
	mostParts  = 6
	mostHashes = 12
	// mostGaps: channels with the longest gaps.
	mostGaps = 4
)

// HTML is the statement as one file.
func HTML(s *season.Season, j *claim.Judgement, opt Options) ([]byte, error) {
	if s == nil || j == nil || len(j.Claims) == 0 {
		return nil, fmt.Errorf("statement: no claim to state")
	}
	v := newView(s, j, opt)
	t, err := template.New("statement").Funcs(template.FuncMap{
		"clean": clean, "pct": claim.Percent, "measured": v.measured, "tested": tested, "words": verdictWords,
		"when": func(ms int64) string { return v.format(ms, "2 Jan 2006 15:04") }, "hours": func(sec float64) string { return chart.Number(sec/3600, 1) },
		"utc":       func(ms int64) string { return time.UnixMilli(ms).UTC().Format("2006-01-02 15:04") },
		"undecided": func(c *claim.Claim) bool { return c.Verdict == claim.CannotTell },
		"count":     func(n int) string { return chart.Number(float64(n), 0) }, "class": verdictClass,
	}).Parse(source)
	if err != nil {
		return nil, fmt.Errorf("statement template: %w", err)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, v); err != nil {
		return nil, fmt.Errorf("statement: %w", err)
	}
	return out.Bytes(), nil
}

// view is what the template sees.
type view struct {
	S       *season.Season
	J       *claim.Judgement
	Version string
	zone    *time.Location
}

func newView(s *season.Season, j *claim.Judgement, opt Options) *view {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		zone = time.UTC
	}
	return &view{S: s, J: j, Version: opt.Version, zone: zone}
}

func (v *view) format(ms int64, layout string) string {
	return time.UnixMilli(ms).In(v.zone).Format(layout)
}

func (v *view) day(ms int64) string { return v.format(ms, "2 January 2006") }

// Day is the period's first local day.
func (v *view) Day() string { return v.day(v.S.Period.Start) }

// LastDay is the period's last local day, whose end is not in it.
func (v *view) LastDay() string { return v.day(max(v.S.Period.Start, v.S.Period.End-1)) }

// Farm is its name.
func (v *view) Farm() string {
	if v.S.Farm == "" {
		return "Farm without a name"
	}
	return clean(v.S.Farm)
}

// Over says what the claim is judged against.
func (v *view) Over() string {
	if v.J.ByDays && v.J.Seen {
		return "over the days reported on (a saving told from days without recovery has no estimate for the whole period)"
	}
	if v.J.Seen {
		return "over what was seen of the period"
	}
	return "for the whole period"
}

// Charged: see season.Claims.
func (v *view) Charged() bool { return v.S.Claims.Charged }

// measured is the figure judged against, with how much of the period it stands
// on.
func (v *view) measured(c *claim.Claim) string {
	f := c.Measured
	if math.IsNaN(f.Value) {
		return "not known: " + clean(f.Why)
	}
	seen := "was seen"
	if v.J.ByDays {
		seen = "is reported on"
	}
	return fmt.Sprintf("%s (%s interval; %s of the period %s)", f.Shown, claim.Percent(f.Confidence), claim.Percent(f.Coverage), seen)
}

// verdictWords is the verdict as a sentence.
func verdictWords(c *claim.Claim, confidence float64) string {
	at := " at " + claim.Percent(confidence) + " confidence"
	switch c.Verdict {
	case claim.Supported:
		return "The claim is supported" + at + "."
	case claim.NotSupported:
		return "The claim is not supported" + at + "."
	}
	return "These data cannot tell" + at + " whether the claim is true."
}

func verdictClass(c *claim.Claim) string {
	return strings.ReplaceAll(string(c.Verdict), " ", "-")
}

// Claims are the judged claims.
func (v *view) Claims() []*claim.Claim {
	var out []*claim.Claim
	for i := range v.J.Claims {
		out = append(out, &v.J.Claims[i])
	}
	return out
}

// Parts are the largest parts of the first claim's budget.
func (v *view) Parts() []season.SpreadPart {
	parts := v.J.Claims[0].Parts
	return parts[:min(len(parts), mostParts)]
}

// sourced are stated figures of one source.
type sourced struct {
	Source string
	List   []season.Stated
}

// Assumptions are the stated figures, those of one source together.
func (v *view) Assumptions() []sourced {
	var out []sourced
	for _, a := range v.S.Claims.Assumptions {
		if n := len(out); n == 0 || out[n-1].Source != a.Source {
			out = append(out, sourced{Source: a.Source})
		}
		last := &out[len(out)-1]
		last.List = append(last.List, a)
	}
	return out
}

// Gaps are the channels that were silent for the longest.
func (v *view) Gaps() []season.Channel {
	var out []season.Channel
	for _, c := range v.S.Channels {
		if !(c.GapS > 0) {
			continue
		}
		at := len(out)
		for at > 0 && out[at-1].GapS < c.GapS {
			at--
		}
		out = append(out[:at], append([]season.Channel{c}, out[at:]...)...)
	}
	return out[:min(len(out), mostGaps)]
}

// hashed is one original file.
type hashed struct{ Name, SHA256 string }

// Files are the originals, once each, with the farm's own.
func (v *view) Files() []hashed {
	var out []hashed
	seen := map[string]bool{}
	add := func(name, sum string) {
		if !seen[name] {
			seen[name] = true
			out = append(out, hashed{clean(name), sum})
		}
	}
	for _, o := range v.S.Own {
		add(o.Name, o.SHA256)
	}
	for _, f := range v.S.Files {
		add(fileName(f), f.SHA256)
	}
	return out
}

func fileName(f ingest.File) string { return f.Name }

// Annex: the files fill a page of their own.
func (v *view) Annex() bool { return len(v.Files()) > mostHashes }

// HasLoop, HasPlate: whether the drawing shows them.
func (v *view) HasLoop() bool { return len(v.S.Draws) > 0 || v.S.Loop.Model != "" }

// HasPlate: see HasLoop.
func (v *view) HasPlate() bool {
	for _, n := range v.S.Heat.Seen {
		if n.Key == "plant_kwh" {
			return !math.IsNaN(n.Figure.Value)
		}
	}
	return false
}

// clean takes out what no page may hold: control characters.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\ufffe' || r == '\uffff' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
}
