package table

import (
	"strings"
	"unicode/utf8"

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

// unused are the plain letters that the words of a language with letters of its
// own hardly hold, by the first of its letters (from memory): a word that has
// one is of another language.
var unused = map[string]string{
	"àâæç": "kw", "áéíñ": "kw", "àèéì": "kwyxj", "áâãà": "kwy", "æøåé": "cqwz", "àçèé": "kw", "áðéí": "cqwz", "áäâç": "qxy",
}

// allows holds a language against what its words never have: letters of other
// languages, and in Portuguese õ before another letter than e.
func (l *language) allows(words []string) bool {
	letters := unused[string([]rune(l.letters)[:min(4, utf8.RuneCountInString(l.letters))])]
	for _, w := range words {
		if letters != "" && strings.ContainsAny(strings.ToLower(w), letters) {
			return false
		}
		if strings.HasPrefix(l.letters, "áâãà") {
			for i := range len(w) {
				if w[i]|0x20 == 0xf5 && (i+1 == len(w) || w[i+1]|0x20 != 'e') {
					return false
				}
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
			if c < 0x80 || isSign(c) && (k == 0 || k+1 == len(word) || len(word) < 4) && !isAfterLetter(word, k) {
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

// isAfterLetter tells a sign of money, ¿ or ¯ at the end of a word: no language
// of Windows-1252 writes them there, and Windows-1250 has Ł, Ľ, Ż and ż in their
// places.
func isAfterLetter(word []byte, k int) bool {
	return k > 0 && k+1 == len(word) && word[k-1]|0x20 >= 'a' && word[k-1]|0x20 <= 'z' && (word[k] == 0xa3 || word[k] == 0xa5 || word[k] == 0xaf || word[k] == 0xbf)
}

func isSign(c byte) bool { return c >= 0xa1 && c <= 0xbf }

// Western tells whether the letters of a text read as Windows-1252 are those
// of a language that is written with it.
func Western(text string) bool {
	b, err := charmap.Windows1252.NewEncoder().String(text)
	return err == nil && letterPage([]byte(b)) == "windows-1252"
}
