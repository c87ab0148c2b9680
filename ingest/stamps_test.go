package ingest

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

func bedOf(t *testing.T, keys, text string) (*Record, *series.Series) {
	t.Helper()
	rec := load(t, files{"farm.toml": toml("yard.csv", keys, bedColumn), "yard.csv": text})
	return rec, get(t, rec, "bed_temp")
}

// The same two readings written in ways that loggers write them; true UTC by
// hand from the zone.
func TestStampColumns(t *testing.T) {
	want := []int64{utc(t, "2026-01-15 09:00"), utc(t, "2026-01-15 09:10"), utc(t, "2026-01-15 09:20")}
	for name, c := range map[string]struct{ keys, text string }{
		"iso":                 {"", "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:20,41\n"},
		"day first":           {"", "Time,Bed (°C)\n15/01/2026 10:00,40\n15/01/2026 10:10,41\n15/01/2026 10:20,41\n"},
		"month first":         {"", "Time,Bed (°C)\n01/15/2026 10:00 AM,40\n01/15/2026 10:10 AM,41\n01/15/2026 10:20 AM,41\n"},
		"date and time":       {"", "Date,Time,Bed (°C)\n15.01.2026,10:00,40\n15.01.2026,10:10,41\n15.01.2026,10:20,41\n"},
		"time and date":       {"", "Time,Date,Bed (°C)\n10:00,15.01.2026,40\n10:10,15.01.2026,41\n10:20,15.01.2026,41\n"},
		"date once a day":     {"", "Date,Time,Bed (°C)\n15.01.2026,10:00,40\n,10:10,41\n,10:20,41\n"},
		"date with midnight":  {"", "Date,Time,Bed (°C)\n15.01.2026 00:00,10:00,40\n15.01.2026 00:00,10:10,41\n15.01.2026 00:00,10:20,41\n"},
		"offset in each row":  {"", "Time,Bed (°C)\n2026-01-15T04:00:00-05:00,40\n2026-01-15T04:10:00-05:00,41\n2026-01-15T04:20:00-05:00,41\n"},
		"epoch":               {"", "Nr,Time,Bed (°C)\n1,1768467600,40\n2,1768468200,41\n3,1768468800,41\n"},
		"zone of the log":     {"zone = \"+01:00\"", "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:20,41\n"},
		"UTC in the header":   {"", "Time (UTC),Bed (°C)\n2026-01-15 09:00,40\n2026-01-15 09:10,41\n2026-01-15 09:20,41\n"},
		"GMT+2 in the header": {"", "\"Date Time, GMT+02:00\",Bed (°C)\n2026-01-15 11:00,40\n2026-01-15 11:10,41\n2026-01-15 11:20,41\n"},
		"stated columns":      {"stamp_columns = [\"B\"]", "A,B,Bed (°C)\n2020-01-15 10:00,2026-01-15 10:00,40\n2020-01-15 10:10,2026-01-15 10:10,41\n2020-01-15 10:20,2026-01-15 10:20,41\n"},
		"stated layout":       {"stamp_layout = \"DD.MM.YYYY hh:mm\"", "Time,Bed (°C)\n15.01.2026 10:00,40\n15.01.2026 10:10,41\n15.01.2026 10:20,41\n"},
		"newest first":        {"", "Time,Bed (°C)\n2026-01-15 10:20,41\n2026-01-15 10:10,41\n2026-01-15 10:00,40\n"},
		"clock ahead":         {"clock = \"37m\"", "Time,Bed (°C)\n2026-01-15 10:37,40\n2026-01-15 10:47,41\n2026-01-15 10:57,41\n"},
	} {
		t.Run(name, func(t *testing.T) {
			rec, bed := bedOf(t, c.keys, c.text)
			require.Equal(t, want, bed.T)
			require.Equal(t, []float64{40, 41, 41}, bed.V)
			require.Zero(t, codes(rec)[series.CodeOutOfOrder])
		})
	}
}

