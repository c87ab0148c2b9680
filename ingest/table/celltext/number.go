package celltext

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// pow10 holds the powers of ten that a float64 holds exactly.
var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10,
	1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// ParseNumber reads one number as written with the given decimal and
// thousands marks ("" decimal = "."). A known unit may follow it and is
// returned as written. No-break and thin spaces are read as thousands marks
// whatever thousands says. Text, NaN, infinities, hexadecimal and overflow
// are not numbers.
func ParseNumber(text, decimal, thousands string) (v float64, unit string, ok bool) {
	s := Trim(text)
	i, neg := 0, false
	if len(s) > 0 && (s[0] == '-' || s[0] == '+') {
		i, neg = 1, s[0] == '-'
	}
	dec := decimalByte(decimal)
	mantissa, digits, places := uint64(0), 0, -1
	for ; i < len(s); i++ {
		c := s[i]
		switch {
		case c-'0' <= 9:
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
			if places >= 0 {
				places++
			}
		case c == dec && places < 0:
			places = 0
		default:
			return parseSlowly(s, dec, thousands)
		}
	}
	// 15 digits stay below 2^53 and the power is exact, so that one division
	// is correctly rounded (Clinger 1990, the fast path; from memory).
	if digits == 0 || digits > 15 {
		return parseSlowly(s, dec, thousands)
	}
	v = float64(mantissa)
	if places > 0 {
		v /= pow10[places]
	}
	if neg {
		v = -v
	}
	return v, "", true
}

func decimalByte(decimal string) byte {
	if decimal == "," {
		return ','
	}
	return '.'
}

// parseSlowly reads what the fast loop does not: other signs, thousands
// marks, exponents, units, many digits, amounts of money.
func parseSlowly(s string, dec byte, thousands string) (float64, string, bool) {
	v, unit, ok := parseUnited(s, dec, thousands)
	if ok || s == "" || len(s) > 24 {
		return v, unit, ok
	}
	if !strings.ContainsAny(s, "0123456789") { // then no amount stands in it
		return 0, "", false
	}
	amount, sign := cutMoney(s)
	if sign == "" || amount == "" {
		return 0, "", false
	}
	if v, unit, ok = parseUnited(amount, dec, thousands); !ok || unit != "" {
		return 0, "", false
	}
	return v, sign, true
}

// parseUnited reads a number with or without a unit behind it.
func parseUnited(s string, dec byte, thousands string) (float64, string, bool) {
	var buf [64]byte
	clean, rest := buf[:0], s
	switch {
	case strings.HasPrefix(rest, "\u2212"), strings.HasPrefix(rest, "\u2013"):
		clean, rest = append(clean, '-'), rest[len("\u2212"):]
	case rest != "" && (rest[0] == '-' || rest[0] == '+'):
		clean, rest = append(clean, rest[0]), rest[1:]
	}
	whole, rest, ok := grouped(rest, thousands)
	if !ok {
		return 0, "", false
	}
	clean = append(clean, whole...)
	digits := len(whole)
	if rest != "" && rest[0] == dec {
		n := LeadingDigits(rest[1:])
		clean = append(append(clean, '.'), rest[1:1+n]...)
		digits += n
		rest = rest[1+n:]
	}
	if digits == 0 {
		return 0, "", false
	}
	n := exponentLen(rest)
	clean, rest = append(clean, rest[:n]...), rest[n:]
	if rest == "-" && len(clean) == digits+points(clean) { // "0,3-", as bookkeeping writes it
		clean, rest = append([]byte{'-'}, clean...), ""
	}
	if isHex(whole, rest) {
		return 0, "", false
	}
	unit := Trim(rest)
	if unit != "" && !IsUnit(unit) {
		return 0, "", false
	}
	v, err := strconv.ParseFloat(string(clean), 64)
	return v, unit, err == nil && !math.IsInf(v, 0)
}

// isHex tells "00h" of a column of states from hours: nobody writes
// hours of fixed width, with a zero in front, against their unit.
func isHex(whole, rest string) bool {
	return len(whole) >= 2 && whole[0] == '0' && (rest == "h" || rest == "H")
}

// points is 1 where a number being put together has a decimal mark.
func points(clean []byte) int { return bytes.Count(clean, []byte{'.'}) }

// grouped takes the whole part off the front of s, its thousands marks left
// out. Marks must part groups of exactly three digits, or, as in India, of two
// before a last one of three ("12,34,567"), and a grouped number does not begin
// with a zero.
func grouped(s, thousands string) (whole, rest string, ok bool) {
	n := LeadingDigits(s)
	whole, rest = s[:n], s[n:]
	indian, closed := false, false // a group of two stood; its last one of three too
	for {
		w, k := GroupMarkLen(rest, thousands), 0
		if w > 0 {
			k = LeadingDigits(rest[w:])
		}
		if k == 0 {
			return whole, rest, indian == closed
		}
		twos := thousands == "," && k == 2 && n <= 2 && (indian || len(whole) == n)
		if whole == "" || n > 3 || whole[0] == '0' || closed || k != 3 && !twos {
			return "", "", false
		}
		closed = indian && !twos
		indian = indian || twos
		whole, rest = whole+rest[w:w+k], rest[w+k:]
	}
}

