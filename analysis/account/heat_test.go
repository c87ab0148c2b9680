package account

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// The heat of a whole draw, through grid, booking and sum, against kWh computed
// with python3-iapws 1.5.2 (IF97 region 1; check-values/water, tolerance 1e-7
// relative). The sum is at 0.3 MPa, so only the rows at that pressure are its
// references; the others are held by package water.
func TestDrawAgainstWaterTable(t *testing.T) {
	used := 0
	for _, row := range checks(t, "water/heat_from_volume_examples.csv") {
		if row["p_MPa"] != "0.3" {
			continue
		}
		used++
		in, out, litres := num(t, row["t_in_degC"]), num(t, row["t_out_degC"]), 1000*num(t, row["V_m3"])
		l := &logger{n: 1440}
		l.amounts("loop_volume", between(1440, 600, 650, litres/50, 0))
		l.instants("loop_in_temp", constant(in))
		l.instants("loop_out_temp", constant(out))
		meter := "in"
		if row["meter_at"] == "flow" {
			meter = "out"
		}
		a := account(t, l.record(&farm.Farm{Loop: &farm.Loop{MeterAt: meter}}), DefaultOptions())
		require.Len(t, a.Loop.Rows, 1)
		want := num(t, row["Q_kWh"])
		within(t, want, a.Loop.Rows[0].KWh, 1.5e-7*want, row)
		within(t, litres, a.Loop.Rows[0].Litres, 1e-6)
	}
	require.Equal(t, 4, used)
}

// yard is a farm with a loop of changing temperatures, for the sensitivities.
func yard(hotErr, coldErr, gain float64) (*logger, *farm.Farm) {
	l := &logger{n: 2 * 1440}
	l.amounts("loop_volume", between(720, 400, 470, 13*(1+gain), 0))
	l.instants("loop_in_temp", func(i int) float64 { return 9 + float64(i%50)/40 + coldErr })
	l.instants("loop_out_temp", func(i int) float64 {
		v := 22 + hotErr
		if m := i % 720; m > 400 && m <= 470 {
			v += 14 * (1 - math.Exp(-float64(m-400)/3)) * math.Exp(-float64(m-400)/90)
		}
		return v
	})
	return l, &farm.Farm{Loop: &farm.Loop{MeterAt: "in"}}
}

func TestSensitivitiesAreTheDerivatives(t *testing.T) {
	for _, meter := range []string{"in", "out"} {
		kwh := func(hot, cold, gain, lag float64) float64 {
			l, f := yard(hot, cold, gain)
			f.Loop.MeterAt = meter
			opt := DefaultOptions()
			opt.LagUnknownS += lag
			opt.Book.FlushTaus = 3 * 20 / opt.LagUnknownS
			return account(t, l.record(f), opt).Loop.Rows[1].KWh
		}
		l, f := yard(0, 0, 0)
		f.Loop.MeterAt = meter
		r := account(t, l.record(f), DefaultOptions()).Loop.Rows[1]
		require.Greater(t, r.KWh, 10.0)
		within(t, (kwh(0.35, 0, 0, 0)-kwh(-0.25, 0, 0, 0))/0.6, r.PerHotK, 2e-4*r.PerHotK, meter)
		within(t, (kwh(0, 0.35, 0, 0)-kwh(0, -0.25, 0, 0))/0.6, r.PerColdK, 2e-4*-r.PerColdK, meter)
		within(t, 1.03*r.KWh, kwh(0, 0, 0.03, 0), 1e-9*r.KWh, meter)
		within(t, (kwh(0, 0, 0, 1)-kwh(0, 0, 0, -1))/2, r.PerHotLagS+r.PerColdLagS, 0.02*math.Abs(r.PerHotLagS)+1e-6, meter)
	}
}

