package clock

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wall is a wall clock's time by the standard library, for comparison.
func wall(t *testing.T, iso string) int64 {
	t.Helper()
	at, err := time.Parse("2006-01-02T15:04:05.999", iso)
	require.NoError(t, err)
	return at.UnixMilli()
}

// TestReadsLayouts: one stamp, read alone, in each layout that a log was ever
// seen to write (common practice, no source; ISO forms: ISO 8601-1:2019, 5.4).
func TestReadsLayouts(t *testing.T) {
	const at = "2026-02-23T15:04:05"
	for _, c := range []struct{ text, want string }{
		{"2026-02-23T15:04:05", at},
		{"2026-02-23 15:04:05", at},
		{"2026-02-23t15:04:05", at},
		{"2026-02-23T15:04:05.250", at + ".25"},
		{"2026-02-23 15:04:05,25", at + ".25"},
		{"2026-02-23 15:04:05:250", at + ".25"},
		{"2026-02-23 15:04:05.123456789", at + ".123"},
		{"2026-02-23 15:04", "2026-02-23T15:04:00"},
		{"2026-02-23", "2026-02-23T00:00:00"},
		{"2026/02/23 15:04:05", at},
		{"2026.02.23 15:04:05", at},
		{"2026-2-23 15:4:5", at},
		{"23.02.2026 15:04:05", at},
		{"23.2.2026 15:04", "2026-02-23T15:04:00"},
		{"23.02.26 15:04:05", at},
		{"23.02.2026, 15:04:05", at},
		{"23.02.2026,15:04:05", at},
		{"23.02.2026 15.04.05", at},
		{"23.02.2026 15.04", "2026-02-23T15:04:00"},
		{"23.02.2026 klo 15.04.05", at},
		{"23/02/2026 15:04:05", at},
		{"02/23/2026 15:04:05", at},
		{"2/23/26 15:04", "2026-02-23T15:04:00"},
		{"2/23/2026 3:04:05 PM", at},
		{"2/23/2026 3:04:05 pm", at},
		{"2/23/2026 3:04:05 p.m.", at},
		{"23/2/2026 3:04:05 p. m.", at},
		{"2/23/2026 3:04:05\u202fPM", at},
		{"2/23/2026 3:04:05PM", at},
		{"2/23/2026 3 PM", "2026-02-23T15:00:00"},
		{"2/23/2026 12:04:05 AM", "2026-02-23T00:04:05"},
		{"2/23/2026 12:04:05 pm", "2026-02-23T12:04:05"},
		{"23-02-2026 15:04:05", at},
		{"23-Feb-2026 15:04:05", at},
		{"23-FEB-26 15:04:05", at},
		{"23 February 2026 15:04:05", at},
		{"February 23, 2026 15:04:05", at},
		{"Feb 23 2026 3:04:05 PM", at},
		{"Mon Feb 23 2026 15:04:05", at},
		{"Mon, 23 Feb 2026 15:04:05 +0100", at},
		{"lun. 23 févr. 2026 15:04:05", at},
		{"23. Februar 2026 15:04:05 Uhr", at},
		{"23 de febrero de 2026 15:04:05", at},
		{"23rd Feb 2026 at 15:04:05", at},
		{"2026-Feb-23 15:04:05", at},
		{"mar. 24 mars 2026 15h04", "2026-03-24T15:04:00"},
		{"mar 24/03/2026 15:04", "2026-03-24T15:04:00"},
		{"23. März 2026 15:04", "2026-03-23T15:04:00"},
		{"1. joulukuuta 2026 15:04", "2026-12-01T15:04:00"},
		{"15:04:05 23.02.2026", at},
		{"15:04 2026-02-23", "2026-02-23T15:04:00"},
		{"23.02.2026 24:00", "2026-02-24T00:00:00"},
		{"2026-02-23 24:00:00", "2026-02-24T00:00:00"},
		{"20260223", "2026-02-23T00:00:00"},
		{"202602231504", "2026-02-23T15:04:00"},
		{"20260223150405", at},
		{"20260223150405250", at + ".25"},
		{"20260223T150405", at},
		{"20260223T150405Z", at},
		{"20260223_1504", "2026-02-23T15:04:00"},
		{"2026-02-23T15:04:05.000", at},
		{"2026-02-23\u00a015:04:05", at},
		{"2026-02-23 15:04:05 CET", at},
		{"2026-02-23 15:04:05 (CET)", at},
		{"'2026-02-23 15:04:05", at},
		{"1771859045", at},
		{"1771859045000", at},
		{"1771859045000000", at},
		{"1771859045.25", at + ".25"},
		// Spreadsheet day numbers: 2026-02-23 is 46076 in the 1900 system (25569 + days since 1970).
		{"46076", "2026-02-23T00:00:00"},
		{"46076.5", "2026-02-23T12:00:00"},
		{"46076,627835648", at},
		{"23/02/1998 15:04", "1998-02-23T15:04:00"},
		{"29.02.2024 0:00", "2024-02-29T00:00:00"},
	} {
		col, err := Read([]string{c.text}, Options{})
		if assert.NoError(t, err, c.text) {
			assert.Equal(t, wall(t, c.want), col.Wall[0], "%q read as %s", c.text, time.UnixMilli(col.Wall[0]).UTC())
			assert.Zero(t, col.Bad)
		}
	}
}

