package grid

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// Rated is a state times a figure of the farm file: the last way to know a
// flow or a power.
type Rated struct {
	State series.Quantity
	Key   string  // "loop.flow_l_min"
	Value float64 // L/min or kW while on
}

// ways to log one flow or power, besides the states.
type ways struct{ total, rate series.Quantity }

// flows by the name under which Flow is asked for them.
var flows = map[series.Quantity]ways{
	"loop_flow":         {"loop_volume", "loop_flow"},
	"plate_flow":        {"plate_volume", "plate_flow"},
	"wash_flow":         {"wash_volume", "wash_flow"},
	"hot_use_volume":    {"hot_use_volume", ""},
	"milk_volume":       {"milk_volume", ""},
	"compressor_power":  {"compressor_energy", "compressor_power"},
	"element_power":     {"element_energy", "element_power"},
	"pump_power":        {"pump_energy", "pump_power"},
	"solar_power":       {"solar_energy", "solar_power"},
	"grid_import_power": {"grid_import_energy", "grid_import_power"},
	"grid_export_power": {"grid_export_energy", "grid_export_power"},
}

// RatedFor are the states and rated figures of a farm that can stand for a
// flow or a power, by the name of that flow or power.
func RatedFor(f *farm.Farm, q series.Quantity) []Rated {
	if f == nil {
		return nil
	}
	var out []Rated
	add := func(state series.Quantity, key string, v float64) {
		if v > 0 {
			out = append(out, Rated{state, key, v})
		}
	}
	switch {
	case q == "loop_flow" && f.Loop != nil:
		add("loop_valve", "loop.flow_l_min", f.Loop.FlowLMin)
		add("loop_pump", "loop.flow_l_min", f.Loop.FlowLMin)
	case q == "plate_flow" && f.Plate != nil:
		add("plate_pump", "plate.flow_l_min", f.Plate.FlowLMin)
	case q == "compressor_power" && f.Plant != nil:
		add("compressor_on", "plant.compressor_kw", f.Plant.CompressorKW)
	case q == "element_power" && f.Element != nil:
		add("element_on", "element.power_kw", f.Element.PowerKW)
	case q == "pump_power" && f.Pumps != nil:
		add("loop_pump", "pumps.loop_kw", f.Pumps.LoopKW)
		add("plate_pump", "pumps.plate_kw", f.Pumps.PlateKW)
	}
	return out
}

// Flow is a flow (L/min) or a power (kW) of the farm, whichever way it is
// logged; nil where it is not. q is the name of the rate, or of the volume
// where there is no rate ("hot_use_volume", "milk_volume").
//
// Of several ways the order is counter, amount, measured rate, state times the
// rated figure; a way that covers less than half of what the best covers is
// passed over. Probes of one place are averaged; places add up, and a cell
// counts only where all of them are covered. A rated figure is that of all
// states of one name together and is shared out evenly among them. The
// problems name ways that disagree by more than Options.DisagreeShare.
func (g *Grid) Flow(f *farm.Farm, q series.Quantity, opt Options) (*Stream, []series.Problem) {
	w, known := flows[q]
	if !known {
		return nil, nil
	}
	var places []string
	for i := range g.Channels {
		c := &g.Channels[i]
		if (c.Quantity == w.total || c.Quantity == w.rate) && !slices.Contains(places, c.Place) {
			places = append(places, c.Place)
		}
	}
	var parts []*Stream
	var problems []series.Problem
	rated := g.rated(q, RatedFor(f, q))
	if q == "loop_flow" && len(rated) > 1 {
		rated = rated[:1] // valve and pump of one loop: one flow
	}
	for _, place := range places {
		all := g.waysAt(w, place)
		if len(places) == 1 && len(rated) > 0 && q != "pump_power" {
			all = append(all, add(q, rated))
		}
		best := choose(all)
		problems = append(problems, disagreements(g, q, place, best, all, opt)...)
		parts = append(parts, best)
	}
	if len(parts) == 0 {
		parts = rated
	}
	if len(parts) == 0 {
		return nil, problems
	}
	return add(q, parts), problems
}

// waysAt are the metered ways at one place, best first.
func (g *Grid) waysAt(w ways, place string) []*Stream {
	var out []*Stream
	for _, from := range []string{"counter", "amount", "rate"} {
		var chans []int
		for i := range g.Channels {
			c := &g.Channels[i]
			if (c.Quantity == w.total || c.Quantity == w.rate) && c.Place == place && c.From == from {
				chans = append(chans, i)
			}
		}
		if s := g.together(w.rate, chans); s != nil {
			s.From = from
			s.Name = s.Name + " (" + from + ")"
			for _, i := range chans {
				s.ResolutionBase = max(s.ResolutionBase, g.Channels[i].ResolutionBase)
			}
			for j, i := range chans {
				s.Sources[j].Quantity = g.Channels[i].Quantity
			}
			out = append(out, s)
		}
	}
	return out
}

