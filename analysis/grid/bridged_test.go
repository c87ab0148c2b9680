package grid

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// Readings each minute, that of minute 2 missing:
// no value stands there but on a line.
func TestBridged(t *testing.T) {
	s := &series.Series{T: []int64{0, 60_000, 180_000, 240_000, 300_000, 360_000}, V: []float64{1, 2, 3, 4, 5, 6}}
	r := Readings{s: s, lo: 0, hi: 6}
	require.Equal(t, []bool{false, false, true, false, false, false, false, false}, r.Bridged(0, 60_000, 8, 90_000))
	require.Equal(t, []bool{false, true, false}, r.Bridged(60_000, 60_000, 3, 90_000))
	require.Equal(t, []bool{false, false, false}, r.Bridged(0, 60_000, 3, 180_000))
	require.Equal(t, make([]bool, 3), Readings{}.Bridged(0, 60_000, 3, 90_000))
}