func TestReadsOffsets(t *testing.T) {
	const h = int64(3600_000)
	for _, c := range []struct {
		text string
		want int64
	}{
		{"2026-02-23T15:04:05Z", 0},
		{"2026-02-23T15:04:05+01:00", h},
		{"2026-02-23T15:04:05+0100", h},
		{"2026-02-23 15:04:05 -03:30", -h * 7 / 2},
		{"2026-02-23 15:04:05\u221203:30", -h * 7 / 2},
		{"2026-02-23T15:04:05+05", 5 * h},
		{"2026-02-23 15:04:05 UTC", 0},
		{"2026-02-23 15:04:05 GMT", 0},
		{"2026-02-23 15:04:05 GMT+2", 2 * h},
		{"2026-02-23 15:04:05 UTC+05:45", 5*h + h*3/4},
		{"1771859045", 0},
		// An abbreviation is not unique: BST is no offset, and surely not 0.
		{"2026-06-23 15:04:05 BST", NoOffset},
		{"2026-06-23 15:04:05 CEST", NoOffset},
		{"2026-06-23 15:04:05", NoOffset},
	} {
		col, err := Read([]string{c.text}, Options{})
		if !assert.NoError(t, err, c.text) {
			continue
		}
		if c.want == NoOffset {
			assert.Nil(t, col.OffsetMS, c.text)
		} else if assert.Len(t, col.OffsetMS, 1, c.text) {
			assert.Equal(t, c.want, col.OffsetMS[0], c.text)
		}
	}
}

func TestRefusesWhatIsNoStamp(t *testing.T) {
	for _, text := range []string{
		"", "Loop out", "15:04", "8,5", "2026", "31.02.2026", "30/02/2026 10:00", "29.02.2026 0:00", "2026-13-01", "2026-02-23 25:00",
		"2026-02-23 10:61", "2026-02-23 24:01", "2026-02-23 13:04 AM", "Total: 23.02.2026", "23.02.2026 10:00 11:00", "192.168.10.5",
		"6202-02-23 10:00", "0026-02-23", "12345", "123456789", "Average", "2026-02", "02.2026", "x2026-02-23", "1.2.3.4", "2026-02-23 1:2:3:4:5",
	} {
		col, err := Read([]string{text}, Options{})
		var e *StampError
		if !assert.ErrorAs(t, err, &e, "%q read as %+v", text, col) {
			continue
		}
		assert.NotEmpty(t, e.Error())
	}
}

// logIn writes a log of n rows in a layout of the standard library.
func logIn(layout string, from time.Time, step time.Duration, n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = from.Add(time.Duration(i) * step).Format(layout)
	}
	return out
}

