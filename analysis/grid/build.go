package grid

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"yardheat/ingest"
	"yardheat/ingest/series"
)

// order is that of interfaces.md section 2.
var order = []series.Quantity{
	"mains_temp", "loop_in_temp", "loop_out_temp", "bed_temp", "slab_temp", "plate_in_temp", "plate_out_temp",
	"gas_in_temp", "gas_out_temp", "milk_in_temp", "milk_out_temp", "ice_water_temp", "tank_temp", "wash_temp",
	"return_temp", "hot_use_temp", "air_temp", "outdoor_temp", "tank_setpoint", "element_setpoint",
	"loop_flow", "plate_flow", "wash_flow",
	"loop_volume", "plate_volume", "wash_volume", "hot_use_volume", "milk_volume",
	"compressor_power", "compressor_energy", "element_power", "element_energy", "pump_power", "pump_energy",
	"solar_power", "solar_energy", "grid_import_power", "grid_import_energy", "grid_export_power", "grid_export_energy",
	"suction_pressure", "discharge_pressure", "loop_pressure", "ice_level", "tank_level",
	"compressor_on", "element_on", "loop_valve", "loop_pump", "plate_pump",
}

func rank(q series.Quantity) int {
	if i := slices.Index(order, q); i >= 0 {
		return i
	}
	return len(order)
}

// Build lays the record from fromMS to toMS (Unix ms UTC; 0, 0 = all of it) on
// one grid. Flagged readings are not used. It is an error if the span is empty
// or the options are out of bounds; a record without series gives a grid
// without channels.
func Build(rec *ingest.Record, fromMS, toMS int64, opt Options) (*Grid, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if fromMS == 0 && toMS == 0 {
		fromMS, toMS = rec.First, rec.Last
	}
	if toMS <= fromMS {
		return nil, fmt.Errorf("grid: the span from %d to %d ms is empty", fromMS, toMS)
	}
	step := stepMS(rec.Series, toMS-fromMS, opt)
	start := fromMS - mod(fromMS, step)
	g := &Grid{StartMS: start, StepS: float64(step) / 1000, N: int(ceilDiv(toMS-start, step))}
	sorted := slices.Clone(rec.Series)
	slices.SortStableFunc(sorted, func(a, b *series.Series) int {
		return cmp.Or(cmp.Compare(rank(a.Quantity), rank(b.Quantity)), cmp.Compare(a.Place, b.Place), cmp.Compare(a.Probe, b.Probe))
	})
	g.Channels = make([]Channel, len(sorted))
	var wg sync.WaitGroup
	for i, s := range sorted {
		wg.Go(func() { g.Channels[i] = g.channel(s, rec.Last, opt) })
	}
	wg.Wait()
	return g, nil
}

func mod(a, b int64) int64 { return ((a % b) + b) % b }

// stepMS chooses the cell: a divisor of the minute, so that local midnights
// and stamps on whole minutes are edges.
func stepMS(all []*series.Series, spanMS int64, opt Options) int64 {
	s := opt.StepS
	if s == 0 {
		s = opt.CoarsestS
		for _, x := range all {
			info, _ := series.Lookup(x.Quantity)
			pipe := info.Pipe || info.Class == series.Flow || info.Class == series.Volume
			if pipe && x.IntervalMS > 0 && x.Kind != series.State && x.Quantity != "milk_volume" {
				s = min(s, float64(x.IntervalMS)/1000)
			}
		}
		s = max(opt.FinestS, s)
		for _, d := range []float64{60, 30, 20, 15, 12, 10, 6, 5, 4, 3, 2, 1} {
			if s < 120 && s >= d {
				s = d
				break
			}
		}
	}
	for s*float64(opt.MostCells)*1000 < float64(spanMS) {
		s *= 2
	}
	return int64(s*1000 + 0.5)
}

// channel lays one series on the grid by the rule of its kind.
func (g *Grid) channel(s *series.Series, lastMS int64, opt Options) Channel {
	info, _ := series.Lookup(s.Quantity)
	c := Channel{
		Quantity: s.Quantity, Place: s.Place, Probe: s.Probe, Fit: s.Fit, Unit: unit(info.Class), From: from(s, info.Class),
		UsualS: float64(s.IntervalMS) / 1000, ResolutionBase: s.ResolutionBase, Flags: g.flags(s),
	}
	k := g.kept(s)
	cells := axis{g.StartMS, g.StepMS(), g.N}
	switch {
	case s.Kind == series.State:
		sp := newSpreader(cells)
		sp.hold(k.at, k.v, s.HoldMS, max(lastMS, g.StartMS))
		c.Values = sp.means(opt.CoveredShare)
	case s.Kind == series.Amount && (info.Class == series.Volume || info.Class == series.Energy),
		s.Kind == series.Mean && (info.Class == series.Flow || info.Class == series.Power):
		c.Values = g.spreadOut(s.Kind, info.Class, k.steady(s, info.Class, opt), cells, opt)
	default:
		g.readings(&c, s, info, k, opt)
	}
	return c
}

// readings lays instants (and means that stand for their interval's middle) on
// the grid by straight lines.
func (g *Grid) readings(c *Channel, s *series.Series, info series.Info, k kept, opt Options) {
	at := k.at
	if s.Kind == series.Mean && k.from != nil {
		at = make([]int64, len(k.at))
		for i := range at {
			at[i] = k.from[i] + (k.at[i]-k.from[i])/2
		}
		c.HalfS = float64(s.IntervalMS) / 2000
	}
	bridge := int64(max(opt.BridgeIntervals*float64(s.IntervalMS), opt.BridgeS*1000))
	step := g.StepMS()
	c.Values = unknown(g.N)
	interpolate(at, k.v, axis{g.StartMS + step/2, step, g.N}, bridge, c.Values)
	if info.Class != series.Temperature {
		return
	}
	c.At, c.Read = at, k.v
	if info.Pipe {
		c.Edges = unknown(g.N + 1)
		interpolate(at, k.v, axis{g.StartMS, step, g.N + 1}, bridge, c.Edges)
	}
}

