package readback

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/stretchr/testify/require"
)

// Arrow reads every table without a setting, equal to the CSV in every bit.
func TestArrow(t *testing.T) {
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			want, d := written(t, name)
			r, err := file.OpenParquetFile(filepath.Join(folder(t), name+".parquet"), false)
			require.NoError(t, err)
			defer func() { require.NoError(t, r.Close()) }()
			meta := map[string]string{}
			kv := r.MetaData().KeyValueMetadata()
			for i, key := range kv.Keys() {
				meta[key] = kv.Values()[i]
			}
			requireMeta(t, name, d, meta)
			reader, err := pqarrow.NewFileReader(r, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
			require.NoError(t, err)
			table, err := reader.ReadTable(context.Background())
			require.NoError(t, err)
			defer table.Release()
			var got []column
			for k := range int(table.NumCols()) {
				got = append(got, ofArrow(t, table.Column(k)))
			}
			values, nulls := requireSame(t, want, got)
			t.Logf("%d values, %d of them null, in %d row groups", values, nulls, r.NumRowGroups())
			requireStatistics(t, r, want)
		})
	}
}

func ofArrow(t *testing.T, c *arrow.Column) column {
	t.Helper()
	out := column{name: c.Name()}
	switch typ := c.DataType().(type) {
	case *arrow.Float64Type:
		out.kind = "f64"
	case *arrow.Int64Type:
		out.kind = "i64"
	case *arrow.BooleanType:
		out.kind = "bool"
	case *arrow.StringType:
		out.kind = "text"
	case *arrow.TimestampType:
		require.Equal(t, arrow.Millisecond, typ.Unit)
		out.kind = map[string]string{"UTC": "utc", "": "local"}[typ.TimeZone]
	}
	require.NotEmpty(t, out.kind, "%s is a %s", c.Name(), c.DataType())
	for _, chunk := range c.Data().Chunks() {
		for i := range chunk.Len() {
			if chunk.IsNull(i) {
				out.values = append(out.values, value{kind: "null"})
				continue
			}
			v := value{kind: out.kind}
			switch a := chunk.(type) {
			case *array.Float64:
				v.bits = math.Float64bits(a.Value(i))
			case *array.Int64:
				v.bits = uint64(a.Value(i))
			case *array.Boolean:
				if a.Value(i) {
					v.bits = 1
				}
			case *array.String:
				v.text = a.Value(i)
			case *array.Timestamp:
				v.bits = uint64(a.Value(i))
			}
			out.values = append(out.values, v)
		}
	}
	return out
}

// requireStatistics: the count of nulls of every chunk is that of its rows.
func requireStatistics(t *testing.T, r *file.Reader, want []column) {
	t.Helper()
	at := 0
	for g := range r.NumRowGroups() {
		group := r.MetaData().RowGroup(g)
		n := int(group.NumRows())
		for k, c := range want {
			chunk, err := group.ColumnChunk(k)
			require.NoError(t, err)
			stats, err := chunk.Statistics()
			require.NoError(t, err)
			require.NotNil(t, stats, c.name)
			nulls := 0
			for _, v := range c.values[at : at+n] {
				if v.kind == "null" {
					nulls++
				}
			}
			require.Equal(t, int64(nulls), stats.NullCount(), c.name)
			require.Equal(t, nulls < n, stats.HasMinMax(), c.name)
		}
		at += n
	}
}
