package record

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
)

func readAll(t testing.TB, b []byte) [][]string {
	t.Helper()
	cells, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	require.NoError(t, err)
	return cells
}

func recordOf(t testing.TB, s *season.Season) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Record(&b, s))
	return b.Bytes()
}

func tableNamed(t testing.TB, s *season.Season, name string) *Table {
	t.Helper()
	tables, err := Tables(s)
	require.NoError(t, err)
	for _, one := range tables {
		if one.Name == name {
			return one
		}
	}
	t.Fatalf("no table %s", name)
	return nil
}

func csvOf(t testing.TB, s *season.Season, name string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, tableNamed(t, s, name).CSV(&b))
	return b.Bytes()
}

func TestRecordHoldsEveryCell(t *testing.T) {
	s := fixture.Season()
	got := readAll(t, recordOf(t, s))
	require.Equal(t, []string{"time_utc", "time_local", "loop_out_temp@x_degC", "bed_temp@=1+1_degC", "loop_volume_L/min",
		"loop_valve_0/1", "flags"}, got[0])
	require.Len(t, got, s.Record.N+1)
	for i, row := range got[1:] {
		for k, c := range s.Record.Channels {
			v := c.Values[i]
			if math.IsNaN(v) || math.IsInf(v, 0) {
				require.Empty(t, row[2+k])
				continue
			}
			back, err := strconv.ParseFloat(row[2+k], 64)
			require.NoError(t, err)
			require.InDelta(t, v, back, 0.5e-5)
		}
	}
	require.Equal(t, "loop_out_temp@x:spike", got[1+3][6])
	require.Equal(t, "loop_out_temp@x:sentinel+rate", got[1+7][6])
	require.Empty(t, got[1+4][6])
	require.Equal(t, "0", got[1+5+1][5][:1]) // valve 0
	require.NotContains(t, string(recordOf(t, s)), "-0,")
}

// Rome went from UTC+1 to UTC+2 on 29 March 2026 at 01:00 UTC (EU directive
// 2000/84/EC: last Sunday of March, 01:00 UTC).
func TestLocalTimesAcrossTheChangeOfClocks(t *testing.T) {
	got := readAll(t, recordOf(t, fixture.Season()))
	require.Equal(t, []string{"2026-03-27T23:00:00Z", "2026-03-28T00:00:00+01:00"}, got[1][:2])
	last, next := got[1+26*60-1], got[1+26*60]
	require.Equal(t, []string{"2026-03-29T00:59:00Z", "2026-03-29T01:59:00+01:00"}, last[:2])
	require.Equal(t, []string{"2026-03-29T01:00:00Z", "2026-03-29T03:00:00+02:00"}, next[:2])
}

// The fast stamps agree with the library's at random times, also before 1970,
// in zones west, east and with half hours.
func TestStampsAgreeWithTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, name := range []string{"UTC", "Europe/Rome", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"} {
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		s := newStamper(zone, true)
		for range 3000 {
			ms := r.Int64N(4e12) - 1e12
			if ms < -3e11 {
				continue // offsets with seconds, before standard time
			}
			want := time.UnixMilli(ms).In(zone).Format("2006-01-02T15:04:05.000Z07:00")
			require.Equal(t, want, string(s.append(nil, ms)))
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{
		{0, "0"}, {math.Copysign(0, -1), "0"}, {-0.000001, "0"}, {12.5, "12.5"}, {-12.345678, "-12.34568"}, {0.00001, "0.00001"},
		{1, "1"}, {-1.05, "-1.05"}, {0.99999999, "1"}, {2e10, "20000000000"}, {math.NaN(), ""}, {math.Inf(1), ""}, {math.Inf(-1), ""},
	} {
		require.Equal(t, c.want, string(appendFixed(nil, c.v)), "%v", c.v)
	}
	require.Equal(t, "1240.12345679", string(appendFull(nil, 1240.123456789012)))
	require.Equal(t, "0.000001", string(appendFull(nil, 1e-6)))
	require.Empty(t, appendFull(nil, math.Inf(1)))
}

// OWASP ASVS 5, 1.2.10 and RFC 4180.
func TestTextIsNoFormula(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+1": "'+1", "-winter": "'-winter", "@x": "'@x", "\tx": "'\tx", "\x00": "'\x00", "": "",
		"a,b": `"a,b"`, `say "x"`: `"say ""x"""`, "plain": "plain", "\r=1": "\"'\r=1\"", "2026-03": "2026-03",
	} {
		require.Equal(t, want, string(appendText(nil, in)), "%q", in)
	}
}

