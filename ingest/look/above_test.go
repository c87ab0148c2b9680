package look

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// rowsOf writes n rows by index below some lines.
func rowsOf(above string, n int, row func(i int) string) string {
	var b strings.Builder
	b.WriteString(above)
	for i := range n {
		b.WriteString(row(i) + "\n")
	}
	return b.String()
}

// TestStampsCompletedFromAbove: a year above the table completes the rows'
// dates, over New Year, and is named.
func TestStampsCompletedFromAbove(t *testing.T) {
	for name, c := range map[string]struct{ text, first, last string }{
		"year, over New Year": {rowsOf("Année 2025\nDate;Heure;Ballon (°C)\n", 48, func(i int) string {
			return fmt.Sprintf("%s;%02d:00;5%d,5", []string{"31/12", "01/01"}[i/24], i%24, i%7)
		}),
			"2025-12-31T00:00:00", "2026-01-01T23:00:00"},
		"year, in one cell": {rowsOf("Jahr: 2026\nZeit;Kessel (°C)\n", 48, func(i int) string { return fmt.Sprintf("%d.01. %02d:00;5%d,5", 30+i/24, i%24, i%7) }),
			"2026-01-30T00:00:00", "2026-01-31T23:00:00"},
	} {
		got := one(t, "a.csv", c.text)
		require.Equal(t, c.first, got.First, name)
		require.Equal(t, c.last, got.Last, name)
		require.Zero(t, got.OutOfOrder, name)
		require.True(t, got.says("stamp-above", "above the table"), name)
	}
}

// says tells whether a problem of that code holds a text.
func (t *Table) says(code, text string) bool {
	for _, p := range t.Problems {
		if p.Code == code && strings.Contains(p.Text, text) {
			return true
		}
	}
	return false
}

// TestPartsOfAStampAreNamed: what is there is said where it is not enough, and
// a date that need not be the rows' is not taken.
func TestPartsOfAStampAreNamed(t *testing.T) {
	times := func(i int) string { return fmt.Sprintf("%02d:%02d;5%d,5", 10+i/6, i%6*10, i%7) }
	for name, c := range map[string]struct{ text, want string }{
		"no date":           {rowsOf("Time;Tank (°C)\n", 30, times), `times of day in "Time"`},
		"date of something": {rowsOf("Calibrated;2026-01-12\n\nTime;Tank (°C)\n", 30, times), `times of day in "Time"`},
		"two dates":         {rowsOf("A;2026-01-12\nB;2026-01-13\nTime;Tank (°C)\n", 30, times), `times of day in "Time"`},
		"no year": {rowsOf("Date;Time;Tank (°C)\n", 30, func(i int) string { return "31/01;" + times(i) }),
			`day and month without a year in "Date", times of day in "Time"; no line above the table states one year`},
		"days of a month?": {rowsOf("Year,Day,HHMM,Tank\n", 30, func(i int) string { return fmt.Sprintf("2026,%d,%d,5%d.25", 5+i/24, i%24*100, i%7) }), `a year in "Year", a day in "Day", hhmm in "HHMM"`},
	} {
		got := one(t, "a.csv", c.text)
		require.Empty(t, got.First, name)
		require.True(t, got.says("no-stamps", c.want), "%s: %v", name, got.Problems)
	}
}

func TestDayOfYearNamedDay(t *testing.T) {
	got := one(t, "a.csv", rowsOf("Year,Day,HHMM,Tank\n", 96, func(i int) string { return fmt.Sprintf("2024,%d,%d,5%d.25", 59+i/48, i%48/2*100+i%2*30, i%7) }))
	require.Equal(t, "2024-02-28T00:00:00", got.First)
	require.Equal(t, "2024-02-29T23:30:00", got.Last)
}

