package look

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
)

// Every layout of the corpus is described as a person reads it, without any
// setting: rows, span, interval, decimal mark, units, kinds, missing, ranges.
func TestCorpus(t *testing.T) {
	for _, l := range exports.Corpus() {
		if l.Want.Refused != "" {
			continue
		}
		t.Run(l.Name, func(t *testing.T) {
			of := l.All()
			want := l.Reading(of)
			tables, err := Bytes("log.csv", l.Write(of), Options{})
			require.NoError(t, err)
			require.Len(t, tables, want.Tables)
			rows := 0
			first, last := time.Time{}, time.Time{}
			for i := range tables {
				d := &tables[i]
				rows += d.Rows
				require.Equal(t, want.Separator, d.Separator)
				require.Equal(t, want.Decimal, d.Decimal)
				if at := timeOf(t, l, d.First); first.IsZero() || at.Before(first) {
					first = at
				}
				if at := timeOf(t, l, d.Last); at.After(last) {
					last = at
				}
			}
			require.Equal(t, want.Rows, rows)
			require.Equal(t, want.First.UTC(), first)
			require.Equal(t, want.Last.UTC(), last)
			if l.Shape == exports.Wide || l.Shape == exports.Long || l.Shape == exports.Apart {
				require.Equal(t, want.Interval.Seconds(), tables[0].IntervalS)
			}
			for _, c := range want.Columns {
				checkCorpusColumn(t, l, tables, c)
			}
		})
	}
}

// timeOf reads First or Last; without an offset it stands in the zone that the
// layout is written in.
func timeOf(t *testing.T, l exports.Layout, text string) time.Time {
	t.Helper()
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.UTC()
	}
	name := l.Zone
	if name == "" {
		name = exports.FarmZone
	}
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	at, err := time.ParseInLocation("2006-01-02T15:04:05", text, zone)
	require.NoError(t, err)
	return at.UTC()
}

func checkCorpusColumn(t *testing.T, l exports.Layout, tables []Table, want exports.Column) {
	t.Helper()
	var got *Column
	long := l.Shape == exports.Long || l.Shape == exports.Events
	for i := range tables {
		for k := range tables[i].Columns {
			c := &tables[i].Columns[k]
			if c.Tag == long && (c.Name == want.Header || want.Header == number(c.Number-1)) {
				got = c
			}
		}
	}
	require.NotNil(t, got, "no column %q", want.Header)
	if want.Unit != "" {
		require.Equal(t, want.Unit, got.Unit, want.Header)
	}
	require.Equal(t, want.State, got.Kind == State, "%s: %s, %s", want.Header, got.Kind, got.Because)
	require.Equal(t, want.Counter, got.Kind == Counter, "%s: %s, %s", want.Header, got.Kind, got.Because)
	require.Equal(t, len(want.V)-want.Missing, got.Readings-got.Implausible, want.Header)
	if l.Shape != exports.Staggered { // there most rows hold another channel
		require.Equal(t, want.Missing, got.Missing, want.Header)
	}
	if !math.IsInf(want.Min, 0) {
		require.NotNil(t, got.Min, want.Header)
		require.InDelta(t, want.Min, *got.Min, 1e-9, want.Header)
		require.InDelta(t, want.Max, *got.Max, 1e-9, want.Header)
	}
	if got.Quantity != "" && l.Names == nil { // names of its own may mean what they like
		require.Equal(t, want.Quantity, got.Quantity, "%s: %s", want.Header, got.Because)
	}
}
