package exports

import (
	"fmt"
	"strings"
	"time"
)

// layoutStamp writes times by Go layouts, a column each.
func layoutStamp(heads string, layouts ...string) Stamp {
	return Stamp{Heads: strings.Split(heads, "|"), Cells: func(at time.Time) []string {
		out := make([]string, len(layouts))
		for i, l := range layouts {
			out[i] = at.Format(l)
		}
		return out
	}}
}

// states marks a stamp that says its zone.
func (s Stamp) states() Stamp { s.States = true; return s }

// oneZone marks a stamp that says its zone and can stand in no other.
func (s Stamp) oneZone() Stamp { s.States, s.OneZone = true, true; return s }

// changed writes the cells of s with f applied to each.
func (s Stamp) changed(f func(string) string) Stamp {
	was := s.Cells
	s.Cells = func(at time.Time) []string {
		out := was(at)
		for i := range out {
			out[i] = f(out[i])
		}
		return out
	}
	return s
}

// iso is the plainest stamp.
func iso() Stamp { return layoutStamp("Time", "2006-01-02 15:04:05") }

// epoch writes seconds since 1970 times perSecond.
func epoch(head string, perSecond int64) Stamp {
	return Stamp{Heads: []string{head}, States: true, OneZone: true, Cells: func(at time.Time) []string {
		return []string{fmt.Sprint(at.UnixMilli() * perSecond / 1000)}
	}}
}

// serial writes a spreadsheet's day number with some decimals.
func serial(decimals int) Stamp {
	return Stamp{Heads: []string{"Date/Time"}, Cells: func(at time.Time) []string {
		return []string{fmt.Sprintf("%.*f", decimals, dayNumber(at))}
	}}
}

// dayNumber counts days of the wall clock from the spreadsheet's day 0.
func dayNumber(at time.Time) float64 {
	_, off := at.Zone()
	return float64(at.Unix()+int64(off))/86400 + 25569
}

// midnight24 writes the midnight between two days as 24:00 of the first.
func midnight24(heads, date, clock string) Stamp {
	return Stamp{Heads: strings.Split(heads, "|"), Cells: func(at time.Time) []string {
		d, c := at.Format(date), at.Format(clock)
		if at.Hour() == 0 && at.Minute() == 0 {
			d, c = at.AddDate(0, 0, -1).Format(date), strings.Replace(c, "00", "24", 1)
		}
		if !strings.Contains(heads, "|") {
			return []string{d + " " + c}
		}
		return []string{d, c}
	}}
}

// parts writes a column for each part of the stamp.
func parts(heads string, cells func(at time.Time) []int) Stamp {
	return Stamp{Heads: strings.Split(heads, "|"), Cells: func(at time.Time) []string {
		var out []string
		for _, v := range cells(at) {
			out = append(out, fmt.Sprint(v))
		}
		return out
	}}
}

// months of other languages, as their loggers write them.
var months = map[string]string{
	"german":  "Jan Feb Mär Apr Mai Jun Jul Aug Sep Okt Nov Dez",
	"french":  "janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
	"italian": "gen feb mar apr mag giu lug ago set ott nov dic",
	"spanish": "ene feb mar abr may jun jul ago sep oct nov dic",
	"dutch":   "jan feb mrt apr mei jun jul aug sep okt nov dec",
	"polish":  "stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października listopada grudnia",
}

// named writes "17 janv. 2026 14:10".
func named(language, date, clock string) Stamp {
	words := strings.Fields(months[language])
	return Stamp{Heads: []string{"Time"}, Cells: func(at time.Time) []string {
		return []string{strings.Replace(at.Format(date), "MONTH", words[at.Month()-1], 1) + at.Format(clock)}
	}}
}
