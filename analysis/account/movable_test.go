package account

import (
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/water"
	"yardheat/ingest/farm"
)

// sunnyFarm: washes at 08:00 and 20:00 of two days; before each the element
// works at 6 kW for an hour, from the grid but for what solarKW gives; 4 kW are
// exported from 11:00 to exportTo (minutes).
func sunnyFarm(exportTo int, tankC float64) (*logger, *farm.Farm) {
	l := &logger{n: 2880}
	l.amounts("wash_volume", between(720, 480, 490, 20, 0))
	l.instants("wash_temp", constant(75))
	l.means("element_power", between(720, 400, 460, 6, 0))
	l.instants("tank_temp", constant(tankC))
	l.means("grid_import_power", between(720, 400, 460, 6, 0))
	l.means("grid_export_power", between(1440, 660, exportTo, 4, 0))
	return l, &farm.Farm{Tanks: []farm.Tank{{VolumeL: 300}}, Element: &farm.Element{PowerKW: 6}, Wash: &farm.Wash{HasHeatTo: true, HeatToC: 78, MeterAt: "hot"}}
}

func TestMovableIsTheLeastOfGridSunAndTank(t *testing.T) {
	perK := water.HeatCapacityKJPerLK(50) * 300 / 3600
	for _, c := range []struct {
		what     string
		exportTo int
		tankC    float64
		want     float64
	}{
		// Between washes: 08:10 to 20:00 twice (with the day's sun), 20:10 to 08:00
		// once (without).
		{"the grid's 6 kWh a stretch", 900, 30, 12},
		{"the sun's 2 kWh a stretch", 690, 30, 4},
		{"the tank's room", 900, 75, 2 * 3 * perK},
		{"a tank that is hot", 900, 78, 0},
	} {
		l, f := sunnyFarm(c.exportTo, c.tankC)
		a := account(t, l.record(f), DefaultOptions())
		require.Empty(t, a.Movable.Why, c.what)
		require.Equal(t, 3, a.Movable.Stretches, c.what)
		within(t, c.want, a.Movable.HighKWh, 0.01*c.want+1e-9, c.what)
		within(t, c.want, a.Movable.LowKWh, 0.01*c.want+1e-9, c.what)
		require.False(t, a.Movable.OnlyHigh)
	}
}

func TestMovableByTheElementsPower(t *testing.T) {
	// 12 kW are left over for half an hour, but the element takes 6 kW: 3 kWh.
	l, f := sunnyFarm(690, 30)
	for i, v := range l.all[5].V {
		l.all[5].V[i] = 3 * v
	}
	a := account(t, l.record(f), DefaultOptions())
	within(t, 2*3, a.Movable.HighKWh, 0.01)
}

func TestMovableWithoutExportIsAHighEnd(t *testing.T) {
	// 5 kW of sun from 11:00 to 12:00, of which a compressor takes 2.
	l, f := sunnyFarm(660, 30)
	l.all = l.all[:4]
	l.means("solar_power", between(1440, 660, 720, 5, 0))
	l.means("compressor_power", constant(2))
	a := account(t, l.record(f), DefaultOptions())
	require.True(t, a.Movable.OnlyHigh)
	within(t, 2*3, a.Movable.HighKWh, 0.02)
	require.True(t, a.Solar.OnlyHigh)
	l.all = l.all[:4]
	a = account(t, l.record(f), DefaultOptions())
	require.Equal(t, WhyNoSurplus, a.Movable.Why)
}
