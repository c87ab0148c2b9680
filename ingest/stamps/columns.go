package stamps

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// stampKind is what the cells of a column hold, judged by a sample.
type stampKind uint8

const (
	noStamp stampKind = iota
	timeOnly
	dateOnly
	dateTime
	counted // seconds since 1970, or days of a spreadsheet
)

// sampleCells is how many cells settle what a column holds.
const sampleCells = 40

// sample takes filled cells of a column, spread over the rows.
func (t *Table) sample(col int) []string {
	out := make([]string, 0, sampleCells)
	stride := max(1, len(t.Rows)/(2*sampleCells))
	for i := 0; i < len(t.Rows) && len(out) < sampleCells; i += stride {
		if c := t.Rows[i].Cells[col]; c != "" {
			out = append(out, c)
		}
	}
	return out
}

// classify says what a sample of cells holds and whether they state an offset.
func classify(cells []string, opt clock.Options) (kind stampKind, offset bool) {
	if len(cells) == 0 {
		return noStamp, false
	}
	if dottedTimes(cells) {
		return timeOnly, false
	}
	like := 0
	for _, c := range cells {
		if celltext.LooksLikeStamp(c) || isLetteredClock(c) {
			like++
		}
	}
	col, err := clock.Read(cells, opt)
	var unsure *clock.OrderError
	if errors.As(err, &unsure) {
		col, err = clock.Read(cells, clock.Options{Layout: opt.Layout, Order: unsure.Orders[0]})
	}
	switch {
	case err != nil && 2*like >= len(cells) && isTimeOfDay(cells):
		return timeOnly, false
	case err != nil || 2*col.Bad > len(cells):
		return noStamp, false
	case opt.Layout == "" && 2*like < len(cells):
		if col.Bad == 0 && !strings.Contains(col.Layout, "Y") {
			return counted, true
		}
		return noStamp, false
	}
	for _, w := range col.Wall {
		if w != clock.Bad && w%dayMS != 0 {
			return dateTime, col.OffsetMS != nil
		}
	}
	return dateOnly, col.OffsetMS != nil
}

const dayMS = 24 * 3600 * 1000

// isTimeOfDay tells "05:20" and "5h20" from a date.
func isTimeOfDay(cells []string) bool {
	n := 0
	for _, c := range cells {
		if k := celltext.LeadingDigits(c); (k == 1 || k == 2) && k < len(c) && c[k] == ':' || isLetteredClock(c) {
			n++
		}
	}
	return 2*n >= len(cells)
}

// isLetteredClock knows "7h00" and "7h05min".
func isLetteredClock(c string) bool {
	k := celltext.LeadingDigits(c)
	if k == 0 || k > 2 || k == len(c) || c[k]|0x20 != 'h' {
		return false
	}
	m := celltext.LeadingDigits(c[k+1:])
	rest := strings.ToLower(c[k+1+m:])
	return m == 2 && (rest == "" || rest == "m" || rest == "min" || rest == "mn") && (k == 1 || c[:2] <= "24")
}

// dottedTimes tells "6.30.00" from a date: hours, minutes and seconds in every
// cell, and minutes in one that are no day and no month.
func dottedTimes(cells []string) bool {
	proved := false
	for _, c := range cells {
		parts := strings.Split(c, ".")
		if len(parts) != 3 || len(parts[0]) > 2 || len(parts[1]) != 2 || len(parts[2]) != 2 {
			return false
		}
		var n [3]int
		for i, p := range parts {
			v, err := strconv.Atoi(p)
			if err != nil || v < 0 || v > [...]int{24, 59, 59}[i] {
				return false
			}
			n[i] = v
		}
		proved = proved || n[1] > 31 || n[1] == 0
	}
	return proved
}

// dottedClock: every cell may be hours and minutes with a point, "6.30"; so
// may many a number.
func dottedClock(cells []string) bool {
	for _, c := range cells {
		h, m, ok := strings.Cut(c, ".")
		hour, err := strconv.Atoi(h)
		minute, err2 := strconv.Atoi(m)
		if !ok || err != nil || err2 != nil || len(m) != 2 || len(h) > 2 || hour < 0 || hour > 24 || minute < 0 || minute > 59 {
			return false
		}
	}
	return len(cells) > 0
}

