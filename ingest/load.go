package ingest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/clockfind"
	"yardheat/ingest/farm"
	"yardheat/ingest/logs"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// FlagOptions are the thresholds by which readings are flagged.
type FlagOptions = reading.FlagOptions

// LoadOptions are what Load is told beside the farm folder.
type LoadOptions struct {
	// Now: stamps later than this are in the future and not used; zero = not
	// asked.
	Now   time.Time
	Flags FlagOptions
	// Workers is how many files are read at a time.
	Workers int
	// StreamBytes: text exports from this size on are read as streams, row by
	// row into numbers; below 0 = never. What is read does not depend on it.
	StreamBytes int64
	// Progress is told what is being done: the stages StageRead to StageFlag of
	// package work, in this order, files by name. nil = nobody asks. It is never
	// called twice at once, and never goes back.
	Progress func(work.Progress)
	// Context ends the reading: Load then gives its error. nil = it never ends.
	// It is no setting, and the record does not keep it.
	Context context.Context
}

// DefaultLoadOptions gives the options that a run starts from.
func DefaultLoadOptions() LoadOptions {
	return LoadOptions{Flags: reading.DefaultFlagOptions(), Workers: 2, StreamBytes: logs.DefaultStreamBytes}
}

// Validate names the option that is out of bounds.
func (o LoadOptions) Validate() error {
	if o.Workers < 1 || o.Workers > 64 {
		return fmt.Errorf("load: Workers = %d: want 1 to 64", o.Workers)
	}
	return o.Flags.Validate()
}

// Load reads a farm folder: farm.toml, the logs it names, the milkings list.
// What is doubtful stands in Record.Problems. The error is an *InputError with
// every fault of the run where the input cannot be used, another error where
// opt is wrong or opt.Context has ended.
func Load(dir string, opt LoadOptions) (rec *Record, err error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	defer work.Catch(&err)
	l := &loader{opt: opt, told: work.NewTeller(opt.Progress), rec: &Record{Dir: dir}}
	work.Check(opt.Context)
	if l.open(dir) {
		defer func() { _ = l.root.Close() }() // read only
		l.load()
	}
	if len(l.faults) > 0 {
		return nil, &InputError{Faults: l.faults}
	}
	return l.rec, nil
}

// loader is one run of Load.
type loader struct {
	opt    LoadOptions
	told   *work.Teller
	root   *os.Root
	farm   *farm.Farm
	rec    *Record
	faults []Fault
	logs   []*logs.Log
	// probes are the columns behind Record.Series, by index.
	probes []probe
	// clocks are those that were found, by log.
	clocks map[int]*clockfind.Found
}

// probe is where a series comes from.
type probe struct {
	log    *logs.Log
	column *logs.Column
	limits reading.Limits
}

func (l *loader) fault(file, where, got, want, do string) {
	l.faults = append(l.faults, Fault{File: file, Where: where, Got: got, Want: want, Do: do})
}

func (l *loader) problem(code string, sev series.Severity, file, where, format string, args ...any) {
	l.rec.Problems = append(l.rec.Problems, series.Problem{Code: code, Severity: sev, File: file, Where: where, Text: fmt.Sprintf(format, args...)})
}

// open opens the folder and reads farm.toml.
func (l *loader) open(dir string) bool {
	const do = "name a folder with a farm.toml and the logs in it"
	root, err := os.OpenRoot(dir)
	if err != nil {
		l.fault(dir, "", reason(err), "a farm folder", do)
		return false
	}
	l.root = root
	src, err := logs.ReadBytes(root, logs.FarmFile)
	if errors.Is(err, fs.ErrNotExist) {
		l.fault(dir, "", "a folder without farm.toml", "a farm folder", do)
		return false
	}
	if err != nil {
		l.faults = append(l.faults, logs.AsFault(logs.FarmFile, err))
		return false
	}
	l.rec.own(logs.FarmFile, src)
	f, faults := farm.Read(logs.FarmFile, src)
	l.faults = append(l.faults, faults...)
	l.farm, l.rec.Farm = f, f
	if f != nil {
		l.rec.Zone = f.Zone
	}
	return f != nil && len(faults) == 0
}

func reason(err error) string {
	var p *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "no such folder"
	case errors.As(err, &p):
		return p.Err.Error()
	}
	return err.Error()
}

// load reads the logs, makes series of them, flags and checks them.
func (l *loader) load() {
	if len(l.farm.Logs) == 0 {
		l.fault(logs.FarmFile, "", "no [[log]]", "at least one [[log]] with files and columns", "add one")
		return
	}
	l.opt.Flags = l.opt.Flags.With(l.farm.FlagKeys)
	l.rec.Options = l.opt
	l.rec.Options.Context, l.rec.Options.Progress = nil, nil
	for _, step := range [...]func(){l.readLogs, l.makeSeries, l.findClocks, l.flagAll, l.nothingKept, l.doubts, l.span, l.files, l.milkings, l.eventList, l.originals} {
		work.Check(l.opt.Context)
		step()
	}
}

