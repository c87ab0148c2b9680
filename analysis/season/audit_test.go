package season

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// altered is a record with another farm file; the original stays as it is.
func altered(rec *ingest.Record, change func(f *farm.Farm)) *ingest.Record {
	f, r := *rec.Farm, *rec
	for _, p := range []func(){
		func() { v := *f.Instead; f.Instead = &v }, func() { v := *f.Electricity; f.Electricity = &v }, func() { v := *f.Plant; f.Plant = &v },
		func() { v := *f.Pumps; f.Pumps = &v }, func() { v := *f.Element; f.Element = &v },
	} {
		p()
	}
	f.Electricity.Rates = append([]farm.Rate(nil), f.Electricity.Rates...)
	f.Instead.PriceSince = append([]farm.PriceSince(nil), f.Instead.PriceSince...)
	f.Tanks = append([]farm.Tank(nil), f.Tanks...)
	change(&f)
	r.Farm = &f
	return &r
}

func few(o *Options) {
	o.Doubt.MinTrials, o.Doubt.MaxTrials = 200, 200
}

// scaled alters a farm file so that one assumption is times by.
var scaled = map[string]func(f *farm.Farm, by float64){
	"instead.efficiency": func(f *farm.Farm, by float64) { f.Instead.Efficiency *= by },
	"instead.price_per_kwh": func(f *farm.Farm, by float64) {
		f.Instead.PricePerKWh *= by
		for i := range f.Instead.PriceSince {
			f.Instead.PriceSince[i].PricePerKWh *= by
		}
	},
	"instead.co2_kg_per_kwh":            func(f *farm.Farm, by float64) { f.Instead.CO2KgPerKWh *= by },
	"instead.standing_loss_kwh_per_day": func(f *farm.Farm, by float64) { f.Instead.StandingLossKWhPerDay *= by },
	"electricity.price_per_kwh": func(f *farm.Farm, by float64) {
		f.Electricity.PricePerKWh *= by
		for i := range f.Electricity.Rates {
			f.Electricity.Rates[i].PricePerKWh *= by
		}
	},
	"electricity.export_price_per_kwh": func(f *farm.Farm, by float64) { f.Electricity.ExportPerKWh *= by },
	"electricity.co2_kg_per_kwh":       func(f *farm.Farm, by float64) { f.Electricity.CO2KgPerKWh *= by },
	"milk.specific_heat_kj_per_kg_k":   func(f *farm.Farm, by float64) { f.Milk.SpecificHeatKJPerKgK *= by },
	"milk.density_kg_per_l":            func(f *farm.Farm, by float64) { f.Milk.DensityKgPerL *= by },
	"plant.standing_gain_kw":           func(f *farm.Farm, by float64) { f.Plant.StandingGainKW *= by },
	"plant.compressor_kw":              func(f *farm.Farm, by float64) { f.Plant.CompressorKW *= by },
	"element.power_kw":                 func(f *farm.Farm, by float64) { f.Element.PowerKW *= by },
	"pumps.loop_kw":                    func(f *farm.Farm, by float64) { f.Pumps.LoopKW *= by },
	"pumps.plate_kw":                   func(f *farm.Farm, by float64) { f.Pumps.PlateKW *= by },
	"tank.volume_l":                    func(f *farm.Farm, by float64) { f.Tanks[0].VolumeL *= by },
}

