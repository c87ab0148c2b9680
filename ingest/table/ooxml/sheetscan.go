// Package ooxml reads the sheets of a workbook, checked as they are read: the
// XML of each sheet to its end, its numbering of rows and cells, its texts and
// styles. A byte scanner takes every row that is written in the plain way; any
// other row goes through the token decoder of encoding/xml, so that a comment,
// an entity or a prefix costs time and changes nothing. It also turns the date
// numbers of sheets into wall-clock text. Damage to the archive around the
// sheet is package pack's to find; it comes here as an error of the reader.
package ooxml

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Bounds of a sheet: the format's own for rows, ours for columns.
const (
	MaxRows = 1_048_576
	MaxCols = 512

	headRows  = 80 // how many rows from the top may be headers with merged cells
	maxMerges = 10_000
)

// Row is one row that holds something; its cells are those that hold a value,
// in the order of columns.
type Row struct {
	Number int
	Cells  []Cell
}

// Cell is one value as the sheet has it, its text good until the row function
// returns: a number or date serial with a point, a text with its entities and
// escapes resolved.
type Cell struct {
	Col   int // 1-based
	Style int
	Kind  byte // n number, s shared, i inline, t formula text, b boolean, e error, d date text
	Text  []byte
}

// Merge is a run of cells of one row that are merged.
type Merge struct{ Row, From, To int }

// Summary is what was seen of a sheet beside its rows.
type Summary struct {
	Last      int // number of the last row
	Declared  int // last row by the sheet's own dimension, 0 = not said
	Merges    []Merge
	MaxStyle  int // highest style number that a cell uses
	FirstCol  int // leftmost column with a cell, 0 = none
	Bare      int // formulas without a cached value
	DataWhole bool
	// Cut: the XML ends early; the rows go up to the last whole one.
	Cut bool
	// ByToken counts the rows that went through the token decoder.
	ByToken int
}

// ErrSheet is malformed XML or a sheet that breaks its own numbering.
var ErrSheet = errors.New("damaged sheet")

// ErrTooWide is a value beyond the columns that are read.
var ErrTooWide = errors.New("a sheet too wide")

// ErrNoText is a cell whose text is not among the shared ones.
var ErrNoText = errors.New("a shared text is missing")

// ReadSheet reads a sheet's XML to its end, checks it and calls each for every
// row that has cells. What each was given is worth something only when ReadSheet
// returns no error.
func ReadSheet(in io.Reader, texts *Texts, each func(*Row) error) (*Summary, error) {
	return readSheet(in, texts, each, false)
}

// readSheet with byToken takes every row through the decoder, the slow way that
// the fast one is held against.
func readSheet(in io.Reader, texts *Texts, each func(*Row) error, byToken bool) (*Summary, error) {
	src := newSource(in, "</row>")
	defer src.close()
	s := &scanner{src: src, dec: xml.NewDecoder(src), texts: texts, each: each, byToken: byToken}
	err := s.run()
	if broken := src.broken(); broken != nil {
		err = broken
	}
	if err != nil {
		return nil, err
	}
	return &s.Summary, nil
}

// scanner reads one sheet.
type scanner struct {
	Summary
	src   *source
	dec   *xml.Decoder
	texts *Texts
	each  func(*Row) error

	open   []string // names of open elements, prefix included
	rooted bool     // the root was seen
	data   bool     // sheetData was seen
	whole  int      // rows read to their end
	headTo int      // number of the last row that may be a header

	row    Row
	digits []byte // the row's number as its cells write it
	col    int    // column of the last cell
	hold   []byte // texts that do not stand in the source as they read
	attrs  attrList
	fast   bool // the next bytes may begin a plain row

	byToken bool

	cell            Cell
	text            []byte
	formula, result bool // the cell holds a formula, a <v> or <is>
}

// run reads the tokens of the sheet, and plain rows without them.
func (s *scanner) run() error {
	for {
		if s.fast && !s.byToken {
			if err := s.plainRows(); err != nil {
				return err
			}
			s.fast = false
		}
		s.src.token = maxTokenB
		tok, err := s.dec.RawToken()
		if err != nil {
			return s.finish(err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			err = s.start(t)
		case xml.EndElement:
			err = s.end(t.Name)
		case xml.CharData:
			err = s.chars(t)
		case xml.Directive:
			err = fmt.Errorf("%w: it has a document type, which a sheet has not", ErrSheet)
		}
		if err != nil {
			return err
		}
	}
}

func fullName(n xml.Name) string {
	if n.Space != "" {
		return n.Space + ":" + n.Local
	}
	return n.Local
}

// localName is a name without its prefix.
func localName(s string) string { return s[strings.IndexByte(s, ':')+1:] }

// finish settles how the XML ended: whole, cut, or malformed.
func (s *scanner) finish(err error) error {
	var syntax *xml.SyntaxError
	early := errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &syntax) && strings.Contains(syntax.Msg, "unexpected EOF")
	switch {
	case errors.Is(err, io.EOF) && len(s.open) == 0 && s.rooted:
		return nil
	case !early && !errors.Is(err, io.EOF):
		return fmt.Errorf("%w: behind row %d: %w", ErrSheet, s.Last, err)
	case s.whole == 0:
		return fmt.Errorf("%w: it ends before its first whole row", ErrSheet)
	}
	s.Cut = true
	return nil
}

