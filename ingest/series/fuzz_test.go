package series

import (
	"math"
	"testing"
)

func FuzzParseUnit(f *testing.F) {
	for _, s := range []string{"°C", "m³/h", "l·min⁻¹", "gal (US)", "kWh", "deg F", "A", "/", "h-1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		u, ok := ParseUnit(text)
		if !ok || u.Gallon {
			return
		}
		if b := u.Base(20); math.IsNaN(b) || math.IsInf(b, 0) || u.Factor <= 0 {
			t.Fatalf("%q: 20 gives %v", text, b)
		}
	})
}
