package statement

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/claim"
	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/internal/invented"
)

// claimed gives a season what a claim needs: invented trials about its figures.
func claimed(s *season.Season) *season.Season {
	if len(s.Saving.Whole) == 1 { // the invented season knows one of them
		s.Saving.Whole = s.Saving.Figures
	}
	for whole, list := range map[bool][]season.Named{false: s.Saving.Figures, true: s.Saving.Whole} {
		for _, n := range list {
			if math.IsNaN(n.Figure.Value) {
				continue
			}
			x := season.Spread{Key: n.Key, Whole: whole, Parts: []season.SpreadPart{
				{Sensor: "wash meter " + fixture.Markup, Kind: "shared", Share: 0.7, Error: "3 %", Assumed: true}, {Sensor: "feed", Kind: "shared", Share: 0.3, Error: "0.2 K"}}}
			for i := range 1000 {
				x.Trials = append(x.Trials, n.Figure.Value+(float64(i)-499.5)/500*(n.Figure.High-n.Figure.Value))
			}
			s.Claims.Spreads = append(s.Claims.Spreads, x)
		}
	}
	s.Claims.Assumptions = []season.Stated{{Key: "instead.efficiency", Label: "Its efficiency", Value: "0.87", Error: "0.03", Source: fixture.Markup}, {Label: "Price", Value: "0.1 EUR"}}
	s.Claims.Inside, s.Claims.Outside = []string{"wash water"}, []string{"the compressor"}
	return s
}

func seasons() map[string]*season.Season {
	many := claimed(invented.Season())
	for i := range 40 {
		many.Files = append(many.Files, ingest.File{Name: fmt.Sprintf("yard-%02d.csv", i), SHA256: strings.Repeat("ab", 32)})
	}
	return map[string]*season.Season{"full": claimed(invented.Season()), "hostile": claimed(fixture.Season()), "empty": fixture.Empty(), "many": many}
}

func judged(t *testing.T, s *season.Season, asked ...claim.Asked) *claim.Judgement {
	t.Helper()
	if len(asked) == 0 {
		asked = []claim.Asked{{Key: "saved_kwh", Claimed: 100}, {Key: "money", Claimed: 1e9}}
	}
	own, err := claim.ParseCriterion("20% at 90%")
	require.NoError(t, err)
	opt := claim.DefaultOptions()
	opt.Criteria = []claim.Criterion{own}
	j, err := claim.Judge(s, asked, opt)
	require.NoError(t, err)
	return j
}

func render(t *testing.T, s *season.Season) string {
	t.Helper()
	b, err := HTML(s, judged(t, s), Options{Version: "v9"})
	require.NoError(t, err)
	return string(b)
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

func TestStatementIsWellFormedAndAlone(t *testing.T) {
	for name, s := range seasons() {
		page := render(t, s)
		require.NoError(t, wellFormed(page), name)
		for _, not := range []string{"http:", "https:", "<script", "@import", "url(", "<link", "<img", "<iframe", "javascript:", "NaN", "ZgotmplZ", "%!", "<b>", fixture.Markup} {
			require.NotContains(t, page, not, "%s: %s", name, not)
		}
		require.Equal(t, page, render(t, s), "the same bytes")
	}
	require.Contains(t, render(t, seasons()["hostile"]), "&lt;script&gt;")
}

// What an auditor looks for, each on the page.
func TestStatementHoldsWhatAnAuditorSigns(t *testing.T) {
	s := seasons()["full"]
	page := render(t, s)
	for _, want := range []string{s.Farm, "Local time", "UTC:", "Claimed", "at least 100 kWh", "Chance that the claim is true", "supported", "not supported at 90 % confidence",
		"ASHRAE Guideline 14", "at most 20 % at 90 %", "Basis", "Boundary", "Assumptions", "0.87", "± 0.03", "farm.toml, which names none", "Coverage", "Whose error",
		"What cannot be said", "Original files", "Yardheat v9", "Prepared", "Checked", "Accepted"} {
		require.Contains(t, page, want)
	}
	for _, f := range s.Files {
		require.Contains(t, page, f.SHA256)
	}
	require.NotContains(t, page, `class="annex"`)
	many := render(t, seasons()["many"])
	require.Contains(t, many, `class="annex"`)
	require.Contains(t, many, "yard-39.csv")
	empty := render(t, seasons()["empty"])
	require.Contains(t, empty, "cannot tell")
	require.Contains(t, empty, "Farm without a name")
}

func TestText(t *testing.T) {
	s := seasons()["full"]
	text := Text(s, judged(t, s))
	for _, want := range []string{"at least 100 kWh", "verdict at 90 %    supported", "verdict at 90 %    not supported", "ASHRAE Guideline 14: met (uncertainty below 50 % at 68 %, here "} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, Text(fixture.Empty(), judged(t, fixture.Empty())), "NaN")
}

func TestAStatementIsWholeOrAbsent(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "s.html")
	first, second := []byte(render(t, seasons()["full"])), []byte(render(t, seasons()["many"]))
	require.NoError(t, Write(path, first))
	require.NoError(t, Write(path, second), "an earlier statement is replaced")
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, second, got)

	var foreign *NotOurs
	own := filepath.Join(dir, "farm.toml")
	require.NoError(t, os.WriteFile(own, []byte("mine"), 0o644))
	require.ErrorAs(t, Write(own, first), &foreign)
	require.ErrorAs(t, Write(dir, first), &foreign)
	b, err := os.ReadFile(own)
	require.NoError(t, err)
	require.Equal(t, "mine", string(b))
	require.Error(t, Write(filepath.Join(dir, "no", "s.html"), first))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, left, 2, "nothing half-written stays")

	if runtime.GOOS == "windows" || os.Getuid() == 0 {
		return // the mode of a folder does not bind this user
	}
	require.NoError(t, os.Chmod(dir, 0o555))
	require.Error(t, Write(path, first))
	require.NoError(t, os.Chmod(dir, 0o755))
	got, err = os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, second, got)
}
