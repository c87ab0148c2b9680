package ingest

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

func TestUnits(t *testing.T) {
	const head = "Time,%s\n2026-01-15 10:00,%s\n2026-01-15 10:10,%s\n"
	for name, c := range map[string]struct {
		header, column string // header; the right side in [log.columns]
		cell           string
		q              series.Quantity
		want           float64
	}{
		"°F in the header":       {"Bed (°F)", "\"bed_temp\"", "104", "bed_temp", 40},
		"stated":                 {"Bed", "{ quantity = \"bed_temp\", unit = \"F\" }", "50", "bed_temp", 10},
		"kelvin":                 {"Bed (K)", "\"bed_temp\"", "313.15", "bed_temp", 40},
		"in the cell":            {"Bed", "\"bed_temp\"", "104 °F", "bed_temp", 40},
		"m3/h":                   {"Flow (m³/h)", "\"loop_flow\"", "0.9", "loop_flow", 15},
		"gal_us stated on flow":  {"Flow", "{ quantity = \"loop_flow\", unit = \"gal_us/min\" }", "2", "loop_flow", 2 * 3.785411784},
		"W":                      {"Element [W]", "\"element_power\"", "2500", "element_power", 2.5},
		"A, three phases":        {"Comp (A)", "{ quantity = \"compressor_power\", volts = 400, phases = 3, power_factor = 0.85, unit = \"A\" }", "10", "compressor_power", 5.888972745734183},
		"scale and offset":       {"Bed raw", "{ quantity = \"bed_temp\", unit = \"C\", scale = 0.1, offset = -5 }", "450", "bed_temp", 40},
		"pulses of 10 L":         {"Meter (pulses)", "{ quantity = \"wash_volume\", scale = 10 }", "3", "wash_volume", 30},
		"psi":                    {"Suction (psi)", "\"suction_pressure\"", "29.00754755", "suction_pressure", 2},
		"percent":                {"Ice %", "\"ice_level\"", "40", "ice_level", 40},
		"unit row":               {"Bed\n,°F", "\"bed_temp\"", "50", "bed_temp", 10},
		"cell over header":       {"Bed (°C)", "\"bed_temp\"", "50 °F", "bed_temp", 10},
		"header over unit, ours": {"Bed (°C)", "{ quantity = \"bed_temp\", unit = \"F\" }", "50", "bed_temp", 10},
	} {
		t.Run(name, func(t *testing.T) {
			key := fmt.Sprintf("%q", splitLine(c.header))
			rec := load(t, files{"farm.toml": toml("a.csv", "stamp = \"end\"", key+" = "+c.column), "a.csv": fmt.Sprintf(head, c.header, c.cell, c.cell)})
			s := get(t, rec, c.q)
			require.InDelta(t, c.want, s.V[0], 1e-7)
			require.Zero(t, s.Missing)
			if name == "header over unit, ours" {
				require.Equal(t, 1, codes(rec)[series.CodeUnitContradiction])
			}
			if name == "A, three phases" {
				require.True(t, s.Amps)
			}
			require.Zero(t, codes(rec)[series.CodeUnitAssumed])
		})
	}
}

func splitLine(s string) string {
	for i := range s {
		if s[i] == '\n' {
			return s[:i]
		}
	}
	return s
}

func TestUnitAssumed(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", "Bed = \"bed_temp\""), "a.csv": "Time,Bed\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n"})
	p := problemOf(t, rec, series.CodeUnitAssumed)
	require.Equal(t, series.Note, p.Severity)
	require.Contains(t, p.Text, "farm.toml, line")
}

func TestStateWords(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", "V = \"loop_valve\""), "a.csv": "Time,V\n2026-01-15 10:00,open\n2026-01-15 10:10,CLOSED\n2026-01-15 10:20,TRUE\n" +
		"2026-01-15 10:30,aus\n2026-01-15 10:40,1\n2026-01-15 10:50,0\n2026-01-15 11:00,100\n2026-01-15 11:10,maybe\n"})
	require.Equal(t, []float64{1, 0, 1, 0, 1, 0, 1}, get(t, rec, "loop_valve").V)
	require.Equal(t, 1, codes(rec)[series.CodeBadCell])
}

