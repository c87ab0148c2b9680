package clock

import (
	"fmt"
	"strings"

	"yardheat/ingest/table/celltext"
)

// token is one part of a stated layout: a field by its letter (y, o = month,
// n = month's name, d, h, m, s, f = fraction, a = AM or PM, z = zone), or a
// literal (kind 0).
type token struct {
	kind    byte
	width   int // digits where the next field follows at once, else at most
	fixed   bool
	literal string
}

type layout []token

// letters of a stated layout, by field; M and m are told apart by where they
// stand: after the hour it is the minute.
const layoutLetters = "ydhsfaz"

// CheckLayout says what is wrong with a stated layout such as
// "DD.MM.YYYY hh:mm".
func CheckLayout(text string) error {
	_, err := compile(text)
	return err
}

// compile reads a stated layout.
func compile(text string) (layout, error) {
	var l layout
	seen := map[byte]bool{}
	afterHour := false
	for i := 0; i < len(text); {
		k := i
		lower := text[i] | 0x20
		for k < len(text) && text[k]|0x20 == lower && isLetter(text[k]) {
			k++
		}
		kind, end := fieldAt(text, i, k, afterHour && !seen['m'])
		if kind == 0 {
			end = i + 1
			l = append(l, token{literal: text[i:end]})
		} else {
			if seen[kind] || kind == 'o' && seen['n'] || kind == 'n' && seen['o'] {
				return nil, fmt.Errorf("stamp_layout %q: %q stands twice", text, text[i:end])
			}
			if strings.IndexByte("dhms", kind) >= 0 && end-i > 2 {
				return nil, fmt.Errorf("stamp_layout %q: %q is no field; want one or two letters for day, hour, minute and second", text, text[i:end])
			}
			seen[kind] = true
			l = append(l, token{kind: kind, width: end - i})
		}
		afterHour = kind == 'h' || afterHour && kind == 0
		i = end
	}
	if !seen['y'] || !seen['d'] || !seen['o'] && !seen['n'] || seen['m'] && !seen['h'] {
		return nil, fmt.Errorf("stamp_layout %q: want year, month and day (and hour before minute), for example \"DD.MM.YYYY hh:mm:ss\"", text)
	}
	for i := range l {
		l[i].fixed = l[i].kind != 0 && i+1 < len(l) && l[i+1].kind != 0 && l[i+1].kind != 'a' && l[i+1].kind != 'z'
	}
	return l, nil
}

// fieldAt names the field in text[i:k], a run of one letter; 0 = literal.
func fieldAt(text string, i, k int, minute bool) (kind byte, end int) {
	if k == i {
		return 0, k
	}
	w := text[i:k]
	switch b := w[0] | 0x20; {
	case b == 'm' && (minute || len(w) <= 2 && text[i-min(i, 1)] == ':'):
		return 'm', k
	case b == 'm' && len(w) >= 3:
		return 'n', k
	case b == 'm':
		return 'o', k
	case b == 'a' && k < len(text) && text[k]|0x20 == 'm':
		return 'a', k + 1
	case b == 'y' && len(w) != 4 && len(w) != 2 || b == 't' || b == 'a' && len(w) > 1:
		return 0, k
	case strings.IndexByte(layoutLetters, b) >= 0:
		if b == 's' && w[0] == 'S' && len(w) == 3 {
			return 'f', k
		}
		return b, k
	}
	return 0, k
}

// readAll reads every text by the layout.
func (l layout) readAll(texts []string) []stamp {
	rows := make([]stamp, len(texts))
	for i, t := range texts {
		rows[i] = l.read(plain(t))
	}
	return rows
}

// parsed is a stamp read by a layout, by field.
type parsed struct {
	y, mo, d    int
	h, m, s, ms int64
	half        string
	offsetMS    int64
	zoneWord    string
}

func (l layout) read(s string) stamp {
	none := stamp{offsetMS: NoOffset}
	p := parsed{offsetMS: NoOffset}
	for _, t := range l {
		var ok bool
		if s, ok = p.take(t, s); !ok {
			return none
		}
	}
	if strings.TrimSpace(s) != "" || p.h > 24 || p.m > 59 || p.s > 60 || !validDate(p.y, p.mo, p.d) {
		return none
	}
	c := scanner{st: stamp{clockMS: p.h*hourMS + p.m*minuteMS + p.s*secondMS + p.ms, offsetMS: p.offsetMS, zoneWord: p.zoneWord}}
	if c.st.clockMS > dayMS || p.half != "" && !c.halfDay(p.half[0]) || c.st.clockMS < 0 {
		return none
	}
	c.st.form, c.st.clocked = formStated, true
	c.st.clockMS += wallMS(p.y, p.mo, p.d)
	return c.st
}

