package page

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/chart"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/internal/invented"
)

var made = Options{Version: "test"}

func render(t testing.TB, s *season.Season) string {
	charts, err := chart.All(s, chart.Options{})
	require.NoError(t, err)
	b, err := HTML(s, charts, made)
	require.NoError(t, err)
	return string(b)
}

// onlyLoop and onlyPlant are farms that have one of the two; noMeter has both
// and knows no heat. All invented.
func onlyLoop() *season.Season {
	s := invented.Season()
	s.Plant, s.Washes, s.Saving = season.Plant{}, season.Washes{CoolestC: math.NaN(), TargetC: math.NaN()}, season.Saving{}
	s.Pictures.Rejected, s.Pictures.Caught = nil, nil
	return s
}

func onlyPlant() *season.Season {
	s := invented.Season()
	s.Loop = season.Loop{RMSEK: math.NaN(), LitresLeftOut: math.NaN()}
	s.Draws, s.Pictures.UA, s.Pictures.TypicalDraws = nil, nil, nil
	return s
}

func noMeter() *season.Season {
	s := invented.Season()
	for _, list := range [][]season.Named{s.Headline, s.Heat.Seen, s.Saving.Figures, s.Loop.Figures, s.Plant.Figures} {
		for i := range list {
			list[i].Figure = fixture.Unknown("kWh")
		}
	}
	s.Months, s.Budget, s.Pictures = nil, nil, season.Pictures{}
	s.Loop.Identified, s.Loop.Why = false, "the loop has no flow meter"
	return s
}

func seasons() map[string]*season.Season {
	return map[string]*season.Season{"full": invented.Season(), "hostile": fixture.Season(), "empty": fixture.Empty(),
		"only loop": onlyLoop(), "only plant": onlyPlant(), "no meter": noMeter()}
}

