package grid

import (
	"math"
	"slices"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// Source is one probe (or one figure of the farm file) behind a stream.
type Source struct {
	// Channel is its index in Grid.Channels; -1 for a figure of the farm file
	// alone.
	Channel  int
	Quantity series.Quantity
	Place    string
	Probe    string
	// Key is the farm-file key of a rated figure in it ("loop.flow_l_min").
	Key string
	// Weight: what a unit error of this source moves the stream by. For
	// temperatures 1/n; for flows and powers its share of the total, so that a
	// relative error of the source moves the total by Weight of it.
	Weight float64
}

// Stream is one quantity of the farm on the grid, made of one or more probes.
// Immutable; Values may be shared with a channel.
type Stream struct {
	Quantity series.Quantity
	Unit     string
	Values   []float64
	// Edges and Readings as in Channel (temperatures only; nil otherwise). Of
	// several probes they give the stamps alone; One: there is one.
	Edges    []float64
	Readings Readings
	One      bool
	HalfS    float64
	// SpreadK: highest less lowest of the probes laid side by side; nil where
	// there is one.
	SpreadK []float64
	// From is the way it was logged, Name the way in words, for the report.
	From, Name     string
	UsualS         float64
	ResolutionBase float64
	// SampledS: a flow by a state that is read every so often, s; 0 else.
	SampledS float64
	Sources  []Source
}

// Find are the channels of a quantity.
func (g *Grid) Find(q series.Quantity) []int {
	var out []int
	for i := range g.Channels {
		if g.Channels[i].Quantity == q {
			out = append(out, i)
		}
	}
	return out
}

// Stream is a temperature, pressure, level or state of the farm: the mean of
// its probes, of whatever place (states: on where any is on); nil where none
// is logged. A probe that drops out does not move the mean by its usual
// distance from the others: that is taken out first. Flows and powers: see
// Flow.
func (g *Grid) Stream(q series.Quantity) *Stream {
	return g.once(string(q), func() *Stream { return g.together(q, g.Find(q)) })
}

// once makes a stream at the first call for it.
func (g *Grid) once(name string, make func() *Stream) *Stream {
	if g.streams == nil {
		return make()
	}
	if s, ok := g.streams.Load(name); ok {
		return s.(*Stream)
	}
	s, _ := g.streams.LoadOrStore(name, make())
	return s.(*Stream)
}

// StreamAt is Stream of one place alone.
func (g *Grid) StreamAt(q series.Quantity, place string) *Stream {
	return g.once(string(q)+"@"+place, func() *Stream {
		var at []int
		for _, i := range g.Find(q) {
			if g.Channels[i].Place == place {
				at = append(at, i)
			}
		}
		return g.together(q, at)
	})
}

func (g *Grid) together(q series.Quantity, chans []int) *Stream {
	if len(chans) == 0 {
		return nil
	}
	first := &g.Channels[chans[0]]
	s := &Stream{Quantity: q, Unit: first.Unit, From: first.From, UsualS: first.UsualS, Edges: first.Edges, Readings: first.Readings, HalfS: first.HalfS, Values: first.Values}
	var names []string
	for _, i := range chans {
		c := &g.Channels[i]
		s.Sources = append(s.Sources, Source{i, q, c.Place, c.Probe, "", 1 / float64(len(chans))})
		names = append(names, c.Probe)
		if c.UsualS > s.UsualS {
			s.UsualS, s.Readings, s.HalfS = c.UsualS, c.Readings, c.HalfS
		}
	}
	s.Name = strings.Join(names, ", ")
	if len(chans) == 1 {
		s.One = true
		return s
	}
	rows := g.rows(chans, func(c *Channel) []float64 { return c.Values })
	if first.From == "state" {
		s.Values = anyOn(rows)
		return s
	}
	s.Values, s.SpreadK = mean(rows)
	if first.Edges != nil {
		s.Edges, _ = mean(g.rows(chans, func(c *Channel) []float64 { return c.Edges }))
	}
	return s
}

func (g *Grid) rows(chans []int, of func(*Channel) []float64) [][]float64 {
	rows := make([][]float64, len(chans))
	for j, i := range chans {
		rows[j] = of(&g.Channels[i])
	}
	return rows
}

// mean of several probes cell by cell, and how far apart they stand. Where some
// are missing, the others stand in for all: each less its usual distance from
// the mean of all, as found where all are covered.
func mean(rows [][]float64) (means, spread []float64) {
	n := len(rows[0])
	off := distances(rows)
	means, spread = room.Make[float64](n), room.Make[float64](n)
	for i := range n {
		sum, seen, missingOff := 0.0, 0, 0.0
		lo, hi := math.Inf(1), math.Inf(-1)
		for j, r := range rows {
			if v := r[i]; v == v {
				sum += v
				missingOff += off[j]
				seen++
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		switch {
		case seen == 0:
			means[i], spread[i] = math.NaN(), math.NaN()
		case seen == len(rows):
			means[i], spread[i] = sum/float64(seen), hi-lo
		default:
			means[i], spread[i] = (sum-missingOff)/float64(seen), hi-lo
		}
	}
	return means, spread
}

// distances of each probe from the mean of all, over the cells that all cover;
// zeros where there is none.
func distances(rows [][]float64) []float64 {
	off := make([]float64, len(rows))
	all := 0
	for i := range rows[0] {
		sum := 0.0
		for _, r := range rows {
			sum += r[i]
		}
		if sum != sum {
			continue
		}
		all++
		for j, r := range rows {
			off[j] += r[i] - sum/float64(len(rows))
		}
	}
	for j := range off {
		off[j] /= float64(max(all, 1))
	}
	return off
}

// anyOn is the largest share of the states; NaN only where all are.
func anyOn(rows [][]float64) []float64 {
	out := slices.Clone(rows[0])
	for _, r := range rows[1:] {
		for i, v := range r {
			if v == v && !(out[i] >= v) {
				out[i] = v
			}
		}
	}
	return out
}

// Unlag is the mean temperature that really stood at a first-order probe over
// cell i, and its derivative with respect to the time constant:
//
//	u = (T1 - a T0)/(1 - a),  a = exp(-D/tau)
//	du/dtau = (T1 - T0) a D / (tau^2 (1 - a)^2)
//
// T0, T1 the readings at the cell's edges, D its length in s, tau in s. Exact
// for an input that is constant within the cell (solution of tau dT/dt = u - T).
// With tau 0, or no edges, it is the value at mid-cell.
func (s *Stream) Unlag(i int, stepS, tauS float64) (tempC, perS float64) {
	if s.Edges == nil || tauS <= 0 {
		return s.Values[i], 0
	}
	t0, t1 := s.Edges[i], s.Edges[i+1]
	if t0 != t0 || t1 != t1 {
		return s.Values[i], 0
	}
	a := math.Exp(-stepS / tauS)
	b := 1 - a
	return (t1 - a*t0) / b, (t1 - t0) * a * stepS / (tauS * tauS * b * b)
}
