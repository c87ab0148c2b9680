package clock

import "strings"

// until reads the end of an interval behind a stamp, "00:00 - 00:15" or two
// whole stamps; at is how many bytes of the sign between them stand at c.i. A
// time of day right behind a dash may be an offset as well ("10:00-03:30"):
// settleRanges tells by all rows. false = nothing was taken.
func (c *scanner) until(at int) bool {
	sign := c.i + at
	rest := strings.TrimLeft(c.s[sign:], " ->")
	if c.inner || rest == "" || rest[0]-'0' > 9 || c.st.offsetMS != NoOffset {
		return false
	}
	end := scanner{inner: true}
	if st := end.scan(rest); st.form != formBad && st.clocked && st.form == c.formOf() {
		c.st.endMS, c.i = st.clockMS, len(c.s)
		c.st.style |= surelyEnd
		return true
	}
	end = scanner{s: rest, inner: true, st: stamp{date: date{n: 3}, offsetMS: NoOffset}}
	k := strings.IndexAny(rest, ":.hH")
	if k < 1 || k > 2 || !end.parts() || !end.st.clocked || end.st.offsetMS != NoOffset || end.st.zoneWord != "" {
		return false
	}
	if end.mark != 0 && !end.halfDay(end.mark) || end.st.clockMS < 0 {
		return false
	}
	c.st.endMS = end.st.clockMS
	if c.s[c.i] == '-' && rest[k] == ':' && len(rest) == k+3 && len(c.s)-len(rest) == sign {
		c.st.style |= maybeEnd
		c.st.offsetMS = -c.st.endMS
	} else {
		c.st.style |= surelyEnd
	}
	c.i = len(c.s)
	return true
}

// formOf is the form of the date read so far.
func (c *scanner) formOf() form {
	as := scanner{st: stamp{date: c.st.date}}
	as.finish()
	return as.st.form
}

// dashedClock tells whether a time of day with dashes begins at start: hh-mm-ss,
// or hh-mm behind a blank or an underscore (behind T it is an hour and an
// offset).
func (c *scanner) dashedClock(start int) bool {
	t := c.s[start:]
	two := func(k int) bool { return len(t) >= k+2 && t[k]-'0' <= 9 && t[k+1]-'0' <= 9 }
	if !two(3) {
		return false
	}
	if len(t) > 5 && t[5] == '-' && two(6) {
		return true
	}
	return len(t) == 5 && start > 0 && (c.s[start-1] == ' ' || c.s[start-1] == '_')
}

// manyOffsets is more than the rows of one log state: a zone has two.
const manyOffsets = 4

// settleRanges tells offsets from the ends of intervals, by all rows, and
// hh-mm from hours that follow each other ("15-16"). It gives whether the rows
// state intervals; rows that do otherwise than most are struck out.
func settleRanges(rows []stamp) bool {
	sure, maybe, odd, dashes, hours, stamps := 0, 0, 0, 0, 0, 0
	offsets := map[int64]bool{}
	for i := range rows {
		r := &rows[i]
		if r.form == formBad {
			continue
		}
		stamps++
		switch {
		case r.style&surelyEnd != 0:
			sure++
		case r.style&maybeEnd != 0:
			maybe++
			offsets[r.offsetMS] = true
			if !isOffset(r.offsetMS) {
				odd++
			}
		case r.style&dashed != 0:
			dashes++
			if r.hourToHour() {
				hours++
			}
		}
	}
	hourly := dashes > 0 && hours == dashes
	asEnds := sure > 0 || len(offsets) >= manyOffsets || 2*odd > maybe
	ends := sure
	if asEnds {
		ends += maybe
	}
	if hourly {
		ends += dashes
	}
	ranged := ends > 0 && 2*ends >= stamps
	for i := range rows {
		rows[i].settle(asEnds, hourly, ranged)
	}
	return ranged
}

// settle takes a row as its column was settled.
func (r *stamp) settle(asEnds, hourly, ranged bool) {
	end := r.style&surelyEnd != 0
	switch {
	case r.form == formBad:
		return
	case r.style&dashed != 0 && hourly:
		r.clockMS -= r.clockMS % hourMS
		end = true
	case r.style&maybeEnd != 0 && asEnds:
		r.offsetMS = NoOffset
		end = true
	case r.style&maybeEnd != 0 && (r.offsetMS < -15*hourMS || !isOffset(r.offsetMS)):
		*r = stamp{offsetMS: NoOffset}
	}
	if end && !ranged {
		*r = stamp{offsetMS: NoOffset}
	}
}

// hourToHour: of hh-mm, the minutes are the hour that follows.
func (r *stamp) hourToHour() bool {
	h, m := r.clockMS/hourMS, r.clockMS%hourMS/minuteMS
	return m == h+1 || h == 23 && m == 0
}

// isOffset tells whether a zone west of Greenwich may be that far behind it, in
// whole or half hours up to twelve (source: the IANA zone data, from memory).
func isOffset(ms int64) bool {
	return ms <= 0 && ms >= -12*hourMS && ms%(hourMS/2) == 0 && ms != -hourMS/2
}
