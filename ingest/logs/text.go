package logs

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// AsFault turns an error of the table reader into a fault of a file.
func AsFault(file string, err error) series.Fault {
	var e *table.Error
	if !errors.As(err, &e) {
		return series.Fault{File: file, Got: err.Error(), Want: "a readable file", Do: "check the file"}
	}
	t := Table{Table: &table.Table{Sheet: e.Sheet}}
	return series.Fault{File: file, Where: t.Place(e.Line, e.Column-1), Got: e.Got, Want: e.Want, Do: e.Do}
}

// quoted is what stood in a cell, in quotes and cut short.
func quoted(s string) string {
	if utf8.RuneCountInString(s) > 40 {
		s = string([]rune(s)[:39]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// joinQuoted lists names for a message, the first few.
func joinQuoted(names []string, most int) string {
	var b strings.Builder
	for i, n := range names {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(names)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(quoted(n))
	}
	return b.String()
}

// plural is "1 row", "2 rows".
func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
