package celltext

import (
	"math"
	"testing"
)

func FuzzParseNumber(f *testing.F) {
	for _, s := range []string{"12.5", "1.234,5 kWh", "-1e400", "1'234", "\u22125", "1\u00a0234", "0x1F", "NaN", "0$", "B$"} {
		f.Add(s, ",", ".")
		f.Add(s, ".", "'")
	}
	f.Fuzz(func(t *testing.T, text, decimal, thousands string) {
		v, unit, ok := ParseNumber(text, decimal, thousands)
		switch {
		case ok && (math.IsNaN(v) || math.IsInf(v, 0)):
			t.Fatalf("%q read as %v", text, v)
		case !ok && (v != 0 || unit != "") && !math.IsInf(v, 0):
			t.Fatalf("%q: no number, and yet %v %q", text, v, unit)
		case ok && unit != "" && !IsUnit(unit) && !IsMoney(unit):
			t.Fatalf("%q: unit %q", text, unit)
		}
		IsMissing(text)
	})
}

func BenchmarkParseNumber(b *testing.B) {
	if v, unit, ok := ParseNumber("1.234,5 kWh", ",", "."); v != 1234.5 || unit != "kWh" || !ok {
		b.Fatal(v, unit, ok)
	}
	for b.Loop() {
		ParseNumber("-12.75", ".", "")
	}
}
