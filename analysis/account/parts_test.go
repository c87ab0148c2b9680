package account

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func TestPricesByHourDayAndDate(t *testing.T) {
	rome := zone(t, "Europe/Rome")
	at := func(s string) time.Time {
		x, err := time.ParseInLocation("2006-01-02 15:04", s, rome)
		require.NoError(t, err)
		return x
	}
	week := [7]bool{false, true, true, true, true, true, false}
	e := &farm.Electricity{PricePerKWh: 0.30, HasPrice: true, Rates: []farm.Rate{
		{FromMin: 23 * 60, ToMin: 7 * 60, Days: week, PricePerKWh: 0.10},
		{FromMin: 23 * 60, ToMin: 7 * 60, Days: week, PricePerKWh: 0.12, Since: at("2026-04-01 00:00")},
		{FromMin: 12 * 60, ToMin: 14 * 60, PricePerKWh: 0.20},
	}}
	from := at("2026-03-26 00:00").UnixMilli()
	g := &grid.Grid{StartMS: from, StepS: 60, N: 12 * 1440}
	prices := Prices(g, e, rome)
	for _, c := range []struct {
		at   string
		want float64
	}{
		{"2026-03-26 06:59", 0.10}, // Thursday morning: begun on Wednesday
		{"2026-03-26 07:00", 0.30},
		{"2026-03-26 12:00", 0.20}, {"2026-03-26 14:00", 0.30},
		{"2026-03-27 23:00", 0.10}, // Friday night
		{"2026-03-28 06:30", 0.10}, // into Saturday: begun on Friday
		{"2026-03-28 23:30", 0.30}, // Saturday night: not in the days
		{"2026-03-29 06:30", 0.30}, // Sunday morning, clocks gone forward
		{"2026-03-29 13:59", 0.20}, // Sunday noon by the new clock
		{"2026-03-30 06:59", 0.30}, // Monday morning: begun on Sunday
		{"2026-03-30 23:00", 0.10},
		{"2026-04-01 00:00", 0.12}, // the dated rate
	} {
		i := int((at(c.at).UnixMilli() - from) / minute)
		require.Equal(t, c.want, prices[i], c.at)
	}
	require.Nil(t, Prices(g, &farm.Electricity{}, rome))
	require.Nil(t, Prices(g, nil, rome))
	e = &farm.Electricity{Rates: e.Rates[2:]}
	require.True(t, math.IsNaN(Prices(g, e, rome)[0]), "no rate at midnight and no price")
}

func TestPricesInAZoneOffTheHour(t *testing.T) {
	// Asia/Kathmandu stands at +05:45.
	kathmandu := zone(t, "Asia/Kathmandu")
	from := time.Date(2026, 3, 1, 0, 0, 0, 0, kathmandu).UnixMilli()
	g := &grid.Grid{StartMS: from, StepS: 10, N: 8640}
	e := &farm.Electricity{HasPrice: true, PricePerKWh: 1, Rates: []farm.Rate{{FromMin: 601, ToMin: 1201, PricePerKWh: 2}}}
	p := Prices(g, e, kathmandu)
	require.Equal(t, 1.0, p[601*6-1])
	require.Equal(t, 2.0, p[601*6])
	require.Equal(t, 2.0, p[1201*6-1])
	require.Equal(t, 1.0, p[1201*6])
}

func TestInsteadPriceIsTheLatestDated(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2026, 3, d, 0, 0, 0, 0, time.UTC) }
	in := &farm.Instead{PricePerKWh: 0.08, HasPrice: true, PriceSince: []farm.PriceSince{{Since: day(5), PricePerKWh: 0.09}, {Since: day(9), PricePerKWh: 0.11}}}
	for d, want := range map[int]float64{4: 0.08, 5: 0.09, 8: 0.09, 9: 0.11, 20: 0.11} {
		require.Equal(t, want, InsteadPrice(in, day(d).UnixMilli()), d)
	}
	require.True(t, math.IsNaN(InsteadPrice(&farm.Instead{}, 0)))
}

func TestElectricityCostsTheHoursPrice(t *testing.T) {
	// 6 kW from 00:30 to 02:30, at 0.10 until 01:00, then at 0.30.
	l := &logger{n: 1440}
	l.means("element_power", between(1440, 30, 150, 6, 0))
	f := &farm.Farm{Electricity: &farm.Electricity{HasPrice: true, PricePerKWh: 0.30, Rates: []farm.Rate{{FromMin: 0, ToMin: 60, PricePerKWh: 0.10}}}}
	r := account(t, l.record(f), DefaultOptions()).Element.Rows[0]
	within(t, 12, r.KWh, 1e-9)
	within(t, 3*0.10+9*0.30, r.Cost, 1e-9)
	require.True(t, r.Covered(cycle.Cycle{Start: t0, End: t0 + 24*hour}, 0.95))
}

