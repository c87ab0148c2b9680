package ingest

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/logs"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
	"yardheat/ingest/table/celltext"
)

const (
	minuteMS = 60 * 1000
	hourMS   = 60 * minuteMS
	dayMS    = 24 * hourMS
)

// milkings makes the record's milkings from the farm's list or stated times.
func (l *loader) milkings() {
	m := l.farm.Milkings
	switch {
	case m.File != "":
		l.listedMilkings()
	case len(m.Times) > 0:
		l.statedTimes(m.Times)
		l.rec.MilkingsFrom = "times"
	}
	slices.SortStableFunc(l.rec.Milkings, func(a, b Milking) int { return cmp.Compare(a.Start, b.Start) })
}

// listedMilkings reads the farm's list, once: finding clocks asks for it early.
func (l *loader) listedMilkings() {
	if m := l.farm.Milkings; m.File != "" && l.rec.MilkingsFrom == "" {
		l.milkingList(m)
		l.rec.MilkingsFrom = "list"
	}
}

// wallToUTC reads a wall time in the farm's zone; in a repeated hour the first.
func (l *loader) wallToUTC(wall ...int64) []int64 {
	utc, _ := clock.Resolve(&clock.Column{Wall: wall}, l.rec.Zone)
	return utc
}

// statedTimes lays the stated times on every local day of the record; one whose
// end is not after its start goes on past midnight.
func (l *loader) statedTimes(times [][2]int) {
	if l.rec.Last <= l.rec.First {
		return
	}
	first, last := time.UnixMilli(l.rec.First).In(l.rec.Zone), time.UnixMilli(l.rec.Last).In(l.rec.Zone)
	day := midnight(first)
	for ; day <= midnight(last); day += dayMS {
		for _, t := range times {
			start, end := day+int64(t[0])*minuteMS, day+int64(t[1])*minuteMS
			if end <= start {
				end += dayMS
			}
			// One at a time: row order must not move a repeated hour.
			s, e := l.wallToUTC(start)[0], l.wallToUTC(end)[0]
			if e > l.rec.First && s < l.rec.Last {
				l.rec.Milkings = append(l.rec.Milkings, Milking{Start: s, End: e, MilkL: nan, InC: nan, OutC: nan})
			}
		}
	}
}

// midnight is the wall clock's midnight of a local time.
func midnight(t time.Time) int64 {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).UnixMilli()
}

// milkList is the milkings list while it is read.
type milkList struct {
	l    *loader
	m    farm.Milkings
	t    *table.Table
	col  map[string]int
	date []int64 // wall clock's midnight, or the full stamp; Bad where none
	odd  int
	last string
	line int
}

var milkKeys = [...]string{"date", "start", "end", "milk_volume", "milk_in_temp", "milk_out_temp"}

// milkingList reads the milkings list. Faults name its file.
func (l *loader) milkingList(m farm.Milkings) {
	b, err := logs.ReadBytes(l.root, m.File)
	if err == nil {
		l.rec.own(m.File, b)
	}
	var tables []*table.Table
	if err == nil {
		tables, err = table.ReadBytes(m.File, b, table.Options{})
	}
	if err != nil {
		l.faults = append(l.faults, logs.AsFault(m.File, err))
		return
	}
	k := &milkList{l: l, m: m, col: map[string]int{}}
	if !k.choose(tables) {
		return
	}
	k.read()
}

// choose takes the first table that has all the named columns.
func (k *milkList) choose(tables []*table.Table) bool {
	for n, t := range tables {
		k.t, k.col = t, map[string]int{}
		missing := ""
		for _, key := range milkKeys {
			header := k.m.Columns[key]
			if header == "" {
				continue
			}
			at := columnOf(t.Header, header)
			if at < 0 {
				missing = header
				break
			}
			k.col[key] = at
		}
		if missing == "" {
			break
		}
		if n == len(tables)-1 {
			do := "write the header as it stands in the file, or #n for the n-th column"
			if near := farm.Nearest(missing, t.Header); near != "" {
				do = fmt.Sprintf("did you mean %q?", near)
			}
			k.l.fault(k.m.File, k.place(t.HeaderLine, -1), "the columns "+series.List(t.Header, 12), fmt.Sprintf("a column %q, as [milkings.columns] says (farm.toml, line %d)", missing, k.m.Line), do)
			return false
		}
	}
	_, date := k.col["date"]
	_, start := k.col["start"]
	if !date && !start {
		k.l.fault(logs.FarmFile, fmt.Sprintf("line %d, key milkings.columns", k.m.Line), "neither date nor start", "date, or start with date and time", "name the column")
		return false
	}
	return true
}

// place names a cell of the list.
func (k *milkList) place(line, col int) string {
	return series.PlaceOf(k.t.Sheet, line, col+1)
}

