package ooxml

import (
	"bytes"
	"strconv"
)

// Float gives a number cell's value without a text between. The result is the
// nearest float64, as of strconv.ParseFloat.
func (c *Cell) Float() (float64, bool) {
	if c.Kind != 'n' {
		return 0, false
	}
	if v, ok := shortDecimal(c.Text); ok {
		return v, true
	}
	if bytes.ContainsAny(c.Text, "xXpP_iInN") { // forms of Go's, not of a sheet's
		return 0, false
	}
	v, err := strconv.ParseFloat(string(c.Text), 64)
	return v, err == nil
}

// tens are the powers of ten that a float64 holds exactly.
var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// shortDecimal reads up to 15 digits with or without a point: both parts of the
// one division are exact then, so its result is rounded once.
func shortDecimal(b []byte) (float64, bool) {
	i, neg := 0, len(b) > 0 && b[0] == '-'
	if neg {
		i = 1
	}
	if len(b)-i > 16 || len(b) == i {
		return 0, false
	}
	n, digits, point := uint64(0), 0, -1
	for ; i < len(b); i++ {
		switch d := b[i] - '0'; {
		case d <= 9:
			n = n*10 + uint64(d)
			digits++
		case b[i] == '.' && point < 0:
			point = digits
		default:
			return 0, false
		}
	}
	if digits == 0 || digits > 15 {
		return 0, false
	}
	v := float64(n)
	if point >= 0 {
		v /= tens[digits-point]
	}
	if neg {
		v = -v
	}
	return v, true
}
