package season

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// A logger that is out is one problem, not one a column; a short gap is none.
func TestLongGapsAreNamedByLogger(t *testing.T) {
	b := &builder{s: &Season{Channels: []Channel{
		{File: "plant.csv", Column: "Tank", Quantity: "tank_temp", GapS: 7 * 86400},
		{File: "yard.csv", Column: "Bed", Quantity: "bed_temp", GapS: 4 * 86400},
		{File: "plant.csv", Column: "Wash", Quantity: "wash_temp", GapS: 7*86400 + 60},
		{File: "plant.csv", Column: "Gas", Quantity: "gas_in_temp", GapS: 3600},
		{File: "yard.csv", Column: "Air", Quantity: "air_temp", GapS: nan},
	}}}
	b.longGaps()
	require.Len(t, b.s.Problems, 2)
	both, one := b.s.Problems[0], b.s.Problems[1]
	require.Equal(t, []any{"plant.csv", "2 columns", CodeGapLong, series.Doubt}, []any{both.File, both.Where, both.Code, both.Severity})
	require.Contains(t, both.Text, "7 days of the period: Tank, Wash.")
	require.Equal(t, "Bed", one.Where)
	require.Contains(t, one.Text, "4 days")
}
