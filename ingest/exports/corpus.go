package exports

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Corpus is every layout.
func Corpus() []Layout {
	return slices.Concat(separators(), bytesAndLines(), numbers(), headers(), shapes(), stampsOneColumn(), stampsMoreColumns(), odd(), refused())
}

func separators() []Layout {
	comma, dot := ",", "."
	pad := func(text string) string { return strings.ReplaceAll(text, ",", " , ") }
	return []Layout{
		{Name: "comma", Sep: ",", Stamp: iso(), UnitsIn: "("},
		{Name: "semicolon, decimal comma", Sep: ";", Decimal: comma, Stamp: iso(), UnitsIn: "["},
		{Name: "semicolon, decimal point", Sep: ";", Decimal: dot, Stamp: iso(), UnitsIn: "("},
		{Name: "tab", Sep: "\t", Stamp: iso(), UnitsIn: "("},
		{Name: "tab, decimal comma", Sep: "\t", Decimal: comma, Stamp: layoutStamp("Datum|Zeit", "02.01.2006", "15:04:05"), UnitsIn: "("},
		{Name: "bar", Sep: "|", Stamp: iso(), UnitsIn: "("},
		{Name: "bar, decimal comma", Sep: "|", Decimal: comma, Stamp: iso(), UnitsIn: "("},
		{Name: "comma and blanks", Sep: ",", Stamp: iso(), UnitsIn: "(", Spoil: pad},
		{Name: "blanks", Sep: Blanks, Stamp: layoutStamp("Date|Time", "2006-01-02", "15:04:05"), Missing: []string{"NaN"}, Names: []string{"LoopOut", "Bed", "Outdoor", "Flow", "Energy"}},
		{Name: "blanks, stamp in one word", Sep: Blanks, Stamp: layoutStamp("Time", "2006-01-02T15:04:05"), Missing: []string{"---"}, Names: []string{"LoopOut", "Bed", "Outdoor", "Flow", "Energy"}},
		{Name: "blanks, one name over date and time", Sep: Blanks, Stamp: layoutStamp("Timestamp|", "02.01.2006", "15:04"), Missing: []string{"-"}, Decimal: comma, Names: []string{"LoopOut", "Bed", "Outdoor", "Flow", "Energy"}, Spoil: oneBlank},
		{Name: "blanks, no header", Sep: Blanks, Stamp: layoutStamp("Date|Time", "02/01/2006", "15:04:05"), Missing: []string{"NaN"}, NoHeader: true},
		{Name: "fixed width", Sep: Fixed, Stamp: iso(), UnitsIn: "("},
		{Name: "fixed width, missing words, unit row", Sep: Fixed, Stamp: layoutStamp("Date|Time", "02.01.2006", "15:04"), UnitsIn: "row", Missing: []string{"---"}, Decimal: comma},
		{Name: "fixed width, date and time under one name", Sep: Fixed, Stamp: layoutStamp("Date/Time", "02-Jan-2006 15:04"), UnitsIn: "("},
		{Name: "fixed width, no header", Sep: Fixed, Stamp: layoutStamp("Date|Time", "2006-01-02", "15:04"), NoHeader: true, Missing: []string{"---"}},
		{Name: "sep line", Sep: ";", SepLine: true, Decimal: comma, Stamp: iso(), UnitsIn: "("},
		{Name: "sep line, tab", Sep: "\t", SepLine: true, Stamp: iso(), UnitsIn: "("},
		{Name: "trailing separators", Sep: ";", Decimal: comma, Trailing: true, Stamp: iso(), UnitsIn: "("},
		{Name: "trailing commas", Sep: ",", Trailing: true, Stamp: iso(), UnitsIn: "("},
		{Name: "all quoted", Quotes: "all", Stamp: iso(), UnitsIn: "("},
		{Name: "all quoted, decimal commas between commas", Quotes: "all", Decimal: comma, Stamp: iso(), UnitsIn: "("},
		{Name: "only numbers quoted, decimal commas between commas", Decimal: comma, Stamp: iso(), UnitsIn: "("},
		{Name: "text quoted", Quotes: "text", Stamp: iso(), UnitsIn: ", "},
		{Name: "a comma inside quoted names", Quotes: "header", Stamp: iso(), UnitsIn: ", "},
		{Name: "every line quoted as a whole", Stamp: iso(), UnitsIn: "(", Spoil: func(text string) string {
			return `"` + strings.ReplaceAll(strings.TrimSuffix(text, "\n"), "\n", "\"\n\"") + "\"\n"
		}},
		{Name: "stray quotes", Stamp: iso(), UnitsIn: "(", Spoil: strayQuotes, Want: Want{Codes: []string{"stray-quote"}}},
	}
}

