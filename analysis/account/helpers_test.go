package account

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

const (
	minute = int64(60_000)
	hour   = 60 * minute
)

var t0 = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

// within: got is a number and |got − want| ≤ tol.
func within(t testing.TB, want, got, tol float64, what ...any) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%v: got %.10g, want %.10g within %g", what, got, want, tol)
	}
}

// log makes the series of an invented farm, one reading a minute.
type logger struct {
	n   int
	all []*series.Series
}

func (l *logger) instants(q series.Quantity, at func(minute int) float64) *series.Series {
	s := &series.Series{Quantity: q, Probe: "yard: " + string(q), Kind: series.Instant, IntervalMS: minute, Flags: series.NewFlags(l.n + 1)}
	for i := 0; i <= l.n; i++ {
		s.T, s.V = append(s.T, t0+int64(i)*minute), append(s.V, at(i))
	}
	l.all = append(l.all, s)
	return s
}

func (l *logger) amounts(q series.Quantity, during func(minute int) float64) *series.Series {
	s := &series.Series{Quantity: q, Probe: "yard: " + string(q), Kind: series.Amount, Counter: true, IntervalMS: minute, Flags: series.NewFlags(l.n)}
	for i := range l.n {
		s.From, s.T, s.V = append(s.From, t0+int64(i)*minute), append(s.T, t0+int64(i+1)*minute), append(s.V, during(i))
	}
	l.all = append(l.all, s)
	return s
}

func (l *logger) means(q series.Quantity, during func(minute int) float64) *series.Series {
	s := l.amounts(q, during)
	s.Kind, s.Counter = series.Mean, false
	return s
}

func (l *logger) record(f *farm.Farm, milkings ...ingest.Milking) *ingest.Record {
	r := &ingest.Record{Farm: f, Zone: time.UTC, Series: l.all, Milkings: milkings, First: t0, Last: t0 + int64(l.n)*minute}
	if len(milkings) > 0 {
		r.MilkingsFrom = "list"
	}
	return r
}

func account(t testing.TB, rec *ingest.Record, opt Options) *Account {
	t.Helper()
	g, err := grid.Build(rec, rec.First, rec.Last, opt.Grid)
	require.NoError(t, err)
	a, err := Make(Input{Rec: rec, Grid: g, FromMS: rec.First, ToMS: rec.Last}, opt)
	require.NoError(t, err)
	return a
}

func constant(c float64) func(int) float64 { return func(int) float64 { return c } }

// between is v from minute a up to b of every period, else rest.
func between(period, a, b int, v, rest float64) func(int) float64 {
	return func(i int) float64 {
		if m := i % period; m >= a && m < b {
			return v
		}
		return rest
	}
}

// checks reads a file of published or library values.
func checks(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/check-values/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, row := range all[1:] {
		m := map[string]string{}
		for i, c := range row {
			m[all[0][i]] = c
		}
		out = append(out, m)
	}
	return out
}

func num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}
