package main

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"yardheat/ingest/simfarm"
)

// tampered is a farm with its finished report, to be altered.
type tampered struct {
	t        *testing.T
	dir, out string
}

func (x *tampered) read(name string) string {
	b, err := os.ReadFile(filepath.Join(x.dir, name))
	require.NoError(x.t, err)
	return string(b)
}

func (x *tampered) write(name, text string) {
	require.NoError(x.t, os.WriteFile(filepath.Join(x.dir, name), []byte(text), 0o644))
}

// swap replaces the first match of a pattern, which must be there and change.
func (x *tampered) swap(name, pattern, with string) {
	x.t.Helper()
	was := x.read(name)
	re := regexp.MustCompile(pattern)
	at := re.FindStringSubmatchIndex(was)
	require.NotNil(x.t, at, "%s: %s", name, pattern)
	now := was[:at[0]] + string(re.ExpandString(nil, with, was, at)) + was[at[1]:]
	require.True(x.t, was != now, "%s: nothing changed", name)
	x.write(name, now)
}

// rows edits the lines of a file.
func (x *tampered) rows(name string, f func([]string) []string) {
	x.write(name, strings.Join(f(strings.Split(x.read(name), "\n")), "\n"))
}

func sumOf(text string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(text))) }

// rehash puts a file's own hash and size in place of those that a JSON names.
func (x *tampered) rehash(in, wasSum string, wasSize int, now string) {
	text := strings.ReplaceAll(x.read(in), wasSum, sumOf(now))
	text = strings.ReplaceAll(text, fmt.Sprintf(`"size": %d`, wasSize), fmt.Sprintf(`"size": %d`, len(now)))
	x.write(in, text)
}

// fromDraw is a row of the log in which the loop flows, and the pattern of its
// outlet reading.
func (x *tampered) fromDraw(name string) int {
	for i, line := range strings.Split(x.read(name), "\n") {
		cells := strings.Split(line, ",")
		if i > 2000 && len(cells) > 5 && len(cells[4]) > 3 && cells[4] > "5" && cells[4] < "9" {
			return i
		}
	}
	x.t.Fatal("no draw")
	return 0
}

// setCell sets a cell of the log in a row.
func (x *tampered) setCell(name string, row, column int, f func(string) string) {
	x.rows(name, func(lines []string) []string {
		cells := strings.Split(lines[row], ",")
		cells[column] = f(cells[column])
		lines[row] = strings.Join(cells, ",")
		return lines
	})
}

func replaced(with string) func(string) string { return func(string) string { return with } }

// alteration is one way to alter a report, its farm or a bundle, and what
// retrace says: parts of its text that must stand there.
type alteration struct {
	what  string
	alter func(x *tampered)
	says  []string
}

