package bed

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const hour = msPerHour

// made is a bed of n days with two draws of kWh a day: each takes dipK at the
// probe, which comes back with the time constant tauH; level and noise by day.
func made(n int, kwh, dipK, tauH float64, level func(day int) float64) Input {
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).UnixMilli()
	in := Input{FromMS: start, ToMS: start + int64(n)*msPerDay, Zone: time.UTC, AreaM2: 200, BedC: Row{StartMS: start, StepMS: 60000}}
	dip := 0.0
	for m := 0; m < n*1440; m++ {
		ofDay := m % 1440
		dip *= math.Exp(-1 / (60 * tauH))
		if ofDay == 6*60 || ofDay == 18*60 {
			at := start + int64(m)*60000
			in.Draws = append(in.Draws, Draw{StartMS: at, EndMS: at + 30*60000, KWh: kwh, Litres: 300, ApproachK: math.NaN()})
			dip += dipK
		}
		in.BedC.Values = append(in.BedC.Values, level(m/1440)-dip)
	}
	return in
}

func flat(c float64) func(int) float64 { return func(int) float64 { return c } }

// A dip that decays by exp(-t/tau) is half back after tau ln 2, but for what of the
// dip before is still there.
func TestRecoveryIsTheHalfTime(t *testing.T) {
	b, err := Look(made(30, 12, 1.5, 2, flat(48)), DefaultOptions())
	require.NoError(t, err)
	assert.InDelta(t, 2*math.Ln2, b.RecoveryH.Value, 0.06)
	assert.InDelta(t, 1.5, b.DipK.Value, 0.02)
}

func TestSlowBedHasNoHalfTime(t *testing.T) {
	b, err := Look(made(30, 12, 1.5, 40, flat(48)), DefaultOptions())
	require.NoError(t, err)
	assert.True(t, math.IsNaN(b.RecoveryH.High), "%v", b.RecoveryH)
	assert.Contains(t, b.RecoveryH.Why, "too soon")
	assert.Less(t, b.RecoveryH.Low, 40*math.Ln2)
}

func TestSumsByDayAndSinceBedding(t *testing.T) {
	in := made(30, 12, 0.5, 2, flat(48))
	in.Events = []Event{{AtMS: in.FromMS + 10*msPerDay, What: "bedded", Tonnes: 8}, {AtMS: in.FromMS + 20*msPerDay, What: "turned"}}
	b, err := Look(in, DefaultOptions())
	require.NoError(t, err)
	require.Len(t, b.Days, 30)
	assert.InDelta(t, 24, b.Days[3].KWh, 1e-12)
	assert.InDelta(t, 24*1000/24.0/200, b.Days[3].WPerM2, 1e-12)
	assert.True(t, math.IsNaN(b.Days[9].SinceBedded))
	assert.InDelta(t, 2, b.Days[12].SinceBedded, 1e-12)
	require.Len(t, b.Since, 2, "turning does not begin a new bed")
	assert.InDelta(t, 10*24, b.Since[0].KWh, 1e-9)
	assert.InDelta(t, 20*24/8.0, b.Since[1].KWhPerTonne, 1e-9)
	total := 0.0
	for _, s := range b.Since {
		total += s.KWh
	}
	assert.InDelta(t, 30*24, total, 1e-9)
	assert.InDelta(t, 5, b.MostWPerM2, 1e-9)
}

// A local day has 23 or 25 hours when the clocks change: nothing is lost.
func TestDaysAcrossAClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Dublin")
	require.NoError(t, err)
	in := made(10, 12, 0.5, 2, flat(48))
	shift := time.Date(2026, 3, 25, 0, 0, 0, 0, zone).UnixMilli() - in.FromMS
	in.Zone, in.FromMS, in.BedC.StartMS = zone, in.FromMS+shift, in.BedC.StartMS+shift
	in.ToMS = time.Date(2026, 4, 4, 0, 0, 0, 0, zone).UnixMilli()
	for i := range in.Draws {
		in.Draws[i].StartMS += shift
		in.Draws[i].EndMS += shift
	}
	b, err := Look(in, DefaultOptions())
	require.NoError(t, err)
	require.Len(t, b.Days, 10)
	sum, short := 0.0, 0
	for _, d := range b.Days {
		sum += d.KWh
		if d.ToMS-d.FromMS == 23*hour {
			short++
		}
	}
	assert.Equal(t, 1, short)
	assert.InDelta(t, float64(len(in.Draws))*12, sum, 12.1)
}

