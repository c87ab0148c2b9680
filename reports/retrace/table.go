package retrace

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
)

// mostCells is how many cells of one file are listed; the rest are counted.
const mostCells = 20

// table holds a CSV against the one made anew, cell by cell.
func (c *comparer) table(name, wasPath, nowPath string) error {
	was, err := os.Open(wasPath)
	if err != nil {
		return err
	}
	defer func() { _ = was.Close() }() // read only
	now, err := os.Open(nowPath)
	if err != nil {
		return err
	}
	defer func() { _ = now.Close() }() // read only
	t := &tables{c: c, name: name, a: reader(was), b: reader(now)}
	if err := t.run(); err != nil {
		c.v.say(KindFileChanged, name, "can't be read as a table: %s", err)
	}
	if t.differ > mostCells {
		c.v.say(KindFileChanged, name, "%d cells differ in all", t.differ)
	}
	return nil
}

func reader(r io.Reader) *csv.Reader {
	out := csv.NewReader(bufio.NewReaderSize(r, 1<<16))
	out.FieldsPerRecord, out.ReuseRecord = -1, true
	return out
}

// rowReader gives rows of cells, the header first, and io.EOF at the end.
type rowReader interface{ Read() ([]string, error) }

// tables are two tables read side by side.
type tables struct {
	c      *comparer
	name   string
	a, b   rowReader
	header []string
	// to is the column of b for each of a's; nil = the same.
	to     []int
	differ int
}

func (t *tables) run() error {
	for line := 1; ; line++ {
		x, errX := t.a.Read()
		y, errY := t.b.Read()
		switch {
		case errors.Is(errX, io.EOF) && errors.Is(errY, io.EOF):
			return nil
		case errX != nil && !errors.Is(errX, io.EOF):
			return errX
		case errY != nil && !errors.Is(errY, io.EOF):
			return errY
		case errX != nil || errY != nil:
			return t.rest(line, errX != nil)
		}
		if line == 1 {
			if stop := t.head(x, y); stop {
				return nil
			}
			continue
		}
		t.row(line, x, y)
	}
}

// head holds the headers against each other; another version's columns are
// found by name.
func (t *tables) head(x, y []string) (stop bool) {
	t.header = slices.Clone(x)
	if slices.Equal(x, y) {
		return false
	}
	if t.c.mode != otherVersion {
		t.c.v.add(Difference{Kind: KindFileChanged, File: t.name, Where: "line 1", Report: strings.Join(x, ","), Originals: strings.Join(y, ","), Text: "the columns are not those that follow from the originals"})
		return true
	}
	for _, h := range x {
		t.to = append(t.to, slices.Index(y, h))
	}
	return false
}

func (t *tables) row(line int, x, y []string) {
	for i := range max(len(x), len(y)) {
		k := i
		if t.to != nil {
			if i >= len(t.to) || t.to[i] < 0 {
				continue
			}
			k = t.to[i]
		}
		a, b := cell(x, i), cell(y, k)
		if a == b && (i < len(x)) == (k < len(y)) || t.c.mode != exact && alikeText(a, b) {
			continue
		}
		if t.differ++; t.differ > mostCells {
			continue
		}
		head := fmt.Sprintf("column %d", i+1)
		if i < len(t.header) {
			head = t.header[i]
		}
		t.c.v.add(Difference{Kind: KindFileChanged, File: t.name, Where: fmt.Sprintf("line %d, %s", line, head), Report: a, Originals: b,
			Text: fmt.Sprintf("line %d, %s: %q in the report, %q by the originals", line, head, a, b)})
	}
}

func cell(row []string, i int) string {
	if i < len(row) {
		return row[i]
	}
	return ""
}

// rest counts the rows that only one side has.
func (t *tables) rest(line int, missing bool) error {
	r, what := t.a, "more than follow from the originals"
	if missing {
		r, what = t.b, "fewer than follow from the originals"
	}
	n := 1
	for {
		_, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		n++
	}
	t.c.v.say(KindFileChanged, t.name, "from line %d on %s %s", line, counted(n, "row", "rows"), what)
	return nil
}