func TestNoHeatInAGap(t *testing.T) {
	day := func(flag func(in, out, flow *series.Series)) HeatRow {
		l := &logger{n: 1440}
		flow := l.amounts("loop_volume", between(1440, 600, 700, 10, 0))
		in, out := l.instants("loop_in_temp", constant(10)), l.instants("loop_out_temp", constant(40))
		flag(in, out, flow)
		a := account(t, l.record(&farm.Farm{}), DefaultOptions())
		require.Len(t, a.Cycles, 1)
		return a.Loop.Rows[0]
	}
	whole := day(func(_, _, _ *series.Series) {})
	c := account(t, (&logger{n: 1440}).record(&farm.Farm{}), DefaultOptions()).Cycles[0]
	require.True(t, whole.Covered(c, 0.95))
	within(t, 1, whole.SeenShare(c), 1e-12)
	// 34.8 kWh per 1000 L from 10 to 40 degC (check-values/plausibility, derived).
	within(t, 34.8, whole.KWh, 0.2)

	gap := func(s *series.Series, from, to int) {
		for i := from; i < to; i++ {
			s.Flags.Or(i, series.Stuck)
		}
	}
	// The outlet is lost for 50 of the 100 minutes (readings 651 to 699 and the
	// minute on either side of them).
	half := day(func(_, out, _ *series.Series) { gap(out, 651, 710) })
	within(t, 0.5*whole.KWh, half.KWh, 1e-9)
	within(t, 1000, half.Litres, 1e-9, "the litres are metered all the same")
	require.False(t, half.Covered(c, 0.95))
	within(t, 0.5, half.SeenShare(c), 1e-9)
	// Three minutes lost of a hundred: still an account cycle.
	require.True(t, day(func(_, out, _ *series.Series) { gap(out, 651, 653) }).Covered(c, 0.95))
	// The meter is lost for 60 min outside the draw, then for 90.
	require.True(t, day(func(_, _, f *series.Series) { gap(f, 100, 160) }).Covered(c, 0.95))
	r := day(func(_, _, f *series.Series) { gap(f, 100, 190) })
	require.False(t, r.Covered(c, 0.95))
	within(t, 90*60, r.UnknownS, 1e-6)
	// The probes' gaps while nothing flows don't matter.
	require.True(t, day(func(in, out, _ *series.Series) { gap(out, 0, 599); gap(in, 0, 599) }).Covered(c, 0.95))
}

func TestTrickleCountsAndIsShown(t *testing.T) {
	l := &logger{n: 1440}
	l.amounts("loop_volume", func(i int) float64 { return between(1440, 600, 700, 10, 0)(i) + between(1440, 100, 200, 0.3, 0)(i) })
	l.instants("loop_in_temp", constant(10))
	l.instants("loop_out_temp", constant(40))
	r := account(t, l.record(&farm.Farm{}), DefaultOptions()).Loop.Rows[0]
	within(t, 1030, r.Litres, 1e-9)
	within(t, 30, r.LowL, 1e-9)
	within(t, 1.03*34.8, r.KWh, 0.2)
}

