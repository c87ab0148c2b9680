package season

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/analysis/match"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// Codes of what comparing probes with each other brought up.
const (
	// CodeOffsetTaken: what matched probes differ by was taken off their readings.
	CodeOffsetTaken = "probe-offset-taken-off"
	// CodeOffsetSeen: in still water two probes differ distinctly, and nothing was
	// taken off.
	CodeOffsetSeen = "probe-offset-seen"
	// CodeNotMatched: a [[matched]] that could not be used.
	CodeNotMatched = "probes-not-matched"
	// CodeOffsetLarge: a stated offset is more than the probes' errors, or another
	// [[matched]], allow.
	CodeOffsetLarge = "probe-offset-large"
)

// Matched is what is known of probes that were compared with each other.
type Matched struct {
	// Pairs: those of [[matched]], in its order, then every pair of inlet and
	// outlet as the record shows it in still water.
	Pairs []Pair
	// Taken off the readings, by probe; empty where nothing was.
	Taken []Taken
	// Before: headline figures as they would be had nothing been compared, by the
	// linear budget.
	Before []Named
}

// Pair is two probes held against each other.
type Pair struct {
	// Probes: the first and the other, as the budget names them.
	Probes [2]string
	// From: "stated" ([[matched]] with within), "bath" (in one bucket while they
	// were logging) or "still" (in still water, out of the record).
	From string
	// Applied: the budget carries it, and the offset is taken off.
	Applied bool
	// Offset: the first less the other, K.
	Offset Figure
	// Stretches of still water behind it.
	Stretches int
	// Why it was not applied, or not found.
	Why string
}

// Taken is what was taken off the readings of a probe.
type Taken struct {
	Probe string
	K     float64
}

// matcher gathers the comparisons of a farm's probes.
type matcher struct {
	b *builder
	// channels are the temperature probes; row is their place among them.
	channels []int
	row      map[int]int
	sdK      []float64
	list     []match.Comparison
	pairs    []Pair
	shown    map[[2]int]bool // pairs of channels in pairs from the record
	asked    map[[2]int]bool // pairs that a [[matched]] names
	problems []series.Problem
}

// match reads [[matched]], looks into the record's still water, and gives what
// is known of all temperature probes' errors together.
func (b *builder) match() error {
	m := &matcher{b: b, row: map[int]int{}, shown: map[[2]int]bool{}, asked: map[[2]int]bool{}}
	for i := range b.grid.Channels {
		c := &b.grid.Channels[i]
		if info, _ := series.Lookup(c.Quantity); info.Class != series.Temperature || strings.HasSuffix(string(c.Quantity), "_setpoint") {
			continue
		}
		e, assumed := b.rec.Farm.ProbeError(c.Quantity, c.Place, c.Fit, c.From)
		m.row[i] = len(m.channels)
		m.channels, m.sdK = append(m.channels, i), append(m.sdK, stated(c.Probe, c.Unit, e, assumed).U())
	}
	for i := range b.rec.Farm.Matched {
		m.farmFile(&b.rec.Farm.Matched[i])
	}
	m.zeroFlow()
	joint, err := match.Join(m.sdK, nil)
	if err != nil {
		return err
	}
	var used []match.Comparison
	for _, c := range m.list {
		next, err := joint.With(c)
		if err != nil {
			m.problem(CodeNotMatched, series.Doubt, fmt.Sprintf("a comparison with %s was not used: %s", m.name(m.channels[c.Probes[0]]), err))
			continue
		}
		joint, used = next, append(used, c)
	}
	m.list, b.compared = used, m
	b.reg.joined(m, joint)
	b.s.Matched.Pairs = m.pairs
	return nil
}

// find are the channels behind a name of [[matched]].
func (m *matcher) find(name string) []int {
	quantity, place, placed := strings.Cut(name, "@")
	var out []int
	for _, i := range m.channels {
		if c := &m.b.grid.Channels[i]; string(c.Quantity) == quantity && (!placed || c.Place == place) {
			out = append(out, i)
		}
	}
	return out
}