// oneBlank drops the empty name that the second column of a stamp has.
func oneBlank(text string) string { return strings.Replace(text, "Timestamp  ", "Timestamp ", 1) }

// strayQuotes opens a quotation mark in two rows and never closes it.
func strayQuotes(text string) string {
	lines := strings.Split(text, "\n")
	for _, i := range [...]int{40, 200} {
		if i < len(lines)-1 {
			lines[i] = `"` + lines[i]
		}
	}
	return strings.Join(lines, "\n")
}

func bytesAndLines() []Layout {
	nuls := func(text string) string {
		if k := strings.Index(text, "\n") + 1; len(text) > k {
			return text[:k] + strings.Repeat("\x00", 300) + "\n" + text[k:]
		}
		return text
	}
	return []Layout{
		{Name: "UTF-8 with mark", BOM: true, Stamp: iso(), UnitsIn: "("},
		{Name: "UTF-8 with mark, quoted header", BOM: true, Quotes: "header", Stamp: iso(), UnitsIn: "("},
		{Name: "UTF-16LE with mark", Encoding: "UTF-16LE", BOM: true, Sep: "\t", Stamp: iso(), UnitsIn: "("},
		{Name: "UTF-16LE without mark", Encoding: "UTF-16LE", Sep: ";", Stamp: iso(), UnitsIn: "("},
		{Name: "UTF-16BE with mark", Encoding: "UTF-16BE", BOM: true, Stamp: iso(), UnitsIn: "("},
		{Name: "UTF-16BE without mark", Encoding: "UTF-16BE", Stamp: iso(), UnitsIn: "("},
		{Name: "Windows-1252, degree and cube", Encoding: "Windows-1252", Sep: ";", Decimal: ",", Stamp: iso(), UnitsIn: "[", Preamble: []string{"Größe µ² m³ ±"}},
		{Name: "CR alone", LineEnd: "\r", Stamp: iso(), UnitsIn: "("},
		{Name: "CR LF", LineEnd: "\r\n", Stamp: iso(), UnitsIn: "("},
		{Name: "CR CR LF", LineEnd: "\r\r\n", Stamp: iso(), UnitsIn: "("},
		{Name: "mixed line ends", LineEnd: "mixed", Stamp: iso(), UnitsIn: "("},
		{Name: "NULs between header and rows", Stamp: iso(), UnitsIn: "(", Spoil: nuls, Want: Want{Codes: []string{"nul-bytes"}}},
		{Name: "empty lines between rows", Stamp: iso(), UnitsIn: "(", LineEnd: "\n\n"},
		{Name: "no line break at the end", Stamp: iso(), UnitsIn: "(", Spoil: func(text string) string { return strings.TrimSuffix(text, "\n") }},
		{Name: "old end-of-file mark", Stamp: iso(), UnitsIn: "(", LineEnd: "\r\n", Spoil: func(text string) string { return text + "\x1a" }},
	}
}

