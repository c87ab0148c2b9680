package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/parquet-go/parquet-go"
)

const (
	// groupRows is a row group: readers skip or share out work by it.
	groupRows = 131_072
	// batchRows are handed over at a time.
	batchRows = 4096
	// mostDictionary: a column chunk with more bytes of distinct values than this
	// goes on without a dictionary.
	mostDictionary = 1 << 16
	// createdBy names the form, not the build: same season, same bytes.
	createdBy = "yardheat version 1 (build parquet-go)"
)

// The keys of the key-value metadata.
const (
	metaSchema = "yardheat.schema" // the version of the columns
	metaUnits  = "yardheat.units"  // JSON: the unit of each column that has one
	metaZone   = "yardheat.zone"   // the zone of time_local
	metaCSVW   = "yardheat.csvw"   // JSON: what the columns are, as beside the CSV
)

// Parquet writes the table in the form of Apache Parquet: the columns and values
// of the CSV, typed. Times are TIMESTAMP(ms): UTC ones adjusted to UTC, local
// ones not. The bytes do not depend on the number of cores, for a column's bytes
// depend on that column alone.
func (t *Table) Parquet(w io.Writer) error {
	meta, err := t.meta()
	if err != nil {
		return err
	}
	config := &parquet.WriterConfig{Schema: parquet.NewSchema(t.Name, t.node()), Compression: &parquet.Snappy, CreatedBy: createdBy,
		DataPageVersion: 1, DataPageStatistics: false, DictionaryMaxBytes: mostDictionary, KeyValueMetadata: meta}
	out := parquet.NewWriter(w, config)
	for lo := 0; lo < t.Rows; lo += groupRows {
		if err := t.group(out.ColumnWriters(), lo, min(lo+groupRows, t.Rows)); err != nil {
			return err
		}
		if err := out.Flush(); err != nil {
			return err
		}
	}
	return out.Close()
}

// group fills the columns of one row group, each by one worker.
func (t *Table) group(columns []*parquet.ColumnWriter, lo, hi int) error {
	errs := make([]error, len(columns))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(len(columns), max(1, runtime.GOMAXPROCS(0))) {
		wg.Go(func() {
			buf := make([]parquet.Value, batchRows)
			for k := int(next.Add(1) - 1); k < len(columns); k = int(next.Add(1) - 1) {
				errs[k] = t.chunk(columns[k], t.fills[k], buf, lo, hi)
			}
		})
	}
	wg.Wait()
	for k, err := range errs {
		if err != nil {
			return fmt.Errorf("column %s: %w", t.Columns[k].Name, err)
		}
	}
	return nil
}

func (t *Table) chunk(c *parquet.ColumnWriter, fill filler, buf []parquet.Value, lo, hi int) error {
	for at := lo; at < hi; at += batchRows {
		values := buf[:min(batchRows, hi-at)]
		fill(values, at)
		if _, err := c.WriteRowValues(values); err != nil {
			return err
		}
	}
	return c.Flush()
}

// node is the root of the schema, with its columns in their order: a
// parquet.Group sorts them by name.
func (t *Table) node() parquet.Node {
	group := parquet.Group{}
	var order []parquet.Field
	for _, c := range t.Columns {
		n := leaf(c)
		group[c.Name] = n
		order = append(order, field{n, c.Name})
	}
	return ordered{group, order}
}

type ordered struct {
	parquet.Group
	fields []parquet.Field
}

func (o ordered) Fields() []parquet.Field { return o.fields }

type field struct {
	parquet.Node
	name string
}

func (f field) Name() string { return f.name }

// Value is for rows made of Go values, of which there are none here.
func (f field) Value(reflect.Value) reflect.Value { return reflect.Value{} }

// leaf is a column's type and encoding. Every column may hold nulls, those that
// never do too, so that a column has one form in every version.
func leaf(c Column) parquet.Node {
	var n parquet.Node
	switch c.Type {
	case UTC:
		n = parquet.Encoded(parquet.TimestampAdjusted(parquet.Millisecond, true), &parquet.DeltaBinaryPacked)
	case Local:
		n = parquet.Encoded(parquet.TimestampAdjusted(parquet.Millisecond, false), &parquet.DeltaBinaryPacked)
	case Whole:
		n = parquet.Int(64)
	case YesNo:
		n = parquet.Leaf(parquet.BooleanType)
	case Text:
		n = parquet.Encoded(parquet.String(), &parquet.RLEDictionary)
	default:
		n = parquet.Leaf(parquet.DoubleType)
	}
	return parquet.Optional(n)
}

// meta is the key-value metadata of the file.
func (t *Table) meta() (map[string]string, error) {
	units := map[string]string{}
	for _, c := range t.Columns {
		if c.Unit != "" {
			units[c.Name] = c.Unit
		}
	}
	u, err := json.Marshal(units) // keys sorted
	if err != nil {
		return nil, err
	}
	about, err := t.CSVW()
	if err != nil {
		return nil, err
	}
	var short bytes.Buffer
	if err := json.Compact(&short, about); err != nil {
		return nil, err
	}
	return map[string]string{metaSchema: t.Schema, metaUnits: string(u), metaZone: t.Zone, metaCSVW: short.String()}, nil
}
