package table

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Bounds of a sheet: the format's own for rows, ours for columns.
const (
	maxSheetRows = 1_048_576
	maxSheetCols = 512
)

// sheetScan is what reading a sheet's XML to its end found: where cells stand
// and of what kind they are, not what is in them.
type sheetScan struct {
	rows      []scanRow
	cells     []scanCell
	merges    []string
	last      int // number of the last row
	declared  int // last row by the sheet's own dimension, 0 = not said
	maxText   int // highest shared-string index, -1 = none
	styled    bool
	bare      int  // formulas without a cached value
	dataWhole bool // the end of the rows was seen
	// cut: the XML ends early; repaired is then the sheet closed behind its
	// last whole row, and rows and cells go no further.
	cut      bool
	repaired []byte
}

type scanRow struct{ number, from, to int } // cells[from:to]

type scanCell struct {
	col   uint16 // 1-based
	style uint16
	kind  byte // n number, s shared, i inline, t formula text, b boolean, e error, d date text
	value bool // a value stands there
}

// scanner reads the tokens of one sheet.
type scanner struct {
	sheetScan
	dec             *xml.Decoder
	open            []string // names of open elements, prefix included
	row             scanRow
	cell            scanCell
	inCell          bool
	formula, result bool  // the cell holds a formula, a <v> or <is>
	wholeTo         int64 // offset behind the last whole row
	wholeOpen       []string
}

// errSheet is malformed XML or a sheet that breaks its own numbering.
var errSheet = errors.New("damaged sheet")

// scanSheet reads a sheet's XML to its end and checks it.
func scanSheet(data []byte) (*sheetScan, error) {
	s := &scanner{dec: xml.NewDecoder(bytes.NewReader(data))}
	s.maxText = -1
	for {
		tok, err := s.dec.RawToken()
		if err != nil {
			return s.finish(data, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			err = s.start(t)
		case xml.EndElement:
			err = s.end(fullName(t.Name))
		case xml.CharData:
			err = s.text(t)
		}
		if err != nil {
			return nil, err
		}
	}
}

func fullName(n xml.Name) string {
	if n.Space != "" {
		return n.Space + ":" + n.Local
	}
	return n.Local
}

// finish settles how the XML ended: whole, cut, or malformed.
func (s *scanner) finish(data []byte, err error) (*sheetScan, error) {
	var syntax *xml.SyntaxError
	early := errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &syntax) && strings.Contains(syntax.Msg, "unexpected EOF")
	switch {
	case errors.Is(err, io.EOF) && len(s.open) == 0 && s.wholeOpen != nil:
		return &s.sheetScan, nil
	case errors.Is(err, io.EOF) && len(s.open) == 0 && len(data) > 0:
		return &s.sheetScan, nil // a sheet without rows
	case !early && !errors.Is(err, io.EOF):
		return nil, fmt.Errorf("%w: behind row %d: %w", errSheet, s.last, err)
	case s.wholeOpen == nil:
		return nil, fmt.Errorf("%w: it ends before its first whole row", errSheet)
	}
	s.cut = true
	s.cells = s.cells[:s.rows[len(s.rows)-1].to]
	s.repaired = bytes.Clone(data[:s.wholeTo])
	for i := len(s.wholeOpen) - 1; i >= 0; i-- {
		s.repaired = append(s.repaired, "</"+s.wholeOpen[i]+">"...)
	}
	return &s.sheetScan, nil
}

func (s *scanner) start(t xml.StartElement) error {
	s.open = append(s.open, fullName(t.Name))
	switch t.Name.Local {
	case "row":
		if !s.inside("sheetData") {
			return fmt.Errorf("%w: a row outside the rows, behind row %d", errSheet, s.last)
		}
		return s.startRow(t.Attr)
	case "c":
		if !s.inside("row") {
			return fmt.Errorf("%w: a cell outside a row, behind row %d", errSheet, s.last)
		}
		return s.startCell(t.Attr)
	case "v", "is":
		s.result = s.inCell
	case "f":
		s.formula = s.inCell
	case "mergeCell":
		s.merges = append(s.merges, attr(t.Attr, "ref"))
	case "dimension":
		_, to, _ := strings.Cut(attr(t.Attr, "ref"), ":")
		if _, row, ok := cellRef(to); ok {
			s.declared = row
		}
	}
	return nil
}

// inside tells whether the element just opened stands in one named parent.
func (s *scanner) inside(parent string) bool {
	if len(s.open) < 2 {
		return false
	}
	p := s.open[len(s.open)-2]
	return p[strings.IndexByte(p, ':')+1:] == parent
}

