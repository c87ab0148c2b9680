package clock

import (
	"strings"
	"unicode/utf8"

	"yardheat/ingest/table/celltext"
)

// form is how a stamp writes its date. The forms of one column are never
// mixed: the commonest is read, the rest are bad.
type form uint8

const (
	formBad       form = iota
	formYearFirst      // 2026-02-03, 20260203
	formTriple         // three numbers, the year last or in two digits
	formNamed          // 3 Feb 2026, February 3, 2026
	formEpoch          // seconds, milliseconds … since 1970, UTC
	formSerial         // days of a spreadsheet
	formStated         // read by a stated layout
	forms
)

const (
	secondMS = 1000
	minuteMS = 60 * secondMS
	hourMS   = 60 * minuteMS
	dayMS    = 24 * hourMS
)

// date is the date part of a stamp: its fields in the order of the text.
type date struct {
	form   form
	field  [3]int16
	digits [3]uint8
	n      uint8
	// month is the index of the field that was written as a name, plus one.
	month uint8
	sep   byte
	// open: the month's name is another month's in another language.
	open bool
}

// stamp is one text as scanned, before the date order is known.
type stamp struct {
	date
	// seconds: 0 none written, 1 written, 2 with a fraction; half: AM or PM.
	seconds, half uint8
	clocked       bool
	// clockMS is the time of day; with formEpoch and formSerial the whole.
	clockMS  int64
	offsetMS int64
	// zoneWord is the zone's abbreviation behind the time of day, "" = none.
	zoneWord string
	style    clockStyle
	// endMS is the time of day that stands behind a dash (see ranges.go).
	endMS int64
}

// clockStyle says how a time of day is written, where that tells a whole one
// from one that was cut short.
type clockStyle uint8

const (
	bareHour   clockStyle = 1 << iota // 10
	oneDigit                          // minutes or seconds in one digit, 10:3
	zeroPadded                        // minutes or seconds with a zero in front, 10:03
	maybeEnd                          // 00:00-03:30: an offset, or the end of an interval
	surelyEnd                         // 00:00 - 00:15: the end of an interval
	dashed                            // 15-16: hours and minutes, or from hour to hour
)

// digits books how minutes or seconds of value v are written.
func (s *clockStyle) digits(v int64, n int) {
	switch {
	case n == 1:
		*s |= oneDigit
	case v < 10:
		*s |= zeroPadded
	}
}

// scanner reads one text. A text whose date part equals the one before takes
// that date as read: in a log it nearly always does.
type scanner struct {
	s  string
	i  int
	st stamp
	// clockAt is where the time of day began in the text, 0 = no shortcut.
	clockAt int
	last    string
	lastOK  date
	lastAt  int
	// mark is the mark of morning or afternoon, 'a' or 'p', 0 = none.
	mark byte
	// inner: the text is the end of an interval.
	inner bool
}

// scan reads one text; form is formBad where it is no stamp.
func (c *scanner) scan(text string) stamp {
	text = plain(text)
	c.s, c.i, c.clockAt, c.mark = text, 0, 0, 0
	c.st = stamp{offsetMS: NoOffset}
	if k := c.lastAt; k > 0 && len(text) > k && text[:k] == c.last[:k] {
		c.st.date, c.i, c.clockAt = c.lastOK, k, k
	} else if isNumber(text) {
		return numberStamp(text)
	}
	if len(text) > 64 || !c.parts() || !c.finish() {
		c.lastAt = 0
		return stamp{offsetMS: NoOffset}
	}
	c.last, c.lastOK, c.lastAt = text, c.st.date, c.clockAt
	return c.st
}

// parts reads numbers, words and signs from left to right.
func (c *scanner) parts() bool {
	for c.i < len(c.s) {
		ok := true
		switch b := c.s[c.i]; {
		case b-'0' <= 9:
			ok = c.number()
		case b == ' ' || b == ',' || b == '\'' || b == ';':
			c.i++
		case c.st.clocked && c.st.n == 3 && (b == '-' || b == '/') && c.until(1):
		case c.st.clocked && c.st.n == 3 && (b == '+' || b == '-'):
			ok = c.offset()
		case b == '-' || b == '/' || b == '.' || b == '_':
			if c.st.n == 1 {
				c.st.sep = b
			}
			c.i++
		case c.st.clocked && c.st.offsetMS != NoOffset && b == '[':
			c.i = len(c.s) // Z[Europe/Rome]
		case b == '(' || b == ')' || b == '[' || b == ']':
			c.i++
		case isLetter(b):
			ok = c.word()
		default:
			ok = false
		}
		if !ok {
			return false
		}
	}
	return true
}

