package ingest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

const bedColumn = "\"Bed (°C)\" = \"bed_temp\""

func bedLog(start string, n int) string {
	return rows("Time,Bed (°C)", start, "2006-01-02 15:04", 10*time.Minute, n, func(i int) string { return fmt.Sprintf("%.1f", 40+0.1*float64(i%7)) })
}

func TestFaultsOfFiles(t *testing.T) {
	for name, c := range map[string]struct {
		fs   files
		want string // must stand in the message
	}{
		"no farm.toml":     {files{"yard.csv": "x"}, "without farm.toml"},
		"no log":           {files{"farm.toml": "\n"}, "[[log]]"},
		"no match":         {files{"farm.toml": toml("yrad*.csv", "", bedColumn), "yard.csv": bedLog("2026-01-01 00:00:00", 9)}, "yard.csv"},
		"missing column":   {files{"farm.toml": toml("yard.csv", "", "\"Bed (C)\" = \"bed_temp\""), "yard.csv": bedLog("2026-01-01 00:00:00", 9)}, "did you mean \"Bed (°C)\"?"},
		"double header":    {files{"farm.toml": toml("yard.csv", "", "T = \"bed_temp\""), "yard.csv": "Time,T,T\n2026-01-01 00:00,1,2\n2026-01-01 00:10,1,2\n"}, "#2 or #3"},
		"binary":           {files{"farm.toml": toml("yard.bin", "", bedColumn), "yard.bin": "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00"}, "yard.bin"},
		"no stamps":        {files{"farm.toml": toml("yard.csv", "", bedColumn), "yard.csv": "Nr,Bed (°C)\n1,40\n2,41\n3,42\n"}, "stamp_columns"},
		"unproved dates":   {files{"farm.toml": toml("yard.csv", "", bedColumn), "yard.csv": "Time,Bed (°C)\n03/04/2026 10:00,40\n03/04/2026 10:10,41\n"}, "dates = \"dmy\" or \"mdy\""},
		"gallons":          {files{"farm.toml": toml("yard.csv", "", "\"Wash (gal)\" = \"wash_volume\""), "yard.csv": "Time,Wash (gal)\n2026-01-01 00:00,1\n2026-01-01 00:10,2\n"}, "which gallon"},
		"energy as power":  {files{"farm.toml": toml("yard.csv", "", "\"El (kWh)\" = \"element_power\""), "yard.csv": "Time,El (kWh)\n2026-01-01 00:00,1\n2026-01-01 00:10,2\n"}, "did you mean \"element_energy\"?"},
		"unread unit":      {files{"farm.toml": toml("yard.csv", "", "\"Flow (rpm)\" = \"loop_flow\""), "yard.csv": "Time,Flow (rpm)\n2026-01-01 00:00,1\n2026-01-01 00:10,2\n"}, "L/min, L/h, m3/h"},
		"pulses":           {files{"farm.toml": toml("yard.csv", "", "\"Meter (pulses)\" = \"loop_volume\""), "yard.csv": "Time,Meter (pulses)\n2026-01-01 00:00,1\n2026-01-01 00:10,2\n"}, "scale ="},
		"current, no volt": {files{"farm.toml": toml("yard.csv", "", "\"Comp (A)\" = \"compressor_power\""), "yard.csv": "Time,Comp (A)\n2026-01-01 00:00,1\n2026-01-01 00:10,2\n"}, "volts = 400"},
		"two logs, one column": {files{"farm.toml": toml("yard.csv", "", bedColumn) + toml("y*.csv", "", bedColumn),
			"yard.csv": bedLog("2026-01-01 00:00:00", 9)}, "two logs read"},
		"all flagged":   {files{"farm.toml": toml("yard.csv", "", bedColumn), "yard.csv": "Time,Bed (°C)\n2026-01-01 00:00,999.9\n2026-01-01 00:10,999.9\n"}, "missing or flagged"},
		"farm.toml bad": {files{"farm.toml": "[farm]\nname = \"x\"\ntimezone = \"Europe/Rome\"\nnmae = 1\n"}, "line 4"},
		"outside":       {files{"farm.toml": toml("../yard.csv", "", bedColumn)}, ".."},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Load(write(t, c.fs), options())
			require.ErrorContains(t, err, c.want)
			var bad *InputError
			require.ErrorAs(t, err, &bad)
			for _, f := range bad.Faults {
				require.NotEmpty(t, f.File+f.Where)
				require.NotEmpty(t, f.Got)
			}
		})
	}
	_, err := Load(filepath.Join(t.TempDir(), "none"), options())
	require.ErrorContains(t, err, "no such folder")
}

