package exports

import (
	"math"
	"strconv"
	"strings"
)

// Number forms that a layout may write beside plain decimals.
const (
	Plain     = ""
	Exponent  = "exponent"   // 3.14E+01
	Signed    = "signed"     // +31.4
	BarePoint = "bare point" // .5
	EndPoint  = "end point"  // 5.
	Zeros     = "zeros"      // 0031.4
	TrueMinus = "true minus" // −8.4 with U+2212
	Whole     = "whole"      // 5 for 5.0
)

// decimalText writes a value with a point.
func decimalText(v int64, places int) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	s := strconv.FormatInt(v, 10)
	if places == 0 {
		return sign + s
	}
	for len(s) <= places {
		s = "0" + s
	}
	return sign + s[:len(s)-places] + "." + s[len(s)-places:]
}

// valueOf is the number that a right reading gives.
func valueOf(v int64, places int) float64 {
	if v == None {
		return math.NaN()
	}
	f, err := strconv.ParseFloat(decimalText(v, places), 64)
	if err != nil {
		return math.NaN()
	}
	return f
}

// numberText writes a value as the layout does.
func (l *Layout) numberText(v int64, places int) string {
	text := decimalText(v, places)
	sign, digits := "", text
	if text[0] == '-' {
		sign, digits = "-", text[1:]
	}
	whole, fraction, _ := strings.Cut(digits, ".")
	mark := l.Decimal
	if mark == "" {
		mark = "."
	}
	switch l.Numbers {
	case Exponent:
		f, _ := strconv.ParseFloat(text, 64) // a decimal that was just written
		return strings.Replace(strconv.FormatFloat(f, 'E', -1, 64), ".", mark, 1)
	case Signed:
		if sign == "" {
			sign = "+"
		}
	case BarePoint:
		if whole == "0" && fraction != "" {
			whole = ""
		}
	case EndPoint:
		if fraction = strings.TrimRight(fraction, "0"); fraction == "" {
			return sign + whole + mark
		}
	case Whole:
		fraction = strings.TrimRight(fraction, "0")
	case Zeros:
		whole = strings.Repeat("0", max(0, 6-len(whole))) + whole
	case TrueMinus:
		sign = strings.Replace(sign, "-", "\u2212", 1)
	}
	if l.Thousands != "" {
		for k := len(whole) - 3; k > 0; k -= 3 {
			whole = whole[:k] + l.Thousands + whole[k:]
		}
	}
	if fraction == "" {
		return sign + whole
	}
	return sign + whole + mark + fraction
}

// fahrenheit converts a value of °C: exact, with one more decimal.
func (c *Channel) fahrenheit() {
	c.Unit, c.Places = "°F", c.Places+1
	thirtyTwo := int64(32)
	for range c.Places {
		thirtyTwo *= 10
	}
	c.V = mapped(c.V, func(v int64) int64 { return v*18 + thirtyTwo })
}

// cubicMetres turns L/h into m³/h: exact, with three more decimals.
func (c *Channel) cubicMetres() { c.Unit, c.Places = "m³/h", c.Places+3 }

func mapped(values []int64, f func(int64) int64) []int64 {
	out := make([]int64, len(values))
	for i, v := range values {
		out[i] = None
		if v != None {
			out[i] = f(v)
		}
	}
	return out
}
