package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/results"
)

func put(t *testing.T, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
}

func hashOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// originals of an invented farm, with names as people give them.
var originals = map[string]string{
	"farm.toml":                "[farm]\n",
	"Milch liste.csv":          "day;litres\n",
	"logs/Hof Süd/März #1.csv": strings.Repeat("time;x\n", 5000),
	"logs/a.csv":               "",
	"pct%20.csv":               "x",
}

// farm is an invented season with its farm folder and a folder that stands for
// its report.
func farm(t *testing.T) (*season.Season, Options) {
	t.Helper()
	opt := Options{Farm: t.TempDir(), Report: filepath.Join(t.TempDir(), "report"), Version: "test",
		Started: time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC), Made: time.Date(2026, 5, 1, 12, 0, 5, 0, time.UTC)}
	s := fixture.Season()
	for name, text := range originals {
		put(t, opt.Farm, name, text)
		s.Originals = append(s.Originals, ingest.Own{Name: name, SizeB: int64(len(text)), SHA256: hashOf([]byte(text))})
	}
	slices.SortFunc(s.Originals, func(a, b ingest.Own) int { return strings.Compare(a.Name, b.Name) })
	s.Own = []ingest.Own{{Name: "farm.toml"}, {Name: "Milch liste.csv"}}
	b, err := results.JSON(s)
	require.NoError(t, err)
	put(t, opt.Report, "results.json", string(b))
	put(t, opt.Report, "report.html", "<html>")
	put(t, opt.Report, "charts/loop.svg", "<svg/>")
	opt.Files = []string{"charts/loop.svg", "report.html", "results.json"}
	return s, opt
}

func unpacked(t *testing.T, path string) (names []string, files map[string][]byte) {
	t.Helper()
	z, err := zip.OpenReader(path)
	require.NoError(t, err)
	defer func() { require.NoError(t, z.Close()) }()
	files = map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		b, err := io.ReadAll(r)
		require.NoError(t, err)
		require.NotContains(t, files, f.Name)
		require.Equal(t, epoch, f.Modified.UTC(), f.Name)
		names, files[f.Name] = append(names, f.Name), b
	}
	return names, files
}

func TestLayout(t *testing.T) {
	s, opt := farm(t)
	path := filepath.Join(t.TempDir(), "new", "b.zip")
	require.NoError(t, Write(path, s, opt))
	names, files := unpacked(t, path)
	require.Equal(t, []string{"README.txt", "dictionary.csv", "dictionary.md", "farm/Milch liste.csv", "farm/farm.toml",
		"farm/logs/Hof Süd/März #1.csv", "farm/logs/a.csv", "farm/pct%20.csv", "report/charts/loop.svg", "report/report.html",
		"report/results.json", "results.schema.json", "ro-crate-metadata.json"}, names)
	for name, text := range originals {
		require.Equal(t, text, string(files["farm/"+name]), name)
	}
	require.Equal(t, "<svg/>", string(files["report/charts/loop.svg"]))
	require.Contains(t, string(files["README.txt"]), "yardheat retrace")
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, left, 1, "nothing beside the bundle")
}

// Whoever has the bundle alone can hold its results against its schema.
func TestPackedResultsMeetThePackedSchema(t *testing.T) {
	s, opt := farm(t)
	path := filepath.Join(t.TempDir(), "b.zip")
	require.NoError(t, Write(path, s, opt))
	_, files := unpacked(t, path)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(files["results.schema.json"]))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("s.json", doc))
	schema, err := c.Compile("s.json")
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(files["report/results.json"]))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(v))
}

func TestSameBytesButForTheTimes(t *testing.T) {
	s, opt := farm(t)
	dir := t.TempDir()
	at := func(name string) []byte {
		require.NoError(t, Write(filepath.Join(dir, name), s, opt))
		b, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		return b
	}
	one := at("a.zip")
	for range 3 {
		require.True(t, bytes.Equal(one, at("b.zip")), "an earlier bundle is replaced by the same bytes")
	}
	opt.Made = opt.Made.Add(time.Hour)
	require.False(t, bytes.Equal(one, at("c.zip")))
	_, a := unpacked(t, filepath.Join(dir, "a.zip"))
	_, c := unpacked(t, filepath.Join(dir, "c.zip"))
	for name := range a {
		require.Equal(t, name != crateName, bytes.Equal(a[name], c[name]), name)
	}
}