// farmFile takes one [[matched]].
func (m *matcher) farmFile(x *farm.Matched) {
	var probes []int
	for _, name := range x.Probes {
		found := m.find(name)
		if len(found) == 0 {
			m.problem(CodeNotMatched, series.Doubt, fmt.Sprintf("[[matched]] names %s, which no log holds: it was compared with nothing", name))
		}
		for _, i := range found {
			if !slices.Contains(probes, i) {
				probes = append(probes, i)
			}
		}
	}
	if len(probes) < 2 {
		return
	}
	c := match.Stated(m.rows(probes), x.OffsetK, x.WithinK)
	if x.Find {
		c = m.found(x, probes)
	} else {
		for _, p := range probes[1:] {
			m.doubtStated(probes[0], p, x)
			m.pairs = append(m.pairs, m.pair(probes[0], p, "stated", match.Found{OffsetK: x.OffsetK, HalfK: x.WithinK}, true))
		}
	}
	for i, a := range probes {
		for _, p := range probes[:i] {
			m.asked[[2]int{a, p}], m.asked[[2]int{p, a}] = true, true
		}
	}
	if len(c.Probes) > 1 {
		m.list = append(m.list, c)
	}
}

// doubtStated names a stated offset that is more than three standard deviations
// of the two probes' errors, or of what another [[matched]] says of them: it is
// used, as the farm file wants it, but a slip of the pen would look like this.
func (m *matcher) doubtStated(a, b int, x *farm.Matched) {
	within := x.WithinK / z95
	if sd := math.Hypot(math.Hypot(m.sdK[m.row[a]], m.sdK[m.row[b]]), within); math.Abs(x.OffsetK) > 3*sd {
		m.problem(CodeOffsetLarge, series.Doubt, fmt.Sprintf("[[matched]] states that %s reads %g K more than %s, which is more than their errors allow; it is used all the same. Look whether offset is meant so, or whether [errors] states one of the two too small.",
			m.name(a), x.OffsetK, m.name(b)))
	}
	for _, p := range m.pairs {
		if p.From != "stated" || p.Probes != [2]string{m.name(a), m.name(b)} {
			continue
		}
		if other := (p.Offset.High - p.Offset.Low) / 2 / z95; math.Abs(x.OffsetK-p.Offset.Value) > 3*math.Hypot(within, other) {
			m.problem(CodeOffsetLarge, series.Doubt, fmt.Sprintf("two [[matched]] differ about %s and %s: %g K and %g K; both are used, weighed by within.", m.name(a), m.name(b), p.Offset.Value, x.OffsetK))
		}
	}
}

func (m *matcher) rows(channels []int) []int {
	out := make([]int, len(channels))
	for i, c := range channels {
		out[i] = m.row[c]
	}
	return out
}

// found looks for the offsets of a [[matched]] with offset = "find".
func (m *matcher) found(x *farm.Matched, probes []int) match.Comparison {
	c := match.Comparison{Probes: []int{m.row[probes[0]]}, OffsetK: []float64{0}, HalfK: []float64{0}}
	from := "still"
	if !x.On.IsZero() {
		from = "bath"
	}
	for _, p := range probes[1:] {
		var f match.Found
		if from == "bath" {
			f = m.bath(x.On, probes[0], p)
		} else {
			f = match.Still(m.inStill(probes[0], p), m.b.opt.Match)
			m.shown[[2]int{probes[0], p}], m.shown[[2]int{p, probes[0]}] = true, true
		}
		f.HalfK = math.Hypot(f.HalfK, x.WithinK)
		m.pairs = append(m.pairs, m.pair(probes[0], p, from, f, f.Why == ""))
		if f.Why != "" {
			m.problem(CodeNotMatched, series.Doubt, fmt.Sprintf("the offset between %s and %s was to be found, and was not: %s. Nothing was taken off.", m.name(probes[0]), m.name(p), f.Why))
			continue
		}
		c.Probes, c.OffsetK, c.HalfK = append(c.Probes, m.row[p]), append(c.OffsetK, f.OffsetK), append(c.HalfK, f.HalfK)
	}
	return c
}

