package doubt

import (
	"math"
	"strconv"
	"strings"
)

// Percent prints a share or a confidence: "90 %", "2.6 %".
func Percent(p float64) string {
	if math.IsNaN(p) {
		return NotKnown
	}
	v := 100 * p
	step := 0.1
	if a := math.Abs(v); a > 0 && a < 10 {
		step = math.Pow10(int(math.Floor(math.Log10(a))) - 1)
	}
	text := strconv.FormatFloat(math.Round(v/step)*step, 'f', max(0, int(math.Round(-math.Log10(step)))), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " %"
}
