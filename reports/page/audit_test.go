package page

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
)

// Every item of the checklist has its place in every page, whatever the farm
// has.
func TestChecklistHasItsPlaces(t *testing.T) {
	for name, s := range seasons() {
		page := render(t, s)
		for _, item := range Checklist() {
			require.Equal(t, 1, strings.Count(page, ` id="`+item.Anchor+`"`), "%s: item %d, %s", name, item.N, item.Anchor)
			require.True(t, strings.Contains(page, `<a href="#`+item.Anchor+`">`), "%s: no link to %s", name, item.Anchor)
		}
	}
}

// No heading skips a level, every region that scrolls has a name and can be
// reached by keyboard, and every drawing a title and a description.
func TestPageCanBeFollowedByEar(t *testing.T) {
	heading := regexp.MustCompile(`<h([1-6])[ >]`)
	for name, s := range seasons() {
		page, last := render(t, s), 0
		for _, m := range heading.FindAllStringSubmatch(page, -1) {
			level := int(m[1][0] - '0')
			require.LessOrEqual(t, level, last+1, "%s: h%d after h%d", name, level, last)
			last = level
		}
		for _, tag := range regexp.MustCompile(`<div class="[^"]*scroll[^>]*>`).FindAllString(page, -1) {
			require.Contains(t, tag, `role="region"`, name)
			require.Contains(t, tag, `tabindex="0"`, name)
			require.Regexp(t, `aria-label="[^"]+"`, tag, name)
		}
	}
	v := &view{S: fixture.Season(), zone: zoneOf(fixture.Season())}
	for what, svg := range map[string]string{"boundary": string(v.Boundary()), "balance": string(v.BalanceChart()), "tornado": string(v.Tornado())} {
		require.NoError(t, wellFormed(svg), what)
		require.Regexp(t, `<svg [^>]*role="img" aria-labelledby="[^"]+"><title [^>]*>[^<]+</title><desc [^>]*>[^<]+</desc>`, svg, what)
	}
}

// The drawing has the farm's stages and its meters, and no others.
func TestBoundaryDrawingFollowsTheFarm(t *testing.T) {
	s := fixture.Season()
	v := &view{S: s, zone: zoneOf(s)}
	all := string(v.Boundary())
	for _, st := range s.Audit.Drawing {
		if !strings.Contains(st.Label, "<") {
			require.Contains(t, all, ">"+st.Label+"</text>")
		}
	}
	require.NotContains(t, all, "<script")
	require.Contains(t, v.BoundaryWords(), "Element (meter 2)")
	require.Contains(t, v.BoundaryWords(), "Loop (meters 1, 2, 1, 2, 1, 2, 1)")
	s.Audit.Drawing = s.Audit.Drawing[3:4] // a tank alone
	require.NotContains(t, string(v.Boundary()), ">Loop<")
	s.Audit.Drawing = nil
	require.Empty(t, v.Boundary())
}

func TestAuditPrintsWhatTheSeasonSays(t *testing.T) {
	s := fixture.Season()
	page := render(t, s)
	a := s.Audit
	for _, text := range []string{a.ReportID, a.Boundaries[0].KWh.Shown, a.Weeks[0].Figures[4].Figure.Shown, "3 sentinel, 2 range, 1 spike, 4 rate",
		"0.125 °C", "0.5 K, assumed", "as it changes", "&#43;30 / −20 kWh", "&#43;12 / −8 EUR", "yardheat report DIR --from 2026-03-28", "<strong>met</strong>", "13 of 14",
		"Its clocks were put on at 2026-03-29 01:00 UTC", "effect not computed"} {
		require.True(t, strings.Contains(page, text), "the page does not hold %q", text)
	}
	a.Claim.Share = math.NaN()
	s.Audit = a
	require.True(t, strings.Contains(render(t, s), "at 68 %): cannot tell."))
}

// What was left out stands with what it moves, or why that is not known; each
// headline figure with the way down from it.
func TestAuditFollowsDown(t *testing.T) {
	s := fixture.Season()
	page := render(t, s)
	require.Contains(t, page, "Heat from the yard: 12.0 → 12.5 kWh (&#43;0.5)")
	require.Contains(t, page, "3 (2)", "readings, and those in the period")
	require.NotContains(t, page, "NaN")
	for _, n := range s.Headline {
		path := s.FigurePath(n.Key)
		require.NotEmpty(t, path, n.Key)
		require.Contains(t, page, `<code>yardheat retrace OUT <span class="fig">--figure</span> `+path+"</code>")
	}
	require.Empty(t, s.FigurePath("nothing"))
	s.Exclusions = season.Exclusions{}
	page = render(t, s)
	require.Contains(t, page, "No reading of a probe or meter was left out by a test.")
	require.NotContains(t, page, "put back</caption>")
}

// The only baseline is not said twice; two stand side by side.
func TestOneBaselineHasNoTable(t *testing.T) {
	s := fixture.Season()
	v := &view{S: s, zone: zoneOf(s)}
	require.Greater(t, len(v.told()), 1)
	require.NotNil(t, v.BaselineRows())
	for _, b := range s.Saving.Baselines {
		if b.Chosen {
			s.Saving.Baselines = []season.Baseline{b}
			break
		}
	}
	require.Nil(t, v.BaselineRows())
	require.Contains(t, render(t, s), v.OnlyBaseline()+" is the only baseline that this record allows.")
}

func TestWordsOfTheAudit(t *testing.T) {
	for _, c := range []struct {
		got, want string
	}{
		{amount(0.1, "degC"), "0.1 °C"}, {amount(1, "L"), "1 L"}, {amount(0, "kW"), "0 kW"}, {amount(1234.5, "kWh"), "1\u202f234 kWh"}, {amount(-86.63, ""), "−86.6"},
		{amount(math.NaN(), "K"), "not known"}, {every(60), "60 s"}, {every(600), "10 min"}, {every(7200), "2 h"}, {every(math.NaN()), "as it changes"},
		{effect(season.Effect{Less: 0.2, More: -0.2}, 0, "kWh"), "none"}, {effect(season.Effect{Less: -3, More: 3}, 0, "kg"), "−3 / +3 kg"},
		{effect(season.Effect{Less: math.NaN(), More: 1}, 0, ""), "not known"}, {share(math.NaN()), "–"},
		{sensitivity(season.BudgetRow{Slope: 7530, SlopeUnit: "1"}, "kWh"), "75.3 kWh per %"}, {sensitivity(season.BudgetRow{Slope: 105, SlopeUnit: "K"}, "kWh"), "105 kWh per K"},
		{sensitivity(season.BudgetRow{Slope: -8660, SlopeUnit: ""}, "kWh"), "−86.6 kWh per 0.01"}, {sensitivity(season.BudgetRow{Slope: math.NaN()}, "kWh"), "days drawn again"},
	} {
		require.Equal(t, c.want, c.got)
	}
	require.InDelta(t, 0.2, tick(1), 1e-12)
	require.InDelta(t, 5, tick(28), 1e-12)
}
