package ooxml

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"yardheat/ingest/table/celltext"
)

// DateForm is how a number format shows its number.
type DateForm uint8

// How a number is shown.
const (
	PlainForm DateForm = iota
	DateTime           // a date, with or without a time of day
	Clock              // a time of day alone
	Elapsed            // [h]:mm: hours that go on past 24
	Percent            // times 100, with a sign: 0.45 is what 45 % is kept as
)

// Style is what a cell's style does to its number: its form, and a unit that
// the form writes behind it ("" = none).
type Style struct {
	Form DateForm
	Unit string
}

// Styles are a workbook's cell styles, by number.
type Styles []Style

// Of gives a style; false where there is no such style. A workbook without any
// knows the plain one.
func (s Styles) Of(style int) (Style, bool) {
	if style < len(s) {
		return s[style], true
	}
	return Style{}, style == 0
}

// AppendPercent writes a number kept as a share as the percentage shown, to the
// 15 digits that a sheet keeps. What is no number is written as it stands.
func AppendPercent(dst, raw []byte) []byte {
	v, err := strconv.ParseFloat(string(raw), 64)
	if err != nil {
		return append(dst, raw...)
	}
	return append(strconv.AppendFloat(dst, 100*v, 'g', 15, 64), " %"...)
}

// maxStyles is how many cell styles the format allows.
const maxStyles = 65_490

// ReadStyles reads the part that lists the styles.
func ReadStyles(data []byte) (Styles, error) {
	var part struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmts>numFmt"`
		Cells []struct {
			Format int `xml:"numFmtId,attr"`
		} `xml:"cellXfs>xf"`
	}
	if err := xml.Unmarshal(data, &part); err != nil {
		return nil, fmt.Errorf("styles: %w", err)
	}
	if len(part.Cells) > maxStyles {
		return nil, fmt.Errorf("%d styles; at most %d are read", len(part.Cells), maxStyles)
	}
	own := map[int]Style{}
	for _, f := range part.Formats {
		own[f.ID] = Style{formatForm(f.Code), formatUnit(f.Code)}
	}
	styles := make(Styles, len(part.Cells))
	for i, c := range part.Cells {
		style, ok := own[c.Format]
		if !ok {
			style.Form = builtInForm(c.Format)
		}
		styles[i] = style
	}
	return styles, nil
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
	case id == 9, id == 10:
		return Percent
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
		if strings.Contains(code, "%") {
			return Percent
		}
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

var formatMarks = regexp.MustCompile(`\[\$([^\]-]*)[^\]]*\]|_.|\*.|["\\]`)

// formatUnit is the unit that a number format writes behind its digits: of
// 0.0" °C" it is °C.
func formatUnit(code string) string {
	code, _, _ = strings.Cut(code, ";")
	digits := strings.LastIndexAny(code, "0#?")
	if digits < 0 {
		return ""
	}
	unit := strings.TrimSpace(formatMarks.ReplaceAllString(code[digits+1:], "$1"))
	if !celltext.IsUnit(unit) {
		return ""
	}
	return unit
}

const (
	dayMs       = 86_400_000
	maxSerial   = 2_958_466  // 10000-01-01
	oldestDates = 20 * 366.0 // an elapsed time this long is a date
)

// Serials turns date-styled numbers of one workbook into wall-clock text. It
// remembers the last day, as rows of a log mostly share it with the row before.
type Serials struct {
	Date1904 bool
	day      int
	dayText  []byte
}

// Append writes a date-styled number as text, rounded to the millisecond: to
// the second where the file has no more than five decimals of a day (0.86 s),
// which cannot say more. What is no date is written as it stands.
func (s *Serials) Append(dst, raw []byte, form DateForm) []byte {
	v, err := strconv.ParseFloat(string(raw), 64)
	if err != nil || !(v >= 0 && v < maxSerial) {
		return append(dst, raw...)
	}
	day := int(v)
	ms := int64(math.Round((v - float64(day)) * dayMs))
	if places := len(raw) - 1 - bytes.IndexByte(raw, '.'); places <= 5 && places < len(raw) && !bytes.ContainsAny(raw, "eE") {
		ms = (ms + 500) / 1000 * 1000
	}
	switch {
	case day == 0 || form == Elapsed && v < oldestDates:
		return appendClock(dst, int64(day)*dayMs+ms)
	case !s.Date1904 && day < 60: // the format counts a 29 February 1900 that never was
		day++
	}
	if ms >= dayMs {
		day, ms = day+1, ms-dayMs
	}
	if day != s.day || len(s.dayText) == 0 {
		epoch := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
		if s.Date1904 {
			epoch = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
		}
		s.day, s.dayText = day, epoch.AddDate(0, 0, day).AppendFormat(s.dayText[:0], "2006-01-02T")
	}
	dst = append(dst, s.dayText...)
	if ms%1000 == 0 {
		return append(appendClock(dst, ms), ".000"...)
	}
	return appendClock(dst, ms)
}

// appendClock writes "15:04:05", with milliseconds where there are some.
func appendClock(b []byte, ms int64) []byte {
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
	return b
}
