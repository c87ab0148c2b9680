package look

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sort"
	"strconv"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/table"
	"yardheat/ingest/table/celltext"
)

func parse(text string, m cellMarks) (float64, string, bool) {
	return table.ParseNumber(text, m.decimal, m.thousands)
}

func reason(err error) string {
	var p *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "no such file"
	case errors.As(err, &p):
		return p.Err.Error()
	}
	return err.Error()
}

// saidElsewhere are problems of the loader that look lists as doubts, or that
// are no problems before there is a farm file.
var saidElsewhere = map[string]bool{series.CodeDatesByCustom: true, series.CodeStampChoice: true, series.CodeStampCoarse: true, codeDecimalMark: true,
	series.CodeZoneFromFile: true}

// problems lists what was met while reading: by the table reader, by the
// reader of stamps, and cells of columns of readings that are none.
func (d *describer) problems() {
	for _, p := range d.src.Problems {
		if !saidElsewhere[p.Code] {
			d.problem(p.Code, p.Line, p.Column, p.Text)
		}
	}
	noRows := slices.ContainsFunc(d.src.Problems, func(p table.Problem) bool { return p.Code == "no-rows" })
	for _, p := range d.at.Found.Problems {
		if p.Code == series.CodeFileEmpty && noRows {
			continue // says the same
		}
		if !saidElsewhere[p.Code] && (p.Code != series.CodeZoneWord || d.opt.Zone != "") { // without a zone, the doubt of it says so
			line, column := d.placeOf(p.Where)
			d.problem(p.Code, line, column, p.Text)
		}
	}
	if d.at.Open == nil {
		for _, f := range d.at.Found.Faults {
			line, column := d.placeOf(f.Where)
			d.problem(series.CodeNoStamps, line, column, "got "+f.Got+"; want "+f.Want+"; "+f.Do)
		}
	}
	for k := range d.tally {
		d.cellProblems(&d.out.Columns[k], d.tally[k])
	}
}

func (d *describer) problem(code string, line, column int, text string) {
	p := Problem{Code: code, Line: line, Column: column, Text: text}
	if d.src.Sheet != "" && line > 0 && column > 0 {
		_, p.Cell, _ = strings.Cut(series.PlaceOf(d.src.Sheet, line, column), ", ")
	}
	d.out.Problems = append(d.out.Problems, p)
}

// placeOf reads back "line 12, column 4", `sheet "Log", D12`.
func (d *describer) placeOf(where string) (line, column int) {
	if _, err := fmt.Sscanf(where, "line %d, column %d", &line, &column); err == nil || line > 0 {
		return line, column
	}
	cell := where[strings.LastIndex(where, " ")+1:]
	for len(cell) > 0 && cell[0] >= 'A' && cell[0] <= 'Z' {
		column = column*26 + int(cell[0]-'A') + 1
		cell = cell[1:]
	}
	line, _ = strconv.Atoi(cell)
	return line, column
}

// cellProblems lists what of a column of readings was not taken.
func (d *describer) cellProblems(c *Column, t *tally) {
	if c.Kind == Event || c.Kind == Text {
		d.unread(c, t)
		return
	}
	if t.foreign > 0 {
		d.problem(series.CodeBadCell, t.foreignLine, c.Number, fmt.Sprintf("%q: %s in %s, which is no other way to write %s; shown as written", c.Name, are(t.foreign, "reading"), series.Quoted(t.foreignUnit), series.Quoted(t.unit)))
	}
	if t.bad > 0 {
		d.problem(series.CodeBadCell, t.badLine, c.Number, fmt.Sprintf("%q: %s no number, first %s", c.Name, are(t.bad, "cell"), series.Quoted(t.badText)))
	}
	if t.states > 0 && c.Kind != State && t.numbers > 0 {
		d.problem(series.CodeBadCell, t.stateLine, c.Number, fmt.Sprintf("%q: %s a word among numbers, first %s", c.Name, are(t.states, "cell"), series.Quoted(t.stateText)))
	}
	for _, v := range sorted(t.codes) {
		d.problem(series.CodeMissingCode, 0, c.Number, fmt.Sprintf("%q: %s %g, which loggers write where they have no reading; counted as missing", c.Name, are(t.codes[v], "reading"), v))
	}
	if t.outside > 0 {
		d.problem(series.CodeNotPlausible, 0, c.Number, fmt.Sprintf("%q: %s outside %.6g to %.6g; not in the range shown", c.Name, are(t.outside, "reading"), t.low, t.high))
	}
	if t.powerOn > 0 {
		d.problem(series.CodeNotPlausible, 0, c.Number, fmt.Sprintf("%q: %s exactly %g amid others far from it, as a probe shows at power-on; not in the range shown", c.Name, are(t.powerOn, "reading"), powerOnC))
	}
	if v, n, ok := t.faultEdge(); ok && c.Kind != State {
		d.problem(series.CodeNotPlausible, 0, c.Number, fmt.Sprintf("%q: %s exactly %g, far from all others: a broken probe may be written so; they are in the range shown", c.Name, are(n, "reading"), v))
	}
	if t.longest >= longZeros && (t.temp || newHeader(c.Name).any(wordsHumidity)) && (t.zeroAfter > farZero || t.zeroAfter < -farZero) {
		d.problem(series.CodeZeroRun, 0, c.Number, fmt.Sprintf("%q: %s exactly 0, up to %d in a row right after %g: a failed probe may be written so; they are in the range shown", c.Name, are(t.zeros, "reading"), t.longest, t.zeroAfter))
	}
}

