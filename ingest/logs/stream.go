package logs

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/clock"
	"yardheat/ingest/series"
	"yardheat/ingest/stamps"
	"yardheat/ingest/stream"
	"yardheat/ingest/table"
	"yardheat/ingest/table/celltext"
	"yardheat/ingest/work"
)

// DefaultStreamBytes is from what size a text export is read as a stream.
const DefaultStreamBytes = 1 << 20

// mostWhole is the size up to which an export that is no stream is read as a
// whole, a string a cell.
const mostWhole = table.MaxTextB

// source is a long export of which only a sample has been read: a file of the
// folder, or a member of a packed one, unpacked in memory.
type source struct {
	file   io.ReaderAt
	closer io.Closer // nil in memory
	size   int64
	sample *stream.Sample
	opt    table.Options
	// packed is the file that a member came from; nil = a file of its own.
	packed *original
}

// original is a file as it lies in the folder.
type original struct {
	sizeB  int64
	sha256 string
}

func (s *source) close() {
	if s == nil {
		return
	}
	if s.closer != nil {
		_ = s.closer.Close() // read only
	}
	s.file, s.closer = nil, nil
}

// sameAs tells whether two sources, whose samples are alike, hold the same
// bytes; so do two files that were both read whole.
func (s *source) sameAs(o *source) bool {
	if s == nil || o == nil {
		return s == o
	}
	if s.size != o.size {
		return false
	}
	a, b := make([]byte, 256<<10), make([]byte, 256<<10)
	for at := int64(0); at < s.size; at += int64(len(a)) {
		n, _ := s.file.ReadAt(a, at)
		m, _ := o.file.ReadAt(b, at)
		if !bytes.Equal(a[:n], b[:m]) {
			return false
		}
	}
	return true
}

// sampled reads a sample of a long text export and finds its table; nil where
// the file is not for streaming.
func sampled(f io.ReaderAt, size int64, name string, opt table.Options) (*table.Table, *source) {
	if opt.Table != 0 {
		return nil, nil
	}
	sample, err := stream.TakeSample(f, size)
	if err != nil || !utf8Like(sample.Text) {
		return nil, nil
	}
	tables, err := table.ReadBytes(name, sample.Text, opt)
	if err != nil || len(tables) != 1 || !streamable(tables[0], sample) {
		return nil, nil
	}
	return tables[0], &source{file: f, size: size, sample: sample, opt: opt}
}

// utf8Like: a text whose bytes below 128 are ASCII, not a workbook, an archive,
// a page or UTF-16.
func utf8Like(b []byte) bool {
	for _, magic := range [...]string{"PK\x03\x04", "\x1f\x8b", "\xd0\xcf\x11\xe0", "\xff\xfe", "\xfe\xff", "<", "\xef\xbb\xbf<"} {
		if bytes.HasPrefix(b, []byte(magic)) {
			return false
		}
	}
	return true
}

// fewSampled rows do not show that a file is regular.
const fewSampled = 50

// streamable tells whether a sample's table is one whose lines can be read one
// by one, its marks settled.
func streamable(t *table.Table, s *stream.Sample) bool {
	if t.Paired || len(t.Rows) < fewSampled || len(t.Separator) != 1 || t.Separator == " " || t.Thousands != "" || t.Rows[0].Line > s.HeadLines || len(t.Header) > 512 {
		return false
	}
	return !slices.ContainsFunc(t.Problems, func(p table.Problem) bool { return p.Code == "decimal-mark" || p.Code == "bad-encoding" })
}

// stream reads the rows of the long files whose columns are bound. A file that
// turns out not to be regular is read as a whole.
func (l *Log) stream(opt Options) {
	all := l.all
	l.all = nil
	for _, t := range all {
		if t.source == nil {
			l.all = append(l.all, t)
			continue
		}
		var err error
		if t.cols != nil || t.Tagged {
			err = t.readStream(opt)
		}
		work.Check(opt.Context)
		if err == nil {
			t.source.close()
			l.all = append(l.all, t)
		} else {
			l.all = append(l.all, l.whole(t, err)...)
			work.Check(opt.Context)
		}
		opt.files.done(t.Name)
	}
}