// digitsAt reads a run of digits.
func (c *scanner) digitsAt() (v int64, n int) {
	for c.i < len(c.s) && c.s[c.i]-'0' <= 9 && n < 18 {
		v = v*10 + int64(c.s[c.i]-'0')
		c.i++
		n++
	}
	return v, n
}

// peek is the byte k ahead, 0 past the end.
func (c *scanner) peek(k int) byte {
	if c.i+k < len(c.s) {
		return c.s[c.i+k]
	}
	return 0
}

func (c *scanner) number() bool {
	start := c.i
	v, n := c.digitsAt()
	switch next := c.peek(0); {
	case !c.st.clocked && n > 0 && n <= 2 && (next == ':' || next|0x20 == 'h' && c.peek(1)-'0' <= 9):
		return c.clock(start, v, next)
	case c.st.n == 3 && !c.st.clocked && c.weekdayFirst(start):
		// The number is the year.
	case c.st.n == 3 && !c.st.clocked:
		return c.bareClock(start, v, n, next)
	case c.st.n == 0 && (n == 8 || n == 12 || n == 14 || n == 17):
		return c.compact(c.s[start:c.i])
	}
	if c.st.n == 3 || n > 4 || n == 3 {
		return false
	}
	c.st.field[c.st.n], c.st.digits[c.st.n] = int16(v), uint8(n)
	c.st.n++
	return true
}

// weekdayFirst drops a leading word that was taken for a month ("mar" is
// March and mardi) once a third number of the date follows.
func (c *scanner) weekdayFirst(start int) bool {
	d := &c.st.date
	if d.month != 1 || start == 0 || strings.IndexByte("/.-", c.s[start-1]) < 0 || !weekdays[c.firstWord()] {
		return false
	}
	copy(d.field[:], d.field[1:])
	copy(d.digits[:], d.digits[1:])
	d.n, d.month = 2, 0
	return true
}

// bareClock reads a time of day without colons after a whole date: "10.30",
// "10.30.00", "1030", "103000", "5 PM".
func (c *scanner) bareClock(start int, v int64, n int, next byte) bool {
	switch {
	case n <= 2 && next == '.' && c.peek(1)-'0' <= 9:
		return c.clock(start, v, '.')
	case n == 2 && next == '-' && c.dashedClock(start):
		return c.clock(start, v, '-')
	case (n == 4 || n == 6) && (c.st.digits[0] == 4 || c.st.digits[2] == 4) && !strings.HasSuffix(strings.TrimRight(c.s[:start], "0123456789"), "- "):
		c.i = start
		return c.packedClock(c.s[start : start+n])
	case n <= 2 && v <= 24:
		c.begin(start)
		c.st.style |= bareHour
		c.st.clockMS = v * hourMS
		return true
	}
	return false
}

// begin marks where the time of day starts.
func (c *scanner) begin(at int) {
	c.st.clocked = true
	if c.st.n == 3 && c.clockAt == 0 {
		c.clockAt = at
	}
}

// clock reads h:m[:s[.fraction]] from the first separator on.
func (c *scanner) clock(start int, hour int64, sep byte) bool {
	c.begin(start)
	c.i++
	m, n := c.digitsAt()
	if n == 0 || n > 2 || m > 59 || hour > 24 {
		return false
	}
	c.st.style.digits(m, n)
	var secMS int64
	if sep|0x20 == 'h' {
		c.skipUnit("min", "mn", "m")
	}
	if sep == '-' && c.peek(0) != sep {
		c.st.style |= dashed
	}
	if (c.peek(0) == sep || sep|0x20 == 'h' && c.s[c.i-1] > '9') && c.digitAhead(sep) {
		s, n := c.digitsAt()
		if n > 2 || s > 60 {
			return false
		}
		c.st.seconds = 1
		c.st.style.digits(s, n)
		secMS = s*secondMS + c.fraction()
		if sep|0x20 == 'h' {
			c.skipUnit("sec", "s")
		}
	}
	c.st.clockMS = hour*hourMS + m*minuteMS + secMS
	return c.st.clockMS <= dayMS
}

// digitAhead steps over the sign before the seconds, where digits follow; behind
// 15h04m stands none.
func (c *scanner) digitAhead(sep byte) bool {
	if c.peek(0) == sep && sep|0x20 != 'h' && c.peek(1)-'0' <= 9 {
		c.i++
		return true
	}
	return sep|0x20 == 'h' && c.peek(0)-'0' <= 9
}

// skipUnit steps over the unit of minutes or seconds.
func (c *scanner) skipUnit(units ...string) {
	for _, u := range units {
		if rest, ok := strings.CutPrefix(c.s[c.i:], u); ok && (rest == "" || !isLetter(rest[0])) {
			c.i += len(u)
			return
		}
	}
}