// start takes an opening tag. Elements count by where they stand: a "row" of a
// drawing or of an extension is none of the sheet's.
func (s *scanner) start(t xml.StartElement) error {
	s.open = append(s.open, fullName(t.Name))
	depth := len(s.open)
	switch {
	case depth > maxNesting:
		return fmt.Errorf("%w: more than %d elements within each other, behind row %d", ErrSheet, maxNesting, s.Last)
	case doubled(t.Attr):
		return fmt.Errorf("%w: an attribute stands twice in <%s> behind row %d", ErrSheet, fullName(t.Name), s.Last)
	case depth == 1 && (s.rooted || t.Name.Local != "worksheet"):
		return fmt.Errorf("%w: <%s> where a worksheet should begin", ErrSheet, fullName(t.Name))
	case depth == 1:
		s.rooted = true
	case depth == 2 && t.Name.Local == "sheetData":
		if s.data {
			return fmt.Errorf("%w: its rows come twice", ErrSheet)
		}
		s.data = true
		s.fast = t.Name.Space == "" && s.src.prev != '/'
	case depth == 2 && t.Name.Local == "dimension":
		_, to, _ := strings.Cut(attr(t.Attr, "ref"), ":")
		if _, row, ok := CellRef(to); ok {
			s.Declared = row
		}
	case depth == 3 && t.Name.Local == "mergeCell" && localName(s.open[1]) == "mergeCells":
		return s.merge(attr(t.Attr, "ref"))
	case depth > 2 && localName(s.open[1]) == "sheetData":
		return s.startInRows(t, depth)
	}
	return nil
}

// startInRows takes an opening tag within the rows.
func (s *scanner) startInRows(t xml.StartElement, depth int) error {
	within := localName(s.open[depth-2])
	switch name := t.Name.Local; {
	case s.inExtension():
		return nil
	case depth == 3 && name == "row":
		return s.startRow(value(t.Attr, "r"))
	case depth == 4 && name == "c":
		s.text, s.formula, s.result = s.text[:0], false, false
		return s.startCell(value(t.Attr, "r"), value(t.Attr, "s"), value(t.Attr, "t"))
	case depth == 5 && (name == "v" || name == "is"):
		if s.result {
			return fmt.Errorf("%w: two values in one cell of row %d", ErrSheet, s.row.Number)
		}
		s.result = true
		return nil
	case depth == 5 && name == "f":
		s.formula = true
		return nil
	case (depth == 4 || depth == 5) && name == "extLst":
		return nil
	case depth > 5 && (within == "is" || within == "r" || within == "rPr" || within == "rPh" || within == "phoneticPr"):
		return nil
	}
	return fmt.Errorf("%w: <%s> within <%s> behind row %d", ErrSheet, fullName(t.Name), s.open[depth-2], s.Last)
}

// inExtension tells whether the element just opened stands in an extension,
// where anything may.
func (s *scanner) inExtension() bool {
	return slices.ContainsFunc(s.open[:len(s.open)-1], func(n string) bool { return localName(n) == "extLst" })
}

// merge takes cells that are merged within one row near the sheet's top, where
// headers stand.
func (s *scanner) merge(ref string) error {
	from, to, _ := strings.Cut(ref, ":")
	c1, r1, ok1 := CellRef(from)
	c2, r2, ok2 := CellRef(to)
	if !ok1 || !ok2 || r1 != r2 || c2 <= c1 || c2 > MaxCols || s.whole > headRows && r1 > s.headTo {
		return nil
	}
	if len(s.Merges) == maxMerges {
		return fmt.Errorf("%w: more than %d merged cells near its top", ErrSheet, maxMerges)
	}
	s.Merges = append(s.Merges, Merge{r1, c1, c2})
	return nil
}

