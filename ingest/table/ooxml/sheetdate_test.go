package ooxml

import (
	"fmt"
	"testing"
	"time"
)

func TestSheetDates(t *testing.T) {
	for _, c := range []struct {
		raw, format string
		date1904    bool
		want        string
	}{
		{"46027", "yyyy-mm-dd", false, "2026-01-05T00:00:00.000"},
		{"44565", "yyyy-mm-dd", true, "2026-01-05T00:00:00.000"}, // 1904 serials are 1462 days less
		{"46027.4166666667", "d/m/yy h:mm", false, "2026-01-05T10:00:00.000"},
		{"46027.0034722222", "m/d/yy h:mm", false, "2026-01-05T00:05:00.000"},
		{"46027.00347", "m/d/yy h:mm", false, "2026-01-05T00:05:00.000"}, // five decimals: to the second
		{"46027.416669560187", `dd\.mm\.yyyy hh:mm:ss.000`, false, "2026-01-05T10:00:00.250"},
		{"46027.99999999999", "yyyy-mm-dd hh:mm", false, "2026-01-06T00:00:00.000"},
		{"61", "yyyy-mm-dd", false, "1900-03-01T00:00:00.000"}, {"59", "yyyy-mm-dd", false, "1900-02-28T00:00:00.000"},
		{"0.25", "h:mm AM/PM", false, "06:00:00"}, {"0.25", "yyyy-mm-dd h:mm", false, "06:00:00"}, {"0", "hh:mm", false, "00:00:00"},
		{"1.5", "[h]:mm:ss", false, "36:00:00"}, {"46027.25", "hh:mm", false, "2026-01-05T06:00:00.000"},
		{"46027.5", "0.00", false, "46027.5"}, {"46027.5", "General", false, "46027.5"}, {"12.5", `0.0" mmd"`, false, "12.5"},
		{"12.5", "[Red]0.0;[Blue]-0.0", false, "12.5"}, {"46027", `[$-409]mmmm d, yyyy;@`, false, "2026-01-05T00:00:00.000"},
		{"-1", "yyyy-mm-dd", false, "-1"}, {"9999999", "yyyy-mm-dd", false, "9999999"}, {"46027", `[$-F800]dddd\,\ mmmm\ dd\,\ yyyy`, false, "2026-01-05T00:00:00.000"},
	} {
		got := c.raw
		if form := formatForm(c.format); form != PlainForm {
			got = string((&Serials{Date1904: c.date1904}).Append(nil, []byte(c.raw), form))
		}
		if got != c.want {
			t.Errorf("%s as %q: want %s, got %s", c.raw, c.format, c.want, got)
		}
	}
}

// Every minute of a year comes back as itself from 15 significant digits,
// which is what spreadsheets store.
func TestSheetDatesEveryMinute(t *testing.T) {
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	serials := &Serials{}
	for i := range 365 * 24 * 60 {
		raw := fmt.Sprintf("%.15g", 46023+float64(i)/1440)
		want := start.Add(time.Duration(i) * time.Minute).Format("2006-01-02T15:04:05.000")
		if got := string(serials.Append(nil, []byte(raw), DateTime)); got != want {
			t.Fatalf("%s: want %s, got %s", raw, want, got)
		}
	}
}

// What a number format adds to its number: the unit behind the digits, and the
// factor of a percentage (0.57 is kept where 57 % is typed; ECMA-376 part 1,
// 18.8.30 and 18.8.31, from memory).
func TestFormatsThatSayMore(t *testing.T) {
	for format, want := range map[string]Style{
		`0.0" °C"`: {PlainForm, "°C"}, `0.0\ "°C"`: {PlainForm, "°C"}, `#,##0.0 [$kWh]`: {PlainForm, "kWh"}, `0.0" °C";-0.0" °C"`: {PlainForm, "°C"}, `0.00" l/min"_-`: {PlainForm, "l/min"},
		`0%`: {Percent, "%"}, `0.0\ %`: {Percent, "%"}, `0.0"%"`: {PlainForm, "%"}, `0.0" mmd"`: {PlainForm, ""}, `General`: {PlainForm, ""}, `0.0E+00`: {PlainForm, ""},
		`dd/mm/yyyy hh:mm`: {DateTime, ""}, `#,##0.00 [$€-407]`: {PlainForm, ""},
	} {
		if got := (Style{formatForm(format), formatUnit(format)}); got != want {
			t.Errorf("%q: want %v, got %v", format, want, got)
		}
	}
	for raw, want := range map[string]string{"0.57": "57 %", "0.29": "29 %", "1": "100 %", "-0.005": "-0.5 %", "0": "0 %", "x": "x"} {
		if got := string(AppendPercent(nil, []byte(raw))); got != want {
			t.Errorf("%s: want %s, got %s", raw, want, got)
		}
	}
}
