package clock

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestReadsWordsOfManyLanguages: marks of the half of the day, month names and
// signs as the locales of loggers write them (source: Unicode CLDR, from
// memory); the times by hand.
func TestReadsWordsOfManyLanguages(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"23/2/2026 11:40:00 μμ", "2026-02-23T23:40:00"},
		{"23/2/2026 12:00:00 πμ", "2026-02-23T00:00:00"},
		{"23/2/2026 3:04 μ.μ.", "2026-02-23T15:04:00"},
		{"23.02.2026 3:04 ÖS", "2026-02-23T15:04:00"},
		{"23. 2. 2026 3:04 odp.", "2026-02-23T15:04:00"},
		{"2026-02-23 3:04 em", "2026-02-23T15:04:00"},
		{"2026-02-23 3:04 e.m.", "2026-02-23T15:04:00"},
		{"2026. 02. 23. du. 3:04", "2026-02-23T15:04:00"},
		{"2026. 02. 23. de. 3:04", "2026-02-23T03:04:00"},
		{"23.02.2026 3:04 nachm.", "2026-02-23T15:04:00"},
		{"23/02/2026 3:04 CH", "2026-02-23T15:04:00"},
		{"23/02/2026 12:04 SA", "2026-02-23T00:04:00"},
		{"23/02/2026 3:04 م", "2026-02-23T15:04:00"},
		{"23/02/2026 3:04 PTG", "2026-02-23T15:04:00"},
		{"23.2.2026 3.04 ip.", "2026-02-23T15:04:00"},
		{"2026/2/23 上午 12:20:00", "2026-02-23T00:20:00"},
		{"2026/2/23 下午 01:20:00", "2026-02-23T13:20:00"},
		{"2026-02-23 오전 12:20:00", "2026-02-23T00:20:00"},
		{"2026-02-23 오후 1:20:00", "2026-02-23T13:20:00"},
		{"2026-02-23 PM 1:20:00", "2026-02-23T13:20:00"},
		{"2026-02-23 AM 12:20:00", "2026-02-23T00:20:00"},
		{"2026年2月3日 00时05分00秒", "2026-02-03T00:05:00"},
		{"2026年02月23日 00時30分", "2026-02-23T00:30:00"},
		{"2026년 2월 3일 오후 3시 5분", "2026-02-03T15:05:00"},
		{"2026年2月3日(火) 10:00", "2026-02-03T10:00:00"},
		{"3. 2. 2026 0:45", "2026-02-03T00:45:00"},
		{"2026. 02. 23. 00:15:00", "2026-02-23T00:15:00"},
		{"2026-02-23_00-15-30", "2026-02-23T00:15:30"},
		{"2026-02-23 00-15", "2026-02-23T00:15:00"},
		{"23 de febrero de 2026 00:30", "2026-02-23T00:30:00"},
		{"3 marca 2026 r. 10:00", "2026-03-03T10:00:00"},
		{"3. června 2026 10:00", "2026-06-03T10:00:00"},
		{"3. července 2026 10:00", "2026-07-03T10:00:00"},
		{"2026. március 5. 10:00", "2026-03-05T10:00:00"},
		{"5. maaliskuuta 2026 klo 10.15", "2026-03-05T10:15:00"},
		{"5 Μαρτίου 2026 10:00", "2026-03-05T10:00:00"},
		{"5 EKİM 2026 10:00", "2026-10-05T10:00:00"},
		{"5 марта 2026 г. 10:00", "2026-03-05T10:00:00"},
		{"2026 m. kovo 28 d. 10:00", "2026-03-28T10:00:00"},
		{"3 mar 2026 15h04m05s", "2026-03-03T15:04:05"},
	} {
		col, err := Read([]string{c.text}, Options{Order: orderFor(c.text)})
		if assert.NoError(t, err, c.text) {
			assert.Equal(t, wall(t, c.want), col.Wall[0], "%q read as %s", c.text, time.UnixMilli(col.Wall[0]).UTC())
			assert.Nil(t, col.OffsetMS, c.text)
		}
	}
}

// orderFor states day first for dates that alone read either way.
func orderFor(text string) string {
	if text[0] == '3' {
		return "dmy"
	}
	return ""
}

// TestAWordThatIsNotKnownIsNoStamp: it may be a mark of the afternoon, so that
// to drop it could be wrong by twelve hours.
func TestAWordThatIsNotKnownIsNoStamp(t *testing.T) {
	for _, text := range []string{"2026-02-23 3:04 abends", "2026-02-23 abends 3:04", "2026-02-23 3:04 xyz", "2026-02-23 晚上 12:20", "2026-02-23 3:04 pm em",
		"2026-02-23 13:04 AM", "5 de jui 2026 10:00", "2026-02-23 3:04 +01:00 abends"} {
		_, err := Read([]string{text}, Options{})
		assert.Error(t, err, text)
	}
}

// TestZoneWordsAreReadOrNamed: by the zone, by what the word stands for
// everywhere, or as unknown; never dropped.
func TestZoneWordsAreReadOrNamed(t *testing.T) {
	rome, err := ParseZone("Europe/Rome")
	require.NoError(t, err)
	const h = int64(hourMS)
	for _, c := range []struct {
		word   string
		want   int64
		inRome bool
	}{
		{"Sommerzeit", 2 * h, true}, {"heure d’été", 2 * h, true}, {"heure d'été", 2 * h, true}, {"ora legale", 2 * h, true}, {"ora solare", h, true},
		{"WESZ", h, false}, {"HNEC", h, false}, {"WIB", 7 * h, false}, {"(CEST)", 2 * h, true}, {"Central European Summer Time", 2 * h, false},
		{"America/Denver", -6 * h, false}, {"(XYZ)", NoOffset, false}, {"Mountain Standard Time", NoOffset, false},
	} {
		col, err := Read([]string{"2026-06-23 10:00 " + c.word}, Options{})
		if !assert.NoError(t, err, c.word) {
			continue
		}
		foreign, unknown := col.UseZoneWords(rome)
		assert.Equal(t, c.inRome, len(foreign) == 0, c.word)
		assert.Equal(t, c.want == NoOffset, len(unknown) == 1, c.word)
		if c.want == NoOffset {
			assert.Nil(t, col.OffsetMS, c.word)
		} else if assert.NotNil(t, col.OffsetMS, c.word) {
			assert.Equal(t, c.want, col.OffsetMS[0], c.word)
		}
	}
}

// TestMonthOfTwoLanguages: listopad is November in Polish and Czech, October in
// Croatian; a month that is only in one of them settles it.
func TestMonthOfTwoLanguages(t *testing.T) {
	open, err := Read([]string{"5 listopada 2026 10:00"}, Options{})
	require.NoError(t, err)
	require.Contains(t, open.Because, "common practice")
	sure, err := Read([]string{"31 października 2026 10:00", "1 listopada 2026 10:00"}, Options{})
	require.NoError(t, err)
	require.Equal(t, "the month is a word", sure.Because)
}

func TestStatedLayoutKeepsTheZoneWord(t *testing.T) {
	col, err := Read([]string{"23.06.2026 10:00 CEST"}, Options{Layout: "DD.MM.YYYY hh:mm Z"})
	require.NoError(t, err)
	require.Equal(t, []string{"CEST"}, col.ZoneWords)
}
