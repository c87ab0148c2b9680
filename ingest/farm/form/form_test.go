package form

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/farm"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/series"
)

// companions are keys without which the reader refuses a table for another
// reason than the field under test.
var companions = map[string][][2]string{
	"loop":    {{"length_m", "100"}, {"bore_mm", "26"}},
	"tank":    {{"volume_l", "300"}},
	"instead": {{"efficiency", "0.9"}},
}

// with is a farm file with one field set to a value as TOML writes it.
func with(t *testing.T, f Field, toml string) []series.Fault {
	t.Helper()
	d, err := edit.New([]byte("[farm]\ntimezone = \"UTC\"\n[[log]]\nfiles = \"x.csv\"\n"))
	require.NoError(t, err)
	for _, c := range companions[f.Table] {
		v, err := edit.Raw(c[1])
		require.NoError(t, err)
		require.NoError(t, d.Set(f.At(0), c[0], v))
	}
	v, err := edit.Raw(toml)
	require.NoError(t, err)
	require.NoError(t, d.Set(f.At(0), f.Key, v))
	_, faults := d.Farm()
	return faults
}

// The farm file's reader is the truth: it knows every field, takes what lies
// within the bounds stated here and refuses what lies outside.
func TestFieldsAreTheFarmFiles(t *testing.T) {
	for _, f := range Fields {
		switch f.Kind {
		case Number, Whole, Months:
			for _, c := range []struct {
				v    float64
				want bool
			}{{f.Least, !f.Open}, {f.Most, true}, {math.Nextafter(f.Least, math.Inf(1)), true}, {math.Nextafter(f.Least, math.Inf(-1)), false}, {math.Nextafter(f.Most, math.Inf(1)), false}} {
				if f.Kind == Whole && c.v != math.Trunc(c.v) {
					continue
				}
				faults := with(t, f, number17(c.v))
				require.Equal(t, c.want, len(faults) == 0, "%s = %v: %v", f.Name(), c.v, faults)
			}
			if f.Low != 0 || f.High != 0 {
				require.True(t, f.Least <= f.Low && f.Low < f.High && f.High <= f.Most, f.Name())
			}
		case Choice:
			for _, c := range f.Choices {
				require.Empty(t, with(t, f, edit.Quote(c)), f.Name())
			}
			faults := with(t, f, `"none of them"`)
			require.Len(t, faults, 1, f.Name())
			for _, c := range f.Choices {
				require.Contains(t, faults[0].Want, fmt.Sprintf("%q", c))
			}
			require.Equal(t, len(f.Choices)-1, strings.Count(faults[0].Want, ","), "%s: the reader knows more choices: %s", f.Name(), faults[0].Want)
		case YesNo:
			require.Empty(t, with(t, f, "true"), f.Name())
		case Zone:
			require.Empty(t, with(t, f, `"Europe/Rome"`))
		case Times:
			require.Empty(t, with(t, f, `["05:20-07:05"]`))
		case Glycol:
			require.Empty(t, with(t, f, `{ propylene_glycol_pct = 100 }`))
			require.NotEmpty(t, with(t, f, `{ propylene_glycol_pct = 100.1 }`))
		case Text:
			require.Empty(t, with(t, f, `"text"`), f.Name())
		}
		if f.Default != "" {
			r := f.Check(f.Default)
			require.Equal(t, OK, r.Verdict, f.Name())
			require.Empty(t, with(t, f, r.Value.String()), f.Name())
		}
	}
	require.NotEmpty(t, with(t, Field{Table: "loop", Key: "no_such_key"}, "1"), "a test that cannot fail proves nothing")
}

func number17(v float64) string { return fmt.Sprintf("%.17g", v) }

// A key that the reader calls needed is needed here.
func TestNeededFields(t *testing.T) {
	for _, f := range Fields {
		src := "[farm]\ntimezone = \"UTC\"\n[[log]]\nfiles = \"x.csv\"\n"
		if f.Table != "farm" {
			src += "[" + f.Table + "]\n"
		} else {
			src = "[farm]\n[[log]]\nfiles = \"x.csv\"\n"
		}
		_, faults := farm.Read("farm.toml", []byte(src))
		asked := false
		for _, fault := range faults {
			asked = asked || strings.HasSuffix(fault.Where, " "+f.Name())
		}
		require.Equal(t, f.Need == Stated || f.Need == Always, asked, "%s: %v", f.Name(), faults)
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		entry  string
		want   float64
		either bool
		why    Reason
	}{
		{"12,5", 12.5, false, ""}, {"12.5", 12.5, false, ""}, {"0,125", 0.125, false, ""}, {"1 200", 1200, false, ""}, {"1.200,5", 1200.5, false, ""},
		{"1,200.5", 1200.5, false, ""}, {"1.200", 1.2, true, ""}, {"1,200", 1.2, true, ""}, {"1.200.000", 1200000, false, ""}, {"1'200", 1200, false, ""},
		{"500 m", 500, false, ""}, {"500m", 500, false, ""}, {"500 ft", 0, false, OtherUnit}, {"−3", -3, false, ""}, {"+3", 3, false, ""}, {",5", 0.5, false, ""}, {"5,", 5, false, OtherUnit},
		{"1,2,3", 0, false, NotANumber}, {"1.2,3.4", 0, false, NotANumber}, {"abc", 0, false, NotANumber}, {"1e5", 0, false, NotANumber}, {"0x10", 0, false, NotANumber},
		{"--1", 0, false, NotANumber}, {"1 2", 0, false, NotANumber}, {"12 000,5", 12000.5, false, ""}, {"1 2000", 0, false, NotANumber}, {"٣", 0, false, NotANumber}, {"5-7", 0, false, NotANumber},
	} {
		v, either, why := ParseNumber(c.entry, "m")
		require.Equal(t, c.why, why, c.entry)
		if why == "" {
			require.Equal(t, c.want, v, c.entry)
			require.Equal(t, c.either, either, c.entry)
		}
	}
}

