package beside

import (
	"math"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
)

// term is a source of the trials and what a standard uncertainty of it moves.
type term struct {
	source int
	moves  float64
}

// rest is what a side's own interval has beyond its linear budget, upwards and
// downwards.
type rest struct {
	source   int
	up, down float64
}

// pair is one row of two known figures.
type pair struct {
	row, at  int // index of the row, and of its first output
	log      bool
	ratio    bool
	x        [2]float64
	terms    [2][]term
	rests    [2]rest
	haveRest [2]bool
}

// model makes all differences of one trial's errors.
type model struct {
	same    bool
	drift   float64
	sources []doubt.Source
	byName  map[string]int
	pairs   []pair
	why     map[int]string
	ratio   map[int]string
	outputs int
}

func newModel(same bool, drift float64) *model {
	return &model{same: same, drift: drift, byName: map[string]int{}, why: map[int]string{}, ratio: map[int]string{}}
}

// z95 is the 97.5 % point of the standard normal distribution.
const z95 = 1.959963984540054

// source is the place of an error of unit standard uncertainty.
func (m *model) source(name string, d doubt.Dist, shared bool) int {
	if i, ok := m.byName[name]; ok {
		return i
	}
	s := doubt.Source{Name: name, Kind: doubt.Random, Dist: d, HalfWidth: z95}
	if shared {
		s.Kind = doubt.Shared
	}
	switch d {
	case doubt.Rectangular:
		s.HalfWidth = math.Sqrt(3)
	case doubt.OneSided:
		s.HalfWidth = math.Sqrt(12)
	case doubt.Resample: // which days happened: nearly normal, being a mean of many
		s.Dist = doubt.Normal
	}
	m.byName[name] = len(m.sources)
	m.sources = append(m.sources, s)
	return m.byName[name]
}

var sideNames = [2]string{"first: ", "second: "}

// add puts a row among the pairs, or says why it cannot be.
func (m *model) add(row int, k kind, a, b side) {
	for i, s := range []side{a, b} {
		if !known(s.figure) {
			why := s.figure.Why
			switch {
			case !math.IsNaN(s.figure.Low) || !math.IsNaN(s.figure.High):
				why = "it is known from one side only"
			case !math.IsNaN(s.figure.Value) && why == "":
				why = "its interval is not known"
			case why == "":
				why = doubt.NotKnown
			}
			m.why[row] = sideNames[i] + why
			return
		}
	}
	p := pair{row: row, at: m.outputs, log: k.log && a.figure.Low > 0 && b.figure.Low > 0, x: [2]float64{a.figure.Value, b.figure.Value}}
	switch {
	case !k.ratio:
		m.ratio[row] = "a ratio of such figures has no meaning"
	case a.figure.Low <= 0 || b.figure.Low <= 0:
		m.ratio[row] = "one of the two is not distinctly above zero"
	default:
		p.ratio = true
	}
	m.outputs += 2
	other := [2][]season.Doubt{b.doubts, a.doubts}
	for i, s := range []side{a, b} {
		scale := 1.0
		if p.log {
			scale = 1 / s.figure.Value
		}
		sum := 0.0
		for _, d := range s.doubts {
			sum += d.Moves * d.Moves
			p.terms[i] = append(p.terms[i], m.terms(i, d, other[i], scale)...)
		}
		m.rest(&p, i, k.of, s.figure, sum, scale)
	}
	m.pairs = append(m.pairs, p)
}

// terms of an error: of an instrument's that both have, a part is of each alone.
func (m *model) terms(i int, d season.Doubt, others []season.Doubt, scale float64) []term {
	name := m.name(i, d, others)
	both := term{m.source(name, d.Dist, d.Shared), d.Moves * scale}
	if name != d.Source || !d.Instrument || m.drift == 0 {
		return []term{both}
	}
	own := term{m.source(sideNames[i]+"drift of "+d.Source, doubt.Normal, false), both.moves * m.drift}
	both.moves *= math.Sqrt(1 - m.drift*m.drift)
	return []term{both, own}
}

// name of an error among the sources: both sides have it in common where it has
// the same name.
func (m *model) name(i int, d season.Doubt, others []season.Doubt) string {
	if m.same && d.Shared {
		for _, o := range others {
			if o.Source == d.Source && o.Shared && (d.Lasting || o.Moves*d.Moves < 0) {
				return d.Source
			}
		}
	}
	return sideNames[i] + d.Source
}

// rest adds what the interval of a figure has beyond variance sum. A figure that
// rests on its own days has no budget: all of it is rest, each side by itself.
func (m *model) rest(p *pair, i int, key string, f doubt.Figure, sum, scale float64) {
	up, down := (f.High-f.Value)/z95, (f.Value-f.Low)/z95
	if sum > 0 {
		u := (f.High - f.Low) / 2 / z95
		more := u*u - sum
		if more < 0.02*sum { // what the trials scatter by
			return
		}
		up, down = math.Sqrt(more), math.Sqrt(more)
	}
	p.rests[i] = rest{m.source(sideNames[i]+"the rest of "+key, doubt.Normal, false), max(0, up) * scale, max(0, down) * scale}
	p.haveRest[i] = true
}

// value of one side under a trial's errors.
func (p *pair) value(i int, e []float64) float64 {
	d := 0.0
	for _, t := range p.terms[i] {
		d += t.moves * e[t.source]
	}
	if p.haveRest[i] {
		r := p.rests[i]
		if x := e[r.source]; x > 0 {
			d += r.up * x
		} else {
			d += r.down * x
		}
	}
	if p.log {
		return p.x[i] * math.Exp(d)
	}
	return p.x[i] + d
}

// fill makes the trials and fills in differences, ratios and verdicts.
func (m *model) fill(rows []Row, opt doubt.Options) error {
	for i, why := range m.why {
		unit := unitOf(rows[i].Second.Unit)
		rows[i].Difference, rows[i].Ratio, rows[i].Verdict = missing(unit, why), missing("1", why), NotKnown
	}
	if len(m.pairs) == 0 {
		return nil
	}
	res, err := doubt.Run(m.sources, func(t *doubt.Trial, out []float64) {
		for i := range m.pairs {
			p := &m.pairs[i]
			if !t.Wants(p.at, 2) {
				continue
			}
			a, b := p.value(0, t.E), p.value(1, t.E)
			out[p.at], out[p.at+1] = b-a, b/a
		}
	}, m.outputs, opt)
	if err != nil {
		return err
	}
	for _, p := range m.pairs {
		m.row(&rows[p.row], p, res)
	}
	return nil
}

func (m *model) row(r *Row, p pair, res *doubt.Result) {
	n, coverage := min(r.First.N, r.Second.N), min(r.First.Coverage, r.Second.Coverage)
	basis := r.First.Basis
	if r.Second.Basis != basis {
		basis = doubt.Estimated
	}
	r.Difference = res.Figure(p.at, unitOf(r.Second.Unit), basis, n, coverage, "")
	r.Ratio = missing("1", m.ratio[p.row])
	if p.ratio {
		r.Ratio = res.Figure(p.at+1, "1", basis, n, coverage, "")
	}
	switch {
	case !known(r.Difference):
		r.Verdict = NotKnown
	case r.Difference.Low > 0 || r.Difference.High < 0:
		r.Verdict = Apart
	default:
		r.Verdict = NotApart
	}
	for _, b := range res.Budget(p.at) {
		if b.Share >= 0.01 {
			r.Parts = append(r.Parts, Part{m.sources[b.Source].Name, b.Share})
		}
	}
}