// namesTime tells whether a header says that its column holds times of day.
func namesTime(header string) bool {
	return timeWords[strings.ToLower(strings.Trim(header, " .:()[]"))]
}

// timeWords in the languages whose loggers are met (common practice, no
// source).
var timeWords = func() map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields("time clock uhrzeit zeit uhr heure hora ora kl klo kello kellonaika aika tid klokkeslett klokkeslæt tijd godzina czas čas hour") {
		out[w] = true
	}
	return out
}()

// FindStamps settles which columns of a sample of the log's table hold its
// stamps.
func (t *Table) FindStamps(log *farm.Log) bool {
	t.log = log
	return t.findStamps()
}

// findStamps settles which columns of a table hold its stamps, and what it says
// of their zone.
func (t *Table) findStamps() bool {
	if !t.findColumns() {
		return false
	}
	t.findZones()
	return true
}

func (t *Table) findColumns() bool {
	opt := clock.Options{Layout: t.log.StampLayout}
	if list := t.log.StampColumns; len(list) > 0 {
		return t.statedStamps(list)
	}
	free := t.freeColumns()
	kinds := make([]stampKind, len(t.Header))
	var whole, zoned []int
	why := ""
	for _, i := range free {
		cells := t.sample(i)
		k, offset := classify(cells, opt)
		if k == noStamp && dottedClock(cells) && namesTime(t.Header[i]) {
			k = timeOnly
		}
		kinds[i] = k
		if k == dateTime && !allSame(cells) {
			whole = append(whole, i)
			if offset || t.namedZone(i) != nil {
				zoned = append(zoned, i)
			}
		}
	}
	switch {
	case len(whole) == 1:
		t.Columns = whole
	case len(whole) > 1:
		t.Columns = whole[:1]
		if len(zoned) > 0 {
			t.Columns = zoned[:1]
		}
		t.Found.Problem(series.CodeStampChoice, series.Note, t.Name, t.Place(t.HeaderLine, t.Columns[0]),
			"%d columns hold stamps; %s is used: stamp_columns in [[log]] names another", len(whole), series.Quoted(t.Header[t.Columns[0]]))
	default:
		t.dottedBesideDates(free, kinds)
		t.dropDurations(free, kinds)
		t.Columns = pairOrAlone(free, kinds)
		if opt.Layout == "" && len(t.Columns) < 2 {
			t.findParts(free, kinds)
		}
		if t.Columns == nil {
			t.Columns = t.countedColumn(free, kinds)
		}
		if t.Columns == nil && opt.Layout != "" {
			t.Columns = t.layoutPair(free, opt)
		}
		if t.Columns == nil && opt.Layout == "" {
			t.findAbove(free, kinds)
		}
	}
	yearless := func(i int) bool { return t.yearless(i, false) || t.yearless(i, true) }
	if t.Columns == nil && opt.Layout == "" && t.Stream == nil {
		why = t.otherYears(free)
	}
	if t.Columns == nil && why == "" && opt.Layout == "" && t.Stream == nil && !slices.ContainsFunc(free, yearless) {
		why = t.missingDates(free)
	}
	if t.Columns == nil {
		t.noStamps(why)
	}
	return t.Columns != nil
}

// allSame: every cell of a longer sample is the same: no stamp of a row.
func allSame(cells []string) bool {
	for _, c := range cells {
		if c != cells[0] {
			return false
		}
	}
	return len(cells) > 2
}

// pairOrAlone takes a date and the time of day nearest beside it, else the
// date alone.
func pairOrAlone(free []int, kinds []stampKind) []int {
	for n, i := range free {
		if kinds[i] != dateOnly {
			continue
		}
		for d := 1; d < len(free); d++ {
			if n+d < len(free) && kinds[free[n+d]] == timeOnly {
				return []int{i, free[n+d]}
			}
			if n-d >= 0 && kinds[free[n-d]] == timeOnly {
				return []int{i, free[n-d]}
			}
		}
		return []int{i}
	}
	return nil
}

