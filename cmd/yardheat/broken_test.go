package main

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
)

// files of a small farm, invented here: four days of a loop at ten minutes,
// and a milkings list. Every broken farm is this one with one thing changed.
type files map[string]string

const soundToml = `[farm]
name = "Broken on purpose"
timezone = "Europe/Rome"

[loop]
length_m = 220
bore_mm = 20

[instead]
carrier = "gas"
efficiency = 0.9

[milkings]
file = "milkings.csv"
dates = "ymd"
[milkings.columns]
date = "day"
start = "from"
end = "to"
milk_volume = "litres"

[[log]]
files = ["yard*.csv"]
[log.columns]
"Flow (L/min)" = "loop_flow"
"In (°C)" = "loop_in_temp"
"Out (°C)" = "loop_out_temp"
"Bed (°C)" = "bed_temp"
`

// soundRows are the rows of the loop's log: two draws a day, so many days from
// a start.
func soundRows(start time.Time, days int, stamp string) []string {
	var rows []string
	for at := start; at.Before(start.AddDate(0, 0, days)); at = at.Add(10 * time.Minute) {
		flow, out := 0.0, 24.0
		minute := at.Hour()*60 + at.Minute()
		if m := minute % 720; m >= 420 && m < 460 {
			flow, out = 8, 38-0.2*float64(m-420)
		}
		bed := 47 + math.Sin(float64(minute)/229)
		rows = append(rows, fmt.Sprintf("%s,%.1f,%.1f,%.1f,%.2f", at.Format(stamp), flow, 9+0.01*float64(minute%97), out+0.1*math.Sin(float64(minute)), bed))
	}
	return rows
}

const soundHeader = "Time,Flow (L/min),In (°C),Out (°C),Bed (°C)"

var soundStart = time.Date(2026, 2, 14, 0, 0, 0, 0, time.UTC)

func sound() files {
	milk := []string{"day,from,to,litres"}
	for d := range 4 {
		day := soundStart.AddDate(0, 0, d).Format(time.DateOnly)
		milk = append(milk, day+",05:30,07:00,900", day+",16:30,18:00,850")
	}
	return files{
		"farm.toml":    soundToml,
		"yard.csv":     join(append([]string{soundHeader}, soundRows(soundStart, 4, "2006-01-02 15:04")...)),
		"milkings.csv": join(milk),
	}
}

func join(lines []string) string { return strings.Join(lines, "\n") + "\n" }