// alterations of a farm's folder with its report in it.
var alterations = []alteration{
	{"one digit of a reading in a log", func(x *tampered) {
		row := x.fromDraw("yard-1.csv")
		x.setCell("yard-1.csv", row, 2, func(s string) string { return "9" + s[1:] })
	}, []string{"yard-1.csv: original changed", "heat.loop_kwh"}},
	{"two digits of a reading swapped", func(x *tampered) {
		x.swap("yard-1.csv", `(2025-02-0[5-9] [^\n]*,1)(\d)\.(\d)(\d,)`, "$1$3.$2$4")
	}, []string{"yard-1.csv: original changed"}},
	{"a row taken out of a log", func(x *tampered) {
		row := x.fromDraw("yard-1.csv")
		x.rows("yard-1.csv", func(l []string) []string { return append(l[:row:row], l[row+1:]...) })
	}, []string{"yard-1.csv: original changed", "data.files[0].rows"}},
	{"a row put into a log", func(x *tampered) {
		row := x.fromDraw("yard-1.csv")
		x.rows("yard-1.csv", func(l []string) []string {
			return append(append(l[:row:row], strings.Replace(l[row], ":00,", ":30,", 1)), l[row:]...)
		})
	}, []string{"yard-1.csv: original changed", "data.files[0].rows"}},
	{"a blank at the end of a log: no reading", func(x *tampered) { x.write("yard-2.csv", x.read("yard-2.csv")+"\n") },
		[]string{"yard-2.csv: original changed", "no figure moves"}},
	{"a log renamed", func(x *tampered) {
		require.NoError(x.t, os.Rename(filepath.Join(x.dir, "yard-2.csv"), filepath.Join(x.dir, "february.csv")))
	}, []string{"yard-2.csv: original renamed", "is now called february.csv", "heat.loop_kwh"}},
	{"a log taken away", func(x *tampered) { require.NoError(x.t, os.Remove(filepath.Join(x.dir, "yard-2.csv"))) },
		[]string{"yard-2.csv: original missing", "heat.loop_kwh"}},
	{"a log added that the patterns name", func(x *tampered) {
		lines := strings.Split(x.read("yard-1.csv"), "\n")
		x.write("yard-3.csv", strings.Join(lines[:400], "\n")+"\n")
	}, []string{"yard-3.csv: original added"}},
	{"two logs swapped", func(x *tampered) {
		a, b := x.read("yard-1.csv"), x.read("yard-2.csv")
		x.write("yard-1.csv", b)
		x.write("yard-2.csv", a)
	}, []string{"yard-1.csv: swapped", "holds the bytes of yard-2.csv"}},
	{"farm.toml: a price", func(x *tampered) { x.swap("farm.toml", `price_per_kwh = 0.09`, "price_per_kwh = 0.10") },
		[]string{"farm.toml: original changed", "saving.money"}},
	{"farm.toml: the alternative's efficiency", func(x *tampered) { x.swap("farm.toml", `efficiency = 0.87`, "efficiency = 0.70") },
		[]string{"farm.toml: original changed", "saving.saved_kwh"}},
	{"farm.toml: the loop's length", func(x *tampered) { x.swap("farm.toml", `length_m = 643`, "length_m = 634") },
		[]string{"farm.toml: original changed", "loop.u"}},
	{"farm.toml: a clock", func(x *tampered) { x.swap("farm.toml", `(files = \["yard-)`, "clock = \"20m\"\n$1") },
		[]string{"farm.toml: original changed", "clock.ahead_s is 0 in the report, 1200"}},
	{"farm.toml: a threshold", func(x *tampered) { x.write("farm.toml", x.read("farm.toml")+"\n[flags]\nspike_water_k = 30\n") },
		[]string{"farm.toml: original changed", "settings.flags.spike_water_k"}},
	{"the milkings list", func(x *tampered) { x.swap("milkings.csv", `(05:21,07:01),419`, "$1,914") },
		[]string{"milkings.csv: original changed", "plant.recovery_fraction"}},
	{"results.json: a value", func(x *tampered) { x.swap("report/results.json", `("loop_kwh": \{"value": )\d`, "${1}9") },
		[]string{"results.json: file of the report changed", "is not as it was written", "heat.loop_kwh"}},
	{"results.json: the low end of an interval", func(x *tampered) {
		x.swap("report/results.json", `("saved_kwh": \{"value": [0-9.e+]+, "low": )`, "${1}1")
	},
		[]string{"saving.saved_kwh", "low 1"}},
	{"results.json: a string that is printed", func(x *tampered) { x.swap("report/results.json", `("recovery_fraction": .*?"shown": ")`, "${1}9") },
		[]string{"plant.recovery_fraction"}},
	{"results.json: a setting", func(x *tampered) { x.swap("report/results.json", `("flags.spike_water_k": \{"value": ")`, "${1}1") },
		[]string{"settings.flags.spike_water_k.value"}},
	{"results.json: a problem taken out", func(x *tampered) {
		x.swap("report/results.json", `(?s)("problems": \[\n\s+)\{.*?\},?\n\s+(\{|\])`, "$1$2")
	}, []string{"problems["}},
	{"results.json: a key twice", func(x *tampered) {
		x.swap("report/results.json", `("farm": \{)`, "${1}\n    \"name\": \"Another farm\",")
	}, []string{"farm.name"}},
	{"results.json: written anew by another program, nothing changed", func(x *tampered) {
		var b bytes.Buffer
		require.NoError(x.t, json.Compact(&b, []byte(x.read("report/results.json"))))
		x.write("report/results.json", b.String())
	}, []string{"results.json: file of the report changed", "no value in it differs"}},
	{"results.json and its hash in sources.json", func(x *tampered) {
		was := x.read("report/results.json")
		x.swap("report/results.json", `("loop_kwh": \{"value": )\d`, "${1}9")
		x.rehash("report/sources.json", sumOf(was), len(was), x.read("report/results.json"))
	}, []string{"heat.loop_kwh"}},
	{"report.html: a number", func(x *tampered) { x.swap("report/report.html", `(\d)( ± \d+ kWh)`, "7$2") },
		[]string{"report.html: file of the report changed", "1 line differs"}},
	{"season.xlsx: a cell", func(x *tampered) {
		name := filepath.Join(x.out, "season.xlsx")
		f, err := excelize.OpenFile(name)
		require.NoError(x.t, err)
		require.NoError(x.t, f.SetCellValue("Cycles", "F9", 123.25))
		require.NoError(x.t, f.Save())
		require.NoError(x.t, f.Close())
	}, []string{`sheet "Cycles", F9: "123.25" in the report`}},
	{"season.xlsx: saved by another program, no cell changed", func(x *tampered) {
		name := filepath.Join(x.out, "season.xlsx")
		f, err := excelize.OpenFile(name)
		require.NoError(x.t, err)
		require.NoError(x.t, f.SetDocProps(&excelize.DocProperties{Creator: "somebody"}))
		require.NoError(x.t, f.Save())
		require.NoError(x.t, f.Close())
	}, []string{"season.xlsx: file of the report changed", "every cell agrees, but these parts of the file differ"}},
	{"milkings.csv of the report: a cell", func(x *tampered) { x.setCell("report/milkings.csv", 7, 12, replaced("77")) },
		[]string{"milkings.csv: file of the report changed", `line 8, `, `"77" in the report`}},
	{"record.csv: a cell", func(x *tampered) { x.setCell("report/record.csv", 9000, 3, replaced("77.5")) },
		[]string{"record.csv: file of the report changed", "line 9001, ", `"77.5" in the report`}},
	{"record.csv: the last day cut off", func(x *tampered) {
		x.rows("report/record.csv", func(l []string) []string { return append(l[:len(l)-1441:len(l)-1441], "") })
	}, []string{"1440 rows fewer than follow from the originals"}},
	{"record.parquet: the end cut off", func(x *tampered) {
		text := x.read("report/record.parquet")
		x.write("report/record.parquet", text[:len(text)-100])
	}, []string{"record.parquet: file of the report changed", "can't be read as a table"}},
	{"record.parquet: a unit in what it says of itself", func(x *tampered) { x.swap("report/record.parquet", `DEG_C`, "DEG_F") },
		[]string{"record.parquet: file of the report changed", "metadata yardheat.csvw"}},
	{"record.csv-metadata.json: a unit", func(x *tampered) { x.swap("report/record.csv-metadata.json", `DEG_C`, "DEG_F") },
		[]string{"record.csv-metadata.json: file of the report changed", "DEG_F"}},
	{"a chart", func(x *tampered) { x.swap("report/charts/heat-by-month.svg", `>\d`, ">9") },
		[]string{"charts/heat-by-month.svg: file of the report changed"}},
	{"a chart taken away", func(x *tampered) { require.NoError(x.t, os.Remove(filepath.Join(x.out, "charts", "coverage.svg"))) },
		[]string{"charts/coverage.svg: file of the report missing"}},
	{"a file put into the report's folder", func(x *tampered) { x.write("report/charts/other.svg", "<svg/>") },
		[]string{"charts/other.svg: file added"}},
	{"a log, and its hash in sources.json", func(x *tampered) {
		was := x.read("yard-1.csv")
		x.setCell("yard-1.csv", x.fromDraw("yard-1.csv"), 2, func(s string) string { return "9" + s[1:] })
		x.rehash("report/sources.json", sumOf(was), len(was), x.read("yard-1.csv"))
	}, []string{"heat.loop_kwh", "data.files[0].sha256"}},
	{"a log, and its hash in sources.json, results.json and page", func(x *tampered) {
		was := x.read("yard-1.csv")
		x.setCell("yard-1.csv", x.fromDraw("yard-1.csv"), 2, func(s string) string { return "9" + s[1:] })
		for _, name := range []string{"report/results.json", "report/report.html"} {
			before := x.read(name)
			x.rehash(name, sumOf(was), -1, x.read("yard-1.csv"))
			x.rehash("report/sources.json", sumOf(before), len(before), x.read(name))
		}
		x.rehash("report/sources.json", sumOf(was), len(was), x.read("yard-1.csv"))
	}, []string{"heat.loop_kwh"}},
	{"sources.json: readings that a test left out", func(x *tampered) { x.swap("report/sources.json", `("kept": )\d`, "${1}9") },
		[]string{"sources.json: what does not follow from the originals", "kept"}},
	{"sources.json: the version", func(x *tampered) {
		x.write("report/sources.json", strings.ReplaceAll(x.read("report/sources.json"), `"version": "`+version+`"`, `"version": "9.9"`))
	}, []string{"sources.json: version", `says version "9.9", but the page was written by`}},
	{"sources.json: the period asked for", func(x *tampered) { x.swap("report/sources.json", `"from": ""`, `"from": "2025-02-07"`) },
		[]string{"heat.loop_kwh", "period.start"}},
	{"sources.json: the time at which it was made, to before the last reading", func(x *tampered) {
		x.swap("report/sources.json", `"made_at": "[^"]*"`, `"made_at": "2025-02-16T00:00:00Z"`)
	}, []string{"heat.loop_kwh"}},
	{"sources.json: the seed", func(x *tampered) { x.swap("report/sources.json", `("seed": )\d+`, "${1}77") },
		[]string{"sources.json: what does not follow from the originals", "seed is 77 in the report"}},
	{"sources.json taken away", func(x *tampered) { require.NoError(x.t, os.Remove(filepath.Join(x.out, "sources.json"))) },
		[]string{"sources.json: file of the report missing"}},
	{"results.json taken away", func(x *tampered) { require.NoError(x.t, os.Remove(filepath.Join(x.out, "results.json"))) },
		[]string{"results.json: file of the report missing"}},
	{"the report of another farm", func(x *tampered) {
		other := simulated(x.t, 10)
		code, _, errs := try(x.t, "report", other, "--out", x.out)
		require.Zero(x.t, code, errs)
		x.write("report/sources.json", regexp.MustCompile(`"farm_folder": "[^"]*"`).ReplaceAllString(x.read("report/sources.json"), `"farm_folder": ".."`))
	}, []string{"yard.csv: original missing", "farm.toml: original changed", "farm.name", "heat.loop_kwh"}},
}