func TestGlycolIsRefusedAndMissingStagesSayWhy(t *testing.T) {
	l, f := yard(0, 0, 0)
	f.Loop.Fluid = "propylene glycol"
	a := account(t, l.record(f), DefaultOptions())
	require.Equal(t, WhyFluid, a.Loop.Why)
	require.Nil(t, a.Loop.Rows)
	require.True(t, a.Plate.Absent)
	require.True(t, a.OtherUse.Absent)
	require.Equal(t, WhyNoWashes, a.Wash.Why)
	require.NotEmpty(t, a.Element.Why)
	require.NotEmpty(t, a.Store.Why)
	require.NotEmpty(t, a.Loss.Why)
	row := a.Row(0, 0.95)
	require.True(t, math.IsNaN(row.LoopKWh))
	require.Equal(t, 0.0, row.PlateKWh, "no plate: nothing from it")
	// No cold side at all, then the farm file's figure by month.
	l = &logger{n: 1440}
	l.amounts("loop_volume", between(1440, 600, 700, 10, 0))
	l.instants("loop_out_temp", constant(40))
	require.Equal(t, WhyNoCold, account(t, l.record(&farm.Farm{}), DefaultOptions()).Loop.Why)
	months := []float64{1, 2, 10, 4, 5, 6, 7, 8, 9, 10, 11, 12}
	h := account(t, l.record(&farm.Farm{MainsC: months}), DefaultOptions()).Loop
	within(t, 34.8, h.Rows[0].KWh, 0.2)
	require.Equal(t, "mains.temp_c", h.Cold[0].Key)
	// No meter: valve times stated flow; neither: why.
	l = &logger{n: 1440}
	l.instants("loop_valve", between(1440, 600, 700, 1, 0)).Kind = series.State
	l.instants("loop_out_temp", constant(40))
	l.instants("loop_in_temp", constant(10))
	h = account(t, l.record(&farm.Farm{Loop: &farm.Loop{FlowLMin: 10}}), DefaultOptions()).Loop
	within(t, 34.8, h.Rows[0].KWh, 0.2)
	require.Equal(t, "loop.flow_l_min", h.Flow[0].Key)
	require.Equal(t, WhyNoFlow, account(t, l.record(&farm.Farm{Loop: &farm.Loop{}}), DefaultOptions()).Loop.Why)
}

func TestFeedFallsBackInOrder(t *testing.T) {
	// Seven days. Draws on the first and second day only; mains_temp 8 and 9
	// while they run, 20 while it stands.
	draw := func(i int) bool { return i/1440 < 2 && i%1440 >= 600 && i%1440 < 660 }
	l := &logger{n: 7 * 1440}
	l.amounts("loop_volume", func(i int) float64 {
		if draw(i) {
			return 10
		}
		return 0
	})
	l.instants("mains_temp", func(i int) float64 {
		if draw(i) || draw(i-1) {
			return 8 + float64(i/1440)
		}
		return 20
	})
	l.instants("loop_out_temp", constant(40))
	opt := DefaultOptions()
	opt.LagUnknownS = 0
	a := account(t, l.record(&farm.Farm{MainsC: []float64{11}}), opt)
	from := []string{}
	for _, f := range a.Feed {
		from = append(from, f.From)
	}
	// Day 6 starts exactly three days after day 2 ended; day 7 is beyond.
	require.Equal(t, []string{"draws", "draws", "nearest draws", "nearest draws", "nearest draws", "nearest draws", "mains"}, from)
	within(t, 8, a.Feed[0].TempC, 0.2)
	within(t, 9, a.Feed[1].TempC, 0.2)
	within(t, 9, a.Feed[4].TempC, 0.2)
	within(t, 11, a.Feed[6].TempC, 0)
}

// The wash draws its refill past the feed's probe, or the tank is refilled an
// hour later by a pipe without a meter.
func TestFeedByTheWashOnlyWhereItPassesTheProbe(t *testing.T) {
	for _, later := range []int{0, 60} {
		l := &logger{n: 3 * 1440}
		wash := func(i int) bool { return i%1440 >= 600 && i%1440 < 630 }
		l.amounts("wash_volume", func(i int) float64 {
			if wash(i) {
				return 10
			}
			return 0
		})
		l.instants("wash_temp", constant(70))
		l.instants("mains_temp", func(i int) float64 {
			if wash(i-later) || wash(i-later-1) {
				return 8
			}
			return 15 + 2*math.Sin(float64(i)/1440*2*math.Pi)
		})
		a := account(t, l.record(&farm.Farm{}), DefaultOptions())
		want := "draws"
		if later > 0 {
			want = "standing"
		}
		for _, f := range a.Feed {
			require.Equal(t, want, f.From, "refill %d min later", later)
			within(t, 8, f.TempC, 0.2, "refill later by", later)
		}
		require.Equal(t, later > 0, a.Wash.Estimated)
		require.Equal(t, later > 0, a.Wash.Note != "")
	}
}

