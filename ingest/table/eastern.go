package table

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Code pages of two bytes a character have no mark of their own. They are told
// by three things together: every pair is one of the code page, nearly all are
// among its common characters, and these stand beside each other, as the
// letters of a word do. An accented letter of a Western code page may make a
// valid pair with the letter behind it, but then stands alone among plain ones.

// pairs is a code page of two bytes a character and its common pairs: lead
// bytes of signs, syllables and the characters of the first level.
type pairs struct {
	key    string
	common func(lead, trail byte) bool
	single func(b byte) bool // high bytes that are characters of their own
}

func within(b, low, high byte) bool { return b >= low && b <= high }

// easternPages in the order in which equals are preferred: Korean syllables all
// lie in rows that a Chinese name leaves after a few characters.
var easternPages = [...]pairs{
	{"shift-jis", func(l, t byte) bool { return within(l, 0x81, 0x83) || within(l, 0x88, 0x97) }, func(b byte) bool { return within(b, 0xa1, 0xdf) }},
	{"euc-kr", func(l, t byte) bool { return within(t, 0xa1, 0xfe) && (within(l, 0xa1, 0xa3) || within(l, 0xb0, 0xc8)) }, nil},
	{"gbk", func(l, t byte) bool { return within(t, 0xa1, 0xfe) && (within(l, 0xa1, 0xa3) || within(l, 0xb0, 0xd7)) }, nil},
	{"euc-jp", func(l, t byte) bool { return within(t, 0xa1, 0xfe) && (within(l, 0xa1, 0xa5) || within(l, 0xb0, 0xcf)) }, nil},
	{"big5", func(l, t byte) bool { return within(l, 0xa1, 0xc6) && (within(t, 0x40, 0x7e) || within(t, 0xa1, 0xfe)) }, nil},
}

// degreePairs are "℃" in each: it settles which of several it is.
var degreePairs = map[string]string{"shift-jis": "\x81\x8e", "euc-kr": "\xa1\xc9", "gbk": "\xa1\xe6", "euc-jp": "\xa1\xee", "big5": "\xa2\x4a"}

// commonLeast is the share of common pairs among the bytes that are no ASCII.
const commonLeast = 0.8

// sniffEastern names the code page of two bytes a character, "" = none.
func sniffEastern(b []byte) string {
	head := b[:min(len(b), 64<<10)]
	if i := bytes.LastIndexByte(head, '\n'); i > 0 && len(head) < len(b) {
		head = head[:i+1]
	}
	best, bestShare := "", 0.0
	for _, p := range easternPages {
		share := p.share(head)
		if share < commonLeast {
			continue
		}
		text, err := charsets[p.key].NewDecoder().Bytes(head)
		if err != nil || !wordsOfWide(string(text)) {
			continue
		}
		if strings.Contains(string(text), "℃") && strings.Contains(string(head), degreePairs[p.key]) {
			share++
		}
		if p.key == "euc-jp" && strings.ContainsFunc(string(text), func(r rune) bool { return unicode.In(r, unicode.Hiragana, unicode.Katakana) }) {
			share += 0.5
		}
		if share > bestShare {
			best, bestShare = p.key, share
		}
	}
	return best
}

// share is that of common pairs among all bytes that are no ASCII, trail bytes
// among them; 0 where a lead byte ends a line.
func (p *pairs) share(b []byte) float64 {
	common, all := 0, 0
	for i := 0; i < len(b); i++ {
		switch {
		case b[i] < utf8.RuneSelf:
		case p.single != nil && p.single(b[i]):
			all++
		case i+1 == len(b) || b[i+1] < 0x40:
			return 0
		default:
			all += 2
			if p.common(b[i], b[i+1]) {
				common += 2
			}
			i++
		}
	}
	return float64(common) / float64(max(1, all))
}

// wordsOfWide tells whether at least two in three of the characters of Eastern
// scripts, two at least, stand beside another one, or behind a number of a date.
func wordsOfWide(text string) bool {
	wide, beside := 0, 0
	last := false
	runes := []rune(text)
	for i, r := range runes {
		if r == utf8.RuneError {
			return false
		}
		is := isWide(r)
		if is {
			wide++
			if last || i+1 < len(runes) && isWide(runes[i+1]) || i > 0 && strings.ContainsRune(dateSigns, r) && runes[i-1]-'0' <= 9 && runes[i-1] >= '0' {
				beside++
			}
		}
		last = is
	}
	return beside >= 2 && 3*beside >= 2*wide
}

// dateSigns stand behind the numbers of a date and a time of day.
const dateSigns = "年月日时時分秒년월일시분초"

func isWide(r rune) bool {
	return unicode.In(r, unicode.Han, unicode.Hangul, unicode.Hiragana, unicode.Katakana) || r == 'ー'
}

// isCyrillic tells the code page of Cyrillic: small letters in long words, with
// the commonest vowel among them, where a Western one has a letter here and
// there.
func isCyrillic(b []byte) bool {
	b = b[:min(len(b), 64<<10)]
	high, inWords, run := 0, 0, 0
	for _, c := range b {
		if c >= 0xc0 {
			if run++; run == 4 {
				inWords += 4
			} else if run > 4 {
				inWords++
			}
		} else {
			run = 0
		}
		if c >= utf8.RuneSelf {
			high++
		}
	}
	return inWords > 0 && 10*inWords >= 7*high && bytes.IndexByte(b, 0xe0) >= 0
}
