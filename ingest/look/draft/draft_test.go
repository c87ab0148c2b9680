package draft

import (
	"archive/zip"
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/farm"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
)

func file(t *testing.T, name, text string) File {
	t.Helper()
	tables, err := look.Bytes(name, []byte(text), look.Options{})
	require.NoError(t, err)
	return File{Name: name, Tables: tables}
}

// month is an invented export of January or February 2026.
func month(m int, header, cell string) string {
	text := header + "\n"
	for i := range 40 {
		text += fmt.Sprintf("%d.%02d.2026 10:%02d;%s\n", 13+i/20, m, i%20*3, fmt.Sprintf(cell, i%10))
	}
	return text
}

func drafted(t *testing.T, files ...File) (*farm.Farm, string) {
	t.Helper()
	d := New(files, Options{Name: "Test \"farm\"", Zone: "Europe/Rome", ZoneFrom: "test"})
	f, faults := farm.Read("farm.toml", d.TOML)
	require.Empty(t, faults, string(d.TOML))
	return f, string(d.TOML)
}

func TestExportsOfOneLoggerShareALog(t *testing.T) {
	header := "Time;Loop out (°C);Loop flow (L/min)"
	f, text := drafted(t, file(t, "yard-2026-01.csv", month(1, header, "3%d,5;4,5")), file(t, "yard-2026-02.csv", month(2, header, "3%d,5;4,5")),
		file(t, "bed.csv", month(1, "Zeit;Beet Kompost (°C)", "4%d,5")))
	require.Len(t, f.Logs, 2)
	require.Equal(t, []string{"yard-2026-01.csv", "yard-2026-02.csv"}, f.Logs[0].Files)
	require.Equal(t, "loop_out_temp", f.Logs[0].Columns[0].Quantity)
	require.Equal(t, "loop_flow", f.Logs[0].Columns[1].Quantity)
	require.Equal(t, "bed_temp", f.Logs[1].Columns[0].Quantity)
	require.NotNil(t, f.Loop)
	require.Equal(t, "Test \"farm\"", f.Name)
	for _, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(line, `"`) || strings.HasPrefix(line, "length_m") {
			require.Contains(t, line, "# check")
		}
	}
}

// Two loggers of one make over the same days are two, though their headers and
// the letters of their names agree.
func TestOverlappingFilesAreTwoLoggers(t *testing.T) {
	header := "Time;Temp (°C)"
	f, _ := drafted(t, file(t, "logger 1.csv", month(1, header, "3%d,5")), file(t, "logger 2.csv", month(1, header, "1%d,5")))
	require.Len(t, f.Logs, 2)
	f, _ = drafted(t, file(t, "north.csv", month(1, header, "3%d,5")), file(t, "south.csv", month(2, header, "1%d,5")))
	require.Len(t, f.Logs, 2, "other names, other loggers")
}

// What cannot be guessed, or was mapped already, is a comment; odd headers are
// called by number; what the file leaves open stands with its key.
func TestCommentsWhereUnsure(t *testing.T) {
	_, text := drafted(t, file(t, "a.csv", "Time,Foo,Foo,Loop out (°C),Hot \"x\" loop out \\ (°C),Loop water (gal)\n03/02/2026 10:00,1.5,1.5,2.5,2.5,7\n03/02/2026 10:10,1.5,1.5,2.5,2.5,8\n"))
	require.Contains(t, text, `# "#2" = "…"`)
	require.Contains(t, text, `# "Hot \"x\" loop out \\ (°C)" = "loop_out_temp"   # Loop out (°C) has this quantity already`)
	require.Contains(t, text, `# dates = "dmy"   # or "mdy"`)
	require.Contains(t, text, "which gallon")
}

func TestLongLogsMapTags(t *testing.T) {
	text := "time;tag;value\n"
	for i := range 40 {
		text += fmt.Sprintf("2026-02-13 10:%02d;Loop out (°C);%d,5\n2026-02-13 10:%02d;Loop flow (L/min);%d\n", i, 30+i%4, i, 5+i%2)
	}
	f, _ := drafted(t, file(t, "long.csv", text))
	require.Equal(t, "tag", f.Logs[0].TagColumn)
	require.Len(t, f.Logs[0].Columns, 2)
}

