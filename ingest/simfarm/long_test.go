package simfarm

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestLongQuickLogger: a logger at ten seconds writes, at whole minutes, what
// one at a minute writes of the same farm, but for the probes' noise.
func TestLongQuickLogger(t *testing.T) {
	rows := map[int][]string{}
	for _, intervalS := range []int{10, 60} {
		s := Long(3, intervalS, 5)
		for i := range s.Loggers[0].Columns {
			c := &s.Loggers[0].Columns[i]
			c.NoiseK, c.Sentinels, c.Empty = 0, 0, 0
			if c.Mode == MeanPerMinute {
				c.Mode = Counter // means over different intervals differ
			}
		}
		f, err := Run(s)
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		if err := f.Write(dir); err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(filepath.Join(dir, "yard.csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows[intervalS] = strings.Split(strings.TrimSpace(string(text)), "\n")
	}
	if n, want := len(rows[10]), 1+3*8640; n != want {
		t.Fatalf("%d lines at 10 s; want %d", n, want)
	}
	for i, want := range rows[60][1:] {
		if got := rows[10][1+6*i]; got != want {
			t.Fatalf("minute %d: at 10 s %q, at 60 s %q", i, got, want)
		}
	}
}

// TestLongOdd: the asked share of cells is empty or a sentinel.
func TestLongOdd(t *testing.T) {
	s := Long(3, 60, 5)
	f, err := Run(s)
	if err != nil {
		t.Fatal(err)
	}
	files, err := f.logFiles(0)
	if err != nil {
		t.Fatal(err)
	}
	text := string(files[0].data)
	rows := strings.Count(text, "\n") - 1
	temps := 0
	for _, c := range s.Loggers[0].Columns {
		if c.Sentinels > 0 {
			temps++
		}
	}
	// Two draws may fall on one cell, so at most the asked number.
	if n, most := strings.Count(text, "-127.00"), temps*(rows/1000); n > most || n < most*3/4 {
		t.Errorf("%d sentinels; want about %d", n, most)
	}
	if n, most := strings.Count(text, ",,")+strings.Count(text, ",\n"), 16*(rows/1000); n > most || n < most*3/4 {
		t.Errorf("%d empty cells; want about %d", n, most)
	}
}
