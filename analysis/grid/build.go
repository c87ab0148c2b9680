package grid

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"yardheat/ingest"
	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
	"yardheat/ingest/work"
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
	return lay(rec, fromMS, toMS, opt, true)
}

// BuildValues is Build for a record that is only written down: Values and Flags
// without Edges and Readings.
func BuildValues(rec *ingest.Record, fromMS, toMS int64, opt Options) (*Grid, error) {
	return lay(rec, fromMS, toMS, opt, false)
}

func lay(rec *ingest.Record, fromMS, toMS int64, opt Options, probes bool) (*Grid, error) {
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
	g := &Grid{StartMS: start, StepS: float64(step) / 1000, N: int(ceilDiv(toMS-start, step)), streams: new(sync.Map), ctx: opt.Context}
	sorted := slices.Clone(rec.Series)
	slices.SortStableFunc(sorted, func(a, b *series.Series) int {
		return cmp.Or(cmp.Compare(rank(a.Quantity), rank(b.Quantity)), cmp.Compare(a.Place, b.Place), cmp.Compare(a.Probe, b.Probe))
	})
	g.Channels = make([]Channel, len(sorted))
	var taken atomic.Int64
	var wg work.Group
	for range min(runtime.GOMAXPROCS(0), len(sorted)) {
		wg.Go(func() {
			l := layer{g: g, opt: opt, lastMS: rec.Last, probes: probes}
			for i := int(taken.Add(1)) - 1; i < len(sorted); i = int(taken.Add(1)) - 1 {
				g.Check()
				g.Channels[i] = l.channel(sorted[i])
			}
		})
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

// layer lays series on the grid one after the other.
type layer struct {
	g      *Grid
	opt    Options
	lastMS int64
	probes bool      // temperatures with what books a probe
	seenMS []float64 // to work in
}

func (l *layer) cells() axis { return axis{l.g.StartMS, l.g.StepMS(), l.g.N} }

func (l *layer) spreader() *spreader {
	if l.seenMS == nil {
		l.seenMS = room.Make[float64](l.g.N)
	}
	return newSpreader(l.cells(), l.seenMS)
}

// channel lays one series on the grid by the rule of its kind.
func (l *layer) channel(s *series.Series) Channel {
	info, _ := series.Lookup(s.Quantity)
	c := Channel{
		Quantity: s.Quantity, Place: s.Place, Probe: s.Probe, Fit: s.Fit, Unit: unit(info.Class), From: s.LoggedAs(info.Class),
		UsualS: float64(s.IntervalMS) / 1000, ResolutionBase: s.ResolutionBase, Flags: l.g.flags(s),
	}
	r := l.g.near(s)
	switch {
	case s.Kind == series.State:
		if s.HoldMS > 0 {
			c.SampledS = c.UsualS
		}
		sp := l.spreader()
		sp.hold(&r, s.HoldMS, max(l.lastMS, l.g.StartMS))
		c.Values = sp.means(l.opt.CoveredShare)
	case s.Kind == series.Amount && (info.Class == series.Volume || info.Class == series.Energy),
		s.Kind == series.Mean && (info.Class == series.Flow || info.Class == series.Power):
		c.Values = l.spreadOut(s, info.Class, &r)
	default:
		l.readings(&c, s, info, r)
	}
	return c
}

// readings lays instants (and means that stand for their interval's middle) on
// the grid by straight lines.
func (l *layer) readings(c *Channel, s *series.Series, info series.Info, r Readings) {
	if s.Kind == series.Mean && s.From != nil {
		r.mid = true
		c.HalfS = float64(s.IntervalMS) / 2000
	}
	bridge := int64(max(l.opt.BridgeIntervals*float64(s.IntervalMS), l.opt.BridgeS*1000))
	a := l.cells()
	if info.Class != series.Temperature || !l.probes {
		c.Values = interpolate(&r, axis{a.t0 + a.step/2, a.step, a.n}, bridge)
		return
	}
	c.Readings = r
	if !info.Pipe {
		c.Values = interpolate(&r, axis{a.t0 + a.step/2, a.step, a.n}, bridge)
		return
	}
	c.Values, c.Edges = room.Make[float64](a.n), room.Make[float64](a.n+1)
	if a.step%2 == 0 { // middles and edges in one walk
		between(&r, axis{a.t0, a.step / 2, 2*a.n + 1}, bridge, c.Edges, c.Values)
		return
	}
	between(&r, axis{a.t0 + a.step/2, a.step, a.n}, bridge, c.Values)
	between(&r, axis{a.t0, a.step, a.n + 1}, bridge, c.Edges)
}

// spreadOut lays amounts and means on the cells they passed in. A counter's
// single step (at most one and a half of its resolution) is joined with the
// stillness before it, back to the step before, where that is not longer ago
// than a pulse may take. The amounts stay what they are.
func (l *layer) spreadOut(s *series.Series, class series.Class, r *Readings) []float64 {
	opt := &l.opt
	longest, within := opt.LongestEnergyS, opt.PulseEnergyS
	if class == series.Volume || class == series.Flow {
		longest = opt.LongestVolumeS
	}
	if class != series.Energy {
		within = opt.PulseVolumeS
	}
	usualS := float64(s.IntervalMS) / 1000
	longest = max(longest, opt.BridgeIntervals*usualS)
	p := pour{spreader: l.spreader(), s: s, longestMS: longest * 1000, longestZeroMS: opt.LongestZeroS * 1000, usualMS: int64(usualS * 1000)}
	if s.Kind == series.Amount {
		p.perMS = 60000 // L over ms → L/min
		if class == series.Energy {
			p.perMS = 3600000 // kWh over ms → kW
		}
	}
	if s.Kind == series.Amount && s.Counter && s.ResolutionBase > 0 && s.From != nil && within > 0 {
		p.steady(r, 1.5*s.ResolutionBase, int64(within*1000))
	} else {
		p.all(r)
	}
	return p.means(opt.CoveredShare)
}

// flags are those of the readings that fall into each cell.
func (g *Grid) flags(s *series.Series) []series.Flag {
	var out []series.Flag
	step := g.StepMS()
	for i, f := range s.Flags.All() {
		if f &^= series.Absent; f == 0 || s.T[i] <= g.StartMS || s.T[i] > g.EndMS() {
			continue
		}
		if out == nil {
			out = room.Make[series.Flag](g.N)
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