// Several faults of one run come together; many of one kind are counted.
func TestFaultsAreCollected(t *testing.T) {
	faults := refuse(t, files{
		"farm.toml": toml("a.csv", "", "Nothing = \"bed_temp\"") + toml("b.csv", "", bedColumn) + toml("c.csv", "", "\"Flow (gal/min)\" = \"loop_flow\""),
		"a.csv":     bedLog("2026-01-01 00:00:00", 9), "c.csv": "Time,Flow (gal/min)\n2026-01-01 00:00,1\n2026-01-01 00:10,1\n",
	})
	require.Len(t, faults, 3)
	many := &InputError{}
	for i := range 9 {
		many.Faults = append(many.Faults, Fault{File: fmt.Sprintf("f%d.csv", i), Got: "x", Want: "y", Do: "z"})
	}
	require.Equal(t, 6, strings.Count(many.Error(), "\n")+1)
	require.Contains(t, many.Error(), "and 4 more")
	require.Equal(t, "f0.csv: got x; want y; z", strings.SplitN(many.Error(), "\n", 2)[0])
}

func TestLinksOutOfTheFolderAreRefused(t *testing.T) {
	dir := write(t, files{"farm.toml": toml("*.csv", "", bedColumn)})
	outside := filepath.Join(t.TempDir(), "yard.csv")
	require.NoError(t, os.WriteFile(outside, []byte(bedLog("2026-01-01 00:00:00", 9)), 0o600))
	if err := os.Symlink(outside, filepath.Join(dir, "yard.csv")); err != nil {
		t.Skip("no links on this system")
	}
	_, err := Load(dir, options())
	require.ErrorContains(t, err, "leads out of the farm folder")
	// A link inside the folder is a file like any other.
	require.NoError(t, os.Remove(filepath.Join(dir, "yard.csv")))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "yard.txt"), []byte(bedLog("2026-01-01 00:00:00", 9)), 0o600))
	require.NoError(t, os.Symlink("yard.txt", filepath.Join(dir, "yard.csv")))
	_, err = Load(dir, options())
	require.NoError(t, err)
}

func TestProblemsOfFiles(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("*.csv", "", bedColumn+"\n\"Air (°C)\" = \"air_temp\""),
		"a.csv":     "Time,Bed (°C),Air (°C)\n2026-01-01 00:00,40,5\n2026-01-01 00:10,41,5.5\n2026-01-01 00:20,8x5,6\n",
		"b.csv":     "Time,Bed (°C)\n2026-01-01 00:30,40\n2026-01-01 00:40,41\n",
		"c.csv":     "Time,Bed (°C)\n",
		"d.csv":     "Time,Bed (°C)\n2026-01-01 00:30,40\n2026-01-01 00:40,41\n",
		"e.csv":     "Time,Other\n2026-01-01 00:30,40\n2026-01-01 00:40,41\n",
	})
	got := codes(rec)
	require.Equal(t, 1, got[series.CodeColumnMissing], got)
	require.Equal(t, 1, got[series.CodeFileEmpty], got)
	require.Equal(t, 1, got[series.CodeFileTwice], got)
	require.Equal(t, 1, got[series.CodeFileNotUsed], got)
	p := problemOf(t, rec, series.CodeBadCell)
	require.Equal(t, "a.csv", p.File)
	require.Equal(t, "line 4, column 2", p.Where)
	require.Contains(t, p.Text, "8x5")
	require.Len(t, rec.Files, 2)
}

