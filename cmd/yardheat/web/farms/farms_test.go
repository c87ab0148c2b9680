package farms

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func clock() time.Time { return time.Date(2026, 11, 28, 9, 15, 0, 0, time.UTC) }

func home(t *testing.T, limits Limits) *Home {
	t.Helper()
	h, err := Open(filepath.Join(t.TempDir(), "farms"), limits, clock)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, h.Close()) })
	return h
}

func newFarm(t *testing.T, h *Home) *folder {
	t.Helper()
	f, err := h.New("Upper Farm")
	require.NoError(t, err)
	return f.(*folder)
}

func receive(t *testing.T, f Farm, name, text string) Waiting {
	t.Helper()
	w, err := f.Receive(name, strings.NewReader(text))
	require.NoError(t, err)
	return w
}

// files lists what stands below dir, without lock files.
func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		b, err := os.ReadFile(path)
		all[filepath.ToSlash(rel)] = string(b)
		return err
	}))
	return all
}

func TestReceiveKeepSetTOML(t *testing.T) {
	h := home(t, DefaultLimits())
	f := newFarm(t, h)
	require.Equal(t, "Upper Farm", f.Title())
	_, err := f.TOML()
	require.ErrorIs(t, err, ErrNotFound)
	a, b := receive(t, f, "yard.csv", "a"), receive(t, f, "milk.csv", "bb")
	all, err := f.Waiting()
	require.NoError(t, err)
	require.Len(t, all, 2)
	sum := sha256.Sum256([]byte("bb"))
	require.Equal(t, hex.EncodeToString(sum[:]), b.SHA256)
	require.NoError(t, f.SetNote(a.ID, []byte("note")))
	note, err := f.Note(a.ID)
	require.NoError(t, err)
	require.Equal(t, "note", string(note))

	require.ErrorIs(t, f.Keep(map[string]string{a.ID: "yard.csv"}, []byte("x"), []byte("y")), ErrChanged)
	require.ErrorIs(t, f.Keep(map[string]string{a.ID: "yard.csv", b.ID: "YARD.csv"}, nil, []byte("y")), ErrExists)
	require.NoError(t, f.Keep(map[string]string{a.ID: "yard.csv", b.ID: "milk.csv"}, nil, []byte("first")))
	require.Equal(t, map[string]string{"yard.csv": "a", "milk.csv": "bb", "farm.toml": "first", ".yardheat/title": "Upper Farm"}, files(t, f.dir))

	require.ErrorIs(t, f.SetTOML(nil, []byte("second")), ErrChanged)
	require.NoError(t, os.WriteFile(filepath.Join(f.dir, farmFile), []byte("by hand"), 0o600))
	require.ErrorIs(t, f.SetTOML([]byte("first"), []byte("second")), ErrChanged, "edited by hand meanwhile")
	require.NoError(t, f.SetTOML([]byte("by hand"), []byte("second")))
	require.NoError(t, f.SetTOML([]byte("second"), []byte("third")))
	kept := files(t, filepath.Join(f.dir, ".yardheat", "before"))
	require.Equal(t, map[string]string{"farm-20261128-091500-01.toml": "by hand", "farm-20261128-091500-02.toml": "second"}, kept)

	c := receive(t, f, "Yard.CSV", "c")
	require.ErrorIs(t, f.Keep(map[string]string{c.ID: "Yard.CSV"}, []byte("third"), []byte("fourth")), ErrExists)
	free, err := f.FreeName("Yard.CSV")
	require.NoError(t, err)
	require.Equal(t, "Yard (2).CSV", free)
	require.NoError(t, f.Drop(c.ID))
	require.ErrorIs(t, f.Drop(c.ID), ErrNotFound)
	logs, err := f.Logs()
	require.NoError(t, err)
	require.Len(t, logs, 2)
}