func TestSolarShareBounds(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		what                   string
		element, imp, exp, sun float64
		low, high              float64
	}{
		{"all imported, no sun", 6, 8, 0, 0, 0, 0},
		{"part imported: the element last in line", 6, 4, 0, 5, 2, 5},
		{"exporting: all of it either way", 6, 0, 3, 10, 6, 6},
		{"less sun than the meter leaves room for", 6, 0, 0, 2, 2, 2},
		{"no solar meter, exporting", 6, 0, 1, nan, 6, 6},
		{"no solar meter, importing", 6, 5, 0, nan, 1, 1},
		{"solar alone", 6, nan, nan, 4, 0, 4},
		{"solar alone, plenty", 6, nan, nan, 9, 0, 6},
	} {
		low, high := SolarShare(c.element, c.imp, c.exp, c.sun)
		within(t, c.low, low, 1e-12, c.what)
		within(t, c.high, high, 1e-12, c.what)
	}
}

func TestSolarByCycle(t *testing.T) {
	l := &logger{n: 1440}
	l.means("element_power", between(1440, 600, 660, 6, 0))
	l.means("grid_import_power", between(1440, 600, 660, 4, 2))
	l.means("solar_power", constant(5))
	f := &farm.Farm{Electricity: &farm.Electricity{HasPrice: true, PricePerKWh: 0.5}}
	s := account(t, l.record(f), DefaultOptions()).Solar
	require.Empty(t, s.Why)
	within(t, 2, s.Rows[0].LowKWh, 1e-9)
	within(t, 5, s.Rows[0].HighKWh, 1e-9)
	within(t, 1, s.Rows[0].LowCost, 1e-9)
	l = &logger{n: 1440}
	l.means("element_power", constant(1))
	require.NotEmpty(t, account(t, l.record(f), DefaultOptions()).Solar.Why)
}

func TestStoreChange(t *testing.T) {
	// A cubic metre from 40 to 60 in one day, by two layers: 1.16 kWh per m3
	// and kelvin at 25 degC (domain notes A2); at 50 degC ρ c is 4.131 kJ/(L K),
	// 1.1475 kWh (IAPWS-IF97 at 0.3 MPa, by hand from the grid's 988.1 · 4.181).
	l := &logger{n: 2 * 1440}
	ramp := func(i int) float64 { return 40 + 20*math.Min(1, float64(i)/1440) }
	top, bottom := l.instants("tank_temp", func(i int) float64 { return ramp(i) + 5 }), l.instants("tank_temp", func(i int) float64 { return ramp(i) - 5 })
	top.Place, bottom.Place, bottom.Probe = "top", "bottom", "yard: low"
	f := &farm.Farm{Tanks: []farm.Tank{{VolumeL: 1000, Layers: map[string]float64{"top": 0.8, "bottom": 0.2}}}}
	a := account(t, l.record(f), DefaultOptions())
	require.Len(t, a.Store.ChangeKWh, 2)
	within(t, 20*1.1475, a.Store.ChangeKWh[0], 0.15, "the ends are means over ten minutes")
	require.Len(t, a.Store.Sources, 2)
	within(t, 0.5, a.Store.Sources[0].Weight, 1e-12)
	// The same place has its weight whatever its height.
	f.Tanks[0].Layers = map[string]float64{"top": 0.9, "bottom": 0.5}
	a = account(t, l.record(f), DefaultOptions())
	for _, s := range a.Store.Sources {
		want := 0.7
		if s.Place == "top" {
			want = 0.3
		}
		within(t, want, s.Weight, 1e-12, s.Place)
	}
}