func numbers() []Layout {
	thousand := func(name, mark, decimal, sep, quotes string) Layout {
		return Layout{Name: "thousands by " + name, Thousands: mark, Decimal: decimal, Sep: sep, Quotes: quotes, Stamp: iso(), UnitsIn: "("}
	}
	form := func(form string) Layout {
		return Layout{Name: "numbers: " + form, Numbers: form, Sep: ";", Stamp: iso(), UnitsIn: "("}
	}
	missing := func(name string, words ...string) Layout {
		return Layout{Name: "missing: " + name, Missing: words, Sep: ";", Stamp: iso(), UnitsIn: "("}
	}
	failed := missing("words of failure", "ERR", "OL", "Fault")
	failed.Want.Codes = []string{"error-words"}
	return []Layout{
		thousand("comma", ",", ".", ";", ""), thousand("quoted comma", ",", ".", ",", ""), thousand("point", ".", ",", ";", ""),
		thousand("blank", " ", ",", ";", ""), thousand("no-break blank", "\u00a0", ",", ";", ""),
		thousand("narrow no-break blank", "\u202f", ",", ";", ""), thousand("apostrophe", "'", ".", ";", ""),
		thousand("curved apostrophe", "\u2019", ".", ";", ""),
		form(Exponent), form(Signed), form(BarePoint), form(EndPoint), form(Zeros), form(TrueMinus), form(Whole),
		missing("dashes", "---", "--", "-"), missing("NaN and null", "NaN", "null", "N/A", "#N/A"), failed,
		{Name: "units in cells", UnitsIn: "cells", Sep: ";", Stamp: iso()},
		{Name: "units in cells, decimal comma", UnitsIn: "cells", Sep: ";", Decimal: ",", Stamp: iso(), Channels: []int{0, 1, 2}},
		{Name: "one channel, decimal comma", Channels: []int{1}, Sep: ";", Decimal: ",", Stamp: iso(), UnitsIn: "("},
	}
}

func headers() []Layout {
	sixty := make([]string, 60)
	for i := range sixty {
		sixty[i] = []string{"Remark: made up, with commas, many of them", "Serial number: 1234", "Started: 2026-01-16 10:00:00", "", "Interval,600,s", "# comment"}[i%6]
	}
	return []Layout{
		{Name: "preamble of key: value", Stamp: iso(), UnitsIn: "(", Preamble: []string{"Logger: north byre", "Serial: 4711", "Start: 16.01.2026 10:00", "Interval: 10 min", ""}},
		{Name: "preamble of key;value with dates", Sep: ";", Decimal: ",", Stamp: iso(), UnitsIn: "(", Preamble: []string{"Device;Yard 1", "Start;2026-01-16 10:00", "End;2026-02-16 10:00", "Interval;600", ""}},
		{Name: "preamble of sixty lines", Stamp: iso(), UnitsIn: "(", Preamble: sixty},
		{Name: "preamble with a table of particulars", Stamp: iso(), UnitsIn: "(", Preamble: []string{"Name,Serial,Downloaded,Interval,Count", "Yard,4711,2026-02-16 10:00:00,600,300"}},
		{Name: "preamble with a list of channels", Sep: ";", Stamp: iso(), UnitsIn: "(", Preamble: []string{"Channel;Name;Unit;Low;High", "1;Loop out;°C;-20;80", "2;Bed;°C;-20;80", "3;Outdoor;°C;-40;60", "4;Flow;L/h;0;2000", ""}},
		{Name: "preamble marked by #", Stamp: iso(), UnitsIn: "(", Preamble: []string{"# made up", "# channels: 5", "#"}},
		{Name: "unit row", UnitsIn: "row", Stamp: iso()},
		{Name: "unit row, semicolons", UnitsIn: "row", Sep: ";", Decimal: ",", Stamp: layoutStamp("Datum|Uhrzeit", "02.01.2006", "15:04")},
		{Name: "unit by stroke", UnitsIn: "/", Sep: ";", Stamp: iso()},
		{Name: "unit by blank", UnitsIn: " ", Stamp: iso(), Channels: []int{0, 1, 2, 4}},
		{Name: "two header rows", UnitsIn: "(", Stamp: iso(), Above: [][]string{{"", "Loop", "Pad", "Yard", "Loop", "Cooler"}}},
		{Name: "three header rows and a unit row", UnitsIn: "row", Stamp: iso(), Above: [][]string{{"Site", "North", "North", "North", "North", "North"}, {"Probe", "P1", "P2", "P3", "F1", "E1"}}},
		{Name: "four header rows", UnitsIn: "(", Stamp: iso(), Above: [][]string{{"Site", "North", "North", "North", "North", "North"}, {"Probe", "P1", "P2", "P3", "F1", "E1"}, {"Stat", "Smp", "Smp", "Smp", "Smp", "Tot"}}},
		{Name: "header stands again", UnitsIn: "(", Stamp: iso(), Again: 100, Want: Want{Codes: []string{"repeated-header"}}},
		{Name: "header and unit row stand again", UnitsIn: "row", Stamp: iso(), Again: 144, Sep: ";", Want: Want{Codes: []string{"repeated-header"}}},
		{Name: "no header", NoHeader: true, Stamp: iso()},
		{Name: "no header, semicolons", NoHeader: true, Sep: ";", Decimal: ",", Stamp: layoutStamp("Date|Time", "02.01.2006", "15:04:05")},
		{Name: "a running number in front", Lead: true, Stamp: iso(), StampAt: 1, UnitsIn: "("},
		{Name: "stamp behind the readings", StampAt: 5, Stamp: iso(), UnitsIn: "("},
		{Name: "footer of totals", UnitsIn: "(", Sep: ";", Stamp: iso(), Footer: []string{"Average;24,1;48,4;-1,9;600,2;", "Total;;;;;77", "End of file"}, Want: Want{Codes: []string{"footer"}}},
		{Name: "footer after an empty line", UnitsIn: "(", Stamp: iso(), Footer: []string{"", "Readings: 300", "Min,18.0,48.25,-8.4,0.0,12345.67", "*** end ***"}, Want: Want{Codes: []string{"footer"}}},
		{Name: "newest first", UnitsIn: "(", Stamp: iso(), Order: "newest first"},
		{Name: "shuffled", UnitsIn: "(", Stamp: iso(), Order: "shuffled"},
		{Name: "names of another language", Sep: ";", Decimal: ",", UnitsIn: " ", Stamp: layoutStamp("Zeitstempel", "02.01.2006 15:04:05"), Channels: []int{0, 1, 2, 4}, Names: []string{"Rücklauf", "Mist", "Außen", "Verdichter"}},
		{Name: "with a state", UnitsIn: "(", Stamp: iso(), Channels: []int{0, 3, 5}},
	}
}