// TestProvesTheOrder: the true order is known because the texts were written
// in it by the standard library.
func TestProvesTheOrder(t *testing.T) {
	feb1 := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name, layout string
		from         time.Time
		step         time.Duration
		n            int
	}{
		{"a day above 12, day first", "02/01/2006 15:04", feb1, time.Hour, 24 * 20},
		{"a day above 12, month first", "01/02/2006 15:04", feb1, time.Hour, 24 * 20},
		{"days 1 to 12 only, day first", "02/01/2006 15:04", feb1, 10 * time.Minute, 6 * 24 * 11},
		{"days 1 to 12 only, month first", "01/02/2006 15:04", feb1, 10 * time.Minute, 6 * 24 * 11},
		{"one midnight, day first", "02-01-2006 15:04", feb1.AddDate(0, 0, 3), time.Minute, 2000},
		{"one midnight, month first", "1/2/2006 3:04:05 PM", feb1.AddDate(0, 0, 3), time.Minute, 2000},
		{"two-digit years, year first", "06-01-02 15:04", feb1, 10 * time.Minute, 6 * 24 * 11},
		{"two-digit years, day first", "02-01-06 15:04", feb1, 10 * time.Minute, 6 * 24 * 11},
		{"two-digit years, month first", "01/02/06 15:04", feb1, 10 * time.Minute, 6 * 24 * 11},
		{"two rows a day, day first", "02/01/2006 15:04", feb1.Add(5 * time.Hour), 12 * time.Hour, 20},
		{"two rows a day, month first", "01/02/2006 15:04", feb1.Add(5 * time.Hour), 12 * time.Hour, 20},
		{"dates alone over a change of month", "02/01/2006", time.Date(2026, 1, 30, 0, 0, 0, 0, time.UTC), 24 * time.Hour, 6},
	} {
		texts := logIn(c.layout, c.from, c.step, c.n)
		for _, newestFirst := range []bool{false, true} {
			if newestFirst {
				for i, j := 0, len(texts)-1; i < j; i, j = i+1, j-1 {
					texts[i], texts[j] = texts[j], texts[i]
				}
			}
			col, err := Read(texts, Options{})
			if !assert.NoError(t, err, c.name) {
				continue
			}
			for i, text := range texts {
				want, err := time.Parse(c.layout, text)
				require.NoError(t, err)
				if !assert.Equal(t, want.UnixMilli(), col.Wall[i], "%s: %q (%s)", c.name, text, col.Because) {
					break
				}
			}
		}
	}
}

func TestAsksWhereTheOrderIsOpen(t *testing.T) {
	for name, texts := range map[string][]string{
		"one day":                          {"03/04/2026 10:00", "03/04/2026 10:10", "03/04/2026 10:20"},
		"a date a row, daily or monthly":   {"01/02/2026", "02/02/2026", "03/02/2026", "04/02/2026"},
		"two-digit years on one day":       {"03-04-05 10:00", "03-04-05 10:10"},
		"one stray day against all others": append(logIn("01/02/2006 15:04", time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC), time.Hour, 24*11), "13/02/2026 00:00"),
	} {
		_, err := Read(texts, Options{})
		var e *OrderError
		if assert.ErrorAs(t, err, &e, name) {
			assert.Contains(t, e.Error(), "dates", name)
			assert.Contains(t, e.Error(), "dmy", name)
			assert.Contains(t, e.Error(), "mdy", name)
		}
	}
}

func TestStatedOrderIsTaken(t *testing.T) {
	texts := []string{"03/04/2026 10:00", "03/04/2026 10:10"}
	for o, want := range map[string]string{"dmy": "2026-04-03T10:00:00", "mdy": "2026-03-04T10:00:00"} {
		col, err := Read(texts, Options{Order: o})
		require.NoError(t, err)
		assert.Equal(t, wall(t, want), col.Wall[0])
	}
	_, err := Read([]string{"23/02/2026"}, Options{Order: "mdy"})
	var e *StampError
	assert.ErrorAs(t, err, &e, "a stated order that reads no row")
	_, err = Read(texts, Options{Order: "day first"})
	assert.Error(t, err)
	assert.False(t, errors.As(err, &e))
}

func TestPointsPutTheDayFirst(t *testing.T) {
	col, err := Read([]string{"03.04.2026 10:00", "03.04.2026 10:10"}, Options{})
	require.NoError(t, err)
	assert.Equal(t, wall(t, "2026-04-03T10:00:00"), col.Wall[0])
	assert.Contains(t, col.Because, "common practice")
}

// TestNeverMixesOrders: a row that reads only the other way is bad, not
// swapped.
func TestNeverMixesOrders(t *testing.T) {
	texts := logIn("02/01/2006 15:04", time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC), time.Hour, 24*20)
	texts = append(texts, "02/23/2026 10:00", "2026-02-24 10:00", "yard report")
	col, err := Read(texts, Options{})
	require.NoError(t, err)
	assert.Equal(t, 3, col.Bad)
	for _, w := range col.Wall[len(texts)-3:] {
		assert.Equal(t, int64(Bad), w)
	}
}

