package reading

import (
	"math"
	"testing"

	"yardheat/ingest/series"
)

// Whatever a counter does, its amounts are finite, in order, none below zero
// is kept, and no reading is lost but the first.
func FuzzCounter(f *testing.F) {
	f.Add([]byte{1, 0, 1, 0, 200, 1, 255, 7, 0, 0, 3})
	f.Add([]byte{255, 255, 255, 255, 0, 0, 0, 9, 9, 9, 9, 9, 9})
	f.Fuzz(func(t *testing.T, steps []byte) {
		c := &Column{}
		v, at := 65000.0, int64(0)
		for i, b := range steps {
			switch {
			case b == 255:
				v = 0
			case b == 254:
				v += 1e6
			case b == 253:
				v -= 5
			default:
				v += float64(b % 16)
			}
			at += int64(b/16+1) * 20000
			var flag series.Flag
			if b == 252 {
				flag = series.Duplicate
			}
			c.Append(at, v, flag, series.Origin{Line: int32(i)})
		}
		good := c.good().n
		s := &series.Series{Quantity: "loop_volume"}
		Series(s, c, Meaning{Quantity: "loop_volume", Counter: true, FactorBase: 1}, DefaultFlagOptions())
		if want := max(0, good-1) + len(steps) - good; good > 0 && len(s.V) != want {
			t.Fatalf("%d amounts of %d readings", len(s.V), len(steps))
		}
		for i, x := range s.V {
			if math.IsNaN(x) || math.IsInf(x, 0) || s.Flags.At(i) == 0 && x < 0 || s.From[i] > s.T[i] || i > 0 && s.T[i] < s.T[i-1] {
				t.Fatal(i, x, s.From[i], s.T[i])
			}
		}
	})
}
