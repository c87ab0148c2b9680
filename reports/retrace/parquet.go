package retrace

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"
)

// parquet holds a Parquet file against the one made anew, cell by cell, and what
// it says of itself.
func (c *comparer) parquet(name, wasPath, nowPath string) (err error) {
	// A damaged file may end the library's reading in a panic.
	defer func() {
		if p := recover(); p != nil {
			c.v.say(KindFileChanged, name, "can't be read as a table: %v", p)
			err = nil
		}
	}()
	now, close2, err := openCells(nowPath)
	if err != nil {
		return err
	}
	defer close2()
	was, close1, err := openCells(wasPath)
	if err != nil {
		c.v.say(KindFileChanged, name, "can't be read as a table: %s", err)
		return nil
	}
	defer close1()
	c.fileMeta(name, was.f, now.f)
	t := &tables{c: c, name: name, a: was, b: now}
	if err := t.run(); err != nil {
		c.v.say(KindFileChanged, name, "can't be read as a table: %s", err)
	}
	if t.differ > mostCells {
		c.v.say(KindFileChanged, name, "%d cells differ in all", t.differ)
	}
	return nil
}

// fileMeta holds the key-value metadata against each other.
func (c *comparer) fileMeta(name string, was, now *parquet.File) {
	list := func(f *parquet.File) map[string]string {
		out := map[string]string{}
		for _, kv := range f.Metadata().KeyValueMetadata {
			out[kv.Key] = kv.Value
		}
		return out
	}
	a, b := list(was), list(now)
	both := map[string]bool{}
	for key := range a {
		both[key] = true
	}
	for key := range b {
		both[key] = true
	}
	for _, key := range sortedKeys(both) {
		if a[key] == b[key] || c.mode != exact && alikeText(a[key], b[key]) {
			continue
		}
		x, y := about(a[key], b[key])
		c.v.add(Difference{Kind: KindFileChanged, File: name, Where: "metadata " + key, Report: x, Originals: y,
			Text: fmt.Sprintf("metadata %s: %q in the report, %q by the originals", key, x, y)})
	}
}

// cells reads a Parquet file as rows of texts, its columns' names and types first.
type cells struct {
	f      *parquet.File
	fields []parquet.Field
	headed bool
	group  int
	rows   parquet.Rows
	buf    [1]parquet.Row
}

func openCells(path string) (*cells, func(), error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	shut := func() { _ = file.Close() } // read only
	info, err := file.Stat()
	if err != nil {
		shut()
		return nil, nil, err
	}
	f, err := parquet.OpenFile(file, info.Size())
	if err != nil {
		shut()
		return nil, nil, err
	}
	return &cells{f: f, fields: f.Schema().Fields()}, shut, nil
}

// Read gives the next row; io.EOF after the last.
func (c *cells) Read() ([]string, error) {
	if !c.headed {
		c.headed = true
		var head []string
		for _, field := range c.fields {
			head = append(head, field.Name())
		}
		return head, nil
	}
	for {
		if c.rows == nil {
			groups := c.f.RowGroups()
			if c.group == len(groups) {
				return nil, io.EOF
			}
			c.rows = groups[c.group].Rows()
			c.group++
		}
		n, err := c.rows.ReadRows(c.buf[:])
		if n == 1 {
			return c.texts(c.buf[0]), nil
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		if err := c.rows.Close(); err != nil {
			return nil, err
		}
		c.rows = nil
	}
}

// texts are the values of a row as they can be told apart.
func (c *cells) texts(row parquet.Row) []string {
	out := make([]string, len(c.fields))
	for _, v := range row {
		if k := v.Column(); !v.IsNull() && k >= 0 && k < len(out) {
			out[k] = textOf(c.fields[k], v)
		}
	}
	return out
}

func textOf(field parquet.Field, v parquet.Value) string {
	switch v.Kind() {
	case parquet.Double:
		if v.Double() == 0 && math.Signbit(v.Double()) {
			return "-0"
		}
		return strconv.FormatFloat(v.Double(), 'g', -1, 64)
	case parquet.Int64:
		if logical := field.Type().LogicalType(); logical != nil {
			if stamp, ok := logical.Value.(*format.TimestampType); ok && stamp != nil {
				return time.UnixMilli(v.Int64()).UTC().Format("2006-01-02T15:04:05.000")
			}
		}
	case parquet.ByteArray:
		return strconv.Quote(string(v.ByteArray()))
	}
	return v.String()
}
