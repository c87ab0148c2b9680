package ingest

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"yardheat/ingest/series"
)

// Whatever stands in a log: a record whose series are in order and finite, with
// every row either a reading (kept or flagged) or counted as missing, or an
// InputError; never a panic.
func FuzzLoadLog(f *testing.F) {
	f.Add([]byte("Time,Bed (°C),Meter\n2026-01-15 10:00,40,1\n2026-01-15 10:10,41,2\n"))
	f.Add([]byte("Time;Bed (°C);Meter\n15.01.2026 10:00;40,5;99999\n15.01.2026 10:00;;0\n14.01.2026 10:00;x;1e300\n"))
	f.Add([]byte("Bed (°C)\tMeter\tT\n1\t2\t1768467600\n-127\t3\t1768467601\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		dir := t.TempDir()
		farm := romeFarm + toml("a.csv", "", "\"Bed (°C)\" = \"bed_temp\"\nMeter = { quantity = \"loop_volume\", counter = true }")
		if err := errors.Join(os.WriteFile(filepath.Join(dir, "farm.toml"), []byte(farm), 0o600), os.WriteFile(filepath.Join(dir, "a.csv"), text, 0o600)); err != nil {
			t.Fatal(err)
		}
		rec, err := Load(dir, options())
		if err != nil {
			var bad *InputError
			if !errors.As(err, &bad) || len(bad.Faults) == 0 {
				t.Fatal(err)
			}
			return
		}
		rowsRead := 0
		for _, file := range rec.Files {
			rowsRead += file.Rows
		}
		for _, s := range rec.Series {
			if n := countFlag(s, series.Absent); !s.Counter && len(rec.Files) == 1 && len(s.V)-n+s.Missing != rowsRead {
				t.Fatalf("%s: %d readings and %d missing of %d rows", s.Quantity, len(s.V)-n, s.Missing, rowsRead)
			}
			for i, v := range s.V {
				if (math.IsNaN(v) != (s.Flags.At(i)&series.Absent != 0)) || math.IsInf(v, 0) || i > 0 && s.T[i] < s.T[i-1] || s.From != nil && s.From[i] > s.T[i] {
					t.Fatal(s.Quantity, i, v, s.T[i])
				}
			}
		}
	})
}
