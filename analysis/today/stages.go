package today

import (
	"math"

	"yardheat/analysis/account"
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
		ua.add(m.inWindow(d.End), d.UAWPerK)
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
		if i >= len(m.acc.DrawRows) || d.Litres < usualL/2 || !d.Complete {
			continue
		}
		r := m.acc.DrawRows[i]
		if !(r.CountedL >= m.coveredShare()*r.Litres) {
			continue
		}
		in := m.inWindow(d.End)
		passing.add(in, m.taken(d, r.ColdC(), m.passedC(d)))
		whole.add(in, m.taken(d, r.ColdC(), r.HotC()))
	}
	if 2*len(passing.before) >= len(whole.before) && len(passing.before) > 0 {
		return passing, "passing"
	}
	return whole, "whole draw"
}

// sides are the values of the stretch and those before it.
type sides struct{ now, before []float64 }

func (s *sides) add(in bool, v float64) {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
	case in:
		s.now = append(s.now, v)
	default:
		s.before = append(s.before, v)
	}
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
		u, says := m.usual(c.before, c.fewest, c.of), f.few
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
		l.number("earlier", float64(len(c.before)), "1", nil)
	case f.usual:
		l.State = InOrder
	case PlateHigh: // more heat than usual is what is wanted
		l.State = InOrder
	default:
		l.State = LookAt
	}
}

// plate: by cycle its effectiveness where the hot gas is logged, else the water's
// rise as a share of what it was before at the same inlet temperature; beside it
// the heat caught per kWh of the compressor (without a compressor the heat of a
// cycle); and whether any water passed at all.
func (m *maker) plate() *Line {
	a := m.acc
	if a.Plate.Absent {
		return nil
	}
	l := &Line{Code: CodePlate, Says: PlateNotKnown, State: NotKnown}
	if a.Plate.Rows == nil {
		return l
	}
	worked := m.worked()
	var caught, heat, eff sides
	for i, c := range a.Cycles {
		r := a.Plate.Rows[i]
		if !r.Covered(c, m.coveredShare()) {
			continue
		}
		in := c.End > m.t.From
		if worked != nil && worked[i] > 0 {
			caught.add(in, r.KWh/worked[i])
		}
		if worked == nil && c.Whole {
			heat.add(in, r.KWh)
		}
		if a.Drive != nil && a.Drive[i].DriveLK > 0 {
			eff.add(in, a.Drive[i].RiseLK/a.Drive[i].DriveLK)
		}
	}
	base := compared{of: "cycles", fewest: m.opt.FewestCycles, share: m.opt.LeastPlate, unit: "1"}
	as := func(key, unit string, s sides) compared {
		c := base
		c.key, c.unit, c.sides = key, unit, s
		return c
	}
	m.compare(l, findings{PlateLow, PlateHigh, PlateUsual, PlateFew},
		as("plate_effectiveness", "1", eff), as("rise_share", "1", m.riseShare()), as("caught_per_kwh", "1", caught), as("plate_kwh", "kWh", heat))
	m.noWater(l, worked)
	return l
}

// riseShare is the water's rise in each cycle over that which a straight line
// through the earlier cycles gives at its inlet temperature,
//
//	T_out − T_in = ε (T_gas − T_in),
//
// straight in T_in where gas and effectiveness stay as they are. Inlets more than
// InletBeyondK outside those seen before have no share.
func (m *maker) riseShare() (s sides) {
	a := m.acc
	rows := func(before bool, do func(in, rise float64)) {
		for i, c := range a.Cycles {
			r := a.Plate.Rows[i]
			if (c.End <= m.t.From) != before || !r.Covered(c, m.coveredShare()) || !(r.CountedL > 0) {
				continue
			}
			do(r.ColdC(), r.HotC()-r.ColdC())
		}
	}
	var x, y []float64
	low, high := math.Inf(1), math.Inf(-1)
	rows(true, func(in, rise float64) {
		x, y = append(x, in), append(y, rise)
		low, high = min(low, in), max(high, in)
	})
	if len(x) < m.opt.FewestCycles {
		return s
	}
	base, slope := line(x, y)
	share := func(in, rise float64) float64 {
		want := base + slope*in
		if want < 1 || in < low-m.opt.InletBeyondK || in > high+m.opt.InletBeyondK {
			return math.NaN()
		}
		return rise / want
	}
	for i := range x {
		s.add(false, share(x[i], y[i]))
	}
	rows(false, func(in, rise float64) { s.add(true, share(in, rise)) })
	return s
}

// worked is the compressor's kWh of each cycle in which it used its usual part
// and was covered, else 0; nil where it is not logged.
func (m *maker) worked() []float64 {
	rows := m.acc.Compressor.Rows
	if rows == nil {
		return nil
	}
	var all []float64
	for i, c := range m.acc.Cycles {
		if c.Whole && rows[i].Covered(c, m.coveredShare()) {
			all = append(all, rows[i].KWh)
		}
	}
	out, usual := make([]float64, len(rows)), median(all)
	for i, c := range m.acc.Cycles {
		if rows[i].Covered(c, m.coveredShare()) && rows[i].KWh > 0.5*usual {
			out[i] = rows[i].KWh
		}
	}
	return out
}

