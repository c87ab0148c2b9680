package look

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"yardheat/ingest/reading"
	"yardheat/ingest/table"
	"yardheat/ingest/work"
)

// A text larger than wholeBytes is described in pieces of pieceBytes: cells as
// text take several times the file's own room.
const (
	wholeBytes = 32 << 20
	pieceBytes = 24 << 20
)

// errWhole: the file has to be read whole: it holds several tables, or is no
// text in lines.
var errWhole = errors.New("not to be read in pieces")

// pieces reads a large text piece by piece, each with the lines above the first
// row in front of it, under the marks that the first piece settled.
type pieces struct {
	f       io.ReaderAt
	path    string
	opt     Options
	head    []byte
	headRow int // lines in head
	line    int // lines of the file before the piece
	out     *Table
}

// inPieces describes a large text; errWhole where that can't be.
func inPieces(f io.ReaderAt, path string, opt Options, piece int64) ([]Table, error) {
	p := &pieces{f: f, path: path, opt: opt}
	p.opt.Table.Owned = true // a piece has bytes of its own
	for at := int64(0); ; {
		work.Check(opt.Table.Context)
		chunk, err := p.chunk(at, piece)
		if err != nil {
			return nil, err
		}
		if len(chunk) == 0 {
			for i := range p.out.Columns {
				p.out.Columns[i].rebin()
			}
			return []Table{*p.out}, nil
		}
		if err := p.take(chunk); err != nil {
			return nil, err
		}
		at += int64(len(chunk))
	}
}

// chunk reads whole lines from at on; the last may lack its line break.
func (p *pieces) chunk(at, piece int64) ([]byte, error) {
	b := make([]byte, piece)
	n, err := p.f.ReadAt(b, at)
	switch {
	case err != nil && !errors.Is(err, io.EOF):
		return nil, unreadable(p.path, err)
	case errors.Is(err, io.EOF):
		return b[:n], nil
	}
	end := bytes.LastIndexByte(b[:n], '\n') + 1
	if end == 0 || at == 0 && (bytes.IndexByte(b[:min(n, 4096)], 0) >= 0 || bytes.HasPrefix(b, []byte("PK")) || bytes.HasPrefix(b, []byte("\x1f\x8b"))) {
		return nil, errWhole
	}
	return b[:end], nil
}

func (p *pieces) take(chunk []byte) error {
	tables, err := table.ReadBytes(p.path, append(slices.Clip(p.head), chunk...), p.opt.Table)
	if err != nil {
		return err
	}
	if len(tables) != 1 || p.out == nil && len(tables[0].Rows) == 0 {
		return errWhole
	}
	d := describe(p.path, tables, p.opt)[0]
	if p.out != nil && !slices.EqualFunc(p.out.Columns, d.Columns, func(a, b Column) bool { return a.Name == b.Name || a.Tag || b.Tag }) && p.headRow == 0 {
		return errWhole // records that name their cells, in another order
	}
	if p.out == nil {
		p.first(&d, chunk)
	} else {
		for i := range d.Problems {
			if d.Problems[i].Line > p.headRow {
				d.Problems[i].Line += p.line - p.headRow
			}
		}
		p.out.join(&d)
	}
	p.line += bytes.Count(chunk, []byte("\n"))
	return nil
}

// first keeps what the first piece settled for the others.
func (p *pieces) first(d *Table, chunk []byte) {
	p.out, d.pieces = d, 1
	p.headRow = d.FirstRow - 1
	end := 0
	for range p.headRow {
		end += bytes.IndexByte(chunk[end:], '\n') + 1
	}
	p.head = slices.Clone(chunk[:end])
	o := &p.opt.Table
	o.Separator, o.Encoding = d.Separator, d.Encoding
	if d.Decimal != "" {
		o.Decimal, o.Thousands = d.Decimal, d.Thousands
	}
	if d.HeaderLine == 0 {
		none := 0
		o.Header = &none
	}
	if o.Validate() != nil { // a separator of blanks, say, cannot be stated
		*o = table.Options{Decimal: o.Decimal, Thousands: o.Thousands, Header: o.Header, Owned: o.Owned, Context: o.Context}
	}
}

