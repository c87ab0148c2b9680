// Package farms keeps the folders that the page works on: farms, the files that
// were given and wait to be taken in, the farm file and its earlier forms, and
// the finished reports. It opens nothing outside the farm's own folder.
//
//	HOME/                    farms, a folder each; or HOME is itself the one farm
//	  NAME/farm.toml         the farm file
//	  NAME/*.csv …           logs as exported, never altered
//	  NAME/.yardheat/new/ID/ a file that was given: "content" and about.json
//	  NAME/.yardheat/before/ earlier forms of farm.toml
//	  NAME/.yardheat/keep.json  the journal of files becoming logs, while they do
//	  NAME/.yardheat/lock    held by the program whose page works on the farm
//	  NAME/.yardheat/part-*, drop-*  not whole yet, or being removed; a start clears them
//	  NAME/reports/STAMP/    finished reports, whole or absent
//	  NAME/report/           the report that the command line wrote
//	HOME/.yardheat/page      held by the program whose page serves HOME
//
// Every access goes through os.Root, and a link where a folder or file of the farm
// belongs is refused. Names come from elsewhere and are cleaned; the folders in
// which files wait bear names of our own.
//
// What a function has acknowledged is on the disk: files are synced, then put in
// place by a rename.
package farms

import (
	"errors"
	"io"
	"os"
	"time"
)

// The errors that callers tell apart.
var (
	ErrNotFound = errors.New("there is no such farm, file or report")
	ErrName     = errors.New("the name cannot be one of a folder or file")
	ErrExists   = errors.New("the name is taken")
	ErrTooLarge = errors.New("the file is larger than the page takes")
	ErrTooMany  = errors.New("more files wait than the page takes")
	ErrLink     = errors.New("a link or a thing that is no plain file stands where a file or folder of the farm belongs; put the real one there")
	ErrBusy     = errors.New("another yardheat page is working on this folder; use that one, or stop it first")
	ErrFull     = errors.New("the disk is full")
	ErrChanged  = errors.New("farm.toml was changed since it was read")
)

// Limits of what is taken.
type Limits struct {
	FileB    int64 // bytes of one file
	Files    int   // files that may wait in one farm
	NameRune int   // length of a name
	TotalB   int64 // bytes of all files that wait in one farm
}

// DefaultLimits are those of a page that nobody set otherwise.
func DefaultLimits() Limits {
	return Limits{FileB: 512 << 20, Files: 400, NameRune: 120, TotalB: 8 << 30}
}

// Waiting is a file that was given and is not yet one of the farm's logs.
type Waiting struct {
	ID     string // made by us; the folder's name
	Name   string // as given, cleaned: what it will be called among the logs
	Given  string // as given, for showing only
	SizeB  int64
	SHA256 string
	At     time.Time
}

// Report is one finished report of the farm.
type Report struct {
	ID  string // the folder's name: local time of making, 2026-11-28-091500; or report
	Dir string
	At  time.Time
}

// Store is what the pages need of the disk. *Home implements it.
type Store interface {
	// Dir is the folder of farms, or the one farm; One says which.
	Dir() string
	One() bool
	// List names the farms, sorted; Find gives one, or ErrNotFound.
	List() ([]string, error)
	Find(name string) (Farm, error)
	// New makes the folder of a farm called so and gives its name, which may be
	// plainer than the title; ErrName, ErrExists.
	New(title string) (Farm, error)
}

// Farm is one farm's folder.
type Farm interface {
	Name() string
	Dir() string
	// Title is what the farm file calls it, else what New was told.
	Title() string
	// TOML is farm.toml as it stands; ErrNotFound before the first files were kept.
	TOML() ([]byte, error)
	// SetTOML replaces farm.toml at once and keeps the earlier form; before is what
	// the caller had read (nil: there was none), else ErrChanged.
	SetTOML(before, after []byte) error

	// Earlier lists earlier forms of farm.toml, newest first; EarlierTOML gives one.
	Earlier() ([]Earlier, error)
	EarlierTOML(id string) ([]byte, error)

	// Receive takes a file in; when it returns, the file stands on the disk.
	Receive(name string, content io.Reader) (Waiting, error)
	// Waiting lists the files that wait, as they came.
	Waiting() ([]Waiting, error)
	// Content is where a waiting file can be read.
	Content(id string) (path string, err error)
	// Note and SetNote keep what the farmer chose for a waiting file, in a form of
	// the caller's; nil where there is none.
	Note(id string) ([]byte, error)
	SetNote(id string, note []byte) error
	// Drop takes a waiting file out again.
	Drop(id string) error
	// Keep moves the files among the logs under the given names and replaces
	// farm.toml, all or nothing, also when the power fails in between. A name that
	// is taken is refused with ErrExists.
	Keep(names map[string]string, before, after []byte) error

	// Reports of the farm, newest first; Report gives one.
	Reports() ([]Report, error)
	Report(id string) (Report, error)
	// NextReport is a folder for a report made now; nothing is made.
	NextReport(now time.Time) Report
	// DropReport removes a report and nothing else.
	DropReport(id string) error
	// ReportFile opens one of a report's files, by the name that reports.Files gives
	// it, '/' separators; else ErrNotFound.
	ReportFile(id, name string) (*os.File, error)
	// Logs are the files of the folder that could be logs, by name.
	Logs() ([]Log, error)
	// FreeName is a name for a new log, made of a given one, that Keep will take.
	FreeName(name string) (string, error)
}

// Log is a file in the farm's folder that could be a log.
type Log struct {
	Name  string // relative, '/' separators
	SizeB int64
	At    time.Time
}
