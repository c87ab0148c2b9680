package look

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// dayLog writes 60 hourly rows from 2026-01-05 08:00; cells is told whether the
// row is the first of its day.
func dayLog(header string, row func(at time.Time, first bool, i int) string) string {
	var b strings.Builder
	b.WriteString(header + "\n")
	at := time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)
	for i := range 60 {
		t := at.Add(time.Duration(i) * time.Hour)
		b.WriteString(row(t, i == 0 || t.Hour() == 0, i) + "\n")
	}
	return b.String()
}

func TestDatesOnSomeRows(t *testing.T) {
	for name, text := range map[string]string{
		"a line a day": dayLog("time,T (°C)", func(at time.Time, first bool, i int) string {
			date := ""
			if first {
				date = at.Format("2006-01-02") + "\n"
			}
			return date + at.Format("15:04") + fmt.Sprintf(",2%d.5", i%7)
		}),
		"on the first row": dayLog("time;T (°C)", func(at time.Time, first bool, i int) string {
			if first {
				return at.Format("02.01.2006 15:04:05") + fmt.Sprintf(";2%d,5", i%7)
			}
			return at.Format("15:04:05") + fmt.Sprintf(";2%d,5", i%7)
		}),
		"in a column": dayLog("date,time,T (°C)", func(at time.Time, first bool, i int) string {
			date := ""
			if first {
				date = at.Format("2006-01-02")
			}
			return date + at.Format(",15:04") + fmt.Sprintf(",2%d.5", i%7)
		}),
		"once": dayLog("date,time,T (°C)", func(at time.Time, first bool, i int) string {
			date := ""
			if i == 0 {
				date = at.Format("2006-01-02")
			}
			return date + at.Format(",15:04") + fmt.Sprintf(",2%d.5", i%7)
		}),
		"above": dayLog("Logger 7\nStart: 2026-01-05 08:00\nExported: 2026-02-01\ntime,T (°C)", func(at time.Time, _ bool, i int) string {
			return at.Format("15:04") + fmt.Sprintf(",2%d.5", i%7)
		}),
	} {
		got := one(t, "dates.csv", text)
		require.Equal(t, 60, got.Rows, name)
		require.Equal(t, "2026-01-05T08:00:00", got.First, name)
		require.Equal(t, "2026-01-07T19:00:00", got.Last, name)
		require.Equal(t, 3600.0, got.LongestS, name)
		require.Equal(t, 60, got.column("T (°C)").Readings, name)
		require.Contains(t, got.codes(), "date-carried", name)
		require.NotContains(t, got.codes(), "stamp-bad", name)
	}
}

func TestDatesNewestFirst(t *testing.T) {
	rows := strings.Split(strings.TrimSpace(dayLog("", func(at time.Time, _ bool, i int) string {
		return at.Format("2006-01-02,15:04") + fmt.Sprintf(",2%d.5", i%7)
	})), "\n")
	slices.Reverse(rows)
	last := ""
	for i, r := range rows {
		if r[:10] == last {
			rows[i] = r[10:]
		}
		last = r[:10]
	}
	got := one(t, "newest.csv", "date,time,T (°C)\n"+strings.Join(rows, "\n")+"\n")
	require.Equal(t, 60, got.Rows)
	require.Equal(t, "2026-01-05T08:00:00", got.First)
	require.Equal(t, "2026-01-07T19:00:00", got.Last)
}

// Where times fall by some hours, the rows are of a day that nothing names.
func TestTimesThatFallWithoutADate(t *testing.T) {
	text := "time,T (°C)\n2026-01-05 08:00,20.5\n09:00,20.5\n12:00,20.5\n07:00,20.5\n08:00,20.5\n2026-01-09 08:00,20.5\n09:00,20.5\n10:00,20.5\n"
	got := one(t, "fall.csv", text)
	require.Equal(t, 6, got.Rows)
	require.Contains(t, got.codes(), "stamp-bad")
}

func TestTimesWithoutAnyDate(t *testing.T) {
	for name, header := range map[string]string{"none": "time,T (°C)", "two": "From: 2026-01-05\nTo: 2026-02-05\ntime,T (°C)", "of the export": "Exported: 2026-01-05\ntime,T (°C)"} {
		got := one(t, "times.csv", dayLog(header, func(at time.Time, _ bool, i int) string { return at.Format("15:04") + fmt.Sprintf(",2%d.5", i%7) }))
		require.Zero(t, got.Rows, name)
		require.Contains(t, got.codes(), "no-stamps", name)
		require.Contains(t, got.Problems[len(got.Problems)-1].Text, "without a date", name)
	}
	got := one(t, "yearless.csv", dayLog("time,T (°C)", func(at time.Time, _ bool, i int) string {
		return at.Format("Jan _2 15:04:05") + fmt.Sprintf(",2%d.5", i%7)
	}))
	require.Zero(t, got.Rows)
	require.Contains(t, got.Problems[len(got.Problems)-1].Text, "without a year")
}

func TestTimePassedSinceAStartAbove(t *testing.T) {
	for name, c := range map[string]struct {
		header string
		cell   func(i int) string
	}{
		"seconds": {"elapsed s", func(i int) string { return fmt.Sprint(600 * i) }},
		"minutes": {"Minutes", func(i int) string { return fmt.Sprint(10 * i) }},
		"time":    {"Time (s)", func(i int) string { return fmt.Sprintf("%d.0", 600*i) }},
		"hours":   {"Elapsed", func(i int) string { return fmt.Sprintf("%d:%02d:00", i/6, i%6*10) }},
	} {
		text := c.header + ",T (°C)\n"
		for i := range 200 {
			text += c.cell(i) + fmt.Sprintf(",2%d.5\n", i%7)
		}
		got := one(t, "passed.csv", "Start time: 2026-01-05 08:00:00\n"+text)
		require.Equal(t, 200, got.Rows, name)
		require.Equal(t, "2026-01-05T08:00:00", got.First, name)
		require.Equal(t, "2026-01-06T17:10:00", got.Last, name)
		require.Contains(t, got.codes(), "start-above", name)
		got = one(t, "passed.csv", text)
		require.Zero(t, got.Rows, name)
		require.Contains(t, got.Problems[0].Text, "no line above that states", name)
	}
}