func (m *matcher) bath(on time.Time, a, b int) match.Found {
	from, to := on, on.Add(time.Duration(m.b.opt.Match.BathWithinS*float64(time.Second)))
	if local := on.In(m.b.acc.Zone); local.Hour() == 0 && local.Minute() == 0 {
		to = local.AddDate(0, 0, 1)
	}
	g := m.b.grid
	return match.Bath(m.inStill(a, b), g.Cell(from.UnixMilli()), g.Cell(to.UnixMilli()), m.b.opt.Match)
}

// inStill is a pair with the flows that would have to stand still.
func (m *matcher) inStill(a, b int) match.Pair {
	g, acc := m.b.grid, m.b.acc
	p := match.Pair{StepS: g.StepS, A: g.Channels[a].Values, B: g.Channels[b].Values, SDK: math.Hypot(m.sdK[m.row[a]], m.sdK[m.row[b]]),
		Day: func(cell int) int { return localDay(g.EdgeMS(cell), acc.Zone) }}
	circuits := map[string]*grid.Stream{"loop": acc.LoopFlow, "plate": acc.PlateFlow, "wash": acc.WashFlow}
	need := map[string]bool{circuitOf(g.Channels[a].Quantity): true, circuitOf(g.Channels[b].Quantity): true}
	for _, name := range []string{"loop", "plate", "wash"} {
		if f := circuits[name]; need[name] && f != nil {
			p.Flows = append(p.Flows, f.Values)
		} else if need[name] {
			p.Flows = nil
			break
		}
	}
	if need[""] {
		p.Flows = nil // what would have to stand still is not known
	}
	for _, d := range []struct {
		name string
		q    series.Quantity
	}{{"bed", "bed_temp"}, {"tank", "tank_temp"}} {
		if s := g.Stream(d.q); s != nil {
			p.Drivers = append(p.Drivers, match.Driver{Name: d.name, Values: s.Values})
		}
	}
	return p
}

// circuitOf is the water that a pipe probe stands in.
func circuitOf(q series.Quantity) string {
	switch q {
	case "mains_temp", "loop_in_temp", "loop_out_temp":
		return "loop"
	case "plate_in_temp", "plate_out_temp":
		return "plate"
	case "wash_temp":
		return "wash"
	}
	return ""
}

// zeroFlow holds every inlet against its outlet in still water; what it finds
// is shown, and used only where [[matched]] asks for it.
func (m *matcher) zeroFlow() {
	cold := m.find("loop_in_temp")
	if len(cold) == 0 {
		cold = m.find("mains_temp")
	}
	for _, side := range [...]struct{ cold, hot []int }{{cold, m.find("loop_out_temp")}, {m.find("plate_in_temp"), m.find("plate_out_temp")}} {
		for _, c := range side.cold {
			for _, h := range side.hot {
				if m.shown[[2]int{c, h}] {
					continue
				}
				p := m.pair(c, h, "still", match.Still(m.inStill(c, h), m.b.opt.Match), false)
				if p.Why == whyNotAsked && m.asked[[2]int{c, h}] {
					p.Why = whyStated
				}
				m.pairs = append(m.pairs, p)
				if f := p.Offset; p.Why == whyNotAsked && (f.Low > 0 || f.High < 0) {
					m.problem(CodeOffsetSeen, series.Note, fmt.Sprintf("in %d stretches of still water %s read %s %s. It was not taken off; [[matched]] with both probes and offset = \"find\" does that.",
						p.Stretches, m.name(c), moreOrLess(f), m.name(h)))
				}
			}
		}
	}
}

// moreOrLess says a difference in words, its size without a sign.
func moreOrLess(f Figure) string {
	if f.Value < 0 {
		return doubt.Show(-f.Value, -f.High, -f.Low, f.Unit) + " less than"
	}
	return f.Shown + " more than"
}

// whyNotAsked is said of a difference that was found and left alone.
const whyNotAsked = "shown only: farm.toml does not ask for it ([[matched]] with offset = \"find\")"

// whyStated is said where a [[matched]] says of the two what is used.
const whyStated = "shown only: what farm.toml states of the two is used"

