package again

import (
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/farm"
	"yardheat/ingest/look"
)

// layout compares how the file is written with how the log's files were, and
// with what the farm file states of them.
func (m *Match) layout(l *logged, f *farm.Farm) {
	t := m.Table
	if l.log.Sheet != "" && l.log.Sheet != t.Sheet {
		m.apart(Finding{Code: SheetChanged, Was: l.log.Sheet, Is: t.Sheet})
	}
	if l.log.Table > 0 && l.log.Table != t.Number {
		m.apart(Finding{Code: TableChanged, Was: strconv.Itoa(l.log.Table), Is: strconv.Itoa(t.Number)})
	}
	m.stated(l)
	was := l.last
	if was == nil || t.Rows == 0 {
		return
	}
	m.differs(StampColumnsChanged, strings.Join(was.Stamp.Columns, ", "), strings.Join(t.Stamp.Columns, ", "), len(l.log.StampColumns) > 0)
	m.differs(DecimalChanged, was.Decimal, t.Decimal, l.log.Decimal != "")
	a, b := dateOrder(was), dateOrder(t)
	switch {
	case a != "" && b != "" && a != b:
		m.differs(DatesChanged, a, b, l.log.Dates != "" && l.log.Dates != b)
	case was.Stamp.Format != t.Stamp.Format:
		m.differs(StampsChanged, was.Stamp.Format, t.Stamp.Format, l.log.StampLayout != "")
	}
	if was.Stamp.Zone != t.Stamp.Zone {
		m.add(Finding{Code: ZoneChanged, Was: was.Stamp.Zone, Is: t.Stamp.Zone, Stated: l.log.Zone != ""})
	}
	if w, n := was.IntervalS, t.IntervalS; w > 0 && n > 0 && (n > 1.5*w || w > 1.5*n) {
		m.add(Finding{Code: IntervalChanged, WasS: w, IsS: n})
	}
}

// apart books a difference for which the file needs a [[log]] of its own.
func (m *Match) apart(f Finding) {
	f.Stated, m.Apart = true, true
	m.add(f)
}

// differs books a difference where both sides are known; one that the farm file
// states parts the file from its log.
func (m *Match) differs(c Code, was, is string, stated bool) {
	switch {
	case was == "" || is == "" || was == is || m.Has(c):
	case stated:
		m.apart(Finding{Code: c, Was: was, Is: is})
	default:
		m.add(Finding{Code: c, Was: was, Is: is})
	}
}

// stated compares the file with what the farm file states of the log; a file
// that look read by itself in another way would be misread under it.
func (m *Match) stated(l *logged) {
	t, log := m.Table, l.log
	sure := func(about string) bool { // the file proves it
		return !slices.ContainsFunc(t.Unsure, func(u look.Doubt) bool { return u.About == about })
	}
	if log.Decimal != "" && sure("decimal") && t.Sheet == "" {
		m.differs(DecimalChanged, log.Decimal, t.Decimal, true)
	}
	if log.Dates != "" && sure("dates") {
		m.differs(DatesChanged, log.Dates, dateOrder(t), true)
	}
	if log.Separator != "" {
		m.differs(SeparatorChanged, log.Separator, t.Separator, true)
	}
	if log.Encoding != "" && sure("encoding") && l.last != nil && l.last.Encoding != t.Encoding && t.Encoding != "ASCII" && l.last.Encoding != "ASCII" {
		m.differs(EncodingChanged, log.Encoding, t.Encoding, true)
	}
	if log.Header != nil && *log.Header != t.HeaderLine {
		m.differs(HeaderChanged, strconv.Itoa(*log.Header), strconv.Itoa(t.HeaderLine), true)
	}
}

// dateOrder is dmy, mdy or ymd, "" where the stamps have no order of numbers or
// the file leaves it open.
func dateOrder(t *look.Table) string {
	if slices.ContainsFunc(t.Unsure, func(u look.Doubt) bool { return u.About == "dates" }) {
		return ""
	}
	return look.OrderOf(t.Stamp.Format)
}
