package account

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/farm"
)

// Every six hours the compressor runs for 100 minutes at 3 kW; the plate's
// water flows from the tenth minute (not yet started: nothing is left) to the
// sixtieth, and stands for the last forty: 2 kWh left a cycle, in one stop.
func leftFarm(gasC float64) *ingest.Record {
	l := &logger{n: 2 * 24 * 60}
	l.means("compressor_power", between(360, 0, 100, 3, 0))
	l.means("plate_flow", between(360, 10, 60, 12, 0))
	l.instants("plate_in_temp", constant(30))
	l.instants("plate_out_temp", constant(42))
	l.instants("gas_in_temp", constant(gasC))
	return l.record(&farm.Farm{Plate: &farm.Plate{}, Plant: &farm.Plant{}})
}

func TestLeftBehind(t *testing.T) {
	a := account(t, leftFarm(60), DefaultOptions())
	require.NotEmpty(t, a.Left)
	stops, s, kWh, flowed := 0, 0.0, 0.0, 0.0
	for _, r := range a.Left {
		stops, s, kWh, flowed = stops+r.Stops, s+r.LeftS, kWh+r.LeftKWh, flowed+r.FlowKWh
	}
	require.Equal(t, 8, stops)
	within(t, 8*40*60, s, 1, "time")
	within(t, 8*2, kWh, 0.01, "compressor electricity after the stop")
	within(t, 8*2.5, flowed, 0.01, "and while it flowed")
}

// Gas that is hardly warmer than the water leaves nothing behind.
func TestCoolGasLeavesNothing(t *testing.T) {
	for _, r := range account(t, leftFarm(33), DefaultOptions()).Left {
		require.Equal(t, 0, r.Stops)
	}
}
