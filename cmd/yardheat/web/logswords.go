package web

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"yardheat/ingest/look"
	"yardheat/ingest/series"
)

// The reader of files gives its reasons in English. The page says them in the
// reader's language by their form; what has no form here is shown as it stands
// and marked as English.

// said is a text with the language it is in where that is not the page's.
type said struct {
	Text string
	Lang string // "en", or "" = the page's language
}

type reason struct {
	form  *regexp.Regexp
	key   string
	names []string
}

func reasonForm(re, key string, names ...string) reason {
	return reason{regexp.MustCompile(`^(?:` + re + `)$`), key, names}
}

var columnReasons = []reason{
	reasonForm(`unit (.+)`, "why.unit", "unit"),
	reasonForm(`the word (".+")`, "why.word", "word"),
	reasonForm(`in the file's name`, "why.file"),
	reasonForm(`it only rises, as a meter does`, "why.counter"),
	reasonForm(`a running counter: rises (\d+) times, falls (\d+)`, "why.counter.rises", "rises", "falls"),
	reasonForm(`an amount per reading: it falls too often for a running counter`, "why.amount"),
	reasonForm(`(\S+) to (\S+), as temperatures in °C are`, "why.range", "min", "max"),
	reasonForm(`two states`, "why.states"),
	reasonForm(`nothing says of what`, "why.nothing"),
	reasonForm(`no unit, and no word of a known quantity`, "why.noclass"),
	reasonForm(`no header, no unit`, "why.noheader"),
	reasonForm(`(".*") is no unit of a quantity that is used`, "why.nounit", "unit"),
	reasonForm(`a humidity: not used by a farm`, "why.humidity"),
	reasonForm(`ends in (.), as of °.`, "why.letter", "letter"),
	reasonForm(`text such as (.+)`, "why.text", "text"),
}

var wordsReason = regexp.MustCompile(`^the words (.+)$`)

var stampReasons = []reason{
	reasonForm(`year first: it has four digits`, "proof.ymd"),
	reasonForm(`counted from 1970-01-01 in UTC`, "proof.epoch"),
	reasonForm(`day numbers of a spreadsheet`, "proof.sheet"),
	reasonForm(`(day|month|year) first: (".+") reads no other way`, "proof.only", "order", "example"),
	reasonForm(`(day|month|year) first: stated`, "proof.said", "order"),
	reasonForm(`each row states its offset`, "proof.offset"),
	reasonForm(`the zone is stated by option`, "proof.option"),
	reasonForm(`the stamp's header names the zone`, "proof.header"),
	reasonForm(`the file names the zone beside its stamps`, "proof.file"),
	reasonForm(`(day) first: dates with points put the day first \(common practice, no source\)(?:; nothing in the file says otherwise)?`, "proof.points", "order"),
}

var orderOf = map[string]string{"day": "dmy", "month": "mdy", "year": "ymd"}

// because says a reason of the reader in the page's language, piece by piece.
func (v *view) because(text string, of []reason) []said {
	var out []said
	for piece := range strings.SplitSeq(text, "; ") {
		if piece == "" || piece == "nothing in the file says otherwise" {
			continue
		}
		inFile := false
		if rest, ok := strings.CutSuffix(piece, ", in the file's name"); ok {
			piece, inFile = rest, true
		}
		s := v.reasonOf(piece, of)
		if inFile {
			s.Text += ", " + v.Say("why.file")
		}
		s.Text = clean(s.Text)
		out = append(out, s)
	}
	return out
}

func (v *view) reasonOf(piece string, of []reason) said {
	for _, r := range of {
		m := r.form.FindStringSubmatch(piece)
		if m == nil {
			continue
		}
		var pairs []any
		for i, name := range r.names {
			word := m[i+1]
			if name == "order" {
				word = v.Say("logs.order." + orderOf[word])
			}
			if name == "unit" {
				word = unitShown(word)
			}
			pairs = append(pairs, name, word)
		}
		return said{Text: v.Say(r.key, pairs...)}
	}
	if m := wordsReason.FindStringSubmatch(piece); m != nil {
		words := strings.Split(m[1], " and ")
		all := words[0]
		for _, w := range words[1:] {
			all = v.Say("why.words.and", "a", all, "b", w)
		}
		return said{Text: v.Say("why.words", "words", all)}
	}
	return said{Text: piece, Lang: "en"}
}

// problemText is a problem in plain words by its code.
func (v *view) problemText(code string) string {
	if v.c.Has("problem." + code) {
		return v.Say("problem." + code)
	}
	return v.Say("problem.other")
}