// finished makes the farm and the report that are altered.
func finished(t *testing.T) *tampered {
	t.Helper()
	scenario := simfarm.Short(9)
	scenario.Days = 16
	farm, err := simfarm.Run(scenario)
	require.NoError(t, err)
	x := &tampered{t: t, dir: t.TempDir()}
	require.NoError(t, farm.Write(x.dir))
	x.out = filepath.Join(x.dir, "report")
	lines := strings.SplitAfter(x.read("yard.csv"), "\n")
	half := len(lines) / 2
	x.write("yard-1.csv", strings.Join(lines[:half], ""))
	x.write("yard-2.csv", lines[0]+strings.Join(lines[half:], ""))
	require.NoError(t, os.Remove(filepath.Join(x.dir, "yard.csv")))
	edit(t, x.dir, func(toml string) string { return strings.Replace(toml, `"yard.csv"`, `"yard-*.csv"`, 1) })
	code, _, errs := try(t, "report", x.dir)
	require.Zero(t, code, errs)
	return x
}

func (x *tampered) copied(t *testing.T) *tampered {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS(x.dir)))
	return &tampered{t: t, dir: dir, out: filepath.Join(dir, "report")}
}

// Every way to alter report or farm is named, and the table in
// reports/retrace/README.md lists each.
func TestTamperingIsNamed(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	sound := finished(t)
	code, out, errs := try(t, "retrace", sound.out)
	require.Zero(t, code, errs)
	require.Contains(t, out, "Agrees: 4 originals")
	doc := readDoc(t, "reports/retrace")
	require.GreaterOrEqual(t, len(alterations), 20)
	for _, c := range alterations {
		require.Contains(t, doc, "| "+c.what+" |")
		t.Run(c.what, func(t *testing.T) {
			x := sound.copied(t)
			c.alter(x)
			before := treeOf(t, x.dir)
			code, out, errs := try(t, "retrace", x.out)
			require.Equal(t, exitDiffers, code, "%s%s", out, errs)
			require.NotContains(t, out, "Agrees")
			for _, say := range c.says {
				require.Contains(t, out, say)
			}
			require.Equal(t, before, treeOf(t, x.dir), "retrace touches nothing")
		})
	}
}

