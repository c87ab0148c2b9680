package look

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// doubt books what the file alone cannot settle. settle is a line of [[log]].
func (d *describer) doubt(key, settle, assumed, format string, args ...any) {
	flag := map[string]string{"dates": "--dates", "decimal": "--decimal", "zone": "--zone", "header": "--header", "separator": "--separator", "encoding": "--encoding"}[key]
	d.out.Unsure = append(d.out.Unsure, Doubt{About: key, Flag: flag, Text: fmt.Sprintf(format, args...), Assumed: assumed, Settle: settle})
}

func (d *describer) ofColumns(names []string) {
	d.out.Unsure[len(d.out.Unsure)-1].Columns = names
}

// doubts lists everything that was assumed.
func (d *describer) doubts() {
	d.encodingDoubt()
	d.decimalDoubt()
	d.dateDoubts()
	d.zoneDoubt()
	d.unitDoubts()
	d.stampDoubt()
	d.twinDoubts()
	if d.out.HeaderLine == 0 && len(d.src.Rows) > 0 {
		d.doubt("header", "header = 0", "no header: columns are called #1, #2, …", "no line names the columns")
	}
}

// encodingDoubt: code pages that only their bytes tell.
func (d *describer) encodingDoubt() {
	switch d.src.Encoding {
	case "Windows-1252":
		names := strings.Join(d.src.Header, " ")
		for _, t := range d.tally {
			for _, w := range commonest(t.texts, 5) {
				if !plainText(w) {
					names += " " + w
				}
			}
		}
		if d.opt.Table.Encoding == "" && !table.Western(names) {
			d.doubt("encoding", `encoding = "Windows-1250"   # or what the logger's program says`, d.src.Encoding, "nothing in the file states its encoding, and its letters are of no language that is written in %s: %s", d.src.Encoding, series.Quoted(names))
		}
	case "Windows-1250", "Windows-1254", "Shift-JIS", "EUC-JP", "GBK", "EUC-KR", "Big5", "Windows-1251":
		if d.opt.Table.Encoding == "" {
			d.doubt("encoding", fmt.Sprintf("encoding = %q", d.src.Encoding), d.src.Encoding, "the letters are those of %s by the pattern of their bytes; nothing in the file states it", d.src.Encoding)
		}
	}
}

func (d *describer) decimalDoubt() {
	settle := `decimal = "."   # or ","`
	for _, p := range d.src.Problems {
		if p.Code == codeDecimalMark {
			d.doubt("decimal", settle, fmt.Sprintf("decimal %q, thousands %q", d.src.Decimal, d.src.Thousands), "%s", p.Text)
			return
		}
	}
	if d.src.Sheet != "" {
		return
	}
	if d.src.Decimal == "" {
		if slices.ContainsFunc(d.tally, func(t *tally) bool { return t.numbers > 0 }) {
			d.doubt("decimal", settle, "none is needed: every number is whole", "no number has a decimal mark")
		}
		return
	}
	if d.proofs > 0 || d.eitherMarks == 0 {
		return
	}
	if names := d.thousandfold(); len(names) > 0 {
		d.doubt("decimal", settle, fmt.Sprintf("%q is the decimal mark", d.src.Decimal), "every %q has exactly three digits behind it: it may part thousands", d.src.Decimal)
		d.ofColumns(names)
	}
}

// thousandfold are the columns whose readings would still make sense if their
// mark parted thousands.
func (d *describer) thousandfold() []string {
	var names []string
	for k, t := range d.tally {
		if t.plausible == 0 || t.whole || t.temp && math.IsInf(t.high, 0) {
			continue
		}
		if u, ok := series.ParseUnit(t.unit); (ok && u.Class == series.Temperature || t.temp) && 1000*math.Max(math.Abs(t.least), math.Abs(t.most)) > t.high {
			continue
		}
		names = append(names, d.name(d.cols[k]))
	}
	return names
}

