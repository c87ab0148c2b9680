package season

import (
	"fmt"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// registry gives every probe, and every figure of the farm file that may be
// off, one place among the sources of the trials: one error for the whole
// season, wherever the probe is used.
type registry struct {
	farm    *farm.Farm
	grid    *grid.Grid
	sources []doubt.Source
	byName  map[string]int
	clocks  []clockDoubt
	// pipes are the doubts between a pipe's flow and its temperatures, by stream;
	// later and earlier the accounts with all those flows moved.
	pipes          map[string]pipeClock
	later, earlier *account.Account
}

func newRegistry(f *farm.Farm, g *grid.Grid) *registry {
	return &registry{farm: f, grid: g, byName: map[string]int{}}
}

// add gives a source its place; the same name twice is the same source, unless
// it errs otherwise (the scatter of two months with as many draws): then it is
// told apart by a number.
func (r *registry) add(s doubt.Source) int {
	name := s.Name
	for n := 2; ; n++ {
		i, ok := r.byName[s.Name]
		if !ok {
			break
		}
		if r.sources[i].HalfWidth == s.HalfWidth {
			return i
		}
		s.Name = fmt.Sprintf("%s (%d)", name, n)
	}
	i := len(r.sources)
	r.sources = append(r.sources, s)
	r.byName[s.Name] = i
	return i
}

// probe is the place of a probe's (or a rated figure's) error.
func (r *registry) probe(s grid.Source) int {
	if s.Key != "" {
		return r.rated(s)
	}
	c := &r.grid.Channels[s.Channel]
	e, assumed := r.farm.ProbeError(c.Quantity, c.Place, c.Fit, c.From)
	return r.add(stated(c.Probe, c.Unit, e, assumed))
}

// rated is the place of a farm-file figure that stands for a meter: its own
// error where the farm file states one, else that of a state times a rating.
func (r *registry) rated(s grid.Source) int {
	e, assumed := r.farm.KeyError(s.Key)
	if s.Channel >= 0 && (assumed || e.HalfWidth <= 0) {
		c := &r.grid.Channels[s.Channel]
		e, assumed = r.farm.ProbeError(c.Quantity, c.Place, c.Fit, "state")
	}
	if e.HalfWidth <= 0 {
		return -1
	}
	return r.add(stated(s.Key, keyUnit(s.Key), e, assumed))
}

// quantity is the place of the error of a quantity that no probe logs (the
// milkings list).
func (r *registry) quantity(q series.Quantity, from string) int {
	info, _ := series.Lookup(q)
	e, assumed := r.farm.ProbeError(q, "", "", from)
	return r.add(stated("milkings list: "+string(q), info.Class.BaseUnit(), e, assumed))
}

// key is the place of a farm-file figure's error; −1 where none is stated or
// assumed.
func (r *registry) key(key string) int {
	e, assumed := r.farm.KeyError(key)
	if e.HalfWidth <= 0 {
		return -1
	}
	return r.add(stated(key, keyUnit(key), e, assumed))
}

func keyUnit(key string) string {
	switch key {
	case "mains.temp_c":
		return "degC"
	case "plant.standing_gain_kw":
		return "kW"
	}
	return ""
}

func stated(name, unit string, e farm.StatedError, assumed bool) doubt.Source {
	s := doubt.Source{Name: name, Kind: doubt.Shared, HalfWidth: e.HalfWidth, Relative: e.Relative, Unit: unit, Assumed: assumed}
	if e.Rectangular {
		s.Dist = doubt.Rectangular
	}
	if unit == "degC" {
		s.Unit = "K" // an error of a temperature is a difference
	}
	return s
}

// lag is the place of the doubt about a probe's time constant, in seconds.
func (r *registry) lag(of string, tauS, share float64) int {
	if tauS <= 0 || share <= 0 {
		return -1
	}
	return r.add(doubt.Source{Name: of + ": time constant", Kind: doubt.Shared, HalfWidth: share * tauS, Unit: "s", Assumed: true})
}

// names of the probes of a side, for the budget.
func (r *registry) nameOf(sources []grid.Source) string {
	if len(sources) == 0 {
		return ""
	}
	if s := sources[0]; s.Channel < 0 {
		return s.Key
	}
	return r.grid.Channels[sources[0].Channel].Probe
}