// An original that is not what was read stops the bundle, says so, and leaves
// an earlier one as it was.
func TestChangedOriginals(t *testing.T) {
	for name, change := range map[string]func(t *testing.T, dir string){
		"another byte": func(t *testing.T, dir string) {
			put(t, dir, "farm.toml", "[farn]\n")
		},
		"a line more": func(t *testing.T, dir string) { put(t, dir, "farm.toml", originals["farm.toml"]+"x\n") },
		"gone":        func(t *testing.T, dir string) { require.NoError(t, os.Remove(filepath.Join(dir, "farm.toml"))) },
		"a folder now": func(t *testing.T, dir string) {
			require.NoError(t, os.Remove(filepath.Join(dir, "farm.toml")))
			require.NoError(t, os.Mkdir(filepath.Join(dir, "farm.toml"), 0o755))
		},
	} {
		t.Run(name, func(t *testing.T) {
			s, opt := farm(t)
			path := filepath.Join(t.TempDir(), "b.zip")
			require.NoError(t, Write(path, s, opt))
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			change(t, opt.Farm)
			err = Write(path, s, opt)
			var input *ingest.InputError
			require.ErrorAs(t, err, &input)
			require.Equal(t, "farm.toml", input.Faults[0].File)
			require.ErrorContains(t, err, "run again")
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, before, after)
			left, err := os.ReadDir(filepath.Dir(path))
			require.NoError(t, err)
			require.Len(t, left, 1)
		})
	}
}

// A file of which only the head was read has no hash to be held against, and is
// packed with its own.
func TestOriginalWithoutAHash(t *testing.T) {
	s, opt := farm(t)
	for i := range s.Originals {
		s.Originals[i].SHA256 = ""
	}
	path := filepath.Join(t.TempDir(), "b.zip")
	require.NoError(t, Write(path, s, opt))
	_, files := unpacked(t, path)
	require.Contains(t, string(files[crateName]), hashOf([]byte(originals["farm.toml"])))
}

func TestLinksInTheFarmFolder(t *testing.T) {
	s, opt := farm(t)
	require.NoError(t, os.Rename(filepath.Join(opt.Farm, "pct%20.csv"), filepath.Join(opt.Farm, "logs", "real.csv")))
	if err := os.Symlink(filepath.Join("logs", "real.csv"), filepath.Join(opt.Farm, "pct%20.csv")); err != nil {
		t.Skip("no symbolic links here")
	}
	path := filepath.Join(t.TempDir(), "b.zip")
	require.NoError(t, Write(path, s, opt))
	_, files := unpacked(t, path)
	require.Equal(t, originals["pct%20.csv"], string(files["farm/pct%20.csv"]), "the file that the link leads to")

	outside := filepath.Join(t.TempDir(), "x.csv")
	require.NoError(t, os.WriteFile(outside, []byte(originals["pct%20.csv"]), 0o600))
	require.NoError(t, os.Remove(filepath.Join(opt.Farm, "pct%20.csv")))
	require.NoError(t, os.Symlink(outside, filepath.Join(opt.Farm, "pct%20.csv")))
	var input *ingest.InputError
	require.ErrorAs(t, Write(path, s, opt), &input, "the same bytes from outside are no original of the folder")
}

