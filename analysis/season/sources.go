package season

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/analysis/match"
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
	draws   []clockDoubt // what is not known of draws that no meter saw
	// pipes are the doubts between a pipe's flow and its temperatures, by stream;
	// later and earlier the accounts with all those flows moved.
	pipes          map[string]pipeClock
	later, earlier *account.Account
	// joint is what is known of all temperature probes' errors, by row; groups
	// are the channels of those compared with each other, directly or through
	// others, by channel.
	joint  match.Joint
	row    map[int]int
	groups map[int][]int
	// temperatures are the sources of temperature probes, by channel.
	temperatures map[int]int
	// meters are the quantities of those of meters.
	meters map[int]series.Quantity
	// lasting are the errors of instruments and of stated figures, which another
	// period of the farm has too.
	lasting map[int]bool
	// instruments are those of them that can drift.
	instruments map[int]bool
}

func newRegistry(f *farm.Farm, g *grid.Grid) *registry {
	return &registry{farm: f, grid: g, byName: map[string]int{}, temperatures: map[int]int{}, meters: map[int]series.Quantity{}, lasting: map[int]bool{}, instruments: map[int]bool{}}
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

// last is add for an instrument or a stated figure.
func (r *registry) last(s doubt.Source) int {
	i := r.add(s)
	r.lasting[i] = true
	return i
}

// probe is the place of a probe's (or a rated figure's) error.
func (r *registry) probe(s grid.Source) int {
	if s.Key != "" {
		return r.rated(s)
	}
	if i, ok := r.temperatures[s.Channel]; ok {
		return i
	}
	if g := r.groups[s.Channel]; g != nil {
		r.group(g)
		return r.temperatures[s.Channel]
	}
	src := r.channel(s.Channel)
	i := r.last(src)
	r.instruments[i] = true
	if _, ok := r.row[s.Channel]; ok {
		r.temperatures[s.Channel] = i
	} else {
		r.meters[i] = r.grid.Channels[s.Channel].Quantity
	}
	return i
}

// channel is a probe's own error.
func (r *registry) channel(i int) doubt.Source {
	c := &r.grid.Channels[i]
	e, assumed := r.farm.ProbeError(c.Quantity, c.Place, c.Fit, c.From)
	return stated(c.Probe, c.Unit, ofMeter(c, r.grid.StepS, e), assumed)
}

// joined takes what is known of the temperature probes together, and which of
// them were compared.
func (r *registry) joined(m *matcher, joint match.Joint) {
	r.joint, r.row, r.groups = joint, m.row, map[int][]int{}
	for _, c := range m.list {
		var all []int
		for _, k := range c.Probes {
			i := m.channels[k]
			if !slices.Contains(all, i) {
				all = append(all, i)
			}
			for _, old := range r.groups[i] {
				if !slices.Contains(all, old) {
					all = append(all, old)
				}
			}
		}
		slices.Sort(all)
		for _, i := range all {
			r.groups[i] = all
		}
	}
}

// group adds the errors of probes that were compared: what they have in common,
// what each differs by, and of these each probe's own.
func (r *registry) group(channels []int) {
	n := len(channels)
	cov := mat.NewSymDense(n, nil)
	names, assumed := make([]string, n), false
	for i, a := range channels {
		for k, b := range channels {
			cov.SetSym(i, k, r.joint.Cov.At(r.row[a], r.row[b]))
		}
		src := r.channel(a)
		names[i], assumed = src.Name, assumed || src.Assumed
	}
	loads := make([][]doubt.Load, n)
	for _, f := range (match.Joint{Cov: cov}).Factors() {
		src := doubt.Source{Name: strings.Join(names, " and ") + ", in common", Kind: doubt.Shared, HalfWidth: z95 * f.SDK, Unit: "K", Sensors: names, Assumed: assumed}
		if f.Against >= 0 {
			src.Name = names[f.Against] + " against " + strings.Join(names[f.Against+1:], " and ")
			src.Sensors, src.Assumed = names[f.Against:], false
		}
		at := r.add(src)
		r.lasting[at] = f.Against < 0 // what they differ by may have been found in this period
		r.instruments[at] = true
		for i, w := range f.Weights {
			if w != 0 {
				loads[i] = append(loads[i], doubt.Load{Source: at, Weight: w})
			}
		}
	}
	for i, a := range channels {
		r.temperatures[a] = r.add(doubt.Source{Name: names[i], Kind: doubt.Shared, HalfWidth: z95 * math.Sqrt(max(0, cov.At(i, i))), Unit: "K", Of: loads[i]})
	}
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
	return r.last(stated(s.Key, keyUnit(s.Key), r.asUsed(s.Key, e), assumed))
}

// quantity is the place of the error of a quantity that no probe logs (the
// milkings list); mean is an entry's mean, NaN where an error is never a share.
func (r *registry) quantity(q series.Quantity, from string, mean float64) int {
	info, _ := series.Lookup(q)
	e, assumed := r.farm.ProbeError(q, "", "", from)
	if info.Class == series.Volume {
		e = asShare(e, mean)
	}
	return r.last(stated("milkings list: "+string(q), info.Class.BaseUnit(), e, assumed))
}

// key is the place of a farm-file figure's error; −1 where none is stated or
// assumed.
func (r *registry) key(key string) int {
	e, assumed := r.farm.KeyError(key)
	if e.HalfWidth <= 0 {
		return -1
	}
	return r.last(stated(key, keyUnit(key), r.asUsed(key, e), assumed))
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
	return r.last(doubt.Source{Name: of + ": time constant", Kind: doubt.Shared, HalfWidth: share * tauS, Unit: "s", Assumed: true, Sensors: []string{of}})
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
