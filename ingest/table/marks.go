package table

import (
	"cmp"
	"fmt"
	"strings"

	"yardheat/ingest/table/celltext"
	"yardheat/ingest/work"
)

// markCount is the evidence that a table's cells give on decimal and
// thousands marks. "Proved" cells can be read one way only: 12.5, 0.125,
// 1,012.3; "either" cells have one mark and three digits behind it: 1.234.
type markCount struct {
	dotProved, commaProved   int
	dotEither, commaEither   int
	dotGroups, commaGroups   int // two marks and more, or beside the other mark: surely thousands
	quoteGroups, spaceGroups int
	commaPlain, dotPlain     bool // an "either" cell's column also holds whole numbers below 1000
	firstComma, firstDot     int  // lines of the first proof
	words                    []errorWords
}

// errorWords are the cells of one column of numbers in which the logger says
// that it failed to read.
type errorWords struct {
	column, cells, line int
	first               string
}

// countMarks gathers the evidence of all cells but those of stamp columns.
func countMarks(rows []Row, keys []int) *markCount {
	var m markCount
	stamp := map[int]bool{}
	for _, k := range keys {
		stamp[k] = true
	}
	width := 0
	if len(rows) > 0 {
		width = len(rows[0].Cells)
	}
	columns := make([]markCount, width)
	work.Each(marksWorkers, width, func(col int) {
		if !stamp[col] {
			columns[col].column(rows, col)
		}
	})
	for i := range columns {
		m.add(&columns[i])
	}
	return &m
}

// marksWorkers count the marks of a table's columns.
const marksWorkers = 2

// add brings the evidence of a further column in.
func (m *markCount) add(o *markCount) {
	m.dotProved, m.commaProved = m.dotProved+o.dotProved, m.commaProved+o.commaProved
	m.dotEither, m.commaEither = m.dotEither+o.dotEither, m.commaEither+o.commaEither
	m.dotGroups, m.commaGroups = m.dotGroups+o.dotGroups, m.commaGroups+o.commaGroups
	m.quoteGroups, m.spaceGroups = m.quoteGroups+o.quoteGroups, m.spaceGroups+o.spaceGroups
	m.commaPlain, m.dotPlain = m.commaPlain || o.commaPlain, m.dotPlain || o.dotPlain
	m.firstComma, m.firstDot = cmp.Or(m.firstComma, o.firstComma), cmp.Or(m.firstDot, o.firstDot)
	m.words = append(m.words, o.words...)
}

// column counts those of one column into an empty count.
func (m *markCount) column(rows []Row, col int) {
	plain := false
	failed, numbers := errorWords{column: col}, false
	for i := range rows {
		s := rows[i].Cells[col]
		plain = m.cell(s, rows[i].Line) || plain
		switch {
		case s == "":
		case s[0] < 'A' && s[0] != '#':
			numbers = true
		case celltext.IsErrorWord(s):
			if failed.cells++; failed.cells == 1 {
				failed.line, failed.first = rows[i].Line, s
			}
		}
	}
	if failed.cells > 0 && numbers {
		m.words = append(m.words, failed)
	}
	m.commaPlain = plain && m.commaEither > 0
	m.dotPlain = plain && m.dotEither > 0
}

// cell adds one cell's evidence; whole tells that it is a whole number of at
// most three digits.
func (m *markCount) cell(s string, line int) (whole bool) {
	s = strings.TrimPrefix(strings.TrimPrefix(s, "\u2212"), "\u2013")
	i := 0
	for i < len(s) && s[i]-'0' <= 9 {
		i++
	}
	if i == len(s) {
		return i > 0 && i <= 3
	}
	if i == 0 && strings.IndexByte("-+.,", s[0]) < 0 {
		return false
	}
	dots, commas, last, behind, before, gap := 0, 0, byte(0), 0, 0, ""
scan:
	for i = 0; i < len(s); i++ {
		switch c := s[i]; {
		case c-'0' <= 9:
			behind++
			if last == 0 {
				before++
			}
		case c == '.':
			dots, last, behind = dots+1, c, 0
		case c == ',':
			commas, last, behind = commas+1, c, 0
		case (c == '-' || c == '+') && i == 0:
		default:
			mark, w := gapAt(s[i:])
			if w == 0 || last != 0 || before == 0 {
				break scan
			}
			gap, i = mark, i+w-1
		}
	}
	if last == 0 && gap == "" || before+behind == 0 || i < len(s) && celltext.Classify(s) != celltext.Number {
		return false
	}
	switch gap {
	case "'":
		m.quoteGroups++
	case " ":
		m.spaceGroups++
	}
	first := 0
	for s[first] == '-' || s[first] == '+' {
		first++
	}
	zero := s[first] == '0' || gap != ""
	m.weigh(dots, commas, before, behind, last, zero, line)
	return false
}

// gapAt knows an apostrophe or a blank with three digits behind it.
func gapAt(s string) (mark string, length int) {
	for _, mark := range [...]string{"'", " "} {
		if w := celltext.GroupMarkLen(s, mark); w > 0 && celltext.LeadingDigits(s[w:]) == 3 {
			return mark, w
		}
	}
	return "", 0
}

