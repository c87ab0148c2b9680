package cycle

import (
	"math"
	"slices"

	"yardheat/analysis/grid"
	"yardheat/analysis/rank"
)

// HiddenDraws finds the draws that no pipe probe could show: the water in the
// pipes stood at what flows. A cold feed about as warm as the air beside the
// inlet's probe, with an outlet probe in the bed, is such a case. The hot tank
// shows them all the same: what was taken is made up for, and its upper probe
// falls by opt.HiddenFallK within opt.FallWithinS.
//
// A fall counts where it is at least half as deep as the deeper ones are (their
// upper quartile: cooler water from the plate lets a tank fall too), no draw of known overlaps it and both probes, before it,
// stood within ProbeOptions.ShowK and ShowShare of what they read over the
// nearest draws; else they would have shown it, and there was none. The draw
// ends as the tank stops falling and lasts as the others do (without others from
// where the fall begins). Its litres are drawL. flow, L/min by cell, is written
// in place; the draws come back in order.
func HiddenDraws(g *grid.Grid, in, out *grid.Stream, tankC []float64, known []Draw, flow []float64, drawL float64, opt Options) []Draw {
	all := slices.Clone(known)
	w := newWitness(g, in, out, known, opt)
	falls := tankFalls(g, tankC, opt)
	deep := make([]float64, len(falls))
	for i, s := range falls {
		deep[i] = tankC[s.A] - tankC[s.B-1]
	}
	least := 0.0
	if n := len(deep); n > 0 {
		least = rank.Nth(slices.Clone(deep), 3*n/4) / 2
	}
	for i, s := range falls {
		if deep[i] < least || overlaps(known, s) || !w.hidden(s.A) {
			continue
		}
		if w.usualCells > 0 {
			s.A = max(0, s.B-w.usualCells)
		}
		if n := len(all); n > len(known) && all[n-1].B > s.A {
			s.A = all[n-1].B
		}
		if s.B <= s.A || overlaps(known, s) || slices.ContainsFunc(flow[s.A:s.B], math.IsNaN) {
			continue
		}
		opt.Probes.pour(flow[s.A:s.B], drawL, g.StepS)
		all = append(all, Draw{Span: s, Start: g.EdgeMS(s.A), End: g.EdgeMS(s.B), Litres: drawL, Estimated: true})
	}
	slices.SortFunc(all, func(a, b Draw) int { return a.A - b.A })
	return all
}

func overlaps(draws []Draw, s Span) bool {
	return slices.ContainsFunc(draws, func(d Draw) bool { return d.A < s.B && s.A < d.B })
}

// tankFalls are the stretches in which the tank falls as only water drawn and
// made up for lets it fall: from where it last stood near its highest to where
// it stops.
func tankFalls(g *grid.Grid, tankC []float64, opt Options) []Span {
	within := max(1, int(opt.FallWithinS/g.StepS))
	rest := max(1, int(restAfterFallS/g.StepS))
	var out []Span
	var top []int // cells of the window, their readings falling
	for i := 0; i < len(tankC); i++ {
		v := tankC[i]
		if v != v {
			top = top[:0]
			continue
		}
		for len(top) > 0 && tankC[top[len(top)-1]] <= v {
			top = top[:len(top)-1]
		}
		top = append(top, i)
		for top[0] < i-within {
			top = top[1:]
		}
		if tankC[top[0]]-v < opt.HiddenFallK {
			continue
		}
		end := i
		for k := i + 1; k < len(tankC) && k-end <= rest; k++ {
			if tankC[k] < tankC[end]-stillFallsK {
				end = k
			}
		}
		out = append(out, Span{top[0], end + 1})
		i, top = end, top[:0]
	}
	return out
}

// A fall goes on while the tank loses stillFallsK more within restAfterFallS: a
// tank that stands loses less (our choices, no source).
const (
	stillFallsK    = 0.2
	restAfterFallS = 600
)

// witness tells what the pipe probes would have shown.
type witness struct {
	g          *grid.Grid
	probes     []witnessed
	usualCells int
}

// witnessed is one probe: what it reads over each draw, by the draw's cell.
type witnessed struct {
	values []float64
	cells  []int
	flowC  []float64
	showK  float64
}

func newWitness(g *grid.Grid, in, out *grid.Stream, known []Draw, opt Options) *witness {
	w := &witness{g: g}
	var lengths []float64
	for _, d := range known {
		lengths = append(lengths, float64(d.B-d.A))
	}
	if len(lengths) >= fewestTaus {
		w.usualCells = int(rank.Nth(lengths, len(lengths)/2))
	}
	for _, s := range []*grid.Stream{in, out} {
		if s == nil {
			continue
		}
		p := witnessed{values: s.Values}
		swing := 0.0
		for _, d := range known {
			v := make([]float64, 0, d.B-d.A)
			for _, x := range s.Values[d.A:d.B] {
				if x == x {
					v = append(v, x)
				}
			}
			if len(v) > 0 {
				c := rank.Nth(v, len(v)/2)
				p.cells, p.flowC = append(p.cells, d.A), append(p.flowC, c)
				if b := beforeCell(s.Values, d.A, g); b == b {
					swing = math.Max(swing, math.Abs(c-b))
				}
			}
		}
		p.showK = math.Max(opt.Probes.ShowK, opt.Probes.ShowShare*swing)
		w.probes = append(w.probes, p)
	}
	return w
}

// beforeCell is a reading ten minutes before a cell.
func beforeCell(v []float64, cell int, g *grid.Grid) float64 {
	return v[max(0, cell-int(600/g.StepS))]
}

// hidden: water that began to flow at the cell would have shown in no probe.
// Without any draw to go by, the probes do not tell either way.
func (w *witness) hidden(cell int) bool {
	for _, p := range w.probes {
		if len(p.cells) == 0 {
			continue
		}
		k, _ := slices.BinarySearch(p.cells, cell)
		lo, hi := max(0, k-3), min(len(p.cells), k+3)
		flowing := rank.Nth(slices.Clone(p.flowC[lo:hi]), (hi-lo)/2)
		if b := beforeCell(p.values, cell, w.g); !(math.Abs(b-flowing) < p.showK) {
			return false
		}
	}
	return true
}