// treeOf is every file below a folder by its hash.
func treeOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		out[name] = sumOf(string(b))
		return err
	}))
	return out
}

// What retrace cannot see, and says so: originals that were altered before the
// whole report was made from them.
func TestAFalseReportMadeAnewAgrees(t *testing.T) {
	x := finished(t)
	x.setCell("yard-1.csv", x.fromDraw("yard-1.csv"), 2, replaced("19.9"))
	code, _, errs := try(t, "report", x.dir)
	require.Zero(t, code, errs)
	code, out, errs := try(t, "retrace", x.out)
	require.Zero(t, code, errs)
	require.Contains(t, out, "not that the originals are true")
}

// A report made by another version, compiler or processor is held by numbers.
func TestRetraceAcrossProgramsComparesNumbers(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	x := finished(t)
	code, _, errs := try(t, "report", x.dir, "--from", "2025-02-06", "--to", "2025-02-17", "--png")
	require.Zero(t, code, errs)
	// As another compiler might round: a last digit here and there.
	x.swap("report/results.json", `("loop_kwh": \{"value": \d+\.\d{5})\d+`, "${1}") // about 1e-8 off
	code, out, _ := try(t, "retrace", x.out)
	require.Equal(t, exitDiffers, code)
	require.Contains(t, out, "value")
	code, _, errs = try(t, "report", x.dir, "--from", "2025-02-06", "--to", "2025-02-17", "--png")
	require.Zero(t, code, errs)
	nudge := regexp.MustCompile(`("value": \d{2}\.\d{8})(\d)`)
	x.write("report/results.json", nudge.ReplaceAllString(x.read("report/results.json"), "${1}5"))
	b := x.read("report/results.json")
	x.write("report/sources.json", regexp.MustCompile(`(?s)("name": "results.json",\s+"size": )\d+(,\s+"sha256": ")[^"]*`).
		ReplaceAllString(x.read("report/sources.json"), fmt.Sprintf("${1}%d${2}%s", len(b), sumOf(b))))
	for _, c := range []struct{ key, was, to, says string }{
		{"arch", runtime.GOARCH, "riscv64", "figures to 1e-9"},
		{"go", runtime.Version(), "go9.9", "ends of intervals to 1e-6"},
		{"version", version, "8.8", "the figures that both know"},
	} {
		y := x.copied(t)
		y.write("report/sources.json", strings.ReplaceAll(y.read("report/sources.json"), fmt.Sprintf("%q: %q", c.key, c.was), fmt.Sprintf("%q: %q", c.key, c.to)))
		code, out, errs := try(t, "retrace", y.out)
		require.Zero(t, code, "%s: %s%s", c.key, out, errs)
		require.Contains(t, out, "Agrees to rounding")
		require.Contains(t, out, c.says)
		y.swap("report/results.json", `("saved_kwh": \{"value": )\d`, "${1}9")
		code, out, _ = try(t, "retrace", y.out)
		require.Equal(t, exitDiffers, code)
		require.Contains(t, out, "saving.saved_kwh", c.key)
	}
}

