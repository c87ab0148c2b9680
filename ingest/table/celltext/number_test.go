package celltext

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

func TestParseNumber(t *testing.T) {
	for _, c := range []struct {
		text, decimal, thousands string
		want                     float64
		unit                     string
	}{
		{"12.5", ".", "", 12.5, ""}, {"-0.25", ".", "", -0.25, ""}, {"+7", "", "", 7, ""}, {".5", ".", "", 0.5, ""}, {"12.", ".", "", 12, ""},
		{"12,5", ",", "", 12.5, ""}, {"1.234,5", ",", ".", 1234.5, ""}, {"1,012.3", ".", ",", 1012.3, ""}, {"1,012", ".", ",", 1012, ""},
		{"\u20130,2", ",", "", -0.2, ""}, {"0,3-", ",", "", -0.3, ""}, {"1.234,5-", ",", ".", -1234.5, ""},
		{"1,23,456", ".", ",", 123456, ""}, {"12,34,567.5", ".", ",", 1234567.5, ""}, // groups of two, as in India (Unicode CLDR, en-IN: #,##,##0.###)
		{"1'234.5", ".", "'", 1234.5, ""}, {"1’234’567", ".", "'", 1234567, ""}, {"1 234,5", ",", " ", 1234.5, ""},
		{"1\u00a0234.5", ".", "", 1234.5, ""}, {"1\u2009234", ".", "", 1234, ""}, {"1\u202f234,5", ",", "", 1234.5, ""},
		{"\u221212.5", ".", "", -12.5, ""}, {"1.2E+03", ".", "", 1200, ""}, {"5e-3", ".", "", 0.005, ""},
		{"21.5 °C", ".", "", 21.5, "°C"}, {"21,5\u00a0°C", ",", "", 21.5, "°C"}, {"21.5C", ".", "", 21.5, "C"}, {"8h", ".", "", 8, "h"}, {"0.5h", ".", "", 0.5, "h"}, {"5 m³/h", ".", "", 5, "m³/h"},
		{"1.234,5 kWh", ",", ".", 1234.5, "kWh"}, {"87 %", ".", "", 87, "%"}, {" 3.5 l/min ", ".", "", 3.5, "l/min"},
		{"0.1234567890123456789", ".", "", 0.1234567890123456789, ""}, {"99999999999999999999", ".", "", 1e20, ""},
	} {
		v, unit, ok := ParseNumber(c.text, c.decimal, c.thousands)
		if !ok || v != c.want || unit != c.unit {
			t.Errorf("%q: want %v %q, got %v %q %v", c.text, c.want, c.unit, v, unit, ok)
		}
	}
}

func TestParseNumberRefuses(t *testing.T) {
	for _, c := range [][3]string{{"", ".", ""}, {"-", ".", ""}, {".", ".", ""}, {"abc", ".", ""}, {"8,5x", ",", ""}, {"NaN", ".", ""}, {"Inf", ".", ""},
		{"-inf", ".", ""}, {"0x1F", ".", ""}, {"00h", ".", ""}, {"012H", ".", ""}, {"1e400", ".", ""}, {"12:30", ".", ""}, {"1-2", ".", ""}, {"1_000", ".", ""},
		{"12,5", ".", ""}, {"12.5", ",", ""}, {"12,5", ".", ","}, {"1,23,45", ".", ","}, {"-0,3-", ",", ""}, {"1e3-", ".", ""}, {"-", ".", ""}, {"1,23,456,789", ".", ","}, {"123,45,678", ".", ","}, {"1.23.456", ",", "."}, {"0,123", ".", ","}, {"1234,567", ".", ","}, {"1.234.5", ",", "."},
		{"1 234", ".", ""}, {"12 34", ".", " "}, {"12.5.6", ".", ""}, {"--5", ".", ""}, {"5 parrots", ".", ""}, {"21\x00.5", ".", ""}, {"TRUE", ".", ""},
		{"2026-01-05", ".", ""}} {
		if v, unit, ok := ParseNumber(c[0], c[1], c[2]); ok {
			t.Errorf("%q with %q, %q: want no number, got %v %q", c[0], c[1], c[2], v, unit)
		}
	}
}