// fraction reads ".250", ",250" or ":250" after the seconds.
func (c *scanner) fraction() int64 {
	if b := c.peek(0); b != '.' && b != ',' && b != ':' || c.peek(1)-'0' > 9 {
		return 0
	}
	c.i++
	c.st.seconds = 2
	var ms, weight int64 = 0, 100
	for c.i < len(c.s) && c.s[c.i]-'0' <= 9 {
		ms += weight * int64(c.s[c.i]-'0')
		weight /= 10
		c.i++
	}
	return ms
}

// packedClock reads hhmm or hhmmss; c.i stands at its start.
func (c *scanner) packedClock(s string) bool {
	c.begin(c.i)
	c.i += len(s)
	h, m, sec := two(s), int64(0), int64(0)
	if len(s) >= 4 {
		m = two(s[2:])
	}
	if len(s) == 6 {
		sec = two(s[4:])
		c.st.seconds = 1
	}
	if h > 24 || m > 59 || sec > 60 {
		return false
	}
	c.st.clockMS = h*hourMS + m*minuteMS + sec*secondMS + c.fraction()
	return c.st.clockMS <= dayMS
}

func two(s string) int64 { return int64(s[0]-'0')*10 + int64(s[1]-'0') }

// compact reads YYYYMMDD[hh[mm[ss[fff]]]].
func (c *scanner) compact(s string) bool {
	c.st.field = [3]int16{int16(two(s)*100 + two(s[2:])), int16(two(s[4:])), int16(two(s[6:]))}
	c.st.digits, c.st.n = [3]uint8{4, 2, 2}, 3
	if len(s) == 8 {
		return true
	}
	end := c.i
	c.i -= len(s) - 8
	clock := s[8:min(len(s), 14)]
	if !c.packedClock(clock) {
		return false
	}
	c.i, c.clockAt = end, 0
	if len(s) == 17 {
		c.st.seconds = 2
		c.st.clockMS += int64(s[14]-'0')*100 + two(s[15:])
	}
	return c.st.clockMS <= dayMS
}

// offset reads +01:00, +0100, +01, -3:30 after a time of day.
func (c *scanner) offset() bool {
	if c.st.offsetMS != NoOffset {
		return false // two dates, from and to
	}
	sign := int64(1)
	if c.s[c.i] != '+' {
		sign = -1
	}
	c.i++
	h, n := c.digitsAt()
	var m int64
	switch {
	case n == 4:
		h, m = h/100, h%100
	case n == 0 || n > 2:
		return false
	case c.peek(0) == ':':
		c.i++
		if m, n = c.digitsAt(); n != 2 {
			return false
		}
	}
	if h > 15 || m > 59 {
		return false
	}
	c.st.offsetMS = sign * (h*hourMS + m*minuteMS)
	return true
}

// word reads a month, a weekday, AM or PM, a zone, the T of ISO 8601.
func (c *scanner) word() bool {
	start := c.i
	for c.i < len(c.s) && isLetter(c.s[c.i]) {
		c.i++
	}
	w := c.s[start:c.i]
	if len(w) == 1 && (w[0] == 'T' || w[0] == 't') && c.st.n == 3 && !c.st.clocked {
		return true
	}
	w = strings.ToLower(w)
	if c.st.clocked && c.afterClock(w) || c.halfWord(start) {
		return true
	}
	if c.st.clocked && c.st.n == 3 && untilWords[w] && c.until(0) {
		return true
	}
	if m, open := celltext.Month(w); m > 0 && c.st.n < 3 && (len(w) <= 3 || !weekdays[w]) {
		c.st.open = c.st.open || open
		return c.monthWord(w, int16(m))
	}
	if weekdays[w] || fillers[w] || !c.st.clocked && dateFillers[w] {
		return true
	}
	if !c.st.clocked || c.st.n != 3 {
		return false
	}
	return c.tailWord(start)
}

// tailWord reads what stands behind date and time of day: a zone's abbreviation
// or its name in words ("Mountain Standard Time", "Europe/Rome"), in brackets or
// not. Any other word makes the text a remark that begins with a stamp, or
// changes what the stamp says: it is none that can be read.
func (c *scanner) tailWord(start int) bool {
	if zone := zoneWordOf(c.s[start:c.i]); zone != "" {
		c.st.zoneWord = zone
		return true
	}
	bracketed := strings.LastIndexAny(c.s[:start], "([") > strings.LastIndexAny(c.s[:start], ")]")
	phrase := strings.Trim(c.s[start:], " .()[],;")
	if !bracketed && !zonePhrase(phrase) {
		return false
	}
	c.i = len(c.s)
	if c.st.offsetMS == NoOffset && c.st.zoneWord == "" {
		c.st.zoneWord = phrase
	}
	return true
}