func (f files) write(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range f {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	return dir
}

func (f files) replace(name, old, with string) {
	if !strings.Contains(f[name], old) {
		panic("the sound farm has no " + old)
	}
	f[name] = strings.Replace(f[name], old, with, 1)
}

// broken farms: what is wrong, and what the reader is told.
type broken struct {
	name string
	make func(f files)
	exit int
	// says: words of the message (exit 3), or codes of the problems (exit 0).
	says []string
}

var brokenFarms = []broken{
	// The input cannot be used.
	{"no farm.toml", func(f files) { delete(f, "farm.toml") }, 3, []string{"farm.toml"}},
	{"unknown key", func(f files) { f.replace("farm.toml", "bore_mm", "bore_nm") }, 3, []string{"line 7", "bore_nm", "bore_mm"}},
	{"key in the wrong case", func(f files) { f.replace("farm.toml", "length_m", "Length_m") }, 3, []string{"line 6", "length_m"}},
	{"unknown quantity", func(f files) { f.replace("farm.toml", `"loop_out_temp"`, `"loop_out_tmp"`) }, 3, []string{"loop_out_tmp", "loop_out_temp"}},
	{"unknown zone", func(f files) { f.replace("farm.toml", "Europe/Rome", "Europe/Roma") }, 3, []string{"line 3", "Europe/Roma"}},
	{"two faults in one run", func(f files) {
		f.replace("farm.toml", "bore_mm = 20", "bore_mm = -20")
		f.replace("farm.toml", "Europe/Rome", "Mars/Olympus")
	}, 3, []string{"line 3", "line 7"}},
	{"broken TOML", func(f files) { f.replace("farm.toml", "[loop]", "[loop") }, 3, []string{"farm.toml", "line 5"}},
	{"glob without a match", func(f files) { f.replace("farm.toml", "yard*.csv", "shed*.csv") }, 3, []string{"shed*.csv"}},
	{"binary file", func(f files) {
		f["yard.csv"] = "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + strings.Repeat("\x00\x01\xfe", 2000)
	}, 3, []string{"yard.csv"}},
	{"old binary workbook", func(f files) {
		f["yard.csv"] = "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + strings.Repeat("\x00\x07\xff", 3000)
	}, 3, []string{"yard.csv"}},
	{"no usable stamps", func(f files) {
		f["yard.csv"] = join([]string{soundHeader, "morning,1,2,3,4", "noon,1,2,3,4", "evening,1,2,3,4"})
	}, 3, []string{"yard.csv"}},
	{"date order can't be proved", func(f files) {
		f["yard.csv"] = join(append([]string{soundHeader}, soundRows(time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC), 1, "02/01/2006 15:04")...))
	}, 3, []string{"yard.csv", "dates"}},
	{"column that is not there", func(f files) { f.replace("farm.toml", `"Bed (°C)"`, `"Bedd (°C)"`) }, 3, []string{"Bedd (°C)", "Bed (°C)"}},
	{"unit of another kind", func(f files) {
		f.replace("farm.toml", `"Flow (L/min)" = "loop_flow"`, `"Flow (L/min)" = "element_power"`)
	}, 3, []string{"Flow (L/min)", "element_power"}},
	{"gallons of no country", func(f files) {
		f.replace("farm.toml", `"Flow (L/min)" = "loop_flow"`, `"Flow (L/min)" = { quantity = "loop_volume", unit = "gal" }`)
	}, 3, []string{"gal_us", "gal_imp"}},
	{"nothing kept", func(f files) {
		rows := []string{soundHeader}
		for _, r := range soundRows(soundStart, 2, "2006-01-02 15:04") {
			rows = append(rows, r[:16]+",-999,-999,-999,-999")
		}
		f["yard.csv"] = join(rows)
	}, 3, []string{"yard"}},
	{"milkings list in another order than stated", func(f files) {
		f.replace("farm.toml", `dates = "ymd"`, `dates = "dmy"`)
		f["milkings.csv"] = "day,from,to,litres\n02/11/2026,05:30,07:00,900\n02/12/2026,05:30,07:00,900\n02/14/2026,05:30,07:00,900\n02/15/2026,05:30,07:00,900\n"
	}, 3, []string{"milkings.csv", "02/14/2026", `dates = "mdy"`}},
	{"every file empty", func(f files) { f["yard.csv"], f["yard2.csv"] = "", "" }, 3, []string{"yard"}},
	{"percentage for a temperature", func(f files) { f["farm.toml"] += "[errors]\nbed_temp = \"5 %\"\n" }, 3, []string{"bed_temp", "5 %"}},
	{"milkings list missing", func(f files) { delete(f, "milkings.csv") }, 3, []string{"milkings.csv"}},

	// It can be used, and what is doubtful is listed.
	{"sound", func(files) {}, 0, nil},
	{"no milkings", func(f files) {
		at := strings.Index(f["farm.toml"], "[milkings]")
		end := strings.Index(f["farm.toml"], "[[log]]")
		f["farm.toml"] = f["farm.toml"][:at] + f["farm.toml"][end:]
	}, 0, nil},
	{"no flow", func(f files) { f.replace("farm.toml", `"Flow (L/min)" = "loop_flow"`, `"Flow (L/min)" = "ignore"`) }, 0, nil},
	{"negative flow", func(f files) { f.replace("yard.csv", ",8.0,", ",-8.0,") }, 0, []string{"negative"}},
	{"future stamps", func(f files) {
		f["yard.csv"] += join(soundRows(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC), 1, "2006-01-02 15:04"))
	}, 0, []string{"stamp-future"}},
	{"an empty file among others", func(f files) { f["yard2.csv"] = "" }, 0, []string{"file-empty"}},
	{"header alone among others", func(f files) { f["yard2.csv"] = soundHeader + "\n" }, 0, nil},
	{"two probes that disagree", func(f files) {
		f.replace("farm.toml", `"Bed (°C)" = "bed_temp"`, `"Bed (°C)" = "bed_temp@a"`+"\n"+`"In (°C)" = "bed_temp@a"`)
		f.replace("farm.toml", `"In (°C)" = "loop_in_temp"`+"\n", "")
	}, 0, []string{"probes-disagree"}},
	{"one channel flagged throughout", func(f files) {
		var rows []string
		for _, r := range strings.Split(strings.TrimSpace(f["yard.csv"]), "\n") {
			if at := strings.LastIndex(r, ","); at > 0 && !strings.HasPrefix(r, "Time") {
				r = r[:at] + ",-127"
			}
			rows = append(rows, r)
		}
		f["yard.csv"] = join(rows)
	}, 0, []string{"all-flagged"}},
	{"workbook cut after its last whole row", func(f files) {
		f["yard.xlsx"] = cutWorkbook(f["yard.csv"])
		delete(f, "yard.csv")
		f.replace("farm.toml", "yard*.csv", "yard.xlsx")
	}, 0, []string{"workbook-cut"}},
	{"row cut short", func(f files) { f["yard.csv"] = strings.TrimSuffix(f["yard.csv"], "\n")[:len(f["yard.csv"])-9] }, 0, nil},
	{"stray quote", func(f files) { f.replace("yard.csv", ",8.0,", ",\"8.0,") }, 0, nil},
	{"words among the numbers", func(f files) { f.replace("yard.csv", ",8.0,", ",8x0,") }, 0, nil},
	{"column not named", func(f files) { f.replace("farm.toml", `"Bed (°C)" = "bed_temp"`+"\n", "") }, 0, nil},
}