// faultKeys find the plain words of a fault by what was got or wanted.
var faultKeys = []struct{ in, key string }{
	{"an empty file", "empty"}, {"all of them blank", "empty"}, {"no filled cell", "empty"}, {"without files", "empty"},
	{"web page", "html"}, {"PDF", "picture"}, {"picture", "picture"}, {"old binary workbook", "xls"}, {"archive", "packed"}, {"zip", "packed"},
	{"damaged workbook", "damaged"}, {"ends too early", "damaged"}, {"workbook without", "damaged"},
	{"at least ", "large"}, {"countless cells", "large"}, {"cannot cope", "reader"}, {"binary content", "binary"}, {"database file", "binary"}, {"Parquet", "binary"},
}

func faultKey(f *series.Fault) string {
	for _, k := range faultKeys {
		if strings.Contains(f.Got, k.in) {
			return k.key
		}
	}
	if strings.Contains(f.Want, "cells parted by") || strings.Contains(f.Want, "a table") || strings.Contains(f.Want, "header line") {
		return "notable"
	}
	return "other"
}

// unitShown writes a unit as people read it.
func unitShown(unit string) string {
	switch unit {
	case "C", "degC":
		return "°C"
	case "F":
		return "°F"
	case "m3/h":
		return "m³/h"
	case "m3":
		return "m³"
	case "gal_us":
		return "gal (US)"
	case "gal_imp":
		return "gal (imp.)"
	case "gal_us/min":
		return "gal/min (US)"
	case "gal_imp/min":
		return "gal/min (imp.)"
	}
	return unit
}

// moment shows a time as look writes it: local where the zone is unknown, else
// with what stands for the zone.
func moment(text string) string {
	for _, layout := range []string{"2006-01-02T15:04:05", time.RFC3339Nano} {
		at, err := time.Parse(layout, text)
		if err != nil {
			continue
		}
		out := at.Format("2006-01-02 15:04")
		if layout == time.RFC3339Nano {
			if _, off := at.Zone(); off == 0 {
				return out + " UTC"
			}
			return out + at.Format(" -07:00")
		}
		return out
	}
	return text
}

// lapse is a span of time in round words.
func (v *view) lapse(seconds float64) string {
	switch {
	case seconds < 60 || seconds < 90 && seconds != 60:
		return v.Say("logs.span.s", "n", v.Choice.Number(seconds, decimalsOf(seconds)))
	case seconds < 90*60 && seconds != 3600:
		m := seconds / 60
		return v.Say("logs.span.min", "n", v.Choice.Number(m, decimalsOf(m)))
	case seconds < 36*3600:
		h := seconds / 3600
		return v.Say("logs.span.h", "n", v.Choice.Number(h, decimalsOf(h)))
	}
	return v.Count("logs.span.d", int(seconds/86400+0.5))
}

func decimalsOf(x float64) int {
	if x == float64(int64(x)) {
		return 0
	}
	return 1
}

// figure shows a reading with about four digits.
func (v *view) figure(x float64) string {
	switch a := max(x, -x); {
	case a >= 1000 || x == float64(int64(x)):
		return v.Choice.Number(x, 0)
	case a >= 10:
		return v.Choice.Number(x, 1)
	}
	return v.Choice.Number(x, 2)
}

var quotedText = regexp.MustCompile(`"((?:[^"\\]|\\.)*)"`)

// dateReadings are the ways to read a date, each with its order.
func (v *view) dateReadings(doubt look.Doubt) (example string, out []pick) {
	m := quotedText.FindStringSubmatch(doubt.Text)
	if m == nil {
		return "", nil
	}
	example = m[1]
	n := regexp.MustCompile(`(\d+)\D+(\d+)\D+(\d+)`).FindStringSubmatch(example)
	for _, o := range quotedText.FindAllStringSubmatch(doubt.Settle, -1) {
		order := o[1]
		label := v.Say("logs.order." + order)
		if n != nil && len(order) == 3 {
			if day := v.dayIn(order, n[1:4]); day != "" {
				label = v.Say("logs.doubt.dates.pick", "reading", day, "order", label)
			}
		}
		out = append(out, pick{Key: "dates", Value: order, Label: label})
	}
	return example, out
}

// dayIn reads three numbers in an order of day, month and year.
func (v *view) dayIn(order string, numbers []string) string {
	var d, m, y int
	for i, c := range order {
		var n int
		if _, err := fmt.Sscanf(numbers[i], "%d", &n); err != nil {
			return ""
		}
		switch c {
		case 'd':
			d = n
		case 'm':
			m = n
		case 'y':
			y = n
		}
	}
	if m < 1 || m > 12 || d < 1 || d > 31 {
		return ""
	}
	if y < 100 {
		y += 2000
	}
	return v.Say("logs.day", "day", d, "month", v.Say(fmt.Sprintf("month.%d", m)), "year", y)
}
