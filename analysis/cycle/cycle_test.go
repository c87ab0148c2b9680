package cycle

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
)

var t0 = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

const (
	minute = int64(60_000)
	hour   = 60 * minute
)

func minutes(n int) *grid.Grid { return &grid.Grid{StartMS: t0, StepS: 60, N: n} }

// flows lays stretches {from, to, value} on n minutes.
func flows(n int, at ...[3]float64) []float64 {
	v := make([]float64, n)
	for _, a := range at {
		for i := int(a[0]); i < int(a[1]); i++ {
			v[i] = a[2]
		}
	}
	return v
}

func TestThreshold(t *testing.T) {
	// 5 % of the 95th percentile while it flows: of 1..100 that is 95.
	v := []float64{0, 0, math.NaN()}
	for i := 1; i <= 100; i++ {
		v = append(v, float64(i))
	}
	require.InDelta(t, 4.75, Threshold(v, 0.05, 0.5), 1e-12)
	require.Equal(t, 0.5, Threshold([]float64{0, 2, 2}, 0.05, 0.5))
	require.Equal(t, 0.5, Threshold(nil, 0.05, 0.5))
}

func TestDraws(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		what   string
		v      []float64
		want   []Span
		litres float64
	}{
		{"one", flows(60, [3]float64{10, 20, 12}), []Span{{10, 20}}, 120},
		{"one minute is no draw", flows(60, [3]float64{10, 11, 12}), nil, 0},
		{"a pause of ten minutes is joined", flows(60, [3]float64{10, 15, 12}, [3]float64{25, 30, 12}), []Span{{10, 30}}, 120},
		{"one of eleven is not", flows(60, [3]float64{10, 15, 12}, [3]float64{26, 30, 12}), []Span{{10, 15}, {26, 30}}, 60},
		{"below 5 % of the usual flow", flows(60, [3]float64{10, 20, 12}, [3]float64{40, 50, 0.6}), []Span{{10, 20}}, 120},
		{"pulses of a minute each never last two", flows(60, [3]float64{10, 11, 12}, [3]float64{13, 14, 12}), nil, 0},
	} {
		got := Draws(minutes(60), c.v, DefaultOptions())
		var spans []Span
		for _, d := range got {
			spans = append(spans, d.Span)
		}
		require.Equal(t, c.want, spans, c.what)
		if len(got) > 0 {
			require.InDelta(t, c.litres, got[0].Litres, 1e-9, c.what)
			require.True(t, got[0].Complete, c.what)
		}
	}
	v := flows(60, [3]float64{10, 20, 12})
	v[20] = nan
	require.False(t, Draws(minutes(60), v, DefaultOptions())[0].Complete, "the flow is unknown where it ends")
	require.False(t, Draws(minutes(60), flows(60, [3]float64{0, 20, 12}), DefaultOptions())[0].Complete, "it may have begun before the record")
}

func runsOf(v []float64) *grid.Runs {
	g := minutes(len(v))
	return grid.NewRuns(g, &grid.Stream{Values: v, UsualS: 60}, grid.RunOptions{ThresholdLMin: 0.5, JoinS: 120})
}

func booked(r *grid.Runs, at func(cell int) (c float64, early bool)) *grid.Booked {
	b := &grid.Booked{}
	for _, i := range r.Cells {
		c, h := at(i)
		b.TempC, b.Early = append(b.TempC, c), append(b.Early, h)
	}
	return b
}

func TestWashesAreToldApartByFiveMinutes(t *testing.T) {
	opt := DefaultOptions()
	warm := func(int) (float64, bool) { return 72, false }
	for _, c := range []struct{ pause, want int }{{4, 1}, {5, 2}, {6, 2}} {
		v := flows(60, [3]float64{10, 15, 20}, [3]float64{15 + float64(c.pause), 25 + float64(c.pause), 20})
		r := runsOf(v)
		require.Len(t, Washes(r, booked(r, warm), 70, opt), c.want, "pause of %d min", c.pause)
	}
	r := runsOf(flows(60, [3]float64{10, 12, 2}))
	require.Empty(t, Washes(r, booked(r, warm), 70, opt), "4 L are no wash")
}

