package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardheat/ingest"
	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/logs"
	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
)

func (a *app) startCommand() *cobra.Command {
	f := lookFlags{header: -1}
	cmd := &cobra.Command{
		Use:   "start DIR FILE...",
		Short: "Make a farm folder from logger files: copies them in, drafts farm.toml",
		Long: `Copies the files, byte for byte, into the farm folder DIR and writes a farm.toml
with what was found in them. Guesses and placeholders are marked "# check". DIR is
made where it is absent; a farm.toml is never written over. A file that cannot be
read stops the whole, and nothing is written.`,
		Example: `  yardheat start my-farm yard-*.csv bed.xlsx
  yardheat start --zone Europe/Rome my-farm *.csv`,
		Args: atLeast(2, "a folder and one file at least"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.start(args[0], args[1:], f)
		},
	}
	cmd.Flags().StringVar(&f.zone, "zone", "", "the farm's timezone, such as Europe/Rome")
	return cmd
}

// start describes the files, drafts the farm file, and writes both at once.
func (a *app) start(dir string, paths []string, f lookFlags) error {
	if f.zone != "" {
		if _, err := clock.ParseZone(f.zone); err != nil {
			return usageError{fmt.Errorf("--zone: %w", err)}
		}
	}
	if err := farmMayGo(dir); err != nil {
		return err
	}
	files, err := a.gather(paths)
	if err != nil {
		return err
	}
	if err := notThere(dir, files); err != nil {
		return err
	}
	d := draft.New(described(files), a.draftOptions(dir, f.zone))
	if _, faults := farm.Read(logs.FarmFile, d.TOML); len(faults) > 0 {
		return fmt.Errorf("the drafted farm file is refused by its own reader: %w", &ingest.InputError{Faults: faults})
	}
	if err := writeFolder(dir, files, d.TOML); err != nil {
		return err
	}
	a.printStart(dir, files, d)
	return nil
}

func (a *app) draftOptions(dir, zone string) draft.Options {
	name := filepath.Base(dir)
	if abs, err := filepath.Abs(dir); err == nil {
		name = filepath.Base(abs)
	}
	opt := draft.Options{Name: name, Zone: zone, ZoneFrom: "as given by --zone"}
	if zone == "" {
		opt.Zone, opt.ZoneFrom = hereZone(), "this computer's zone"
	}
	return opt
}

// hereZone is this computer's zone where it has an IANA name, else "".
func hereZone() string {
	for _, name := range [...]string{strings.TrimPrefix(os.Getenv("TZ"), ":"), time.Local.String()} {
		if strings.Contains(name, "/") && !filepath.IsAbs(name) {
			if _, err := clock.ParseZone(name); err == nil {
				return name
			}
		}
	}
	return ""
}

// farmMayGo refuses a place where a farm file or no folder stands.
func farmMayGo(dir string) error {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return usageError{fmt.Errorf("cannot use %s: %w", dir, err)}
	case !info.IsDir():
		return usageError{fmt.Errorf("%s is a file; name a folder first, then the logs, as in: yardheat start my-farm yard.csv", dir)}
	}
	if _, err := os.Lstat(filepath.Join(dir, logs.FarmFile)); err == nil {
		return usageError{fmt.Errorf("%s holds a farm.toml already, which is never written over; look at the new files with yardheat look and add a [[log]] for them, or name another folder", dir)}
	}
	return nil
}

// original is one file to copy in.
type original struct {
	path, name string
	tables     []look.Table
}

// gather reads every file; the error lists all that cannot be used. Files of
// one name get names of their own.
func (a *app) gather(paths []string) ([]original, error) {
	var files []original
	bad := &ingest.InputError{}
	used := map[string]bool{logs.FarmFile: true}
	for _, path := range paths {
		tables, err := a.lookAt([]string{path}, look.Options{Now: a.now()})
		var input *ingest.InputError
		if errors.As(err, &input) {
			bad.Faults = append(bad.Faults, input.Faults...)
			continue
		}
		if err != nil {
			return nil, err
		}
		if !holdsRows(tables) {
			bad.Faults = append(bad.Faults, ingest.Fault{File: path, Got: "no row of readings", Want: "an export of a logger with rows of stamps and readings",
				Do: "see yardheat look " + shellWord(path) + ", or leave the file out"})
			continue
		}
		files = append(files, original{path: path, name: freeName(filepath.Base(path), used), tables: tables})
	}
	if len(bad.Faults) > 0 {
		return nil, bad
	}
	return files, nil
}

func holdsRows(tables []look.Table) bool {
	for i := range tables {
		if tables[i].FirstRow > 0 {
			return true
		}
	}
	return false
}

// freeName gives a file a name that no other has, whatever the case.
func freeName(base string, used map[string]bool) string {
	ext := filepath.Ext(base)
	name := base
	for n := 2; used[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s (%d)%s", strings.TrimSuffix(base, ext), n, ext)
	}
	used[strings.ToLower(name)] = true
	return name
}