func (s *scanner) startRow(attrs []xml.Attr) error {
	n := s.last + 1
	if r := attr(attrs, "r"); r != "" {
		v, err := strconv.Atoi(r)
		if err != nil {
			return fmt.Errorf("%w: row number %q behind row %d", errSheet, r, s.last)
		}
		n = v
	}
	switch {
	case n <= s.last:
		return fmt.Errorf("%w: row %d stands behind row %d", errSheet, n, s.last)
	case n > maxSheetRows:
		return fmt.Errorf("%w: row %d; a sheet has at most %d", errSheet, n, maxSheetRows)
	}
	s.row = scanRow{number: n, from: len(s.cells)}
	s.cell.col = 0
	return nil
}

func (s *scanner) startCell(attrs []xml.Attr) error {
	c := scanCell{col: s.cell.col + 1, kind: 'n'}
	for i := range attrs {
		switch v := attrs[i].Value; attrs[i].Name.Local {
		case "r":
			col, row, ok := cellRef(v)
			if !ok || row != s.row.number || col < int(c.col) {
				return fmt.Errorf("%w: cell %q in row %d behind column %d", errSheet, v, s.row.number, s.cell.col)
			}
			if col > maxSheetCols {
				return fmt.Errorf("%w: cell %s; at most %d columns are read", errSheet, v, maxSheetCols)
			}
			c.col = uint16(col)
		case "s":
			n, err := strconv.ParseUint(v, 10, 16)
			if err != nil {
				return fmt.Errorf("%w: style %q in row %d", errSheet, v, s.row.number)
			}
			c.style = uint16(n)
			s.styled = s.styled || n > 0
		case "t":
			c.kind = kindOf(v)
		}
	}
	if c.col > maxSheetCols {
		return fmt.Errorf("%w: row %d has more than %d columns", errSheet, s.row.number, maxSheetCols)
	}
	s.cell, s.inCell, s.formula, s.result = c, true, false, false
	return nil
}

func kindOf(t string) byte {
	switch t {
	case "s", "b", "e", "d":
		return t[0]
	case "inlineStr":
		return 'i'
	case "str":
		return 't'
	}
	return 'n'
}

func (s *scanner) end(name string) error {
	if len(s.open) == 0 || s.open[len(s.open)-1] != name {
		return fmt.Errorf("%w: </%s> behind row %d closes nothing", errSheet, name, s.last)
	}
	s.open = s.open[:len(s.open)-1]
	switch name[strings.IndexByte(name, ':')+1:] {
	case "c":
		if s.formula && !s.result {
			s.bare++
		}
		s.cells = append(s.cells, s.cell)
		s.inCell = false
	case "sheetData":
		s.dataWhole = true
	case "row":
		s.row.to = len(s.cells)
		s.rows = append(s.rows, s.row)
		s.last = s.row.number
		s.wholeTo = s.dec.InputOffset()
		s.wholeOpen = append(s.wholeOpen[:0], s.open...)
	}
	return nil
}

// text sees that a value stands in a cell and how far shared texts are used.
func (s *scanner) text(t xml.CharData) error {
	if !s.inCell || !s.result || !strings.HasSuffix(s.open[len(s.open)-1], "v") {
		return nil
	}
	s.cell.value = s.cell.value || len(bytes.TrimSpace(t)) > 0
	if s.cell.kind != 's' {
		return nil
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(t)))
	if err != nil || n < 0 {
		return fmt.Errorf("%w: text number %q in row %d", errSheet, t, s.row.number)
	}
	s.maxText = max(s.maxText, n)
	return nil
}

func attr(attrs []xml.Attr, name string) string {
	for i := range attrs {
		if attrs[i].Name.Local == name {
			return attrs[i].Value
		}
	}
	return ""
}

// cellRef reads "BC12".
func cellRef(s string) (col, row int, ok bool) {
	i := 0
	for i < len(s) && i < 4 && s[i]|0x20 >= 'a' && s[i]|0x20 <= 'z' {
		col = col*26 + int(s[i]|0x20-'a') + 1
		i++
	}
	for j := i; j < len(s); j++ {
		if s[j]-'0' > 9 || row > maxSheetRows {
			return 0, 0, false
		}
		row = row*10 + int(s[j]-'0')
	}
	return col, row, i > 0 && row > 0
}

// cellName is the inverse of cellRef.
func cellName(col, row int) string {
	name := ""
	for ; col > 0; col = (col - 1) / 26 {
		name = string(rune('A'+(col-1)%26)) + name
	}
	return name + strconv.Itoa(row)
}
