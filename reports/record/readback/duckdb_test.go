package readback

import (
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	_ "github.com/duckdb/duckdb-go/v2"
	"github.com/stretchr/testify/require"
)

// DuckDB reads every table without a setting, equal to the CSV in every bit.
func TestDuckDB(t *testing.T) {
	db, err := sql.Open("duckdb", "")
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			want, d := written(t, name)
			path := filepath.Join(folder(t), name+".parquet")
			requireMeta(t, name, d, duckMeta(t, db, path))
			got := duckColumns(t, db, path)
			values, nulls := requireSame(t, want, got)
			t.Logf("%d values, %d of them null", values, nulls)
		})
	}
}

func quoted(path string) string { return "'" + strings.ReplaceAll(path, "'", "''") + "'" }

func duckMeta(t *testing.T, db *sql.DB, path string) map[string]string {
	t.Helper()
	rows, err := db.Query("SELECT decode(key), decode(value) FROM parquet_kv_metadata(" + quoted(path) + ")")
	require.NoError(t, err)
	defer func() { require.NoError(t, rows.Close()) }()
	out := map[string]string{}
	for rows.Next() {
		var key, v string
		require.NoError(t, rows.Scan(&key, &v))
		out[key] = v
	}
	require.NoError(t, rows.Err())
	return out
}

var duckKinds = map[string]string{"DOUBLE": "f64", "BIGINT": "i64", "BOOLEAN": "bool", "VARCHAR": "text",
	"TIMESTAMP WITH TIME ZONE": "utc", "TIMESTAMPTZ": "utc", "TIMESTAMP": "local", "TIMESTAMP_MS": "local"}

func duckColumns(t *testing.T, db *sql.DB, path string) []column {
	t.Helper()
	rows, err := db.Query("SELECT * FROM " + quoted(path))
	require.NoError(t, err)
	defer func() { require.NoError(t, rows.Close()) }()
	types, err := rows.ColumnTypes()
	require.NoError(t, err)
	out := make([]column, len(types))
	cells, at := make([]any, len(types)), make([]any, len(types))
	for k, typ := range types {
		out[k] = column{name: typ.Name(), kind: duckKinds[typ.DatabaseTypeName()]}
		require.NotEmpty(t, out[k].kind, "%s is a %s", typ.Name(), typ.DatabaseTypeName())
		at[k] = &cells[k]
	}
	for rows.Next() {
		require.NoError(t, rows.Scan(at...))
		for k, cell := range cells {
			v, err := ofDuck(out[k].kind, cell)
			require.NoError(t, err, out[k].name)
			out[k].values = append(out[k].values, v)
		}
	}
	require.NoError(t, rows.Err())
	return out
}

func ofDuck(kind string, cell any) (value, error) {
	v := value{kind: kind}
	switch x := cell.(type) {
	case nil:
		v.kind = "null"
	case float64:
		v.bits = math.Float64bits(x)
	case int64:
		v.bits = uint64(x)
	case bool:
		if x {
			v.bits = 1
		}
	case string:
		v.text = x
	case time.Time: // a local one comes as if it were in UTC
		if x.UnixMicro()%1000 != 0 {
			return v, fmt.Errorf("%s has parts of a millisecond", x)
		}
		v.bits = uint64(x.UnixMilli())
	default:
		return v, fmt.Errorf("a %T", cell)
	}
	return v, nil
}

// What a researcher types: units by column, and heat by local day.
func TestDuckDBAsTyped(t *testing.T) {
	db, err := sql.Open("duckdb", "")
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	path := quoted(filepath.Join(folder(t), "milkings.parquet"))
	var days int
	var sum, all float64
	require.NoError(t, db.QueryRow("SELECT count(*), sum(kwh) FROM (SELECT date_trunc('day', start_local) AS day, sum(loop_kwh) AS kwh FROM "+path+" GROUP BY day)").Scan(&days, &sum))
	require.NoError(t, db.QueryRow("SELECT sum(loop_kwh) FROM "+path).Scan(&all))
	require.Greater(t, days, 90)
	require.InDelta(t, all, sum, 1e-6)
	require.Positive(t, all)
}