func TestPlaces(t *testing.T) {
	s, opt := farm(t)
	dir := t.TempDir()
	put(t, dir, "notes.txt", "mine")
	put(t, dir, "half.zip", "PK\x03\x04")
	var other bytes.Buffer
	z := zip.NewWriter(&other)
	_, err := z.Create("photo.jpg")
	require.NoError(t, err)
	require.NoError(t, z.Close())
	put(t, dir, "photos.zip", other.String())
	require.NoError(t, os.Mkdir(filepath.Join(dir, "folder.zip"), 0o755))
	for _, path := range []string{filepath.Join(dir, "notes.txt"), filepath.Join(dir, "half.zip"), filepath.Join(dir, "photos.zip"), filepath.Join(dir, "folder.zip"),
		filepath.Join(opt.Report, "b.zip"), filepath.Join(opt.Report, "charts", "b.zip"), opt.Report} {
		before, _ := os.ReadFile(path)
		var no *Refused
		require.ErrorAs(t, CheckPlace(path, opt.Report), &no, path)
		require.ErrorAs(t, Write(path, s, opt), &no, path)
		after, _ := os.ReadFile(path)
		require.Equal(t, before, after)
	}
	require.NoError(t, CheckPlace(filepath.Join(dir, "b.zip"), opt.Report))
	require.NoError(t, CheckPlace(opt.Report+".bundle.zip", opt.Report), "beside the report it may stand")
	require.NoError(t, Write(filepath.Join(dir, "b.zip"), s, opt))
	require.NoError(t, CheckPlace(filepath.Join(dir, "b.zip"), opt.Report), "an earlier bundle may be replaced")
}

func TestKilledRunLeavesNothingThatStopsTheNext(t *testing.T) {
	s, opt := farm(t)
	dir := t.TempDir()
	put(t, dir, ".b.zip.yardheat-new", "half")
	require.NoError(t, Write(filepath.Join(dir, "b.zip"), s, opt))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, left, 1)
}

func TestNamesThatNotEverySystemCanUnpack(t *testing.T) {
	check := func(names ...string) error {
		var list []ingest.Own
		for _, n := range names {
			list = append(list, ingest.Own{Name: n})
		}
		return CheckNames(list)
	}
	for _, bad := range []string{"a:b.csv", "what?.csv", "a*b", `a\b.csv`, "a|b", "a<b", `a"b`, "aux", "AUX.csv", "com1.txt", "LPT¹.csv", "logs/nul.csv", "con .csv",
		"dot./a.csv", "blank .", "end ", "tab\tname.csv", "line\nname.csv", "\xff.csv", "../up.csv", "/top.csv", ""} {
		var input *ingest.InputError
		require.ErrorAs(t, check("farm.toml", bad), &input, "%q", bad)
		require.Equal(t, bad, input.Faults[0].File)
		require.Contains(t, input.Error(), "rename")
	}
	var input *ingest.InputError
	require.ErrorAs(t, check("Log.csv", "log.CSV"), &input)
	require.ErrorAs(t, check("A", "a/x.csv"), &input)
	require.ErrorAs(t, check("a:1", "a:2"), &input)
	require.Len(t, input.Faults, 2, "every name of the run is told")
	require.NoError(t, check("farm.toml", "Hof Süd/März.csv", "=1+1.csv", "-x.csv", "console.csv", "com.csv", "com10.csv", "日本.csv", "a b.csv", "pct%20.csv", "LOGS/a.csv", "logs/b.csv"))
}

// Originals are streamed: what packing holds in memory does not grow with them.
func TestLongOriginalsAreStreamed(t *testing.T) {
	if testing.Short() {
		t.Skip("packs 200 MB")
	}
	s, opt := farm(t)
	const blocks, blockB = 200, 1 << 20
	f, err := os.Create(filepath.Join(opt.Farm, "long.csv"))
	require.NoError(t, err)
	block := bytes.Repeat([]byte("2026-02-01 00:00:00;12.5\n"), blockB/25)
	for range blocks {
		_, err := f.Write(block)
		require.NoError(t, err)
	}
	require.NoError(t, f.Close())
	s.Originals = append(s.Originals, ingest.Own{Name: "long.csv"})
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	require.NoError(t, Write(filepath.Join(t.TempDir(), "b.zip"), s, opt))
	runtime.ReadMemStats(&after)
	require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(40<<20), "bytes allocated for a file of 200 MB")
}

func TestReportFileThatIsGone(t *testing.T) {
	s, opt := farm(t)
	opt.Files = append(opt.Files, "season.xlsx")
	err := Write(filepath.Join(t.TempDir(), "b.zip"), s, opt)
	require.ErrorIs(t, err, os.ErrNotExist)
	var input *ingest.InputError
	require.False(t, errors.As(err, &input), "no fault of the input")
}