func TestHotTankIsNeverThePreheatTank(t *testing.T) {
	l := &logger{n: 60}
	l.instants("tank_temp", constant(40)).Place = "pre"
	l.instants("tank_temp", constant(75)).Place = "boiler"
	rec := l.record(&farm.Farm{})
	g, err := grid.Build(rec, rec.First, rec.Last, grid.DefaultOptions())
	require.NoError(t, err)
	pre, hot := farm.Tank{Name: "pre", Role: "preheat", VolumeL: 500}, farm.Tank{Name: "boiler", Role: "hot", VolumeL: 300}
	within(t, 75, HotTank(g, &farm.Farm{Tanks: []farm.Tank{hot, pre}}).Values[9], 0)
	hot.Role = ""
	within(t, 75, HotTank(g, &farm.Farm{Tanks: []farm.Tank{hot, pre}}).Values[9], 0)
	require.Nil(t, HotTank(g, &farm.Farm{Tanks: []farm.Tank{pre}}))
	hot.Layers = map[string]float64{"boiler": 0.9, "not logged": 1}
	within(t, 75, HotTank(g, &farm.Farm{Tanks: []farm.Tank{pre, hot}}).Values[9], 0)
}

func TestTankLossFromQuietStretches(t *testing.T) {
	// 500 L cool by 12 W/K to air of 10 degC, exactly exponential; every noon a
	// draw and the element bring them back to 70. ρ c at 60 degC 4.112 kJ/(L K)
	// (IF97), C = 0.571 kWh/K, time constant 47.6 h.
	const tauH = 0.571 / 0.012
	l := &logger{n: 6 * 1440}
	l.instants("tank_temp", func(i int) float64 {
		h := float64((i+720)%1440) / 60
		return 10 + 60*math.Exp(-h/tauH)
	})
	l.instants("air_temp", constant(10))
	l.amounts("wash_volume", between(1440, 715, 725, 10, 0))
	l.instants("wash_temp", constant(70))
	l.means("element_power", between(1440, 700, 740, 6, 0))
	f := &farm.Farm{Tanks: []farm.Tank{{VolumeL: 500}}, MainsC: []float64{10}}
	a := account(t, l.record(f), DefaultOptions())
	require.Empty(t, a.Loss.Why)
	require.GreaterOrEqual(t, a.Loss.Stretches, 25)
	within(t, 12, a.Loss.WPerK, 0.15)
	require.Less(t, a.Loss.WPerKSE, 0.1)
	// A day's loss: 12 W/K times the mean of 60 e^{−h/τ} over 24 h.
	mean := 60 * tauH / 24 * (1 - math.Exp(-24/tauH))
	within(t, 0.012*mean*24, a.Loss.KWh[2], 0.02*0.012*mean*24)
	// One day has fewer than the seven stretches asked for.
	l.n = 1440
	opt := DefaultOptions()
	opt.LossFewest = 50
	require.NotEmpty(t, account(t, l.record(f), opt).Loss.Why)
}

func TestMilkInTankAndInPipe(t *testing.T) {
	// Milk enters at 34 for 100 min from 05:30 and 17:30. In a tank it is 12
	// while milk comes in and 4 two hours later; in a pipe it leaves at 5 and
	// the still probe warms to 18.
	list := []ingest.Milking{}
	for d := range int64(5) {
		for _, h := range []int64{330, 1050} {
			start := t0 + d*24*hour + h*minute
			list = append(list, ingest.Milking{Start: start, End: start + 100*minute, MilkL: 600, InC: math.NaN(), OutC: math.NaN()})
		}
	}
	for _, c := range []struct {
		what          string
		during, still float64
		out, after    float64
		tank          bool
	}{{"tank", 12, 4, 4, 4, true}, {"pipe", 5, 18, 5, 5, false}} {
		l := &logger{n: 5 * 1440}
		l.instants("milk_in_temp", between(720, 330, 430, 34, 15))
		l.instants("milk_out_temp", between(720, 330, 430, c.during, c.still))
		f := &farm.Farm{Milk: farm.Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03}}
		m := account(t, l.record(f, list...), DefaultOptions()).Milk
		require.Equal(t, c.tank, m.OutIsTank, c.what)
		within(t, 34, m.Rows[2].InC, 0.2, c.what)
		within(t, c.out, m.Rows[2].OutC, 0.2, c.what)
		within(t, c.after, m.Rows[2].After2hC, 0.2, c.what)
	}
}

func TestMilkByDayAndByCollectionIsShared(t *testing.T) {
	l := &logger{n: 4 * 1440}
	l.instants("tank_temp", constant(50))
	rows := []ingest.Milking{}
	for d := range int64(5) {
		rows = append(rows, ingest.Milking{Start: t0 + d*24*hour, MilkL: 1200, InC: math.NaN(), OutC: math.NaN()})
	}
	f := &farm.Farm{Milkings: farm.Milkings{MilkIs: "collection"}}
	m := account(t, l.record(f, rows...), DefaultOptions()).Milk
	sum := 0.0
	for _, r := range m.Rows {
		if r.Litres == r.Litres {
			sum += r.Litres
		}
	}
	within(t, 4800, sum, 1e-6, "four collections after the first")
}