func shapes() []Layout {
	return []Layout{
		{Name: "long", Shape: Long, Stamp: iso(), UnitsIn: "("},
		{Name: "long, semicolons", Shape: Long, Sep: ";", Decimal: ",", Tag: "Messstelle", Stamp: layoutStamp("Zeit", "02.01.2006 15:04:05"), UnitsIn: "["},
		{Name: "long, newest first", Shape: Long, Stamp: iso(), UnitsIn: "(", Order: "newest first"},
		{Name: "staggered", Shape: Staggered, Stamp: iso(), UnitsIn: "("},
		{Name: "staggered, semicolons", Shape: Staggered, Sep: ";", Decimal: ",", Stamp: layoutStamp("Datum|Zeit", "02.01.2006", "15:04:05"), UnitsIn: "row"},
		{Name: "a table for each channel", Shape: Apart, Stamp: iso(), UnitsIn: "("},
		{Name: "a table for each channel, semicolons", Shape: Apart, Sep: ";", Decimal: ",", Stamp: layoutStamp("Zeit", "02.01.2006 15:04"), UnitsIn: "["},
		{Name: "events", Shape: Events, Channels: []int{5}, Stamp: iso(), Want: Want{Decimal: "none"}},
	}
}

func stampsOneColumn() []Layout {
	one := func(name string, s Stamp) Layout {
		return Layout{Name: "stamps: " + name, Stamp: s, UnitsIn: "(", Sep: ";"}
	}
	lower := func(s string) string { return strings.ToLower(s) }
	dotted := func(s string) string {
		return strings.NewReplacer("AM", "a.m.", "PM", "p.m.").Replace(s)
	}
	l := func(layout string) Stamp { return layoutStamp("Time", layout) }
	march := func(x Layout) Layout { x.Span, x.Name = EarlyMarch, x.Name+", early March"; return x }
	autumn := func(x Layout) Layout { x.Span, x.Name = Autumn, x.Name+", clock change"; return x }
	utc := one("zone in the header", layoutStamp("Time ({zone})", "2006-01-02 15:04:05").states())
	utc.Zone = "UTC"
	gmt := one("offset in the header", layoutStamp("Date Time, GMT+02:00", "01/02/06 03:04:05 PM").oneZone())
	gmt.Zone = "Etc/GMT-2"
	z := one("ISO in Z", l("2006-01-02T15:04:05Z07:00").states())
	z.Zone = "UTC"
	return []Layout{
		one("ISO with T", l("2006-01-02T15:04:05")), one("ISO with offset", l("2006-01-02T15:04:05-07:00").states()), one("ISO with packed offset", l("2006-01-02T15:04:05-0700").states()), z,
		one("ISO with fraction", l("2006-01-02T15:04:05.000")), one("fraction by comma", l("2006-01-02 15:04:05,000")), one("no seconds", l("2006-01-02 15:04")),
		utc, gmt, one("word UTC", l("2006-01-02 15:04:05 UTC").oneZone()).in("UTC"),
		one("zone word", l("02.01.2006 15:04 MST").states()), autumn(one("zone word", l("02.01.2006 15:04 MST").states())), autumn(one("offset", l("2006-01-02 15:04:05-07:00").states())), autumn(one("local", l("2006-01-02 15:04:05"))),
		one("day first, strokes", l("02/01/2006 15:04")), march(one("day first, strokes", l("02/01/2006 15:04"))), one("month first", l("01/02/2006 15:04:05")), march(one("month first", l("1/2/2006 15:04"))),
		one("two-digit year", l("02/01/06 15:04:05")), one("two-digit year, points", l("02.01.06 15:04")), march(one("year first in two digits", l("06-01-02 15:04"))), one("month first, two-digit year", l("01/02/06 15:04")),
		one("12 hours", l("01/02/2006 3:04:05 PM")), one("12 hours, lower case", l("02/01/2006 03:04 PM").changed(lower)), one("12 hours, a.m.", l("2/1/2006 3:04:05 PM").changed(dotted)), one("12 hours, no blank", l("2006-01-02 03:04PM")),
		one("unpadded", l("2.1.2006 3:4:5").changed(func(s string) string { return s })).hours24(), one("English month", l("02-Jan-2006 15:04:05")), one("English month first", l("Jan 2, 2006 3:04:05 PM")), one("weekday and month", l("Mon Jan 2 15:04:05 2006")), one("month's full name", l("2 January 2006 15:04")),
		one("a script's date", l("Mon Jan 02 2006 15:04:05 GMT-0700 (Central European Time)").states()),
		one("German month", named("german", "02. MONTH 2006", " 15:04")), march(one("French month", named("french", "02 MONTH 2006", " 15:04"))), one("Italian month", named("italian", "02-MONTH-2006", " 15:04")), one("Spanish month", named("spanish", "02/MONTH/2006", " 15:04:05")), march(one("Dutch month", named("dutch", "02 MONTH 2006", " 15:04"))), one("Polish month", named("polish", "2 MONTH 2006", " 15:04")),
		one("epoch", epoch("timestamp", 1)), one("epoch ms", epoch("ts", 1000)), one("epoch µs", epoch("time", 1000000)), one("day number", serial(10)), one("day number of five decimals", serial(5)),
		one("compact", l("20060102150405")), one("compact with T", l("20060102T150405")), one("compact, no seconds", l("200601021504")), one("points for colons", l("02.01.2006 15.04.05")), one("24:00", midnight24("Time", "2006-01-02", "15:04")), one("year last, dashes", l("02-01-2006 15:04:05")), one("year first, strokes", l("2006/01/02 15:04:05")), one("h for the colon", l("02/01/2006 15h04")), one("underscore", l("2006-01-02_15:04:05")), one("time before date", l("15:04:05 02/01/2006")),
	}
}

