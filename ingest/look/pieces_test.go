package look

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A file described in pieces is described as in one.
func TestPiecesAgreeWithTheWhole(t *testing.T) {
	text := "Logger 7\nNo;time;Loop out (°C);Wash water (L);Pump;Note\n"
	at := time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC)
	for i := range 4000 {
		if i%1000 == 999 {
			at = at.Add(3 * time.Hour)
		}
		at = at.Add(time.Minute)
		cell := fmt.Sprintf("%d,%d", 20+i%17, i%10)
		switch {
		case i%501 == 7:
			cell = "-127"
		case i%777 == 8:
			cell = "2x"
		}
		note := ""
		if i == 3500 {
			note = "filter cleaned"
		}
		text += fmt.Sprintf("%d;%s;%s;%d;%s;%s\n", i, at.Format("02.01.2006 15:04:05"), cell, 1000+i/3, []string{"on", "off"}[i/50%2], note)
	}
	path := filepath.Join(t.TempDir(), "log.csv")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	whole, err := File(path, Options{})
	require.NoError(t, err)
	f, err := os.Open(path)
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	parts, err := inPieces(f, path, Options{}, 20000)
	require.NoError(t, err)
	require.Len(t, parts, 1)
	a, b := &whole[0], &parts[0]
	require.Equal(t, []any{4000, 4, a.First, a.Last, a.IntervalS, a.LongestS, a.Duplicates, a.OutOfOrder, a.HeaderLine, a.FirstRow},
		[]any{b.Rows, b.Gaps, b.First, b.Last, b.IntervalS, b.LongestS, b.Duplicates, b.OutOfOrder, b.HeaderLine, b.FirstRow})
	require.Equal(t, 4, a.Gaps)
	for i := range a.Columns {
		x, y := a.Columns[i], b.Columns[i]
		require.Equal(t, []any{x.Name, x.Unit, x.Kind, x.Readings, x.Missing, x.Codes, x.Quantity, x.Min, x.Max}, []any{y.Name, y.Unit, y.Kind, y.Readings, y.Missing, y.Codes, y.Quantity, y.Min, y.Max})
	}
	lines := map[int]bool{}
	for _, p := range b.Problems {
		lines[p.Line] = true
	}
	for i := range 4000 {
		if i%777 == 8 && i%501 != 7 {
			require.True(t, lines[i+3], "a bad cell in line %d keeps its line", i+3)
		}
	}
}