// A report of a version that noted neither program, hashes nor the farm's place.
func TestRetraceAnEarlierReport(t *testing.T) {
	x := finished(t)
	var s map[string]any
	require.NoError(t, json.Unmarshal([]byte(x.read("report/sources.json")), &s))
	for _, key := range []string{"program", "options", "farm_folder", "seed", "trials", "exclusions", "outside_period", "offsets_taken_off", "findings", "report"} {
		require.Contains(t, s, key)
		delete(s, key)
	}
	b, err := json.Marshal(s)
	require.NoError(t, err)
	x.write("report/sources.json", string(b))
	code, out, errs := try(t, "retrace", x.out)
	require.Zero(t, code, "%s%s", out, errs)
	require.Contains(t, out, "Agrees")
	x.swap("report/results.json", `("loop_kwh": \{"value": )\d`, "${1}9")
	code, out, _ = try(t, "retrace", x.out)
	require.Equal(t, exitDiffers, code)
	require.Contains(t, out, "made by an earlier version")
	require.Contains(t, out, "heat.loop_kwh")
}

func TestRetraceSaysWhatItNeeds(t *testing.T) {
	x := finished(t)
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"retrace"}, exitUsage, "want one report's folder or bundle"},
		{[]string{"retrace", filepath.Join(x.dir, "nowhere")}, exitUsage, "there is no such file or folder"},
		{[]string{"retrace", filepath.Join(x.out, "charts")}, exitUsage, "holds no report"},
		{[]string{"retrace", filepath.Join(x.dir, "yard-1.csv")}, exitBadInput, "is no .zip"},
		{[]string{"retrace", x.out, "--farm", filepath.Join(x.dir, "nowhere")}, exitUsage, "name it with --farm"},
	} {
		code, out, errs := try(t, c.args...)
		require.Equal(t, c.code, code, "%v: %s%s", c.args, out, errs)
		require.Contains(t, errs, c.says)
		require.Empty(t, out)
	}
	// A report that was moved is found by --farm, and the farm folder leads to its report.
	away := filepath.Join(t.TempDir(), "deep", "away")
	require.NoError(t, os.CopyFS(away, os.DirFS(x.out)))
	code, _, errs := try(t, "retrace", away)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "--farm")
	for _, args := range [][]string{{"retrace", away, "--farm", x.dir}, {"retrace", x.dir}} {
		code, out, errs := try(t, args...)
		require.Zero(t, code, errs)
		require.Contains(t, out, "Agrees")
	}
	code, out, _ := try(t, "retrace", x.out, "--json")
	require.Zero(t, code)
	var v struct {
		Agrees, Exact     bool
		Originals, Values int
		Differences       []any
	}
	require.NoError(t, json.Unmarshal([]byte(out), &v))
	require.True(t, v.Agrees && v.Exact)
	require.Equal(t, 4, v.Originals)
	require.Greater(t, v.Values, 1000)
	require.NotNil(t, v.Differences)
	// No absolute path stands in the report.
	require.NotContains(t, x.read("report/sources.json"), x.dir)
}