// Drift and jump by hand: the log runs 10 days, gaining 8.64 s a day from its
// middle, so that its first stamp is 43.2 s behind and its last 43.2 s ahead.
func TestClockDriftAndJump(t *testing.T) {
	text := rows("Time,Bed (°C)", "2026-01-05 00:00:00", "2006-01-02 15:04:05", 24*time.Hour, 11, func(int) string { return "40" })
	rec, bed := bedOf(t, "clock = \"10s\"\ndrift = \"+8.64 s/d\"", text)
	require.Equal(t, utc(t, "2026-01-04 23:00")+43200-10000, bed.T[0])
	require.Equal(t, utc(t, "2026-01-09 23:00")-10000, bed.T[5])
	require.Equal(t, utc(t, "2026-01-14 23:00")-43200-10000, bed.T[10])
	f := rec.Files[0]
	require.Equal(t, "given", f.Clock.From)
	require.InDelta(t, 10, f.Clock.AheadS, 1e-9)
	require.Equal(t, 8.64, f.Clock.DriftSPerDay)
	require.Len(t, f.Corrections, 1)
	// A step of an hour on the 12th, behind mid-file: stamps after it are an
	// hour behind true time.
	_, bed = bedOf(t, "jumps = [\"2026-01-12 12:00 -1h\"]", text)
	require.Equal(t, utc(t, "2026-01-11 23:00"), bed.T[7])
	require.Equal(t, utc(t, "2026-01-13 00:00"), bed.T[8])
}

func TestClockWithoutEventsIsKeptAndListed(t *testing.T) {
	rec, _ := bedOf(t, "clock = \"find\"", bedLog("2026-01-15 10:00:00", 20))
	require.Equal(t, 1, codes(rec)[series.CodeClockNotFound])
	require.Equal(t, "not found", rec.Files[0].Clock.From)
}

// In Rome 25 October 2026 has the hour from 2 to 3 twice, 29 March skips it.
func TestClockChanges(t *testing.T) {
	var b strings.Builder
	b.WriteString("Time,Bed (°C)\n")
	for at := utc(t, "2026-10-24 22:00"); at < utc(t, "2026-10-25 04:00"); at += 600000 {
		zone, err := time.LoadLocation("Europe/Rome")
		require.NoError(t, err)
		fmt.Fprintf(&b, "%s,40\n", time.UnixMilli(at).In(zone).Format("2006-01-02 15:04"))
	}
	rec, bed := bedOf(t, "", b.String())
	require.Equal(t, utc(t, "2026-10-24 22:00"), bed.T[0])
	require.Len(t, bed.T, 36)
	for i := 1; i < len(bed.T); i++ {
		require.Equal(t, int64(600000), bed.T[i]-bed.T[i-1])
	}
	require.Equal(t, series.Note, problemOf(t, rec, series.CodeHourRepeated).Severity)
	require.Zero(t, codes(rec)[series.CodeDuplicate])

	rec, _ = bedOf(t, "", bedLog("2026-03-29 00:00:00", 36))
	require.Equal(t, 1, codes(rec)[series.CodeHourSkipped])
}

// A file whose dates read either way takes the order that its sibling proves.
func TestDatesFromSibling(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("*.csv", "", bedColumn),
		"a.csv":     "Time,Bed (°C)\n03/04/2026 10:00,40\n03/04/2026 10:10,41\n03/04/2026 10:20,41\n",
		"b.csv":     "Time,Bed (°C)\n25/04/2026 10:00,40\n25/04/2026 10:10,41\n25/04/2026 10:20,41\n",
	})
	require.Equal(t, utc(t, "2026-04-03 08:00"), rec.First)
	require.Equal(t, 1, codes(rec)[series.CodeDatesFromSibling])
	require.Equal(t, "a.csv", problemOf(t, rec, series.CodeDatesFromSibling).File)
	// A sibling that writes the year first proves nothing.
	faults := refuse(t, files{
		"farm.toml": toml("*.csv", "", bedColumn),
		"a.csv":     "Time,Bed (°C)\n03/04/2026 10:00,40\n03/04/2026 10:10,41\n03/04/2026 10:20,41\n",
		"b.csv":     "Time,Bed (°C)\n2026-04-25 10:00,40\n2026-04-25 10:10,41\n2026-04-25 10:20,41\n",
	})
	require.Contains(t, faults[0].Do, "dates")
	require.Equal(t, "line 2, column 1", faults[0].Where)
	// Stated, it is read.
	rec = load(t, files{"farm.toml": toml("*.csv", "dates = \"mdy\"", bedColumn), "a.csv": "Time,Bed (°C)\n03/04/2026 10:00,40\n03/04/2026 10:10,41\n03/04/2026 10:20,41\n"})
	require.Equal(t, utc(t, "2026-03-04 09:00"), rec.First)
}

