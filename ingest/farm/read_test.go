package farm

import (
	"bytes"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/encoding/unicode"

	"yardheat/ingest/farm/keyed"
	"yardheat/ingest/series"
)

func full(t testing.TB) []byte {
	t.Helper()
	src, err := os.ReadFile("testdata/full.toml")
	require.NoError(t, err)
	return src
}

// TestEveryKey holds what is stored against testdata/full.toml, read by eye.
func TestEveryKey(t *testing.T) {
	f, faults := Read("farm.toml", full(t))
	require.Empty(t, faults)
	rome := f.Zone
	assert.Equal(t, "Europe/Rome", rome.String())
	assert.Equal(t, "Hof Beispiel", f.Name)
	assert.Equal(t, &Loop{LengthM: 500, BoreMM: 26, WallMM: 3.5, Pipe: "PE", ApplyGain: true, Branches: 2, BedAreaM2: 240, LeadL: 12.5, HasLead: true,
		MeterAt: "out", Circuit: "closed", Fluid: "propylene glycol", GlycolPct: 30, DrawL: 420, FlowLMin: 18}, f.Loop)
	assert.Equal(t, &Plate{"out", 9}, f.Plate)
	assert.Equal(t, []Tank{{"first", "preheat", 800, map[string]float64{"top": 0.8, "bottom": 0.2}}, {Name: "hot", Role: "hot", VolumeL: 300}}, f.Tanks)
	assert.Equal(t, &Wash{77, true, 82, true, "cold"}, f.Wash)
	assert.Equal(t, []float64{8, 8, 9, 10, 12, 14, 15, 16, 15, 13, 11, 9}, f.MainsC)
	assert.Equal(t, Milk{3.89, 1.032, true, 8, true, true}, f.Milk)
	assert.Equal(t, &Plant{4.2, 0.3, true, "R449A"}, f.Plant)
	assert.Equal(t, &Element{6}, f.Element)
	assert.Equal(t, &Pumps{0.2, 0.1}, f.Pumps)

	day := func(m time.Month, d int) time.Time { return time.Date(2026, m, d, 0, 0, 0, 0, rome) }
	assert.Equal(t, &Instead{Carrier: "propane", Efficiency: 0.88, PricePerKWh: 0.11, HasPrice: true, CO2KgPerKWh: 0.234, HasCO2: true, Currency: "EUR",
		Source: "bills 2025", PriceSince: []PriceSince{{day(1, 1), 0.12}, {day(3, 1), 0.13}}, StandingLossKWhPerDay: 1.5}, f.Instead)
	assert.Equal(t, &Electricity{PricePerKWh: 0.29, HasPrice: true, CO2KgPerKWh: 0.25, HasCO2: true, ExportPerKWh: 0.08, HasExport: true, Source: "bill of March", Rates: []Rate{
		{0, 1440, [7]bool{true, false, false, false, false, false, true}, time.Time{}, 0.17},
		{1320, 360, [7]bool{false, true, true, true, true, true, false}, day(1, 1), 0.19}}}, f.Electricity)
	assert.Equal(t, &Cost{18000, 250, 15, "invoice"}, f.Cost)
	assert.Equal(t, Baseline{BaselineOff, []string{"winter"}, []string{VariableConstant, VariableMilk, VariableFeed}}, f.Baseline)

	assert.Equal(t, Milkings{File: "lists/milkings.csv", Dates: "dmy", MilkIs: "day", Line: 95, Columns: map[string]string{
		"date": "Datum", "start": "Beginn", "end": "Ende", "milk_volume": "Milch l", "milk_in_temp": "#5", "milk_out_temp": "#6"}}, f.Milkings)
	assert.Equal(t, []Season{{"winter", "normal", day(1, 1), day(4, 1)}, {"", "recovery_off", day(4, 1), time.Time{}}}, f.Seasons)
	assert.Equal(t, []Event{{day(1, 2), "painted the door", 0}, {day(1, 5).Add(9*time.Hour + 30*time.Minute), "bedded", 12.5}}, f.Events)

	require.Len(t, f.Errors, 8)
	var keys []string
	for _, e := range f.Errors {
		keys = append(keys, e.Key)
	}
	assert.Equal(t, []string{"loop_out_temp", "loop_in_temp@barn", "loop_flow", "bed_temp", "loop.draw_l", "instead.efficiency", "milk.density_kg_per_l", "milk_volume"}, keys)
	assert.Equal(t, StatedError{"loop_in_temp@barn", 0.5, false, true, f.Errors[1].Line}, f.Errors[1])
	assert.Equal(t, StatedError{"loop_flow", 0.03, true, false, f.Errors[2].Line}, f.Errors[2])
	assert.InDelta(t, 5.0/3, f.Errors[3].HalfWidth, 1e-12, "3 F are 5/3 K")
	assert.Equal(t, []Matched{{Probes: []string{"loop_in_temp", "loop_out_temp@barn"}, WithinK: 0.05, OffsetK: -0.02, HasOffset: true, On: day(1, 10)}}, f.Matched)
	assert.Equal(t, Thresholds{-5, 90, 5, 120, 12}, f.Flags["loop_out_temp"])
	assert.Equal(t, 48.0, f.Flags["bed_temp"].StuckH)
	assert.NotEqual(t, f.Flags["bed_temp"].Spike, f.Flags["bed_temp"].Spike, "NaN = default")
	assert.Equal(t, 300.0, f.StepS)

	require.Len(t, f.Logs, 2)
	l := f.Logs[0]
	assert.Equal(t, "yard", l.Name)
	assert.Equal(t, []string{"logs/yard-*.csv", "old/yard.csv"}, l.Files)
	assert.Equal(t, []string{"windows-1252", ";", ",", "."}, []string{l.Encoding, l.Separator, l.Decimal, l.Thousands})
	assert.Equal(t, 3, *l.Header)
	assert.Equal(t, []string{"Datum", "#2"}, l.StampColumns)
	assert.Equal(t, []string{"DD.MM.YYYY hh:mm", "+01:00", "dmy", "end", "given"}, []string{l.StampLayout, l.Zone, l.Dates, l.Stamp, l.Clock})
	assert.Equal(t, []float64{2220, 1.7}, []float64{l.AheadS, l.DriftSPerDay})
	assert.Equal(t, []ClockJump{{"2026-02-03 10:00", -3600}}, l.Jumps)
	for i := range l.Columns {
		l.Columns[i].Line -= l.Line
	}
	assert.Equal(t, []Column{
		{Header: "Vorlauf °C", Quantity: "loop_out_temp", Place: "barn", Scale: 1, Line: 17},
		{Header: "Zulauf", Quantity: "loop_in_temp", Unit: "F", Scale: 1, Offset: -0.2, Fit: "pocket", Line: 18},
		{Header: "#5", Quantity: "loop_volume", Unit: "m3", Counter: true, Scale: 10, Line: 19},
		{Header: "Notiz", Quantity: "ignore", Scale: 1, Line: 20},
		{Header: "Strom", Quantity: "compressor_power", Unit: "A", Scale: 1, Volts: 400, Phases: 3, PowerFactor: 0.85, Line: 21},
	}, l.Columns)
	l = f.Logs[1]
	assert.Equal(t, []string{"plc", "Log", "find", "Tag", "Wert"}, []string{l.Name, l.Sheet, l.Clock, l.TagColumn, l.ValueColumn})
	assert.Equal(t, 2, l.Table)
	assert.Equal(t, "A.1", l.Columns[1].Header)
}