func TestMilkListByDay(t *testing.T) {
	// The list has the day's milk at midnight; milk comes in at 34 for 90 min
	// each morning and is 4 in its tank by night.
	l := &logger{n: 4 * 1440}
	l.instants("milk_in_temp", between(1440, 400, 490, 34, 15))
	l.instants("milk_out_temp", between(1440, 400, 520, 12, 4))
	var rows []ingest.Milking
	for d := range int64(4) {
		rows = append(rows, ingest.Milking{Start: t0 + d*24*hour, MilkL: 1200, InC: math.NaN(), OutC: math.NaN()})
	}
	f := &farm.Farm{Milkings: farm.Milkings{MilkIs: "day"}, Milk: farm.Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03}}
	m := account(t, l.record(f, rows...), DefaultOptions()).Milk
	require.Len(t, m.Rows, 4)
	within(t, 1200, m.Rows[1].Litres, 1e-9)
	within(t, 34, m.Rows[1].InC, 0.2)
	within(t, 4, m.Rows[1].OutC, 0.2)
}

func TestFillUp(t *testing.T) {
	// Ten days of 24 h; two not seen, one seen by half. Seen: 7 × 100 and 50.
	kwh := []float64{100, 102, 98, 0, 100, 50, 99, 0, 101, 100}
	hours, share, ok := make([]float64, 10), make([]float64, 10), make([]bool, 10)
	for i := range hours {
		hours[i], share[i], ok[i] = 24, 1, true
	}
	share[3], share[7], share[5] = 0, 0, 0.5
	ok[3], ok[7], ok[5] = false, false, false
	f := FillUp(kwh, hours, share, ok)
	within(t, 750, f.SeenKWh, 1e-12)
	within(t, 60, f.MissingH, 1e-12)
	within(t, 0.75, f.Coverage, 1e-12)
	within(t, 1000, f.WholeKWh, 1e-9)
	within(t, 50, f.Added[5], 1e-9)
	within(t, 0, f.Added[4], 1e-9)
	require.Equal(t, 7, f.Cycles)
	// By hand: residuals 0, 2, −2 | 0 | −1 | 1, 0; s² = 10/6; products of
	// neighbours 0·2 + 2·(−2) + 1·0 = −4, so ρ = 0; three days are filled, the
	// half one whole: var = s²·3·(1 + 3/7).
	within(t, 10.0/6*3*(1+3.0/7), f.ExtraVar, 1e-9)
	share[3], share[7], share[5] = 1, 1, 1
	f = FillUp(kwh, hours, share, ok)
	within(t, 750, f.WholeKWh, 0)
	within(t, 0, f.ExtraVar, 0)
	f = FillUp([]float64{5, 0}, []float64{24, 24}, []float64{1, 0}, []bool{true, false})
	require.NotEmpty(t, f.Why)
	require.True(t, math.IsNaN(f.WholeKWh))
}

func TestClosureOfAWholeRow(t *testing.T) {
	// Loop and element warm what the wash takes; no tank change: the rest is
	// unexplained. 200 L at 80 from 10; loop 200 L to 40; element 8 kWh.
	l := &logger{n: 1440}
	l.amounts("loop_volume", between(1440, 600, 620, 10, 0))
	l.instants("loop_in_temp", constant(10))
	l.instants("loop_out_temp", constant(40))
	l.amounts("wash_volume", between(1440, 400, 410, 20, 0))
	l.instants("wash_temp", constant(80))
	l.means("element_power", between(1440, 700, 780, 6, 0))
	l.instants("tank_temp", constant(60))
	f := &farm.Farm{Loop: &farm.Loop{Circuit: "open"}, Tanks: []farm.Tank{{VolumeL: 300}}, Wash: &farm.Wash{MeterAt: "cold"}}
	a := account(t, l.record(f), DefaultOptions())
	r := a.Row(0, 0.95)
	within(t, 0.2*34.84, r.LoopKWh, 0.01)
	within(t, 8, r.ElementKWh, 1e-9)
	within(t, 16.3, r.WashKWh, 0.1)
	within(t, 0, r.StoreChangeKWh, 1e-9)
	within(t, r.LoopKWh+8-r.WashKWh, r.UnexplainedKWh, 1e-9)
	require.True(t, math.IsNaN(r.LossKWh))
	within(t, 1, r.Coverage, 1e-9)
}