// Every effect of ± 20 % is what a report says when the farm file is altered so.
func TestAssumptionsAgainstAlteredFarms(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	base := altered(recordOf(t, 21), func(f *farm.Farm) {
		f.Instead.StandingLossKWhPerDay = 1.5
		f.Electricity.CO2KgPerKWh, f.Electricity.HasCO2 = 0.3, true
		f.Instead.CO2KgPerKWh, f.Instead.HasCO2 = 0.25, true
	})
	s := compute(t, base, few)
	require.NotEmpty(t, s.Audit.Assumptions)
	asked := 0
	for _, x := range s.Audit.Assumptions {
		id, _, _ := strings.Cut(x.ID, " and ")
		change := scaled[id]
		if change == nil {
			continue
		}
		asked++
		for _, by := range []float64{1.2, 0.8} {
			if by < 1 && testing.Short() {
				continue
			}
			moved := compute(t, altered(base, func(f *farm.Farm) { change(f, by) }), few)
			pick := func(e Effect) float64 {
				if by < 1 {
					return e.Less
				}
				return e.More
			}
			for key, want := range map[string]float64{"saved_kwh": pick(x.Saved), "money": pick(x.Money), "co2_kg": pick(x.CO2)} {
				was, now := find(t, s.Saving.Figures, key).Value, find(t, moved.Saving.Figures, key).Value
				require.InDelta(t, now-was, want, 1e-6*math.Abs(was)+1e-9, "%s times %g: %s", x.ID, by, key)
			}
			was, now := find(t, s.Plant.Figures, "recovery_fraction").Value, find(t, moved.Plant.Figures, "recovery_fraction").Value
			require.InDelta(t, now-was, pick(x.Recovery), 1e-6, "%s times %g: recovery", x.ID, by)
		}
	}
	require.GreaterOrEqual(t, asked, 9)
	require.Len(t, s.Audit.Tornado, 5)
	for i := 1; i < 5; i++ {
		require.GreaterOrEqual(t, s.Audit.Assumptions[s.Audit.Tornado[i-1]].Money.most(), s.Audit.Assumptions[s.Audit.Tornado[i]].Money.most())
	}
}

// The weeks add up to the season's balance, and the boundaries agree with the
// figures made by trials.
func TestBalanceAgainstTheTrials(t *testing.T) {
	s := compute(t, recordOf(t, 22), nil)
	whole := find(t, s.Heat.Seen, "unexplained_kwh")
	sum, used, cycles := 0.0, 0, 0
	for _, w := range s.Audit.Weeks {
		used, cycles = used+w.Used, cycles+w.Cycles
		if w.Used == 0 {
			continue
		}
		f := map[string]float64{}
		for _, n := range w.Figures {
			f[n.Key] = n.Figure.Value
		}
		sum += f["unexplained_kwh"]
		left := f["in_kwh"] - f["out_kwh"] - f["store_change_kwh"]
		if s.Audit.WeeksLoss {
			left -= f["loss_kwh"]
		}
		require.InDelta(t, left, f["unexplained_kwh"], 1e-9)
	}
	require.Equal(t, whole.N, used)
	require.Equal(t, len(s.Cycles), cycles)
	require.InDelta(t, whole.Value, sum, 1e-9*math.Abs(whole.Value)+1e-9)
	g, saved := s.Audit.Boundaries[len(s.Audit.Boundaries)-1], find(t, s.Saving.Figures, "saved_kwh")
	require.Equal(t, "net_kwh", g.Key)
	if g.KWh.N == saved.N { // over the same cycles
		require.InDelta(t, saved.Value, g.KWh.Value, 1e-6)
		require.InDelta(t, saved.Low, g.KWh.Low, 0.04*(saved.High-saved.Low))
		require.InDelta(t, saved.High, g.KWh.High, 0.04*(saved.High-saved.Low))
	}
	require.Greater(t, g.KWh.N, saved.N*9/10)
	c := s.Audit.Claim
	require.InDelta(t, (saved.High-saved.Low)/2/1.96/saved.Value, c.Share, 0.05*c.Share, "half of 68 %% against half of 95 %%")
}

