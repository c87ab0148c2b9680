package reports

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/results"
)

var now = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

var opt = Options{Now: now, Version: "test"}

// tree reads every file below a folder, by its name.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = string(b)
		return err
	}))
	return out
}

// renamed is another season, to tell two reports apart.
func renamed(name string) *season.Season {
	s := fixture.Season()
	s.Farm = name
	return s
}

func requireReportOf(t *testing.T, out, farm string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(out, "results.json"))
	require.NoError(t, err)
	require.Contains(t, string(b), `"name": "`+farm+`"`)
	for _, n := range []string{"report.html", "season.xlsx", "milkings.csv", "record.csv", "sources.json"} {
		require.FileExists(t, filepath.Join(out, n))
	}
}

func requireNothingBeside(t *testing.T, parent string) {
	t.Helper()
	all, err := os.ReadDir(parent)
	require.NoError(t, err)
	for _, e := range all {
		require.NotContains(t, e.Name(), "yardheat-")
	}
}

func TestWriteIntoAbsentEmptyAndEarlier(t *testing.T) {
	parent := t.TempDir()
	out := filepath.Join(parent, "deep", "report")
	require.NoError(t, CheckOut(out))
	require.NoDirExists(t, out)
	require.NoError(t, Write(out, renamed("First"), opt))
	requireReportOf(t, out, "First")
	require.NoError(t, Write(out, renamed("Second"), opt))
	requireReportOf(t, out, "Second")
	requireNothingBeside(t, filepath.Dir(out))

	empty := filepath.Join(parent, "empty")
	require.NoError(t, os.Mkdir(empty, 0o755))
	require.NoError(t, Write(empty, renamed("First"), opt))
	requireReportOf(t, empty, "First")
}

func TestSameSeasonSameReportButForSources(t *testing.T) {
	parent := t.TempDir()
	a, b := filepath.Join(parent, "a"), filepath.Join(parent, "b")
	require.NoError(t, Write(a, fixture.Season(), opt))
	require.NoError(t, Write(b, fixture.Season(), opt))
	require.Equal(t, tree(t, a), tree(t, b))
}

// A foreign folder is refused and stays as it was, byte for byte.
func TestForeignFoldersAreNotTouched(t *testing.T) {
	cases := map[string]func(t *testing.T, out string){
		"somebody's photographs": func(t *testing.T, out string) { put(t, out, "cow.jpg", "x") },
		"our names, no results":  func(t *testing.T, out string) { put(t, out, "report.html", "x") },
		"results of another":     func(t *testing.T, out string) { put(t, out, "results.json", `{"schema": "other/1"}`) },
		"an empty results.json":  func(t *testing.T, out string) { put(t, out, "results.json", "") },
		"a report and a note": func(t *testing.T, out string) {
			require.NoError(t, Write(out, renamed("First"), opt))
			put(t, out, "notes.txt", "mine")
		},
		"a report and a note among the charts": func(t *testing.T, out string) {
			require.NoError(t, Write(out, renamed("First"), opt))
			put(t, out, "charts/notes.txt", "mine")
		},
		"a report and a folder": func(t *testing.T, out string) {
			require.NoError(t, Write(out, renamed("First"), opt))
			require.NoError(t, os.Mkdir(filepath.Join(out, "old"), 0o755))
		},
		"a folder by the name of a file of ours": func(t *testing.T, out string) {
			require.NoError(t, Write(out, renamed("First"), opt))
			require.NoError(t, os.Remove(filepath.Join(out, "record.csv")))
			put(t, out, "record.csv/mine", "x")
		},
		"a farm folder": func(t *testing.T, out string) { put(t, out, "farm.toml", "[farm]") },
	}
	for name, prepare := range cases {
		t.Run(name, func(t *testing.T) {
			out := filepath.Join(t.TempDir(), "report")
			prepare(t, out)
			before := tree(t, out)
			var foreign *NotOurs
			require.ErrorAs(t, CheckOut(out), &foreign)
			require.ErrorAs(t, Write(out, renamed("Second"), opt), &foreign)
			require.Equal(t, before, tree(t, out))
			requireNothingBeside(t, filepath.Dir(out))
		})
	}
}

func TestAnOpenWorkbookIsNamed(t *testing.T) {
	out := filepath.Join(t.TempDir(), "report")
	require.NoError(t, Write(out, renamed("First"), opt))
	put(t, out, ".~lock.season.xlsx#", "x")
	require.ErrorContains(t, Write(out, renamed("Second"), opt), "close it")
	require.NoError(t, os.Remove(filepath.Join(out, ".~lock.season.xlsx#")))
	require.NoError(t, Write(out, renamed("Second"), opt))
}

func put(t *testing.T, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
}

func TestAFileInTheWay(t *testing.T) {
	parent := t.TempDir()
	put(t, parent, "report", "a file")
	var foreign *NotOurs
	require.ErrorAs(t, Write(filepath.Join(parent, "report"), fixture.Season(), opt), &foreign)
	require.Equal(t, map[string]string{"report": "a file"}, tree(t, parent))
}

var errHeld = errors.New("used by another process")