// small is the least farm file that is read, with defaults.
const small = "[farm]\ntimezone = \"Europe/Rome\"\n\n[[log]]\nfiles = [\"a.csv\"]\n"

func TestDefaults(t *testing.T) {
	f, faults := Read("farm.toml", []byte(small+"[loop]\nlength_m = 100\nbore_mm = 20\n"))
	require.Empty(t, faults)
	assert.Equal(t, &Loop{LengthM: 100, BoreMM: 20, Branches: 1, MeterAt: "in", Circuit: "open", Fluid: "water"}, f.Loop)
	// testdata/check-values/trade/trade_constants.csv: 3.93 kJ/(kg K), 1030 kg/m3 at 20 °C, 6 °C where not collected daily.
	assert.Equal(t, Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.030, LimitC: 6}, f.Milk)
	assert.Equal(t, 60.0, f.StepS)
	assert.Equal(t, "keep", f.Logs[0].Clock)
	assert.Equal(t, "milking", f.Milkings.MilkIs)
	assert.Nil(t, f.Plate)
	assert.Nil(t, f.MainsC)
}

// TestEncodings: the same farm from an editor's byte order mark, UTF-16 and
// other line ends.
func TestEncodings(t *testing.T) {
	want, faults := Read("farm.toml", full(t))
	require.Empty(t, faults)
	utf16 := func(e unicode.Endianness) []byte {
		out, err := unicode.UTF16(e, unicode.UseBOM).NewEncoder().Bytes(full(t))
		require.NoError(t, err)
		return out
	}
	for name, src := range map[string][]byte{
		"byte order mark": append([]byte("\xef\xbb\xbf"), full(t)...),
		"CRLF":            bytes.ReplaceAll(full(t), []byte("\n"), []byte("\r\n")),
		"CR":              bytes.ReplaceAll(full(t), []byte("\n"), []byte("\r")),
		"UTF-16LE":        utf16(unicode.LittleEndian),
		"UTF-16BE":        utf16(unicode.BigEndian),
	} {
		got, faults := Read("farm.toml", src)
		if assert.Empty(t, faults, name) {
			assert.Equal(t, want.Logs, got.Logs, name)
			assert.Equal(t, want.Loop, got.Loop, name)
		}
	}
	_, faults = Read("farm.toml", []byte("[farm]\nname = \"H\xf6fe\"\ntimezone = \"Europe/Rome\"\n[lop]\n"))
	require.NotEmpty(t, faults)
	assert.Equal(t, "line 2", faults[0].Where)
	assert.Contains(t, faults[0].Do, "UTF-8")
	assert.True(t, slices.ContainsFunc(faults, func(f series.Fault) bool { return f.Where == "line 4, lop" }), "the rest is still checked")
	_, faults = Read("farm.toml", []byte("PK\x03\x04\x00\x00"))
	require.Len(t, faults, 1)
	assert.Contains(t, faults[0].Do, "plain text")
}