// in puts a layout into a zone.
func (l Layout) in(zone string) Layout { l.Zone = zone; return l }

// hours24 writes unpadded stamps: Go has no unpadded 24-hour clock.
func (l Layout) hours24() Layout {
	l.Stamp.Cells = func(at time.Time) []string {
		return []string{at.Format("2.1.2006 ") + plainInt(at.Hour()) + ":" + plainInt(at.Minute()) + ":" + plainInt(at.Second())}
	}
	return l
}

func plainInt(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return string(rune('0'+n/10)) + string(rune('0'+n%10))
}

func stampsMoreColumns() []Layout {
	more := func(name string, s Stamp) Layout {
		return Layout{Name: "stamp columns: " + name, Stamp: s, UnitsIn: "(", Sep: ";"}
	}
	hhmm := func(at time.Time) int { return at.Hour()*100 + at.Minute() }
	doy := func(at time.Time) []int { return []int{at.Year(), at.YearDay(), hhmm(at)} }
	bare := more("year, day of the year, hhmm, no header", parts("Year|Day|HHMM", doy))
	bare.NoHeader, bare.Lead, bare.StampAt, bare.UnitsIn, bare.Sep = true, false, 0, "", ","
	return []Layout{
		more("date, time", layoutStamp("Date|Time", "2006-01-02", "15:04:05")),
		more("time, date", layoutStamp("Time|Date", "15:04:05", "02/01/2006")),
		more("date, time of 12 hours", layoutStamp("Date|Time", "01/02/2006", "3:04:05 PM")),
		more("date, 24:00", midnight24("Date|Time", "02.01.2006", "15:04")),
		more("date, hhmm", layoutStamp("Date|HHMM", "2006-01-02", "1504")),
		more("packed date, hhmmss", layoutStamp("Date|Time", "20060102", "150405")),
		more("date, time, offset", layoutStamp("Date|Time", "2006-01-02", "15:04:05-0700").states()),
		more("day, month, year, hour, minute", parts("Day|Month|Year|Hour|Minute", func(at time.Time) []int {
			return []int{at.Day(), int(at.Month()), at.Year(), at.Hour(), at.Minute()}
		})),
		more("year, month, day, hour, minute, second", parts("YYYY|MM|DD|hh|mm|ss", func(at time.Time) []int {
			return []int{at.Year(), int(at.Month()), at.Day(), at.Hour(), at.Minute(), at.Second()}
		})),
		more("Jahr, Monat, Tag, Stunde, Minute", parts("Jahr|Monat|Tag|Stunde|Minute", func(at time.Time) []int {
			return []int{at.Year(), int(at.Month()), at.Day(), at.Hour(), at.Minute()}
		})),
		more("year, day of the year, hhmm", parts("Year|DOY|HHMM", doy)),
		more("year, day of the year, hour, minute", parts("Year|Day of year|Hour|Minute", func(at time.Time) []int {
			return []int{at.Year(), at.YearDay(), at.Hour(), at.Minute()}
		})),
		bare,
		more("date, hour, minute", Stamp{Heads: []string{"Date", "Hour", "Min"}, Cells: func(at time.Time) []string {
			return []string{at.Format("2006-01-02"), plainInt(at.Hour()), plainInt(at.Minute())}
		}}),
		more("weekday, date, time", layoutStamp("Day|Date|Time", "Mon", "02.01.2006", "15:04")),
		more("two stamps, one in UTC", layoutStamp("Local|UTC", "2006-01-02 15:04:05", "2006-01-02 15:04:05").twin()),
	}
}

