package ooxml

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// DateForm is how a number format shows its number.
type DateForm uint8

// How a number is shown.
const (
	PlainForm DateForm = iota
	DateTime           // a date, with or without a time of day
	Clock              // a time of day alone
	Elapsed            // [h]:mm: hours that go on past 24
)

// Styles tells which cell styles are dates.
type Styles struct {
	book  *excelize.File
	known map[uint16]DateForm
}

// NewStyles asks the styles of an open workbook.
func NewStyles(book *excelize.File) *Styles {
	return &Styles{book: book, known: map[uint16]DateForm{}}
}

// Of gives the form of a style by its number.
func (f *Styles) Of(style uint16) DateForm {
	if form, ok := f.known[style]; ok {
		return form
	}
	form := PlainForm
	if st, err := f.book.GetStyle(int(style)); err == nil {
		form = builtInForm(st.NumFmt)
		if st.CustomNumFmt != nil {
			form = formatForm(*st.CustomNumFmt)
		}
	}
	f.known[style] = form
	return form
}

// builtInForm knows the number formats that files name by number alone
// (ECMA-376 part 1, 18.8.30, with its East Asian ranges; from memory).
func builtInForm(id int) DateForm {
	switch {
	case id >= 14 && id <= 17, id == 22, id >= 27 && id <= 31, id == 36, id >= 50 && id <= 54, id == 57, id == 58:
		return DateTime
	case id >= 18 && id <= 21, id >= 32 && id <= 35, id == 45, id == 47, id == 55, id == 56:
		return Clock
	case id == 46:
		return Elapsed
	}
	return PlainForm
}

var (
	formatNoise = regexp.MustCompile(`"[^"]*"|\\.|_.|\*.|\[\$[^\]]*\]|\[[^\]hmsHMS][^\]]*\]|\[[^\]]{3,}\]`)
	subSeconds  = regexp.MustCompile(`[sS]\.0+`)
)

// formatForm reads a number format's own code.
func formatForm(code string) DateForm {
	code, _, _ = strings.Cut(code, ";")
	code = strings.ToLower(subSeconds.ReplaceAllString(formatNoise.ReplaceAllString(code, ""), "s"))
	code = strings.NewReplacer("am/pm", "", "a/p", "", "general", "").Replace(code)
	switch {
	case strings.ContainsAny(code, "0#?"):
		return PlainForm
	case strings.Contains(code, "[h") || strings.Contains(code, "[m") || strings.Contains(code, "[s"):
		return Elapsed
	case strings.ContainsAny(code, "yd"):
		return DateTime
	case strings.ContainsAny(code, "hs"):
		return Clock
	case strings.Contains(code, "m"):
		return DateTime
	}
	return PlainForm
}

const (
	dayMs       = 86_400_000
	maxSerial   = 2_958_466  // 10000-01-01
	oldestDates = 20 * 366.0 // an elapsed time this long is a date
)

// SerialText turns a date-styled number into a wall-clock text, rounded to
// the millisecond: to the second where the file has no more than five
// decimals of a day (0.86 s), which cannot say more.
func SerialText(raw string, form DateForm, date1904 bool) (string, bool) {
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil || v < 0 || v >= maxSerial {
		return raw, false
	}
	day := math.Floor(v)
	ms := int64(math.Round((v - day) * dayMs))
	if places := len(raw) - 1 - strings.IndexByte(raw, '.'); places <= 5 && places < len(raw) && !strings.ContainsAny(raw, "eE") {
		ms = (ms + 500) / 1000 * 1000
	}
	switch {
	case day == 0 || form == Elapsed && v < oldestDates:
		return clockText(int64(day)*dayMs + ms), true
	case !date1904 && day < 60: // the format counts a 29 February 1900 that never was
		day++
	}
	epoch := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	if date1904 {
		epoch = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	at := epoch.AddDate(0, 0, int(day)).Add(time.Duration(ms) * time.Millisecond)
	return at.Format("2006-01-02T15:04:05.000"), true
}

// clockText writes "15:04:05", with milliseconds where there are some.
func clockText(ms int64) string {
	b := make([]byte, 0, 12)
	pair := func(n int64) {
		if n < 10 {
			b = append(b, '0')
		}
		b = strconv.AppendInt(b, n, 10)
	}
	pair(ms / 3_600_000)
	b = append(b, ':')
	pair(ms / 60_000 % 60)
	b = append(b, ':')
	pair(ms / 1000 % 60)
	if rest := ms % 1000; rest > 0 {
		b = append(b, '.', byte('0'+rest/100), byte('0'+rest/10%10), byte('0'+rest%10))
	}
	return string(b)
}