// whole reads a file that is no stream, and binds its columns anew.
func (l *Log) whole(t *Table, why error) []*Table {
	s := t.source
	defer s.close()
	if s.size > mostWhole {
		l.Found.Fault(t.Name, "", fmt.Sprintf("%d MB that cannot be read line by line (%v)", s.size>>20, why), fmt.Sprintf("lines of one layout, or at most %d MB", mostWhole>>20),
			"export shorter stretches, one file each, or without what stands between the rows")
		return nil
	}
	b, err := readSized(io.NewSectionReader(s.file, 0, s.size), s.size)
	var tables []*table.Table
	if err == nil {
		tables, err = table.ReadBytes(t.Name, b, s.opt)
	}
	if err != nil {
		l.Found.Faults = append(l.Found.Faults, AsFault(t.Name, err))
		return nil
	}
	var out []*Table
	for _, nt := range tables {
		w := &Table{Table: &stamps.Table{Name: t.Name, Table: nt, Tagged: t.Tagged}, log: l}
		w.passOn()
		if l.Farm.TagColumn != "" {
			w.tags, w.value, w.cols = t.tags, t.value, t.cols
		} else {
			l.bindWide(w)
		}
		out = append(out, w)
	}
	return out
}

// readStream reads the rows of one long file.
func (t *Table) readStream(opt Options) error {
	if t.Tagged || t.log.Farm.StampLayout != "" {
		return fmt.Errorf("%w: its rows need looking at one by one", stream.ErrIrregular)
	}
	t.Taken = t.taken()
	if !t.FindStamps(t.log.Farm) {
		return fmt.Errorf("%w: no stamps in the first rows", stream.ErrIrregular)
	}
	if t.ZonesDiffer() {
		return fmt.Errorf("%w: a column states another zone for some rows", stream.ErrIrregular)
	}
	plan, err := t.plan()
	if err != nil {
		return err
	}
	s := t.source
	plan.Context, plan.Told = opt.Context, opt.files.within(t.Name, s)
	rows, err := stream.Read(s.file, s.size, plan, opt.Workers)
	if err != nil {
		return err
	}
	kept, err := t.judge(rows)
	if err != nil {
		return err
	}
	texts, _ := clock.Texts(rows.Runs)
	if c, err := clock.Read(texts, clock.Options{Order: t.log.Farm.Dates}); err == nil && c.Bad > 0 {
		return fmt.Errorf("%w: its stamps are written in several ways", stream.ErrIrregular)
	}
	t.Stream, t.odd = rows, kept
	t.SizeB, t.SHA256 = rows.SizeB, rows.SHA256
	if s.packed != nil {
		t.SizeB, t.SHA256 = s.packed.sizeB, s.packed.sha256
	}
	return nil
}

// undecided is a decimal mark that no file holds: every mark that turns up is
// then a matter for package table.
const undecided = 0x01

// plan is how the table's lines are read.
func (t *Table) plan() (*stream.Plan, error) {
	first := t.Rows[0].Line
	at, ok := t.source.sample.LineAt(first)
	if !ok || len(t.Columns) > 2 || t.InParts() {
		return nil, fmt.Errorf("%w: its first row is not found again", stream.ErrIrregular)
	}
	p := &stream.Plan{Separator: t.Separator[0], Decimal: undecided, Named: len(t.Header), Stamp: t.Columns, FirstLine: first, FirstByte: at}
	p.Width = t.source.sample.Cells(at, p.Separator)
	if p.Width < len(t.Header) {
		return nil, fmt.Errorf("%w: its first row is short", stream.ErrIrregular)
	}
	if t.Decimal != "" {
		p.Decimal = t.Decimal[0]
	}
	t.streamed = make([]int, len(t.cols))
	for k, i := range t.cols {
		t.streamed[k] = -1
		if i < 0 {
			continue
		}
		if slices.Contains(t.Columns, i) || slices.Contains(t.cols[:k], i) {
			return nil, fmt.Errorf("%w: column %d is read in two ways", stream.ErrIrregular, i+1)
		}
		t.streamed[k] = len(p.Columns)
		p.Columns = append(p.Columns, stream.Column{Index: i, Cell: t.cellOf(t.log.Columns[k])})
	}
	return p, nil
}

