package look

import (
	"cmp"
	"iter"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/stamps"
	"yardheat/ingest/table"
)

// describer describes one table.
type describer struct {
	opt   Options
	src   *table.Table
	at    *stamps.Table
	log   *farm.Log
	zone  *time.Location // of the file or the option; nil = not known
	out   Table
	cols  []int // columns that hold no stamps
	tally []*tally
	// marks is, by row in the order of time, what it holds.
	marks []rowMark
	// eitherMarks are numbers whose mark may part thousands, proofs those whose
	// mark cannot.
	eitherMarks, proofs int
	twins               []twin
}

type rowMark uint8

const (
	hasReading rowMark = 1 << iota
	hasText
	// hasWord: where a number belongs, something else stands.
	hasWord
)

// row is one row in the order of time.
type row struct {
	atMS  int64
	line  int
	cells []string
}

func newDescriber(path string, t *table.Table, opt Options) *describer {
	d := &describer{opt: opt, src: t}
	d.out = Table{File: path, Sheet: t.Sheet, Encoding: t.Encoding, Separator: t.Separator, Decimal: cmp.Or(t.TextDecimal, t.Decimal), Thousands: t.Thousands,
		HeaderLine: t.HeaderLine, Preamble: []string{}, Columns: []Column{}, Unsure: []Doubt{}, Problems: []Problem{}}
	if t.File != path && t.File != "" {
		d.out.Member = strings.TrimLeft(strings.TrimPrefix(t.File, path), ":/!, ")
	}
	d.out.Stamp.Columns = []string{}
	if len(t.Rows) > 0 {
		d.out.FirstRow = t.Rows[0].Line
	}
	for _, r := range t.Preamble {
		d.out.Preamble = append(d.out.Preamble, strings.Join(filled(r.Cells), " | "))
	}
	return d
}

func filled(cells []string) []string {
	var out []string
	for _, c := range cells {
		if c != "" {
			out = append(out, c)
		}
	}
	return out
}

func (d *describer) run() {
	d.readStamps()
	d.pass()
	d.describeColumns()
	d.timing()
	d.doubts()
	d.problems()
}

// readStamps reads the stamps as the loader does. An order of day and month
// that the rows leave open is assumed, and said so.
func (d *describer) readStamps() {
	d.log = &farm.Log{Zone: d.opt.Zone, Dates: d.opt.Dates, Clock: "keep"}
	d.tryStamps()
	if open := d.at.Open; open != nil && len(open.Orders) > 0 {
		d.log.Dates = open.Orders[0]
		d.tryStamps()
		d.at.Open = open
		d.out.Stamp.Order = open.Orders[0]
	}
	if d.at.Ready {
		d.stampFacts()
	}
}

func (d *describer) tryStamps() {
	d.at = &stamps.Table{Name: d.out.File, Table: d.src, Taken: make([]bool, len(d.src.Header)), Tagged: d.out.Tags != nil}
	f := &farm.Farm{Zone: time.UTC}
	stamps.Read([]*stamps.Table{d.at}, d.log, f, stamps.Options{Now: d.opt.Now, FarDays: reading.DefaultFlagOptions().FarDays,
		Each: func(n int, f func(int)) {
			for i := range n {
				f(i)
			}
		}})
}

// stampFacts says how the stamps are written and what proves it.
func (d *describer) stampFacts() {
	c := d.at.Clock()
	for _, i := range d.at.Columns {
		d.out.Stamp.Columns = append(d.out.Stamp.Columns, d.name(i))
	}
	d.out.Stamp.Format, d.out.Stamp.Because = c.Layout, c.Because
	var why string
	switch stated := d.at.ZoneStated(); {
	case stated == "rows":
		d.out.Stamp.Zone, why = d.at.Zone, "each row states its offset"
		if strings.Contains(c.Because, "1970") {
			why = ""
		}
		d.zone = time.UTC
	case d.opt.Zone != "":
		d.out.Stamp.Zone, why = d.opt.Zone, "the zone is stated by option"
		d.zone, _ = clock.ParseZone(d.opt.Zone)
	case stated == "header":
		d.out.Stamp.Zone, why = d.at.Zone, "the stamp's header names the zone"
		d.zone, _ = clock.ParseZone(d.at.Zone)
	case stated == "file":
		d.out.Stamp.Zone, why = d.at.Zone, "the file names the zone beside its stamps"
		d.zone, _ = clock.ParseZone(d.at.Zone)
	}
	if why != "" {
		d.out.Stamp.Because += "; " + why
	}
}

func (d *describer) name(col int) string {
	if h := d.src.Header[col]; h != "" {
		return h
	}
	return number(col)
}