// The interval of the response holds the truth about as often as it says, with
// errors that are related from day to day.
func TestResponseHolds(t *testing.T) {
	o := DefaultOptions()
	o.Trials = 400
	held, heldTrend, runs := 0, 0, 300
	for n := range runs {
		r := rand.New(rand.NewPCG(uint64(n), 9))
		b := &Bed{}
		noise := 0.0
		for i := range 60 {
			kwh := 20 + 6*r.NormFloat64()
			noise = 0.5*noise + 0.4*r.NormFloat64()
			air := 6 + 3*math.Sin(float64(i)/5) + r.NormFloat64()
			b.Days = append(b.Days, Day{KWh: kwh, AirC: air, BedC: 48 - 0.05*kwh + 0.1*air - 0.2*float64(i)/7 + noise})
		}
		b.response(o)
		if b.ResponseKPerKWh.Low <= -0.05 && -0.05 <= b.ResponseKPerKWh.High {
			held++
		}
		if b.TrendKPerWeek.Low <= -0.2 && -0.2 <= b.TrendKPerWeek.High {
			heldTrend++
		}
	}
	t.Logf("held %d and %d of %d", held, heldTrend, runs)
	assert.GreaterOrEqual(t, held, 276)
	assert.GreaterOrEqual(t, heldTrend, 267)
	assert.Less(t, held, runs)
}

func TestSigns(t *testing.T) {
	state := func(in Input) map[string]string {
		b, err := Look(in, DefaultOptions())
		require.NoError(t, err)
		out := map[string]string{}
		for _, s := range b.Signs {
			out[s.Code] = s.State
		}
		return out
	}
	good := state(made(40, 12, 1, 2, flat(48)))
	assert.Equal(t, NotSeen, good[SignBelow])
	assert.Equal(t, NotSeen, good[SignFlux])
	assert.Equal(t, NotKnown, good[SignApproach], "no draw tells it")
	cold := state(made(40, 12, 1, 2, flat(37)))
	assert.Equal(t, Seen, cold[SignBelow])
	r := rand.New(rand.NewPCG(3, 3))
	falling := made(40, 12, 1, 2, func(d int) float64 { return 52 - 2*float64(d)/7 })
	for i := range falling.Draws {
		falling.Draws[i].KWh += r.NormFloat64()
	}
	assert.Equal(t, Seen, state(falling)[SignFalling])
	much := made(40, 12, 1, 2, flat(48))
	much.AreaM2 = 10
	assert.Equal(t, Seen, state(much)[SignFlux])
	slower := made(40, 12, 1, 1.2, flat(48))
	late := made(40, 12, 1, 4, flat(48))
	copy(slower.BedC.Values[20*1440:], late.BedC.Values[20*1440:])
	assert.Equal(t, Seen, state(slower)[SignSlower])
}

func TestNothingIsMadeUp(t *testing.T) {
	in := made(5, 12, 1, 2, flat(48))
	in.BedC, in.AreaM2 = Row{}, 0
	b, err := Look(in, DefaultOptions())
	require.NoError(t, err)
	assert.NotEmpty(t, b.RecoveryH.Why)
	assert.NotEmpty(t, b.ResponseKPerKWh.Why)
	assert.True(t, math.IsNaN(b.MostWPerM2))
	for _, s := range b.Signs {
		assert.Equal(t, NotKnown, s.State, s.Code)
		assert.NotEmpty(t, s.Why, s.Code)
	}
	o := DefaultOptions()
	o.MinDays = 2
	require.Error(t, o.Validate())
}

func BenchmarkLook(b *testing.B) {
	in := made(120, 12, 1, 2, flat(48))
	for b.Loop() {
		got, err := Look(in, DefaultOptions())
		if err != nil || len(got.Days) != 120 {
			b.Fatal(err)
		}
	}
	b.ReportMetric(120*float64(b.N)/b.Elapsed().Seconds(), "days/s")
}