func TestReportIDAndClockChanges(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	rec := recordOf(t, 23)
	id := func(rec *ingest.Record, change func(*Options)) string {
		return compute(t, rec, func(o *Options) { few(o); change(o) }).Audit.ReportID
	}
	first := id(rec, func(*Options) {})
	require.Regexp(t, `^[0-9a-f]{4}(-[0-9a-f]{4}){3}$`, first)
	require.Equal(t, first, id(rec, func(*Options) {}))
	byte1 := *rec
	byte1.Files = append([]ingest.File(nil), rec.Files...)
	byte1.Files[0].SHA256 = "0" + byte1.Files[0].SHA256[1:]
	for name, other := range map[string]string{
		"a byte": id(&byte1, func(*Options) {}), "a setting": id(rec, func(o *Options) { o.HeldK = 2 }), "the seed": id(rec, func(o *Options) { o.Doubt.Seed = 9 }),
		"the version": id(rec, func(o *Options) { o.Version = "v9" }), "the period": id(rec, func(o *Options) { o.To = time.UnixMilli(rec.Last - 5*86400e3) }),
	} {
		require.NotEqual(t, first, other, name)
	}

	zone, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	at := func(text string) int64 {
		v, err := time.ParseInLocation("2006-01-02 15:04", text, zone)
		require.NoError(t, err)
		return v.UnixMilli()
	}
	// Published rule: last Sundays of March and October, 01:00 UTC.
	got := clockChanges(zone, at("2026-01-01 00:00"), at("2026-12-31 00:00"))
	require.Equal(t, []ClockChange{{time.Date(2026, 3, 29, 1, 0, 0, 0, time.UTC).UnixMilli(), 3600}, {time.Date(2026, 10, 25, 1, 0, 0, 0, time.UTC).UnixMilli(), -3600}}, got)
	require.Empty(t, clockChanges(zone, at("2026-04-01 00:00"), at("2026-09-01 00:00")))
	require.Empty(t, clockChanges(time.UTC, at("2026-04-01 00:00"), at("2026-09-01 00:00")))
}

// What the metering table says of a record is what the simulator wrote.
func TestMetersOfARecord(t *testing.T) {
	s := compute(t, recordOf(t, 24), few)
	require.Equal(t, len(s.Channels), len(s.Audit.Meters))
	for i, m := range s.Audit.Meters {
		c := s.Channels[i]
		require.Equal(t, c.Probe, m.Probe)
		require.Equal(t, m.Valid, m.Received-flagged(m.Flags, m.Received, m.Valid))
		require.NotEmpty(t, m.Position, m.Quantity)
		if m.Expected >= 0 {
			require.InDelta(t, m.Expected, m.Received, 0.2*float64(m.Expected)+2, m.Probe)
		}
		require.False(t, m.Resolution <= 0, m.Probe)
	}
	seen := map[int]bool{}
	for _, st := range s.Audit.Drawing {
		for _, n := range st.Meters {
			require.False(t, seen[n], "meter %d stands twice", n)
			seen[n] = true
		}
	}
}

// At a limit above every rise all heat counts as of a small difference, at 0
// none, and between them some of the loop's, which always has first litres near
// the feed's temperature.
func TestHeatAtSmallDifferences(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	rec := recordOf(t, 25)
	at := func(k float64) StreamAudit {
		s := compute(t, rec, func(o *Options) { few(o); o.Account.LowRiseK = k })
		require.Equal(t, "loop_kwh", s.Audit.Streams[0].Key)
		require.InDelta(t, find(t, s.Heat.Seen, "loop_kwh").Value, s.Audit.Streams[0].SeenKWh, 1e-6)
		return s.Audit.Streams[0]
	}
	none, some, all := at(0), at(20), at(50)
	require.Zero(t, none.LowRiseHeat+none.LowRiseLitres)
	require.InDelta(t, 1, all.LowRiseHeat, 1e-12)
	require.InDelta(t, 1, all.LowRiseLitres, 1e-12)
	require.Greater(t, some.LowRiseLitres, some.LowRiseHeat, "a litre of a small difference holds less heat")
	require.Greater(t, some.LowRiseHeat, 0.0)
	require.Less(t, some.LowRiseHeat, 1.0)
}

// Every quantity has a place in words, so that the table of meters has no hole.
func TestEveryQuantityHasAPosition(t *testing.T) {
	b := &builder{rec: &ingest.Record{Farm: &farm.Farm{}}}
	for _, q := range series.Names() {
		words, _ := b.position(&series.Series{Quantity: q})
		require.NotEmpty(t, words, q)
	}
}

// flagged readings: those received and not valid, no more than the sum of flags
// and no less than the largest.
func flagged(flags [7]int, received, valid int) int {
	sum, most := 0, 0
	for _, n := range flags {
		sum, most = sum+n, max(most, n)
	}
	n := received - valid
	if n < most || n > sum {
		return -1
	}
	return n
}
