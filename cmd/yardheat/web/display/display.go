// Package display shows numbers as one reader wants them: language, decimal
// mark, units of temperature and volume. It converts on the way to the screen
// only; files and figures keep their base units (°C, L, kWh).
package display

import (
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/texts"
)

// CookieName holds a browser's choice.
const CookieName = "yardheat-display"

// Choice is how one browser shows things.
type Choice struct {
	Lang   string // one of texts.Languages
	Comma  bool   // decimals with a comma
	Temp   string // "C" or "F"
	Volume string // "L", "gal_us" or "gal_imp"
}

// Litres in a gallon. US: 231 cubic inches exactly (NIST Handbook 44, appendix C);
// imperial: 4.54609 L exactly (UK Weights and Measures Act 1985, schedule 1).
const (
	litresPerGalUS  = 3.785411784
	litresPerGalImp = 4.54609
)

// FromRequest is the choice in the browser's cookie, or what its language header
// asks for. What is not known is left at its default.
func FromRequest(r *http.Request) Choice {
	c := Choice{Lang: accepted(r.Header.Get("Accept-Language")), Temp: "C", Volume: "L"}
	c.Comma = language(c.Lang).Comma
	cookie, err := r.Cookie(CookieName)
	if err != nil {
		return c
	}
	v, err := url.ParseQuery(cookie.Value)
	if err != nil {
		return c
	}
	return FromForm(v)
}

// FromForm is the choice as the form sends it; unknown words become defaults.
func FromForm(v url.Values) Choice {
	c := Choice{Lang: language(v.Get("lang")).Code, Temp: "C", Volume: "L"}
	c.Comma = v.Get("decimal") == "comma"
	if v.Get("temp") == "F" {
		c.Temp = "F"
	}
	if u := v.Get("volume"); u == "gal_us" || u == "gal_imp" {
		c.Volume = u
	}
	return c
}

// Cookie holds the choice for a year.
func (c Choice) Cookie() *http.Cookie {
	v := url.Values{"lang": {c.Lang}, "temp": {c.Temp}, "volume": {c.Volume}, "decimal": {"point"}}
	if c.Comma {
		v.Set("decimal", "comma")
	}
	return &http.Cookie{Name: CookieName, Value: v.Encode(), Path: "/", MaxAge: 365 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteStrictMode}
}

func language(code string) texts.Language {
	for _, l := range texts.Languages() {
		if l.Code == code {
			return l
		}
	}
	return texts.Languages()[0]
}

// accepted is the first language of an Accept-Language header that there is. Its
// weights are not read: browsers list them in order.
func accepted(header string) string {
	for part := range strings.SplitSeq(header, ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		base, _, _ := strings.Cut(strings.ToLower(tag), "-")
		if l := language(base); l.Code == base {
			return base
		}
	}
	return texts.Languages()[0].Code
}

// Number is x with so many decimals, thin spaces between thousands and a true
// minus sign; "" where x is not known.
func (c Choice) Number(x float64, decimals int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	s := strconv.FormatFloat(math.Abs(x), 'f', decimals, 64)
	whole, frac, has := strings.Cut(s, ".")
	var b strings.Builder
	if x < 0 && strings.Trim(s, "0.") != "" {
		b.WriteString("−")
	}
	for i, digit := range whole {
		if left := len(whole) - i; i > 0 && left%3 == 0 && len(whole) > 3 {
			b.WriteRune('\u202f')
		}
		b.WriteRune(digit)
	}
	if has {
		b.WriteString(c.mark())
		b.WriteString(frac)
	}
	return b.String()
}

func (c Choice) mark() string {
	if c.Comma {
		return ","
	}
	return "."
}

// Shown puts a figure's printed string ("3 530 ± 110 kWh") into the reader's
// decimal mark: every point between two digits.
func (c Choice) Shown(s string) string {
	if !c.Comma {
		return s
	}
	b := []byte(s)
	for i := 1; i+1 < len(b); i++ {
		if b[i] == '.' && digit(b[i-1]) && digit(b[i+1]) {
			b[i] = ','
		}
	}
	return string(b)
}

func digit(b byte) bool { return b >= '0' && b <= '9' }

// TempValue converts °C to the reader's unit; DegreesValue a difference in K.
func (c Choice) TempValue(tempC float64) float64 {
	if c.Temp == "F" {
		return tempC*9/5 + 32
	}
	return tempC
}

// DegreesValue converts a difference of temperatures in K.
func (c Choice) DegreesValue(diffK float64) float64 {
	if c.Temp == "F" {
		return diffK * 9 / 5
	}
	return diffK
}

// TempUnit is the reader's unit of temperature.
func (c Choice) TempUnit() string { return "°" + c.Temp }

// TempText is a temperature with its unit, "" where it is not known.
func (c Choice) TempText(tempC float64, decimals int) string {
	return c.with(c.Number(c.TempValue(tempC), decimals), c.TempUnit())
}

// VolumeValue converts litres to the reader's unit.
func (c Choice) VolumeValue(litres float64) float64 {
	switch c.Volume {
	case "gal_us":
		return litres / litresPerGalUS
	case "gal_imp":
		return litres / litresPerGalImp
	}
	return litres
}

// VolumeUnit is the reader's unit of volume.
func (c Choice) VolumeUnit() string {
	if c.Volume == "L" {
		return "L"
	}
	return "gal"
}

// VolumeText is a volume with its unit, "" where it is not known.
func (c Choice) VolumeText(litres float64, decimals int) string {
	return c.with(c.Number(c.VolumeValue(litres), decimals), c.VolumeUnit())
}

func (c Choice) with(number, unit string) string {
	if number == "" {
		return ""
	}
	return number + "\u00a0" + unit
}

// Day and Moment are a local day and a local time, years first: they read the
// same in every language.
func (c Choice) Day(t time.Time) string { return t.Format(time.DateOnly) }

// Moment is a local time to the minute.
func (c Choice) Moment(t time.Time) string { return t.Format("2006-01-02 15:04") }