// GroupMarkLen gives the length of the thousands mark at the front of s.
func GroupMarkLen(s, thousands string) int {
	if s == "" {
		return 0
	}
	if thousands != "" && strings.HasPrefix(s, thousands) {
		return len(thousands)
	}
	for _, sp := range [...]string{"\u00a0", "\u2009", "\u202f"} {
		if strings.HasPrefix(s, sp) {
			return len(sp)
		}
	}
	switch {
	case thousands == "'" && strings.HasPrefix(s, "\u2019"):
		return len("\u2019")
	case s[0] == ' ' && thousands != "" && Trim(thousands) == "":
		return 1
	}
	return 0
}

func LeadingDigits(s string) int {
	n := 0
	for n < len(s) && s[n]-'0' <= 9 {
		n++
	}
	return n
}

// exponentLen gives the length of "e+03" at the front of s, 0 if there is none.
func exponentLen(s string) int {
	if s == "" || s[0]|0x20 != 'e' {
		return 0
	}
	n := 1
	if n < len(s) && (s[n] == '+' || s[n] == '-') {
		n++
	}
	d := LeadingDigits(s[n:])
	if d == 0 {
		return 0
	}
	return n + d
}

// missingWords are what loggers, spreadsheets and databases write where there
// is no reading (common practice, no source).
var missingWords = map[string]bool{
	"n/a": true, "na": true, "n.a.": true, "#n/a": true, "nan": true, "null": true, "(null)": true, `\n`: true,
	"none": true, "nil": true, "ol": true, "o.l.": true, "ovl": true, "over": true, "overflow": true, "under": true,
	"err": true, "err.": true, "error": true, "#err": true, "fault": true, "fail": true, "missing": true,
	"no data": true, "nodata": true, "no reading": true, "undefined": true, "unknown": true, "unavailable": true,
	"inf": true, "-inf": true, "+inf": true, "infinity": true, "-infinity": true, "-nan": true,
	"#value!": true, "#div/0!": true, "#ref!": true, "#name?": true, "#num!": true, "#null!": true,
	"#getting_data": true, "#spill!": true, "#calc!": true,
}

// errorWord are those among missingWords by which a logger says that it failed
// to read, or that the reading lies outside its range.
var errorWord = map[string]bool{
	"ol": true, "o.l.": true, "ovl": true, "over": true, "overflow": true, "under": true,
	"err": true, "err.": true, "error": true, "#err": true, "fault": true, "fail": true,
}

// IsErrorWord tells whether a cell says that the logger failed to read.
func IsErrorWord(text string) bool { return len(text) <= 16 && errorWord[strings.ToLower(text)] }

// IsMissing tells whether a cell says that there is no reading ("", "--",
// "n/a", "OL", "#N/A" and the like).
func IsMissing(text string) bool {
	s := Trim(text)
	if s == "" {
		return true
	}
	if s[0]-'0' <= 9 || len(s) > 16 {
		return false
	}
	if strings.Trim(s, "-–—.*?_ ") == "" {
		return true
	}
	return missingWords[strings.ToLower(s)]
}

// Trim takes blanks of every kind, NULs, byte-order marks and the old
// end-of-file mark off both ends.
func Trim(s string) string {
	for len(s) > 0 && isBlankByte(s[0]) {
		s = s[1:]
	}
	for len(s) > 0 && isBlankByte(s[len(s)-1]) {
		s = s[:len(s)-1]
	}
	if len(s) == 0 || s[0] < 0x80 && s[len(s)-1] < 0x80 {
		return s
	}
	t := strings.Trim(s, " \t\r\n\v\f\x00\x1a\u00a0\u2009\u202f\u200b\ufeff")
	return t
}

func isBlankByte(c byte) bool { return c == ' ' || c-'\t' < 5 || c == 0 || c == 0x1a }

// plain tells a text of visible ASCII characters alone.
func plain(s string) bool {
	for i := range len(s) {
		if s[i]-'!' > '~'-'!' {
			return false
		}
	}
	return true
}

// FoldBlanks trims s and makes each run of blanks inside it one space.
func FoldBlanks(s string) string {
	s = Trim(s)
	if plain(s) {
		return s
	}
	if !strings.ContainsAny(s, "\t\r\n\v\f\u00a0\u2009\u202f\ufeff") && !strings.Contains(s, "  ") {
		return s
	}
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool {
		return r == ' ' || r-'\t' < 5 && r >= '\t' || r == 0xa0 || r == 0x2009 || r == 0x202f || r == 0xfeff
	}), " ")
}
