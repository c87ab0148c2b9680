package fix

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
	"yardheat/ingest/series"
)

func described(t *testing.T, text string) *look.Table {
	t.Helper()
	tables, err := look.Bytes("a.csv", []byte(text), look.Options{})
	require.NoError(t, err)
	return &tables[0]
}

func of(t *testing.T, tab *look.Table, key string) Fix {
	t.Helper()
	for _, f := range Of(tab, "Europe/Rome") {
		if f.Key == key {
			return f
		}
	}
	t.Fatalf("no fix of %s: %+v", key, tab.Unsure)
	return Fix{}
}

func TestDatesBothWays(t *testing.T) {
	tab := described(t, "time;T (°C)\n03/02/2026 10:00;12,5\n03/02/2026 10:10;12,5\n")
	f := of(t, tab, "dates")
	require.Len(t, f.Choices, 2)
	require.Equal(t, "2026-02-03", f.Choices[0].Reads)
	require.Equal(t, "2026-03-02", f.Choices[1].Reads)
	require.True(t, f.Choices[0].Assumed)
	for _, c := range f.Choices { // the file read by either choice begins so
		again, err := look.Bytes("a.csv", []byte("time;T (°C)\n03/02/2026 10:00;12,5\n"), look.Options{Dates: c.Name})
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(again[0].First, c.Reads))
	}
	zone := of(t, tab, "zone")
	require.Equal(t, []string{"Europe/Rome", "+01:00", "UTC"}, []string{zone.Choices[0].Name, zone.Choices[1].Name, zone.Choices[2].Name})
	require.True(t, zone.Choices[0].Unset)
	for _, c := range [][4]string{{"2026-02-03", "dmy", "mdy", "2026-03-02"}, {"2026-02-13", "dmy", "mdy", ""}, {"2026-02-03", "dmy", "ymd", "2003-02-26"}, {"2026-02-03", "ymd", "dmy", "2003-02-26"}} {
		day, ok := firstDay(&look.Table{First: c[0]})
		require.True(t, ok)
		got, ok := reread(day, c[1], c[2])
		require.Equal(t, c[3] != "", ok)
		if ok {
			require.Equal(t, c[3], got)
		}
	}
}

func TestDecimalUnitStamp(t *testing.T) {
	text := "time;Loop volume (L);Loop out\n"
	for i := range 30 {
		text += fmt.Sprintf("2026-02-03 10:%02d;%d,%03d;%d\n", i, 1+i%3, 100+i, 30+i%5)
	}
	tab := described(t, text)
	f := of(t, tab, "decimal")
	require.Equal(t, "3.129", f.Choices[1].Reads)
	require.Equal(t, "3129", f.Choices[0].Reads)
	require.True(t, f.Choices[1].Assumed)
	require.Equal(t, []string{"end", "start", "instant"}, []string{of(t, tab, "stamp").Choices[0].Name, of(t, tab, "stamp").Choices[1].Name, of(t, tab, "stamp").Choices[2].Name})
	unit := of(t, tab, "columns")
	require.Equal(t, "Loop out", unit.Column)
	require.Equal(t, "unit", unit.Sub)
	d, err := edit.New(draft.New([]draft.File{{Name: "a.csv", Tables: []look.Table{*tab}}}, draft.Options{Zone: "UTC"}).TOML)
	require.NoError(t, err)
	for _, c := range []struct {
		f Fix
		n int
	}{{f, 0}, {unit, 1}} {
		ok, err := c.f.Apply(d, 0, c.f.Choices[c.n])
		require.NoError(t, err)
		require.True(t, ok)
	}
	farm, faults := d.Farm()
	require.Empty(t, faults, string(d.Bytes()))
	require.Equal(t, ".", farm.Logs[0].Decimal)
	require.Equal(t, "F", farm.Logs[0].Columns[1].Unit)
}

// The sentence by which a cell under another mark is told is the loader's own.
func TestOtherMarkIsOffered(t *testing.T) {
	text := "time;T (°C);Flow\n"
	for i := range 30 {
		text += fmt.Sprintf("2026-02-13 10:%02d;12.%d;\"1,5%d\"\n", i, i%10, i%10)
	}
	tab := described(t, text)
	require.NotEmpty(t, tab.Problems)
	found := false
	for _, f := range Of(tab, "") {
		if f.Problem >= 0 && f.Key == "decimal" {
			found = true
			require.NotEqual(t, tab.Decimal, f.Choices[0].Name)
			require.Equal(t, series.CodeBadCell, tab.Problems[f.Problem].Code)
		}
	}
	require.True(t, found, "%+v", tab.Problems)
}

func TestCodesOfTheLoader(t *testing.T) {
	base := "[farm]\ntimezone = \"Europe/Rome\"\n[[log]]\nfiles = \"a.csv\"\n[log.columns]\n\"A\" = \"loop_flow\"\n"
	for _, code := range []string{series.CodeDatesByCustom, "decimal-mark", series.CodeZoneWord, series.CodeStampAssumed, series.CodeClockOff, series.CodeFlowUnit} {
		f, ok := OfCode(code, "Europe/Rome")
		require.True(t, ok, code)
		f.Column = "A"
		for _, c := range f.Choices { // whatever is offered the farm file takes
			d, err := edit.New([]byte(base))
			require.NoError(t, err)
			_, err = f.Apply(d, 0, c)
			require.NoError(t, err)
			_, faults := d.Farm()
			require.Empty(t, faults, "%s %s", code, c.Name)
		}
	}
	_, ok := OfCode("file-cut", "")
	require.False(t, ok)
	require.Nil(t, Units("loop_pump"))
	require.Contains(t, Units("loop_flow"), "L/h")
}
