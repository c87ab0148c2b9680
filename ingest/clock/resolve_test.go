package clock

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// column of the wall clock of known instants. From UTC to a wall clock there
// is no choice, so the standard library gives the truth to come back to.
func wallsOf(utc []int64, zone *time.Location) *Column {
	col := &Column{Wall: make([]int64, len(utc))}
	for i, u := range utc {
		_, off := time.UnixMilli(u).In(zone).Zone()
		col.Wall[i] = u + int64(off)*secondMS
	}
	return col
}

func instants(from string, step time.Duration, n int) []int64 {
	at, _ := time.Parse(time.RFC3339, from)
	out := make([]int64, n)
	for i := range out {
		out[i] = at.Add(time.Duration(i) * step).UnixMilli()
	}
	return out
}

// changes are clock changes of 2026 by the IANA database, in UTC: the start of
// a window that holds one.
var changes = []struct{ zone, autumn, spring string }{
	{"Europe/Rome", "2026-10-25T01:00:00Z", "2026-03-29T01:00:00Z"},
	{"Europe/London", "2026-10-25T01:00:00Z", "2026-03-29T01:00:00Z"},
	{"America/New_York", "2026-11-01T06:00:00Z", "2026-03-08T07:00:00Z"},
	{"America/St_Johns", "2026-11-01T04:30:00Z", "2026-03-08T05:30:00Z"},
	{"Australia/Sydney", "2026-04-04T16:00:00Z", "2026-10-03T16:00:00Z"},
	{"Pacific/Auckland", "2026-04-04T14:00:00Z", "2026-09-26T14:00:00Z"},
	{"Australia/Lord_Howe", "2026-04-04T15:00:00Z", "2026-10-03T15:30:00Z"},
	{"Australia/Adelaide", "2026-04-04T16:30:00Z", "2026-10-03T16:30:00Z"},
	{"America/Santiago", "2026-04-05T03:00:00Z", "2026-09-06T04:00:00Z"},
	{"America/Asuncion", "", ""},
	{"Asia/Kathmandu", "", ""},
	{"Asia/Kolkata", "", ""},
	{"UTC", "", ""},
}

// TestComesBackToUTC: whole logs over both changes of a year, several steps,
// oldest or newest first.
func TestComesBackToUTC(t *testing.T) {
	for _, c := range changes {
		zone, err := ParseZone(c.zone)
		require.NoError(t, err)
		if c.spring != "" {
			at := instants(c.spring, 0, 1)[0]
			_, before := time.UnixMilli(at - 1).In(zone).Zone()
			_, after := time.UnixMilli(at).In(zone).Zone()
			assert.Greater(t, after, before, "%s goes forward at %s", c.zone, c.spring)
		}
		for _, step := range []time.Duration{time.Minute, 7 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute} {
			utc := instants("2026-01-15T00:03:00Z", step, int(320*24*time.Hour/step))
			for range 2 {
				got, probs := Resolve(wallsOf(utc, zone), zone)
				if !assert.Equal(t, utc, got, "%s every %s", c.zone, step) {
					return
				}
				if c.autumn == "" {
					assert.Empty(t, probs, c.zone)
					slices.Reverse(utc)
					continue
				}
				if assert.Len(t, probs, 1, "%s every %s", c.zone, step) {
					at, err := time.Parse(time.RFC3339, c.autumn)
					require.NoError(t, err)
					assert.Equal(t, "repeated", probs[0].Kind)
					assert.True(t, probs[0].Sure, "%s every %s", c.zone, step)
					assert.Equal(t, at.UnixMilli(), probs[0].AtMS, c.zone)
				}
				slices.Reverse(utc)
			}
		}
	}
}

func sparse(at ...string) []int64 {
	var out []int64
	for _, s := range at {
		out = append(out, instants(s, 0, 1)...)
	}
	return out
}