// rows gives the rows with a stamp in the order of time; where no stamps were
// found, all rows in the order of the file.
func (d *describer) rows() iter.Seq[row] {
	return func(yield func(row) bool) {
		if !d.at.Ready {
			for i := range d.src.Rows {
				if r := &d.src.Rows[i]; !yield(row{atMS: int64(i), line: r.Line, cells: r.Cells}) {
					return
				}
			}
			return
		}
		for _, i := range d.at.Order {
			if r := &d.src.Rows[i]; !yield(row{atMS: d.at.At[i], line: r.Line, cells: r.Cells}) {
				return
			}
		}
	}
}

// span is what rows gives first and last; rows in the future or of a clock
// that was not set are not in it.
func (d *describer) span() (first, last int64) {
	if d.at.Ready {
		return d.at.First, d.at.Last
	}
	return 0, int64(len(d.src.Rows) - 1)
}

// tenth is the tenth of the span in which a time lies.
func tenth(at, first, last int64) int {
	if last <= first {
		return 0
	}
	return int(min(9, max(0, (at-first)*10/(last-first))))
}

// timing sets rows, span, interval, gaps and order. Rows that only mark an
// event stand at odd times and are left out of all but the count.
func (d *describer) timing() {
	if !d.at.Ready {
		return
	}
	d.out.Rows = len(d.at.Order)
	for _, m := range d.marks {
		if m == hasText {
			d.out.EventRows++
		}
	}
	if 2*d.out.EventRows >= d.out.Rows {
		d.out.EventRows = 0
	}
	at := make([]int64, 0, len(d.at.Order))
	firstRow, lastRow := int32(-1), int32(-1)
	for k, i := range d.at.Order {
		if d.out.EventRows > 0 && d.marks[k] == hasText || d.at.RowFlags != nil && d.at.RowFlags[i] != 0 {
			continue
		}
		if firstRow < 0 {
			firstRow = i
		}
		lastRow = i
		at = append(at, d.at.At[i])
	}
	if firstRow < 0 {
		return
	}
	d.out.First, d.out.Last = d.written(firstRow), d.written(lastRow)
	d.steps(at)
	d.order()
}

// steps sets interval and gaps.
func (d *describer) steps(at []int64) {
	at = slices.Compact(at) // of a long log, else a sample of the steps may hold the zeros alone
	usual, regular := reading.Pace(at)
	d.out.IntervalS, d.out.Regular = float64(usual)/1000, regular
	most := reading.DefaultFlagOptions().GapIntervals * float64(usual)
	for i := 1; i < len(at); i++ {
		step := at[i] - at[i-1]
		d.out.LongestS = max(d.out.LongestS, float64(step)/1000)
		if regular && float64(step) > most {
			d.out.Gaps++
		}
	}
}

// order counts rows that share a stamp with another and rows that stand before
// the one above them, as the file is written.
func (d *describer) order() {
	up, down := 0, 0
	all := make([]int64, 0, len(d.src.Rows))
	var last int64 = clock.Bad
	for i := range d.src.Rows {
		at := d.stampMS(int32(i))
		if at == clock.Bad {
			continue
		}
		all = append(all, at)
		if last != clock.Bad && at > last {
			up++
		} else if last != clock.Bad && at < last {
			down++
		}
		last = at
	}
	if d.out.Tags == nil {
		if up > 0 && down > 0 {
			slices.Sort(all)
		}
		for i := 1; i < len(all); i++ {
			if all[i] == all[i-1] {
				d.out.Duplicates++
			}
		}
	}
	d.out.NewestFirst = down > up
	d.out.OutOfOrder = min(up, down)
}

// stampMS is a row's stamp as the file states it, before rows that share a
// minute were spread over it.
func (d *describer) stampMS(i int32) int64 {
	c := d.at.Clock()
	if c.Wall[i] == clock.Bad {
		return clock.Bad
	}
	if c.OffsetMS != nil && c.OffsetMS[i] != clock.NoOffset {
		return c.Wall[i] - c.OffsetMS[i]
	}
	if d.zone == nil {
		return c.Wall[i]
	}
	if d.spread() {
		return d.at.At[i] / 60000 * 60000
	}
	return d.at.At[i]
}

// spread: rows that share a stamp without seconds were spread over its minute.
func (d *describer) spread() bool {
	return slices.ContainsFunc(d.at.Found.Problems, func(p series.Problem) bool { return p.Code == series.CodeStampCoarse })
}

// written is a row's stamp as RFC 3339, with the offset that the row, the
// header or an option gives.
func (d *describer) written(i int32) string {
	const wall, frac = "2006-01-02T15:04:05", ".999"
	c := d.at.Clock()
	t := time.UnixMilli(c.Wall[i]).UTC()
	switch {
	case c.OffsetMS != nil && c.OffsetMS[i] != clock.NoOffset:
		off := int(c.OffsetMS[i] / 1000)
		return t.Add(-time.Duration(off) * time.Second).In(time.FixedZone("", off)).Format(wall + frac + "Z07:00")
	case d.zone != nil:
		return time.UnixMilli(d.stampMS(i)).In(d.zone).Format(wall + frac + "Z07:00")
	}
	return t.Format(wall + frac)
}