func TestRowsOutOfOrder(t *testing.T) {
	// Line 5 came late and fills a hole; line 7 carries a wrong stamp.
	rec, bed := bedOf(t, "", "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:30,43\n2026-01-15 10:20,42\n2026-01-15 10:40,44\n"+
		"2026-01-15 10:13,45\n2026-01-15 11:00,46\n2026-01-15 11:10,47\n")
	require.Equal(t, []float64{40, 41, 42, 43, 44, 46, 47}, kept(bed))
	require.Equal(t, 1, codes(rec)[series.CodeOutOfOrder])
	for i, f := range bed.Flags.List() {
		require.Equal(t, bed.V[i] == 45, f == series.Order)
		if i > 0 {
			require.LessOrEqual(t, bed.T[i-1], bed.T[i])
		}
	}
}

func TestStampsInTheFutureAndFarOff(t *testing.T) {
	text := bedLog("2026-01-15 10:00:00", 300) + "2031-01-01 00:00,40.0\n2031-01-01 00:10,40.1\n"
	rec, bed := bedOf(t, "", text)
	require.Len(t, kept(bed), 300)
	require.Equal(t, 1, codes(rec)[series.CodeStampFar])
	require.Equal(t, 1, codes(rec)[series.CodeStampFuture])
	require.Equal(t, utc(t, "2026-01-17 10:50"), rec.Last)
	// A logger whose clock began in 2000 until it was set.
	rec, bed = bedOf(t, "", strings.Replace(bedLog("2026-01-15 10:00:00", 300), "2026-01-15 10:00,", "2000-01-01 00:00,", 1))
	require.Len(t, kept(bed), 299)
	require.Equal(t, utc(t, "2026-01-15 09:10"), rec.First)
}

// A logger that reads every 10 s and writes minutes.
func TestStampsWithoutSeconds(t *testing.T) {
	text := rows("Time,Bed (°C)", "2026-01-15 10:00:00", "2006-01-02 15:04", 10*time.Second, 60, func(i int) string { return fmt.Sprintf("%.2f", 40+0.01*float64(i)) })
	rec, bed := bedOf(t, "", text)
	require.Len(t, kept(bed), 60)
	require.Equal(t, int64(10000), bed.IntervalMS)
	require.Equal(t, 1, codes(rec)[series.CodeStampCoarse])
	require.Equal(t, utc(t, "2026-01-15 09:00:50"), bed.T[5])
}

func TestStampMeaning(t *testing.T) {
	text := "Time,Flow (L/min)\n2026-01-15 10:00,1\n2026-01-15 10:10,2\n2026-01-15 10:20,3\n2026-01-15 11:00,4\n"
	at := func(s string) int64 { return utc(t, "2026-01-15 "+s) }
	for stamp, want := range map[string]struct {
		kind     series.Kind
		from, to []int64
	}{
		"":                    {series.Mean, []int64{at("08:50"), at("09:00"), at("09:10"), at("09:50")}, []int64{at("09:00"), at("09:10"), at("09:20"), at("10:00")}},
		"stamp = \"end\"":     {series.Mean, []int64{at("08:50"), at("09:00"), at("09:10"), at("09:50")}, []int64{at("09:00"), at("09:10"), at("09:20"), at("10:00")}},
		"stamp = \"start\"":   {series.Mean, []int64{at("09:00"), at("09:10"), at("09:20"), at("10:00")}, []int64{at("09:10"), at("09:20"), at("09:30"), at("10:10")}},
		"stamp = \"instant\"": {series.Instant, nil, []int64{at("09:00"), at("09:10"), at("09:20"), at("10:00")}},
	} {
		rec := load(t, files{"farm.toml": toml("a.csv", stamp, "\"Flow (L/min)\" = \"loop_flow\""), "a.csv": text})
		s := get(t, rec, "loop_flow")
		require.Equal(t, want.kind, s.Kind, stamp)
		require.Equal(t, want.from, s.From, stamp)
		require.Equal(t, want.to, s.T, stamp)
		n := 0
		if stamp == "" {
			n = 1
		}
		require.Equal(t, n, codes(rec)[series.CodeStampAssumed], stamp)
	}
}