// twin makes the second column the same time in UTC.
func (s Stamp) twin() Stamp {
	s.States = true
	s.Cells = func(at time.Time) []string {
		return []string{at.Format("2006-01-02 15:04:05"), at.UTC().Format("2006-01-02 15:04:05")}
	}
	return s
}

// odd are layouts met here and there.
func odd() []Layout {
	bars := func(text string) string {
		return "| " + strings.ReplaceAll(strings.TrimSuffix(text, "\n"), "\n", " |\n| ") + " |\n"
	}
	ideographs := Stamp{Heads: []string{"Time"}, Cells: func(at time.Time) []string {
		return []string{at.Format("2006年01月02日 15:04:05")}
	}}
	zoneColumn := layoutStamp("Time|Zone", "2006-01-02 15:04:05", "").states()
	zoneColumn.Cells = func(at time.Time) []string {
		return []string{at.Format("2006-01-02 15:04:05"), at.Location().String()}
	}
	zoneAbove := Layout{Name: "zone above the header", UnitsIn: "(", Stamp: iso().oneZone(), Preamble: []string{"Logger: 4711", "Time zone: Europe/London"}}
	dayRows := func(string) string {
		return "Meter,Date,00:00,02:00,04:00,06:00,08:00,10:00,12:00,14:00,16:00,18:00,20:00,22:00\n" +
			"4711,14/01/2026,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.6\n4711,15/01/2026,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.5,1.6\n"
	}
	return []Layout{
		{Name: "unit row above a row of statistics", UnitsIn: "row", Quotes: "header", Stamp: iso(), Names: []string{"Out_Avg", "Bed_Avg", "Yard_Avg", "Flow_Avg", "E_Tot"}, Below: []string{`"","Avg","Avg","Smp","Avg","Tot"`}, Channels: []int{0, 1, 2, 3, 4}, Suffix: []string{" Avg", " Avg", " Smp", " Avg", " Tot"}},
		{Name: "a rule below the names", Sep: "|", UnitsIn: "(", Stamp: iso(), Below: []string{"--------------+---------+--------"}, Footer: []string{"(300 rows)"}, Want: Want{Codes: []string{"footer"}}},
		{Name: "a rule below the names, fixed width", Sep: Fixed, UnitsIn: "(", Stamp: layoutStamp("Date|Time", "02.01.2006", "15:04"), Below: []string{strings.Repeat("-", 70)}},
		{Name: "bars on either side", Sep: "|", UnitsIn: "(", Stamp: iso(), Spoil: bars},
		{Name: "stamps: date and hour in one number", Sep: ";", UnitsIn: "(", Every: 6, Stamp: layoutStamp("Time", "2006010215")},
		{Name: "stamps: ideographs", UnitsIn: "(", Stamp: ideographs},
		{Name: "stamp columns: day number, part of a day", Sep: ";", UnitsIn: "(", Stamp: Stamp{Heads: []string{"Date", "Time"}, Cells: func(at time.Time) []string {
			day, part := math.Modf(dayNumber(at))
			return []string{fmt.Sprintf("%.0f", day), fmt.Sprintf("%.10f", part)}
		}}},
		{Name: "zone in a column of its own", UnitsIn: "(", Stamp: zoneColumn},
		zoneAbove.in("Europe/London"),
		{Name: "packed date and hhmmss, fixed width, no header", Sep: Fixed, NoHeader: true, Missing: []string{"NaN"}, Stamp: layoutStamp("Date|Time", "20060102", "150405")},
		{Name: "a remark in brackets behind the unit", UnitsIn: ", ", Remark: " (serial 1, port 2)", Quotes: "header", Stamp: iso(), Preamble: []string{`"Plot of the yard"`}},
		{Name: "a row a day, a column each time", Stamp: iso(), Spoil: dayRows, Want: Want{Refused: "row a day"}},
		{Name: "stamp columns: date, time with points", Sep: ";", Decimal: ",", UnitsIn: "(", Stamp: Stamp{Heads: []string{"Pvm", "Klo"}, Cells: func(at time.Time) []string {
			return []string{at.Format("2.1.2006"), fmt.Sprintf("%d.%02d.%02d", at.Hour(), at.Minute(), at.Second())}
		}}},
		{Name: "stamp columns: date, hours and minutes with a point", Sep: ";", UnitsIn: "(", Stamp: layoutStamp("Data|Ora", "02-01-2006", "15.04")},
		{Name: "stamp columns: 03Nov25, hhmm", UnitsIn: "(", Stamp: layoutStamp("Date|Time", "02Jan06", "1504")},
		{Name: "dates without their times", Sep: ";", UnitsIn: "(", Stamp: layoutStamp("Date", "2006-01-02"), Want: Want{Refused: "time of day"}},
	}
}

// refused are layouts that hold no certain reading.
func refused() []Layout {
	unquoted := func(text string) string { return strings.ReplaceAll(text, `"`, "") }
	return []Layout{
		{Name: "comma is separator and decimal mark", Decimal: ",", Stamp: iso(), UnitsIn: "(", Spoil: unquoted, Want: Want{Refused: "decimal"}},
		{Name: "comma is separator and decimal mark, no header", Decimal: ",", NoHeader: true, Stamp: iso(), Spoil: unquoted, Want: Want{Refused: "decimal"}},
		{Name: "day or month, one day only", Span: EarlyMarch, Sep: ";", Stamp: layoutStamp("Time", "02/01/2006 15:04"), UnitsIn: "(", Spoil: secondDay, Want: Want{Refused: "dates"}},
	}
}

// secondDay keeps rows of the second of the days: 4 March, or 3 April.
func secondDay(text string) string {
	lines := strings.SplitAfter(text, "\n")
	if len(lines) < 290 {
		return text
	}
	return lines[0] + strings.Join(lines[150:280], "")
}