// join adds the next piece of the same file.
func (t *Table) join(n *Table) {
	t.boundary(n)
	t.Rows += n.Rows
	t.EventRows += n.EventRows
	t.Gaps += n.Gaps
	t.Duplicates += n.Duplicates
	t.OutOfOrder += n.OutOfOrder
	t.LongestS = max(t.LongestS, n.LongestS)
	if t.First == "" || n.First != "" && earlier(n.First, t.First) {
		t.First = n.First
	}
	if t.Last == "" || n.Last != "" && earlier(t.Last, n.Last) {
		t.Last = n.Last
	}
	if n.Stamp.Format != t.Stamp.Format && n.Stamp.Zone == t.Stamp.Zone || n.Stamp.Order != t.Stamp.Order {
		t.Problems = append(t.Problems, Problem{Code: "stamp-bad", Text: fmt.Sprintf("stamps are read as %q further up and as %q from %s on: state dates or stamp_layout", t.Stamp.Format, n.Stamp.Format, n.First)})
	}
	t.joinColumns(n)
	t.Problems = append(t.Problems, n.Problems...)
	for _, u := range n.Unsure {
		if !slices.ContainsFunc(t.Unsure, func(o Doubt) bool { return o.About == u.About }) {
			t.Unsure = append(t.Unsure, u)
		}
	}
}

// joinColumns adds the columns of the next piece: tags by their names, as a piece
// may lack some or have others, the rest by their place.
func (t *Table) joinColumns(n *Table) {
	had := len(t.Columns)
	for i := range n.Columns {
		c := &n.Columns[i]
		if !c.Tag {
			if i < had && !t.Columns[i].Tag {
				t.Columns[i].join(c)
			}
			continue
		}
		if k := slices.IndexFunc(t.Columns, func(o Column) bool { return o.Tag && o.Name == c.Name }); k >= 0 {
			t.Columns[k].join(c)
			continue
		}
		late := *c
		late.Points, late.history = [10]*float64{}, append(make([][10]*float64, t.pieces-1), c.Points)
		t.Columns = append(t.Columns, late)
	}
	t.pieces++
	for i := range t.Columns { // of one that this piece lacks, nothing
		if c := &t.Columns[i]; len(c.history) < t.pieces-1 {
			c.history = append(c.history, [10]*float64{})
		}
	}
}

// boundary counts what lies between two pieces.
func (t *Table) boundary(n *Table) {
	a, okA := parseStamp(t.Last)
	b, okB := parseStamp(n.First)
	if t.NewestFirst {
		a, okA = parseStamp(n.Last)
		b, okB = parseStamp(t.First)
	}
	if !okA || !okB {
		return
	}
	switch step := b.Sub(a).Seconds(); {
	case step < 0:
		t.OutOfOrder++
	case step == 0 && t.Tags != nil: // the rows of one stamp, parted
	case step == 0:
		t.Duplicates++
	case t.Regular && step > reading.DefaultFlagOptions().GapIntervals*t.IntervalS:
		t.Gaps++
		t.LongestS = max(t.LongestS, step)
	}
}

func parseStamp(text string) (time.Time, bool) {
	for _, form := range [...]string{time.RFC3339, "2006-01-02T15:04:05"} {
		if at, err := time.Parse(form, text); err == nil {
			return at, true
		}
	}
	return time.Time{}, false
}

func earlier(a, b string) bool {
	x, okX := parseStamp(a)
	y, okY := parseStamp(b)
	return okX && okY && x.Before(y)
}

// join adds the same column's next piece.
func (c *Column) join(n *Column) {
	if c.Kind != n.Kind && n.Readings > 0 && (c.Readings == 0 || c.Kind == State || c.Kind == Event) {
		c.Kind, c.Quantity, c.Place, c.Because, c.Amount, c.UnitAssumed = n.Kind, n.Quantity, n.Place, n.Because, n.Amount, n.UnitAssumed
	}
	if c.Unit == "" {
		c.Unit = n.Unit
	}
	c.Readings += n.Readings
	if c.Missing += n.Missing; c.Kind == Event {
		c.Missing = 0
	}
	c.Codes += n.Codes
	c.Implausible += n.Implausible
	if n.Min != nil && (c.Min == nil || *n.Min < *c.Min) {
		c.Min = n.Min
	}
	if n.Max != nil && (c.Max == nil || *n.Max > *c.Max) {
		c.Max = n.Max
	}
	c.history = append(c.history, n.Points)
}

// rebin draws ten points from those of all pieces.
func (c *Column) rebin() {
	if len(c.history) == 0 {
		return
	}
	all := append([][10]*float64{c.Points}, c.history...)
	var sums, counts [10]float64
	for i, points := range all {
		for k, p := range points {
			if p != nil {
				at := (i*10 + k) / len(all)
				sums[at] += *p
				counts[at]++
			}
		}
	}
	for k := range c.Points {
		c.Points[k] = nil
		if v := sums[k] / counts[k]; !math.IsNaN(v) {
			c.Points[k] = &v
		}
	}
	c.history = nil
}