// cellOf reads the cells of a column that are no plain numbers. One with a
// unit or a mark that is not settled leaves its line to package table.
func (t *Table) cellOf(c *Column) func(string) (float64, stream.Cell) {
	state := c.Info.Class == series.OnOff
	return func(text string) (float64, stream.Cell) {
		if state {
			if v, ok := stateWord(text); ok {
				return v, stream.Value
			}
		}
		if v, unit, ok := table.ParseNumber(text, t.Decimal, ""); ok {
			if unit != "" || t.Decimal == "" && strings.ContainsAny(text, ".,") {
				return 0, stream.Odd
			}
			return v, stream.Value
		}
		switch {
		case celltext.IsErrorWord(text):
			return 0, stream.Failed
		case table.IsMissing(text):
			return 0, stream.Missing
		case celltext.Classify(text) == celltext.Number:
			return 0, stream.Odd
		}
		return 0, stream.Bad
	}
}

// judge has package table look at the lines that did not fit, among their
// neighbours, and at the file's end. It gives the odd rows that are kept, by
// row, and takes over the problems. The error wraps stream.ErrIrregular where
// the layout is another than the sample's.
func (t *Table) judge(rows *stream.Rows) (map[int][]string, error) {
	s := t.source
	for _, o := range rows.Odd {
		if strings.Contains(strings.TrimSuffix(o.Text, "\r"), "\r") {
			return nil, fmt.Errorf("%w: line %d: a line end of another kind stands in it", stream.ErrIrregular, o.Line)
		}
		if strings.Contains(o.Text, `"`) {
			return nil, fmt.Errorf("%w: line %d: quotes that do not enclose one cell", stream.ErrIrregular, o.Line)
		}
	}
	skel, err := stream.TakeSkeleton(s.file, s.size, s.sample, rows)
	if err != nil {
		return nil, err
	}
	tables, err := table.ReadBytes(t.Name, skel.Text, s.opt)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", stream.ErrIrregular, err)
	}
	if len(tables) != 1 {
		return nil, fmt.Errorf("%w: it holds %d tables", stream.ErrIrregular, len(tables))
	}
	n := tables[0]
	if err := t.sameLayout(n); err != nil {
		return nil, err
	}
	kept := map[int][]string{}
	for _, r := range n.Rows {
		line := skel.Lines[r.Line-1]
		if _, odd := slices.BinarySearchFunc(rows.Odd, line, func(o stream.OddLine, line int) int { return o.Line - line }); odd {
			row := line - rows.FirstLine
			if text := t.stampText(r.Cells); !rows.Insert(row, text) {
				t.Unstamped = append(t.Unstamped, stamps.Unstamped{Line: line, Text: text})
				continue
			}
			kept[row] = r.Cells
		}
	}
	for i := range n.Problems {
		if p := &n.Problems[i]; p.Line > 0 {
			p.Line = skel.Lines[p.Line-1]
		}
	}
	t.Problems, t.Rows = t.withErrorWords(n.Problems, rows, kept), t.Rows[:1]
	t.passOn()
	return kept, nil
}

// withErrorWords puts the counts of all rows in the place of the skeleton's:
// cells in which the logger says that it failed. Columns that nothing reads
// keep what the skeleton shows.
func (t *Table) withErrorWords(probs []table.Problem, rows *stream.Rows, kept map[int][]string) []table.Problem {
	var out, words []table.Problem
	for _, p := range probs {
		switch {
		case p.Code != "error-words":
			out = append(out, p)
		case !slices.Contains(t.cols, p.Column-1):
			words = append(words, p)
		}
	}
	for k, col := range t.cols {
		if col < 0 {
			continue
		}
		f := rows.Failed[t.streamed[k]]
		for row, cells := range kept {
			if celltext.IsErrorWord(cells[col]) {
				f.Add(row, cells[col])
			}
		}
		if f.Count > 0 {
			words = append(words, table.ErrorWords(t.Header[col], col, f.Count, rows.FirstLine+f.First.Row, f.First.Text))
		}
	}
	slices.SortFunc(words, func(a, b table.Problem) int { return a.Column - b.Column })
	return append(words, out...) // package table lists them first
}

