package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/internal/invented"
)

// seasons are invented: full, with holes and hostile names, and nearly empty.
func seasons() map[string]*season.Season {
	return map[string]*season.Season{"full": invented.Season(), "hostile": fixture.Season(), "empty": fixture.Empty()}
}

func TestDrawingsAreWholeXMLWithTitleAndDescription(t *testing.T) {
	for name, s := range seasons() {
		charts, err := All(s, Options{})
		require.NoError(t, err, name)
		for _, c := range charts {
			if c.SVG == nil {
				require.NotEmpty(t, c.Why, "%s: %s", name, c.Name)
				continue
			}
			require.Empty(t, c.Why, "%s: %s", name, c.Name)
			text := string(c.SVG)
			require.True(t, strings.HasPrefix(text, "<svg "), "%s: %s", name, c.Name)
			for _, want := range []string{`role="img"`, "<title id=", "<desc id=", `width="100%"`, "viewBox="} {
				require.Contains(t, text, want, "%s: %s", name, c.Name)
			}
			require.NotContains(t, text, "NaN", "%s: %s", name, c.Name)
			require.NotContains(t, text, "Inf", "%s: %s", name, c.Name)
			require.NotContains(t, text, "<script", "%s: %s", name, c.Name)
			require.NoError(t, wellFormed(c.SVG), "%s: %s", name, c.Name)
		}
	}
}

func wellFormed(b []byte) error {
	d := xml.NewDecoder(bytes.NewReader(b))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

func TestWellFormedSeesAFault(t *testing.T) {
	require.Error(t, wellFormed([]byte("<svg><g></svg>")))
}

func TestFullSeasonDrawsEveryChart(t *testing.T) {
	charts, err := All(invented.Season(), Options{})
	require.NoError(t, err)
	var names []string
	for _, c := range charts {
		require.NotNil(t, c.SVG, c.Name)
		require.NotEmpty(t, c.Rows, c.Name)
		for _, row := range c.Rows {
			require.Len(t, row, len(c.Head), c.Name)
		}
		names = append(names, c.Name)
	}
	require.Equal(t, []string{"heat-by-month", "typical-draw-1", "typical-draw-2", "ua-over-time", "plate-by-week", "caught-against-rejected",
		"washes", "coverage", "uncertainty"}, names)
}

func TestSameBytesEveryTime(t *testing.T) {
	a, err := All(invented.Season(), Options{PNG: true})
	require.NoError(t, err)
	b, err := All(invented.Season(), Options{PNG: true})
	require.NoError(t, err)
	require.Equal(t, a, b)
	for _, c := range a {
		require.True(t, bytes.HasPrefix(c.PNG, []byte("\x89PNG")), c.Name)
	}
}

// The kept points of a column hold its first, least, greatest and last.
func TestDecimateKeepsExtremesAndBreaks(t *testing.T) {
	n := 100_000
	xs, ys := make([]float64, n), make([]float64, n)
	for i := range xs {
		xs[i], ys[i] = float64(i), math.Sin(float64(i))
	}
	ys[31_007], ys[77_777], ys[50_000] = 9, -9, math.NaN()
	x, y := decimate(xs, ys, 0, float64(n), 420)
	require.LessOrEqual(t, len(x), 420*4+8)
	require.Contains(t, y, 9.0)
	require.Contains(t, y, -9.0)
	require.Contains(t, x, 50_000.0)
	for i := 1; i < len(x); i++ {
		require.Greater(t, x[i], x[i-1])
	}
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		v    float64
		d    int
		want string
	}{{1234567.891, 1, "1\u202f234\u202f567.9"}, {-0.04, 1, "0.0"}, {-12, 0, "\u221212"}, {math.NaN(), 1, "not known"},
		{math.Inf(1), 1, "not known"}, {999, 0, "999"}} {
		require.Equal(t, c.want, Number(c.v, c.d))
	}
}

// WCAG 2.2, relative luminance and contrast ratio: graphics need 3:1 (1.4.11),
// unrounded; the constants are those of its definitions.
func TestColoursStandOutFromWhite(t *testing.T) {
	linear := func(v uint8) float64 {
		c := float64(v) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	ratio := func(r, g, b uint8) float64 {
		return 1.05 / (0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b) + 0.05)
	}
	require.Less(t, ratio(0xE6, 0x9F, 0x00), 3.0) // Okabe-Ito orange fails: the check can fail
	for _, c := range [][3]uint8{{blue.R, blue.G, blue.B}, {vermillion.R, vermillion.G, vermillion.B}, {green.R, green.G, green.B},
		{purple.R, purple.G, purple.B}, {black.R, black.G, black.B}, {grey.R, grey.G, grey.B}} {
		require.GreaterOrEqual(t, ratio(c[0], c[1], c[2]), 3.0)
	}
}

// TestWriteForEyes leaves the drawings where CHARTS says, to be looked at.
func TestWriteForEyes(t *testing.T) {
	dir := os.Getenv("CHARTS")
	if dir == "" {
		t.Skip("CHARTS names no folder")
	}
	charts, err := All(invented.Season(), Options{PNG: true})
	require.NoError(t, err)
	for _, c := range charts {
		require.NoError(t, os.WriteFile(filepath.Join(dir, c.Name+".png"), c.PNG, 0o644))
		require.NoError(t, os.WriteFile(filepath.Join(dir, c.Name+".svg"), c.SVG, 0o644))
	}
}

func BenchmarkAll(b *testing.B) {
	s := invented.Season()
	for b.Loop() {
		charts, err := All(s, Options{})
		if err != nil || len(charts) != 8 {
			b.Fatal(err, len(charts))
		}
	}
}
