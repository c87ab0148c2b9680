package chart

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
)

const (
	thin    = "\u202f" // narrow no-break space
	minus   = "\u2212"
	nothing = "not known"
)

// Number prints a number that is not a figure: thin groups, a true minus sign.
func Number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nothing
	}
	text := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, rest, _ := strings.Cut(text, ".")
	text = group(whole)
	if rest != "" {
		text += "." + rest
	}
	if v < 0 && strings.Trim(text, "0.") != "" {
		return minus + text
	}
	return text
}

func group(whole string) string {
	if len(whole) < 4 {
		return whole
	}
	return group(whole[:len(whole)-3]) + thin + whole[len(whole)-3:]
}

// Percent prints a share of 0 to 1.
func Percent(share float64) string {
	switch {
	case math.IsNaN(share) || math.IsInf(share, 0):
		return nothing
	case share > 0 && share < 0.01:
		return "under 1" + thin + "%"
	case share < 1 && share > 0.99:
		return "over 99" + thin + "%"
	}
	return Number(100*share, 0) + thin + "%"
}

func stamp(ms int64, zone *time.Location, layout string) string {
	return time.UnixMilli(ms).In(zone).Format(layout)
}

// plain makes a text from a file fit to stand in a drawing: no control
// characters, and cut short.
func plain(text string, most int) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, text)
	text = strings.Join(strings.Fields(text), " ")
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}
