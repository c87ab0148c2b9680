package account

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
)

// The kWh at each price, times that price, are the cost; the shares of the usual
// hours, times the prices, the usual price.
func TestKWhByPriceMakeTheCost(t *testing.T) {
	g := &grid.Grid{StartMS: t0, StepS: 60, N: 2880}
	kw := make([]float64, g.N)
	for i := range kw {
		kw[i] = 1 + math.Mod(float64(i)*0.37, 3)
		if i%97 == 0 {
			kw[i] = math.NaN()
		}
	}
	e := &farm.Electricity{HasPrice: true, PricePerKWh: 0.3, Rates: []farm.Rate{{FromMin: 1320, ToMin: 360, PricePerKWh: 0.1}, {FromMin: 600, ToMin: 660, PricePerKWh: -0.05}}}
	cycles := []cycle.Cycle{{A: 0, B: 700}, {A: 700, B: 1500}, {A: 1500, B: 2880}}
	m := &maker{g: g, zone: time.UTC, farm: &farm.Farm{Electricity: e}, acc: &Account{Cycles: cycles}, lines: Lines(g, e, time.UTC)}
	prices := Prices(g, e, time.UTC)
	rows, by := SumPower(g, kw, prices, cycles), m.byLine(kw, cycles)
	usual, shares := m.usualPrices(kw, prices, cycles), m.usualShares(kw, cycles)
	list := PriceLines(e)
	require.Len(t, by, 3)
	for i := range cycles {
		kwh, cost, price, share := 0.0, 0.0, 0.0, 0.0
		for k, line := range list {
			kwh, cost = kwh+by[k][i], cost+by[k][i]*line.PerKWh
			price, share = price+shares[k][i]*line.PerKWh, share+shares[k][i]
		}
		within(t, rows[i].KWh, kwh, 1e-9)
		within(t, rows[i].Cost, cost, 1e-9)
		within(t, usual[i], price, 1e-12)
		within(t, 1, share, 1e-12)
	}
	require.NotZero(t, by[2][0], "the hour at a negative price")
}

// Where a price does not hold it takes no kWh, and without rates there are no
// lines to part.
func TestKWhWithoutAPriceStandAtNone(t *testing.T) {
	g := &grid.Grid{StartMS: t0, StepS: 60, N: 1440}
	kw := make([]float64, g.N)
	for i := range kw {
		kw[i] = 2
	}
	cycles := []cycle.Cycle{{A: 0, B: 720}, {A: 720, B: 1440}}
	night := &farm.Electricity{Rates: []farm.Rate{{FromMin: 0, ToMin: 360, PricePerKWh: 0.1}}}
	m := &maker{g: g, zone: time.UTC, farm: &farm.Farm{Electricity: night}, acc: &Account{Cycles: cycles}, lines: Lines(g, night, time.UTC)}
	require.Equal(t, []float64{0.1}, []float64{PriceLines(night)[0].PerKWh})
	by := m.byLine(kw, cycles)
	within(t, 12, by[0][0], 1e-9)
	require.Zero(t, by[0][1])
	require.True(t, math.IsNaN(m.usualShares(kw, cycles)[0][1]), "no hour of the cycle has a price")
	m.lines = Lines(g, &farm.Electricity{HasPrice: true, PricePerKWh: 1}, time.UTC)
	require.Nil(t, m.byLine(kw, cycles))
}
