package today

import (
	"math"

	"yardheat/analysis/cycle"
	"yardheat/analysis/season"
)

// loop: the draws of the stretch against those of the weeks before. Where the fit
// identifies the loop, by the coefficient that each draw tells by itself; beside
// it, and where it does not, by
//
//	effectiveness = (T_out − T_in)/(T_bed − T_in),
//
// T_out over the water that came in at one end and left at the other within the
// draw (beyond PassedVolumes of the pipe); where draws are too short for that,
// over the whole draw, which is mostly water that had stood and tells little of
// how well the loop takes heat. The bed's probes as they read; without one by the
// water's rise T_out − T_in, K. Only draws seen whole, and of at least half the
// usual size, count.
func (m *maker) loop() *Line {
	if m.acc.Loop.Absent || m.rec.Farm.Loop == nil {
		return nil
	}
	l := &Line{Code: CodeLoop, Says: LoopNotKnown, State: NotKnown}
	taken := compared{key: "effectiveness", unit: "1", of: "draws", fewest: m.opt.FewestDraws, share: m.opt.LeastLoop}
	if m.g.Stream("bed_temp") == nil {
		taken.key, taken.unit = "rise_k", "K"
	}
	var by string
	taken.sides, by = m.takenByDraw()
	ua := compared{key: "ua_w_per_k", unit: "W/K", of: "draws", fewest: m.opt.FewestDraws, share: m.opt.LeastUA}
	for _, d := range season.UAByDraw(m.rec, m.g, m.acc, m.opt.Season) {
		ua.add(m.age(d.End), d.UAWPerK)
	}
	m.compare(l, findings{LoopLow, LoopHigh, LoopUsual, LoopFew}, ua, taken)
	if _, ok := l.Number(taken.key); ok {
		l.word("by", by)
	}
	return l
}

// takenByDraw is what the draws took, and by which water: "passing" or "whole
// draw".
func (m *maker) takenByDraw() (sides, string) {
	var passing, whole sides
	usualL := m.usualDrawL()
	for i, d := range m.acc.Draws {
		if i >= len(m.acc.DrawRows) || d.Litres < usualL/2 || !(d.Complete || d.Estimated) {
			continue
		}
		r := m.acc.DrawRows[i]
		if !(r.CountedL >= m.coveredShare()*r.Litres) {
			continue
		}
		in := m.age(d.End)
		passing.add(in, m.taken(d, r.ColdC(), m.passedC(d)))
		whole.add(in, m.taken(d, r.ColdC(), r.HotC()))
	}
	if n := len(passing.earlier(math.MaxInt)); n > 0 && 2*n >= len(whole.earlier(math.MaxInt)) {
		return passing, "passing"
	}
	return whole, "whole draw"
}

// usualDrawL is the median litres of a draw.
func (m *maker) usualDrawL() float64 {
	var v []float64
	for _, d := range m.acc.Draws {
		v = append(v, d.Litres)
	}
	return median(v)
}

// taken is the part of the way from inlet to bed that the water was warmed;
// without a bed probe the rise.
func (m *maker) taken(d cycle.Draw, inC, outC float64) float64 {
	bed := m.g.Stream("bed_temp")
	if bed == nil {
		return outC - inC
	}
	if drive := mean(bed.Values[d.A:d.B]) - inC; drive > 1 {
		return (outC - inC) / drive
	}
	return math.NaN()
}

// passedC is the outlet's temperature, by litres, of the water that passed the
// whole pipe within the draw; NaN where that is less than a twentieth of the
// pipe's volume or three cells.
func (m *maker) passedC(d cycle.Draw) float64 {
	f, out := m.rec.Farm.Loop, m.g.Stream("loop_out_temp")
	if out == nil || m.acc.LoopFlow == nil {
		return math.NaN()
	}
	volume := math.Pi / 4 * f.BoreMM * f.BoreMM * f.LengthM / 1000
	from := m.opt.PassedVolumes*volume + f.LeadL
	var passed, litres, litreC float64
	cells := 0
	for k := d.A; k < d.B; k++ {
		v := m.acc.LoopFlow.Values[k] * m.g.StepS / 60
		if v != v {
			return math.NaN()
		}
		if passed += v; passed > from && v > 0 && out.Values[k] == out.Values[k] {
			litres, litreC, cells = litres+v, litreC+v*out.Values[k], cells+1
		}
	}
	if cells < 3 || litres < volume/20 {
		return math.NaN()
	}
	return litreC / litres
}

// compared is one comparison of a stage's values with its earlier ones.
type compared struct {
	key, unit string
	sides
	of     string
	fewest int
	share  float64 // of the median, at least
}

// findings of a stage: below, above and within its usual range, too few to say.
type findings struct{ low, high, usual, few Finding }

// compare holds the median of the stretch's values against the usual range of
// single values before it: the first measure that is off is what the line says,
// else the first that can be held against a range, else the first known.
func (m *maker) compare(l *Line, f findings, list ...compared) {
	best, said := -1, Finding("")
	var of *Usual
	for i, c := range list {
		if len(c.now) == 0 {
			continue
		}
		u, says := m.usual(c.earlier(c.fewest), c.fewest, c.of), f.few
		if u != nil && len(c.now) >= m.opt.FewestNow {
			says = [...]Finding{f.low, f.usual, f.high}[u.off(median(c.now), c.share*math.Abs(u.Mid), m.opt.BeyondShare)+1]
		}
		off := says == f.low || says == f.high
		if best < 0 || off || (said == f.few && says != f.few) {
			best, said, of = i, says, u
		}
		if off {
			break
		}
	}
	if best < 0 {
		l.number("values", 0, "1", nil)
		return
	}
	c := list[best]
	l.Says = said
	l.number("values", float64(len(c.now)), "1", nil)
	l.number(c.key, median(c.now), c.unit, of)
	switch said {
	case f.few:
		l.number("earlier", float64(len(c.earlier(c.fewest))), "1", nil)
	case f.usual:
		l.State = InOrder
	case PlateHigh: // more heat than usual is what is wanted
		l.State = InOrder
	default:
		l.State = LookAt
	}
}
