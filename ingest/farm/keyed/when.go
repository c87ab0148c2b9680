package keyed

import (
	"strconv"
	"strings"
	"time"

	"yardheat/ingest/clock"
)

// DayMin is the length of a day.
const DayMin = 24 * 60

// What messages say of dates and times.
const (
	dateWant = "a date as 2026-02-03"
	TimeWant = "a date and time as 2026-02-03 10:00"
)

// civil is a value's civil time: a TOML date or date and time, or a text that
// reads as one. offset is true where it states its own zone, and then at is
// the instant.
func civil(n *Node) (wallMS int64, at time.Time, offset, ok bool) {
	if n.Kind != IsText && n.Kind != isTime {
		return 0, at, false, false
	}
	if t, err := time.Parse(time.RFC3339, strings.Replace(n.Text, " ", "T", 1)); err == nil {
		return 0, t, true, true
	}
	text := n.Text
	if k := strings.IndexByte(text, '.'); n.Kind == isTime && k > 0 {
		text = text[:k]
	}
	wallMS, ok = clock.ParseCivil(text)
	return wallMS, at, false, ok
}

// Date reads a day; dst is its local midnight.
func (t *Tab) Date(key string, dst *time.Time, zone *time.Location) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	ms, _, offset, ok := civil(e.Val)
	if !ok || offset || ms%(DayMin*60000) != 0 {
		t.Bad(e, dateWant, "write year, month and day")
		return false
	}
	d := time.UnixMilli(ms).UTC()
	*dst = Midnight(d.Year(), d.Month(), d.Day(), zone)
	return true
}

// Moment reads a date, or a date and time; a date is its local midnight.
func (t *Tab) Moment(key string, dst *time.Time, zone *time.Location) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	ms, at, offset, ok := civil(e.Val)
	switch {
	case !ok:
		t.Bad(e, TimeWant+", or a date", "write year, month, day, and the time of day if it is known")
		return false
	case offset:
		*dst = at.In(zone)
	default:
		d := time.UnixMilli(ms).UTC()
		*dst = Midnight(d.Year(), d.Month(), d.Day(), zone)
		if s := ms / 1000 % 86400; s > 0 {
			*dst = time.Date(d.Year(), d.Month(), d.Day(), int(s/3600), int(s/60%60), int(s%60), 0, zone)
		}
	}
	return true
}

// Midnight is the start of a local day. Where a clock change skips midnight
// the day starts at the change; where it repeats it, at the first.
func Midnight(y int, m time.Month, d int, zone *time.Location) time.Time {
	t := time.Date(y, m, d, 0, 0, 0, 0, zone)
	want := time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Day()
	if t.Day() != want {
		if _, end := t.ZoneBounds(); !end.IsZero() {
			return end
		}
		return t
	}
	if before := t.Add(-time.Hour); before.Day() == want {
		return before
	}
	return t
}

// TimeOfDay reads "05:20" as minutes of the day; "24:00" is its end.
func (t *Tab) TimeOfDay(key string, dst *int) bool {
	e := t.Get(key)
	if e == nil {
		return false
	}
	if e.Val.Kind == IsText || e.Val.Kind == isTime {
		if m, ok := Minutes(e.Val.Text); ok {
			*dst = m
			return true
		}
	}
	t.Bad(e, `a time of day as "05:20", up to "24:00"`, "write hours and minutes with a colon, in quotes")
	return false
}

// Minutes reads "05:20" as minutes of the day, up to "24:00".
func Minutes(text string) (int, bool) {
	h, rest, ok := strings.Cut(strings.TrimSpace(text), ":")
	m, sec, _ := strings.Cut(rest, ":")
	hour, err1 := strconv.ParseUint(h, 10, 8)
	minute, err2 := strconv.ParseUint(m, 10, 8)
	if !ok || err1 != nil || err2 != nil || strings.Trim(sec, "0") != "" || len(m) != 2 || len(h) > 2 || minute > 59 || hour*60+minute > DayMin {
		return 0, false
	}
	return int(hour*60 + minute), true
}

// DurationS reads "37m", "-4m", "1h30m", "90s", "1 h" as seconds.
func DurationS(text string) (float64, bool) {
	s := strings.ReplaceAll(strings.TrimSpace(text), " ", "")
	if strings.Trim(s, "+-0123456789.hms") != "" || strings.Contains(s, "ms") {
		return 0, false
	}
	d, err := time.ParseDuration(s)
	return d.Seconds(), err == nil
}
