package size

import (
	"math"
	"sort"

	"yardheat/analysis/doubt"
	"yardheat/analysis/pipe"
	"yardheat/analysis/season"
	"yardheat/ingest/farm"
)

// bedHalfK stands where no fit says how closely the bed at the pipe is known: a probe
// in a pocket (common practice, no source).
const bedHalfK = 0.5

const msPerDay = 24 * 3600 * 1000

// Of is the farm of a Season and its farm file as the estimate takes it. Draws,
// feed and bed are means over the season's draws by litres. Without a loop, a
// coefficient or a heat the Farm lacks them, and Compute says which.
func Of(s *season.Season, f *farm.Farm) Farm {
	nan := math.NaN()
	out := Farm{UAWPerK: nan, UALowWPerK: nan, UAHighWPerK: nan, TimeConstantH: nan, HeatKWhPerDay: nan, ElementKWhPerDay: nan, TankLossKWhPerDay: nan}
	l := f.Loop
	if l == nil {
		return out
	}
	wall, _ := pipe.WallWPerMK(l.Pipe)
	out.Wall, out.BedAreaM2, out.Store = wall, l.BedAreaM2, s.Loop.Model == "store"
	out.Now = Design{LengthM: l.LengthM, BoreMM: l.BoreMM, WallMM: l.WallMM, Branches: max(l.Branches, 1)}
	for _, t := range f.Tanks {
		out.Now.TankL += t.VolumeL
	}
	days := out.draws(s)
	ua := find(s.Loop.Figures, "ua_w_per_k")
	out.UAWPerK, out.UALowWPerK, out.UAHighWPerK = ua.Value, ua.Low, ua.High
	// C = UA times it. Of a coefficient known from below the value is the bound,
	// and the constant's the end that belongs to it.
	out.TimeConstantH = find(s.Loop.Figures, "time_constant_h").Value
	out.BedHalfK = bedHalfK
	if off := find(s.Loop.Figures, "bed_offset_k"); off.Value == off.Value {
		out.BedC += off.Value
		if half := (off.High - off.Low) / 2; half == half {
			out.BedHalfK = half
		}
	}
	if heat := find(s.Heat.Seen, "loop_kwh"); days > 0 && heat.Coverage > 0 {
		per := days * heat.Coverage
		out.HeatKWhPerDay, out.HeatLow, out.HeatHigh = heat.Value/per, heat.Low/per, heat.High/per
	}
	perDay := func(key string) float64 {
		if x := find(s.Heat.Seen, key); x.Coverage > 0 && days > 0 {
			return x.Value / days / x.Coverage
		}
		return nan
	}
	out.ElementKWhPerDay, out.TankLossKWhPerDay = perDay("element_kwh"), perDay("loss_kwh")
	return out
}

// draws fills in the mean draw and gives the days of the period.
func (f *Farm) draws(s *season.Season) float64 {
	days := float64(s.Period.End-s.Period.Start) / msPerDay
	var litres, seconds, in, bed, inL, bedL float64
	n := 0
	var each []float64
	for _, d := range s.Draws {
		if !(d.Litres > 0) || d.End <= d.Start {
			continue
		}
		n++
		each = append(each, d.Litres)
		litres += d.Litres
		seconds += float64(d.End-d.Start) / 1000
		if d.InC == d.InC {
			in, inL = in+d.InC*d.Litres, inL+d.Litres
		}
		if d.BedC == d.BedC {
			bed, bedL = bed+d.BedC*d.Litres, bedL+d.Litres
		}
	}
	if n == 0 || days <= 0 {
		return 0
	}
	f.Now.DrawL, f.Now.FlowLMin, f.Now.DrawsPerDay = litres/float64(n), litres/seconds*60, float64(n)/days
	f.FeedC, f.BedC = in/inL, bed/bedL
	sort.Float64s(each)
	const stand = 9
	for i := range stand {
		f.Spread = append(f.Spread, each[(2*i+1)*n/(2*stand)]/f.Now.DrawL)
	}
	return days
}

func find(list []season.Named, key string) doubt.Figure {
	for _, n := range list {
		if n.Key == key {
			return n.Figure
		}
	}
	nan := math.NaN()
	return doubt.Figure{Value: nan, Low: nan, High: nan}
}