func (m *matcher) pair(a, b int, from string, f match.Found, applied bool) Pair {
	basis := doubt.Estimated
	if from == "stated" {
		basis = doubt.Metered
	}
	p := Pair{Probes: [2]string{m.name(a), m.name(b)}, From: from, Applied: applied, Stretches: f.Stretches, Why: f.Why}
	value, half := f.OffsetK, f.HalfK
	if f.Why != "" {
		value, half = nan, nan
	} else if !applied {
		p.Why = whyNotAsked
	}
	p.Offset = doubt.Make(value, value-half, value+half, "K", basis, f.Stretches, 1, f.Why)
	return p
}

// within tells whether the two have been compared as closely as halfK already:
// to do so again would bring the same bucket's error.
func (m *matcher) within(a, b int, halfK float64) bool {
	for _, p := range m.pairs {
		if p.Applied && (p.Probes == [2]string{m.name(a), m.name(b)} || p.Probes == [2]string{m.name(b), m.name(a)}) &&
			(p.Offset.High-p.Offset.Low)/2 <= 1.001*halfK {
			return true
		}
	}
	return false
}

func (m *matcher) name(channel int) string { return m.b.grid.Channels[channel].Probe }

func (m *matcher) problem(code string, severity series.Severity, text string) {
	m.problems = append(m.problems, series.Problem{Code: code, Severity: severity, Where: "[[matched]]", Text: text})
}

// corrected is the record with each matched probe's known error taken off its
// readings; nil where there is none.
func (b *builder) corrected() []*series.Series {
	off := map[string]float64{}
	for _, i := range b.compared.channels {
		c := &b.grid.Channels[i]
		if k := b.reg.joint.MeanK[b.compared.row[i]]; math.Abs(k) > 1e-9 {
			off[string(c.Quantity)+"\x00"+c.Probe] = k
			b.s.Matched.Taken = append(b.s.Matched.Taken, Taken{Probe: c.Probe, K: k})
		}
	}
	if len(off) == 0 {
		return nil
	}
	out := make([]*series.Series, len(b.rec.Series))
	for i, s := range b.rec.Series {
		out[i] = s
		if k, ok := off[string(s.Quantity)+"\x00"+s.Probe]; ok {
			x := *s
			x.V = make([]float64, len(s.V))
			for j, v := range s.V {
				x.V[j] = v - k
			}
			out[i] = &x
		}
	}
	return out
}

// before says what the headline figures would be with the errors left in, by
// the budget's own model.
func (b *builder) before() {
	m := &b.s.Matched
	if len(m.Taken) == 0 {
		return
	}
	e := make([]float64, len(b.reg.sources))
	for channel, i := range b.reg.temperatures {
		e[i] = b.reg.joint.MeanK[b.compared.row[channel]]
	}
	raw := b.result.Under(e)
	none, err := match.Join(b.compared.sdK, nil)
	if err != nil {
		return
	}
	var words []string
	for _, o := range b.budget {
		f := b.result.Outputs[o.output]
		now, ok := b.headlineFigure(o.key)
		if !ok || math.Abs(raw[o.output]-f.Nominal) <= 1e-9*math.Abs(f.Nominal) {
			continue
		}
		slope := b.probeSlopes(o.output)
		low, high := b.result.Narrowed(o.output, b.reg.joint.Variance(slope)-none.Variance(slope))
		by := raw[o.output] - f.Nominal
		was := doubt.Make(raw[o.output], low+by, high+by, now.Figure.Unit, now.Figure.Basis, now.Figure.N, now.Figure.Coverage, "")
		m.Before = append(m.Before, Named{Key: o.key, Label: now.Label, Figure: was})
		words = append(words, fmt.Sprintf("%s %s, before %s", now.Label, now.Figure.Shown, was.Shown))
	}
	var off []string
	for _, t := range m.Taken {
		off = append(off, fmt.Sprintf("%s %s K", t.Probe, strings.Replace(fmt.Sprintf("%.3f", t.K), "-", "−", 1)))
	}
	b.s.Problems = append(b.s.Problems, series.Problem{Code: CodeOffsetTaken, Severity: series.Note, Where: "[[matched]]",
		Text: "taken off the readings of matched probes: " + strings.Join(off, "; ") + ". " + strings.Join(words, "; ")})
}

func (b *builder) headlineFigure(key string) (Named, bool) {
	for _, n := range b.s.Headline {
		if n.Key == key {
			return n, true
		}
	}
	return Named{}, false
}