// notThere refuses to copy over a file of the folder, unless it is that file.
func notThere(dir string, files []original) error {
	for _, f := range files {
		there, err := os.Stat(filepath.Join(dir, f.name))
		if err != nil {
			continue
		}
		own, err := os.Stat(f.path)
		if err != nil || !os.SameFile(there, own) {
			return usageError{fmt.Errorf("%s holds another %s already; nothing was written: name another folder", dir, f.name)}
		}
	}
	return nil
}

func described(files []original) []draft.File {
	out := make([]draft.File, len(files))
	for i, f := range files {
		out[i] = draft.File{Name: f.name, Tables: f.tables}
	}
	return out
}

// writeFolder makes the folder whole or not at all: everything is written into a
// folder beside it, which is then renamed, or, where DIR stands already, whose
// files are moved in, farm.toml last.
func writeFolder(dir string, files []original, toml []byte) (err error) {
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return fmt.Errorf("make the folder for the farm: %w", err)
	}
	tmp, err := os.MkdirTemp(parent, ".yardheat-start-")
	if err != nil {
		return fmt.Errorf("make the farm folder: %w", err)
	}
	defer func() {
		if rerr := os.RemoveAll(tmp); err == nil && rerr != nil {
			err = fmt.Errorf("clear up: %w", rerr)
		}
	}()
	for _, f := range files {
		if err := copyFile(f.path, filepath.Join(tmp, f.name)); err != nil {
			return err
		}
	}
	if err := os.WriteFile(filepath.Join(tmp, logs.FarmFile), toml, 0o644); err != nil {
		return fmt.Errorf("write farm.toml: %w", err)
	}
	if err := os.Chmod(tmp, 0o755); err != nil {
		return fmt.Errorf("make the farm folder: %w", err)
	}
	if _, serr := os.Stat(dir); errors.Is(serr, fs.ErrNotExist) {
		if err := os.Rename(tmp, dir); err != nil {
			return fmt.Errorf("make the farm folder: %w", err)
		}
		return nil
	}
	return moveIn(tmp, dir, files)
}

// moveIn moves the new files into a folder that stands already; farm.toml, by
// which the folder becomes a farm, comes last. On failure what was moved is
// taken out again.
func moveIn(tmp, dir string, files []original) error {
	var moved []string
	undo := func(err error) error {
		for _, m := range moved {
			_ = os.Remove(m) // what was moved by this run
		}
		return fmt.Errorf("write into %s: %w", dir, err)
	}
	for _, f := range files {
		to := filepath.Join(dir, f.name)
		if _, err := os.Lstat(to); err == nil {
			continue // the very file, see notThere
		}
		if err := os.Rename(filepath.Join(tmp, f.name), to); err != nil {
			return undo(err)
		}
		moved = append(moved, to)
	}
	to := filepath.Join(dir, logs.FarmFile)
	if _, err := os.Lstat(to); err == nil {
		return undo(fs.ErrExist)
	}
	if err := os.Rename(filepath.Join(tmp, logs.FarmFile), to); err != nil {
		return undo(err)
	}
	return nil
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("copy %s: %w", from, err)
	}
	defer func() { _ = in.Close() }() // read only
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return fmt.Errorf("copy %s: %w", from, err)
	}
	defer func() {
		if cerr := out.Close(); err == nil && cerr != nil {
			err = fmt.Errorf("copy %s: %w", from, cerr)
		}
	}()
	if _, err := io.Copy(out, in); err != nil {
		return fmt.Errorf("copy %s: %w", from, err)
	}
	return nil
}

// printStart says what was made and what to do next.
func (a *app) printStart(dir string, files []original, d draft.Draft) {
	fmt.Fprintf(a.stdout, "Farm folder:  %s\n", dir)
	fmt.Fprintf(a.stdout, "  %s copied as they are, farm.toml drafted: %s, %s mapped, %d left for you to name\n", counted(len(files), "file", "files"),
		counted(d.Logs, "logger", "loggers"), counted(d.Mapped, "column", "columns"), d.Left)
	for _, f := range files {
		if f.name != filepath.Base(f.path) {
			fmt.Fprintf(a.stdout, "  %s is called %s there: another file has its name\n", f.path, f.name)
		}
	}
	for _, o := range d.Open {
		wrapped(a.stdout, "  ? ", o)
	}
	fmt.Fprintf(a.stdout, "\nNext:  go through %s, every line marked \"# check\", then\n\n  yardheat report %s\n", filepath.Join(dir, logs.FarmFile), shellWord(dir))
}

// shellWord puts a name with blanks in quotes.
func shellWord(s string) string {
	if strings.ContainsAny(s, " '\"()&;$*") {
		return `"` + s + `"`
	}
	return s
}
