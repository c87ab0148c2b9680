package main

import (
	"archive/zip"
	"encoding/csv"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"yardheat/reports"
)

// bundled unpacks a bundle's files by name.
func bundled(t *testing.T, path string) map[string]string {
	t.Helper()
	z, err := zip.OpenReader(path)
	require.NoError(t, err)
	defer func() { require.NoError(t, z.Close()) }()
	out := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		b, err := io.ReadAll(r)
		require.NoError(t, err)
		out[f.Name] = string(b)
	}
	return out
}

// Unpacked elsewhere, the farm in the bundle gives the report in the bundle,
// byte for byte: nothing that was read is missing, and nothing else is needed.
func TestBundleReportsAgain(t *testing.T) {
	f := sound()
	f["yard-b.csv"] = f["yard.csv"] // read once, and said so
	f["yard-empty.csv"] = ""        // passed over, and said so
	f["cow.jpg"] = "not of the farm's account"
	dir := f.write(t)
	code, out, errs := try(t, "report", dir, "--bundle")
	require.Zero(t, code, errs)
	path := filepath.Join(dir, "report.bundle.zip")
	require.Contains(t, out, path)
	files := bundled(t, path)
	require.NotContains(t, files, "farm/cow.jpg")

	again := t.TempDir()
	for name, text := range files {
		to := filepath.Join(again, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
		require.NoError(t, os.WriteFile(to, []byte(text), 0o644))
	}
	code, _, errs = try(t, "report", filepath.Join(again, "farm"), "--out", filepath.Join(again, "second"))
	require.Zero(t, code, errs)
	n := 0
	for name, text := range files {
		in, ok := strings.CutPrefix(name, "report/")
		if !ok || in == "sources.json" {
			continue
		}
		b, err := os.ReadFile(filepath.Join(again, "second", filepath.FromSlash(in)))
		require.NoError(t, err)
		require.True(t, text == string(b), in)
		n++
	}
	require.Greater(t, n, 5)
}

// A bundle that lies among the logs is no log, and the next run makes the same.
func TestBundleAmongTheLogs(t *testing.T) {
	f := sound()
	f.replace("farm.toml", `"yard*.csv"`, `"*"`)
	delete(f, "milkings.csv")
	f.replace("farm.toml", "[milkings]\nfile = \"milkings.csv\"\ndates = \"ymd\"\n[milkings.columns]\ndate = \"day\"\nstart = \"from\"\nend = \"to\"\nmilk_volume = \"litres\"\n", "")
	dir := f.write(t)
	var first string
	for range 2 {
		code, _, errs := try(t, "report", dir, "--bundle="+filepath.Join(dir, "all.zip"))
		require.Zero(t, code, errs)
		b, err := os.ReadFile(filepath.Join(dir, "report", "results.json"))
		require.NoError(t, err)
		if first == "" {
			first = string(b)
		}
		require.Equal(t, first, string(b))
		require.NotContains(t, bundled(t, filepath.Join(dir, "all.zip")), "farm/all.zip")
	}
}

func TestBundleOnTheCommandLine(t *testing.T) {
	dir := sound().write(t)
	read := func() string {
		b, err := os.ReadFile(filepath.Join(dir, "report", "results.json"))
		require.NoError(t, err)
		return string(b)
	}
	code, _, errs := try(t, "report", dir)
	require.Zero(t, code, errs)
	require.NoFileExists(t, filepath.Join(dir, "report.bundle.zip"), "no bundle where none was asked for")
	plain := read()

	to := filepath.Join(t.TempDir(), "deep", "x.zip")
	code, out, errs := try(t, "report", dir, "--json", "--bundle="+to)
	require.Zero(t, code, errs)
	require.Equal(t, plain, out, "--json prints the results and nothing else")
	require.Equal(t, plain, bundled(t, to)["report/results.json"])

	code, _, errs = try(t, "report", dir, "--bundle", to)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "--bundle=FILE")

	for _, bad := range []string{filepath.Join(dir, "report", "x.zip"), filepath.Join(dir, "farm.toml"), dir} {
		before, _ := os.ReadFile(bad)
		code, _, errs = try(t, "report", dir, "--bundle="+bad)
		require.Equal(t, exitUsage, code, errs)
		require.Contains(t, errs, "nothing was touched")
		after, _ := os.ReadFile(bad)
		require.Equal(t, before, after)
	}

	require.NoError(t, os.Rename(filepath.Join(dir, "yard.csv"), filepath.Join(dir, "yard 12:00.csv")))
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "report")))
	code, _, errs = try(t, "report", dir, "--bundle="+to)
	require.Equal(t, exitBadInput, code)
	require.Contains(t, errs, "yard 12:00.csv")
	require.Contains(t, errs, "rename")
	require.NoDirExists(t, filepath.Join(dir, "report"), "told before anything is written")
	code, _, errs = try(t, "report", dir)
	require.Zero(t, code, errs)
}

