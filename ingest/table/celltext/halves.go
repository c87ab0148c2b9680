package celltext

import "strings"

// The marks of the two halves of the day by which a clock of twelve hours is
// read, without points and blanks, in lower case (source: Unicode CLDR, day
// periods am and pm, from memory). The day's other parts, such as evening, are
// not read: with some, 12 is midnight.
const (
	firstHalf = `am a vorm dop de fm fh vm priekšp priekšpusdienā priešpiet ap pd yb rn pg πμ öö дп прпл претпл проб преподне prepodne
 дополудня пополуночи կա ص قظ לפנהצ לפנה״צ 上午 午前 오전 पूर्वाह्न முற்பகல் ก่อนเที่ยง`
	secondHalf = `pm p nachm odp pop du em eh nm pēcp pēcpusdienā popiet ip md yh in ptg μμ ös пп попл слоб поподне popodne
 пополудни послеполудня կհ م بظ אחהצ אחה״צ 下午 午後 오후 अपराह्न பிற்பகல் หลังเที่ยง`
)

// halves gives 'a' or 'p' by mark.
var halves = func() map[string]byte {
	out := map[string]byte{"SA": 'a', "CH": 'p'} // Vietnamese, in capitals: Sa is a Saturday
	for _, w := range strings.Fields(firstHalf) {
		out[w] = 'a'
	}
	for _, w := range strings.Fields(secondHalf) {
		out[w] = 'p'
	}
	return out
}()

// leading are the marks that may stand before the time of day.
var leading = wordSet("am pm de du 上午 下午 午前 午後 오전 오후 முற்பகல் பிற்பகல்")

// Half reads a mark of morning or afternoon at the start of a text: half is 'a'
// or 'p', n its length in bytes with the points in it ("p. m."), 0 = none.
// leads: it may stand before the time of day.
func Half(text string) (half byte, n int, leads bool) {
	var key string
	for i, words := 0, 0; words < 3; words++ {
		k := letters(text[i:])
		if k == 0 || len(key)+k > 64 {
			break
		}
		word := text[i : i+k]
		i += k
		if h, ok := halves[key+word]; ok && key == "" {
			half, n, leads = h, i, false
		}
		key += strings.ToLower(word)
		if h, ok := halves[key]; ok {
			half, n, leads = h, i, leading[key]
		}
		if i < len(text) && text[i] == '.' {
			if i++; n == i-1 {
				n = i
			}
		}
		for i < len(text) && text[i] == ' ' {
			i++
		}
	}
	return half, n, leads
}
