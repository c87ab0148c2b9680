package size

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/pipe"
	"yardheat/analysis/water"
)

func someFarm() Farm {
	return Farm{
		Now:     Design{LengthM: 400, BoreMM: 26, WallMM: 3, Branches: 1, DrawL: 150, DrawsPerDay: 2, FlowLMin: 10, TankL: 400},
		UAWPerK: 600, UALowWPerK: 570, UAHighWPerK: 630, TimeConstantH: 0.5, FeedC: 10, BedC: 44, BedHalfK: 0.4,
		HeatKWhPerDay: 11.8, HeatLow: 11.5, HeatHigh: 12.1, ElementKWhPerDay: 9, TankLossKWhPerDay: 3,
		BedAreaM2: 300, Wall: pipe.Range{Low: 0.33, High: 0.5},
	}
}

// Lasting flow is the textbook's tube in surroundings of even temperature,
// T_out = T_b + (T_in - T_b) exp(-UA/(m c)) (Incropera, 6th ed., eq. 8.45b): draws
// that follow each other without a pause come to it.
func TestLastingFlowIsTheTextbook(t *testing.T) {
	f := someFarm()
	d := f.Now
	d.FlowLMin, d.DrawsPerDay, d.DrawL = 12, 24, 12*60
	_, out := f.model(d, 600, 600*0.5*3600, 0.8, 400)
	perS := 1000 * water.HeatCapacityKJPerLK((f.FeedC+f.BedC)/2) * d.FlowLMin / 60
	assert.InDelta(t, f.BedC+(f.FeedC-f.BedC)*math.Exp(-600/perS), out, 1e-9)
}

// A draw of half a loop twice a day has soaked for a day's rhythm: it leaves as warm
// as the bed, whatever the coefficient.
func TestSoakedWaterIsBedWarm(t *testing.T) {
	f := someFarm()
	d := f.Now
	d.DrawL = 80
	for _, ua := range []float64{300, 600, 3000} {
		_, out := f.model(d, ua, 600*0.5*3600, 0.8, 200)
		assert.InDelta(t, f.BedC, out, 0.01)
	}
}

func TestDirections(t *testing.T) {
	f := someFarm()
	more := func(change func(*Design)) *Estimate {
		d := f.Now
		change(&d)
		e, err := Compute(f, d, DefaultOptions())
		require.NoError(t, err)
		return e
	}
	longer := more(func(d *Design) { d.LengthM = 600 })
	assert.GreaterOrEqual(t, longer.More.Value, 0.0)
	assert.InEpsilon(t, 1.5, longer.NewDropBar/longer.DropBar, 1e-9)
	assert.Contains(t, longer.Remarks, RemarkWarmStore)
	third := more(func(d *Design) { d.DrawsPerDay = 3 })
	assert.InDelta(t, 1.5, third.NewHeat.Value/third.Heat.Value, 0.2, "half as much again, less what the bed cools by")
	assert.Less(t, third.More.Low, third.More.Value)
	assert.Contains(t, third.Remarks, RemarkUnseen)
	shorter := more(func(d *Design) { d.LengthM = 150 })
	assert.Negative(t, shorter.More.High)
	tank := more(func(d *Design) { d.TankL = 800 })
	assert.Zero(t, tank.More.Value, "a bigger tank takes nothing more from the bed")
	assert.InEpsilon(t, math.Pow(2, 2.0/3), tank.NewLossKWhPerDay/tank.LossKWhPerDay, 1e-12)
	thin := more(func(d *Design) { d.BoreMM = 13 })
	assert.Contains(t, thin.Remarks, RemarkPressure)
}

// A coefficient known from below only leaves the estimate its whole span.
func TestKnownFromBelow(t *testing.T) {
	f := someFarm()
	d := f.Now
	d.LengthM = 200
	two, err := Compute(f, d, DefaultOptions())
	require.NoError(t, err)
	f.UAHighWPerK = math.NaN()
	one, err := Compute(f, d, DefaultOptions())
	require.NoError(t, err)
	assert.Contains(t, one.Remarks, RemarkBound)
	assert.Greater(t, one.More.High-one.More.Low, two.More.High-two.More.Low)
	assert.True(t, math.IsNaN(one.NewUA.High))
}

func TestRefused(t *testing.T) {
	f := someFarm()
	_, err := Compute(f, f.Now, DefaultOptions())
	require.ErrorIs(t, err, ErrSame)
	d := f.Now
	d.DrawsPerDay = 100
	_, err = Compute(f, d, DefaultOptions())
	require.ErrorIs(t, err, ErrTooFast)
	d = f.Now
	d.LengthM = -1
	_, err = Compute(f, d, DefaultOptions())
	require.ErrorIs(t, err, ErrGeometry)
	f.UAWPerK = math.NaN()
	_, err = Compute(f, d, DefaultOptions())
	require.ErrorIs(t, err, ErrNoFit)
	o := DefaultOptions()
	o.BoundTo = 1
	require.Error(t, o.Validate())
}

// The same input gives the same digits.
func TestRepeats(t *testing.T) {
	f := someFarm()
	d := f.Now
	d.LengthM = 500
	a, err := Compute(f, d, DefaultOptions())
	require.NoError(t, err)
	b, err := Compute(f, d, DefaultOptions())
	require.NoError(t, err)
	assert.Equal(t, a.More.Shown, b.More.Shown)
	assert.Equal(t, a.NewHeat.Value, b.NewHeat.Value)
}

// Carrying a coefficient to the design that stands changes nothing.
func TestCarryToItself(t *testing.T) {
	f := someFarm()
	assert.InEpsilon(t, 600, f.carry(600, f.Now), 1e-12)
	assert.InEpsilon(t, 5000, f.carry(5000, f.Now), 1e-12, "also above what film and wall pass")
	f.BedAreaM2 = 0
	assert.InEpsilon(t, 600, f.carry(600, f.Now), 1e-12)
}
