package cycle

import (
	"math"
	"slices"

	"yardheat/analysis/grid"
	"yardheat/analysis/rank"
	"yardheat/ingest"
	"yardheat/ingest/series/room"
)

// Milkings of the farm and where they come from (a list of collections says how
// much milk there was, not when it was milked): "list" or "times" (as the
// record has them), "milk probe", "compressor", "washes" (found in the logs),
// or "day": none are known and the local day is the unit.
func Milkings(rec *ingest.Record, g *grid.Grid, compressorKW []float64, washes []Wash, opt Options) ([]ingest.Milking, string) {
	if len(rec.Milkings) > 0 && (rec.Farm == nil || rec.Farm.Milkings.MilkIs != "collection") {
		return rec.Milkings, rec.MilkingsFrom
	}
	if s := g.Stream("milk_in_temp"); s != nil {
		if m := fromProbe(g, s.Values, opt); regular(m) {
			return m, "milk probe"
		}
	}
	if !milks(g, rec) {
		return nil, "day"
	}
	if m := fromCompressor(g, compressorKW, opt); regular(m) {
		return m, "compressor"
	}
	if m := fromWashes(washes); regular(m) {
		return m, "washes"
	}
	return nil, "day"
}

// milks: something on the farm speaks of milk; a poultry house with a cold
// store is not taken for a dairy.
func milks(g *grid.Grid, rec *ingest.Record) bool {
	for i := range g.Channels {
		switch g.Channels[i].Quantity {
		case "milk_in_temp", "milk_out_temp", "milk_volume", "ice_water_temp", "ice_level":
			return true
		}
	}
	f := rec.Farm
	return f != nil && (f.Milk.SpecificHeatStated || f.Milk.DensityStated || f.Milk.Precooled)
}

// fromProbe: while milk comes in the probe stands near body heat, between
// milkings it drifts to the room's. Above the middle of its swing is a milking.
func fromProbe(g *grid.Grid, v []float64, opt Options) []ingest.Milking {
	low, high := quantile(v, 0.05), quantile(v, 0.95)
	if !(high-low >= opt.MilkRiseK) {
		return nil
	}
	return stretches(g, v, (low+high)/2, opt)
}

// fromCompressor: blocks of the compressor's work, pauses joined. It holds for
// plants that cool while milk comes in; a plant that builds ice at night shows
// no regular blocks and is refused by regular.
func fromCompressor(g *grid.Grid, kw []float64, opt Options) []ingest.Milking {
	if kw == nil {
		return nil
	}
	limit := 0.2 * quantile(kw, 0.98)
	if !(limit > 0) {
		return nil
	}
	return stretches(g, kw, limit, opt)
}

// fromWashes: the plant is washed hot after each milking; the wash stands for
// it, which serves to cut the days.
func fromWashes(washes []Wash) []ingest.Milking {
	var out []ingest.Milking
	for _, w := range washes {
		if w.Rinse {
			continue
		}
		if n := len(out); n > 0 && w.Start-out[n-1].Start < 4*3600*1000 {
			continue
		}
		out = append(out, unlisted(w.Start, w.End))
	}
	return out
}

func stretches(g *grid.Grid, v []float64, limit float64, opt Options) []ingest.Milking {
	var out []ingest.Milking
	join := int(opt.MilkingPauseS / g.StepS)
	for _, s := range Spans(v, join, func(x float64) bool { return x > limit }) {
		d := float64(s.B-s.A) * g.StepS
		if d >= opt.ShortestMilkingS && d <= opt.LongestMilkingS {
			out = append(out, unlisted(g.EdgeMS(s.A), g.EdgeMS(s.B)))
		}
	}
	return out
}

func unlisted(start, end int64) ingest.Milking {
	nan := math.NaN()
	return ingest.Milking{Start: start, End: end, MilkL: nan, InC: nan, OutC: nan}
}

// regular: once to four times a day at much the same hours: of the gaps between
// starts, at least four in five lie within 90 minutes of the gap a day before.
func regular(m []ingest.Milking) bool {
	if len(m) < 6 {
		return false
	}
	span := float64(m[len(m)-1].Start-m[0].Start) / 86.4e6
	perDay := float64(len(m)-1) / max(span, 1)
	if perDay < 0.8 || perDay > 4.5 {
		return false
	}
	hits, asked := 0, 0
	for i, x := range m {
		if x.Start-m[0].Start < 86400*1000 {
			continue
		}
		asked++
		want := x.Start - 86400*1000
		j, _ := slices.BinarySearchFunc(m[:i], want, func(a ingest.Milking, t int64) int { return int(max(-1, min(1, a.Start-t))) })
		near := int64(math.MaxInt64)
		for _, k := range []int{j - 1, j} {
			if k >= 0 && k < i {
				near = min(near, max(m[k].Start-want, want-m[k].Start))
			}
		}
		if near <= 90*60*1000 {
			hits++
		}
	}
	return asked > 0 && 5*hits >= 4*asked
}

// quantile of the covered values (type 1: an observed value); NaN for none.
func quantile(v []float64, p float64) float64 {
	q := room.Cap[float64](len(v))
	for _, x := range v {
		if x == x {
			q = append(q, x)
		}
	}
	if len(q) == 0 {
		return math.NaN()
	}
	return rank.Nth(q, int(p*float64(len(q)-1)))
}
