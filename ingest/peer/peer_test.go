package peer

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"

	_ "github.com/duckdb/duckdb-go/v2"
	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/exports"
	"yardheat/ingest/series"
)

// answer is what either gives: the quarter hours that hold a row, and what the
// readings of each channel come to over all of them.
type answer struct {
	bins     int
	channels []channel
}

type channel struct {
	count          int
	sum, low, high float64
}

// bin is one quarter hour of one channel.
type bin struct {
	n              int
	sum, low, high float64
}

// ours loads the farm (layout found, flags set, the place of every reading
// known) and lays the readings on quarter hours.
func ours(dir string) (answer, error) {
	opt := ingest.DefaultLoadOptions()
	rec, err := ingest.Load(dir, opt)
	if err != nil {
		return answer{}, err
	}
	a := answer{channels: make([]channel, len(rec.Series))}
	bins := make([][]bin, len(rec.Series))
	var done sync.WaitGroup
	for w := range opt.Workers {
		done.Go(func() {
			for k := w; k < len(bins); k += opt.Workers {
				bins[k] = quarters(rec.Series[k])
			}
		})
	}
	done.Wait()
	used := map[int]bool{}
	for k, all := range bins {
		c := channel{low: math.Inf(1), high: math.Inf(-1)}
		for i, b := range all {
			if b.n > 0 {
				used[i] = true
				c.count, c.sum, c.low, c.high = c.count+b.n, c.sum+b.sum, min(c.low, b.low), max(c.high, b.high)
			}
		}
		a.channels[k] = c
	}
	a.bins = len(used)
	return a, nil
}

// quarters lays the kept readings of a series on quarter hours.
func quarters(s *series.Series) []bin {
	const quarterMS = 15 * 60_000
	if len(s.T) == 0 {
		return nil
	}
	first := s.T[0] / quarterMS
	out := make([]bin, s.T[len(s.T)-1]/quarterMS-first+1)
	for i := 0; i < len(s.T); i++ {
		for end := s.Flags.Until(i, len(s.T)); i < end; {
			at := s.T[i] / quarterMS
			from := i
			for next := (at + 1) * quarterMS; i < end && s.T[i] < next; i++ {
			}
			b := binOf(s.V[from:i])
			o := &out[at-first]
			if o.n > 0 {
				b.low, b.high = min(b.low, o.low), max(b.high, o.high)
			}
			*o = bin{n: o.n + b.n, sum: o.sum + b.sum, low: b.low, high: b.high}
		}
	}
	return out
}

func binOf(values []float64) bin {
	low, high := values[0], values[0]
	sum := 0.0
	for _, v := range values {
		sum += v
		if v < low {
			low = v
		}
		if v > high {
			high = v
		}
	}
	return bin{len(values), sum, low, high}
}

// theirs has the database do the same: it finds the layout itself, but is told
// the separator and the decimal mark where they are not its own, and the form
// of the stamps where it does not find it; it knows no flags beyond the code
// for "no reading", no zone and no places.
func theirs(file string, l exports.Bulk) (answer, error) {
	db, err := sql.Open("duckdb", "")
	if err != nil {
		return answer{}, err
	}
	defer func() { _ = db.Close() }()
	if _, err := db.ExecContext(context.Background(), "SET threads = 2"); err != nil {
		return answer{}, err
	}
	rows, err := db.QueryContext(context.Background(), query(file, l))
	if err != nil {
		return answer{}, err
	}
	defer func() { _ = rows.Close() }()
	a := answer{channels: make([]channel, l.Channels)}
	cells := make([]float64, 4*l.Channels)
	to := make([]any, len(cells)+1)
	for i := range cells {
		to[i] = &cells[i]
	}
	to[len(cells)] = &a.bins
	if !rows.Next() {
		return a, fmt.Errorf("no row: %w", rows.Err())
	}
	if err := rows.Scan(to...); err != nil {
		return a, err
	}
	for k := range a.channels {
		c := cells[4*k:]
		a.channels[k] = channel{int(c[0]), c[1], c[2], c[3]}
	}
	return a, rows.Err()
}

// query makes quarter hours and then, so that no more than one row has to be
// handed over, what they come to.
func query(file string, l exports.Bulk) string {
	var inner, outer []string
	for k := range l.Channels {
		name := fmt.Sprintf(`nullif("T%d (°C)", -127)`, k+1)
		inner = append(inner, fmt.Sprintf("count(%[1]s) n%[2]d, avg(%[1]s) a%[2]d, min(%[1]s) l%[2]d, max(%[1]s) h%[2]d", name, k))
		outer = append(outer, fmt.Sprintf("sum(n%[1]d)::DOUBLE, sum(a%[1]d * n%[1]d), min(l%[1]d), max(h%[1]d)", k))
	}
	how := ""
	if l.Mark == ',' {
		how = ", delim = ';', decimal_separator = ',', timestampformat = '%d.%m.%Y %H:%M'"
	}
	return fmt.Sprintf(`SELECT %s, count(*) FROM (SELECT time_bucket(INTERVAL 15 MINUTE, "Time") q, %s FROM read_csv('%s'%s) GROUP BY q)`,
		strings.Join(outer, ", "), strings.Join(inner, ", "), file, how)
}

// right holds an answer against what the export is known to hold.
func right(tb testing.TB, a answer, truth *exports.BulkTruth, bins int) {
	tb.Helper()
	require.Equal(tb, bins, a.bins)
	require.Len(tb, a.channels, len(truth.Channels))
	for k, want := range truth.Channels {
		got := a.channels[k]
		require.Equal(tb, want.Count, got.count, "channel %d", k)
		require.InEpsilon(tb, float64(want.Sum)/100, got.sum, 1e-9, "channel %d", k)
		require.Equal(tb, float64(want.Low)/100, got.low, "channel %d", k)
		require.Equal(tb, float64(want.High)/100, got.high, "channel %d", k)
	}
}