func TestFileInTwoLogsWithOtherColumns(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("a.csv", "", bedColumn) + toml("a.csv", "stamp = \"end\"", "\"Air (°C)\" = \"air_temp\""),
		"a.csv":     "Time,Bed (°C),Air (°C)\n2026-01-01 00:00,40,5\n2026-01-01 00:10,41,5.5\n",
	})
	require.Equal(t, 1, codes(rec)[series.CodeFileInTwoLogs])
	require.Equal(t, series.Mean, get(t, rec, "air_temp").Kind)
	require.Equal(t, series.Instant, get(t, rec, "bed_temp").Kind)
}

func TestNumberedAndFoldedHeaders(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("a.csv", "", "\"Bed  north (°C) \" = \"bed_temp@north\"\n\"#3\" = \"bed_temp@south\"\n\"Old\" = \"ignore\""),
		"a.csv":     "Time,Bed north  (°C),,Old,New\n2026-01-01 00:00,40,42,1,1\n2026-01-01 00:10,41,43,1,1\n",
	})
	require.Len(t, rec.Series, 2)
	require.Equal(t, []float64{40, 41}, rec.Series[0].V)
	require.Equal(t, "south", rec.Series[1].Place)
	require.Equal(t, []float64{42, 43}, rec.Series[1].V)
	require.Equal(t, []string{"New"}, rec.Files[0].Ignored)
}

func TestTaggedLog(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("a.csv", "tags = { tag = \"Name\", value = \"Value\" }", "\"T1\" = { quantity = \"bed_temp\", unit = \"F\" }\n\"P1\" = \"loop_pump\""),
		"a.csv": "Time,Name,Value\n2026-01-01 00:00:00,T1,212\n2026-01-01 00:00:03,P1,on\n2026-01-01 00:10:00,T1,32\n2026-01-01 03:07:11,P1,off\n" +
			"2026-01-01 03:10:00,T1,50\n2026-01-01 04:10:00,X9,7\n2026-01-01 09:00:00,P1,on\n",
	})
	bed, pump := get(t, rec, "bed_temp"), get(t, rec, "loop_pump")
	require.InDeltaSlice(t, []float64{100, 0, 10}, bed.V, 1e-12)
	require.Equal(t, []float64{1, 0, 1}, pump.V)
	require.Equal(t, int64(0), pump.HoldMS, "events hold until the next one")
	faults := refuse(t, files{
		"farm.toml": toml("a.csv", "tags = { tag = \"Name\", value = \"Value\" }", "\"T2\" = \"bed_temp\""),
		"a.csv":     "Time,Name,Value\n2026-01-01 00:00:00,T1,20\n2026-01-01 00:00:03,T1,21\n",
	})
	require.Contains(t, faults[0].Got, "T1")
}

func TestTagsThatTwoColumnsMake(t *testing.T) {
	log := "Time,Device,Tag,Value\n"
	for i := range 6 {
		log += fmt.Sprintf("2026-01-01 00:0%d:00,A,T1,20\n2026-01-01 00:0%d:00,B,T1,30\n", i, i)
	}
	rec := load(t, files{
		"farm.toml": toml("a.csv", "tags = { tag = \"Device/Tag\", value = \"Value\" }", "\"A/T1\" = { quantity = \"bed_temp\", unit = \"C\" }\n\"B/T1\" = { quantity = \"outdoor_temp\", unit = \"C\" }"),
		"a.csv":     log,
	})
	require.Equal(t, []float64{20, 20, 20, 20, 20, 20}, get(t, rec, "bed_temp").V)
	require.Equal(t, []float64{30, 30, 30, 30, 30, 30}, get(t, rec, "outdoor_temp").V)
}
