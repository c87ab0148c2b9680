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
}

// Add reads the stamp of a row. clockMS is its time of day, to which Spread
// adds the date; for stamps that are a count (epoch, serial days) it is the
// whole. ok is false for a text that is no stamp. The text must stay as it is
// until the call after next; Flush ends its use.
func (s *Stamper) Add(row int, text string) (clockMS int64, ok bool) {
	st := s.sc.scan(text)
	if st.form == formBad {
		return Bad, false
	}
	if n := len(s.Runs) - 1; n >= 0 && s.last != "" && s.Runs[n].Row+s.Runs[n].N == row && s.sameRun(&st) {
		s.Runs[n].N++
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

func (s *Stamper) sameRun(st *stamp) bool {
	c := &s.cur
	return st.date == c.date && st.offsetMS == c.offsetMS && st.seconds == c.seconds && st.half == c.half && st.clocked == c.clocked && st.zoneWord == c.zoneWord
}

// Flush closes the open run; the texts given so far are no longer looked at.
func (s *Stamper) Flush() {
	if n := len(s.Runs) - 1; n >= 0 && s.last != "" {
		s.Runs[n].Last = strings.Clone(s.last)
	}
	s.last = ""
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
	all = &Column{Layout: few.Layout, Because: few.Because, Wall: clockMS}
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