// A figure is followed to the rows of the logs, and held against the report.
func TestRetraceAFigure(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	x := finished(t)
	code, out, errs := try(t, "retrace", x.out, "--figure", "heat.loop_kwh")
	require.Zero(t, code, errs)
	for _, part := range []string{"heat.loop_kwh: Heat from the yard", "IAPWS-IF97", "loop heat", "yard-1.csv, lines ", "… ", "--all lists them", "zone Pacific/Auckland"} {
		require.Contains(t, out, part)
	}
	require.NotContains(t, out, "DIFFERS")
	_, all, _ := try(t, "retrace", x.out, "--figure", "heat.loop_kwh", "--all")
	require.Contains(t, all, "yard-2.csv, lines ")
	code, out, errs = try(t, "retrace", x.out, "--cycle", "7", "--json")
	require.Zero(t, code, errs)
	var got struct {
		Parts []struct {
			N    int
			Rows []struct {
				File      string
				FirstLine int `json:"first_line"`
			}
		}
		Terms []struct{ Name string }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &got))
	require.Len(t, got.Parts, 1)
	require.Equal(t, 7, got.Parts[0].N)
	require.Positive(t, got.Parts[0].Rows[0].FirstLine)
	require.Greater(t, len(got.Terms), 4)
	code, _, errs = try(t, "retrace", x.out, "--figure", "heat.lop_kwh")
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, `did you mean "heat.loop_kwh"?`)
	code, _, errs = try(t, "retrace", x.out, "--cycle", "9999")
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "no such cycle")
	// The printed figure is altered, and then a log.
	x.swap("report/results.json", `("loop_kwh": \{"value": )\d`, "${1}9")
	code, out, _ = try(t, "retrace", x.out, "--figure", "heat.loop_kwh")
	require.Equal(t, exitDiffers, code)
	require.Contains(t, out, "DIFFERS: results.json heat.loop_kwh")
	x.setCell("yard-1.csv", x.fromDraw("yard-1.csv"), 2, replaced("19.9"))
	_, out, _ = try(t, "retrace", x.out, "--figure", "months.2025-02.saved_kwh")
	require.Contains(t, out, "DIFFERS: yard-1.csv changed")
}

