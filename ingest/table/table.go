// Package table turns the bytes of one export into cells: it finds encoding,
// separator, decimal mark, preamble, header, unit row and footer of a text
// export, or reads a sheet of a workbook. It knows no quantities and no
// clocks.
//
// Flow: pack (out of .gz and .zip) → what the bytes are, by their content and
// never by a name (text in columns, text of named values, workbook, web page,
// XML) → Table: header, units, rows of texts as written, each with its line or
// sheet row. What the file alone can't settle is settled by Options, and what was
// assumed, left out or odd is a Problem with its line. A file that holds no table
// is an *Error that says what stood there and what to do; ErrEmpty is none at all.
// Sizes are bounded (MaxTextB, Options), since exports come from anywhere.
package table

import "context"

// Options are what the farm file says of a log's layout; zero values mean
// "find it in the file".
type Options struct {
	Sheet     string
	Table     int // 1, 2, … where a file holds several; 0 = the first or only one
	Encoding  string
	Separator string // "," ";" "\t" "|" " " (blanks, fixed width) or "" = find
	Decimal   string // "." "," or "" = find
	Thousands string
	// Header is the 1-based line of the header, 0 = none; nil = find.
	Header *int
	// MaxBytes caps what is read (0 = default 2 GiB for text).
	MaxBytes int64
	// Owned: nobody changes the bytes as long as the tables are in use, so that the
	// cells of a text in UTF-8 can be pieces of them, without a copy.
	Owned bool
	// Context ends the reading with its error; nil = it never ends.
	Context context.Context
}

// Table is one table of one export.
type Table struct {
	File, Sheet string
	Encoding    string
	Separator   string // "" for a workbook; " " for blanks and columns of fixed width
	Decimal     string // "." or ","; "" = not settled by the file (every number is whole)
	Thousands   string
	// TextDecimal is the decimal mark of a workbook's numbers that stand as
	// text ("" = none do); in Rows they have a point like the others.
	TextDecimal string
	HeaderLine  int // 1-based; 0 = none
	// Header: the columns' names (several header rows joined by one space,
	// blanks folded); Units: the unit text found in a unit row or in the
	// header ("" = none).
	Header []string
	Units  []string
	// Preamble are the filled rows above the header (or, where there is none,
	// the first row) that belong to no other table.
	Preamble []Row
	// Rows, in file order, preamble, header, unit rows and footers left out.
	Rows []Row
	// Paired: the table is one of several that stand side by side, each with
	// stamps of its own; its columns are counted from its first.
	Paired bool
	// Problems met while reading (with line and column).
	Problems []Problem
	SizeB    int64
	SHA256   string
}

// Row is one row: Line is the 1-based line of a text file or row of a sheet.
// Cells are as written, trimmed, as many as the table has columns; in a
// workbook numbers come with a point, real dates as "2006-01-02T15:04:05.000"
// (wall clock, no zone), times of day alone as "15:04:05", yes-or-no cells as
// TRUE and FALSE.
type Row struct {
	Line  int
	Cells []string
}

// Problem is something met while reading one table; Code as in results.json.
type Problem struct {
	Code   string
	Line   int
	Column int
	Text   string
}
