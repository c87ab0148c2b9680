package ooxml

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
	MaxRows = 1_048_576
	MaxCols = 512
)

// Scan is what reading a sheet's XML to its end found: where cells stand
// and of what kind they are, not what is in them.
type Scan struct {
	Rows      []ScanRow
	Cells     []ScanCell
	Merges    []string
	Last      int // number of the last row
	Declared  int // last row by the sheet's own dimension, 0 = not said
	MaxText   int // highest shared-string index, -1 = none
	Styled    bool
	Bare      int  // formulas without a cached value
	DataWhole bool // the end of the rows was seen
	// Cut: the XML ends early; Repaired is then the sheet closed behind its
	// last whole row, and rows and cells go no further.
	Cut      bool
	Repaired []byte
}

// ScanRow is a row: its number and its cells, Cells[From:To] of the scan.
type ScanRow struct{ Number, From, To int }

// ScanCell is where a cell stands and of what kind it is.
type ScanCell struct {
	Col   uint16 // 1-based
	Style uint16
	Kind  byte // n number, s shared, i inline, t formula text, b boolean, e error, d date text
	Value bool // a value stands there
}

// scanner reads the tokens of one sheet.
type scanner struct {
	Scan
	dec             *xml.Decoder
	open            []string // names of open elements, prefix included
	row             ScanRow
	cell            ScanCell
	inCell          bool
	formula, result bool  // the cell holds a formula, a <v> or <is>
	wholeTo         int64 // offset behind the last whole row
	wholeOpen       []string
}

// ErrSheet is malformed XML or a sheet that breaks its own numbering.
var ErrSheet = errors.New("damaged sheet")

// ScanSheet reads a sheet's XML to its end and checks it.
func ScanSheet(data []byte) (*Scan, error) {
	s := &scanner{dec: xml.NewDecoder(bytes.NewReader(data))}
	s.MaxText = -1
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
func (s *scanner) finish(data []byte, err error) (*Scan, error) {
	var syntax *xml.SyntaxError
	early := errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &syntax) && strings.Contains(syntax.Msg, "unexpected EOF")
	switch {
	case errors.Is(err, io.EOF) && len(s.open) == 0 && s.wholeOpen != nil:
		return &s.Scan, nil
	case errors.Is(err, io.EOF) && len(s.open) == 0 && len(data) > 0:
		return &s.Scan, nil // a sheet without rows
	case !early && !errors.Is(err, io.EOF):
		return nil, fmt.Errorf("%w: behind row %d: %w", ErrSheet, s.Last, err)
	case s.wholeOpen == nil:
		return nil, fmt.Errorf("%w: it ends before its first whole row", ErrSheet)
	}
	s.Cut = true
	s.Cells = s.Cells[:s.Rows[len(s.Rows)-1].To]
	s.Repaired = bytes.Clone(data[:s.wholeTo])
	for i := len(s.wholeOpen) - 1; i >= 0; i-- {
		s.Repaired = append(s.Repaired, "</"+s.wholeOpen[i]+">"...)
	}
	return &s.Scan, nil
}