// cutWorkbook writes a log as a workbook of which the sheet ends after a row.
func cutWorkbook(log string) string {
	x := excelize.NewFile()
	for i, line := range strings.Split(strings.TrimSpace(log), "\n") {
		for j, cell := range strings.Split(line, ",") {
			at, _ := excelize.CoordinatesToCellName(j+1, i+1)
			if v, err := strconv.ParseFloat(cell, 64); err == nil {
				_ = x.SetCellValue("Sheet1", at, v)
			} else {
				_ = x.SetCellStr("Sheet1", at, cell)
			}
		}
	}
	var whole, cut bytes.Buffer
	if err := x.Write(&whole); err != nil {
		panic(err)
	}
	in, err := zip.NewReader(bytes.NewReader(whole.Bytes()), int64(whole.Len()))
	if err != nil {
		panic(err)
	}
	out := zip.NewWriter(&cut)
	for _, f := range in.File {
		r, _ := f.Open()
		b, _ := io.ReadAll(r)
		if strings.HasSuffix(f.Name, "sheet1.xml") {
			b = b[:bytes.LastIndex(b, []byte("</row>"))+len("</row>")]
		}
		w, _ := out.Create(f.Name)
		_, _ = w.Write(b)
	}
	if err := out.Close(); err != nil {
		panic(err)
	}
	return cut.String()
}

func TestBrokenFarms(t *testing.T) {
	require.GreaterOrEqual(t, len(brokenFarms), 25)
	for _, c := range brokenFarms {
		t.Run(c.name, func(t *testing.T) {
			f := sound()
			c.make(f)
			dir := f.write(t)
			earlier := filepath.Join(dir, "report")
			code, out, errs := try(t, "report", dir, "--json")
			require.Equal(t, c.exit, code, errs)
			require.NotContains(t, out+errs, "NaN")
			require.NotContains(t, errs, "panic")
			if c.exit == exitBadInput {
				for _, w := range c.says {
					require.Contains(t, errs, w)
				}
				require.Empty(t, out)
				require.NoDirExists(t, earlier)
				return
			}
			require.Subset(t, codesOf(t, out), c.says)
		})
	}
}

// codesOf are the codes of a report's problems.
func codesOf(t *testing.T, results string) []string {
	t.Helper()
	var r struct {
		Problems []struct{ Code, Severity, Text string }
	}
	require.NoError(t, json.Unmarshal([]byte(results), &r))
	var codes []string
	for _, p := range r.Problems {
		require.NotEmpty(t, p.Text)
		codes = append(codes, p.Code)
	}
	return codes
}

// A farm that turns bad leaves the earlier report as it was.
func TestEarlierReportStays(t *testing.T) {
	f := sound()
	dir := f.write(t)
	code, _, errs := try(t, "report", dir)
	require.Zero(t, code, errs)
	page := filepath.Join(dir, "report", "report.html")
	before, err := os.ReadFile(page)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "farm.toml"), []byte("[farm\n"), 0o644))
	code, _, _ = try(t, "report", dir)
	require.Equal(t, exitBadInput, code)
	after, err := os.ReadFile(page)
	require.NoError(t, err)
	require.Equal(t, before, after)
}