// halfWord reads a mark of morning or afternoon at start, where one may stand.
func (c *scanner) halfWord(start int) bool {
	half, n, leads := celltext.Half(c.s[start:])
	if n == 0 || !(c.st.clocked && (c.st.n == 3 || !leads || half == c.s[start]|0x20) || c.st.n == 3 && leads) {
		return false
	}
	if c.mark != 0 {
		return false
	}
	if !c.st.clocked && c.clockAt == 0 {
		c.clockAt = start // the mark may change from row to row
	}
	c.mark, c.i = half, start+n
	return true
}

// monthWord books a month's name as the next date field. Where a second one
// follows, the first was a weekday ("mar 3 mars 2026").
func (c *scanner) monthWord(w string, m int16) bool {
	if k := c.st.month; k > 0 {
		if k != 1 || !weekdays[c.firstWord()] {
			return false
		}
		c.st.field[0], c.st.digits[0] = c.st.field[1], c.st.digits[1]
		c.st.n--
	}
	c.st.field[c.st.n], c.st.digits[c.st.n] = m, 3
	c.st.n++
	c.st.month = c.st.n
	return true
}

func (c *scanner) firstWord() string {
	k := 0
	for k < len(c.s) && isLetter(c.s[k]) {
		k++
	}
	return strings.ToLower(c.s[:k])
}

// afterClock reads UTC, GMT and Z behind a time of day. Other zone abbreviations
// wait for the zone, see Column.UseZoneWords.
func (c *scanner) afterClock(w string) bool {
	switch w {
	case "z", "utc", "gmt":
		if b := c.peek(0); b == '+' || b == '-' {
			return c.offset()
		}
		c.st.offsetMS = 0
		return true
	}
	return false
}

// halfDay applies AM or PM: 12 AM is midnight, 12 PM noon. A clock that
// writes "13:05 PM" has said 13:05.
func (c *scanner) halfDay(b byte) bool {
	if c.st.half != 0 {
		return false
	}
	c.st.half = 1
	h := c.st.clockMS / hourMS
	switch {
	case b == 'a' && h == 12:
		c.st.clockMS -= 12 * hourMS
	case b == 'a' && h > 12:
		c.st.clockMS = -1
	case b == 'p' && h < 12:
		c.st.clockMS += 12 * hourMS
	}
	return true
}

// finish names the form of a scanned date.
func (c *scanner) finish() bool {
	d := &c.st.date
	if c.mark != 0 && (!c.st.clocked || !c.halfDay(c.mark)) {
		return false
	}
	switch {
	case d.n != 3 || c.st.clockMS < 0:
		return false
	case d.month > 0:
		d.form = formNamed
	case d.digits[0] == 4:
		d.form = formYearFirst
	case d.digits[0] <= 2 && d.digits[1] <= 2 && (d.digits[2] == 4 || d.digits[2] == 2):
		d.form = formTriple
	default:
		return false
	}
	return true
}

// plain trims a text and turns the blanks and signs of typesetting (no-break
// and thin blanks before AM, the true minus) into plain ones.
func plain(text string) string {
	text = strings.TrimSpace(text)
	for i := 0; i < len(text); i++ {
		if text[i] >= 0x80 {
			return writtenClock(typeset.Replace(text))
		}
	}
	return text
}

// writtenClock turns the signs for hour, minute and second of Chinese, Japanese
// and Korean into colons, where digits follow.
func writtenClock(text string) string {
	if !strings.ContainsAny(text, clockSigns) {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		if !strings.ContainsRune(clockSigns, r) {
			b.WriteRune(r)
			continue
		}
		rest := strings.TrimLeft(text[i+utf8.RuneLen(r):], " ")
		if before := strings.TrimRight(b.String(), " "); before != "" && before[len(before)-1]-'0' <= 9 && rest != "" && rest[0]-'0' <= 9 && !strings.ContainsRune("秒초", r) {
			b.WriteByte(':')
		}
	}
	return strings.ReplaceAll(b.String(), ": ", ":")
}

const clockSigns = "时時点點시分분秒초"

var typeset = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "−", "-", "–", "-", "⁄", "/",
	"年", "-", "月", "-", "日", " ", "년", "-", "월", "-", "일", " ")

func isLetter(b byte) bool { return b|0x20 >= 'a' && b|0x20 <= 'z' || b >= 0x80 }