// columnOf finds a header or "#n"; −1 = not there.
func columnOf(header []string, name string) int {
	if at := slices.Index(header, celltext.FoldBlanks(name)); at >= 0 {
		return at
	}
	if rest, ok := strings.CutPrefix(name, "#"); ok {
		if n, err := strconv.Atoi(rest); err == nil && n >= 1 && n <= len(header) {
			return n - 1
		}
	}
	return -1
}

// read reads all rows.
func (k *milkList) read() {
	if len(k.t.Rows) == 0 {
		k.l.problem(series.CodeFileEmpty, series.Note, k.m.File, "", "the milkings list has no rows")
		return
	}
	ok := true
	if _, has := k.col["date"]; has {
		k.date, ok = k.walls("date", nil)
	}
	if !ok {
		return
	}
	start, ok := k.walls("start", k.date)
	if !ok {
		return
	}
	end, ok := k.walls("end", k.date)
	if !ok {
		return
	}
	volume, inC, outC := k.numbers("milk_volume"), k.numbers("milk_in_temp"), k.numbers("milk_out_temp")
	assumed := 0
	for i := range k.t.Rows {
		m, guessed, good := k.row(start[i], end[i], k.dateOf(i))
		if !good {
			k.note(i, "no date and start that can be read")
			continue
		}
		if guessed {
			assumed++
		}
		m.MilkL, m.InC, m.OutC, m.Line = volume[i], inC[i], outC[i], k.t.Rows[i].Line
		k.l.rec.Milkings = append(k.l.rec.Milkings, m)
	}
	k.tell(assumed)
}

func (k *milkList) dateOf(i int) int64 {
	if k.date == nil {
		return clock.Bad
	}
	return k.date[i]
}

func (k *milkList) note(i int, why string) {
	if k.odd == 0 {
		k.line, k.last = k.t.Rows[i].Line, why
	}
	k.odd++
}

// assumedMilkingMS is how long a milking without a stated end is taken to last
// (common practice, no source).
const assumedMilkingMS = 2 * hourMS

// longestMilkingMS: a longer one is a slip of the pen.
const longestMilkingMS = 12 * hourMS

// row makes a milking of its wall times. Without a start it is the whole local
// day; an end before the start stands past midnight.
func (k *milkList) row(start, end, date int64) (m Milking, guessed, ok bool) {
	whole := k.m.MilkIs == "day" || start == clock.Bad
	if whole {
		day := date
		if day == clock.Bad {
			day = start
		}
		if day == clock.Bad {
			return m, false, false
		}
		if k.m.MilkIs == "collection" {
			at := k.l.wallToUTC(day)[0]
			return Milking{Start: at, End: at}, false, true
		}
		day -= mod(day, dayMS)
		return Milking{Start: k.l.wallToUTC(day)[0], End: k.l.wallToUTC(day + dayMS)[0]}, false, true
	}
	if end == clock.Bad {
		end, guessed = start+assumedMilkingMS, k.m.MilkIs != "collection"
		if k.m.MilkIs == "collection" {
			end = start
		}
	}
	if end < start {
		end += dayMS
	}
	s, e := k.l.wallToUTC(start)[0], k.l.wallToUTC(end)[0]
	return Milking{Start: s, End: e}, guessed, e >= s && e-s <= longestMilkingMS
}

func mod(a, b int64) int64 { return ((a % b) + b) % b }

// walls reads a column of dates, stamps or times of day as wall time, Bad where
// nothing can be read. Times of day are put on the row's date.
func (k *milkList) walls(key string, date []int64) ([]int64, bool) {
	out := make([]int64, len(k.t.Rows))
	for i := range out {
		out[i] = clock.Bad
	}
	c, has := k.col[key]
	if !has {
		return out, true
	}
	var texts []string
	var rows []int
	for i := range k.t.Rows {
		text := k.t.Rows[i].Cells[c]
		if ms, ok := timeOfDay(text); ok && key != "date" {
			if date != nil && date[i] != clock.Bad {
				out[i] = date[i] - mod(date[i], dayMS) + ms
			}
			continue
		}
		if text != "" {
			texts, rows = append(texts, text), append(rows, i)
		}
	}
	if len(texts) == 0 {
		return out, true
	}
	col, err := clock.Read(texts, clock.Options{Order: k.m.Dates})
	if err != nil {
		k.stampFault(key, err, rows)
		return out, false
	}
	if order, bad := k.disproved(texts, col); order != "" {
		k.l.fault(k.m.File, k.place(k.t.Rows[rows[bad]].Line, k.col[key]), fmt.Sprintf("%q", texts[bad]),
			fmt.Sprintf("a date in the order that dates = %q of [milkings] says", k.m.Dates),
			fmt.Sprintf("set dates = %q there (farm.toml, line %d): every row of the list can be read so", order, k.m.Line))
		return out, false
	}
	for n, i := range rows {
		out[i] = col.Wall[n]
	}
	return out, true
}