// TestDottedTimesBesideDates: "12.15" under a name that says nothing is a time
// where it runs as one, and then no decimal mark; a number in halves is not.
func TestDottedTimesBesideDates(t *testing.T) {
	got := one(t, "a.csv", rowsOf("Dato;X;Tank (°C);Energi kWh\n", 192, func(i int) string {
		return fmt.Sprintf("%d-04-2026;%02d.%02d;5%d,5;45.2%02d,25", 29+i/96, i%96/4, i%4*15, i%7, i%100)
	}))
	require.Equal(t, []string{"Dato", "X"}, got.Stamp.Columns)
	require.Equal(t, "2026-04-30T23:45:00", got.Last)
	require.Equal(t, ",", got.Decimal)
	require.Equal(t, 192, got.column("Energi kWh").Readings)
	got = one(t, "b.csv", rowsOf("Date;Level\n", 40, func(i int) string { return fmt.Sprintf("2026-%02d-%02d;%d.%d0", 1+i/28, 1+i%28, i/2, i%2*5) }))
	require.Equal(t, []string{"Date"}, got.Stamp.Columns)
}

// TestZoneInTheUnitRow: "[UTC]" below the stamps' name is their zone.
func TestZoneInTheUnitRow(t *testing.T) {
	got := one(t, "a.csv", table10("Time,Out,Flow\n[UTC],[°C],[m³/h]", iso, ",", 20, func(i int) string { return fmt.Sprintf("2%d.5,1.%d", i%5, i%3) }))
	require.Equal(t, "UTC", got.Stamp.Zone)
	require.Nil(t, got.unsureOf("zone"))
}

// TestFromToSettlesTheStamp: with both ends in the cell nothing is asked of
// where in its interval a stamp stands.
func TestFromToSettlesTheStamp(t *testing.T) {
	got := one(t, "a.csv", rowsOf("Interval,Flow (l/min)\n", 40, func(i int) string {
		return fmt.Sprintf("31-01-2026 %02d:%02d-%02d:%02d,1.%d", i/4, i%4*15, (i+1)/4, (i+1)%4*15, i%5)
	}))
	require.Equal(t, 40, got.Rows)
	require.Equal(t, "2026-01-31T00:00:00", got.First)
	require.Equal(t, 900.0, got.IntervalS)
	require.Nil(t, got.unsureOf("stamp"))
	require.Contains(t, got.Stamp.Because, "from and to")
}

// TestUnknownWordsAreNamed: an export of afternoons alone must not be read as
// one of mornings.
func TestUnknownWordsAreNamed(t *testing.T) {
	got := one(t, "a.csv", table10("time,T (°C)", "2006-01-02 3:04", " iltapv,", 20, func(int) string { return "21.5" }))
	require.Empty(t, got.First)
	require.True(t, got.says("no-stamps", "iltapv"))
	got = one(t, "b.csv", table10("time,T (°C)", "2006-01-02 3:04", " Sommerzeit,", 20, func(int) string { return "21.5" }))
	require.Contains(t, got.unsureOf("zone").Text, "Sommerzeit")
}

// TestLinesThatAreNoRowsAreSaid: no header is called one without lines below it
// where there are some.
func TestLinesThatAreNoRowsAreSaid(t *testing.T) {
	got := one(t, "a.csv", rowsOf("Moment;Tank (°C)\n", 40, func(i int) string { return fmt.Sprintf("Tag %d;5%d,5", i, i%7) }))
	require.Equal(t, 1, got.HeaderLine)
	require.True(t, got.says("no-stamps", "Tag 0"))
	require.True(t, got.says("no-stamps", "stamp_layout"))
	got = one(t, "b.csv", rowsOf("a;b;c\n", 40, func(i int) string { return fmt.Sprintf("x%d;said;you", i) }))
	require.Equal(t, 1, got.HeaderLine)
	require.True(t, got.says("no-rows", `begins with "x0"`))
}

// TestDayOfAReport: a report's date is that of its times of day, over midnight;
// the day on which one was printed is not.
func TestDayOfAReport(t *testing.T) {
	times := func(i int) string { return fmt.Sprintf("%02d:%02d;5%d,5", (20+i/6)%24, i%6*10, i%7) }
	got := one(t, "a.csv", rowsOf("Report date;2026-01-12\n\nTime;Tank (°C)\n", 60, times))
	require.Equal(t, "2026-01-12T20:00:00", got.First)
	require.Equal(t, "2026-01-13T05:50:00", got.Last)
	require.Empty(t, one(t, "b.csv", rowsOf("Report printed;2026-01-12\n\nTime;Tank (°C)\n", 60, times)).First)
}
