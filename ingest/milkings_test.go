package ingest

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// Milkings lists are invented; UTC by hand (Rome: +1 h in winter, +2 in
// summer).

const milkColumns = "[milkings]\nfile = \"milk.csv\"\n[milkings.columns]\n"

func milkFarm(t *testing.T, table, list string) *Record {
	t.Helper()
	return load(t, files{"farm.toml": toml("a.csv", "", bedColumn) + table, "a.csv": bedLog("2026-01-15 00:00:00", 300), "milk.csv": list})
}

func TestMilkingsList(t *testing.T) {
	rec := milkFarm(t, milkColumns+"date = \"Day\"\nstart = \"Start\"\nend = \"End\"\nmilk_volume = \"Milk (L)\"\nmilk_in_temp = \"In (°C)\"\n",
		"Day,Start,End,Milk (L),In (°C)\n15.01.2026,15:50,17:35,1180,34.5\n15.01.2026,05:20,07:05,1210,\n16.01.2026,23:10,00:40,n/a,35\n")
	require.Equal(t, "list", rec.MilkingsFrom)
	m := rec.Milkings
	require.Len(t, m, 3)
	require.Equal(t, []int64{utc(t, "2026-01-15 04:20"), utc(t, "2026-01-15 06:05")}, []int64{m[0].Start, m[0].End})
	require.Equal(t, 1210.0, m[0].MilkL)
	require.True(t, math.IsNaN(m[0].InC))
	require.Equal(t, 34.5, m[1].InC)
	require.True(t, math.IsNaN(m[1].OutC))
	require.Equal(t, []int64{utc(t, "2026-01-16 22:10"), utc(t, "2026-01-16 23:40")}, []int64{m[2].Start, m[2].End}, "past midnight")
	require.True(t, math.IsNaN(m[2].MilkL))
	require.Zero(t, codes(rec)[series.CodeMilkingOdd])
}

func TestMilkingsListForms(t *testing.T) {
	want := []int64{utc(t, "2026-01-15 04:20"), utc(t, "2026-01-15 06:05")}
	for name, c := range map[string]struct{ columns, list string }{
		"full stamps":   {"start = \"S\"\nend = \"E\"\n", "S,E\n2026-01-15 05:20,2026-01-15 07:05\n2026-01-15 16:00,2026-01-15 17:00\n"},
		"end as a time": {"date = \"D\"\nstart = \"S\"\nend = \"E\"\n", "D,S,E\n2026-01-15,5:20,7:05\n2026-01-15,16:00,17:00\n"},
	} {
		rec := milkFarm(t, milkColumns+c.columns, c.list)
		require.Equal(t, want, []int64{rec.Milkings[0].Start, rec.Milkings[0].End}, name)
	}
	// No end: two hours, and said so.
	rec := milkFarm(t, milkColumns+"start = \"S\"\n", "S\n2026-01-15 05:20\n2026-01-15 16:00\n")
	require.Equal(t, utc(t, "2026-01-15 06:20"), rec.Milkings[0].End)
	require.Equal(t, 1, codes(rec)[series.CodeMilkingAssumed])
	// One row a day: the whole local day; kilograms by the farm's density.
	rec = milkFarm(t, "[milk]\ndensity_kg_per_l = 1.03\n"+"[milkings]\nfile = \"milk.csv\"\nmilk_is = \"day\"\n[milkings.columns]\ndate = \"D\"\nmilk_volume = \"Milk (kg)\"\n",
		"D,Milk (kg)\n2026-01-15,2060\n2026-01-16,1030\n")
	require.Equal(t, []int64{utc(t, "2026-01-14 23:00"), utc(t, "2026-01-15 23:00")}, []int64{rec.Milkings[0].Start, rec.Milkings[0].End})
	require.InDelta(t, 2000, rec.Milkings[0].MilkL, 1e-9)
}

func TestMilkingsFaults(t *testing.T) {
	base := files{"a.csv": bedLog("2026-01-15 00:00:00", 30), "milk.csv": "Day,Start\n03/04/2026,05:20\n03/04/2026,16:00\n"}
	for want, table := range map[string]string{
		"did you mean \"Start\"?":    milkColumns + "date = \"Day\"\nstart = \"Strat\"\n",
		"dates = \"dmy\" or \"mdy\"": milkColumns + "date = \"Day\"\nstart = \"Start\"\n",
		"none.csv":                   "[milkings]\nfile = \"none.csv\"\n[milkings.columns]\ndate = \"Day\"\n",
	} {
		base["farm.toml"] = toml("a.csv", "", bedColumn) + table
		_, err := Load(write(t, base), options())
		require.ErrorContains(t, err, want)
	}
}

func TestMilkingsListWithOddRows(t *testing.T) {
	rec := milkFarm(t, milkColumns+"date = \"Day\"\nstart = \"Start\"\nend = \"End\"\nmilk_volume = \"Milk (L)\"\n",
		"Day,Start,End,Milk (L)\n15.01.2026,05:20,07:05,1180\n15.01.2026,15:50,14:00,900\n16.01.2026,05:20,07:00,much\n")
	require.Len(t, rec.Milkings, 2, "one of 22 hours is a slip of the pen")
	require.Equal(t, 1, codes(rec)[series.CodeMilkingOdd])
	require.True(t, math.IsNaN(rec.Milkings[1].MilkL))
}

// Stated times on every local day, at the same hour of the wall clock on both
// sides of a clock change (29 March 2026).
func TestMilkingsStatedTimes(t *testing.T) {
	text := rows("Time,Bed (°C)", "2026-03-28 00:00:00", "2006-01-02 15:04", time.Hour, 72, func(int) string { return "40" })
	rec := load(t, files{"farm.toml": toml("a.csv", "", bedColumn) + "[milkings]\ntimes = [\"05:20-07:05\", \"23:00-00:30\"]\n", "a.csv": text})
	require.Equal(t, "times", rec.MilkingsFrom)
	require.Equal(t, utc(t, "2026-03-28 04:20"), rec.Milkings[0].Start)
	require.Equal(t, utc(t, "2026-03-28 22:00"), rec.Milkings[1].Start)
	require.Equal(t, utc(t, "2026-03-28 23:30"), rec.Milkings[1].End)
	require.Equal(t, utc(t, "2026-03-29 03:20"), rec.Milkings[2].Start)
	for _, m := range rec.Milkings {
		require.Greater(t, m.End, m.Start)
	}
}

func TestNoMilkings(t *testing.T) {
	rec := milkFarm(t, "", "x")
	require.Empty(t, rec.Milkings)
	require.Empty(t, rec.MilkingsFrom)
}