// hostile are names that browsers and others may send, with what they become; ""
// is refused.
var hostile = map[string]string{
	"../../etc/passwd": "passwd", `..\..\x.csv`: "x.csv", "/etc/shadow": "shadow", `C:\Users\x.csv`: "x.csv", "C:x.csv": "C_x.csv",
	"..": "", ".": "", "": "", "...": "", ".hidden": "", "a/..": "", "x.csv/": "x.csv",
	"CON": "", "con.csv": "", "NUL.txt": "", "com1.csv": "", "LPT9": "", "COM¹.csv": "", "aux .csv": "", "CONIN$": "", "console.csv": "console.csv",
	"a.csv.": "a.csv", "a.csv ": "a.csv", "a.csv. . ": "a.csv", " a.csv": "a.csv",
	"a:b.csv": "a_b.csv", "a<b>|?*\".csv": "a_b_____.csv", "a\x00b.csv": "a_b.csv", "a\nb.csv": "a b.csv", "a\x1bb.csv": "a_b.csv",
	"invoice\u202evsc.exe.csv": "invoice_vsc.exe.csv", "a\u200bb.csv": "a_b.csv", "a\ufeff.csv": "a_.csv",
	"bad\xff.csv": "bad_.csv", "cafe\u0301.csv": "café.csv", "Höfe-Daten (März).csv": "Höfe-Daten (März).csv",
	strings.Repeat("a", 121): "", strings.Repeat("漢", 90): "",
}

func TestHostileNamesStayInside(t *testing.T) {
	h := home(t, DefaultLimits())
	f := newFarm(t, h)
	for given, want := range hostile {
		w, err := f.Receive(given, strings.NewReader("x"))
		if want == "" {
			require.ErrorIs(t, err, ErrName, "%q", given)
			continue
		}
		require.NoError(t, err, "%q", given)
		require.Equal(t, want, w.Name, "%q", given)
		require.Equal(t, given, w.Given)
	}
	all, err := f.Waiting()
	require.NoError(t, err)
	toml := []byte(nil)
	for given := range hostile { // as the names of logs
		if name, err := cleanName(given, 120); err == nil && name == given {
			continue
		}
		require.Error(t, f.Keep(map[string]string{all[0].ID: given}, toml, []byte("x")), "%q", given)
	}
	for _, name := range []string{"farm.toml", "FARM.TOML", "reports", "Report", ".yardheat", "sub/x.csv", `sub\x.csv`, "Thumbs.db"} {
		require.ErrorIs(t, f.Keep(map[string]string{all[0].ID: name}, toml, []byte("x")), ErrName, name)
	}
	for _, id := range []string{"", "..", "../..", "0123456789abcdeX", "0123456789abcdef", all[0].ID + "/.."} {
		_, err := f.Content(id)
		require.ErrorIs(t, err, ErrNotFound)
		require.ErrorIs(t, f.SetNote(id, nil), ErrNotFound)
		require.ErrorIs(t, f.Drop(id), ErrNotFound)
	}
	entries, err := os.ReadDir(filepath.Dir(h.dir))
	require.NoError(t, err)
	require.Len(t, entries, 1, "something stands beside the folder of farms")
	entries, err = os.ReadDir(h.dir)
	require.NoError(t, err)
	require.Len(t, entries, 1, "something stands beside the farm")
}

func TestNamesOfFarms(t *testing.T) {
	h := home(t, DefaultLimits())
	for _, title := range []string{"..", "CON", "", " ", ".x", "\u202e"} {
		_, err := h.New(title)
		require.ErrorIs(t, err, ErrName, "%q", title)
	}
	f, err := h.New("Hof/Süd")
	require.NoError(t, err)
	require.Equal(t, "Hof_Süd", f.Name())
	require.Equal(t, "Hof/Süd", f.Title())
	for _, title := range []string{"Hof/Süd", "HOF/SÜD", "Hof_Su\u0308d"} {
		_, err = h.New(title)
		require.ErrorIs(t, err, ErrExists, "%q", title)
	}
	for _, name := range []string{"..", ".", "", "../farms", "Hof_Süd/..", "hof_süd"} {
		_, err := h.Find(name)
		require.ErrorIs(t, err, ErrNotFound)
	}
}