func (t *Table) stampText(cells []string) string {
	if len(t.Columns) == 1 {
		return cells[t.Columns[0]]
	}
	return cells[t.Columns[0]] + " " + cells[t.Columns[1]]
}

// sameLayout holds the layout found with all odd lines against the sample's.
func (t *Table) sameLayout(n *table.Table) error {
	for _, c := range [...]struct {
		what string
		same bool
	}{
		{"columns", slices.Equal(t.Header, n.Header) && slices.Equal(t.Units, n.Units)},
		{"header's place", t.HeaderLine == n.HeaderLine},
		{"separator", t.Separator == n.Separator},
		{"decimal mark", t.Decimal == n.Decimal && n.Thousands == ""},
		{"encoding", t.Encoding == n.Encoding},
	} {
		if !c.same {
			return fmt.Errorf("%w: further on the %s is another than at its head", stream.ErrIrregular, c.what)
		}
	}
	return nil
}

// streamedCells reads all mapped columns of a stream.
func (t *Table) streamedCells(parts []part, scales []scale, workers int) {
	sorted := slices.IsSorted(t.Order)
	t.axis()
	parallel(workers, len(parts), func(k int) {
		if t.cols[k] >= 0 {
			t.columnOf(&parts[k], t.log.Columns[k], &scales[k], k, sorted)
		}
	})
}

// columnOf reads a streamed column onto the table's stamps.
func (t *Table) columnOf(p *part, c *Column, s *scale, k int, sorted bool) {
	p.T, p.Origins = t.axis()
	p.Flags = series.NewFlags(len(p.T))
	at := t.streamed[k]
	v := t.inOrder(t.Stream.V[at], sorted)
	for i, x := range v {
		if math.IsNaN(x) {
			p.missing++
			p.Flags.Or(i, series.Absent)
		}
	}
	p.noUnit = s.open && p.missing < len(v)
	if c.Info.Class == series.OnOff {
		for i, x := range v {
			v[i] = onOff(x * s.scale)
		}
	} else if !s.plain() {
		for i, x := range v {
			v[i] = s.base(x)
		}
	}
	if t.RowFlags != nil {
		for i, x := range v {
			if !math.IsNaN(x) {
				p.Flags.Or(i, t.rowFlag(t.Order[i]))
			}
		}
	}
	p.V = v
	p.bad = t.Stream.BadCount[at]
	for _, b := range t.Stream.Bad[at] {
		p.show(badCell{t.LineOf(b.Row), b.Text})
	}
	t.oddCells(p, c, s, k)
}

// inOrder brings a column's values into the order of time, in place where the
// rows stand in it.
func (t *Table) inOrder(v []float64, sorted bool) []float64 {
	if !sorted {
		out := make([]float64, len(t.Order))
		for i, r := range t.Order {
			out[i] = v[r]
		}
		return out
	}
	if len(t.Order) < len(v) {
		for i, r := range t.Order {
			v[i] = v[r]
		}
	}
	return v[:len(t.Order):len(t.Order)]
}

// oddCells fills in the rows that package table kept of lines that did not fit.
func (t *Table) oddCells(p *part, c *Column, s *scale, k int) {
	if len(t.odd) == 0 {
		return
	}
	for i, r := range t.Order {
		cells, ok := t.odd[int(r)]
		if !ok {
			continue
		}
		if v, ok := t.cellText(p, c, s, cells[t.cols[k]], t.LineOf(int(r))); ok {
			p.V[i] = v
			p.Flags.Clear(i)
			p.Flags.Or(i, t.rowFlag(r))
		}
		p.missing-- // the hole was counted as one
	}
}