// unread lists a column taken for text that was meant to hold readings: cells
// that would be numbers under other marks, numbers among text, or a unit in the
// header.
func (d *describer) unread(c *Column, t *tally) {
	if t.rows-t.empty == 0 {
		return
	}
	other, led, clocks := 0, 0, 0
	for s, k := range t.texts {
		switch {
		case isHoursMinutes(s):
			clocks += k
		case celltext.Classify(s) == celltext.Number:
			other += k
		case startsAsNumber(s):
			led += k
		}
	}
	_, stated := series.ParseUnit(d.src.Units[c.Number-1])
	switch filled := t.numbers + t.states + t.bad; {
	case other > 0:
		d.problem(series.CodeBadCell, t.badLine, c.Number, fmt.Sprintf("%q: %s no number with decimal mark %q, but would be one with another mark, first %s: --decimal, or decimal in [[log]], states it",
			c.Name, are(other, "cell"), t.marks.decimal, series.Quoted(t.badText)))
	case t.bad == 0:
	case 10*clocks >= 9*filled:
		if !d.at.Ready {
			return // times of day whose date was not found: the stamps' fault says so
		}
		d.problem(series.CodeBadCell, t.badLine, c.Number, fmt.Sprintf("%q: %s hours and minutes, first %s; taken for text: a length of time is read as a number of hours", c.Name, are(clocks, "cell"), series.Quoted(t.badText)))
	case stated && d.src.Units[c.Number-1] != "":
		d.problem(series.CodeBadCell, t.badLine, c.Number, fmt.Sprintf("%q: the unit %s is stated, yet %s no number, first %s; taken for text",
			c.Name, series.Quoted(d.src.Units[c.Number-1]), are(t.bad, "cell"), series.Quoted(t.badText)))
	case 2*(t.numbers+led) >= filled || 10*t.numbers >= filled && c.Kind == Text:
		d.problem(series.CodeBadCell, t.badLine, c.Number, fmt.Sprintf("%q: %s a number and %s none, first %s; taken for text", c.Name, are(t.numbers, "cell"), are(t.bad, "cell"), series.Quoted(t.badText)))
	}
}

// isHoursMinutes tells a length of time, "102:30:03" or "5:05".
func isHoursMinutes(s string) bool {
	parts := strings.Split(s, ":")
	if len(parts) < 2 || len(parts) > 3 {
		return false
	}
	for i, p := range parts {
		n := celltext.LeadingDigits(p)
		if n == 0 || n < len(p) && (i == 0 || i < len(parts)-1 || strings.Trim(p[n:], ".,0123456789") != "") || i > 0 && n != 2 {
			return false
		}
	}
	return true
}

// startsAsNumber: digits at the front or behind a comparison sign, as in
// "48.9*" and "<52.0".
func startsAsNumber(s string) bool {
	s = strings.TrimLeft(s, "<>≤≥~±+-−= ")
	return celltext.LeadingDigits(s) > 0 && celltext.Classify(s) != celltext.Stamp
}

// A run of exact zeros right after a reading far from 0 is doubtful.
const (
	longZeros = 6
	farZero   = 3
)

func are(n int, what string) string {
	if n == 1 {
		return "1 " + what + " is"
	}
	return series.Plural(n, what) + " are"
}

func sorted(codes map[float64]int) []float64 {
	out := make([]float64, 0, len(codes))
	for v := range codes {
		out = append(out, v)
	}
	sort.Float64s(out)
	return out
}

// codeDecimalMark is the table reader's word for a decimal mark that the cells
// do not prove.
const codeDecimalMark = "decimal-mark"
