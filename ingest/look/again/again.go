// Package again holds new exports against a farm that stands: on which [[log]]
// each belongs, and what is different about it, said before anything is computed.
// It knows descriptions of files (package look), no rows, and it speaks in codes:
// a page has its own sentences.
//
// Flow: the tables read so far → what each [[log]] looked like (known.go) → each
// new table against each log (match.go) → columns (columns.go), layout
// (layout.go), time (when.go) → findings → a Plan of edits (plan.go).
package again

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"

	"yardheat/ingest/farm"
	"yardheat/ingest/look"
)

// File is one export and what look says of its tables.
type File struct {
	// Name in the farm folder, with /.
	Name string
	// SHA256 of its bytes in hex, "" = not known.
	SHA256 string
	Tables []look.Table
}

// Known is the farm that stands, with the files that it has read so far.
type Known struct {
	Farm  *farm.Farm
	Files []File
}

// Sure is how sure a match is.
type Sure string

// From certain to none.
const (
	Certain Sure = "certain"
	Likely  Sure = "likely"
	Guess   Sure = "guess"
	None    Sure = "none"
)

// Code says what a finding is.
type Code string

// The codes, in the order in which a page lists them.
const (
	// GivenAlready: the file's bytes are those of File.
	GivenAlready Code = "given-already"
	// NameTaken: another file of that name stands in the farm folder.
	NameTaken Code = "name-taken"
	// NoStamps: no row of readings was understood.
	NoStamps Code = "no-stamps"
	// MilkingsList: the table is the farm's list of milkings, or a part of it.
	MilkingsList Code = "milkings-list"
	// NewLog: nothing like any [[log]].
	NewLog Code = "new-log"
	// SeveralLogs: the logs of Logs fit about as well as the one that was taken.
	SeveralLogs Code = "several-logs"
	// ReadByOther: the patterns of the logs of Logs name the file, though it belongs
	// elsewhere: give it another name.
	ReadByOther Code = "read-by-other"
	// SheetChanged, TableChanged: the log reads sheet (or table) Was; here it is Is.
	SheetChanged Code = "sheet-changed"
	TableChanged Code = "table-changed"
	// ColumnRenamed: Column stands where Was stood, or like it. Sure says how sure,
	// Others what else it may be.
	ColumnRenamed Code = "column-renamed"
	// ColumnMissing: the mapped column Was is not in the file.
	ColumnMissing Code = "column-missing"
	// ColumnMoved: the log calls a column by its number, and another header than
	// before stands there: Was, now Is.
	ColumnMoved Code = "column-moved"
	// ColumnNew: a column of readings that no earlier file had.
	ColumnNew Code = "column-new"
	// UnitChanged: of Column; Stated where the farm file states the unit.
	UnitChanged Code = "unit-changed"
	// KindChanged: a running counter became amounts, say.
	KindChanged Code = "kind-changed"
	// RangeElsewhere: no reading of Column lies where its readings lay before.
	RangeElsewhere Code = "range-elsewhere"
	// ColumnSilent: a mapped column that had readings before has none.
	ColumnSilent Code = "column-silent"
	// StampColumnsChanged, StampsChanged, DatesChanged, ZoneChanged, DecimalChanged,
	// HeaderChanged, SeparatorChanged, EncodingChanged: Was, now Is. Stated where
	// the farm file states it of the log, so that the file cannot be read with the
	// others: its plan is a [[log]] of its own.
	StampColumnsChanged Code = "stamp-columns-changed"
	StampsChanged       Code = "stamps-changed"
	DatesChanged        Code = "dates-changed"
	ZoneChanged         Code = "zone-changed"
	DecimalChanged      Code = "decimal-changed"
	HeaderChanged       Code = "header-changed"
	SeparatorChanged    Code = "separator-changed"
	EncodingChanged     Code = "encoding-changed"
	// IntervalChanged: WasS, now IsS seconds.
	IntervalChanged Code = "interval-changed"
	// Overlap: From to To is also in File; Agrees says as far as can be told.
	Overlap Code = "overlap"
	// Gap: nothing from From to To, Seconds long.
	Gap Code = "gap"
	// Earlier: the file begins before everything that the farm has: From to To.
	Earlier Code = "earlier"
)

// Agree is whether two files say the same of one time, as far as a description
// can tell.
type Agree string

// The three.
const (
	Same    Agree = "same"
	Differs Agree = "differs"
	Open    Agree = "open"
)

// Finding is one thing that is different. Fields that do not belong to its code
// are empty.
type Finding struct {
	Code   Code
	Column string // as [log.columns] calls it
	Was    string
	Is     string
	// Quantity, with place, that the farm maps or look guesses.
	Quantity string
	Sure     Sure
	Others   []string
	Logs     []int
	File     string
	// From and To are RFC 3339, with an offset where the zone is known.
	From, To string
	Seconds  float64
	WasS     float64
	IsS      float64
	Agrees   Agree
	Stated   bool
}

// State is what became of a column.
type State string

// The states of a column of a new table.
const (
	// Mapped: the farm file names it.
	Mapped State = "mapped"
	// Ignored: the farm file says "ignore".
	Ignored State = "ignored"
	// Renamed: taken for one that the farm file names otherwise; where that is but a
	// guess it is mapped only if the farmer says so (Answer.Same).
	Renamed State = "renamed"
	// Passed: earlier files had it, and the farm file does not name it.
	Passed State = "passed"
	// Fresh: no earlier file had it.
	Fresh State = "fresh"
	// Unread: text, marks, a running number.
	Unread State = "unread"
)