func TestLimitsAndNothingLeft(t *testing.T) {
	h := home(t, Limits{FileB: 10, Files: 3, NameRune: 20, TotalB: 25})
	f := newFarm(t, h)
	before := files(t, f.dir)
	_, err := f.Receive("big.csv", strings.NewReader("12345678901"))
	require.ErrorIs(t, err, ErrTooLarge)
	broken := errors.New("the line is gone")
	_, err = f.Receive("cut.csv", io.MultiReader(strings.NewReader("12"), iotest.ErrReader(broken)))
	require.ErrorIs(t, err, broken)
	require.Equal(t, before, files(t, f.dir))
	receive(t, f, "a", "1234567890")
	receive(t, f, "b", "1234567890")
	_, err = f.Receive("c", strings.NewReader("1234567890"))
	require.ErrorIs(t, err, ErrTooMany, "in all")
	w := receive(t, f, "c", "12345")
	_, err = f.Receive("d", strings.NewReader(""))
	require.ErrorIs(t, err, ErrTooMany, "of files")
	require.NoError(t, f.Drop(w.ID))
	receive(t, f, "d", "")
	require.NoFileExists(t, filepath.Join(f.dir, ownDir, partPrefix))
}

func TestLinksAreRefused(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("links need a right of their own on Windows")
	}
	outside := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(outside, "secret"), []byte("secret"), 0o600))
	link := func(t *testing.T, f *folder, target, name string) {
		t.Helper()
		place := filepath.Join(f.dir, name)
		require.NoError(t, os.RemoveAll(place))
		require.NoError(t, os.Symlink(target, place))
	}
	unharmed := func(t *testing.T) {
		t.Helper()
		require.Equal(t, map[string]string{"secret": "secret"}, files(t, outside))
	}
	t.Run("farm.toml", func(t *testing.T) {
		f := newFarm(t, home(t, DefaultLimits()))
		link(t, f, filepath.Join(outside, "secret"), farmFile)
		_, err := f.TOML()
		require.ErrorIs(t, err, ErrLink)
		require.ErrorIs(t, f.SetTOML([]byte("secret"), []byte("x")), ErrLink)
		w := receive(t, f, "a.csv", "a")
		require.ErrorIs(t, f.Keep(map[string]string{w.ID: "a.csv"}, []byte("secret"), []byte("x")), ErrLink)
		unharmed(t)
	})
	for _, name := range []string{".yardheat", ".yardheat/new", ".yardheat/before"} {
		t.Run(name, func(t *testing.T) {
			h := home(t, DefaultLimits())
			f := newFarm(t, h)
			require.NoError(t, f.SetTOML(nil, []byte("x")))
			for _, target := range []string{outside, f.dir} {
				link(t, f, target, name)
				if name != ".yardheat/before" {
					_, err := f.Receive("a.csv", strings.NewReader("a"))
					require.ErrorIs(t, err, ErrLink)
				}
				if name != ".yardheat/new" {
					require.ErrorIs(t, f.SetTOML([]byte("x"), []byte("y")), ErrLink)
				}
				again, err := Open(h.dir, h.limits, clock)
				require.NoError(t, err)
				_, err = again.Find(f.name)
				require.Error(t, err)
				unharmed(t)
			}
		})
	}
	t.Run("reports and logs", func(t *testing.T) {
		f := newFarm(t, home(t, DefaultLimits()))
		require.NoError(t, os.WriteFile(filepath.Join(f.dir, "real.csv"), nil, 0o600))
		link(t, f, filepath.Join(outside, "secret"), "log.csv")
		link(t, f, outside, "more")
		logs, err := f.Logs()
		require.NoError(t, err)
		require.Len(t, logs, 1, "links are no logs")
		require.NoError(t, os.WriteFile(filepath.Join(outside, sourcesFile), nil, 0o600))
		defer func() { require.NoError(t, os.Remove(filepath.Join(outside, sourcesFile))) }()
		link(t, f, outside, startReport)
		require.NoError(t, os.Mkdir(filepath.Join(f.dir, reportDir), 0o700))
		link(t, f, outside, reportDir+"/2026-11-28-091500")
		all, err := f.Reports()
		require.NoError(t, err)
		require.Empty(t, all)
		link(t, f, outside, reportDir)
		_, err = f.Reports()
		require.ErrorIs(t, err, ErrLink)
		require.ErrorIs(t, NoLinks(f.dir, f.NextReport(clock()).Dir), ErrLink)
		require.ErrorIs(t, NoLinks(f.dir, outside), ErrLink)
	})
	t.Run("the farm itself", func(t *testing.T) {
		h := home(t, DefaultLimits())
		newFarm(t, h)
		require.NoError(t, os.WriteFile(filepath.Join(outside, farmFile), nil, 0o600))
		defer func() { require.NoError(t, os.Remove(filepath.Join(outside, farmFile))) }()
		require.NoError(t, os.Symlink(outside, filepath.Join(h.dir, "linked")))
		names, err := h.List()
		require.NoError(t, err)
		require.Equal(t, []string{"Upper Farm"}, names)
	})
}

