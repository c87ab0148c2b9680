package account

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// randomSeries has odd stamps, holes, flags and values within the quantity's
// range.
func randomSeries(rng *rand.Rand, q series.Quantity, spanMS int64) *series.Series {
	info, _ := series.Lookup(q)
	every := []int64{10_000, 60_000, 97_000, 600_000}[rng.IntN(4)]
	s := &series.Series{Quantity: q, Probe: fmt.Sprint(q, rng.IntN(9)), IntervalMS: every, Place: []string{"", "a"}[rng.IntN(2)],
		Fit: []string{"", "pocket", "pipe"}[rng.IntN(3)]}
	switch info.Class {
	case series.OnOff:
		s.Kind, s.HoldMS = series.State, 2*every*int64(rng.IntN(2))
	case series.Volume, series.Energy:
		s.Kind, s.Counter = series.Amount, rng.IntN(2) == 0
	case series.Flow, series.Power:
		s.Kind = []series.Kind{series.Mean, series.Instant}[rng.IntN(2)]
	}
	v, last := info.Low+rng.Float64()*(min(info.High, 90)-info.Low), t0-every
	for t := t0 + rng.Int64N(every); t < t0+spanMS; t += every {
		if rng.IntN(200) == 0 {
			t += rng.Int64N(6 * 3600 * 1000)
		}
		if rng.IntN(20) == 0 {
			v = info.Low + rng.Float64()*(min(info.High, 90)-info.Low)
			if info.Class != series.Temperature && rng.IntN(2) == 0 {
				v = 0
			}
		}
		x := v
		if s.Kind == series.State {
			x = float64(rng.IntN(2))
		}
		flag := series.Flag(0)
		if rng.IntN(50) == 0 {
			flag = series.Spike
		}
		s.T, s.V = append(s.T, t), append(s.V, x)
		s.Flags.Append(flag)
		if s.Kind == series.Mean || s.Kind == series.Amount {
			s.From = append(s.From, last)
		}
		last = t
	}
	return s
}

// Random farms, most of them nonsense: no panic, every row finite or said to
// be unknown, every litre in one cycle only.
func TestRandomFarms(t *testing.T) {
	all := []series.Quantity{"mains_temp", "loop_in_temp", "loop_out_temp", "plate_in_temp", "plate_out_temp", "gas_in_temp", "milk_in_temp",
		"milk_out_temp", "tank_temp", "wash_temp", "hot_use_temp", "air_temp", "loop_flow", "loop_volume", "plate_volume", "wash_volume", "wash_flow",
		"hot_use_volume", "milk_volume", "compressor_power", "compressor_on", "element_energy", "element_on", "pump_power", "loop_pump", "plate_pump",
		"solar_power", "grid_import_energy", "grid_export_power", "ice_level", "loop_valve"}
	rome, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 2))
		span := int64(1+rng.IntN(4)) * 24 * hour
		rec := &ingest.Record{Zone: rome, First: t0, Last: t0 + span, Farm: &farm.Farm{
			Loop:  &farm.Loop{FlowLMin: 10 * rng.Float64(), DrawL: 300, LeadL: 3, HasLead: rng.IntN(2) == 0, MeterAt: []string{"in", "out"}[rng.IntN(2)]},
			Tanks: []farm.Tank{{VolumeL: 500, Layers: map[string]float64{"a": 0.8, "": 0.2}}},
			Wash:  &farm.Wash{TargetC: 60, HasTarget: true, HeatToC: 70, HasHeatTo: true}, Plant: &farm.Plant{CompressorKW: 5},
			Element: &farm.Element{PowerKW: 6}, Pumps: &farm.Pumps{LoopKW: 0.1, PlateKW: 0.1},
			Milk:        farm.Milk{SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03},
			Electricity: &farm.Electricity{HasPrice: true, PricePerKWh: 0.3}}}
		for _, q := range all {
			for range rng.IntN(3) {
				rec.Series = append(rec.Series, randomSeries(rng, q, span))
			}
		}
		for at := t0 + rng.Int64N(8*hour); rng.IntN(20) > 0 && at < t0+span; at += rng.Int64N(20 * hour) {
			rec.Milkings = append(rec.Milkings, ingest.Milking{Start: at, End: at + hour, MilkL: 500, InC: math.NaN(), OutC: 4})
		}
		a := account(t, rec, DefaultOptions())
		for _, h := range []*Heat{&a.Loop, &a.Plate, &a.Wash, &a.OtherUse} {
			sum := 0.0
			for i, r := range h.Rows {
				for _, v := range []float64{r.KWh, r.PerHotK, r.PerColdK, r.PerHotLagS, r.AboveKWh, r.Litres, r.SeenShare(a.Cycles[i])} {
					require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "seed %d, %s, cycle %d: %+v", seed, h.Name, i, r)
				}
				sum += r.Litres
			}
			flow := map[string]*grid.Stream{"loop": a.LoopFlow, "plate": a.PlateFlow, "other use": a.UseFlow}[h.Name]
			if h.Rows == nil || flow == nil {
				continue
			}
			want := 0.0
			for _, v := range flow.Values {
				if v > 0 {
					want += v
				}
			}
			per := float64(a.ToMS-a.FromMS) / 60000 / float64(len(flow.Values))
			within(t, want*per, sum, 0.01*want*per+1, "seed", seed, h.Name)
		}
		for i := range a.Cycles {
			x := a.Row(i, 0.95)
			require.False(t, math.IsInf(x.UnexplainedKWh, 0), seed)
		}
		a.Ladder(0, len(a.Cycles))
	}
}
