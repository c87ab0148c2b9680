package ooxml

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Namespace2003 marks a workbook that is one XML document, as spreadsheet
// programs wrote them from 2003 on, often under the name .xls.
const Namespace2003 = "urn:schemas-microsoft-com:office:spreadsheet"

// Read2003 reads such a workbook to its end; text is its document in UTF-8. For
// every sheet, open gives the function that takes its rows, and what was seen of
// the sheet goes to close. Its cells are of kind n, b, e, i, and d for dates.
func Read2003(text io.Reader, open func(sheet string) func(*Row) error, closed func(*Summary) error) error {
	r := &reader2003{dec: xml.NewDecoder(text), open: open, closed: closed}
	r.dec.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil } // decoded already
	for {
		tok, err := r.dec.Token()
		switch t := tok.(type) {
		case xml.StartElement:
			err = r.start(t)
		case xml.EndElement:
			err = r.end(t.Name.Local)
		case xml.CharData:
			if r.inData {
				r.text = append(r.text, t...)
			}
		case xml.Directive:
			err = fmt.Errorf("%w: it has a document type", ErrSheet)
		}
		if err != nil {
			return r.finish(err)
		}
	}
}

type reader2003 struct {
	dec    *xml.Decoder
	open   func(string) func(*Row) error
	closed func(*Summary) error
	each   func(*Row) error // nil between sheets
	sheet  Summary
	row    Row
	col    int
	cell   Cell
	across int
	inRow  bool
	inCell bool
	inData bool
	filled bool // the open cell has its value
	bare   bool // the open cell is a formula
	text   []byte
	hold   []byte
	depth  int // elements open within a cell's Data
	found  bool
}

// finish settles how the document ended.
func (r *reader2003) finish(err error) error {
	var syntax *xml.SyntaxError
	switch {
	case errors.Is(err, io.EOF) && r.found:
		return nil
	case errors.As(err, &syntax) && strings.Contains(syntax.Msg, "unexpected EOF") && r.each != nil && r.sheet.Last > 0:
		r.sheet.Cut = true
		return r.closed(&r.sheet)
	case errors.As(err, &syntax):
		return fmt.Errorf("%w: behind row %d: %w", ErrSheet, r.sheet.Last, err)
	}
	return err
}

func (r *reader2003) start(t xml.StartElement) error {
	if r.inData { // runs of a text with its own looks
		r.depth++
		return nil
	}
	switch name := t.Name.Local; {
	case name == "Workbook":
		r.found = true
	case r.nested(name):
		return fmt.Errorf("%w: <%s> where none may stand, behind row %d", ErrSheet, name, r.sheet.Last)
	case name == "Worksheet":
		r.sheet, r.each = Summary{}, r.open(attr2003(t.Attr, "Name"))
	case r.each == nil:
	case name == "Row":
		n, err := index2003(t.Attr, r.sheet.Last, MaxRows, "row")
		r.row.Number, r.row.Cells, r.col, r.hold, r.inRow = n, r.row.Cells[:0], 0, r.hold[:0], true
		return err
	case name == "Cell":
		col, err := index2003(t.Attr, r.col, MaxCols, "column")
		r.across, _ = strconv.Atoi(attr2003(t.Attr, "MergeAcross"))
		if r.across < 0 || r.across > MaxCols {
			return fmt.Errorf("%w: a cell merged over %d columns behind row %d", ErrSheet, r.across, r.sheet.Last)
		}
		r.col, r.cell, r.inCell, r.filled = col, Cell{Col: col}, true, false
		r.bare = attr2003(t.Attr, "Formula") != ""
		return err
	case name == "Data":
		r.inData, r.filled, r.text = true, true, r.text[:0]
		return r.kind(attr2003(t.Attr, "Type"))
	}
	return nil
}

// nested tells whether an element stands within one that it may not.
func (r *reader2003) nested(name string) bool {
	switch name {
	case "Worksheet":
		return r.each != nil
	case "Row":
		return r.each != nil && r.inRow
	case "Cell":
		return r.each != nil && (!r.inRow || r.inCell)
	case "Data":
		return r.each != nil && r.inRow && (!r.inCell || r.filled)
	}
	return false
}

// kind takes the type of a value.
func (r *reader2003) kind(name string) error {
	kinds := map[string]byte{"Number": 'n', "Boolean": 'b', "Error": 'e', "String": 'i', "DateTime": 'd'}
	if r.cell.Kind = kinds[name]; r.cell.Kind == 0 {
		return fmt.Errorf("%w: a cell of type %q behind row %d", ErrSheet, name, r.sheet.Last)
	}
	return nil
}

func attr2003(attrs []xml.Attr, name string) string {
	for _, a := range attrs {
		if a.Name.Local == name && (a.Name.Space == "" || a.Name.Space == Namespace2003) {
			return a.Value
		}
	}
	return ""
}

// index2003 gives the number that a row or cell states, else the next.
func index2003(attrs []xml.Attr, last, most int, what string) (int, error) {
	n := last + 1
	if text := attr2003(attrs, "Index"); text != "" {
		var err error
		if n, err = strconv.Atoi(text); err != nil || n <= last {
			return 0, fmt.Errorf("%w: %s %q behind %d", ErrSheet, what, text, last)
		}
	}
	if n > most {
		return 0, fmt.Errorf("%w: %s %d; at most %d are read", ErrSheet, what, n, most)
	}
	return n, nil
}

func (r *reader2003) end(name string) error {
	if r.depth > 0 {
		r.depth--
		return nil
	}
	switch {
	case r.each == nil:
	case name == "Data":
		if r.inData {
			r.value()
		}
	case name == "Cell":
		if r.inCell = false; r.bare && (!r.filled || len(trim(r.text)) == 0) {
			r.sheet.Bare++
		}
		if r.sheet.FirstCol == 0 || r.cell.Col < r.sheet.FirstCol {
			r.sheet.FirstCol = r.cell.Col
		}
		if r.across > 0 && len(r.sheet.Merges) < maxMerges {
			r.sheet.Merges = append(r.sheet.Merges, Merge{r.row.Number, r.cell.Col, min(r.cell.Col+r.across, MaxCols)})
		}
		r.col += r.across
	case name == "Row":
		r.sheet.Last, r.inRow = r.row.Number, false
		return r.each(&r.row)
	case name == "Worksheet":
		r.sheet.DataWhole, r.each = true, nil
		return r.closed(&r.sheet)
	}
	return nil
}

// value takes the open cell's text.
func (r *reader2003) value() {
	r.inData = false
	from := len(r.hold)
	r.hold = append(r.hold, r.text...)
	r.cell.Text = trim(r.hold[from:])
	if r.cell.Kind == 'd' {
		r.cell.Text = clockOf2003(r.cell.Text)
	}
	if len(r.cell.Text) > 0 {
		r.row.Cells = append(r.row.Cells, r.cell)
	}
}

// clockOf2003 writes a time of day, which such a workbook dates 1899-12-31, as
// a time alone.
func clockOf2003(text []byte) []byte {
	rest, ok := strings.CutPrefix(string(text), "1899-12-31T")
	if !ok {
		return text
	}
	at, err := time.Parse("15:04:05.000", rest)
	if err != nil {
		return text
	}
	return appendClock(nil, int64(at.Sub(at.Truncate(24*time.Hour))/time.Millisecond))
}
