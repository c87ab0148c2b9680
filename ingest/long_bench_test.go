package ingest

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
	"time"
)

// longFarm writes an invented farm whose one log has 16 channels with local
// stamps, two decimals, a thousandth of the cells empty and a thousandth of
// them a code for "no reading": the job by which readers are compared.
func longFarm(tb testing.TB, rows int, step time.Duration, sep, mark byte, layout string) (dir string, size int64) {
	tb.Helper()
	dir = tb.TempDir()
	f, err := os.Create(filepath.Join(dir, "year.csv"))
	if err != nil {
		tb.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	columns := ""
	fmt.Fprint(w, "Time")
	for ch := range 16 {
		fmt.Fprintf(w, "%cT%d (°C)", sep, ch+1)
		columns += fmt.Sprintf("\"T%d (°C)\" = \"tank_temp@p%d\"\n", ch+1, ch+1)
	}
	fmt.Fprint(w, "\n")
	rome, err := time.LoadLocation("Europe/Rome")
	if err != nil {
		tb.Fatal(err)
	}
	at := time.Date(2025, 1, 1, 0, 0, 0, 0, rome)
	var line []byte
	for i := range rows {
		line = at.Add(time.Duration(i)*step).AppendFormat(line[:0], layout)
		for ch := range 16 {
			line = append(line, sep)
			switch n := int(uint32(i*16+ch)*2654435761>>8) % 1000; n {
			case 1:
			case 2:
				line = append(line, "-127"...)
				line = append(line, mark, '0', '0')
			default:
				v := 4000 + int(900*math.Sin(float64(i%8640)/1375+float64(ch))) + n%13
				line = strconv.AppendInt(line, int64(v/100), 10)
				line = append(line, mark, byte('0'+v/10%10), byte('0'+v%10))
			}
		}
		line = append(line, '\n')
		if _, err := w.Write(line); err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		tb.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		tb.Fatal(err)
	}
	if err := f.Close(); err != nil {
		tb.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "farm.toml"), []byte(romeFarm+toml("year.csv", "", columns)), 0o600); err != nil {
		tb.Fatal(err)
	}
	return dir, info.Size()
}

// BenchmarkLong loads a month at a minute, a year at a minute, the same with
// decimal commas, and a year at ten seconds, with layout found, flags set and
// the place of every reading known. heap-x is the heap at the end over the
// file's size.
func BenchmarkLong(b *testing.B) {
	const local = "2006-01-02 15:04:05"
	for _, c := range []struct {
		name      string
		rows      int
		step      time.Duration
		sep, mark byte
		layout    string
	}{
		{"S", 43_200, time.Minute, ',', '.', local},
		{"M", 525_600, time.Minute, ',', '.', local},
		{"Mde", 525_600, time.Minute, ';', ',', "02.01.2006 15:04"},
		{"L", 3_153_600, 10 * time.Second, ',', '.', local},
	} {
		b.Run(c.name, func(b *testing.B) {
			dir, size := longFarm(b, c.rows, c.step, c.sep, c.mark, c.layout)
			opt := DefaultLoadOptions()
			rec, err := Load(dir, opt)
			if err != nil {
				b.Fatal(err)
			}
			for _, s := range rec.Series {
				if n := s.Samples() + s.Missing; n != c.rows || s.Kept() < c.rows*996/1000 || s.Kept() >= c.rows {
					b.Fatalf("%s: %d samples, %d missing, %d kept of %d rows", s.Column, s.Samples(), s.Missing, s.Kept(), c.rows)
				}
			}
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			held := float64(m.HeapAlloc) / float64(size)
			runtime.KeepAlive(rec)
			rec = nil
			b.SetBytes(size)
			for b.Loop() {
				if _, err := Load(dir, opt); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(held, "heap-x")
		})
	}
}