// spreadOut lays amounts and means on the cells they passed in.
func (g *Grid) spreadOut(kind series.Kind, class series.Class, k kept, cells axis, opt Options) []float64 {
	sp := newSpreader(cells)
	longest := opt.LongestEnergyS
	if class == series.Volume || class == series.Flow {
		longest = opt.LongestVolumeS
	}
	longest = max(longest, opt.BridgeIntervals*k.usualS)
	perMS := 60000.0 // L over ms → L/min
	if class == series.Energy {
		perMS = 3600000 // kWh over ms → kW
	}
	for i, to := range k.at {
		from, rate := k.start(i), k.v[i]
		d := float64(to - from)
		if d <= 0 {
			continue
		}
		if d > longest*1000 && (rate != 0 || d > opt.LongestZeroS*1000) {
			continue
		}
		if kind == series.Amount {
			rate *= perMS / d
		}
		sp.spread(from, to, rate)
	}
	return sp.means(opt.CoveredShare)
}

// kept are the readings without a flag, near the grid.
type kept struct {
	at, from []int64
	v        []float64
	usualS   float64
}

// start of the interval that ends at reading i: as logged, else one usual
// interval before.
func (k *kept) start(i int) int64 {
	if i < len(k.from) {
		return k.from[i]
	}
	return k.at[i] - int64(k.usualS*1000)
}

func (g *Grid) kept(s *series.Series) kept {
	// A day on either side: what spans the edge of the period still reaches in.
	// An event log's last row before the period may be older still.
	lo, _ := slices.BinarySearch(s.T, g.StartMS-24*3600*1000)
	if s.Kind == series.State && lo > 0 {
		lo--
	}
	hi, _ := slices.BinarySearch(s.T, g.EndMS()+24*3600*1000)
	k := kept{usualS: float64(s.IntervalMS) / 1000}
	if s.Flags.Clean(lo, hi) {
		k.at, k.v = s.T[lo:hi:hi], s.V[lo:hi:hi]
		if s.From != nil {
			k.from = s.From[lo:hi:hi]
		}
		return k
	}
	for i := lo; i < hi; i++ {
		if s.Flags.At(i) != 0 {
			continue
		}
		k.at, k.v = append(k.at, s.T[i]), append(k.v, s.V[i])
		if s.From != nil {
			k.from = append(k.from, s.From[i])
		}
	}
	return k
}

// steady joins a counter's single step (at most one and a half of its
// resolution) with the stillness before it, back to the step before, where that
// is not longer ago than a pulse may take. The amounts stay what they are.
func (k kept) steady(s *series.Series, class series.Class, opt Options) kept {
	within := opt.PulseVolumeS
	if class == series.Energy {
		within = opt.PulseEnergyS
	}
	if s.Kind != series.Amount || !s.Counter || s.ResolutionBase <= 0 || k.from == nil || within <= 0 {
		return k
	}
	out := kept{usualS: k.usualS, at: make([]int64, 0, len(k.at)), from: make([]int64, 0, len(k.at)), v: make([]float64, 0, len(k.at))}
	still := -1 // where in out the stillness after a step begins
	for i, v := range k.v {
		from := k.from[i]
		n := len(out.at)
		joins := n > 0 && out.at[n-1] == from
		switch {
		case v == 0 && joins:
			if out.v[n-1] != 0 {
				still = n
			}
		case v > 0 && v <= 1.5*s.ResolutionBase && joins && still >= 0 && out.v[n-1] == 0 && k.at[i]-out.from[still] <= int64(within*1000):
			from = out.from[still]
			out.at, out.from, out.v = out.at[:still], out.from[:still], out.v[:still]
			still = -1
		default:
			still = -1
		}
		out.at, out.from, out.v = append(out.at, k.at[i]), append(out.from, from), append(out.v, v)
	}
	return out
}

// flags are those of the readings that fall into each cell.
func (g *Grid) flags(s *series.Series) []series.Flag {
	var out []series.Flag
	step := g.StepMS()
	for i := range s.T {
		f := s.Flags.At(i) &^ series.Absent
		if f == 0 || s.T[i] <= g.StartMS || s.T[i] > g.EndMS() {
			continue
		}
		if out == nil {
			out = make([]series.Flag, g.N)
		}
		out[(s.T[i]-g.StartMS-1)/step] |= f
	}
	return out
}

func unit(c series.Class) string {
	switch c {
	case series.Volume:
		return series.Flow.BaseUnit()
	case series.Energy:
		return series.Power.BaseUnit()
	}
	return c.BaseUnit()
}

func from(s *series.Series, c series.Class) string {
	switch {
	case s.Kind == series.State:
		return "state"
	case s.Kind == series.Amount && s.Counter:
		return "counter"
	case s.Kind == series.Amount:
		return "amount"
	case c == series.Flow || c == series.Power:
		return "rate"
	}
	return "reading"
}

// unknown is a slice of NaN.
func unknown(n int) []float64 {
	out := make([]float64, n)
	nan := math.NaN()
	for i := range out {
		out[i] = nan
	}
	return out
}