// TestAllFaultsInOneRun: one file, many faults, sorted by line, the parts that
// are no TOML among them.
func TestAllFaultsInOneRun(t *testing.T) {
	src := strings.Join([]string{
		`[farm]`, // 1
		`timezone = "Europe/Roma"`,
		`[loop]`,
		`lenght_m = 500`,
		`bore_mm = 26,5`, // 5
		`[wash`,
		`target_c = 77`,
		`[plate]`,
		`flow_l_min = -1`,
		`[[log]]`, // 10
		`files = ["yard.csv"]`,
		`[log.columns]`,
		`"A" = "loop_out_tmp"`,
		`B C = "bed_temp"`,
		`"D" = "loop_out_tmp"`, // 15
		`"D" = "bed_temp"`,
	}, "\n")
	f, faults := Read("farm.toml", []byte(src))
	assert.Nil(t, f)
	var got []string
	for _, f := range faults {
		got = append(got, f.Where)
		assert.Equal(t, "farm.toml", f.File)
	}
	assert.Equal(t, []string{"line 2, farm.timezone", "line 4, loop.lenght_m", "line 5", "line 6", "line 9, plate.flow_l_min",
		`line 13, log.columns."A"`, "line 14", `line 15, log.columns."D"`, `line 16, log.columns.D`}, got)
}

