// Package markup reads the tables of a web page, which many programs write
// under the name .xls: rows of cell texts, entities resolved, spans laid out on
// the grid that a reader sees. What is header and what is data is for package
// table to find.
package markup

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"

	"yardheat/ingest/pack"
	"yardheat/ingest/table/celltext"
)

// Bounds of a table; a page that goes beyond is refused.
const (
	maxRows    = 1_048_576
	maxCols    = 512
	maxTables  = 1000
	maxNesting = 16
	maxTokenB  = 4 << 20
	cellB      = 16
	rowB       = 32
)

// Table is one table of a page.
type Table struct {
	Rows []Row
	// Cut: the page ends within the table; the rows go up to the last whole one.
	Cut bool
}

// Row is one row: the line of the page on which it begins, and its cells.
type Row struct {
	Line  int
	Cells []string
}

// ErrTooWide is a table that goes beyond the bounds.
var ErrTooWide = errors.New("a table too large")

// IsHTML tells by how a text begins whether it is a web page or a bare table.
func IsHTML(text string) bool {
	head := strings.ToLower(strings.TrimLeft(text[:min(len(text), 4096)], "\ufeff \t\r\n"))
	for strings.HasPrefix(head, "<!--") || strings.HasPrefix(head, "<?xml") {
		end := "-->"
		if head[1] == '?' {
			end = "?>"
		}
		_, rest, ok := strings.Cut(head, end)
		if !ok {
			return false
		}
		head = strings.TrimLeft(rest, " \t\r\n")
	}
	for _, tag := range [...]string{"<!doctype html", "<html", "<head", "<meta", "<body", "<style", "<table", "<title", "<div"} {
		if rest, ok := strings.CutPrefix(head, tag); ok && (rest == "" || strings.ContainsRune(" \t\r\n>/", rune(rest[0]))) {
			return true
		}
	}
	return false
}

// ReadHTML reads the tables of a page, in the order in which they begin.
func ReadHTML(text string) ([]*Table, error) {
	p := &page{z: html.NewTokenizer(strings.NewReader(text)), line: 1}
	p.z.SetMaxBuf(maxTokenB)
	for {
		kind := p.z.Next()
		if kind == html.ErrorToken {
			if err := p.z.Err(); !errors.Is(err, io.EOF) {
				return nil, fmt.Errorf("line %d: %w", p.line, err)
			}
			for _, t := range p.open {
				t.Cut = true
			}
			return p.tables, nil
		}
		raw := p.z.Raw()
		lines := bytes.Count(raw, []byte("\n"))
		if err := p.token(kind); err != nil {
			return nil, fmt.Errorf("line %d: %w", p.line, err)
		}
		p.line += lines
	}
}

// page is a page while it is read.
type page struct {
	z      *html.Tokenizer
	line   int
	tables []*Table
	open   []*grid // tables within each other
	mute   bool    // within a script or style
	heldB  int
}

// grid is a table while it is read.
type grid struct {
	*Table
	row    []string
	line   int // where the row began, 0 = no row is open
	cell   strings.Builder
	inCell bool
	cols   int // columns and rows that the open cell spans
	rows   int
	down   map[int]*down // columns that a cell above reaches down to
}

// down is a cell that spans rows: how many more, and what they show.
type down struct {
	left int
	text string
}

func (p *page) token(kind html.TokenType) error {
	switch kind {
	case html.TextToken:
		if n := len(p.open); n > 0 && p.open[n-1].inCell && !p.mute {
			p.open[n-1].cell.Write(p.z.Text())
		}
	case html.StartTagToken, html.SelfClosingTagToken:
		name, attrs := p.z.TagName()
		return p.start(atom.Lookup(name), attrs, kind == html.StartTagToken)
	case html.EndTagToken:
		name, _ := p.z.TagName()
		return p.end(atom.Lookup(name))
	}
	return nil
}