// TestRepeatedHourInPieces: files that begin, end or have a gap in or near the
// repeated hour, and hourly rows.
func TestRepeatedHourInPieces(t *testing.T) {
	rome, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	all := instants("2026-10-24T20:00:00Z", 10*time.Minute, 60) // change at row 30
	drop := func(from, to int) []int64 { return slices.Concat(all[:from], all[to:]) }
	for name, utc := range map[string][]int64{
		"begins in the first pass":       all[26:],
		"begins in the second pass":      all[32:],
		"begins with the second pass":    all[30:],
		"ends in the first pass":         all[:28],
		"ends in the second pass":        all[:34],
		"end of the first pass missing":  drop(27, 30),
		"second pass missing but a row":  drop(31, 36),
		"start of the second missing":    drop(30, 32),
		"gap before the hour":            drop(18, 26),
		"gap after the hour":             drop(36, 42),
		"first pass only, then a gap":    drop(30, 44),
		"second pass only, after a gap":  drop(10, 30),
		"hourly":                         instants("2026-10-24T18:00:00Z", time.Hour, 14),
		"hourly, off the hour":           instants("2026-10-24T18:20:00Z", time.Hour, 14),
		"every two hours, first of two":  instants("2026-10-24T18:30:00Z", 90*time.Minute, 10),
		"by the second, doubled clashes": instants("2026-10-24T23:59:00Z", time.Second, 9000),
		"few events, stepping back": sparse("2026-10-24T18:05:00Z", "2026-10-24T21:40:00Z", "2026-10-25T00:30:00Z", "2026-10-25T01:20:00Z",
			"2026-10-25T07:10:00Z", "2026-10-25T10:00:00Z", "2026-10-25T13:30:00Z"),
	} {
		got, _ := Resolve(wallsOf(utc, rome), rome)
		assert.Equal(t, utc, got, name)
	}
}

// TestJitterInTheRepeatedHour: an event log whose rows are now and then out of
// order by seconds still splits where the hour really repeats.
func TestJitterInTheRepeatedHour(t *testing.T) {
	rome, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	rnd := rand.New(rand.NewPCG(1, 2))
	utc := instants("2026-10-24T22:00:00Z", 20*time.Second, 1500)
	for i := 1; i < len(utc); i++ {
		if rnd.IntN(10) == 0 {
			utc[i] -= 23_000
		}
	}
	got, probs := Resolve(wallsOf(utc, rome), rome)
	assert.Equal(t, utc, got)
	require.Len(t, probs, 1)
	assert.True(t, probs[0].Sure)
}

// TestSortedByWallClock: both passes interleaved, as an export sorted by its
// text leaves them.
func TestSortedByWallClock(t *testing.T) {
	rome, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	utc := instants("2026-10-24T20:00:00Z", 10*time.Minute, 60)
	col := wallsOf(utc, rome)
	slices.SortStableFunc(utc, func(a, b int64) int {
		_, offA := time.UnixMilli(a).In(rome).Zone()
		_, offB := time.UnixMilli(b).In(rome).Zone()
		return int((a + int64(offA)*secondMS - b - int64(offB)*secondMS) / secondMS)
	})
	slices.Sort(col.Wall)
	got, probs := Resolve(col, rome)
	assert.Equal(t, utc, got)
	require.Len(t, probs, 1)
	assert.False(t, probs[0].Sure)
}

// TestClockThatWasNotChanged: a logger on standard time, read in a zone that
// changes: both changes are told of and none is called sure.
func TestClockThatWasNotChanged(t *testing.T) {
	rome, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	col := &Column{}
	for _, u := range instants("2026-03-20T00:00:00Z", 10*time.Minute, 144*230) {
		col.Wall = append(col.Wall, u+hourMS)
	}
	_, probs := Resolve(col, rome)
	require.Len(t, probs, 2)
	assert.Equal(t, "skipped", probs[0].Kind)
	assert.Equal(t, 6, probs[0].Rows, "02:00 to 02:50 on 29 March")
	assert.Equal(t, "repeated", probs[1].Kind)
	assert.False(t, probs[1].Sure)
	assert.Equal(t, 6, probs[1].Rows)
}

func TestStatedOffsetsNeedNoZone(t *testing.T) {
	rome, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	col, err := Read([]string{"2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00", "no", "2026-10-25 12:00"}, Options{})
	require.NoError(t, err)
	utc, probs := Resolve(col, rome)
	assert.Equal(t, []int64{wall(t, "2026-10-25T00:30:00"), wall(t, "2026-10-25T01:30:00"), Bad, wall(t, "2026-10-25T11:00:00")}, utc)
	assert.Empty(t, probs)
}

func TestZones(t *testing.T) {
	for name, offS := range map[string]int{"UTC": 0, "+01:00": 3600, "-03:30": -12600, "+0545": 20700, "UTC+2": 7200, "Asia/Kolkata": 19800} {
		zone, err := ParseZone(name)
		if assert.NoError(t, err, name) {
			_, off := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).In(zone).Zone()
			assert.Equal(t, offS, off, name)
		}
	}
	for _, bad := range []string{"", "Europe/Roma", "CEST", "+1h", "+99:00", "Local", "../etc"} {
		_, err := ParseZone(bad)
		assert.Error(t, err, bad)
	}
}

