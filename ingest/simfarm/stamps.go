package simfarm

import (
	"math"
	"strconv"
	"time"
)

func formatLocal(unix int64, zone *time.Location, layout string) string {
	return time.Unix(unix, 0).In(zone).Format(layout)
}

// logZone is the zone that a logger's stamps are in.
func (f *Farm) logZone(l *Logger) *time.Location {
	switch {
	case l.Zone == "":
		return f.zone
	case l.Zone[0] == '+' || l.Zone[0] == '-':
		s := int(60 * clockMinute(l.Zone[1:]))
		if l.Zone[0] == '-' {
			s = -s
		}
		return time.FixedZone(l.Zone, s)
	}
	return time.UTC
}

// stamper writes stamps; the date's text is kept from row to row, the zone's
// offset for a quarter of an hour.
type stamper struct {
	style   string
	zone    *time.Location
	quarter int64
	offset  int64
	day     int64
	date    []byte
}

func (s *stamper) append(b []byte, unix int64) []byte {
	if s.style == "epoch" {
		return strconv.AppendInt(b, unix, 10)
	}
	if q := unix / 900; q != s.quarter {
		s.quarter = q
		_, o := time.Unix(unix, 0).In(s.zone).Zone()
		s.offset = int64(o)
	}
	wall := unix + s.offset
	if d := wall / 86400; d != s.day || s.date == nil {
		s.day = d
		layout := "02.01.2006 "
		if s.style == "iso" {
			layout = "2006-01-02 "
		}
		s.date = time.Unix(d*86400, 0).UTC().AppendFormat(s.date[:0], layout)
	}
	b = append(b, s.date...)
	sec := wall % 86400
	b = two(b, sec/3600)
	b = append(b, ':')
	b = two(b, sec/60%60)
	if s.style == "iso" {
		b = append(b, ':')
		b = two(b, sec%60)
	}
	return b
}

func two(b []byte, n int64) []byte { return append(b, byte('0'+n/10), byte('0'+n%10)) }

// powers of ten for appendFixed.
var tens = [...]float64{1, 10, 100, 1000, 10000}

// appendFixed writes x rounded to so many decimals.
func appendFixed(b []byte, x float64, decimals int, mark byte) []byte {
	n := int64(math.Round(x * tens[decimals]))
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	if decimals == 0 {
		return strconv.AppendInt(b, n, 10)
	}
	unit := int64(tens[decimals])
	b = strconv.AppendInt(b, n/unit, 10)
	b = append(b, mark)
	rest := n % unit
	for d := unit / 10; d > 0; d /= 10 {
		b = append(b, byte('0'+rest/d%10))
	}
	return b
}

// excelSerial is the day number that a workbook holds for a wall clock.
func excelSerial(unix int64, zone *time.Location) float64 {
	_, o := time.Unix(unix, 0).In(zone).Zone()
	return float64(unix+int64(o))/86400 + 25569
}