func (d *describer) dateDoubts() {
	if open := d.at.Open; open != nil {
		d.doubt("dates", fmt.Sprintf("dates = %q   # or %q", open.Orders[0], open.Orders[len(open.Orders)-1]), open.Orders[0]+", though report will ask for it",
			"%s reads as %s: %s", series.Quoted(open.Example), strings.Join(open.Orders, " or as "), open.Reason)
		return
	}
	for _, p := range d.at.Found.Problems {
		switch p.Code {
		case series.CodeDatesByCustom:
			d.doubt("dates", `dates = "dmy"   # or "mdy"`, "day first", "%s", strings.TrimSuffix(p.Text, ": dates in [[log]] states it"))
		case series.CodeStampChoice:
			said, columns := "several columns hold stamps", d.out.Stamp.Columns
			if strings.HasPrefix(p.Text, "each row") {
				said, _, _ = strings.Cut(p.Text, ": stamp_columns")
			}
			if len(columns) > 0 {
				d.doubt("stamp_columns", fmt.Sprintf("stamp_columns = [%q]", columns[0]), strings.Join(quotedAll(columns), " and "), "%s", said)
			}
		case series.CodeStampCoarse:
			d.doubt("stamp_layout", "# nothing to set: export with seconds if the logger can", "rows of a minute are spread over it", "%s", p.Text)
		}
	}
	if d.at.Ready && yearOfTwo(d.out.Stamp.Format) && !strings.Contains(d.out.Stamp.Because, "reads no other way") && d.out.Stamp.Order == "" && d.opt.Dates == "" &&
		!slices.ContainsFunc(d.out.Unsure, func(u Doubt) bool { return u.About == "dates" }) {
		d.doubt("dates", `dates = "dmy"   # or "ymd", "mdy"`, "as "+d.out.Stamp.Format, "the year has two digits")
	}
}

func plainText(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r >= 0x80 }) < 0
}

func quotedAll(names []string) []string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = series.Quoted(n)
	}
	return out
}

func yearOfTwo(format string) bool {
	return strings.Contains(format, "YY") && !strings.Contains(format, "YYYY") && !strings.Contains(format, "MMM")
}

// zoneDoubt: no zone is stated. A stamp that goes back by an hour in autumn, or
// leaves one out in spring, shows that the clock keeps summer time.
func (d *describer) zoneDoubt() {
	if !d.at.Ready || d.zone != nil {
		return
	}
	text := "nothing states the zone of the stamps"
	if said := d.zoneSaid(); said != "" {
		text = said
	}
	if e := d.clockChange(); e != "" {
		text += "; " + e
	}
	d.doubt("zone", `zone = "Europe/Rome"   # or "UTC", "+01:00"; else the farm's timezone`, "the farm's timezone", "%s", text)
}

// zoneSaid is what the file says of its zone that does not settle it: an
// abbreviation of several zones, or one in the stamp's header or above it that
// may be meant with or without summer time.
func (d *describer) zoneSaid() string {
	for _, p := range d.at.Found.Problems {
		if p.Code == series.CodeZoneWord {
			said, _, _ := strings.Cut(p.Text, ": ")
			return said
		}
	}
	lines := slices.Clone(d.out.Stamp.Columns)
	for _, r := range d.src.Preamble {
		lines = append(lines, strings.Join(r.Cells, " "))
	}
	for _, line := range lines {
		for _, w := range strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(" ()[],;:=_", r) }) {
			if _, word, known, _ := clock.ZoneText(w); word != "" && known {
				return fmt.Sprintf("%s says %s, which may be meant with or without summer time", series.Quoted(line), w)
			}
		}
	}
	return ""
}

// clockChange finds the steps of a clock that keeps summer time, by the rows
// in the order of the file. Changes fall on a Sunday night nearly everywhere
// (common practice, no source).
func (d *describer) clockChange() string {
	c := d.at.Clock()
	usual := int64(d.out.IntervalS * 1000)
	if usual <= 0 || usual > 3600_000 || d.out.NewestFirst {
		return ""
	}
	const hourMS = 3600_000
	var last int64 = clock.Bad
	for i, wall := range c.Wall {
		if wall == clock.Bad {
			continue
		}
		if step := wall - last; last != clock.Bad {
			at := time.UnixMilli(last).UTC()
			night := at.Weekday() == time.Sunday && at.Hour() < 4
			switch {
			case step <= -hourMS+2*usual && step >= -hourMS-usual && step < 0 && usual <= hourMS/2 || step == 0 && usual == hourMS && night:
				return fmt.Sprintf("the clock goes back by an hour at %s (line %d), as where summer time ends", at.Format("2006-01-02 15:04"), d.src.Rows[i].Line)
			case night && step == hourMS+usual && d.out.Regular && at.Month() != time.January:
				return fmt.Sprintf("an hour is left out at %s (line %d), as where summer time begins", at.Format("2006-01-02 15:04"), d.src.Rows[i].Line)
			}
		}
		last = wall
	}
	return ""
}

