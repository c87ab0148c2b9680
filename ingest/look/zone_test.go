package look

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestZoneInAColumn(t *testing.T) {
	for _, c := range []struct{ header, cell, zone, first, doubt string }{
		{"TZ", "CET", "+01:00", "2026-01-05T10:00:00+01:00", ""},
		{"TZ", "EST", "-05:00", "2026-01-05T10:00:00-05:00", ""},
		{"zone", "UTC", "UTC", "2026-01-05T10:00:00Z", ""},
		{"x", "GMT+1", "+01:00", "2026-01-05T10:00:00+01:00", ""},
		{"offset", "-03:30", "-03:30", "2026-01-05T10:00:00-03:30", ""},
		{"UTC offset", "+2", "+02:00", "2026-01-05T10:00:00+02:00", ""},
		{"TZ", "Europe/Rome", "Europe/Rome", "2026-01-05T10:00:00+01:00", ""},
		{"TZ", "CST", "", "2026-01-05T10:00:00", "more than one zone"},
		{"time zone", "Pacific", "", "2026-01-05T10:00:00", "Pacific"},
		{"side", "OUT", "", "2026-01-05T10:00:00", "nothing states"},
		{"correction", "+2", "", "2026-01-05T10:00:00", "nothing states"},
	} {
		got := one(t, "zone.csv", table10("time,T (°C),"+c.header, iso, ",", 20, func(i int) string { return fmt.Sprintf("2%d.5,%s", i%5, c.cell) }))
		require.Equal(t, c.zone, got.Stamp.Zone, c.cell)
		require.Equal(t, c.first, got.First, c.cell)
		if c.doubt == "" {
			require.Nil(t, got.unsureOf("zone"), c.cell)
			continue
		}
		require.Contains(t, got.unsureOf("zone").Text, c.doubt, c.cell)
	}
	got := one(t, "both.csv", table10("time,T (°C),TZ", iso, ",", 20, func(i int) string { return fmt.Sprintf("2%d.5,%s", i%5, []string{"CEST", "CET"}[i/10]) }))
	require.Equal(t, "2026-01-05T10:00:00+02:00", got.First)
	require.Equal(t, "2026-01-05T13:10:00+01:00", got.Last)
	require.Equal(t, 4200.0, got.LongestS, "an hour was put back")
	require.Contains(t, one(t, "head.csv", table10("Time (CET),T (°C)", iso, ",", 20, func(i int) string { return "21.5" })).unsureOf("zone").Text, "CET")
}