// TestSpreadsheetSwappedDays: a day-first log opened by a spreadsheet set to
// month first: days up to 12 became real dates, swapped; the others stayed text.
func TestSpreadsheetSwappedDays(t *testing.T) {
	start := time.Date(2026, 1, 28, 0, 0, 0, 0, time.UTC)
	for name, swap := range map[string]bool{"swapped": true, "as written": false} {
		for _, n := range []int{24 * 16, 24 * 40} {
			texts := make([]string, n)
			want := make([]int64, n)
			for i := range texts {
				at := start.Add(time.Duration(i) * time.Hour)
				want[i] = at.UnixMilli()
				switch {
				case at.Day() > 12:
					texts[i] = at.Format("02/01/2006 15:04")
				case swap:
					texts[i] = fmt.Sprintf("%d-%02d-%02dT%02d:00:00.000", at.Year(), at.Day(), at.Month(), at.Hour())
				default:
					texts[i] = at.Format("2006-01-02T15:04:05.000")
				}
			}
			col, err := Read(texts, Options{})
			if assert.NoError(t, err, name) {
				assert.Equal(t, want, col.Wall, name)
				assert.Equal(t, swap, strings.Contains(col.Because, "swapped"), name)
			}
		}
	}
	// One row a day does not tell: monthly readings look the same.
	daily := []string{"2026-10-02", "2026-11-02", "2026-12-02", "13/02/2026", "14/02/2026", "15/02/2026"}
	_, err := Read(daily, Options{})
	var e *OrderError
	require.ErrorAs(t, err, &e)
	assert.Contains(t, e.Error(), "spreadsheet")
	col, err := Read(daily, Options{Order: "dmy"})
	require.NoError(t, err)
	assert.Contains(t, col.Because, "as written")
}

func TestStatedLayouts(t *testing.T) {
	const at = "2026-02-03T15:04:05"
	for _, c := range []struct{ layout, text, want string }{
		{"DD.MM.YYYY hh:mm:ss", "03.02.2026 15:04:05", at},
		{"dd.mm.yyyy HH:MM", "3.2.2026 15:04", "2026-02-03T15:04:00"},
		{"MM/DD/YYYY hh:mm:ss AM", "02/03/2026 03:04:05 pm", at},
		{"YYYYMMDDhhmmss", "20260203150405", at},
		{"YYYY-MM-DDThh:mm:ss.fff", "2026-02-03T15:04:05.25", at + ".25"},
		{"hh:mm DD-MM-YY", "15:04 03-02-26", "2026-02-03T15:04:00"},
		{"D MMM YYYY hh:mm", "3 Feb 2026 15:04", "2026-02-03T15:04:00"},
		{"YYYY-MM-DD", "2026-02-03", "2026-02-03T00:00:00"},
		{"DD.MM.YYYY hh:mm", "03.02.2026 24:00", "2026-02-04T00:00:00"},
		{"YYYY/DD/MM hh:mm", "2026/03/02 15:04", "2026-02-03T15:04:00"},
	} {
		col, err := Read([]string{c.text}, Options{Layout: c.layout})
		if assert.NoError(t, err, c.layout) {
			assert.Equal(t, wall(t, c.want), col.Wall[0], c.layout)
		}
	}
	col, err := Read([]string{"2026-02-03 15:04 +01:00"}, Options{Layout: "YYYY-MM-DD hh:mm Z"})
	require.NoError(t, err)
	assert.Equal(t, int64(3600_000), col.OffsetMS[0])

	col, err = Read([]string{"03.02.2026 15:04", "2026-02-03 15:04", "31.02.2026 15:04", "03.02.2026 15:04 x"}, Options{Layout: "DD.MM.YYYY hh:mm"})
	require.NoError(t, err)
	assert.Equal(t, 3, col.Bad, "what is not in the stated layout is bad")

	for _, bad := range []string{"", "hh:mm", "DD.MM", "DD.MM.YYYY mm", "DD.DD.YYYY", "DDDD.MM.YYYY", "ISO"} {
		if bad != "" {
			assert.Error(t, CheckLayout(bad), bad)
		}
	}
}