func TestCompressorLongAfterMilkings(t *testing.T) {
	// 4 kW around the clock; milkings end at 07:00 and 19:00. Later than three
	// hours after: 10:00 to 17:00 and 22:00 to 05:00, 7 h each.
	l := &logger{n: 3 * 1440}
	l.means("compressor_power", constant(4))
	l.instants("milk_in_temp", constant(20))
	var list []ingest.Milking
	for d := range int64(3) {
		for _, h := range []int64{5, 17} {
			at := t0 + (24*d+h)*hour
			list = append(list, ingest.Milking{Start: at, End: at + 2*hour, MilkL: 1, InC: 30, OutC: 4})
		}
	}
	rows := account(t, l.record(&farm.Farm{}, list...), DefaultOptions()).Compressor.Rows
	for _, i := range []int{1, 2, 3} {
		within(t, 48, rows[i].KWh, 1e-9, i)
		within(t, 28, rows[i].LateKWh, 0.1, i)
	}
}

func TestKnownLagIsResolvedAndALeadHeldBack(t *testing.T) {
	// A probe in a pocket (τ 20 s), ten litres of cold lead at 10 L/min, water at
	// 40 then: with the lag known and the lead not, the first minute counts cold.
	u := make([]float64, 1440)
	for i := range u {
		u[i] = 40
		if i <= 600 {
			u[i] = 20
		}
	}
	l := &logger{n: 1440}
	l.amounts("loop_volume", between(1440, 600, 620, 10, 0))
	l.instants("loop_in_temp", constant(10))
	reading := 20.0
	out := l.instants("loop_out_temp", func(i int) float64 {
		if i > 0 {
			reading = u[i-1] + (reading-u[i-1])*math.Exp(-3)
		}
		return reading
	})
	heat := func(fit string, leadL float64) float64 {
		out.Fit = fit
		return account(t, l.record(&farm.Farm{Loop: &farm.Loop{LeadL: leadL, HasLead: leadL > 0}}), DefaultOptions()).Loop.Rows[0].KWh
	}
	perLK := 1.1592e-3 // kWh/(L K) at 25 degC, 0.3 MPa: 997.1 · 4.1801 / 3.6e6
	within(t, perLK*(190*30+10*10), heat("pocket", 0), 0.02)
	within(t, perLK*200*30, heat("", 0), 0.03, "nothing known: the flushed reading is held back")
	// The lead's wall, a fifth of its water where nothing is stated (method,
	// section 3), cools with it: 12 L of cold instead of 10.
	within(t, perLK*(200*30-12*20), heat("pocket", 10), 0.03, "the lead by its litres")
}

func TestFeedIsReadWhileARealDrawRuns(t *testing.T) {
	// A float valve drips warm-standing water all day; the draws bring 8 degC.
	l := &logger{n: 1440}
	l.amounts("loop_volume", between(1440, 600, 660, 10, 0.05))
	l.instants("mains_temp", between(1440, 600, 661, 8, 19))
	l.instants("loop_out_temp", constant(40))
	a := account(t, l.record(&farm.Farm{}), DefaultOptions())
	// The drip of the minutes beside the draw goes with it: 2 · 0.05 L at most,
	// 11 K warmer, in 600 L. All the drip would make 9.1.
	within(t, 8, a.Feed[0].TempC, 0.1*11/600)
}

func TestLadder(t *testing.T) {
	l := &logger{n: 2 * 1440}
	l.amounts("loop_volume", between(1440, 600, 620, 10, 0))
	l.instants("mains_temp", constant(9))
	l.instants("loop_out_temp", func(i int) float64 { return 36 + 4*float64(i/1440) })
	l.amounts("wash_volume", between(1440, 400, 410, 20, 0))
	l.instants("wash_temp", constant(74))
	l.instants("tank_temp", constant(78))
	a := account(t, l.record(&farm.Farm{Tanks: []farm.Tank{{VolumeL: 300}}}), DefaultOptions())
	want := map[string]float64{"feed": 9, "loop": 38, "element": 78, "wash": 74}
	for _, r := range a.Ladder(0, len(a.Cycles)) {
		if r.Step == "plate" {
			require.True(t, math.IsNaN(r.TempC))
			continue
		}
		within(t, want[r.Step], r.TempC, 1e-9, r.Step)
		require.Len(t, r.Sources, 1, r.Step)
		require.Equal(t, 2, r.N, r.Step)
	}
	within(t, 40, a.Ladder(1, 2)[1].TempC, 1e-9)
	// Every draw and wash has its own row, and they add up to the account.
	require.Len(t, a.DrawRows, 2)
	require.Len(t, a.WashRows, 2)
	within(t, a.Loop.Rows[1].KWh, a.DrawRows[1].KWh, 1e-12)
	within(t, a.Wash.Rows[0].KWh, a.WashRows[0].KWh, 1e-12)
	require.NotNil(t, a.LoopFlow)
	require.Nil(t, a.PlateFlow)
	require.True(t, a.Element.Absent)
	require.Equal(t, 0.0, a.Row(0, 0.95).ElementKWh)
	f := &farm.Farm{Element: &farm.Element{PowerKW: 6}}
	require.True(t, math.IsNaN(account(t, l.record(f), DefaultOptions()).Row(0, 0.95).ElementKWh), "there is one, but nothing logs it")
}