func TestWashIsJudgedOnFlushedWater(t *testing.T) {
	opt := DefaultOptions()
	r := runsOf(flows(60, [3]float64{10, 14, 20}, [3]float64{30, 34, 20}, [3]float64{50, 54, 20}))
	// First: not flushed at 40, then 72, 72, 66. Second: a rinse at 38. Third: no
	// reading.
	b := booked(r, func(i int) (float64, bool) {
		switch {
		case i == 10:
			return 40, true
		case i == 13:
			return 66, false
		case i < 20:
			return 72, false
		case i < 40:
			return 38, false
		}
		return math.NaN(), false
	})
	w := Washes(r, b, 71, opt)
	require.Len(t, w, 3)
	require.InDelta(t, 70, w[0].TempC, 1e-9, "mean of 72, 72, 66")
	require.Equal(t, 72.0, w[0].StartC)
	require.Equal(t, 66.0, w[0].EndC)
	require.Equal(t, 80.0, w[0].Litres)
	require.True(t, w[0].TooCool)
	require.False(t, w[0].Rinse)
	require.True(t, w[1].Rinse)
	require.False(t, w[1].TooCool, "a rinse is not judged")
	require.True(t, w[2].Unknown)
	require.False(t, w[2].TooCool)
	// A drip between two bursts of one wash is not read.
	r = runsOf(flows(60, [3]float64{10, 14, 20}, [3]float64{14, 17, 0.2}, [3]float64{17, 20, 20}))
	for j, i := range r.Cells {
		r.Trickle[j] = i >= 14 && i < 17
	}
	w = Washes(r, booked(r, func(i int) (float64, bool) {
		if i >= 14 && i < 17 {
			return 35, false
		}
		return 72, false
	}), 71, opt)
	require.Len(t, w, 1)
	require.InDelta(t, 72, w[0].TempC, 1e-9)
	r = runsOf(flows(60, [3]float64{10, 14, 20}))
	b = booked(r, func(int) (float64, bool) { return 70, false })
	// Without a target nothing is too cool.
	require.False(t, Washes(r, b, math.NaN(), opt)[0].TooCool)
}

func TestReasonOfACoolWash(t *testing.T) {
	// Eight washes half a day apart; the element (6 kW) works for 2 h before
	// each. Wash 5 had 1 h only; wash 6 its full run from a cold tank; wash 7
	// came from a tank that read hot.
	const n = 9 * 720
	g := minutes(n)
	element, tank := make([]float64, n), make([]float64, n)
	for i := range tank {
		tank[i] = 78
	}
	var washes []Wash
	for k := 1; k <= 8; k++ {
		at := k * 720
		run := 120
		w := Wash{Span: Span{at, at + 10}, TempC: 75}
		switch k {
		case 5:
			run = 60
			w.TempC, w.TooCool = 60, true
			tank[at-5] = 60
		case 6:
			w.TempC, w.TooCool = 60, true
		case 7:
			w.TempC, w.TooCool = 60, true
		}
		if k == 5 || k == 6 {
			for i := at - 60; i < at; i++ {
				tank[i] = 61
			}
		}
		for i := at - 60 - run; i < at-60; i++ {
			element[i] = 6
		}
		washes = append(washes, w)
	}
	Explain(g, washes, tank, element, 70, DefaultOptions())
	reasons := []string{}
	for _, w := range washes {
		reasons = append(reasons, w.Reason)
	}
	require.Equal(t, []string{"", "", "", "", "short heat", "cold tank", "not known", ""}, reasons)
	Explain(g, washes, nil, nil, 70, DefaultOptions())
	require.Equal(t, "not known", washes[5].Reason, "nothing is logged that could tell")
	Explain(g, washes, tank, nil, 70, DefaultOptions())
	require.Equal(t, "cold tank", washes[5].Reason)
}

func TestElementStillAtWorkIsShortHeat(t *testing.T) {
	// No usual run is known from two washes; the element is at work when the
	// second begins, its tank at 60. A rinse just before it does not cut the run.
	const n = 3 * 720
	element, tank := make([]float64, n), make([]float64, n)
	for i := range tank {
		tank[i] = 60
	}
	for i := 1340; i < 1440; i++ {
		element[i] = 6
	}
	washes := []Wash{{Span: Span{720, 730}, TempC: 72}, {Span: Span{1400, 1410}, Rinse: true, TempC: 40}, {Span: Span{1440, 1450}, TempC: 58, TooCool: true}}
	Explain(minutes(n), washes, tank, element, 70, DefaultOptions())
	require.Equal(t, "short heat", washes[2].Reason)
	require.InDelta(t, 10, heatBefore(minutes(n), washes, 2, element, DefaultOptions()), 1e-9, "100 min of 6 kW")
	// A hot wash an hour before belongs to the same cleaning and does not cut it
	// either; one three hours before does.
	washes[1] = Wash{Span: Span{1380, 1385}, TempC: 72}
	require.InDelta(t, 10, heatBefore(minutes(n), washes, 2, element, DefaultOptions()), 1e-9)
	element[1200] = 6
	washes[1] = Wash{Span: Span{1250, 1255}, TempC: 72}
	require.InDelta(t, 10, heatBefore(minutes(n), washes, 2, element, DefaultOptions()), 1e-9)
	washes[1] = Wash{Span: Span{1100, 1105}, TempC: 72}
	require.InDelta(t, 10.1, heatBefore(minutes(n), washes, 2, element, DefaultOptions()), 1e-9)
}