// originals lists every file that was read, once.
func (l *loader) originals() {
	all := append([]Own{}, l.rec.Own...)
	for _, g := range l.logs {
		for _, o := range g.Originals() {
			all = append(all, Own(o))
		}
	}
	// Of a file that two logs read, the entry with a hash comes first.
	slices.SortStableFunc(all, func(a, b Own) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(b.SHA256, a.SHA256))
	})
	l.rec.Originals = slices.CompactFunc(all, func(a, b Own) bool { return a.Name == b.Name })
}

// nothingKept is a fault where no reading of any column was kept.
func (l *loader) nothingKept() {
	if len(l.faults) > 0 {
		return
	}
	for _, s := range l.rec.Series {
		if s.Kept() > 0 {
			return
		}
	}
	got := "no reading at all"
	if n := len(l.rec.Series); n > 0 {
		got = fmt.Sprintf("%d columns, every reading of which is missing or flagged", n)
	}
	if p := l.rec.Problems; len(p) > 0 {
		got += " (" + p[len(p)-1].File + ": " + p[len(p)-1].Text + ")"
	}
	l.fault(logs.FarmFile, "[[log]]", got, "logs with usable readings", "see units, ranges in [flags], and the columns that are named")
}

// span sets the record's first and last kept reading.
func (l *loader) span() {
	some := false
	for _, s := range l.rec.Series {
		first, last := 0, len(s.T)-1
		for first <= last && s.Flags.At(first) != 0 {
			first++
		}
		for last > first && s.Flags.At(last) != 0 {
			last--
		}
		if first > last {
			continue
		}
		if !some || s.T[first] < l.rec.First {
			l.rec.First = s.T[first]
		}
		if !some || s.T[last] > l.rec.Last {
			l.rec.Last = s.T[last]
		}
		some = true
	}
}

// files lists the originals and what became of them.
func (l *loader) files() {
	for _, p := range l.probes {
		l.rec.Limits = append(l.rec.Limits, p.limits)
	}
	n := 0
	for _, g := range l.logs {
		n += len(g.Tables)
	}
	l.rec.Files = make([]File, n)
	rows := make([][]bool, n)
	flags := make([][len(series.FlagNames)]int, n)
	for _, s := range l.rec.Series {
		keptRows(s, rows)
		s.Flags.Each(func(i int, x series.Flag) {
			of := &flags[s.Origins.At(i).File]
			for bit := range of {
				if x&(1<<bit) != 0 {
					of[bit]++
				}
			}
		})
	}
	for _, g := range l.logs {
		for _, t := range g.Tables {
			kept := 0
			for _, yes := range rows[t.File] {
				if yes {
					kept++
				}
			}
			l.rec.Files[t.File] = fileOf(g, t, kept)
			l.rec.Files[t.File].Flags = flags[t.File]
			l.ownClock(g.Index, &l.rec.Files[t.File].Clock)
		}
	}
}

// keptRows notes, by line, the rows of each file of which a reading was kept.
func keptRows(s *series.Series, rows [][]bool) {
	for _, r := range s.Origins.Runs() {
		top := int(max(r.First.Line, r.First.Line+r.Step*int32(r.N-1)))
		of := &rows[r.First.File]
		if n := top + 1 - len(*of); n > 0 {
			*of = append(*of, make([]bool, n)...)
		}
		line, step := int(r.First.Line), int(r.Step)
		if step == 1 {
			for i, end := r.At, r.At+r.N; i < end; i++ {
				clean := s.Flags.Until(i, end)
				fillTrue((*of)[line+i-r.At : line+clean-r.At])
				i = clean
			}
			continue
		}
		for i := r.At; i < r.At+r.N; i++ {
			if !(*of)[line] && s.Flags.At(i) == 0 {
				(*of)[line] = true
			}
			line += step
		}
	}
}

// fillTrue sets all to true.
func fillTrue(b []bool) {
	for n := 0; n < len(b); {
		if n == 0 {
			b[0], n = true, 1
			continue
		}
		n += copy(b[n:], b[:min(n, 4096)])
	}
}

func fileOf(g *logs.Log, t *logs.Table, kept int) File {
	c := Clock{AheadS: t.AheadS, DriftSPerDay: t.Shift.DriftSPerDay, Low: nan, High: nan, From: "keep"}
	if !t.Shift.Zero() {
		c.From = "given"
	}
	if g.Farm.Clock == "find" {
		c.From = "not found"
	}
	for _, j := range t.Shift.Jumps {
		c.Jumps = append(c.Jumps, Jump{At: j.AtMS, ByS: j.ByS})
	}
	var aside []string
	for _, col := range g.Farm.Columns {
		if col.Quantity == "ignore" && len(t.Find(col.Header)) > 0 {
			aside = append(aside, col.Header)
		}
	}
	layout, because := t.Layout()
	return File{SetAside: aside, StampColumns: t.StampHeaders(), StampLayout: layout, StampBecause: because, Name: t.Name, Sheet: t.Sheet, Log: g.Index, SizeB: t.SizeB, SHA256: t.SHA256, Rows: t.RowCount, Kept: kept, First: t.First, Last: t.Last,
		Zone: t.Zone, Encoding: t.Encoding, Separator: t.Separator, Decimal: t.Decimal, HeaderLine: t.HeaderLine, Clock: c, Corrections: t.Corrections, Ignored: t.Ignored}
}
