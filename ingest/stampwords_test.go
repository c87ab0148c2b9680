package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// TestFromToIsTheIntervalsStart: a mean stands for the interval that its stamp
// states, though nothing in the farm file says where in it the stamp stands.
func TestFromToIsTheIntervalsStart(t *testing.T) {
	text := "Period,Flow (L/min)\n"
	for i := range 40 {
		text += fmt.Sprintf("15-01-2026 %02d:%02d-%02d:%02d,%d\n", 10+i/6, i%6*10, 10+(i+1)/6, (i+1)%6*10, i)
	}
	rec := load(t, files{"farm.toml": toml("a.csv", "", "\"Flow (L/min)\" = \"loop_flow\""), "a.csv": text})
	s := get(t, rec, "loop_flow")
	require.Equal(t, utc(t, "2026-01-15 09:00"), s.From[0])
	require.Equal(t, utc(t, "2026-01-15 09:10"), s.T[0])
	require.Zero(t, codes(rec)[series.CodeStampAssumed])
}

// TestAStatedLayoutReadsOddStamps: stamps in a way that is not known leave the
// rows in the table, for the layout that the farm file states.
func TestAStatedLayoutReadsOddStamps(t *testing.T) {
	text := "Moment;Bed (°C)\n15#01#2026 10h00;40\n15#01#2026 10h10;41\n15#01#2026 10h20;42\n"
	_, bed := bedOf(t, "stamp_layout = \"DD#MM#YYYY hh'mm\"", strings.ReplaceAll(text, "h", "'"))
	require.Equal(t, []int64{utc(t, "2026-01-15 09:00"), utc(t, "2026-01-15 09:10"), utc(t, "2026-01-15 09:20")}, bed.T)
	_, err := Load(write(t, files{"farm.toml": toml("yard.csv", "", bedColumn), "yard.csv": text}), options())
	require.ErrorContains(t, err, "15#01#2026 10h00")
}

// TestRowsOfAClockThatWasReset: more than a hundredth of the rows, but in a
// year's first hours; of another old date they are named and kept.
func TestRowsOfAClockThatWasReset(t *testing.T) {
	for first, want := range map[string]series.Severity{"2000-01-01 00:%02d": series.LeftOut, "2020-06-17 14:%02d": series.Doubt} {
		text := "Time,Bed (°C)\n"
		for i := range 4 {
			text += fmt.Sprintf(first+",40\n", 10*i)
		}
		for i := range 100 {
			text += fmt.Sprintf("2026-01-%02d %02d:00,40\n", 10+i/24, i%24)
		}
		rec, bed := bedOf(t, "", text)
		p := problemOf(t, rec, series.CodeStampFar)
		require.Equal(t, want, p.Severity, first)
		require.Contains(t, p.Text, "4 rows")
		require.Equal(t, want == series.LeftOut, rec.First == utc(t, "2026-01-09 23:00"), first)
		require.NotEmpty(t, bed.T)
	}
}