func TestMilkingsList(t *testing.T) {
	text := "Date,Start,End,Milk [L]\n"
	for i := range 20 {
		text += fmt.Sprintf("2026-02-%02d,05:%02d,06:50,%d\n2026-02-%02d,16:10,17:50,%d\n", i+1, 10+i, 460+i%7, i+1, 440+i%5)
	}
	f, _ := drafted(t, file(t, "milkings.csv", text), file(t, "bed.csv", month(1, "Zeit;Beet Kompost (°C)", "4%d,5")))
	require.Equal(t, "milkings.csv", f.Milkings.File)
	require.Equal(t, map[string]string{"date": "Date", "start": "Start", "end": "End", "milk_volume": "Milk [L]"}, f.Milkings.Columns)
	require.Len(t, f.Logs, 1)
}

// Whatever look makes of a file, the draft is a farm file.
func FuzzNew(f *testing.F) {
	for _, s := range []string{"time;T (°C)\n2026-01-05 10:00;12,5\n", "t\\\"x;a\tb\n2026-01-05;1\n2026-01-06;2\n", "ts,tag,value\n1767607200,=\"a,1\n1767607200,b,2\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		tables, err := look.Bytes("a.csv", []byte(text), look.Options{})
		if err != nil {
			return
		}
		d := New([]File{{Name: "a.csv", Tables: tables}}, Options{Name: "x"})
		if _, faults := farm.Read("farm.toml", d.TOML); len(faults) > 0 {
			t.Fatalf("%v\n%s", faults, d.TOML)
		}
	})
}

// A unit that stands where the loader does not look is stated.
func TestUnitsFromElsewhereAreStated(t *testing.T) {
	f, _ := drafted(t, file(t, "loop out.csv", "Date/Time,Unit,Loop out\n13/02/26 10:00:01,F,52.5\n13/02/26 10:10:01,F,52.625\n"))
	require.Equal(t, "F", f.Logs[0].Columns[0].Unit)
	require.Equal(t, "loop_out_temp", f.Logs[0].Columns[0].Quantity)
}

// The months of one logger in one archive are one log.
func TestArchiveOfOneLogger(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for m, name := range []string{"yard-2026-01.csv", "yard-2026-02.csv"} {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = w.Write([]byte(month(m+1, "Time;Loop out (°C);Loop flow (L/min)", "3%d,5;4,5")))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	f, _ := drafted(t, file(t, "yard.zip", b.String()))
	require.Len(t, f.Logs, 1)
	require.Equal(t, []string{"yard.zip"}, f.Logs[0].Files)
}

// What the farmer chose stands in place of the guess; what the farm maps already
// is not mapped twice; the draft fits behind the logs of a farm that stands.
func TestLogsForAFarmThatStands(t *testing.T) {
	f := file(t, "more.csv", month(1, "Time;Loop out (°C);Probe \"7\" (°C);Flow", "3%d,5;4,5;7,25"))
	d := Logs([]File{f}, Options{Used: map[string]string{"loop_out_temp": "Out"},
		Choices:  []Choice{{Column: `Probe "7" (°C)`, Quantity: "bed_temp", Place: "north", Fit: "pocket"}, {Column: "Flow", Quantity: "loop_flow", Unit: "L/h"}},
		Settings: []Setting{{Key: "zone", Value: edit.Text("UTC")}, {Key: "header", Value: edit.Number(1)}, {Key: "files", Value: edit.Text("no")}}})
	e, err := edit.New([]byte("[farm]\ntimezone = \"Europe/Rome\"\n\n[[log]]\nfiles = \"old.csv\"\n\n[log.columns]\nOut = \"loop_out_temp\"\n"))
	require.NoError(t, err)
	n, err := e.AppendLog(d.TOML)
	require.NoError(t, err, string(d.TOML))
	require.Equal(t, 1, n)
	farm, faults := e.Farm()
	require.Empty(t, faults, string(e.Bytes()))
	l := farm.Logs[1]
	require.Equal(t, []string{"more.csv"}, l.Files)
	require.Equal(t, "UTC", l.Zone)
	require.Equal(t, 1, *l.Header)
	require.Len(t, l.Columns, 2, string(d.TOML))
	require.Equal(t, "north", l.Columns[0].Place)
	require.Equal(t, "L/h", l.Columns[1].Unit)
	require.Contains(t, string(d.TOML), "Out has this quantity already")
	require.NotContains(t, string(d.TOML), "zone = \"Europe/Rome\"   # or")
}