func TestWashHeatAboveTheFeedAndAboveHeatTo(t *testing.T) {
	l := &logger{n: 1440}
	l.amounts("wash_volume", between(1440, 400, 410, 20, 0))
	l.instants("wash_temp", constant(80))
	f := &farm.Farm{MainsC: []float64{10}, Wash: &farm.Wash{TargetC: 70, HasTarget: true, HeatToC: 75, HasHeatTo: true, MeterAt: "cold"}}
	a := account(t, l.record(f), DefaultOptions())
	r := a.Wash.Rows[0]
	// 1 m3, 10 → 40: 34.8; 200 L, 10 → 80, metered cold: 200·4.19·70/3600 =
	// 16.3 kWh; the five kelvins above 75 are 5/70 of it (cp varies by 1 %).
	within(t, 16.3, r.KWh, 0.1)
	within(t, r.KWh*5/70, r.AboveKWh, 0.01*r.AboveKWh)
	// 200 L of cold-metered water, 1 kWh per 860 kg and kelvin (cp 4.19).
	within(t, 200.0/860, r.AbovePerHotK, 0.002)
	within(t, r.KWh-r.AboveKWh, a.Row(0, 0.95).BaselineHeatKWh, 1e-12)
	require.Len(t, a.Washes, 1)
	require.False(t, a.Washes[0].TooCool)
	// Metered hot, the same litres are 2.8 % lighter (domain: 80 against 10 degC).
	f.Wash.MeterAt = "hot"
	hot := account(t, l.record(f), DefaultOptions()).Wash.Rows[0]
	within(t, 2.8, 100*(1-hot.KWh/r.KWh), 0.05)
}

func TestWashWithoutAMeterIsARefillAfterAFallOfTheTank(t *testing.T) {
	l := &logger{n: 1440}
	l.amounts("loop_volume", between(1440, 600, 630, 10, 0))
	l.instants("loop_in_temp", constant(10))
	l.instants("loop_out_temp", constant(38))
	l.instants("tank_temp", between(1440, 0, 610, 77, 45))
	f := &farm.Farm{Tanks: []farm.Tank{{VolumeL: 400}}, Wash: &farm.Wash{TargetC: 70, HasTarget: true}}
	a := account(t, l.record(f), DefaultOptions())
	require.Len(t, a.Washes, 1)
	require.True(t, a.Wash.Estimated)
	within(t, 300, a.Wash.Rows[0].Litres, 1e-9)
	// 300 L, 10 → 77: 300·4.19·67/3600 = 23.4 kWh.
	within(t, 23.4, a.Wash.Rows[0].KWh, 0.15)
	within(t, 77, a.Washes[0].TempC, 0.5)
}

func TestPlateLateHeatAndDrive(t *testing.T) {
	l := &logger{n: 1440}
	l.means("compressor_power", between(1440, 300, 400, 5, 0.02))
	l.amounts("plate_volume", between(1440, 300, 440, 10, 0))
	l.instants("plate_in_temp", constant(20))
	l.instants("plate_out_temp", constant(45))
	l.instants("gas_in_temp", constant(70))
	a := account(t, l.record(&farm.Farm{}), DefaultOptions())
	r := a.Plate.Rows[0]
	// Late: from ten minutes after the stop at 400 on: 30 of 140 minutes.
	within(t, 30.0/140, r.LateKWh/r.KWh, 1.0/140)
	d := a.Drive[0]
	within(t, 25.0/50, d.RiseLK/d.DriveLK, 1e-9)
	within(t, 1400, d.Litres, 1e-9)
}

func TestLoopWithoutAMeterTakesDrawL(t *testing.T) {
	l := &logger{n: 1440}
	cold := func(i int) float64 { return between(1440, 600, 640, 9, 19)(i) }
	l.instants("loop_in_temp", cold)
	l.instants("loop_out_temp", constant(40))
	a := account(t, l.record(&farm.Farm{Loop: &farm.Loop{DrawL: 300}}), DefaultOptions())
	require.Len(t, a.Draws, 1)
	require.True(t, a.Loop.Estimated)
	within(t, 300, a.Loop.Rows[0].Litres, 1e-9)
	require.Equal(t, "loop.draw_l", a.Loop.Flow[0].Key)
	within(t, 0.3*34.8*31/30, a.Loop.Rows[0].KWh, 0.4)
}