func TestMilkingsHasARowACycle(t *testing.T) {
	s := fixture.Season()
	s.Cycles[0].Month = fixture.Formula
	got := readAll(t, csvOf(t, s, MilkingsTable))
	require.Len(t, got, len(s.Cycles)+1)
	column := map[string]int{}
	for i, h := range got[0] {
		column[h] = i
	}
	require.Len(t, column, len(got[0]), "no header twice")
	cell := func(row int, name string) string { return got[row+1][column[name]] }
	require.Equal(t, "'=1+1", cell(0, "month"))
	require.Equal(t, "2026-03-28T04:00:00Z", cell(0, "start_utc"))
	require.Equal(t, "2026-03-28T05:00:00+01:00", cell(0, "start_local"))
	require.Equal(t, "3.123456789", cell(0, "loop_kwh"))
	require.Equal(t, "-0.25", cell(0, "store_change_kwh"), "a negative number stays a number")
	require.Equal(t, "1", cell(0, "used_in_recovery"))
	require.Empty(t, cell(2, "plant_kwh"))
	require.Empty(t, cell(3, "wash_c"), "infinite")
	require.Empty(t, cell(3, "milking_end_utc"))
	require.Empty(t, cell(3, "milking_end_local"))
}

func TestSources(t *testing.T) {
	at := time.Date(2026, 5, 1, 12, 0, 0, 0, time.FixedZone("", 7200))
	b, err := Sources(fixture.Season(), Made{At: at, Program: Program{Version: "1.2.3", Go: "go1.26"}, Farm: "..", Report: []Hash{{"record.csv", 7, "cc33"}}})
	require.NoError(t, err)
	var got SourcesFile
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(&got))
	require.Equal(t, "2026-05-01T10:00:00Z", got.MadeAt)
	require.Equal(t, "1.2.3", got.Version)
	require.Equal(t, "1.2.3", got.Program.Version)
	require.Equal(t, "..", got.FarmFolder)
	require.Equal(t, uint64(7), got.Seed)
	require.Equal(t, []Hash{{"record.csv", 7, "cc33"}}, got.Report)
	require.Len(t, got.Files, 2)
	require.Len(t, got.Files[0].Channels, 1)
	require.Equal(t, []flagged{{"range", 3, "-5 to 100 degC"}}, got.Files[0].Channels[0].Flagged)
	require.Equal(t, "clock-off", got.Files[0].Findings[0].Code)
	require.Equal(t, 12.5, *got.Exclusions[0].Moves[0].PutBackKWh)
	require.Nil(t, got.Exclusions[0].Moves[1].ReportedKWh)
	require.Equal(t, 9, got.OutsidePeriod[0].After)
	require.Equal(t, 0.1, *got.OffsetsTakenOff[0].K)
	require.Equal(t, "aa11", got.Files[0].SHA256)
	require.Equal(t, []string{"clock 37 min ahead, corrected"}, got.Files[0].Corrections)
	require.Equal(t, 2220.0, *got.Files[0].Clock.AheadS)
	require.Len(t, got.Files[0].Flagged, 7, "a count for every test, none left out")
	require.Nil(t, got.Files[1].Clock.Low)
	require.Contains(t, string(b), `"corrections": []`, "a list is never null")
}

func TestEmptySeason(t *testing.T) {
	require.Equal(t, "time_utc,time_local,flags\n", string(recordOf(t, fixture.Empty())))
	for _, name := range []string{MilkingsTable, DrawsTable, WashesTable} {
		require.Equal(t, 1, strings.Count(string(csvOf(t, fixture.Empty(), name)), "\n"), name)
	}
	_, err := Sources(fixture.Empty(), Made{At: time.Unix(0, 0)})
	require.NoError(t, err)
	bad := fixture.Empty()
	bad.ZoneName = "Mars/Olympus"
	require.ErrorContains(t, Record(io.Discard, bad), "Mars/Olympus")
}

// Any number of cores writes the same bytes, also past one block.
func TestRecordOnAnyNumberOfCores(t *testing.T) {
	s := fixture.Large(3*block+17, 5)
	many := recordOf(t, s)
	before := runtime.GOMAXPROCS(1)
	one := recordOf(t, s)
	runtime.GOMAXPROCS(before)
	require.True(t, bytes.Equal(one, many))
	require.Equal(t, s.Record.N+1, bytes.Count(one, []byte("\n")))
}

func BenchmarkRecord(b *testing.B) {
	s := fixture.Large(216_000, 20)
	require.Equal(b, 216_001, bytes.Count(recordOf(b, s), []byte("\n")))
	for b.Loop() {
		if err := Record(io.Discard, s); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(216_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