func check(t *testing.T, name, entry string) Result {
	t.Helper()
	f, ok := Find(name)
	require.True(t, ok, name)
	return f.Check(entry)
}

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name, entry string
		verdict     Verdict
		reason      Reason
		value       string
	}{
		{"loop.length_m", "500,5", OK, "", "500.5"},
		{"loop.length_m", "0", Refused, TooLow, ""},
		{"loop.length_m", "20001", Refused, TooHigh, ""},
		{"loop.length_m", "5", Unusual, UsuallyMore, "5"},
		{"loop.length_m", "1.200", Unusual, MarkEither, "1.2"},
		{"milk.density_kg_per_l", "1.030", OK, "", "1.03"},
		{"loop.branches", "2,5", Refused, NotWhole, ""},
		{"loop.fluid", "30 %", OK, "", "{ propylene_glycol_pct = 30 }"},
		{"loop.fluid", "0", OK, "", `"water"`},
		{"loop.pipe", "PEX", OK, "", `"PEX"`},
		{"loop.pipe", "pvc", Refused, NotAChoice, ""},
		{"milk.precooled", "true", OK, "", "true"},
		{"farm.timezone", "Rome", Refused, NotAZone, ""},
		{"farm.timezone", "", Refused, Missing, ""},
		{"farm.name", "Hof \"Nord\"", OK, "", `"Hof \"Nord\""`},
		{"farm.name", "two\nlines", Refused, NotAText, ""},
		{"farm.name", strings.Repeat("x", 301), Refused, TooLong, ""},
		{"loop.wall_mm", " ", Empty, "", ""},
		{"mains.temp_c", "8 8 9 10,5 12 14 15 16 15 13 11 9", OK, "", "[8, 8, 9, 10.5, 12, 14, 15, 16, 15, 13, 11, 9]"},
		{"mains.temp_c", "8 9", Refused, NotMonths, ""},
		{"mains.temp_c", "10 °C", OK, "", "10"},
		{"milkings.times", "05:20–07:05, 15:50 - 17:35", OK, "", `["05:20-07:05", "15:50-17:35"]`},
		{"milkings.times", "05:20-07:05; 06:00-08:00", Refused, TimesOverlap, ""},
		{"milkings.times", "early", Refused, NotTimes, ""},
	} {
		r := check(t, c.name, c.entry)
		require.Equal(t, c.verdict, r.Verdict, "%s %q: %+v", c.name, c.entry, r)
		require.Equal(t, c.reason, r.Reason, "%s %q", c.name, c.entry)
		require.Equal(t, c.value, r.Value.String(), "%s %q", c.name, c.entry)
	}
	require.Equal(t, "Europe/Rome", check(t, "farm.timezone", "Rome").Nearest)
}

// What is entered reads so afterwards, on the form and by the farm's reader.
func TestEnterAndRead(t *testing.T) {
	d, err := edit.New([]byte("[farm]\ntimezone = \"UTC\"   # check: nothing names one\n\n[[log]]\nfiles = \"x.csv\"\n"))
	require.NoError(t, err)
	require.True(t, Values(d)["farm.timezone"].Check)
	for _, e := range [][2]string{{"farm.timezone", "Europe/Rome"}, {"loop.length_m", "500"}, {"loop.bore_mm", "26,5"}, {"loop.fluid", "30"}, {"wash.target_c", "60"}, {"mains.temp_c", "10"}, {"milkings.times", "05:20-07:05"}} {
		f, _ := Find(e[0])
		r, err := f.Enter(d, 0, e[1])
		require.NoError(t, err)
		require.NotEqual(t, Refused, r.Verdict)
	}
	volume, _ := Find("tank.volume_l")
	for n, v := range []string{"300", "800"} {
		_, err := volume.Enter(d, n, v)
		require.NoError(t, err)
	}
	f, faults := d.Farm()
	require.Empty(t, faults, string(d.Bytes()))
	require.Equal(t, 26.5, f.Loop.BoreMM)
	require.Equal(t, 30.0, f.Loop.GlycolPct)
	require.Len(t, f.Tanks, 2)
	all := Values(d)
	require.Equal(t, Standing{Text: "26.5", Stated: true}, all["loop.bore_mm"])
	require.Equal(t, Standing{Text: "30", Stated: true}, all["loop.fluid"])
	require.Equal(t, Standing{Text: "800", Stated: true}, all["tank[1].volume_l"])
	require.Equal(t, Standing{Text: "in"}, all["loop.meter_at"])
	require.False(t, all["farm.timezone"].Check)
	bore, _ := Find("loop.bore_mm")
	before := d.Bytes()
	r, err := bore.Enter(d, 0, "3")
	require.NoError(t, err)
	require.Equal(t, Refused, r.Verdict)
	require.Equal(t, before, d.Bytes())
}

func TestAsked(t *testing.T) {
	require.Equal(t, []Stage{Farm, Instead, Electricity, Cost, Milkings}, Asked(nil))
	require.Contains(t, Asked([]string{"tank_temp@top"}), Tank)
	require.NotContains(t, Asked([]string{"tank_temp@top"}), Loop)
}