// Overlapping exports: equal readings count once, of different ones the later
// file's is kept.
func TestOverlaps(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("*.csv", "", bedColumn),
		"b1.csv":    "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:20,42\n2026-01-15 10:30,43\n",
		"a2.csv":    "Time,Bed (°C)\n2026-01-15 10:20,42\n2026-01-15 10:30,43.5\n2026-01-15 10:40,44\n",
	})
	bed := get(t, rec, "bed_temp")
	require.Equal(t, []float64{40, 41, 42, 43.5, 44}, kept(bed))
	require.Equal(t, 6, bed.Samples())
	p := problemOf(t, rec, series.CodeOverlapDiffers)
	require.Equal(t, "b1.csv", p.File)
	require.Equal(t, "line 5", p.Where)
	require.Equal(t, 1, codes(rec)[series.CodeOverlapDiffers])
	require.Zero(t, codes(rec)[series.CodeDuplicate])
	require.Equal(t, "a2.csv", rec.Files[0].Name)
	require.Equal(t, 3, rec.Files[0].Kept)
	require.Equal(t, 2, rec.Files[1].Kept)
}

func TestDuplicates(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", bedColumn),
		"a.csv": "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:10,41\n2026-01-15 10:20,42\n2026-01-15 10:20,42.5\n2026-01-15 10:30,43\n"})
	bed := get(t, rec, "bed_temp")
	require.Equal(t, []float64{40, 41, 42.5, 43}, kept(bed))
	require.Equal(t, []series.Flag{0, series.Duplicate, 0, series.Duplicate, 0, 0}, bed.Flags.List())
	require.Equal(t, 2, codes(rec)[series.CodeDuplicate])
}

func TestCounterProblems(t *testing.T) {
	text := "Time,Meter (L)\n"
	at, _ := time.Parse("15:04", "00:00")
	for i := range 60 {
		v := 84000 + 10*i
		if i >= 40 {
			v = 10 * (i - 40)
		}
		if i == 20 {
			v = 0
		}
		text += "2026-01-15 " + at.Add(time.Duration(i)*time.Minute).Format("15:04") + fmt.Sprintf(",%d\n", v)
	}
	rec := load(t, files{"farm.toml": toml("a.csv", "", "\"Meter (L)\" = { quantity = \"loop_volume\", counter = true }"), "a.csv": text})
	s := get(t, rec, "loop_volume")
	require.Equal(t, series.Amount, s.Kind)
	require.True(t, s.Counter)
	sum := 0.0
	for _, v := range kept(s) {
		sum += v
	}
	require.InDelta(t, 390+190, sum, 1e-9)
	require.Equal(t, "line 42", problemOf(t, rec, series.CodeCounterReset).Where)
	require.Equal(t, "line 22", problemOf(t, rec, series.CodeCounterBad).Where)
	require.Zero(t, codes(rec)[series.CodeCounterFound])
	require.Zero(t, codes(rec)[series.CodeStampAssumed], "a counter is read at its stamp")
	require.Len(t, rec.Files[0].Corrections, 2)
	rec = load(t, files{"farm.toml": toml("a.csv", "", "\"Meter (L)\" = \"loop_volume\""), "a.csv": text})
	require.Equal(t, 1, codes(rec)[series.CodeCounterFound])
}

func TestThresholdsOfTheFarm(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", bedColumn) + "[flags]\nbed_temp = { range = [0, 41] }\n",
		"a.csv": "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:20,42\n"})
	bed := get(t, rec, "bed_temp")
	require.Equal(t, []series.Flag{0, 0, series.Range}, bed.Flags.List())
}
