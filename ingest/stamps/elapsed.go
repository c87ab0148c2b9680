package stamps

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// notElapsed: a column does not hold time that has passed.
const notElapsed = "no time passed"

// spanMS of the units in which time that has passed is counted.
var spanMS = map[string]float64{"ms": 1, "msec": 1, "millis": 1, "milliseconds": 1, "s": 1000, "sec": 1000, "secs": 1000, "second": 1000, "seconds": 1000,
	"sekunden": 1000, "secondes": 1000, "segundos": 1000, "secondi": 1000, "min": 60_000, "mins": 60_000, "minute": 60_000, "minutes": 60_000, "minuten": 60_000,
	"minutos": 60_000, "minuti": 60_000, "h": 3600_000, "hr": 3600_000, "hrs": 3600_000, "hour": 3600_000, "hours": 3600_000, "stunden": 3600_000, "heures": 3600_000,
	"horas": 3600_000, "ore": 3600_000, "d": dayMS, "day": dayMS, "days": dayMS}

// passedWords name time that has passed since a start (common practice, no
// source).
var passedWords = strings.Fields("elapsed passed runtime since relative duration laufzeit écoulé ecoule transcurrido trascorso verstreken")

// elapsed makes the stamps from a column of time that has passed since a start
// that stands above the table. "" = done; else why not.
func (t *Table) elapsed(col int) string {
	unit, ok := t.passedUnit(col)
	if !ok {
		return notElapsed
	}
	passed := make([]float64, len(t.Rows))
	last, bad := -1.0, 0
	for i := range t.Rows {
		v, ok := passedMS(t.Rows[i].Cells[col], unit)
		if passed[i] = v; !ok {
			passed[i] = -1
			bad++
			continue
		}
		if v < last {
			return notElapsed
		}
		last = v
	}
	if 20*bad > len(t.Rows) || last <= 0 {
		return notElapsed
	}
	name := series.Quoted(t.nameOf(col))
	start, ok := t.startAbove()
	if !ok {
		return "time that has passed in " + name + ", and no line above that states one start of it"
	}
	at, err := clock.Read([]string{start}, clock.Options{Order: t.log.Dates})
	if err != nil || at.Wall[0] == clock.Bad {
		return "time that has passed in " + name + " since " + series.Quoted(start) + ", which reads in more than one way or none"
	}
	t.Columns = []int{col}
	t.made = &made{texts: make([]string, len(t.Rows)), days: make([]int, len(t.Rows)), dateLine: make([]bool, len(t.Rows))}
	for i, ms := range passed {
		if ms >= 0 {
			t.made.texts[i] = time.UnixMilli(at.Wall[0] + int64(ms+0.5)).UTC().Format("2006-01-02 15:04:05.000")
		}
	}
	t.Found.Problem(series.CodeStartAbove, series.Doubt, t.Name, t.Place(t.Rows[0].Line, col), "%s counts time from a start: it is added to %s, which stands above the table", name, series.Quoted(start))
	return ""
}

// passedUnit is what a column of time that has passed counts in, 0 where its
// cells are written as hours and minutes.
func (t *Table) passedUnit(col int) (ms float64, ok bool) {
	words := strings.FieldsFunc(strings.ToLower(t.Header[col]), func(r rune) bool { return strings.ContainsRune(" _-.,:;()[]/", r) })
	passed := slices.ContainsFunc(words, func(w string) bool { return slices.Contains(passedWords, w) })
	if cells := t.sample(col); len(cells) > 0 && passed && strings.IndexByte(cells[0], ':') > 0 {
		return 0, true
	}
	if ms = spanMS[strings.ToLower(t.Units[col])]; ms == 0 && len(words) > 0 {
		ms = spanMS[words[len(words)-1]]
	}
	known := passed || len(words) > 0 && (slices.ContainsFunc(words[:1], func(w string) bool { return spanMS[w] > 0 || w == "t" || timeWords[w] }))
	return ms, ms > 0 && known
}

// passedMS reads a number of units, or hours, minutes and seconds.
func passedMS(cell string, unit float64) (float64, bool) {
	if unit > 0 {
		v, ok := eitherMark(cell)
		return v * unit, ok && v >= 0
	}
	total, parts := 0.0, strings.Split(cell, ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	for k, p := range parts {
		v, err := strconv.ParseFloat(strings.Replace(p, ",", ".", 1), 64)
		if err != nil || v < 0 || k > 0 && v >= 60 {
			return 0, false
		}
		total += v * [...]float64{3600_000, 60_000, 1000}[k]
	}
	return total, true
}

// startWords name the beginning of a log, notStart what else may be dated above
// a table (common practice, no source).
var (
	startWords = strings.Fields("start begin began first trigger beginn anfang début debut inicio inizio aanvang")
	reportDate = []string{"report date", "date of report", "berichtsdatum", "berichtstag", "report day"}
	notStart   = strings.Fields("export print creat download report erstellt gedruckt generat calib kalib saved stop end last until firmware version serial build")
)

// startAbove is the one date, with or without a time of day, that the lines
// above the table state as the log's; not ok where there is none, or several.
func (t *Table) startAbove() (string, bool) {
	var named, plain []string
	for _, r := range t.Preamble {
		key := ""
		for _, c := range r.Cells {
			text := c
			if k, v, ok := strings.Cut(c, ": "); ok && !celltext.LooksLikeStamp(c) {
				key, text = key+" "+k, strings.TrimSpace(v)
			} else if k, v, ok := strings.Cut(c, "="); ok {
				key, text = key+" "+k, strings.TrimSpace(v)
			}
			if !celltext.LooksLikeStamp(text) || isClock(text) {
				key += " " + text
				continue
			}
			switch key := strings.ToLower(key); {
			case holdsAny(key, reportDate) && dayOf(text) == text:
				plain = append(plain, text) // the day of a day's report
			case holdsAny(key, startWords):
				named = append(named, text)
			case !holdsAny(key, notStart):
				plain = append(plain, text)
			}
		}
	}
	if len(named) == 0 {
		named = plain
	}
	slices.Sort(named)
	if named = slices.Compact(named); len(named) != 1 {
		return "", false
	}
	return named[0], true
}

func holdsAny(s string, words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(s, w) })
}

// yearless tells stamps that name month and day and no year.
func yearless(cell string) bool {
	words := strings.Fields(cell)
	if len(words) < 3 || strings.IndexByte(words[2], ':') <= 0 || !celltext.IsMonth(words[0]) && !celltext.IsMonth(words[1]) {
		return false
	}
	_, err := clock.Read([]string{strings.Join(words[:3], " ")}, clock.Options{})
	with, err2 := clock.Read([]string{fmt.Sprintf("%s %s 2000 %s", words[0], words[1], words[2])}, clock.Options{})
	return err != nil && err2 == nil && with.Bad == 0
}