func TestLogsOfOneNameAreToldApart(t *testing.T) {
	f, faults := Read("farm.toml", []byte(small+"[[log]]\nfiles='x/a.xlsx'\nsheet='B'\n[[log]]\nfiles='a-*.csv'\n[[log]]\nfiles='*.csv'\n"))
	require.Empty(t, faults)
	var names []string
	for _, l := range f.Logs {
		names = append(names, l.Name)
	}
	assert.Equal(t, []string{"a", "a B", "a 2", "*"}, names)
}

func TestEmptyFile(t *testing.T) {
	for _, src := range []string{"", " ", "# nothing yet\n"} {
		_, faults := Read("farm.toml", []byte(src))
		require.Len(t, faults, 2)
		assert.Equal(t, "key farm.timezone", faults[0].Where)
		assert.Equal(t, "key log", faults[1].Where)
	}
}

// TestZoneNames: every zone that is suggested is one.
func TestZoneNames(t *testing.T) {
	for _, z := range zoneNames {
		_, err := time.LoadLocation(z)
		assert.NoError(t, err, z)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(full(f))
	f.Add([]byte(small))
	f.Add([]byte("[farm]\ntimezone = 3\n[farm.x]\n[[farm]]\na.b = 1\na = 2\n[a]\n[[a.b]]\n[a.b.c]\n"))
	f.Add([]byte("x = [1,\ny = 2\n[loop\nbore_mm = 26,5\n\"q\" = {a=1, a.b = 2}\n"))
	for _, c := range faultCases {
		f.Add([]byte(c.src))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		farm, faults := Read("farm.toml", src)
		if (farm == nil) != (len(faults) > 0) {
			t.Fatal("a farm and faults, or neither")
		}
		for _, f := range faults {
			if f.Where == "" || f.Want == "" || f.Do == "" || f.Got == "" {
				t.Fatalf("a fault without words: %+v", f)
			}
			for _, word := range goWords {
				if strings.Contains(f.Want+f.Do, word) {
					t.Fatalf("the language shows through: %+v", f)
				}
			}
		}
		if farm != nil && farm.Zone == nil {
			t.Fatal("no zone")
		}
	})
}

// goWords must not stand in a message.
var goWords = []string{"int64", "float64", "struct", "interface", "map[", "nil", "%!", "strconv", "unmarshal", "toml:"}

// TestMidnight: days that begin at a clock change (IANA: Asia/Beirut skips
// 00:00 on 2026-03-29; America/Havana repeats it on 2026-11-01).
func TestMidnight(t *testing.T) {
	for _, c := range []struct {
		zone, want string
		y          int
		m          time.Month
		d          int
	}{
		{"Asia/Beirut", "2026-03-28T22:00:00Z", 2026, 3, 29},
		{"America/Havana", "2026-11-01T04:00:00Z", 2026, 11, 1},
		{"America/Havana", "2026-03-08T05:00:00Z", 2026, 3, 8},
		{"Europe/Rome", "2026-03-28T23:00:00Z", 2026, 3, 29},
		{"Europe/Rome", "2026-10-31T23:00:00Z", 2026, 10, 32},
	} {
		zone, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		assert.Equal(t, c.want, keyed.Midnight(c.y, c.m, c.d, zone).UTC().Format(time.RFC3339), c.zone)
	}
}

// TestBrokenLines: what cannot be parsed costs one message, and the rest is
// still read.
func TestBrokenLines(t *testing.T) {
	src := small + "[plate]\nflow_l_min = [1,\n  2\n  3,\n]\nmeter_at = \"up\"\n[wash]\ntarget_c = \n# why\nheat_to_c = 82\nmeter = \"hot\"\n"
	_, faults := Read("farm.toml", []byte(src))
	var got []string
	for _, f := range faults {
		got = append(got, f.Where)
	}
	assert.Equal(t, []string{"line 9", "line 11, plate.meter_at", "line 13", "line 16, wash.meter"}, got)
}