// stopAt makes the n-th rename fail, and, if dead, every one after it, as a
// killed run would leave things.
func stopAt(n int, dead bool) disk {
	count := 0
	return disk{rename: func(from, to string) error {
		count++
		if count == n || dead && count > n {
			return errHeld
		}
		return os.Rename(from, to)
	}}
}

// Whichever rename fails, the earlier report stands whole, and the message
// says what to do.
func TestEarlierReportStandsWhereARenameFails(t *testing.T) {
	for _, n := range []int{1, 2} {
		parent := t.TempDir()
		out := filepath.Join(parent, "report")
		require.NoError(t, Write(out, renamed("First"), opt))
		before := tree(t, out)
		err := write(out, renamed("Second"), opt, stopAt(n, false))
		require.ErrorIs(t, err, errHeld)
		require.ErrorContains(t, err, "close")
		require.Equal(t, before, tree(t, out), "rename %d", n)
		requireNothingBeside(t, parent)
	}
}

// Killed between the renames and unable to undo: the next run puts the earlier
// report back before it does anything else, and then succeeds.
func TestNextRunRepairsWhatStoppedBetweenTheRenames(t *testing.T) {
	parent := t.TempDir()
	out := filepath.Join(parent, "report")
	require.NoError(t, Write(out, renamed("First"), opt))
	before := tree(t, out)
	require.ErrorIs(t, write(out, renamed("Second"), opt, stopAt(2, true)), errHeld)
	require.NoDirExists(t, out)
	old := filepath.Join(parent, ".report.yardheat-old")
	require.Equal(t, before, tree(t, old), "the earlier report is whole, beside")

	bad := fixture.Season()
	bad.ZoneName = "Mars/Olympus" // fails after the repair
	require.Error(t, Write(out, bad, opt))
	require.Equal(t, before, tree(t, out))
	requireNothingBeside(t, parent)
	require.NoError(t, Write(out, renamed("Second"), opt))
	requireReportOf(t, out, "Second")
}

// The states that a kill at any point leaves: before the renames a half new
// folder, between them also the old one aside, after them the old one left.
func TestNextRunRepairsAKilledRun(t *testing.T) {
	for name, left := range map[string]func(t *testing.T, p places){
		"before": func(t *testing.T, p places) { put(t, p.fresh, "record.csv", "half") },
		"between": func(t *testing.T, p places) {
			put(t, p.fresh, "record.csv", "half")
			require.NoError(t, os.Rename(p.out, p.old))
		},
		"after":                   func(t *testing.T, p places) { require.NoError(t, Write(p.old, renamed("Zeroth"), opt)) },
		"after, old half removed": func(t *testing.T, p places) { put(t, p.old, "charts/loop.svg", "x") },
	} {
		t.Run(name, func(t *testing.T) {
			parent := t.TempDir()
			out := filepath.Join(parent, "report")
			require.NoError(t, Write(out, renamed("First"), opt))
			p, err := placesOf(out)
			require.NoError(t, err)
			left(t, p)
			require.NoError(t, realDisk().repairChecked(out))
			requireReportOf(t, out, "First")
			requireNothingBeside(t, parent)
			require.NoError(t, Write(out, renamed("Second"), opt))
			requireReportOf(t, out, "Second")
			requireNothingBeside(t, parent)
		})
	}
}

// A folder by the name of ours beside OUT that holds another's file is not
// removed either.
func TestForeignFoldersBesideAreNotTouched(t *testing.T) {
	for _, tail := range []string{"new", "old"} {
		parent := t.TempDir()
		put(t, parent, ".report.yardheat-"+tail+"/mine.txt", "x")
		before := tree(t, parent)
		var foreign *NotOurs
		require.ErrorAs(t, Write(filepath.Join(parent, "report"), fixture.Season(), opt), &foreign)
		require.Equal(t, before, tree(t, parent))
	}
}

func TestFailureWhileWritingLeavesTheEarlierReport(t *testing.T) {
	parent := t.TempDir()
	out := filepath.Join(parent, "report")
	require.NoError(t, Write(out, renamed("First"), opt))
	before := tree(t, out)
	bad := renamed("Second")
	bad.ZoneName = "Mars/Olympus"
	require.Error(t, Write(out, bad, opt))
	require.Equal(t, before, tree(t, out))
	requireNothingBeside(t, parent)
}

func TestLinkedOutIsReplacedWhereItStands(t *testing.T) {
	parent := t.TempDir()
	real := filepath.Join(parent, "disk", "report")
	require.NoError(t, os.MkdirAll(real, 0o755))
	link := filepath.Join(parent, "link")
	if err := os.Symlink(real, link); err != nil {
		t.Skip("no symbolic links here")
	}
	require.NoError(t, Write(link, renamed("First"), opt))
	requireReportOf(t, real, "First")
	info, err := os.Lstat(link)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeSymlink)
}

// What CheckOut looks for is what results.JSON writes.
func TestResultsBeginWithTheSchema(t *testing.T) {
	b, err := results.JSON(fixture.Empty())
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(b), "{\n  \"schema\": \""+results.Schema+"\""))
}
