package table

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"yardheat/ingest/table/celltext"
	"yardheat/ingest/work"
)

// DefaultMaxBytes is how much of a text export is read where
// Options.MaxBytes is 0.
const DefaultMaxBytes = 2 << 30

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

// ErrEmpty is the cause where a file holds nothing at all: among others it can
// be passed over.
var ErrEmpty = errors.New("empty file")

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	if _, ok := separatorByte(o.Separator); o.Separator != "" && !ok {
		return fmt.Errorf("separator: got %q; want one of , ; tab | blank", o.Separator)
	}
	if o.Decimal != "" && o.Decimal != "." && o.Decimal != "," {
		return fmt.Errorf("decimal: got %q; want . or ,", o.Decimal)
	}
	if o.Thousands != "" && o.Thousands == o.Decimal {
		return fmt.Errorf("thousands: got %q; want another mark than decimal", o.Thousands)
	}
	if len([]rune(o.Thousands)) > 1 || strings.ContainsAny(o.Thousands, "0123456789-+") {
		return fmt.Errorf("thousands: got %q; want one of . , ' or a blank", o.Thousands)
	}
	if _, ok := charsets[charsetKey(o.Encoding)]; o.Encoding != "" && !ok {
		return fmt.Errorf("encoding: got %q; want one of %s", o.Encoding, charsetNames)
	}
	if o.Table < 0 {
		return fmt.Errorf("table: got %d; want 1 or more", o.Table)
	}
	if o.Header != nil && *o.Header < 0 {
		return fmt.Errorf("header: got %d; want 0 (none) or a line number", *o.Header)
	}
	return nil
}

// check is what the readers below ask now and then.
func (o Options) check() func() { return func() { work.Check(o.Context) } }

// Read reads the tables of one export that opt selects: one for a text export
// unless it holds several; for a workbook the named sheet, else every sheet
// that holds data.
func Read(path string, opt Options) ([]*Table, error) {
	limit := opt.MaxBytes
	if limit == 0 {
		limit = DefaultMaxBytes
	}
	b, err := readFile(path, limit)
	if err != nil {
		return nil, err
	}
	opt.Owned = true
	return ReadBytes(path, b, opt)
}

func readFile(path string, limit int64) ([]byte, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() && !info.IsDir() { // a pipe would wait for who writes it
		return nil, &Error{File: path, Got: "no plain file", Want: "a file"}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, &Error{File: path, Got: "a file that cannot be opened (" + reason(err) + ")", Want: "a readable file",
			Do: "check the name and whether another program holds it open", Err: err}
	}
	defer func() { _ = f.Close() }() // read only
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		return nil, &Error{File: path, Got: "a folder", Want: "a file"}
	}
	size := int64(0)
	if err == nil {
		size = info.Size()
	}
	if size > limit {
		return nil, tooLarge(path, size, limit)
	}
	buf := bytes.NewBuffer(make([]byte, 0, size+bytes.MinRead))
	n, err := buf.ReadFrom(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, &Error{File: path, Got: "a read error (" + reason(err) + ")", Want: "a readable file", Do: "copy the file from the logger again", Err: err}
	}
	if n > limit {
		return nil, tooLarge(path, n, limit)
	}
	return buf.Bytes(), nil
}

// reason is an error without the path, which the message names already.
func reason(err error) string {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

func tooLarge(path string, size, limit int64) error {
	return &Error{File: path, Got: fmt.Sprintf("at least %d bytes", size), Want: fmt.Sprintf("at most %d", limit), Do: "export shorter stretches, one file each"}
}

// ReadBytes is Read on bytes already in memory; name is what messages call
// the file. Exports packed as .gz or .zip are taken out first: the tables of a
// member bear its name behind the file's, and the hash of the file as it lies.
func ReadBytes(name string, b []byte, opt Options) (found []*Table, err error) {
	defer work.Catch(&err)
	if err := opt.Validate(); err != nil {
		return nil, &Error{File: name, Got: "options that cannot be used", Want: err.Error(), Do: "correct [[log]] in farm.toml", Err: err}
	}
	tables, err := readPacked(name, b, opt)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b)
	for _, t := range tables {
		t.SizeB, t.SHA256 = int64(len(b)), hex.EncodeToString(sum[:])
	}
	return tables, nil
}

// ParseNumber reads one number as written with a table's marks; see
// celltext.ParseNumber.
func ParseNumber(text, decimal, thousands string) (v float64, unit string, ok bool) {
	return celltext.ParseNumber(text, decimal, thousands)
}

// IsMissing tells whether a cell says that there is no reading ("", "--",
// "n/a", "OL", "#N/A" and the like).
func IsMissing(text string) bool { return celltext.IsMissing(text) }