func TestMilkingsCutTheAccount(t *testing.T) {
	nan := math.NaN()
	l := &logger{n: 2 * 1440}
	l.amounts("loop_volume", between(720, 400, 470, 10, 0))
	l.instants("loop_in_temp", constant(10))
	l.instants("loop_out_temp", constant(40))
	milk := func(h int64, litres float64) ingest.Milking {
		return ingest.Milking{Start: t0 + h*hour, End: t0 + (h+2)*hour, MilkL: litres, InC: 35, OutC: 4}
	}
	rec := l.record(&farm.Farm{Milk: farm.Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03}}, milk(6, 1000), milk(18, 800), milk(30, nan), milk(42, 900))
	a := account(t, rec, DefaultOptions())
	require.Len(t, a.Cycles, 5)
	require.Equal(t, "list", a.MilkingsFrom)
	// Heat in milk, 35 → 4 degC: 34.9 kWh per 1000 L (domain notes C1, ρ 1.03,
	// cp 3.93).
	within(t, 34.9, a.Milk.Rows[1].KWh, 0.05)
	within(t, 0.8*34.9, a.Milk.Rows[2].KWh, 0.05)
	require.True(t, math.IsNaN(a.Milk.Rows[3].KWh))
	require.True(t, math.IsNaN(a.Milk.Rows[0].KWh), "before the first milking")
	within(t, a.Milk.Rows[1].KWh/31, a.Milk.Rows[1].PerK, 1e-9)
	// Cycle 1 runs from 06:00 to 18:00 and holds the draw at 06:40; 70 min.
	within(t, 700, a.Loop.Rows[1].Litres, 1e-9)
	sum := 0.0
	for _, r := range a.Loop.Rows {
		sum += r.Litres
	}
	within(t, 2800, sum, 1e-9, "no litre twice, none lost")
}

// What a slow log leaves unsure of both sides adds up as heat, one sign.
func TestUnsureTemperaturesAreUnsureHeat(t *testing.T) {
	l := &logger{n: 240}
	l.amounts("wash_volume", between(240, 100, 130, 10, 0))
	g, err := grid.Build(l.record(&farm.Farm{}), 0, 0, grid.DefaultOptions())
	require.NoError(t, err)
	flow, _ := g.Flow(nil, "wash_flow", grid.DefaultOptions())
	runs := grid.NewRuns(g, flow, grid.RunOptions{ThresholdLMin: 0.5})
	at := func(v float64) *grid.Booked { return runs.BookValue(func(int64) float64 { return v }) }
	hot, cold := at(60), at(10)
	for j := range runs.Cells {
		hot.DoubtK[j], cold.DoubtK[j] = 2, 0.5
	}
	rows := Stream{Runs: runs, Hot: hot, Cold: cold, MeterHot: false, AboveC: math.NaN()}.Sum([]cycle.Cycle{{B: g.N, Start: g.StartMS, End: g.EndMS()}})
	off := Stream{Runs: runs, Hot: at(62), Cold: at(10), AboveC: math.NaN()}.Sum([]cycle.Cycle{{B: g.N, Start: g.StartMS, End: g.EndMS()}})
	offCold := Stream{Runs: runs, Hot: at(60), Cold: at(9.5), AboveC: math.NaN()}.Sum([]cycle.Cycle{{B: g.N, Start: g.StartMS, End: g.EndMS()}})
	want := off[0].KWh + offCold[0].KWh - 2*rows[0].KWh
	require.Greater(t, want, 0.5)
	within(t, want, rows[0].SlowKWh, 2e-3*want)
	require.Zero(t, off[0].SlowKWh)
}