// rated are the flows or powers by state, one a state's name. A state that is read
// every so often changed somewhere between two readings: a pipe's flow is taken to
// start and stop half-way, so that the readings of its probes made in flowing
// water lie inside, and those made after it outside.
func (g *Grid) rated(q series.Quantity, all []Rated) []*Stream {
	var out []*Stream
	for _, r := range all {
		chans := g.Find(r.State)
		if len(chans) == 0 {
			continue
		}
		s := &Stream{Quantity: q, From: "state", UsualS: g.StepS, Values: room.Make[float64](g.N), Unit: g.rateUnit(q)}
		each := r.Value / float64(len(chans))
		var names []string
		for _, i := range chans {
			c := &g.Channels[i]
			ahead := 0
			if q == "loop_flow" || q == "plate_flow" {
				s.SampledS = max(s.SampledS, c.SampledS)
				ahead = int(c.SampledS / 2 / g.StepS)
			}
			for k := range c.Values {
				s.Values[k] += c.Values[min(k+ahead, g.N-1)] * each
			}
			names = append(names, c.Probe)
		}
		s.Sources = []Source{{chans[0], r.State, "", "", r.Key, 1}}
		s.Name = strings.Join(names, ", ") + " × " + r.Key + " (state)"
		out = append(out, s)
	}
	return out
}

func (g *Grid) rateUnit(q series.Quantity) string {
	info, _ := series.Lookup(q)
	return unit(info.Class)
}

// choose takes the first way that covers at least half of what the best does.
func choose(all []*Stream) *Stream {
	best, most := all[0], 0
	for _, s := range all {
		most = max(most, covered(s.Values))
	}
	for _, s := range all {
		if 2*covered(s.Values) >= most {
			return s
		}
	}
	return best
}

// disagreements lists the ways whose total over the cells that both cover is
// off the chosen one's by more than the share allowed.
func disagreements(g *Grid, q series.Quantity, place string, chosen *Stream, all []*Stream, opt Options) []series.Problem {
	var out []series.Problem
	for _, s := range all {
		if s == chosen {
			continue
		}
		a, b, n := 0.0, 0.0, 0
		for i, v := range chosen.Values {
			if u := s.Values[i]; v == v && u == u {
				a, b, n = a+v, b+u, n+1
			}
		}
		if n == 0 || !(math.Abs(b-a) > opt.DisagreeShare*math.Abs(a)) {
			continue
		}
		where := string(q)
		if place != "" {
			where += "@" + place
		}
		per := g.StepS / 60
		unit := "L"
		if g.rateUnit(q) == "kW" {
			per, unit = g.StepS/3600, "kWh"
		}
		out = append(out, series.Problem{Code: "ways-disagree", Severity: series.Doubt, Where: where, Text: fmt.Sprintf(
			"%s: %.4g %s, but %s: %.4g %s over the same time; the first is used", chosen.Name, a*per, unit, s.Name, b*per, unit)})
	}
	return out
}

// add sums the parts cell by cell; NaN where any is.
func add(q series.Quantity, parts []*Stream) *Stream {
	if len(parts) == 1 {
		parts[0].Quantity = q
		return parts[0]
	}
	out := &Stream{Quantity: q, Unit: parts[0].Unit, From: parts[0].From, Values: slices.Clone(parts[0].Values)}
	totals := make([]float64, len(parts))
	var names []string
	for j, p := range parts {
		names = append(names, p.Name)
		out.UsualS, out.ResolutionBase = max(out.UsualS, p.UsualS), max(out.ResolutionBase, p.ResolutionBase)
		for i, v := range p.Values {
			if j > 0 {
				out.Values[i] += v
			}
			if v == v {
				totals[j] += v
			}
		}
	}
	out.Name = strings.Join(names, " + ")
	sum := 0.0
	for _, t := range totals {
		sum += t
	}
	for j, p := range parts {
		for _, s := range p.Sources {
			if sum != 0 {
				s.Weight *= totals[j] / sum
			}
			out.Sources = append(out.Sources, s)
		}
	}
	return out
}

func covered(v []float64) int {
	n := 0
	for _, x := range v {
		if x == x {
			n++
		}
	}
	return n
}
