package clock

import "strings"

// Run is a stretch of rows that follow each other and carry the same date
// (and the same zone offset and form): all that the order of day and month
// can be decided by, in a few hundred texts instead of millions.
type Run struct {
	// Row is the first row, N how many there are.
	Row, N int
	// First and Last are the stamps of the first and the last row as written.
	First, Last string

	clockMS int64 // of the first row
}

// Stamper reads a long column of stamps one by one and gathers its runs. The
// zero value is ready.
type Stamper struct {
	Runs []Run

	sc   scanner
	cur  stamp
	last string
	like likeness
}

// likeness is what a stamp must share with the last one to be read at a glance:
// all but the digits of a time of day hh:mm or hh:mm:ss that begins at byte at
// and ends before byte end. The zero value is like nothing.
type likeness struct {
	of      string
	at, end int
}

// Add reads the stamp of a row. clockMS is its time of day, to which Spread
// adds the date; for stamps that are a count (epoch, serial days) it is the
// whole. ok is false for a text that is no stamp. The text must stay as it is
// until the call after next; Flush ends its use.
func (s *Stamper) Add(row int, text string) (clockMS int64, ok bool) {
	if ms, ok := s.Like(text); ok && s.AddLike(row, text) {
		return ms, true
	}
	st := s.sc.scan(text)
	if st.form == formBad {
		return Bad, false
	}
	if s.follows(row) && s.sameRun(&st) {
		s.Runs[len(s.Runs)-1].N++
		s.like = likenessOf(&st, text, s.sc.lastAt)
	} else {
		s.Flush()
		s.sc = scanner{}
		s.Runs = append(s.Runs, Run{Row: row, N: 1, First: strings.Clone(text), clockMS: st.clockMS})
		s.cur = st
		s.cur.zoneWord = strings.Clone(st.zoneWord)
	}
	s.last = text
	return st.clockMS, true
}

// follows tells whether a row is the one behind the open run.
func (s *Stamper) follows(row int) bool {
	n := len(s.Runs) - 1
	return n >= 0 && s.last != "" && s.Runs[n].Row+s.Runs[n].N == row
}

// likenessOf is what stamps must share with a text whose time of day begins at
// byte at, as the scanner found.
func likenessOf(st *stamp, text string, at int) likeness {
	l := likeness{of: text, at: at, end: at + 5}
	if st.seconds == 1 {
		l.end += 3
	}
	if at == 0 || st.half != 0 || st.seconds > 1 || l.end > len(text) || text != plain(text) {
		return likeness{}
	}
	if _, ok := clockAt(text[at:l.end]); !ok {
		return likeness{}
	}
	return l
}

// Like reads the time of day of a stamp that differs from the one added last in
// nothing but the digits of a time of day; ok is false for any other text.
func (s *Stamper) Like(text string) (clockMS int64, ok bool) {
	l := &s.like
	if l.at == 0 || len(text) != len(l.of) || text[:l.at] != l.of[:l.at] || text[l.end:] != l.of[l.end:] {
		return 0, false
	}
	return clockAt(text[l.at:l.end])
}

// AddLike adds a stamp that Like has read; false where the row does not follow
// the last one: it is then Add's.
func (s *Stamper) AddLike(row int, text string) bool {
	if !s.follows(row) {
		return false
	}
	s.Runs[len(s.Runs)-1].N++
	s.last, s.like.of, s.sc.last = text, text, text
	return true
}

// clockAt reads hh:mm or hh:mm:ss, within a day.
func clockAt(t string) (ms int64, ok bool) {
	h, ok1 := twoDigits(t[0], t[1])
	m, ok2 := twoDigits(t[3], t[4])
	if !ok1 || !ok2 || t[2] != ':' || m > 59 {
		return 0, false
	}
	ms = h*hourMS + m*minuteMS
	if len(t) == 8 {
		sec, ok3 := twoDigits(t[6], t[7])
		if !ok3 || t[5] != ':' || sec > 60 {
			return 0, false
		}
		ms += sec * secondMS
	}
	return ms, ms <= dayMS
}

func twoDigits(a, b byte) (int64, bool) {
	a, b = a-'0', b-'0'
	return int64(a)*10 + int64(b), a <= 9 && b <= 9
}

func (s *Stamper) sameRun(st *stamp) bool {
	c := &s.cur
	return st.date == c.date && st.offsetMS == c.offsetMS && st.seconds == c.seconds && st.half == c.half && st.clocked == c.clocked && st.zoneWord == c.zoneWord &&
		(st.style^c.style)&(bareHour|oneDigit|maybeEnd) == 0 && (st.style|c.style)&(surelyEnd|dashed) == 0
}

// Flush closes the open run; the texts given so far are no longer looked at.
func (s *Stamper) Flush() {
	if n := len(s.Runs) - 1; n >= 0 && s.last != "" {
		s.Runs[n].Last = strings.Clone(s.last)
	}
	s.last, s.like = "", likeness{}
	s.sc.lastAt = 0
}

// Texts are the stamps by which Read decides for all: the first and the last
// of each run. rows gives the row of each.
func Texts(runs []Run) (texts []string, rows []int) {
	for _, r := range runs {
		texts, rows = append(texts, r.First), append(rows, r.Row)
		if r.N > 1 {
			texts, rows = append(texts, r.Last), append(rows, r.Row+r.N-1)
		}
	}
	return texts, rows
}

// Spread gives the column of all rows: few is what Read made of Texts(runs),
// clockMS what Add gave for each row (Bad for rows of no run), which becomes
// the wall time. ok is false where some run has no readable date.
func Spread(few *Column, runs []Run, clockMS []int64) (all *Column, ok bool) {
	if few.Bad > 0 {
		return nil, false
	}
	all = &Column{Layout: few.Layout, Because: few.Because, Wall: clockMS, Ranged: few.Ranged}
	k := 0
	for _, r := range runs {
		base := few.Wall[k] - r.clockMS
		offset, word := int64(NoOffset), uint8(0)
		if few.ZoneWord != nil {
			word = few.ZoneWord[k]
		}
		if few.OffsetMS != nil {
			offset = few.OffsetMS[k]
		}
		k++
		if r.N > 1 {
			k++
		}
		for i := r.Row; i < r.Row+r.N; i++ {
			clockMS[i] = inYears(clockMS[i] + base)
			if clockMS[i] == Bad {
				return nil, false
			}
			if offset != NoOffset {
				all.setOffset(i, offset)
			}
			if word > 0 {
				all.setZoneWord(i, few.ZoneWords[word-1])
			}
		}
	}
	return all, true
}