// disproved: the stated order cannot read some rows, and another reads all of
// them: then the statement is wrong, and the rows that it does read would stand
// on wrong days. It gives that order and the first row that proves it.
func (k *milkList) disproved(texts []string, col *clock.Column) (order string, bad int) {
	bad = slices.Index(col.Wall, clock.Bad)
	if k.m.Dates == "" || bad < 0 {
		return "", 0
	}
	for _, other := range []string{"dmy", "mdy", "ymd"} {
		c, err := clock.Read(texts, clock.Options{Order: other})
		if other != k.m.Dates && err == nil && !slices.Contains(c.Wall, clock.Bad) {
			return other, bad
		}
	}
	return "", 0
}

// timeOfDay reads "05:20", "5:20:00", "5.20" as milliseconds of the day.
func timeOfDay(text string) (int64, bool) {
	for _, form := range [...]string{"15:04", "15:04:05", "15.04", "3:04 PM", "3:04PM"} {
		if t, err := time.Parse(form, text); err == nil {
			return int64(t.Hour())*hourMS + int64(t.Minute())*minuteMS + int64(t.Second())*1000, true
		}
	}
	return 0, false
}

func (k *milkList) stampFault(key string, err error, rows []int) {
	line := k.t.Rows[rows[0]].Line
	var unsure *clock.OrderError
	if errors.As(err, &unsure) {
		k.l.fault(k.m.File, k.place(line, k.col[key]), fmt.Sprintf("%q, which reads as %s", unsure.Example, strings.Join(unsure.Orders, " or as ")), "dates whose order the file proves",
			fmt.Sprintf("add dates = \"%s\" to [milkings] (farm.toml, line %d)", strings.Join(unsure.Orders, "\" or \""), k.m.Line))
		return
	}
	k.l.fault(k.m.File, k.place(line, k.col[key]), err.Error(), "a "+key+" that can be read", "correct the list, or the column in [milkings.columns]")
}

// numbers reads a column of milk or of its temperature in litres or °C; NaN
// where there is none.
func (k *milkList) numbers(key string) []float64 {
	out := make([]float64, len(k.t.Rows))
	for i := range out {
		out[i] = math.NaN()
	}
	c, has := k.col[key]
	if !has {
		return out
	}
	info, _ := series.Lookup(series.Quantity(key))
	base, ok := k.unit(key, k.t.Units[c], info.Class)
	if !ok {
		return out
	}
	for i := range k.t.Rows {
		text := k.t.Rows[i].Cells[c]
		v, _, isNumber := table.ParseNumber(text, k.t.Decimal, k.t.Thousands)
		if !isNumber {
			if !table.IsMissing(text) {
				k.note(i, fmt.Sprintf("%q: want a number", text))
			}
			continue
		}
		if b := base(v); b >= info.Low && b <= info.High {
			out[i] = b
		} else {
			k.note(i, fmt.Sprintf("%s: %g is out of range", key, v))
		}
	}
	return out
}

// unit settles the unit of a column of the list: kilograms of milk are turned
// into litres by the farm's density.
func (k *milkList) unit(key, text string, class series.Class) (func(float64) float64, bool) {
	switch strings.ToLower(text) {
	case "":
		k.l.problem(series.CodeUnitAssumed, series.Note, k.m.File, k.place(k.t.HeaderLine, k.col[key]), "%s names no unit and is read in %s", key, class.BaseUnit())
		return series.BaseUnitOf(class).Base, true
	case "kg":
		if class == series.Volume {
			perL := k.l.farm.Milk.DensityKgPerL
			return func(kg float64) float64 { return kg / perL }, true
		}
	}
	u, known := series.ParseUnit(text)
	if !known || u.Class != class || u.Gallon {
		k.l.fault(k.m.File, k.place(k.t.HeaderLine, k.col[key]), fmt.Sprintf("the unit %q", text), "a unit of "+key+" that is read (L, m3, kg, gal_us, gal_imp; C, F)", "correct the header of the list")
		return nil, false
	}
	return u.Base, true
}

// tell lists what the list left open.
func (k *milkList) tell(assumed int) {
	if k.odd > 0 {
		k.l.problem(series.CodeMilkingOdd, series.LeftOut, k.m.File, k.place(k.line, -1), "%d cells or rows of the milkings list cannot be used, first: %s", k.odd, k.last)
	}
	if assumed > 0 {
		k.l.problem(series.CodeMilkingAssumed, series.Note, k.m.File, "", "%d milkings have no end and are taken to last 2 hours", assumed)
	}
}