// Column is one column, or tag, of a new table.
type Column struct {
	// Key is how [log.columns] calls it.
	Key   string
	State State
	// Like is the farm file's key for it where State is Mapped or Renamed.
	Like string
	// Sure says how sure it is that a Renamed one is that column.
	Sure Sure
	// Quantity and Place of the farm file, else as look guesses.
	Quantity, Place string
	Look            look.Column
}

// Match is what is found of one new table.
type Match struct {
	File  string
	Table *look.Table
	// Log is the index of its [[log]]; -1 = none: a [[log]] of its own.
	Log  int
	Sure Sure
	// Score is 0 to 1.
	Score float64
	// Covered: the log's patterns name the file already.
	Covered bool
	// Apart: it belongs to Log, but cannot be read with its settings.
	Apart    bool
	Columns  []Column
	Findings []Finding
}

// Has tells whether a finding of a code is there.
func (m *Match) Has(c Code) bool {
	return slices.ContainsFunc(m.Findings, func(f Finding) bool { return f.Code == c })
}

// Result is what is found of all new files: a match for each table, in the order
// of the files.
type Result struct {
	Matches []Match
	known   Known
	logs    []*logged
}

// Compare holds new files against the farm and against each other.
func Compare(k Known, files []File) *Result {
	r := &Result{known: k, logs: known(k)}
	for i := range files {
		f := &files[i]
		for n := range f.Tables {
			t := f.Tables[n] // a copy: the same table may be given as known and as new
			r.Matches = append(r.Matches, r.match(f, &t))
		}
	}
	r.times()
	for i := range r.Matches {
		slices.SortStableFunc(r.Matches[i].Findings, func(a, b Finding) int { return cmp.Compare(rank(a.Code), rank(b.Code)) })
	}
	return r
}

// codes in their order.
var codes = []Code{GivenAlready, NameTaken, NoStamps, MilkingsList, NewLog, SeveralLogs, ReadByOther, SheetChanged, TableChanged, ColumnRenamed, ColumnMissing, ColumnMoved,
	ColumnNew, UnitChanged, KindChanged, RangeElsewhere, ColumnSilent, StampColumnsChanged, StampsChanged, DatesChanged, ZoneChanged, DecimalChanged, HeaderChanged,
	SeparatorChanged, EncodingChanged, IntervalChanged, Overlap, Gap, Earlier}

// Codes are all codes in the order in which a page lists them.
func Codes() []Code { return slices.Clone(codes) }

func rank(c Code) int { return slices.Index(codes, c) }

// match finds the log of one table and what is different.
func (r *Result) match(f *File, t *look.Table) Match {
	m := Match{File: f.Name, Table: t, Log: -1, Sure: None}
	r.given(f, &m)
	if r.isMilkings(f.Name, t) {
		m.add(Finding{Code: MilkingsList, File: r.known.Farm.Milkings.File, From: t.First, To: t.Last})
		return m
	}
	if t.Rows == 0 {
		m.add(Finding{Code: NoStamps})
	}
	r.choose(f.Name, t, &m)
	m.columns(r.logOf(&m))
	if m.Log < 0 {
		m.add(Finding{Code: NewLog})
		return m
	}
	l := r.logs[m.Log]
	m.Covered = covers(l.log, f.Name)
	m.columnFindings(l)
	m.layout(l, r.known.Farm)
	return m
}

func (r *Result) logOf(m *Match) *logged {
	if m.Log < 0 {
		return nil
	}
	return r.logs[m.Log]
}

func (m *Match) add(f Finding) { m.Findings = append(m.Findings, f) }

// given tells files that were given before, and names that are taken.
func (r *Result) given(f *File, m *Match) {
	for _, o := range r.known.Files {
		same := f.SHA256 != "" && strings.EqualFold(o.SHA256, f.SHA256)
		if same {
			m.add(Finding{Code: GivenAlready, File: o.Name})
		}
		if strings.EqualFold(o.Name, f.Name) && !same {
			m.add(Finding{Code: NameTaken, File: o.Name})
		}
	}
}

// isMilkings tells the farm's list of milkings by its name or its headers.
func (r *Result) isMilkings(name string, t *look.Table) bool {
	list := r.known.Farm.Milkings
	if list.File == "" {
		return false
	}
	if list.File == name {
		return true
	}
	if len(list.Columns) < 2 {
		return false
	}
	for _, h := range list.Columns {
		if !slices.Contains(t.Stamp.Columns, h) && !slices.ContainsFunc(t.Columns, func(c look.Column) bool { return !c.Tag && c.Name == h }) {
			return false
		}
	}
	return true
}

// covers tells whether a log's patterns name a file, as the loader reads them.
func covers(l *farm.Log, name string) bool {
	for _, glob := range l.Files {
		if glob == name {
			return true
		}
		ok, err := path.Match(glob, name)
		if base := path.Base(name); err == nil && ok && !strings.HasPrefix(base, ".") && !strings.HasPrefix(base, "~$") && name != "farm.toml" {
			return true
		}
	}
	return false
}

// mapping is a column of the farm file as it writes it.
func mapping(c *farm.Column) string {
	if c.Place == "" {
		return c.Quantity
	}
	return fmt.Sprintf("%s@%s", c.Quantity, c.Place)
}