// A log that goes on growing while the report is made.
func TestBundleOfALogThatGrew(t *testing.T) {
	dir := sound().write(t)
	out := filepath.Join(dir, "report")
	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.now = func() time.Time { return time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC) }
	pack, err := a.bundler(dir, out, reportFlags{bundle: besideOut})
	require.NoError(t, err)
	s, err := a.compute(dir, "", "")
	require.NoError(t, err)
	opt := reports.Options{Now: a.now(), Version: "test"}
	require.NoError(t, reports.Write(out, s, opt))

	f, err := os.OpenFile(filepath.Join(dir, "yard.csv"), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString("2026-02-18 00:00,0,9,24,47\n")
	require.NoError(t, err)
	require.NoError(t, f.Close())
	err = pack.write(s, opt, a.newProgress())
	require.Equal(t, exitBadInput, exitStatus(err))
	for _, word := range []string{"yard.csv", "run again", "the report stands in"} {
		require.ErrorContains(t, err, word)
	}
	require.FileExists(t, filepath.Join(out, "results.json"))
	require.NoFileExists(t, filepath.Join(dir, "report.bundle.zip"))
}

// requireBundleSound holds a farm's results against the schema in its bundle,
// and its dictionary against unsaid lines.
func requireBundleSound(t *testing.T, dir string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "b.zip")
	code, _, errs := try(t, "report", dir, "--bundle="+path)
	require.Zero(t, code, errs)
	files := bundled(t, path)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(files["results.schema.json"]))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("s.json", doc))
	schema, err := c.Compile("s.json")
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(files["report/results.json"]))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(v), "every key that is written stands in reports/results/keys.go: see \"a key of results.json\" in DEVELOPERS.md")
	lines, err := csv.NewReader(strings.NewReader(files["dictionary.csv"])).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(lines), 400)
	for _, l := range lines {
		require.NotEmpty(t, l[3], "no type: %v", l)
		require.NotEmpty(t, l[5], "no meaning: %v", l)
	}
	require.True(t, json.Valid([]byte(files["ro-crate-metadata.json"])))
}

// Whatever a farm has or lacks, its results meet the schema.
func TestResultsMeetTheSchema(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	for name, change := range map[string]func(t *testing.T, dir string){
		"whole, with seasons and compared probes": func(t *testing.T, dir string) {
			edit(t, dir, func(toml string) string {
				return toml + "\n[[season]]\nname = \"one\"\nfrom = 2025-02-10\nto = 2025-02-20\nkind = \"recovery_off\"\n\n[[season]]\nfrom = 2031-01-01\nto = 2031-02-01\n" +
					"\n[[matched]]\nprobes = [\"plate_in_temp\", \"plate_out_temp\"]\noffset = \"find\"\n"
			})
		},
		"only a loop": func(t *testing.T, dir string) {
			without(t, dir, "plate_in_temp", "plate_out_temp", "plate_flow", "plate_pump", "compressor_energy", "element_energy", "wash_volume", "wash_temp", "tank_temp")
			drop(t, dir, "milkings.columns", "milkings", "plate", "plant", "instead")
		},
		"only a plant": func(t *testing.T, dir string) {
			without(t, dir, "loop_out_temp", "loop_flow", "bed_temp")
			drop(t, dir, "loop")
		},
		"no meter":                          func(t *testing.T, dir string) { without(t, dir, "loop_flow") },
		"no milkings":                       func(t *testing.T, dir string) { drop(t, dir, "milkings.columns", "milkings") },
		"no wash meter and no alternative":  func(t *testing.T, dir string) { without(t, dir, "wash_volume", "wash_temp"); drop(t, dir, "instead") },
		"loggers out for days":              holes,
		"names that would run or break out": hostile,
	} {
		t.Run(name, func(t *testing.T) {
			dir := simulated(t, 9)
			change(t, dir)
			requireBundleSound(t, dir)
		})
	}
	t.Run("next to nothing", func(t *testing.T) { requireBundleSound(t, sound().write(t)) })
	t.Run("the sample farm", func(t *testing.T) {
		if testing.Short() {
			t.Skip("a whole winter, twice")
		}
		made, _ := sampleFarm(t)
		dir := filepath.Join(t.TempDir(), "s")
		require.NoError(t, os.CopyFS(dir, os.DirFS(made)))
		requireBundleSound(t, dir)
	})
}

// holes takes rows out of the middle of every text log, and some cells.
func holes(t *testing.T, dir string) {
	names, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	require.NoError(t, err)
	require.NotEmpty(t, names)
	for _, name := range names {
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		lines := strings.SplitAfter(string(b), "\n")
		n := len(lines)
		if n < 500 { // the milkings list
			continue
		}
		lines = append(lines[:n/3:n/3], lines[n/2:]...)
		require.NoError(t, os.WriteFile(name, []byte(strings.Join(lines, "")), 0o644))
	}
}

// hostile gives the farm and its seasons names that a spreadsheet, a browser or
// a table would run or break at.
func hostile(t *testing.T, dir string) {
	edit(t, dir, func(toml string) string {
		at := strings.Index(toml, "name = ")
		end := at + strings.Index(toml[at:], "\n")
		return toml[:at] + `name = "=1+1|<script>alert(\"1\")</script>\u0000\n,;"` + toml[end:] +
			"\n[[season]]\nname = \"@SUM(A1)|\\\"<b>\"\nfrom = 2025-02-10\nto = 2025-02-20\n\n[[event]]\nat = 2025-02-11\nwhat = \"=cmd|' /C calc'!A0\"\n"
	})
}
