package record

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
)

func TestReadingsComesBack(t *testing.T) {
	plain := fixture.Season()
	for name, s := range map[string]*season.Season{"as it is": plain, "names with commas": commas(plain)} {
		var b bytes.Buffer
		require.NoError(t, Record(&b, s))
		got, err := parseRecord(b.Bytes(), 1<<22)
		require.NoError(t, err, name)
		g := s.Record
		require.Equal(t, g.N, got.N, name)
		require.Equal(t, g.StartMS, got.StartMS, name)
		require.Equal(t, g.StepMS(), got.StepMS, name)
		require.Len(t, got.Columns, len(g.Channels), name)
		for k, c := range g.Channels {
			assert.Equal(t, string(c.Quantity), got.Columns[k].Quantity, name)
			assert.Equal(t, c.Unit, got.Columns[k].Unit, name)
			for i, v := range c.Values {
				is := float64(got.Values[k][i])
				require.Equal(t, math.IsNaN(v-v), math.IsNaN(is), "%s %d", c.Quantity, i)
				if !math.IsNaN(v - v) {
					require.InDelta(t, v, is, 6e-6+math.Abs(v)*1e-7, "%s %d", c.Quantity, i)
				}
			}
		}
	}
}

// commas is the season with a place that needs quotes in the header.
func commas(s *season.Season) *season.Season {
	other, g := *s, *s.Record
	g.Channels = append([]grid.Channel{}, g.Channels...)
	g.Channels[0].Place = `north, "wall"`
	other.Record = &g
	return &other
}

func TestReadingsRefuses(t *testing.T) {
	for _, bad := range []string{"", "a,b,c\n", "time_utc,time_local,x_degC,flags\nnow,now,1,\n", "time_utc,time_local,x_degC,flags\n2026-01-01T00:00:00Z,x,one,\n",
		"time_utc,time_local,x_degC,flags\n2026-01-01T00:00:00Z\n", "time_utc,time_local,x_degC,flags\n2026-01-01T00:00:00Z,x,1,"} {
		_, err := parseRecord([]byte(bad), 100)
		require.ErrorIs(t, err, ErrNotRecord, "%q", bad)
	}
	_, err := parseRecord([]byte("time_utc,time_local,x_degC,flags\n2026-01-01T00:00:00Z,x,1,\n"), 0)
	require.ErrorIs(t, err, ErrTooLong)
}

func BenchmarkReadRecord(b *testing.B) {
	s := fixture.Season()
	var buf bytes.Buffer
	require.NoError(b, Record(&buf, s))
	head, row, _ := bytes.Cut(buf.Bytes(), []byte("\n"))
	name := filepath.Join(b.TempDir(), "record.csv")
	require.NoError(b, os.WriteFile(name, append(append(head, '\n'), bytes.Repeat(row, 50)...), 0o600))
	info, err := os.Stat(name)
	require.NoError(b, err)
	b.SetBytes(info.Size())
	for b.Loop() {
		_, err := ReadRecord(name, 1<<26)
		require.NoError(b, err)
	}
}
