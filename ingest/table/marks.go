package table

import "fmt"

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
}

// findMarks settles decimal and thousands marks over all rows but the stamp
// columns.
func findMarks(rows []Row, keys []int, skip func(row, col int) bool) (decimal, thousands string, probs []Problem) {
	var m markCount
	stamp := map[int]bool{}
	for _, k := range keys {
		stamp[k] = true
	}
	width := 0
	if len(rows) > 0 {
		width = len(rows[0].Cells)
	}
	for col := 0; col < width; col++ {
		if !stamp[col] {
			m.column(rows, col, skip)
		}
	}
	return m.decide()
}

func (m *markCount) column(rows []Row, col int, skip func(row, col int) bool) {
	comma, dot, plain := m.commaEither, m.dotEither, false
	for i := range rows {
		if col >= len(rows[i].Cells) || skip != nil && skip(i, col) {
			continue
		}
		plain = m.cell(rows[i].Cells[col], rows[i].Line) || plain
	}
	m.commaPlain = m.commaPlain || plain && m.commaEither > comma
	m.dotPlain = m.dotPlain || plain && m.dotEither > dot
}

// cell adds one cell's evidence; whole tells that it is a whole number of at
// most three digits.
func (m *markCount) cell(s string, line int) (whole bool) {
	i := 0
	for i < len(s) && s[i]-'0' <= 9 {
		i++
	}
	if i == len(s) {
		return i > 0 && i <= 3
	}
	if i == 0 && s[0] != '-' && s[0] != '+' && s[0] != ',' && s[0] != '.' && s[0] != 0xe2 {
		return false
	}
	dots, commas, last, behind, before := 0, 0, byte(0), 0, 0
	for i = 0; i < len(s); i++ {
		switch c := s[i]; {
		case c-'0' <= 9:
			behind++
			if last == 0 {
				before++
			}
			continue
		case c == '.' || c == ',':
			if c == '.' {
				dots++
			} else {
				commas++
			}
			last, behind = c, 0
			continue
		case (c == '-' || c == '+') && i == 0:
			continue
		}
		break
	}
	if (dots > 0 || commas > 0) && classify(s) == numberCell {
		zero := s[0] == '0' || len(s) > 1 && s[1] == '0' && before == 1 && s[0]-'0' > 9
		m.weigh(dots, commas, before, behind, last, zero, line)
	}
	m.gaps(s)
	return false
}

// weigh books one number with marks: before and behind are the digits before
// the first and behind the last mark.
func (m *markCount) weigh(dots, commas, before, behind int, last byte, zero bool, line int) {
	either := behind == 3 && before >= 1 && before <= 3 && !zero
	switch {
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

// gaps books apostrophes and blanks between groups of digits.
func (m *markCount) gaps(s string) {
	n := leadingDigits(s)
	if n == 0 || n > 3 || n+3 >= len(s) {
		return
	}
	for _, mark := range [...]string{"'", " "} {
		w := groupMarkLen(s[n:], mark)
		if w == 0 || leadingDigits(s[n+w:]) != 3 {
			continue
		}
		if mark == "'" {
			m.quoteGroups++
		} else {
			m.spaceGroups++
		}
		return
	}
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