// packed makes a bundle of the farm and its report.
func (x *tampered) packed(t *testing.T, change func(name string, b []byte) (string, []byte)) string {
	t.Helper()
	files := map[string][]byte{"README.txt": []byte("What this is.\n")}
	for _, name := range []string{"farm.toml", "milkings.csv", "yard-1.csv", "yard-2.csv"} {
		files["farm/"+name] = []byte(x.read(name))
	}
	require.NoError(t, fs.WalkDir(os.DirFS(x.out), ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files["report/"+name] = []byte(x.read("report/" + name))
		}
		return err
	}))
	var graph []map[string]string
	for name, b := range files {
		graph = append(graph, map[string]string{"@id": name, "@type": "File", "name": name, "sha256": sumOf(string(b))})
	}
	list, err := json.Marshal(map[string]any{"@graph": graph})
	require.NoError(t, err)
	files["ro-crate-metadata.json"] = list
	at := filepath.Join(t.TempDir(), "season.zip")
	f, err := os.Create(at)
	require.NoError(t, err)
	z := zip.NewWriter(f)
	for name, b := range files {
		if change != nil {
			name, b = change(name, b)
		}
		if name == "" {
			continue
		}
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = w.Write(b)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
	return at
}

func TestRetraceABundle(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	x := finished(t)
	code, _, errs := try(t, "report", x.dir, "--bundle")
	require.Zero(t, code, errs)
	code, out, errs := try(t, "retrace", filepath.Join(x.dir, "report.bundle.zip"))
	require.Zero(t, code, "%s%s", out, errs)
	require.Contains(t, out, "Agrees: 4 originals")
	at := x.packed(t, nil)
	code, out, errs = try(t, "retrace", at)
	require.Zero(t, code, "%s%s", out, errs)
	require.Contains(t, out, "in the bundle")
	unpacked := t.TempDir()
	z, err := zip.OpenReader(at)
	require.NoError(t, err)
	require.NoError(t, os.CopyFS(unpacked, z))
	require.NoError(t, z.Close())
	code, out, errs = try(t, "retrace", unpacked)
	require.Zero(t, code, "%s%s", out, errs)
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	doc := readDoc(t, "reports/retrace")
	for _, c := range []struct {
		what   string
		change func(name string, b []byte) (string, []byte)
		damage func(b []byte) []byte
		code   int
		says   []string
	}{
		{"bundle: a log taken out", only("farm/yard-2.csv", func(string, []byte) (string, []byte) { return "", nil }), nil, exitDiffers, []string{"yard-2.csv: original missing"}},
		{"bundle: a log changed", only("farm/yard-1.csv", func(n string, b []byte) (string, []byte) {
			return n, bytes.Replace(b, []byte(",1"), []byte(",2"), 1)
		}), nil, exitDiffers, []string{"yard-1.csv: original changed"}},
		{"bundle: an entry renamed", only("README.txt", func(_ string, b []byte) (string, []byte) { return "farm/notes.txt", b }), nil, exitDiffers,
			[]string{"farm/notes.txt: file added", "README.txt: file of the report missing"}},
		{"bundle: the text at its top changed", only("README.txt", func(n string, b []byte) (string, []byte) { return n, append(b, '!') }), nil, exitDiffers,
			[]string{"README.txt: file of the report changed"}},
		{"bundle: its list taken out", only("ro-crate-metadata.json", func(string, []byte) (string, []byte) { return "", nil }), nil, exitDiffers,
			[]string{"ro-crate-metadata.json: file of the report missing"}},
		{"bundle: damaged bytes inside an entry", nil, damaged("farm/yard-1.csv"), exitDiffers, []string{"farm/yard-1.csv: damaged", "yard-1.csv: original missing"}},
		{"bundle: cut short", nil, func(b []byte) []byte { return b[:len(b)-40] }, exitBadInput, nil},
		{"bundle: a name that leads out of it", only("README.txt", func(_ string, b []byte) (string, []byte) { return "../README.txt", b }), nil, exitBadInput, []string{"does not name a place inside"}},
		{"bundle: an absolute name", only("README.txt", func(_ string, b []byte) (string, []byte) { return "/README.txt", b }), nil, exitBadInput, []string{"does not name a place inside"}},
		{"bundle: one name twice", only("README.txt", func(_ string, b []byte) (string, []byte) { return "farm/FARM.toml", b }), nil, exitBadInput, []string{"stands there twice"}},
	} {
		require.Contains(t, doc, "| "+c.what+" |")
		at := x.packed(t, c.change)
		if c.damage != nil {
			b, err := os.ReadFile(at)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(at, c.damage(b), 0o644))
		}
		code, out, errs := try(t, "retrace", at)
		require.Equal(t, c.code, code, "%s: %s%s", c.what, out, errs)
		for _, say := range c.says {
			require.Contains(t, out+errs, say, c.what)
		}
		left, err := os.ReadDir(temp)
		require.NoError(t, err)
		require.Empty(t, left, "%s: what was unpacked is removed", c.what)
	}
}