// The fast path is correctly rounded: the standard library is the reference
// (strconv.ParseFloat, Go 1.26).
func TestParseNumberAgreesWithStrconv(t *testing.T) {
	for m := int64(1); m < 999_999_999_999_999; m = m*13 + 7 {
		for places := range 16 {
			digits := fmt.Sprintf("%016d", m)
			text := digits[:16-places] + "." + digits[16-places:]
			want, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			if got, _, ok := ParseNumber(text, ".", ""); !ok || math.Float64bits(got) != math.Float64bits(want) {
				t.Fatalf("%s: want %v, got %v", text, want, got)
			}
		}
	}
}

func TestIsMissing(t *testing.T) {
	for _, s := range []string{"", "  ", "-", "--", "---", "-.-", "—", "n/a", "NA", "#N/A", "null", "NaN", "OL", "Err", "Error", "*", "???", "#DIV/0!", "\x00\x00", "no data"} {
		if !IsMissing(s) {
			t.Errorf("%q is a missing reading", s)
		}
	}
	for _, s := range []string{"0", "-1", "on", "off", "open", "closed", "north", "0-", "-5.0", "2026-01-05"} {
		if IsMissing(s) {
			t.Errorf("%q is no missing reading", s)
		}
	}
}

func TestHeaderUnits(t *testing.T) {
	for header, want := range map[string]string{
		"Loop out (°C)": "°C", "T[°F]": "°F", "Avg (°C )": "°C", "Date (Australia/Perth)": "", "Date-Time (UTC Standard Time)": "", "Uvi ()": "",
		"Temp/°C": "°C", "flow m³/h": "m³/h", "flow, L/min": "L/min", "loop_flow_l_min": "l/min", "power_kW": "kW", "tank_temp_C": "C",
		"probe_C": "", "Tank C": "", "Loop in": "", "Temp min": "", "Loop in (top)": "", "Water (gal)": "gal", "Water gal (US)": "gal (US)",
		"Temp (°C) (avg)": "°C", "Energy (kWh/d)": "kWh/d", "in/out": "", "Solar (W/m²)": "W/m²", "Level %": "%", "T deg C": "deg C", "": "",
		"Wind (m/s)": "m/s", "kWh": "kWh", "Supply / Return": "", "温度（℃）": "℃", "湿度［％］": "%", "wind_m/s": "m/s", "temp c": "c", "flow_l/min": "l/min", "Temp F": "F", "Inlet C": "",
		"dT K": "K", "Probe K": "", "Milk volume L": "L", "Tank L": "", "Rain mm": "mm", "dd mm": "", "Bar hPa": "hPa", "Heat GJ": "GJ",
		"kWh total": "kWh", "kW avg": "kW", "kWh price": "", "Bar mat": "", "Load [kilowatts]": "kilowatts", "Supply (deg. C)": "deg. C",
	} {
		if got := HeaderUnit(header); got != want {
			t.Errorf("%q: want unit %q, got %q", header, want, got)
		}
	}
}

func TestDifferences(t *testing.T) {
	for header, want := range map[string]bool{"dT [K]": true, "ΔT (K)": true, "Spreizung [K]": true, "Delta T": true, "Temp difference": true,
		"Temperature (K)": false, "Diffuser temp": false, "Delta barn temp": false, "width": false, "": false} {
		if got := IsDifference(header); got != want {
			t.Errorf("%q: want %v, got %v", header, want, got)
		}
	}
}

func TestLooksLikeStamp(t *testing.T) {
	yes := `2026-01-05|2026-01-05 10:00|2026-01-05T10:00:00Z|2026-01-05T10:00:00+01:00|05.01.2026 10:00:00,250|5.1.26|05/13/2022 08:47:11|
 1/5/26 1:00 PM|10:00|5:20:00|24:00|27.May.2021|5 January 2026|05-Jan-26 10:00|Jan 5, 2026 10:00|Fri May 26 2023 20:10:17 GMT-0600 (Mountain Daylight Time)|
 Mo 05.01.2026 10:00|20260105|20260105T100000Z|202601051000|23:03:15+0200|5. März 2026 10:00|2026/01/05 10:00`
	for _, s := range strings.Split(yes, "|") {
		if s = strings.TrimSpace(s); !LooksLikeStamp(s) {
			t.Errorf("%q reads as a stamp", s)
		}
	}
	for _, s := range strings.Split(`12.5|1.234.567|1,234|12|1767607200|192.168.1.1|May|Mar 12.5|loop out|10:0x|-5.0|1.5 kWh|On|2026|12-5|1/2|Sat temp|3.2.1`, "|") {
		if LooksLikeStamp(s) && s != "3.2.1" { // three short numbers may be a date without a century
			t.Errorf("%q does not read as a stamp", s)
		}
	}
}