func (p *page) start(tag atom.Atom, attrs, opens bool) error {
	switch tag {
	case atom.Script, atom.Style:
		p.mute = opens
		return nil
	case atom.Table:
		if len(p.tables) == maxTables || len(p.open) == maxNesting {
			return fmt.Errorf("%w: more than %d tables, or %d within each other", ErrTooWide, maxTables, maxNesting)
		}
		g := &grid{Table: &Table{}, down: map[int]*down{}}
		p.tables, p.open = append(p.tables, g.Table), append(p.open, g)
		return nil
	}
	if len(p.open) == 0 {
		return nil
	}
	g := p.open[len(p.open)-1]
	switch tag {
	case atom.Tr:
		if err := p.closeRow(g); err != nil {
			return err
		}
		g.line = p.line
	case atom.Td, atom.Th:
		if err := g.closeCell(); err != nil {
			return err
		}
		if g.line == 0 {
			g.line = p.line
		}
		g.inCell, g.cols, g.rows = true, 1, 1
		for attrs {
			var key, val []byte
			key, val, attrs = p.z.TagAttr()
			switch string(key) {
			case "colspan":
				g.cols = span(val)
			case "rowspan":
				g.rows = span(val)
			}
		}
	case atom.Br, atom.P, atom.Div, atom.Li:
		g.cell.WriteByte(' ')
	}
	return nil
}

// span reads how many columns or rows a cell spans; what makes no sense is 1,
// as browsers have it (HTML Living Standard, 4.9.11, from memory).
func span(val []byte) int {
	n, err := strconv.Atoi(strings.TrimSpace(string(val)))
	if err != nil || n < 1 {
		return 1
	}
	return n
}

func (p *page) end(tag atom.Atom) error {
	if tag == atom.Script || tag == atom.Style {
		p.mute = false
	}
	if len(p.open) == 0 {
		return nil
	}
	g := p.open[len(p.open)-1]
	switch tag {
	case atom.Td, atom.Th:
		return g.closeCell()
	case atom.Tr:
		return p.closeRow(g)
	case atom.Table:
		p.open = p.open[:len(p.open)-1]
		return p.closeRow(g)
	}
	return nil
}

// closeCell lays the open cell on the grid. A text that spans columns names
// each of them; a number or stamp is one reading, however wide it is shown.
func (g *grid) closeCell() error {
	if !g.inCell {
		return nil
	}
	g.inCell = false
	text := celltext.FoldBlanks(g.cell.String())
	g.cell.Reset()
	g.reach()
	if len(g.row)+g.cols > maxCols {
		return fmt.Errorf("%w: a row of more than %d columns", ErrTooWide, maxCols)
	}
	kind, from := celltext.Classify(text), len(g.row)
	for i := range g.cols {
		if g.rows > 1 {
			d := &down{left: g.rows - 1}
			if kind == celltext.Stamp && i == 0 {
				d.text = text
			}
			g.down[len(g.row)] = d
		}
		switch {
		case i == 0 || kind == celltext.Text && from > 0: // one that begins in the first column is a title
			g.row = append(g.row, text)
		default:
			g.row = append(g.row, "")
		}
	}
	return nil
}

// reach fills the columns that cells above reach down to, up to the next free
// one.
func (g *grid) reach() {
	for {
		d := g.down[len(g.row)]
		if d == nil || len(g.row) >= maxCols {
			return
		}
		if d.left--; d.left == 0 {
			delete(g.down, len(g.row))
		}
		g.row = append(g.row, d.text)
	}
}

// closeRow ends the open row.
func (p *page) closeRow(g *grid) error {
	if err := g.closeCell(); err != nil {
		return err
	}
	if g.line == 0 {
		return nil
	}
	g.reach()
	for _, text := range g.row {
		p.heldB += cellB + len(text)
	}
	if p.heldB += rowB; p.heldB > pack.MaxCellsB {
		return pack.TooMuch(pack.MaxCellsB)
	}
	if len(g.Rows) == maxRows {
		return fmt.Errorf("%w: more than %d rows", ErrTooWide, maxRows)
	}
	g.Rows = append(g.Rows, Row{Line: g.line, Cells: append([]string(nil), g.row...)})
	g.row, g.line = g.row[:0], 0
	return nil
}
