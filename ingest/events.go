package ingest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/logs"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// eventList reads the farm's list of events and lays its rows beside those of
// farm.toml. A row that cannot be read is listed, never guessed.
func (l *loader) eventList() {
	e := l.farm.EventList
	if e.File == "" {
		return
	}
	b, err := logs.ReadBytes(l.root, e.File)
	if err == nil {
		l.rec.own(e.File, b)
	}
	var tables []*table.Table
	if err == nil {
		tables, err = table.ReadBytes(e.File, b, table.Options{})
	}
	if err != nil {
		l.faults = append(l.faults, logs.AsFault(e.File, err))
		return
	}
	for n, t := range tables {
		col, missing := eventColumns(t, e)
		if missing == "" {
			l.events(e, t, col)
			return
		}
		if n == len(tables)-1 {
			do := "write the header as it stands in the file, or #n for the n-th column"
			if near := farm.Nearest(missing, t.Header); near != "" {
				do = fmt.Sprintf("did you mean %q?", near)
			}
			l.fault(e.File, series.PlaceOf(t.Sheet, t.HeaderLine, 0), "the columns "+series.List(t.Header, 12),
				fmt.Sprintf("a column %q, as [events.columns] says (farm.toml, line %d)", missing, e.Line), do)
		}
	}
}

// eventColumns finds the named columns; missing is the first that is not there.
func eventColumns(t *table.Table, e farm.EventList) (col map[string]int, missing string) {
	col = map[string]int{}
	for _, key := range [...]string{"at", "what", "tonnes"} {
		header := e.Columns[key]
		if header == "" {
			continue
		}
		at := columnOf(t.Header, header)
		if at < 0 {
			return nil, header
		}
		col[key] = at
	}
	return col, ""
}

// events reads the rows of a table of events.
func (l *loader) events(e farm.EventList, t *table.Table, col map[string]int) {
	for _, p := range t.Problems { // a line taken for a note is one event less
		l.problem(p.Code, series.Doubt, e.File, series.PlaceOf(t.Sheet, p.Line, p.Column), "%s", p.Text)
	}
	var texts []string
	var rows []int
	odd, first := 0, ""
	note := func(i int, why string) {
		if odd == 0 {
			first = fmt.Sprintf("line %d: %s", t.Rows[i].Line, why)
		}
		odd++
	}
	for i := range t.Rows {
		if text := t.Rows[i].Cells[col["at"]]; text != "" {
			texts, rows = append(texts, text), append(rows, i)
		} else {
			note(i, "no date")
		}
	}
	if len(texts) == 0 {
		l.problem(series.CodeFileEmpty, series.Note, e.File, "", "the list of events has no rows")
		return
	}
	read, err := clock.Read(texts, clock.Options{Order: e.Dates})
	if err != nil {
		l.eventStampFault(e, series.PlaceOf(t.Sheet, t.Rows[rows[0]].Line, col["at"]+1), err)
		return
	}
	utc := l.wallToUTC(read.Wall...)
	for n, i := range rows {
		what := strings.TrimSpace(t.Rows[i].Cells[col["what"]])
		if read.Wall[n] == clock.Bad || what == "" {
			note(i, fmt.Sprintf("%q, %q: want a date and what happened", texts[n], what))
			continue
		}
		event := farm.Event{At: time.UnixMilli(utc[n]).In(l.rec.Zone), What: what}
		if c, has := col["tonnes"]; has && t.Rows[i].Cells[c] != "" && !table.IsMissing(t.Rows[i].Cells[c]) {
			v, _, ok := table.ParseNumber(t.Rows[i].Cells[c], t.Decimal, t.Thousands)
			if !ok || !(v >= 0 && v <= 100000) {
				note(i, fmt.Sprintf("%q: want tonnes as a number", t.Rows[i].Cells[c]))
			} else {
				event.Tonnes = v
			}
		}
		l.farm.Events = append(l.farm.Events, event)
	}
	slices.SortStableFunc(l.farm.Events, func(a, b farm.Event) int { return a.At.Compare(b.At) })
	if odd > 0 {
		l.problem(series.CodeEventOdd, series.LeftOut, e.File, "", "%d cells or rows of the list of events cannot be used, first: %s", odd, first)
	}
}

func (l *loader) eventStampFault(e farm.EventList, where string, err error) {
	var unsure *clock.OrderError
	if errors.As(err, &unsure) {
		l.fault(e.File, where, fmt.Sprintf("%q, which reads as %s", unsure.Example, strings.Join(unsure.Orders, " or as ")), "dates whose order the file proves",
			fmt.Sprintf("add dates = \"%s\" to [events] (farm.toml, line %d)", strings.Join(unsure.Orders, "\" or \""), e.Line))
		return
	}
	l.fault(e.File, where, err.Error(), "dates that can be read", "correct the list, or the column in [events.columns]")
}