func TestManyAtOnce(t *testing.T) {
	h := home(t, DefaultLimits())
	f := newFarm(t, h)
	const n = 200
	text := bytes.Repeat([]byte("0123456789abcdef"), 1000)
	got := make([]Waiting, n)
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			w, err := f.Receive("same.csv", io.MultiReader(bytes.NewReader(text), strings.NewReader(fmt.Sprint(i))))
			assert.NoError(t, err)
			got[i] = w
		})
	}
	wg.Wait()
	all, err := f.Waiting()
	require.NoError(t, err)
	require.Len(t, all, n)
	for i, w := range got {
		path, err := f.Content(w.ID)
		require.NoError(t, err)
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, string(text)+fmt.Sprint(i), string(b))
	}
	require.Equal(t, n, f.st.files)
	require.Zero(t, f.st.streaming)
}

func TestOneProgramAFarm(t *testing.T) {
	h := home(t, DefaultLimits())
	f := newFarm(t, h)
	other, err := Open(h.dir, h.limits, clock)
	require.NoError(t, err)
	_, err = other.Find(f.name)
	require.ErrorIs(t, err, ErrBusy)
	require.NoError(t, h.Close())
	_, err = other.Find(f.name)
	require.NoError(t, err)
	require.NoError(t, other.Close())

	hold, _, err := Take(h.dir)
	require.NoError(t, err)
	require.NoError(t, hold.Say("http://127.0.0.1:1/"))
	_, said, err := Take(h.dir)
	require.ErrorIs(t, err, ErrBusy)
	require.Equal(t, "http://127.0.0.1:1/", said)
	require.NoError(t, hold.Leave())
	hold, _, err = Take(h.dir)
	require.NoError(t, err)
	require.NoError(t, hold.Leave())
}

// TestJournalIsTakenUp puts a farm into each state in which a Keep can have been
// stopped, and others that somebody's hand may have made of it.
func TestJournalIsTakenUp(t *testing.T) {
	type farmState struct {
		h    *Home
		f    *folder
		a, b Waiting
		k    *keeping
	}
	begin := func(t *testing.T) *farmState {
		h := home(t, DefaultLimits())
		f := newFarm(t, h)
		require.NoError(t, f.SetTOML(nil, []byte("before")))
		s := &farmState{h: h, f: f, a: receive(t, f, "a.csv", "aaa"), b: receive(t, f, "b.csv", "bbb")}
		require.NoError(t, f.change(func(r *os.Root) (err error) {
			s.k, err = f.planKeep(r, map[string]string{s.a.ID: "a.csv", s.b.ID: "b.csv"}, []byte("before"), []byte("after"))
			if err != nil {
				return err
			}
			b, err := json.Marshal(s.k)
			if err != nil {
				return err
			}
			return writeSynced(r, keepFile, b)
		}))
		return s
	}
	place := func(s *farmState, name string) string { return filepath.Join(s.f.dir, filepath.FromSlash(name)) }
	moveA := func(t *testing.T, s *farmState) {
		require.NoError(t, os.Rename(place(s, newDir+"/"+s.a.ID+"/"+content), place(s, "a.csv")))
	}
	write := func(t *testing.T, s *farmState, name, text string) {
		require.NoError(t, os.WriteFile(place(s, name), []byte(text), 0o600))
	}
	for name, c := range map[string]struct {
		make func(*testing.T, *farmState)
		done bool
	}{
		"nothing moved": {func(*testing.T, *farmState) {}, true},
		"one moved":     {moveA, true},
		"one has both names": {func(t *testing.T, s *farmState) {
			require.NoError(t, os.Link(place(s, newDir+"/"+s.a.ID+"/"+content), place(s, "a.csv")))
		}, true},
		"all but the journal": {func(t *testing.T, s *farmState) {
			moveA(t, s)
			require.NoError(t, os.Rename(place(s, newDir+"/"+s.b.ID+"/"+content), place(s, "b.csv")))
			write(t, s, farmFile, "after")
			require.NoError(t, os.RemoveAll(place(s, newDir+"/"+s.a.ID)))
		}, true},
		"farm.toml by hand": {func(t *testing.T, s *farmState) { moveA(t, s); write(t, s, farmFile, "by hand") }, false},
		"a name was taken":  {func(t *testing.T, s *farmState) { moveA(t, s); write(t, s, "b.csv", "foreign") }, false},
	} {
		t.Run(name, func(t *testing.T) {
			s := begin(t)
			c.make(t, s)
			require.NoError(t, s.h.Close())
			again, err := Open(s.h.dir, s.h.limits, clock)
			require.NoError(t, err)
			defer func() { require.NoError(t, again.Close()) }()
			f, err := again.Find(s.f.name)
			require.NoError(t, err)
			all, err := f.Waiting()
			require.NoError(t, err)
			require.NoFileExists(t, place(s, keepFile))
			toml, err := f.TOML()
			require.NoError(t, err)
			if c.done {
				require.Empty(t, all)
				require.Equal(t, "after", string(toml))
				now := files(t, s.f.dir)
				require.Equal(t, "aaa", now["a.csv"])
				require.Equal(t, "bbb", now["b.csv"])
				require.Empty(t, files(t, place(s, newDir)))
				return
			}
			require.Len(t, all, 2)
			require.NotEqual(t, "after", string(toml))
			require.NoFileExists(t, place(s, "a.csv"))
			if b, err := os.ReadFile(place(s, "b.csv")); err == nil {
				require.Equal(t, "foreign", string(b))
			}
		})
	}
}