func (s *scanner) start(t xml.StartElement) error {
	s.open = append(s.open, fullName(t.Name))
	switch t.Name.Local {
	case "row":
		if !s.inside("sheetData") {
			return fmt.Errorf("%w: a row outside the rows, behind row %d", ErrSheet, s.Last)
		}
		return s.startRow(t.Attr)
	case "c":
		if !s.inside("row") {
			return fmt.Errorf("%w: a cell outside a row, behind row %d", ErrSheet, s.Last)
		}
		return s.startCell(t.Attr)
	case "v", "is":
		s.result = s.inCell
	case "f":
		s.formula = s.inCell
	case "mergeCell":
		s.Merges = append(s.Merges, Attr(t.Attr, "ref"))
	case "dimension":
		_, to, _ := strings.Cut(Attr(t.Attr, "ref"), ":")
		if _, row, ok := CellRef(to); ok {
			s.Declared = row
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
	n := s.Last + 1
	if r := Attr(attrs, "r"); r != "" {
		v, err := strconv.Atoi(r)
		if err != nil {
			return fmt.Errorf("%w: row number %q behind row %d", ErrSheet, r, s.Last)
		}
		n = v
	}
	switch {
	case n <= s.Last:
		return fmt.Errorf("%w: row %d stands behind row %d", ErrSheet, n, s.Last)
	case n > MaxRows:
		return fmt.Errorf("%w: row %d; a sheet has at most %d", ErrSheet, n, MaxRows)
	}
	s.row = ScanRow{Number: n, From: len(s.Cells)}
	s.cell.Col = 0
	return nil
}

func (s *scanner) startCell(attrs []xml.Attr) error {
	c := ScanCell{Col: s.cell.Col + 1, Kind: 'n'}
	for i := range attrs {
		switch v := attrs[i].Value; attrs[i].Name.Local {
		case "r":
			col, row, ok := CellRef(v)
			if !ok || row != s.row.Number || col < int(c.Col) {
				return fmt.Errorf("%w: cell %q in row %d behind column %d", ErrSheet, v, s.row.Number, s.cell.Col)
			}
			if col > MaxCols {
				return fmt.Errorf("%w: cell %s; at most %d columns are read", ErrSheet, v, MaxCols)
			}
			c.Col = uint16(col)
		case "s":
			n, err := strconv.ParseUint(v, 10, 16)
			if err != nil {
				return fmt.Errorf("%w: style %q in row %d", ErrSheet, v, s.row.Number)
			}
			c.Style = uint16(n)
			s.Styled = s.Styled || n > 0
		case "t":
			c.Kind = kindOf(v)
		}
	}
	if c.Col > MaxCols {
		return fmt.Errorf("%w: row %d has more than %d columns", ErrSheet, s.row.Number, MaxCols)
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
		return fmt.Errorf("%w: </%s> behind row %d closes nothing", ErrSheet, name, s.Last)
	}
	s.open = s.open[:len(s.open)-1]
	switch name[strings.IndexByte(name, ':')+1:] {
	case "c":
		if s.formula && !s.result {
			s.Bare++
		}
		s.Cells = append(s.Cells, s.cell)
		s.inCell = false
	case "sheetData":
		s.DataWhole = true
	case "row":
		s.row.To = len(s.Cells)
		s.Rows = append(s.Rows, s.row)
		s.Last = s.row.Number
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
	s.cell.Value = s.cell.Value || len(bytes.TrimSpace(t)) > 0
	if s.cell.Kind != 's' {
		return nil
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(t)))
	if err != nil || n < 0 {
		return fmt.Errorf("%w: text number %q in row %d", ErrSheet, t, s.row.Number)
	}
	s.MaxText = max(s.MaxText, n)
	return nil
}

func Attr(attrs []xml.Attr, name string) string {
	for i := range attrs {
		if attrs[i].Name.Local == name {
			return attrs[i].Value
		}
	}
	return ""
}

// CellRef reads "BC12".
func CellRef(s string) (col, row int, ok bool) {
	i := 0
	for i < len(s) && i < 4 && s[i]|0x20 >= 'a' && s[i]|0x20 <= 'z' {
		col = col*26 + int(s[i]|0x20-'a') + 1
		i++
	}
	for j := i; j < len(s); j++ {
		if s[j]-'0' > 9 || row > MaxRows {
			return 0, 0, false
		}
		row = row*10 + int(s[j]-'0')
	}
	return col, row, i > 0 && row > 0
}

// CellName is the inverse of CellRef.
func CellName(col, row int) string {
	name := ""
	for ; col > 0; col = (col - 1) / 26 {
		name = string(rune('A'+(col-1)%26)) + name
	}
	return name + strconv.Itoa(row)
}