func TestWashesByRefill(t *testing.T) {
	// The tank stands at 78; a wash takes hot water from minute 90, the refill
	// begins at 100 with the tank at 74 and brings it to 58. The wash's water was 76
	// in the mean. A second refill at 400 follows no fall.
	tank := make([]float64, 600)
	for i := range tank {
		switch {
		case i < 90:
			tank[i] = 78
		case i < 140:
			tank[i] = 78 - 0.4*float64(i-90)
		default:
			tank[i] = 58
		}
	}
	v := flows(600, [3]float64{100, 130, 10}, [3]float64{400, 430, 10})
	draws := Draws(minutes(600), v, DefaultOptions())
	require.Len(t, draws, 2)
	w := WashesByRefill(minutes(600), draws, tank, 60, 77, DefaultOptions())
	require.Len(t, w, 1)
	require.InDelta(t, 76, w[0].TempC, 0.01)
	require.InDelta(t, 300, w[0].Litres, 1e-9)
	require.True(t, w[0].TooCool)
	require.True(t, w[0].Estimated)
}

func milking(start int64) ingest.Milking { return ingest.Milking{Start: start, End: start + hour} }

func TestCyclesFromStartToStart(t *testing.T) {
	g := minutes(3 * 1440)
	ms := []ingest.Milking{milking(t0 + 5*hour), milking(t0 + 17*hour), milking(t0 + 29*hour)}
	c := Cycles(g, ms, t0, t0+48*hour, time.UTC, DefaultOptions())
	require.Len(t, c, 4)
	require.Equal(t, Cycle{t0, t0 + 5*hour, 0, 300, -1, false}, c[0])
	require.Equal(t, Cycle{t0 + 5*hour, t0 + 17*hour, 300, 1020, 0, true}, c[1])
	require.Equal(t, Cycle{t0 + 17*hour, t0 + 29*hour, 1020, 1740, 1, true}, c[2])
	require.Equal(t, Cycle{t0 + 29*hour, t0 + 48*hour, 1740, 2880, 2, false}, c[3], "the period cuts it")
	for i := 1; i < len(c); i++ {
		require.Equal(t, c[i-1].B, c[i].A, "no cell twice, none lost")
	}
	// A milking at the period's very start; one outside is not used.
	c = Cycles(g, append([]ingest.Milking{milking(t0 - hour), milking(t0)}, ms...), t0, t0+30*hour, time.UTC, DefaultOptions())
	require.Len(t, c, 4)
	require.True(t, c[0].Whole)
	require.Equal(t, 1, c[0].Milking)
}

func TestCyclesAreDaysWithoutMilkingsAndAcrossClockChanges(t *testing.T) {
	rome, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	from := time.Date(2026, 3, 28, 0, 0, 0, 0, rome).UnixMilli()
	to := time.Date(2026, 3, 30, 12, 0, 0, 0, rome).UnixMilli()
	g := &grid.Grid{StartMS: from, StepS: 60, N: int((to - from) / minute)}
	c := Cycles(g, nil, from, to, rome, DefaultOptions())
	require.Len(t, c, 3)
	require.Equal(t, 24.0, c[0].Hours())
	require.Equal(t, 23.0, c[1].Hours(), "29 March 2026: clocks forward")
	require.Equal(t, 12.0, c[2].Hours())
	require.True(t, c[0].Whole && c[1].Whole)
	require.False(t, c[2].Whole)
	require.Equal(t, "2026-03", c[1].Month(rome))
	// A cycle that starts at 23:30 UTC on 31 March belongs to April in Rome.
	require.Equal(t, "2026-04", Cycle{Start: time.Date(2026, 3, 31, 23, 30, 0, 0, time.UTC).UnixMilli()}.Month(rome))
}