// unitDoubts lists columns of readings whose unit the file does not state.
func (d *describer) unitDoubts() {
	var none, assumed, lettered []string
	quantity, unit := "…", "C"
	for _, c := range d.out.Columns {
		switch {
		case c.Unit != "" || c.Readings == 0 || d.out.Tags != nil && !c.Tag:
		case c.Kind == Instant || c.Kind == Mean || c.Kind == Counter:
			if none = append(none, c.Name); len(none) == 1 && c.UnitAssumed != "" {
				quantity, unit = c.Quantity, c.UnitAssumed
			}
			if c.UnitAssumed != "" {
				assumed = append(assumed, fmt.Sprintf("%s in %s", c.Name, c.UnitAssumed))
			}
			if c.letter != "" && c.UnitAssumed == c.letter {
				lettered = append(lettered, c.Name)
			}
		}
	}
	if len(none) == 0 {
		return
	}
	said := "none"
	if len(assumed) > 0 {
		said = strings.Join(assumed, ", ")
	}
	text := "no unit is stated for " + series.List(none, 8)
	if len(lettered) > 0 {
		text += ", unless the last letter of " + series.List(lettered, 8) + " is one"
	}
	d.doubt("log.columns", fmt.Sprintf("%q = { quantity = %q, unit = %q }", none[0], quantity, unit), said, "%s", text)
	d.ofColumns(none)
}

// stampDoubt: amounts and means stand for an interval that ends, or begins, at
// the stamp.
func (d *describer) stampDoubt() {
	var names []string
	for _, c := range d.out.Columns {
		if c.Kind == Mean && c.Readings > 0 {
			names = append(names, c.Name)
		}
	}
	if len(names) == 0 || !d.at.Ready || d.at.Ranged() {
		return
	}
	d.doubt("stamp", `stamp = "end"   # or "start", "instant"`, "the end; of temperatures, the instant", "the stamp may be the start or the end of the interval of %s", series.List(names, 5))
	d.ofColumns(names)
}

// twin is a pair of columns of which one may be the other in °F.
type twin struct {
	c, f int // into cols
	n    int
}

// mostTwins columns are held against each other.
const mostTwins = 12

func (d *describer) startTwins() {
	n := min(len(d.cols), mostTwins)
	for a := range n {
		for b := range n {
			if a != b {
				d.twins = append(d.twins, twin{c: a, f: b})
			}
		}
	}
}

// findTwins keeps the pairs that every row holds for.
func (d *describer) findTwins() {
	d.startTwins()
	for r := range d.rows() {
		if len(d.twins) == 0 {
			return
		}
		d.stepTwins(r.cells)
	}
}

// stepTwins drops the pairs that this row disproves.
func (d *describer) stepTwins(cells []string) {
	kept := d.twins[:0]
	for _, w := range d.twins {
		if w.holds(d.tally, cells[d.cols[w.c]], cells[d.cols[w.f]]) {
			kept = append(kept, w)
		}
	}
	d.twins = kept
}

func (w *twin) holds(tallies []*tally, textC, textF string) bool {
	if textC == "" && textF == "" {
		return true
	}
	m := tallies[w.c].marks
	c, _, okC := parse(textC, m)
	f, _, okF := parse(textF, m)
	w.n++
	return okC && okF && math.Abs(c*1.8+32-f) <= 0.11
}

func (d *describer) twinDoubts() {
	for _, w := range d.twins {
		c, f := &d.out.Columns[w.c], &d.out.Columns[w.f]
		if w.n < 10 || c.Unit != "" || d.tally[w.c].least == d.tally[w.c].most {
			continue
		}
		c.Because = filledJoin(fmt.Sprintf("in °C: %s is the same in °F", f.Name), c.Because)
		f.Because = filledJoin(fmt.Sprintf("in °F: 1.8 times %s and 32 in every row", c.Name), f.Because)
		d.doubt("log.columns", fmt.Sprintf("%q = \"ignore\"", f.Name), "none", "%s is 1.8 times %s and 32 in every row: one temperature in °C and °F", series.Quoted(f.Name), series.Quoted(c.Name))
		d.ofColumns([]string{c.Name, f.Name})
	}
}