// take reads one token off the front of s.
func (p *parsed) take(t token, s string) (rest string, ok bool) {
	switch t.kind {
	case 0:
		return takeLiteral(t.literal, s)
	case 'n':
		k := 0
		for k < len(s) && isLetter(s[k]) {
			k++
		}
		p.mo, _ = celltext.Month(s[:k])
		return strings.TrimPrefix(s[k:], "."), p.mo > 0
	case 'a':
		return p.takeHalf(s)
	case 'z':
		return p.takeZone(s)
	}
	return p.takeNumber(t, s)
}

// takeLiteral reads a literal; one blank stands for any number of them.
func takeLiteral(lit, s string) (string, bool) {
	if lit == " " {
		t := strings.TrimLeft(s, " ")
		return t, len(t) < len(s)
	}
	return strings.CutPrefix(s, lit)
}

func (p *parsed) takeHalf(s string) (string, bool) {
	half, n, _ := celltext.Half(s)
	if n == 0 {
		return s, false
	}
	p.half = string(half)
	return s[n:], true
}

func (p *parsed) takeZone(s string) (string, bool) {
	k := strings.IndexByte(s, ' ')
	if k < 0 {
		k = len(s)
	}
	c := scanner{s: s[:k], inner: true, st: stamp{clocked: true, offsetMS: NoOffset}}
	c.st.n = 3
	ok := k > 0 && c.parts()
	p.offsetMS, p.zoneWord = c.st.offsetMS, c.st.zoneWord
	return s[k:], ok
}

// takeNumber reads digits: exactly as many as stated where the next field
// follows at once, else one up to two (a year: as many as stated).
func (p *parsed) takeNumber(t token, s string) (string, bool) {
	most := max(2, t.width)
	if t.fixed {
		most = t.width
	}
	if t.kind == 'f' {
		most = 9
	}
	n, v := 0, int64(0)
	for n < len(s) && n < most && s[n]-'0' <= 9 {
		v = v*10 + int64(s[n]-'0')
		n++
	}
	if n == 0 || t.fixed && n != t.width || t.kind == 'y' && n != t.width {
		return s, false
	}
	switch t.kind {
	case 'y':
		p.y = fullYear(int16(v), uint8(n))
	case 'o':
		p.mo = int(v)
	case 'd':
		p.d = int(v)
	case 'h':
		p.h = v
	case 'm':
		p.m = v
	case 's':
		p.s = v
	case 'f':
		for k := n; k < 3; k++ {
			v *= 10
		}
		for k := n; k > 3; k-- {
			v /= 10
		}
		p.ms = v
	}
	return s[n:], true
}

// layoutOf writes the layout that was found, in the letters of stamp_layout.
func layoutOf(rows []stamp, f form, o order) string {
	switch f {
	case formEpoch:
		return "seconds or milliseconds since 1970"
	case formSerial:
		return "spreadsheet day number"
	}
	first := rows[0]
	narrow := [3]uint8{9, 9, 9}
	for i := range rows {
		if rows[i].form != f {
			continue
		}
		if first.form != f {
			first = rows[i]
		}
		for k, d := range rows[i].digits {
			narrow[k] = min(narrow[k], d)
		}
		first.seconds, first.half = max(first.seconds, rows[i].seconds), max(first.half, rows[i].half)
		first.clocked = first.clocked || rows[i].clocked
	}
	yi, mi, di := o.year, o.month, o.day
	if f == formNamed {
		yi, mi, di = first.named()
	}
	var field [3]string
	field[yi] = strings.Repeat("Y", int(narrow[yi]))
	field[mi] = strings.Repeat("M", int(narrow[mi]))
	field[di] = strings.Repeat("D", int(narrow[di]))
	sep := " "
	if first.sep != 0 {
		sep = string(first.sep)
	} else if f == formYearFirst {
		sep = ""
	}
	return strings.Join(field[:], sep) + clockLayout(&first)
}

func clockLayout(s *stamp) string {
	if !s.clocked {
		return ""
	}
	out := " hh:mm" + [...]string{"", ":ss", ":ss.fff"}[s.seconds]
	if s.half > 0 {
		out += " AM"
	}
	return out
}