func TestMakeRefuses(t *testing.T) {
	_, err := Make(Input{}, DefaultOptions())
	require.Error(t, err)
	o := DefaultOptions()
	o.LossFewest = 0
	_, err = Make(Input{}, o)
	require.ErrorContains(t, err, "LossFewest")
	o = DefaultOptions()
	o.Cycle.JudgedC = -1
	_, err = Make(Input{}, o)
	require.ErrorContains(t, err, "JudgedC")
}

// bigFarm is 120 days at one minute with 20 channels.
func bigFarm() *ingest.Record {
	l := &logger{n: 120 * 1440}
	// A step of 10 L: the loop's and the wash's minutes stand, the plate's are
	// single steps, and all three go through the joining of pulses.
	l.amounts("loop_volume", between(720, 400, 460, 15.1, 0)).ResolutionBase = 10
	l.amounts("plate_volume", between(720, 330, 450, 9, 0)).ResolutionBase = 10
	l.amounts("wash_volume", between(720, 500, 510, 20, 0)).ResolutionBase = 10
	for _, q := range []series.Quantity{"mains_temp", "loop_in_temp", "loop_out_temp", "plate_in_temp", "plate_out_temp", "gas_in_temp", "milk_in_temp", "milk_out_temp", "wash_temp", "bed_temp", "tank_temp", "air_temp"} {
		l.instants(q, func(i int) float64 { return 30 + float64(i%83)/20 })
	}
	for _, q := range []series.Quantity{"compressor_power", "element_power", "pump_power", "solar_power", "grid_import_power"} {
		l.means(q, between(720, 330, 480, 4, 0))
	}
	f := &farm.Farm{Loop: &farm.Loop{}, Tanks: []farm.Tank{{VolumeL: 500}}, Wash: &farm.Wash{TargetC: 70, HasTarget: true},
		Milk:        farm.Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03},
		Electricity: &farm.Electricity{HasPrice: true, PricePerKWh: 0.3, Rates: []farm.Rate{{FromMin: 1380, ToMin: 420, PricePerKWh: 0.1}}}}
	var list []ingest.Milking
	for d := range int64(120) {
		for _, h := range []int64{5, 17} {
			at := t0 + (d*24+h)*hour
			list = append(list, ingest.Milking{Start: at, End: at + 2*hour, MilkL: 900, InC: 34, OutC: 4})
		}
	}
	return l.record(f, list...)
}

func BenchmarkSeason(b *testing.B) {
	rec := bigFarm()
	opt := DefaultOptions()
	a := account(b, rec, opt)
	require.Len(b, a.Cycles, 241)
	require.Empty(b, a.Loop.Why+a.Plate.Why+a.Wash.Why)
	for b.Loop() {
		account(b, rec, opt)
	}
}

// A use that runs at night only, and a cycle that has no night: its price is
// that of its hours, not unknown.
func TestUsualPriceOfACycleWithoutUsualHours(t *testing.T) {
	g := &grid.Grid{StartMS: t0, StepS: 60, N: 1440}
	kw := make([]float64, g.N)
	for i := 60; i < 120; i++ {
		kw[i] = 6
	}
	prices := Prices(g, &farm.Electricity{HasPrice: true, PricePerKWh: 0.3, Rates: []farm.Rate{{FromMin: 0, ToMin: 360, PricePerKWh: 0.1}}}, time.UTC)
	m := &maker{g: g, zone: time.UTC}
	got := m.usualPrices(kw, prices, []cycle.Cycle{{A: 0, B: 720}, {A: 600, B: 630}})
	within(t, 0.1, got[0], 1e-12)
	within(t, 0.3, got[1], 1e-12)
}