func wellFormed(page string) error {
	d := xml.NewDecoder(strings.NewReader(page))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// The page is written so that it is XML too: every tag closed, every mark
// escaped, no id twice.
func TestPageIsWellFormed(t *testing.T) {
	require.Error(t, wellFormed("<p><b></p>"))
	id := regexp.MustCompile(` id="([^"]*)"`)
	for name, s := range seasons() {
		page := render(t, s)
		if err := wellFormed(page); err != nil {
			var at *xml.SyntaxError
			require.True(t, errors.As(err, &at), "%s: %v", name, err)
			t.Errorf("%s: %v: %q", name, err, strings.Split(page, "\n")[at.Line-1])
		}
		seen := map[string]bool{}
		for _, m := range id.FindAllStringSubmatch(page, -1) {
			require.False(t, seen[m[1]], "%s: id %s twice", name, m[1])
			seen[m[1]] = true
		}
		for _, m := range regexp.MustCompile(`href="#([^"]*)"`).FindAllStringSubmatch(page, -1) {
			require.True(t, seen[m[1]], "%s: link to %s leads nowhere", name, m[1])
		}
	}
}

func TestNothingUnknownLeaksAsANumber(t *testing.T) {
	for name, s := range seasons() {
		page := render(t, s)
		require.NotContains(t, page, "NaN", name)
		require.NotRegexp(t, `[+-]?\bInf\b`, page, name)
		require.NotContains(t, page, "ZgotmplZ", name)
		require.NotContains(t, page, "%!", name)
		require.NotContains(t, page, "0001", name)
	}
}

func TestPageNeedsNoNetworkAndNoScript(t *testing.T) {
	for name, s := range seasons() {
		page := render(t, s)
		for _, not := range []string{"http:", "https:", "//fonts", "<script", "@import", "url(", "<link", "<img", "<iframe", " onload=", "javascript:"} {
			require.NotContains(t, page, not, "%s: %s", name, not)
		}
	}
}

func TestHostileNamesStayText(t *testing.T) {
	page := render(t, fixture.Season())
	require.NotContains(t, page, fixture.Markup)
	require.Contains(t, page, "&lt;script&gt;alert(&#34;1&#34;)&lt;/script&gt; &amp; &#39;x&#39;")
	require.NotContains(t, page, "\x00")
	require.NotContains(t, page, "<b>")
}

func TestEveryDrawingHasRoleAndTitle(t *testing.T) {
	page := render(t, invented.Season())
	parts := strings.Split(page, "<svg ")
	require.Len(t, parts, 10) // nine drawings
	for _, p := range parts[1:] {
		tag, rest, _ := strings.Cut(p, ">")
		require.Contains(t, tag, `role="img"`)
		require.True(t, strings.HasPrefix(rest, "<title "), rest[:40])
	}
}

// Tables carry a caption and scoped heads.
func TestTablesAreTables(t *testing.T) {
	for name, s := range seasons() {
		page := render(t, s)
		require.Equal(t, strings.Count(page, "<table"), strings.Count(page, "<caption>"), name)
		require.Equal(t, strings.Count(page, "<th>"), 0, name)
		require.Equal(t, strings.Count(page, "<th "), strings.Count(page, "<th scope="), name)
	}
}

func TestEveryHeadlineFigureIsPrintedAsShown(t *testing.T) {
	s := invented.Season()
	page := render(t, s)
	for _, h := range s.Headline {
		require.Contains(t, page, `<td class="value">`+h.Figure.Shown+"</td>", h.Key)
	}
	require.Contains(t, page, "not known: no meter on the other hot taps")
}

func TestAbsentStagesVanish(t *testing.T) {
	page := render(t, onlyLoop())
	require.Contains(t, page, `<section id="loop">`)
	for _, id := range []string{"plant", "washes", "saving"} {
		require.NotContains(t, page, `<section id="`+id+`">`)
	}
	page = render(t, onlyPlant())
	require.NotContains(t, page, `<section id="loop">`)
	require.Contains(t, page, `<section id="plant">`)
	page = render(t, noMeter())
	require.Contains(t, page, "not settled</strong>: the loop has no flow meter.")
	require.Contains(t, page, "give none of the headline figures")
}

func TestEveryUnknownFigureIsListedOnceWithItsReason(t *testing.T) {
	v := &view{S: noMeter()}
	gaps := v.Gaps()
	seen := map[string]bool{}
	whys := map[string]bool{}
	for _, g := range gaps {
		require.NotEmpty(t, g.Why, g.Label)
		require.False(t, whys[g.Why], "one row a reason: %s", g.Why)
		whys[g.Why] = true
		for _, label := range strings.Split(g.Label, "; ") {
			require.False(t, seen[label], label)
			seen[label] = true
		}
	}
	for _, h := range v.S.Headline {
		require.True(t, seen[h.Label], h.Label)
	}
}

func TestNoWordPromises(t *testing.T) {
	promise := regexp.MustCompile(`(?i)\b(safe|safely|safety|conforms?|complies|compliant|guaranteed?)\b`)
	require.Regexp(t, promise, "It is Safe.")
	for name, s := range seasons() {
		require.NotRegexp(t, promise, render(t, s), name)
	}
}

func TestSamePageEveryTime(t *testing.T) {
	require.Equal(t, render(t, invented.Season()), render(t, invented.Season()))
}

func TestTimesAreLocal(t *testing.T) {
	page := render(t, invented.Season())
	require.Contains(t, page, "12 January 2026 to 11 April 2026") // 23:00 UTC on the 11th is midnight in Rome
	require.Contains(t, page, "2026-01-11 23:00 UTC")
}

func TestImproveAndComparedProbesAreShown(t *testing.T) {
	s := invented.Season()
	v := &view{S: s}
	require.Equal(t, []string{s.Improve[0].Text, s.Improve[1].Text}, v.Improve())
	page := render(t, s)
	require.Contains(t, page, s.Improve[0].Text)
	require.Contains(t, page, "loop_in probe against loop_out probe")
	require.Contains(t, page, s.Matched.Pairs[0].Offset.Shown)
	require.Contains(t, page, s.Matched.Before[0].Figure.Shown)
	require.Contains(t, page, chart.Percent(0.52))
}

// TestWriteForEyes leaves the pages where PAGES says, to be looked at.
func TestWriteForEyes(t *testing.T) {
	dir := os.Getenv("PAGES")
	if dir == "" {
		t.Skip("PAGES names no folder")
	}
	for name, s := range seasons() {
		require.NoError(t, os.WriteFile(fmt.Sprintf("%s/%s.html", dir, strings.ReplaceAll(name, " ", "-")), []byte(render(t, s)), 0o644))
	}
}

func BenchmarkHTML(b *testing.B) {
	s := invented.Season()
	charts, err := chart.All(s, chart.Options{})
	require.NoError(b, err)
	for b.Loop() {
		page, err := HTML(s, charts, made)
		if err != nil || !bytes.HasSuffix(bytes.TrimSpace(page), []byte("</html>")) {
			b.Fatal(err)
		}
	}
}

// A change stands in what to look at and in its own section, with its dates,
// both levels, the step and the farm's events; a text of the farm stays text.
func TestChangesOnThePage(t *testing.T) {
	s := fixture.Season()
	s.Loop.Changes[1].Events[0].What = "serviced <b>&"
	page := render(t, s)
	look, rest, ok := strings.Cut(page, `id="loop"`)
	require.True(t, ok)
	require.Contains(t, look, "<h3>Changes on a date</h3>")
	require.Contains(t, look, "Plate: water flow changed. Have it looked at.")
	c := s.Loop.Changes[1]
	for _, text := range []string{c.Before.Shown, c.After.Shown, c.Size.Shown, "serviced &lt;b&gt;&amp;", "nothing noted"} {
		require.Contains(t, rest, text)
	}
	s.Loop.Changes, s.Plant.Changes = nil, nil
	require.NotContains(t, render(t, s), "Changes on a date")
}
