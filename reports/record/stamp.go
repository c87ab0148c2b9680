package record

import (
	"strconv"
	"time"
)

const (
	dayMS    = 24 * 3600 * 1000
	hourMS   = 3600 * 1000
	minuteMS = 60 * 1000
)

// stamper appends times as ISO 8601 with an offset. It remembers the day last
// printed and the span in which the zone's offset holds, for the rows of a
// record follow one another.
type stamper struct {
	zone *time.Location
	// offsetMS holds from sinceMS up to untilMS.
	offsetMS, sinceMS, untilMS int64
	suffix                     string
	day                        int64
	date                       string
	millis                     bool
}

// newStamper makes one for a zone; millis prints thousandths of a second.
func newStamper(zone *time.Location, millis bool) *stamper {
	return &stamper{zone: zone, millis: millis, day: -1 << 62, sinceMS: 1, untilMS: 0}
}

func (s *stamper) append(b []byte, atMS int64) []byte {
	if atMS < s.sinceMS || atMS >= s.untilMS {
		s.look(atMS)
	}
	local := atMS + s.offsetMS
	day := floorDiv(local, dayMS)
	if day != s.day {
		s.day = day
		s.date = time.UnixMilli(day * dayMS).UTC().Format("2006-01-02T")
	}
	in := local - day*dayMS
	b = append(b, s.date...)
	b = two(b, in/hourMS)
	b = append(b, ':')
	b = two(b, in/minuteMS%60)
	b = append(b, ':')
	b = two(b, in/1000%60)
	if s.millis {
		b = append(b, '.', byte('0'+in%1000/100))
		b = two(b, in%100)
	}
	return append(b, s.suffix...)
}

// wallMS is the time as the zone's clocks show it, in ms since their 1970.
func (s *stamper) wallMS(atMS int64) int64 {
	if atMS < s.sinceMS || atMS >= s.untilMS {
		s.look(atMS)
	}
	return atMS + s.offsetMS
}

// look finds the offset at a time, and how long it holds.
func (s *stamper) look(atMS int64) {
	at := time.UnixMilli(atMS).In(s.zone)
	_, offsetS := at.Zone()
	s.offsetMS = int64(offsetS) * 1000
	since, until := at.ZoneBounds()
	s.sinceMS, s.untilMS = -1<<62, 1<<62
	if !since.IsZero() {
		s.sinceMS = since.UnixMilli()
	}
	if !until.IsZero() {
		s.untilMS = until.UnixMilli()
	}
	s.suffix = at.Format("Z07:00")
}

func two(b []byte, v int64) []byte { return append(b, byte('0'+v/10), byte('0'+v%10)) }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// decimals of record.csv: 0.01 mK, 0.01 mL/min, 0.01 W. No logger resolves
// that; more digits would print the noise of interpolation.
const (
	decimals = 5
	scale    = 1e5
	// most is where v·scale still is an exact whole number.
	most = 1e10
)

// fixed is v as record.csv has it: the number that appendFixed writes, read
// again. A whole number of scale-ths divided by scale is the double nearest to
// that decimal, for both are exact; and -0 is 0.
func fixed(v float64) float64 {
	if v <= -most || v >= most {
		return v
	}
	x := v * scale
	if x < 0 {
		return float64(int64(x-0.5)) / scale
	}
	return float64(int64(x+0.5)) / scale
}

// appendFixed appends v rounded to 5 decimals, without trailing zeros, minus
// as ASCII; nothing for what is not known. v − v is 0 for every finite v only.
func appendFixed(b []byte, v float64) []byte {
	if v-v != 0 {
		return b
	}
	if v <= -most || v >= most {
		return strconv.AppendFloat(b, v, 'f', -1, 64)
	}
	x := v * scale
	n := int64(x + 0.5)
	if x < 0 {
		n = int64(x - 0.5)
	}
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	b = strconv.AppendInt(b, n/scale, 10)
	n %= scale
	if n == 0 {
		return b
	}
	b = append(b, '.')
	for unit := int64(scale / 10); n > 0; unit /= 10 {
		b = append(b, byte('0'+n/unit))
		n %= unit
	}
	return b
}