// startRow begins a row; r is the number it states, nil = the next.
func (s *scanner) startRow(r []byte) error {
	n := s.Last + 1
	if r != nil {
		v, err := strconv.Atoi(string(r))
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
	s.row.Number, s.row.Cells = n, s.row.Cells[:0]
	s.digits = strconv.AppendInt(s.digits[:0], int64(n), 10)
	s.col, s.hold = 0, s.hold[:0]
	return nil
}

// startCell begins a cell from what its tag says; nil = not said.
func (s *scanner) startCell(ref, style, kind []byte) error {
	c := &s.cell
	*c = Cell{Col: s.col + 1, Kind: 'n'}
	if ref != nil {
		col := s.columnOf(ref)
		if col < c.Col {
			return fmt.Errorf("%w: cell %q in row %d behind column %d", ErrSheet, ref, s.row.Number, s.col)
		}
		c.Col = col
	}
	s.col = c.Col
	for i, d := range style {
		if d -= '0'; d > 9 || i > 5 {
			return fmt.Errorf("%w: style %q in row %d", ErrSheet, style, s.row.Number)
		}
		c.Style = c.Style*10 + int(d)
	}
	if kind != nil {
		switch string(kind) {
		case "n", "s", "b", "e", "d":
			c.Kind = kind[0]
		case "inlineStr":
			c.Kind = 'i'
		case "str":
			c.Kind = 't'
		default:
			return fmt.Errorf("%w: a cell of type %q in row %d", ErrSheet, kind, s.row.Number)
		}
	}
	return nil
}

// columnOf reads the column of a cell's name, 0 = no name of this row.
func (s *scanner) columnOf(ref []byte) int {
	i, col := 0, 0
	for i < len(ref) && i < 3 && ref[i]-'A' < 26 {
		col = col*26 + int(ref[i]-'A') + 1
		i++
	}
	if string(ref[i:]) == string(s.digits) {
		return col
	}
	col, row, ok := CellRef(string(ref))
	if !ok || row != s.row.Number {
		return 0
	}
	return col
}

// endCell takes the cell with its text, if it has any.
func (s *scanner) endCell(text []byte) error {
	if s.formula && !s.result {
		s.Bare++
	}
	c := &s.cell
	s.MaxStyle = max(s.MaxStyle, c.Style)
	if s.FirstCol == 0 || c.Col < s.FirstCol {
		s.FirstCol = c.Col
	}
	switch c.Kind {
	case 's':
		text = trim(text)
		if len(text) == 0 {
			return nil
		}
		var err error
		if text, err = s.shared(text); err != nil {
			return err
		}
	case 'i', 't':
		text = s.unescape(text)
	default:
		text = trim(text)
	}
	if len(text) == 0 {
		return nil
	}
	if c.Col > MaxCols {
		return fmt.Errorf("%w: a value in %s; at most %d columns are read", ErrTooWide, CellName(c.Col, s.row.Number), MaxCols)
	}
	c.Text = text
	s.row.Cells = append(s.row.Cells, *c)
	return nil
}

// shared looks up a shared text by its number.
func (s *scanner) shared(number []byte) ([]byte, error) {
	n := 0
	for i, d := range number {
		if d -= '0'; d > 9 || i > 9 {
			return nil, fmt.Errorf("%w: text number %q in row %d", ErrSheet, number, s.row.Number)
		}
		n = n*10 + int(d)
	}
	text, ok := s.texts.At(n)
	if !ok {
		return nil, fmt.Errorf("%w: number %d, in row %d", ErrNoText, n, s.row.Number)
	}
	return text, nil
}

// unescape resolves the escapes of a text into memory of the row's own.
func (s *scanner) unescape(text []byte) []byte {
	if !hasEscape(text) {
		return text
	}
	from := len(s.hold)
	s.hold = appendUnescaped(s.hold, text)
	return s.hold[from:]
}

// endRow hands the row on.
func (s *scanner) endRow() error {
	s.Last = s.row.Number
	if s.whole++; s.whole == headRows {
		s.headTo = s.Last
	}
	return s.each(&s.row)
}

func (s *scanner) end(name xml.Name) error {
	depth := len(s.open)
	if depth == 0 || s.open[depth-1] != fullName(name) {
		return fmt.Errorf("%w: </%s> behind row %d closes nothing", ErrSheet, fullName(name), s.Last)
	}
	s.open = s.open[:depth-1]
	switch {
	case depth == 2 && name.Local == "sheetData":
		s.DataWhole = true
	case depth < 3 || localName(s.open[1]) != "sheetData":
	case depth == 3 && name.Local == "row":
		s.ByToken++
		s.fast = s.open[1] == "sheetData"
		return s.endRow()
	case depth == 4 && name.Local == "c":
		from := len(s.hold)
		s.hold = append(s.hold, s.text...)
		return s.endCell(s.hold[from:])
	}
	return nil
}

// chars takes the text of a value; text where none belongs is damage.
func (s *scanner) chars(t xml.CharData) error {
	depth := len(s.open)
	if depth < 2 || localName(s.open[1]) != "sheetData" {
		if depth == 0 && len(trim(t)) > 0 {
			return fmt.Errorf("%w: text outside the sheet", ErrSheet)
		}
		return nil
	}
	switch {
	case depth == 5 && localName(s.open[4]) == "v",
		depth == 6 && localName(s.open[4]) == "is" && localName(s.open[5]) == "t",
		depth == 7 && localName(s.open[4]) == "is" && localName(s.open[5]) == "r" && localName(s.open[6]) == "t":
		s.text = append(s.text, t...)
	case depth < 5 && len(trim(t)) > 0:
		return fmt.Errorf("%w: text outside its cells, behind row %d", ErrSheet, s.Last)
	}
	return nil
}