// noWater: in the last cycle in which the compressor worked hardly any water
// passed the plate, which was rare before.
func (m *maker) noWater(l *Line, worked []float64) {
	if worked == nil {
		return
	}
	var litres []float64
	for i, c := range m.acc.Cycles {
		if worked[i] > 0 && c.End <= m.t.From {
			litres = append(litres, m.acc.Plate.Rows[i].Litres)
		}
	}
	if len(litres) < m.opt.FewestCycles {
		return
	}
	little := m.opt.LittleShare * median(litres)
	dry := 0.0
	for _, v := range litres {
		if v <= little {
			dry++
		}
	}
	if dry > m.opt.RareShare*float64(len(litres)) {
		return
	}
	for i := len(worked) - 1; i >= 0; i-- {
		c, r := m.acc.Cycles[i], m.acc.Plate.Rows[i]
		if worked[i] == 0 || !r.Covered(c, m.coveredShare()) {
			continue
		}
		if c.End > m.t.From && r.Litres <= little {
			l.Says, l.State = PlateNoWater, LookAt
			l.number("litres", r.Litres, "L", m.usual(litres, m.opt.FewestCycles, "cycles"))
			l.number("compressor_kwh", worked[i], "kWh", nil)
			l.time("since", c.Start)
			return
		}
		break
	}
	m.noWaterByDay(l)
}

// noWaterByDay asks the same of the last 24 hours against the 24 hours that ended
// at the same time of the days before: a plant that cools by night alone works
// across its cycles' ends.
func (m *maker) noWaterByDay(l *Line) {
	kw := m.g.Stream("compressor_power")
	if kw == nil {
		kw, _ = m.g.Flow(m.rec.Farm, "compressor_power", m.opt.Season.Account.Grid)
	}
	if kw == nil || m.acc.PlateFlow == nil {
		return
	}
	day := func(d int) (litres, kWh float64, known bool) {
		to := m.t.To - hours(24*float64(d))
		if to-hours(24) < m.t.UsualFrom {
			return 0, 0, false
		}
		a, b := m.g.Cell(to-hours(24)), m.g.Cell(to)
		n := 0
		for k := a; k < b; k++ {
			v, p := m.acc.PlateFlow.Values[k], kw.Values[k]
			if v != v || p != p {
				continue
			}
			n++
			litres, kWh = litres+v*m.g.StepS/60, kWh+p*m.g.Hours()
		}
		return litres, kWh, float64(n) >= m.coveredShare()*float64(b-a)
	}
	litres, kWh, ok := day(0)
	if !ok {
		return
	}
	var before, used []float64
	dry := 0.0
	for d := 1; float64(d) <= m.opt.UsualDays; d++ {
		if v, p, ok := day(d); ok {
			before, used = append(before, v), append(used, p)
		}
	}
	if len(before) < m.opt.FewestDays {
		return
	}
	little := m.opt.LittleShare * median(before)
	for _, v := range before {
		if v <= little {
			dry++
		}
	}
	if litres <= little && kWh > 0.5*median(used) && dry <= m.opt.RareShare*float64(len(before)) {
		l.Says, l.State = PlateNoWater, LookAt
		l.number("litres", litres, "L", m.usual(before, m.opt.FewestDays, "days"))
		l.number("compressor_kwh", kWh, "kWh", nil)
		l.time("since", m.t.To-hours(24))
	}
}

// heat: from yard, milk and socket in the stretch, against the two-day stretches
// before it.
func (m *maker) heat() *Line {
	l := &Line{Code: CodeHeat, Says: HeatNotKnown, State: NotKnown}
	if m.two == nil {
		return l
	}
	share, n := m.coveredShare(), len(m.two.Cycles)
	heats := func(h *account.Heat) []float64 {
		if h.Rows == nil {
			return nil
		}
		v := make([]float64, n)
		for i, c := range m.two.Cycles {
			v[i] = math.NaN()
			if h.Rows[i].Covered(c, share) {
				v[i] = h.Rows[i].KWh
			}
		}
		return v
	}
	some, few, off := false, false, false
	has := !m.two.Loop.Absent || !m.two.Plate.Absent || !m.two.Element.Absent
	for _, x := range []struct {
		key  string
		v    []float64
		bad  int // the side that asks for a look
		gone bool
	}{
		{"yard", heats(&m.two.Loop), -1, m.two.Loop.Absent},
		{"milk", heats(&m.two.Plate), -1, m.two.Plate.Absent},
		{"socket", m.element(), 1, m.two.Element.Absent},
	} {
		if x.gone {
			continue
		}
		if x.v == nil || x.v[n-1] != x.v[n-1] {
			l.word(x.key, "not known")
			continue
		}
		v, u := x.v[n-1], m.usual(x.v[:n-1], m.opt.FewestStretches, "two days")
		l.number(x.key+"_kwh", v, "kWh", u)
		some = true
		if u == nil {
			few = true
			l.word(x.key, "too few")
			continue
		}
		side := u.off(v, m.opt.LeastHeat*math.Abs(u.Mid), m.opt.BeyondShare)
		l.word(x.key, [...]string{"below", "usual", "above"}[side+1])
		off = off || side == x.bad
	}
	switch {
	case !has:
		return nil
	case off:
		l.Says, l.State = HeatOff, LookAt
	case some && few:
		l.Says = HeatFew
	case some:
		l.Says, l.State = HeatUsual, InOrder
	}
	return l
}

// element is the electricity of the element by two-day stretch, kWh.
func (m *maker) element() []float64 {
	rows := m.two.Element.Rows
	if rows == nil {
		return nil
	}
	v := make([]float64, len(rows))
	for i, c := range m.two.Cycles {
		v[i] = math.NaN()
		if rows[i].Covered(c, m.coveredShare()) {
			v[i] = rows[i].KWh
		}
	}
	return v
}