// only changes one entry.
func only(name string, f func(string, []byte) (string, []byte)) func(string, []byte) (string, []byte) {
	return func(n string, b []byte) (string, []byte) {
		if n == name {
			return f(n, b)
		}
		return n, b
	}
}

// damaged flips a bit within an entry's packed bytes.
func damaged(name string) func([]byte) []byte {
	return func(b []byte) []byte {
		z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return nil
		}
		for _, f := range z.File {
			if at, err := f.DataOffset(); err == nil && f.Name == name {
				b[at+int64(f.CompressedSize64)/2] ^= 4
			}
		}
		return b
	}
}

// The same farm gives the same bytes 20 times, on one core and on all.
func TestSameBytesTwentyTimes(t *testing.T) {
	if testing.Short() {
		t.Skip("twenty reports")
	}
	x := finished(t)
	first := treeOf(t, x.out)
	delete(first, filepath.Join(x.out, "sources.json"))
	for i := range 20 {
		before := runtime.GOMAXPROCS(1 + i%3)
		code, _, errs := try(t, "report", x.dir)
		runtime.GOMAXPROCS(before)
		require.Zero(t, code, errs)
		again := treeOf(t, x.out)
		delete(again, filepath.Join(x.out, "sources.json"))
		require.Equal(t, first, again, "run %d", i)
	}
}
