package celltext

import "strings"

// LooksLikeStamp tells whether a cell reads as a date, a time of day or both.
// It only sorts cells; reading stamps is the clock package's work.
func LooksLikeStamp(s string) bool {
	if len(s) < 4 || len(s) > 80 {
		return false
	}
	if c := s[len(s)-1]; (c == ']' || c == ')') && bracketUnit(s) != "" {
		return false // "1.8.0 import [kWh]" names a column
	}
	if s[0]-'0' <= 9 {
		return digitStamp(s)
	}
	if c := s[0] | 0x20; c < 'a' || c > 'z' {
		return false
	}
	return wordStamp(s, 2)
}

// digitStamp knows "10:00", "2026-01-02…", "02.01.26", "3. 6. 2024",
// "27.May.2021", "2 January 2026", "2 de enero de 2026".
func digitStamp(s string) bool {
	n := LeadingDigits(s)
	if n > 4 || n == len(s) {
		return isCompactStamp(s)
	}
	if c := s[n] | 0x20; n <= 2 && c >= 'a' && c <= 'z' {
		return dateTail(s[n:], 0, false) // 03Nov25
	}
	rest := s[n+1:]
	switch s[n] {
	case ':':
		return n <= 2 && LeadingDigits(rest) == 2
	case "年"[0], "년"[0]:
		return n == 4 && (strings.HasPrefix(s[n:], "年") || strings.HasPrefix(s[n:], "년"))
	case '-', '/', '.', ' ':
		return dateTail(strings.TrimLeft(rest, " "), s[n], n == 4)
	}
	return false
}

// dateTail reads what follows a date's first number: a second number or a
// month's name, then a third number.
func dateTail(rest string, sep byte, yearFirst bool) bool {
	k := LeadingDigits(rest)
	if k == 0 {
		rest = skipOf(rest)
		k = letters(rest)
		if !isMonth(rest[:k]) {
			return false
		}
		rest = skipOf(strings.TrimLeft(rest[k:], ".-/, "))
		return LeadingDigits(rest) >= 2 || yearFirst && LeadingDigits(rest) == 1
	}
	if sep == ' ' || k > 2 || k >= len(rest) || strings.IndexByte("-/.", rest[k]) < 0 {
		return false
	}
	rest = strings.TrimPrefix(rest[k+1:], " ") // 3. 6. 2024
	m := LeadingDigits(rest)
	if m == 0 || m > 4 || m == 3 {
		return false
	}
	end := rest[m:]
	if sep == '.' {
		end = strings.TrimPrefix(end, ".") // 2026. 01. 05. 9:30
	}
	return end == "" || strings.IndexByte(" Tt,_-", end[0]) >= 0 || len(end) == 1
}

// ofWords stand before month and year in dates written out, in Spanish,
// Portuguese, Catalan, Swedish, English and Lithuanian (common practice, no
// source).
var ofWords = [...]string{"de ", "do ", "del ", "d'", "av ", "of ", "m. "}

// skipOf takes such a word off.
func skipOf(s string) string {
	for _, w := range ofWords {
		if rest, ok := strings.CutPrefix(s, w); ok {
			return rest
		}
	}
	return s
}

// wordStamp knows "Fri May 26 2023 20:10:17" and "May 26, 2023"; at most
// depth words lead it.
func wordStamp(s string, depth int) bool {
	k := letters(s)
	word := s[:k]
	rest := strings.TrimLeft(s[k:], "., ")
	if rest == "" {
		return false
	}
	if isMonth(word) {
		n := LeadingDigits(rest)
		return n >= 1 && n <= 4 && LeadingDigits(strings.TrimLeft(rest[n:], "., thndrs")) >= 2
	}
	if depth == 0 || !isWeekday(word) {
		return false
	}
	if rest[0]-'0' <= 9 {
		return digitStamp(rest)
	}
	return wordStamp(rest, depth-1)
}

func letters(s string) int {
	n := 0
	for n < len(s) && (s[n]|0x20 >= 'a' && s[n]|0x20 <= 'z' || s[n] >= 0x80) {
		n++
	}
	return n
}

// weekdays by their first letters in English, German, French, Dutch, Spanish and
// Italian (common practice, no source).
var weekdays = wordSet(`mon tue wed thu fri sat sun mo di mi do fr sa so lun mar mer jeu ven sam dim ma wo vr za zo mié
 jue vie sáb dom gio sab`)

func isMonth(word string) bool {
	m, _ := Month(word)
	return m > 0
}

// IsMonth tells whether a word begins like a month's name.
func IsMonth(word string) bool { return isMonth(strings.TrimRight(word, ".,")) && letters(word) >= 3 }

func isWeekday(word string) bool {
	r := []rune(strings.ToLower(word))
	if len(r) > 11 {
		return false
	}
	return string(r) == "den" || weekdays[string(r)] || len(r) >= 3 && weekdays[string(r[:3])]
}

// isCompactStamp knows 20260102, 2026010215, 202601021530, 20260102T153000Z.
func isCompactStamp(s string) bool {
	n := LeadingDigits(s)
	if n < 8 || s[:2] != "19" && s[:2] != "20" {
		return false
	}
	month, day := s[4:6], s[6:8]
	if month < "01" || month > "12" || day < "01" || day > "31" {
		return false
	}
	if n == len(s) {
		return n == 8 || n == 12 || n == 14 || n == 10 && s[8:] <= "24"
	}
	return n == 8 && strings.IndexByte("T _-", s[8]) >= 0 && LeadingDigits(s[9:]) >= 2
}