// layoutPair finds two neighbouring columns that together read as the stated
// layout.
func (t *Table) layoutPair(free []int, opt clock.Options) []int {
	for n := 1; n < len(free); n++ {
		var joined []string
		for i := 0; i < len(t.Rows) && len(joined) < sampleCells; i++ {
			joined = append(joined, t.Rows[i].Cells[free[n-1]]+" "+t.Rows[i].Cells[free[n]])
		}
		if k, _ := classify(joined, opt); k == dateTime || k == dateOnly {
			return []int{free[n-1], free[n]}
		}
	}
	return nil
}

// freeColumns are those that the farm file does not map.
func (t *Table) freeColumns() []int {
	var free []int
	for i := range t.Header {
		if !t.Taken[i] {
			free = append(free, i)
		}
	}
	return free
}

func (t *Table) statedStamps(list []string) bool {
	for _, h := range list {
		at := t.Find(h)
		if len(at) != 1 {
			t.Found.Fault(t.Name, t.Place(t.HeaderLine, -1), t.Headers(), "one column "+series.Quoted(h)+", as stamp_columns says", NearHint(h, t.Header))
			t.Columns = nil
			return false
		}
		t.Columns = append(t.Columns, at[0])
	}
	if t.log.StampLayout == "" {
		t.statedParts()
		if kind, _ := classify(t.sample(t.Columns[0]), clock.Options{}); len(t.Columns) == 1 && (kind == noStamp || kind == timeOnly) {
			t.missingDates(t.Columns)
		}
	}
	return true
}

// noStamps is the fault of a table without stamps; why says more where it is
// known.
func (t *Table) noStamps(why string) {
	got := t.Headers()
	if why != "" {
		got = why + "; " + got
	}
	if len(t.Rows) > 0 && why == "" && slices.ContainsFunc(t.Rows[0].Cells, yearless) {
		got = "dates without a year; " + got
	}
	if len(t.Rows) > 0 {
		got += ", the first row " + series.Quoted(strings.Join(t.Rows[0].Cells, " | "))
		got += t.partsSeen(why != "")
	}
	t.Found.Fault(t.Name, t.Place(t.HeaderLine, -1), got, "a column of stamps, or one of dates beside one of times of day",
		"name it by stamp_columns in [[log]], and its layout by stamp_layout where it is an odd one")
}

// joinTexts makes the stamps' texts, one a row: several columns joined by a
// blank, a date that stands only in the first row of its day carried on.
func (t *Table) joinTexts() {
	if t.Stream != nil {
		t.texts, t.at = clock.Texts(t.Stream.Runs)
		return
	}
	if t.made == nil && len(t.Columns) == 2 && t.parts == nil && t.datesCarried() {
		t.carryPairs()
	}
	if t.made != nil {
		t.texts = t.made.texts
		return
	}
	t.texts = make([]string, len(t.Rows))
	if t.above != nil {
		t.textsFromAbove()
		return
	}
	if len(t.Columns) == 1 {
		for i := range t.Rows {
			t.texts[i] = t.Rows[i].Cells[t.Columns[0]]
		}
		return
	}
	if t.parts != nil {
		for i := range t.Rows {
			t.texts[i] = t.partsText(t.Rows[i].Cells)
		}
		return
	}
	for i := range t.Rows {
		text := dayPart(t.Rows[i].Cells[t.Columns[0]])
		for _, c := range t.Columns[1:] {
			if s := t.Rows[i].Cells[c]; s == "" {
				text = ""
			} else if text != "" {
				text += " " + s
			}
		}
		t.texts[i] = text
	}
}

// datesCarried: a good part of the date cells are empty though the time beside
// them is there.
func (t *Table) datesCarried() bool {
	empty := 0
	for i := range t.Rows {
		if t.Rows[i].Cells[t.Columns[0]] == "" && t.Rows[i].Cells[t.Columns[1]] != "" {
			empty++
		}
	}
	return 10*empty > 3*len(t.Rows)
}

// dayPart takes a midnight off a date that has a time of day in a column of
// its own: "2026-01-05T00:00:00.000", "05.01.2026 00:00".
func dayPart(date string) string {
	for _, sep := range [...]string{"T", " "} {
		if day, clock, ok := strings.Cut(date, sep); ok && strings.Trim(clock, "0:.") == "" && strings.Contains(clock, ":") {
			return day
		}
	}
	return date
}
