package table

import (
	"strings"

	"golang.org/x/text/encoding/charmap"
)

// language is a language's letters beyond a to z and the code page in which
// loggers of its country write them (Unicode CLDR, main exemplar letters, from
// memory).
type language struct {
	page    string
	letters string
}

// languages in the order in which they are tried: those of Windows-1252 first,
// as most loggers are sold there.
var languages = []language{
	{"windows-1252", "äöüßé"},             // German
	{"windows-1252", "àâæçéèêëîïôœùûüÿ"},  // French
	{"windows-1252", "áéíñóúüªº¿¡"},       // Spanish
	{"windows-1252", "àèéìíîòóùú"},        // Italian
	{"windows-1252", "áâãàçéêíóôõúüªº"},   // Portuguese
	{"windows-1252", "áäâçéèëêïíóöôúü"},   // Dutch
	{"windows-1252", "æøåéòôó"},           // Danish, Norwegian
	{"windows-1252", "åäöéà"},             // Swedish, Finnish
	{"windows-1252", "àçèéíïòóúü·"},       // Catalan
	{"windows-1252", "áðéíóúýþæö"},        // Icelandic
	{"windows-1250", "ąćęłńóśźż"},         // Polish
	{"windows-1250", "áčďéěíňóřšťúůýž"},   // Czech
	{"windows-1250", "áäčďéíĺľňóôŕšťúýž"}, // Slovak
	{"windows-1250", "áéíóöőúüű"},         // Hungarian
	{"windows-1250", "čćđšž"},             // Croatian, Slovene, Bosnian
	{"windows-1250", "ăâîşţ"},             // Romanian
	{"windows-1254", "çğıöşüâîûİ"},        // Turkish
}

var pages = map[string]*charmap.Charmap{"windows-1250": charmap.Windows1250, "windows-1252": charmap.Windows1252, "windows-1254": charmap.Windows1254}

// letterPage is the code page of the first language whose letters hold all those
// of b beyond a to z; "" where none does.
func letterPage(b []byte) string {
	used, words := foreignLetters(b)
	if len(used) == 0 {
		return "windows-1252"
	}
	for _, l := range languages {
		letters := l.letters + strings.ToUpper(l.letters)
		page := pages[l.page]
		fits := true
		for c := range used {
			fits = fits && strings.ContainsRune(letters, page.DecodeByte(c))
		}
		if fits && l.allows(words) {
			return l.page
		}
	}
	return ""
}

// allows holds two languages against what their words never have: Portuguese
// writes õ before e only, Icelandic has no c, q, w or z.
func (l *language) allows(words []string) bool {
	for _, w := range words {
		switch {
		case strings.HasPrefix(l.letters, "áâãà"):
			for i := range len(w) {
				if w[i]|0x20 == 0xf5 && (i+1 == len(w) || w[i+1]|0x20 != 'e') {
					return false
				}
			}
		case strings.HasPrefix(l.letters, "áðéí"):
			if strings.ContainsAny(w, "cqwzCQWZ") {
				return false
			}
		}
	}
	return true
}

// foreignLetters are the bytes beyond ASCII that stand in words, and the words
// that hold one. ², ³, ¹, ° and the like count where letters stand on both
// sides only: "przep³yw" and no "m³/h".
func foreignLetters(b []byte) (used map[byte]bool, words []string) {
	used = map[byte]bool{}
	from := -1
	for i := 0; i <= len(b); i++ {
		if i < len(b) && isWordByte(b[i]) {
			if from < 0 {
				from = i
			}
			continue
		}
		if from < 0 {
			continue
		}
		word, some := b[from:i], false
		from = -1
		for k, c := range word {
			if c < 0x80 || isSign(c) && (k == 0 || k+1 == len(word) || len(word) < 4) {
				continue
			}
			used[c], some = true, true
		}
		if some && len(words) < 64 {
			words = append(words, string(word))
		}
	}
	return used, words
}

func isWordByte(c byte) bool {
	return c|0x20 >= 'a' && c|0x20 <= 'z' || c >= 0xa1 || c >= 0x8a && c <= 0x8f || c >= 0x9a && c <= 0x9f
}

func isSign(c byte) bool { return c >= 0xa1 && c <= 0xbf }

// Western tells whether the letters of a text read as Windows-1252 are those
// of a language that is written with it.
func Western(text string) bool {
	b, err := charmap.Windows1252.NewEncoder().String(text)
	return err == nil && letterPage([]byte(b)) == "windows-1252"
}
