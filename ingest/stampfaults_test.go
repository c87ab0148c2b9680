package ingest

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

func TestStampFaults(t *testing.T) {
	for name, c := range map[string]struct{ keys, text, want string }{
		"stated column missing": {"stamp_columns = [\"Tme\"]", "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n", "did you mean \"Time\"?"},
		"stated layout wrong":   {"stamp_layout = \"DD.MM.YYYY hh:mm\"\nstamp_columns = [\"Time\"]", "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n", "DD.MM.YYYY"},
		"stated order wrong":    {"dates = \"mdy\"", "Time,Bed (°C)\n25/01/2026 10:00,40\n26/01/2026 10:10,41\n", "month first"},
	} {
		_, err := Load(write(t, files{"farm.toml": toml("a.csv", c.keys, bedColumn), "a.csv": c.text}), options())
		require.ErrorContains(t, err, c.want, name)
		require.ErrorContains(t, err, "a.csv: line", name)
	}
}

func TestRowsWithoutStamp(t *testing.T) {
	rec, bed := bedOf(t, "", "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-13-15 10:10,41\n2026-01-15 10:20,42\n2026-01-15 10:30,42\n2026-01-15 10:40,42\n")
	require.Equal(t, []float64{40, 42, 42, 42}, bed.V)
	p := problemOf(t, rec, series.CodeStampBad)
	require.Equal(t, "line 3, column 1", p.Where)
	require.Contains(t, p.Text, "2026-13-15")
	require.Equal(t, 4, rec.Files[0].Rows)
}

// Two files, neither of which proves its order alone: together their dates run
// on one way only.
func TestDatesProvedTogether(t *testing.T) {
	fs := files{"farm.toml": toml("*.csv", "", bedColumn)}
	for day, name := range map[string]string{"10": "a.csv", "11": "b.csv", "12": "c.csv"} {
		fs[name] = "Time,Bed (°C)\n" + day + "/02/2026 10:00,40\n" + day + "/02/2026 20:00,41\n"
	}
	rec := load(t, fs)
	require.Equal(t, utc(t, "2026-02-10 09:00"), rec.First)
	require.Equal(t, utc(t, "2026-02-12 19:00"), rec.Last)
	require.Equal(t, 3, codes(rec)[series.CodeDatesFromSibling])
}

func TestDatesByCustom(t *testing.T) {
	rec, bed := bedOf(t, "", "Time,Bed (°C)\n03.04.2026 10:00,40\n03.04.2026 10:10,41\n")
	require.Equal(t, utc(t, "2026-04-03 08:00"), bed.T[0])
	require.Equal(t, series.Doubt, problemOf(t, rec, series.CodeDatesByCustom).Severity)
}

func TestStampColumnChoice(t *testing.T) {
	rec, bed := bedOf(t, "", "Local,Time (UTC),Bed (°C)\n2026-01-15 10:03,2026-01-15 09:00,40\n2026-01-15 10:13,2026-01-15 09:10,41\n2026-01-15 10:23,2026-01-15 09:20,41\n")
	require.Equal(t, utc(t, "2026-01-15 09:00"), bed.T[0], "the one that names its zone")
	require.Equal(t, 1, codes(rec)[series.CodeStampChoice])
}

func TestLayoutOverTwoColumns(t *testing.T) {
	_, bed := bedOf(t, "stamp_layout = \"DD.MM.YY hhmm\"", "D,H,Bed (°C)\n15.01.26,1000,40\n15.01.26,1010,41\n15.01.26,1020,41\n")
	require.Equal(t, utc(t, "2026-01-15 09:00"), bed.T[0])
}