func TestSaysTheLayout(t *testing.T) {
	for text, want := range map[string]string{
		"2026-02-23 15:04:05":      "YYYY-MM-DD hh:mm:ss",
		"23.02.2026 15:04":         "DD.MM.YYYY hh:mm",
		"2/23/26 3:04:05 PM":       "M/DD/YY hh:mm:ss AM",
		"23 Feb 2026":              "DD MMM YYYY",
		"2026-02-23T15:04:05.000Z": "YYYY-MM-DD hh:mm:ss.fff",
		"20260223":                 "YYYYMMDD",
	} {
		col, err := Read([]string{text}, Options{})
		require.NoError(t, err)
		assert.Equal(t, want, col.Layout, text)
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"2026-02-23T15:04:05Z\n2026-02-23T15:05:05Z", "23.02.26 15.04\n\nx", "2/23/2026 3:04 p. m.", "46076,5\n46077", "1771859045",
		"mar. 24 mars 2026 15h04", "mar 24/03/2026", "20260223150405250", "2026-02-23 10:00 +1", "31-01-2026 00:00-00:15\n31-01-2026 00:15-00:30", "2026-01-31 10:00 - 2026-01-31 10:15",
		"2026年2月3日 下午 3时5分", "23. února 2026 3:04 odp.", "2026-01-31_00-15-00", "31.01.2026 15-16\n31.01.2026 16-17", "2026-06-23 10:00 heure d’été", "03/04/2026\n04/05/2026\n05/06/2026\n01/02/2027"} {
		f.Add(s, "")
	}
	f.Add("23.02.2026 15:04", "DD.MM.YYYY hh:mm")
	f.Add("20260223", "YYYYMMDDZ")
	f.Fuzz(func(t *testing.T, text, layout string) {
		texts := strings.Split(text, "\n")
		col, err := Read(texts, Options{Layout: layout})
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without words")
			}
			return
		}
		bad := 0
		for i, w := range col.Wall {
			if w == Bad {
				bad++
			} else if w < wallMS(firstYear, 1, 1) || w > wallMS(lastYear+1, 1, 1)+dayMS {
				t.Fatalf("%q read as %d", texts[i], w)
			}
		}
		if bad != col.Bad || bad == len(texts) || len(col.Wall) != len(texts) {
			t.Fatalf("%d bad, said %d of %d", bad, col.Bad, len(texts))
		}
		utc, _ := Resolve(col, time.UTC)
		for i := range utc {
			if (utc[i] == Bad) != (col.Wall[i] == Bad) {
				t.Fatalf("row %d: wall %d, UTC %d", i, col.Wall[i], utc[i])
			}
		}
	})
}

// FuzzLayout: whatever a layout writes of a date it must read back.
func FuzzLayout(f *testing.F) {
	for _, l := range []string{"DD.MM.YYYY hh:mm", "YYYYMMDDhhmmss", "MM/DD/YYYY hh:mm AM", "D MMM YYYY", "hh:mm:ss.fff YYYY-MM-DD", "AAYYDM"} {
		f.Add(l, "03.02.2026 15:04")
	}
	f.Fuzz(func(t *testing.T, text, stamp string) {
		l, err := compile(text)
		if err != nil {
			return
		}
		if s := l.read(plain(stamp)); s.form != formBad && inYears(s.clockMS-dayMS) == Bad && inYears(s.clockMS) == Bad {
			t.Fatalf("%q by %q: %d", stamp, text, s.clockMS)
		}
	})
}

func benchTexts() []string {
	return logIn("02.01.2006 15:04:05", time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), time.Minute, 172800)
}

func BenchmarkRead(b *testing.B) {
	texts := benchTexts()
	col, err := Read(texts, Options{})
	if err != nil || col.Bad != 0 || col.Wall[172799]-col.Wall[0] != 172799*minuteMS {
		b.Fatal(fmt.Sprint("wrong answer: ", err))
	}
	for b.Loop() {
		_, _ = Read(texts, Options{})
	}
	b.ReportMetric(float64(len(texts))*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkResolve(b *testing.B) {
	col, err := Read(benchTexts(), Options{})
	if err != nil {
		b.Fatal(err)
	}
	zone, err := ParseZone("Europe/Rome")
	if err != nil {
		b.Fatal(err)
	}
	utc, _ := Resolve(col, zone)
	if utc[0] != col.Wall[0]-hourMS || utc[172799] != col.Wall[172799]-2*hourMS {
		b.Fatal("wrong answer")
	}
	for b.Loop() {
		_, _ = Resolve(col, zone)
	}
	b.ReportMetric(float64(len(col.Wall))*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