// TestShift: by hand. A clock 37 min ahead at noon of 2 February that gains
// 2 s a day, put back by an hour at 10:00 on 3 February.
func TestShift(t *testing.T) {
	mid := wall(t, "2026-02-02T12:00:00")
	at := wall(t, "2026-02-03T10:00:00")
	s := Shift{AheadS: 37 * 60, DriftSPerDay: 2, MidMS: mid, Jumps: []Jump{{AtMS: at, ByS: -3600}}}
	assert.Equal(t, mid-37*minuteMS, s.True(mid))
	assert.Equal(t, mid-dayMS-37*minuteMS+2000, s.True(mid-dayMS), "a day earlier it was 2 s less ahead")
	assert.Equal(t, mid+2*dayMS-37*minuteMS-4000+hourMS, s.True(mid+2*dayMS), "after the jump an hour less")
	late := Shift{AheadS: 0, MidMS: at + dayMS, Jumps: s.Jumps}
	assert.Equal(t, at+hourMS, late.True(at+hourMS), "right at mid-file, after the jump")
	assert.Equal(t, at-dayMS-hourMS, late.True(at-dayMS), "so an hour ahead before it")
}

// TestShiftPlus: by hand. Stated 10 s ahead, and of what is left 50 s more found
// at noon, with a jump after it.
func TestShiftPlus(t *testing.T) {
	mid := wall(t, "2026-02-02T12:00:00")
	s := Shift{AheadS: 10, DriftSPerDay: 1, MidMS: mid - 2*dayMS}.Plus(Shift{AheadS: 50, DriftSPerDay: 2, MidMS: mid, Jumps: []Jump{{AtMS: mid + dayMS, ByS: 3600}}})
	assert.Equal(t, mid-62*secondMS, s.True(mid), "10 s, two days of 1 s, 50 s")
	assert.Equal(t, mid+2*dayMS-(62+6+3600)*secondMS, s.True(mid+2*dayMS))
}

// TestTrueAllByRows: stamps that a clock put back shows twice come out in
// order, oldest or newest first.
func TestTrueAllByRows(t *testing.T) {
	at := wall(t, "2026-02-03T10:00:00")
	truth := instants("2026-02-03T07:00:00Z", 10*time.Minute, 40)
	stamps := slices.Clone(truth)
	for i := range stamps {
		if truth[i] >= at {
			stamps[i] -= hourMS
		}
	}
	s := Shift{MidMS: truth[0], Jumps: []Jump{{AtMS: at, ByS: -3600}}}
	assert.Equal(t, truth, s.TrueAll(stamps))
	slices.Reverse(stamps)
	slices.Reverse(truth)
	assert.Equal(t, truth, s.TrueAll(stamps))

	forward := Shift{MidMS: at + dayMS, AheadS: 3600, Jumps: []Jump{{AtMS: at, ByS: 3600}}}
	assert.Equal(t, []int64{at - 1000, Bad, at}, forward.TrueAll([]int64{at - 1000, Bad, at + hourMS}))
}

// A logger whose clock stands in a far year must not hold the reader up. The
// offsets are those of the European rule (last Sundays of March and October).
func TestFarYears(t *testing.T) {
	zone, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	for text, wantH := range map[string]int64{"2040-12-31 12:00": 1, "2041-01-02 12:00": 1, "2041-07-01 12:00": 2, "2099-01-15 12:00": 1, "2099-07-15 12:00": 2, "2199-12-31 23:00": 1} {
		col, err := Read([]string{text, "2026-01-15 12:00"}, Options{})
		require.NoError(t, err)
		utc, probs := Resolve(col, zone)
		require.Empty(t, probs)
		require.Equal(t, col.Wall[0]-wantH*hourMS, utc[0], text)
	}
	for _, name := range []string{"America/New_York", "Australia/Sydney", "Europe/London", "Africa/Casablanca", "Asia/Tehran", "America/Santiago"} {
		zone, err := ParseZone(name)
		require.NoError(t, err)
		spans := spansOf(zone, wallMS(1990, 1, 1), wallMS(2199, 12, 31))
		for i := 1; i < len(spans); i++ {
			require.NotEqual(t, spans[i-1].offsetMS, spans[i].offsetMS, name)
			require.Equal(t, spans[i-1].endMS, spans[i].startMS, "%s: %s", name, time.UnixMilli(spans[i].startMS))
		}
	}
}
