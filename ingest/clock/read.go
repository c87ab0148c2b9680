package clock

import (
	"fmt"
	"strings"
)

// Read finds the layout and the date order of one column of stamps, one text
// a row (date and time already joined by one blank), and reads it. The order
// is decided once, over all rows. The error is an *OrderError, a *StampError
// or says what is wrong with Options.
func Read(texts []string, opt Options) (*Column, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	var rows []stamp
	if opt.Layout != "" {
		l, err := compile(opt.Layout)
		if err != nil {
			return nil, err
		}
		rows = l.readAll(texts)
	} else {
		rows = scanAll(texts)
		dropTorn(rows)
	}
	ranged := settleRanges(rows)
	f, n := commonest(rows)
	if n == 0 {
		return nil, noStamp(texts, opt)
	}
	o, because, err := orderOf(rows, texts, f, opt)
	if err != nil {
		return nil, err
	}
	col := column(rows, o)
	if col.Bad == len(rows) {
		return nil, noStamp(texts, opt)
	}
	col.Because, col.Layout, col.Ranged = because, opt.Layout, ranged
	if col.Layout == "" {
		col.Layout = layoutOf(rows, f, o)
	}
	if ranged {
		col.Because += "; each row states from and to: the stamp is where its interval begins"
	}
	return col, nil
}

// Validate says what is wrong with the options.
func (o Options) Validate() error {
	if _, ok := inWords[o.Order]; o.Order != "" && !ok {
		return fmt.Errorf("dates = %q: want dmy, mdy or ymd", o.Order)
	}
	if o.Layout != "" {
		_, err := compile(o.Layout)
		return err
	}
	return nil
}

func scanAll(texts []string) []stamp {
	rows := make([]stamp, len(texts))
	var sc scanner
	for i, t := range texts {
		rows[i] = sc.scan(t)
	}
	return rows
}

// dropTorn strikes out stamps whose time of day was cut short: an hour alone
// among times with minutes, "10:3" in a column that writes "10:03".
func dropTorn(rows []stamp) {
	clocked, bare, padded, short := 0, 0, 0, 0
	for i := range rows {
		r := &rows[i]
		if !r.clocked {
			continue
		}
		clocked++
		switch {
		case r.style&oneDigit != 0:
			short++
		case r.style&zeroPadded != 0:
			padded++
		}
		if r.style&bareHour != 0 && r.half == 0 {
			bare++
		}
	}
	for i := range rows {
		r := &rows[i]
		if r.style&oneDigit != 0 && short < padded || r.style&bareHour != 0 && r.half == 0 && 2*bare < clocked {
			*r = stamp{offsetMS: NoOffset}
		}
	}
}

// commonest is the form in which most rows are written.
func commonest(rows []stamp) (best form, n int) {
	count := countForms(rows)
	for f := formBad + 1; f < forms; f++ {
		if count[f] > n {
			best, n = f, count[f]
		}
	}
	return best, n
}

func countForms(rows []stamp) (count [forms]int) {
	for i := range rows {
		count[rows[i].form]++
	}
	return count
}

// orderOf says what proves the order, and strikes out the rows of another
// form; only dates in three numbers can leave it open.
func orderOf(rows []stamp, texts []string, f form, opt Options) (order, string, error) {
	if count := countForms(rows); min(count[formYearFirst], count[formTriple]) >= fewOfAForm && (f == formYearFirst || f == formTriple) {
		return twoForms(rows, texts, opt)
	}
	for i := range rows {
		if rows[i].form != f {
			rows[i] = stamp{offsetMS: NoOffset}
		}
	}
	switch f {
	case formYearFirst:
		return orders[2], "year first: it has four digits", nil
	case formNamed:
		return orders[0], namedBecause(rows, texts), nil
	case formEpoch:
		return orders[2], "counted from 1970-01-01 in UTC", nil
	case formSerial:
		return orders[2], "day numbers of a spreadsheet", nil
	case formStated:
		return orders[2], "the layout is stated", nil
	}
	o, because, err := decide(rows, texts, opt.Order)
	if err == nil && opt.Order != "" {
		because = inWords[o.name] + ": stated"
	}
	return o, because, err
}

// column turns scanned rows into wall time under one order.
func column(rows []stamp, o order) *Column {
	col := &Column{Wall: make([]int64, len(rows))}
	var last date
	var lastMS int64 = Bad
	for i := range rows {
		r := &rows[i]
		if r.form == formEpoch || r.form == formSerial || r.form == formStated {
			col.Wall[i] = inYears(r.clockMS)
		} else {
			if r.date != last {
				last, lastMS = r.date, Bad
				if y, m, d, ok := last.ymd(o); ok {
					lastMS = wallMS(y, m, d)
				}
			}
			col.Wall[i] = lastMS
			if lastMS != Bad {
				col.Wall[i] += r.clockMS
			}
		}
		if col.Wall[i] == Bad {
			col.Bad++
			continue
		}
		col.setOffset(i, r.offsetMS)
		if r.zoneWord != "" && r.offsetMS == NoOffset {
			col.setZoneWord(i, r.zoneWord)
		}
	}
	return col
}

// namedBecause says what proves the order of dates with a month's name. A name
// that is another month's in another language is taken by custom, unless the
// column has a month that is not.
func namedBecause(rows []stamp, texts []string) string {
	k := -1
	for i := range rows {
		switch {
		case rows[i].form != formNamed:
		case !rows[i].open:
			return "the month is a word"
		case k < 0:
			k = i
		}
	}
	return fmt.Sprintf("the month is a word; in %q it is read as in Polish and Czech, though in Croatian it is another month (common practice, no source)", texts[k])
}

func (c *Column) setOffset(i int, offsetMS int64) {
	if offsetMS == NoOffset {
		return
	}
	if c.OffsetMS == nil {
		c.OffsetMS = make([]int64, len(c.Wall))
		for k := range c.OffsetMS {
			c.OffsetMS[k] = NoOffset
		}
	}
	c.OffsetMS[i] = offsetMS
}

// inYears refuses a wall time outside the years that are read.
func inYears(ms int64) int64 {
	if ms < wallMS(firstYear, 1, 1) || ms >= wallMS(lastYear+1, 1, 1) {
		return Bad
	}
	return ms
}

func noStamp(texts []string, opt Options) error {
	e := &StampError{Row: -1, Want: "a date, with or without a time of day"}
	if opt.Layout != "" {
		e.Want = "a stamp as " + opt.Layout
	} else if opt.Order != "" {
		e.Want = "a date, " + inWords[opt.Order] + " (" + opt.Order + ")"
	}
	for i, t := range texts {
		if strings.TrimSpace(t) != "" {
			e.Example, e.Row = t, i
			break
		}
	}
	return e
}

// Error says what stood where a stamp was expected.
func (e *StampError) Error() string {
	if e.Row < 0 {
		return "no stamps: every row is empty; want " + e.Want
	}
	return fmt.Sprintf("no stamps: got %q; want %s", cut(e.Example), e.Want)
}

func cut(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:39]) + "…"
	}
	return s
}