// weigh books one number with marks: before and behind are the digits before
// the first and behind the last mark; zero tells that the number begins with
// a zero or has gaps, so that its mark is no thousands mark.
func (m *markCount) weigh(dots, commas, before, behind int, last byte, zero bool, line int) {
	either := behind == 3 && before >= 1 && before <= 3 && !zero
	switch {
	case dots+commas == 0:
	case dots > 0 && commas > 0 && last == '.':
		m.proveDot(line)
		m.commaGroups++
	case dots > 0 && commas > 0:
		m.proveComma(line)
		m.dotGroups++
	case dots > 1:
		m.dotGroups++
	case commas > 1:
		m.commaGroups++
	case dots == 1 && either:
		m.dotEither++
	case dots == 1:
		m.proveDot(line)
	case either:
		m.commaEither++
	default:
		m.proveComma(line)
	}
}

func (m *markCount) proveDot(line int) {
	if m.dotProved++; m.firstDot == 0 {
		m.firstDot = line
	}
}

func (m *markCount) proveComma(line int) {
	if m.commaProved++; m.firstComma == 0 {
		m.firstComma = line
	}
}

// settle gives the marks, those that the farm file names first.
func (m *markCount) settle(opt Options) (decimal, thousands string, probs []Problem) {
	if decimal = opt.Decimal; decimal == "" {
		decimal, thousands, probs = m.decide()
	} else {
		thousands = m.given(decimal)
	}
	if opt.Thousands != "" {
		thousands = opt.Thousands
	}
	if thousands == decimal {
		thousands = ""
	}
	return decimal, thousands, probs
}

// decide weighs the evidence. Where only "either" cells stand, the comma is
// taken for the decimal mark only if no whole number below 1000 stands in the
// same column: a thousands mark leaves such numbers without one.
func (m *markCount) decide() (decimal, thousands string, probs []Problem) {
	doubt := func(line int, format string, args ...any) {
		probs = append(probs, Problem{Code: "decimal-mark", Line: line, Text: fmt.Sprintf(format, args...)})
	}
	dotMany, commaMany := m.dotGroups+m.dotEither > 0, m.commaGroups+m.commaEither > 0
	switch {
	case m.dotProved > 0 && m.commaProved > 0:
		decimal = "."
		other, line := m.commaProved, m.firstComma
		if m.commaProved > m.dotProved {
			decimal, other, line = ",", m.dotProved, m.firstDot
		}
		doubt(line, "both marks serve as decimal mark; %q is used most, and the %d numbers with the other are not read: set decimal in [[log]] if that is wrong", decimal, other)
		return decimal, m.gapMark(), probs
	case m.dotProved > 0:
		return ".", m.thousandsMark(",", commaMany), nil
	case m.commaProved > 0:
		return ",", m.thousandsMark(".", dotMany), nil
	case m.commaGroups > 0 && m.dotGroups == 0:
		return ".", ",", nil
	case m.dotGroups > 0 && m.commaGroups == 0:
		return ",", ".", nil
	case m.commaEither > 0 && m.dotEither > 0:
		doubt(0, `numbers such as "1.234" and "1,234" both stand here and nothing tells decimal mark from thousands mark; the point is taken for the decimal mark, and the others are not read: set decimal in [[log]]`)
		return ".", m.gapMark(), probs
	case m.commaEither > 0 && m.commaPlain:
		doubt(0, `the comma always has three digits behind it and smaller whole numbers stand without one: it is taken for a thousands mark; set decimal = "," in [[log]] if that is wrong`)
		return ".", ",", probs
	case m.commaEither > 0:
		doubt(0, `the comma always has three digits behind it; it is taken for the decimal mark: set decimal = "." and thousands = "," in [[log]] if that is wrong`)
		return ",", m.gapMark(), probs
	case m.dotEither > 0:
		if m.dotPlain {
			doubt(0, `the point always has three digits behind it and whole numbers stand beside; it is taken for the decimal mark: set decimal = "," and thousands = "." in [[log]] if that is wrong`)
		}
		return ".", m.gapMark(), probs
	}
	return "", m.gapMark(), nil
}

// given settles the thousands mark where the farm file names the decimal mark.
func (m *markCount) given(decimal string) (thousands string) {
	if decimal == "," {
		return m.thousandsMark(".", m.dotProved == 0 && m.dotEither+m.dotGroups > 0)
	}
	return m.thousandsMark(",", m.commaProved == 0 && m.commaEither+m.commaGroups > 0)
}

func (m *markCount) thousandsMark(mark string, seen bool) string {
	if seen {
		return mark
	}
	return m.gapMark()
}

func (m *markCount) gapMark() string {
	switch {
	case m.quoteGroups > 0:
		return "'"
	case m.spaceGroups > 0:
		return " "
	}
	return ""
}

// errorProblems lists the cells in which a logger says that it failed.
func (m *markCount) errorProblems(header []string) []Problem {
	var probs []Problem
	for _, w := range m.words {
		probs = append(probs, ErrorWords(header[w.column], w.column, w.cells, w.line, w.first))
	}
	return probs
}

// ErrorWords lists the cells of a column (from 0) in which a logger says that
// it failed: how many, the line of the first and what stands there.
func ErrorWords(name string, column, cells, line int, first string) Problem {
	if name == "" {
		name = fmt.Sprintf("#%d", column+1)
	}
	return Problem{Code: "error-words", Line: line, Column: column + 1,
		Text: fmt.Sprintf("%s: cells without a reading that say %s or the like: %d, the first here", quote(name), quote(first), cells)}
}
