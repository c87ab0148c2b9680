package display

import (
	"math"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestNumber(t *testing.T) {
	point, comma := Choice{Temp: "C", Volume: "L"}, Choice{Comma: true, Temp: "F", Volume: "gal_us"}
	assert.Equal(t, "1\u202f234\u202f567.9", point.Number(1234567.89, 1))
	assert.Equal(t, "−3,25", comma.Number(-3.25, 2))
	assert.Equal(t, "0", point.Number(-0.2, 0), "no minus before nothing")
	assert.Equal(t, "", point.Number(math.NaN(), 1))
	assert.Equal(t, "0,326 ± 0,030", comma.Shown("0.326 ± 0.030"))
	assert.Equal(t, "3 530 ± 110 kWh.", comma.Shown("3 530 ± 110 kWh."))
	// 0 and 100 °C are 32 and 212 °F by definition; a US gallon 3.785411784 L (NIST Handbook 44).
	assert.Equal(t, "212,0\u00a0°F", comma.TempText(100, 1))
	assert.Equal(t, 32.0, comma.TempValue(0))
	assert.Equal(t, "1,00\u00a0gal", comma.VolumeText(3.785411784, 2))
}

func TestChoiceSurvivesTheCookie(t *testing.T) {
	for _, c := range []Choice{{Lang: "de", Comma: true, Temp: "F", Volume: "gal_imp"}, {Lang: "en", Temp: "C", Volume: "L"}} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.AddCookie(c.Cookie())
		assert.Equal(t, c, FromRequest(r))
	}
}

func TestUnknownBecomesDefault(t *testing.T) {
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	r.Header.Set("Accept-Language", "xx, de-AT;q=0.8, en")
	assert.Equal(t, Choice{Lang: "de", Comma: true, Temp: "C", Volume: "L"}, FromRequest(r))
	r.AddCookie(&http.Cookie{Name: CookieName, Value: "lang=%3Cscript%3E&temp=K&volume=m3"})
	assert.Equal(t, Choice{Lang: "en", Temp: "C", Volume: "L"}, FromRequest(r))
}