func TestDryMonthBetweenMilkingsIsCutIntoDays(t *testing.T) {
	g := minutes(6 * 1440)
	ms := []ingest.Milking{milking(t0 + 6*hour), milking(t0 + 18*hour), milking(t0 + 90*hour), milking(t0 + 102*hour)}
	c := Cycles(g, ms, t0, t0+144*hour, time.UTC, DefaultOptions())
	var hours []float64
	for _, x := range c {
		hours = append(hours, x.Hours())
	}
	require.Equal(t, []float64{6, 12, 6, 24, 24, 18, 12, 18, 24}, hours)
	require.True(t, c[2].Whole, "from a milking to midnight")
	require.Equal(t, 1, c[2].Milking)
	require.Equal(t, -1, c[3].Milking)
	require.True(t, c[5].Whole, "from midnight to a milking")
}

func TestMilkingsFoundInTheLogs(t *testing.T) {
	const n = 10 * 1440
	milk, kw := make([]float64, n), make([]float64, n)
	for i := range milk {
		milk[i] = 16
		if m := i % 1440; m >= 330 && m < 420 && m != 360 || m >= 1000 && m < 1085 {
			milk[i], kw[i] = 34, 5
		}
	}
	g := minutes(n)
	g.Channels = []grid.Channel{{Quantity: "milk_in_temp", Values: milk}}
	m, from := Milkings(&ingest.Record{Farm: &farm.Farm{}}, g, kw, nil, DefaultOptions())
	require.Equal(t, "milk probe", from)
	require.Len(t, m, 20)
	require.Equal(t, t0+330*minute, m[0].Start)
	require.Equal(t, t0+420*minute, m[0].End)
	require.True(t, math.IsNaN(m[0].MilkL))
	// A milk probe that does not swing: the compressor's blocks.
	g.Channels[0].Values = make([]float64, n)
	m, from = Milkings(&ingest.Record{Farm: &farm.Farm{}}, g, kw, nil, DefaultOptions())
	require.Equal(t, "compressor", from)
	require.Len(t, m, 20)
	// A compressor at random hours tells nothing; hot washes do.
	odd := make([]float64, n)
	for d := range 10 {
		at := d*1440 + (d*d*397)%1300
		for i := at; i < at+60; i++ {
			odd[i] = 5
		}
	}
	var washes []Wash
	for d := range 10 {
		for _, h := range []int{7, 18} {
			at := t0 + int64(d*24+h)*hour
			washes = append(washes, Wash{Start: at, End: at + 10*minute}, Wash{Start: at + 20*minute, End: at + 30*minute, Rinse: true})
		}
	}
	m, from = Milkings(&ingest.Record{Farm: &farm.Farm{}}, g, odd, washes, DefaultOptions())
	require.Equal(t, "washes", from)
	require.Len(t, m, 20)
	// A poultry house: nothing speaks of milk, the day is the unit.
	g.Channels = nil
	m, from = Milkings(&ingest.Record{Farm: &farm.Farm{}}, g, kw, washes, DefaultOptions())
	require.Equal(t, "day", from)
	require.Empty(t, m)
	// The farm's own list comes before all.
	_, from = Milkings(&ingest.Record{Farm: &farm.Farm{}, Milkings: []ingest.Milking{milking(t0)}, MilkingsFrom: "list"}, g, kw, nil, DefaultOptions())
	require.Equal(t, "list", from)
}

func TestOptionsNameTheField(t *testing.T) {
	require.NoError(t, DefaultOptions().Validate())
	o := DefaultOptions()
	o.CoveredShare = 1.2
	require.ErrorContains(t, o.Validate(), "CoveredShare")
	o = DefaultOptions()
	o.PauseS = math.NaN()
	require.ErrorContains(t, o.Validate(), "PauseS")
}

func BenchmarkDrawsAndWashes(b *testing.B) {
	const n = 120 * 1440
	v := make([]float64, n)
	for i := range v {
		if m := i % 720; m >= 400 && m < 460 {
			v[i] = 15
		}
	}
	g, r := minutes(n), runsOf(v)
	bk := booked(r, func(int) (float64, bool) { return 72, false })
	for b.Loop() {
		if len(Draws(g, v, DefaultOptions())) != 240 || len(Washes(r, bk, 70, DefaultOptions())) != 240 {
			b.Fatal("not 240")
		}
	}
}