func TestReportsWholeOnly(t *testing.T) {
	f := newFarm(t, home(t, DefaultLimits()))
	put := func(name, text string) {
		place := filepath.Join(f.dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(place), 0o700))
		require.NoError(t, os.WriteFile(place, []byte(text), 0o600))
	}
	put("reports/2026-11-01-080000/sources.json", "{}")
	put("reports/2026-11-02-080000/report.html", "half")
	put("reports/.2026-11-03-080000.yardheat-new/report.html", "half")
	put("reports/notes/sources.json", "{}")
	put("report/sources.json", `{"made_at":"2026-11-20T10:00:00Z"}`)
	all, err := f.Reports()
	require.NoError(t, err)
	require.Len(t, all, 2)
	require.Equal(t, "report", all[0].ID)
	require.Equal(t, time.Date(2026, 11, 20, 10, 0, 0, 0, time.UTC), all[0].At.UTC())
	require.Equal(t, "2026-11-01-080000", all[1].ID)
	for _, id := range []string{"..", "notes", "2026-11-02-080000", "", "../reports/2026-11-01-080000"} {
		_, err := f.Report(id)
		require.ErrorIs(t, err, ErrNotFound)
		require.ErrorIs(t, f.DropReport(id), ErrNotFound)
	}
	put("report/thesis.docx", "mine")
	require.Error(t, f.DropReport("report"), "something else stands in it")
	require.FileExists(t, filepath.Join(f.dir, "report", "thesis.docx"))
	next := f.NextReport(clock())
	require.NoError(t, os.MkdirAll(next.Dir, 0o700))
	require.NotEqual(t, next.ID, f.NextReport(clock()).ID)
	require.NoError(t, f.home.Close())
	_, err = f.home.Find(f.name)
	require.NoError(t, err)
	require.DirExists(t, next.Dir)
	require.NoDirExists(t, filepath.Join(f.dir, "reports", ".2026-11-03-080000.yardheat-new"))
	require.NoError(t, os.Remove(filepath.Join(f.dir, "report", "thesis.docx")))
}

func FuzzCleanName(f *testing.F) {
	for given := range hostile {
		f.Add(given)
	}
	f.Fuzz(func(t *testing.T, given string) {
		name, err := cleanName(given, 120)
		if err != nil {
			return
		}
		if !filepath.IsLocal(name) || strings.ContainsAny(name, `/\:`+"\x00") || name != filepath.Base(name) || len(name) > nameB || device(name) {
			t.Fatalf("%q became %q", given, name)
		}
		if again, err := cleanName(name, 120); err != nil || again != name {
			t.Fatalf("%q became %q and then %q, %v", given, name, again, err)
		}
	})
}
