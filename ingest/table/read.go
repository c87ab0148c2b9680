package table

import (
	"fmt"
	"strings"
)

// Error says where a file cannot be used, what stood there, what was
// expected, and what to do about it.
type Error struct {
	File   string
	Sheet  string // "" for a text export
	Line   int    // 1-based line of a text, row of a sheet; 0 = the whole file
	Column int    // 1-based column; 0 = the whole line
	Got    string // what stood there, quoted and cut short
	Want   string
	Do     string
	Err    error // the cause, where there is one
}

// Error gives the whole message: place, finding, expectation, advice.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Sheet != "" {
		fmt.Fprintf(&b, ", sheet %q", e.Sheet)
	}
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
		if e.Column > 0 {
			fmt.Fprintf(&b, ":%d", e.Column)
		}
	}
	fmt.Fprintf(&b, ": got %s", e.Got)
	if e.Want != "" {
		fmt.Fprintf(&b, "; want %s", e.Want)
	}
	if e.Do != "" {
		fmt.Fprintf(&b, "; %s", e.Do)
	}
	return b.String()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Read reads the tables of one export that opt selects: one for a text export
// unless it holds several; for a workbook the named sheet, else every sheet
// that holds data.
func Read(path string, opt Options) ([]*Table, error) {
	return nil, &Error{File: path, Got: "a file", Want: "a reader"}
}

// ReadBytes is Read on bytes already in memory; name is what messages call
// the file.
func ReadBytes(name string, b []byte, opt Options) ([]*Table, error) {
	return nil, &Error{File: name, Got: "a file", Want: "a reader"}
}

// ParseNumber reads one number as written with the given decimal and
// thousands marks ("" decimal = "."). A unit may follow it and is returned as
// written. Text, NaN, infinities, hexadecimal and overflow are not numbers.
func ParseNumber(text, decimal, thousands string) (v float64, unit string, ok bool) {
	return 0, "", false
}

// IsMissing tells whether a cell says that there is no reading ("", "--",
// "n/a", "OL", "#N/A" and the like).
func IsMissing(text string) bool { return strings.TrimSpace(text) == "" }
