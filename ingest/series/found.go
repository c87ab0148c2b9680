package series

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Found is what a stage found wrong (the input cannot be used) or doubtful.
type Found struct {
	Faults   []Fault
	Problems []Problem
}

// Fault books a reason why the input cannot be used.
func (f *Found) Fault(file, where, got, want, do string) {
	f.Faults = append(f.Faults, Fault{File: file, Where: where, Got: got, Want: want, Do: do})
}

// Problem books something doubtful.
func (f *Found) Problem(code string, sev Severity, file, where, format string, args ...any) {
	f.Problems = append(f.Problems, Problem{Code: code, Severity: sev, File: file, Where: where, Text: fmt.Sprintf(format, args...)})
}

// Add books what another stage found.
func (f *Found) Add(o Found) {
	f.Faults, f.Problems = append(f.Faults, o.Faults...), append(f.Problems, o.Problems...)
}

// PlaceOf names a cell: "line 12, column 4" of a text, `sheet "Log", D12` of a
// workbook (sheet not ""). Line and column count from 1; 0 = the whole.
func PlaceOf(sheet string, line, column int) string {
	switch {
	case sheet != "" && column > 0 && line > 0:
		return fmt.Sprintf("sheet %q, %s%d", sheet, letters(column), line)
	case sheet != "" && line > 0:
		return fmt.Sprintf("sheet %q, row %d", sheet, line)
	case sheet != "":
		return fmt.Sprintf("sheet %q", sheet)
	case line <= 0:
		return ""
	case column > 0:
		return fmt.Sprintf("line %d, column %d", line, column)
	}
	return fmt.Sprintf("line %d", line)
}

// letters are a spreadsheet's column letters, 1 = A.
func letters(column int) string {
	s := ""
	for ; column > 0; column = (column - 1) / 26 {
		s = string(rune('A'+(column-1)%26)) + s
	}
	return s
}

// Quoted is what stood in a cell, in quotes and cut short.
func Quoted(s string) string {
	if utf8.RuneCountInString(s) > 40 {
		s = string([]rune(s)[:39]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// List is some names in quotes, at most so many, then how many more.
func List(names []string, most int) string {
	var b strings.Builder
	for i, n := range names {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(names)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(Quoted(n))
	}
	return b.String()
}

// Plural is "1 row", "2 rows".
func Plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
